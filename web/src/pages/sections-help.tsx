/** Design help on a wing: gurney or thick edge, a search at a drag price, the edge behind. */

import { useSignal } from "@preact/signals";
import type { Num, Refusal } from "../types";
import { Slider } from "../widgets/control";
import { NumberText } from "../widgets/num";
import { Busy, RefusedNote } from "../widgets/state";
import { type Line, Refused } from "../wire";
import { LineChart, type Setting } from "./sections-draw";

export interface Devices {
  height: string;
  over_layer: string;
  rows: { what: string; lift: Num; drag: Num; ratio: Num }[];
}

/** A gurney against an edge thickened to the same height. */
export function DeviceTable({ devices }: { devices: Devices }) {
  return (
    <section>
      <h2>Gurney or thick edge</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Gurney or thick edge">
        <table>
          <caption>Both {devices.height} high, {devices.over_layer}; published increments on the section as it stands</caption>
          <thead>
            <tr><th scope="col">Edge</th><th scope="col">Lift</th><th scope="col">Drag</th><th scope="col">Lift over drag</th></tr>
          </thead>
          <tbody>
            {devices.rows.map((row) => (
              <tr key={row.what}>
                <th scope="row">{row.what}</th>
                <td><NumberText number={row.lift} label={`${row.what} lift`} /></td>
                <td><NumberText number={row.drag} label={`${row.what} drag`} /></td>
                <td><NumberText number={row.ratio} label={`${row.what} lift over drag`} /></td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

type Found = Pick<Setting, "incidence_deg" | "flaps">;

interface Better {
  setting: Found;
  at: string;
  text: string;
  numbers: { lift: Num; drag: Num };
}

interface BetterProps {
  now: Setting;
  wing: string;
  state: string;
  line: () => Promise<Line>;
  onTake: (setting: Found) => void;
}

/** Searches incidence, flap angles and gaps; the reader decides whether to take what it finds. */
export function BetterSetting({ now, wing, state, line, onTake }: BetterProps) {
  const price = useSignal(10);
  const margin = useSignal(2);
  const found = useSignal<Better | null>(null);
  const refusal = useSignal<Refusal | null>(null);
  const busy = useSignal(false);
  const look = async () => {
    [busy.value, refusal.value, found.value] = [true, null, null];
    try {
      const { header } = await (await line()).ask({
        do: "better_at", wing, state, ...now, price: price.value, margin_deg: margin.value,
      });
      found.value = header as unknown as Better;
    } catch (why) {
      if (!(why instanceof Refused)) throw why;
      refusal.value = why.refusal;
    } finally {
      busy.value = false;
    }
  };
  return (
    <section>
      <h2>A better setting</h2>
      <p class="faint">
        Most lift less price times drag, in the worst of straight air and air 1.5° either way and, over the road, of 15 % more and less height. Slots stay within the published band.
      </p>
      <div class="controls">
        <div class="sliders">
          <Slider label="Price of drag" value={price.value} low={0} high={60} step={1} unit="cl per cd"
            onMove={(v) => (price.value = v)} />
          <Slider label="Left before the stall" value={margin.value} low={0} high={6} step={0.5} unit="°"
            onMove={(v) => (margin.value = v)} />
        </div>
        <div class="deeds">
          <button type="button" class="do" disabled={busy.value} onClick={() => void look()}>Search</button>
        </div>
      </div>
      <div aria-live="polite">
        {busy.value && <Busy what="Searching, at most 40 seconds" />}
        {refusal.value && <RefusedNote refusal={refusal.value} />}
        {found.value && (
          <>
            <p>{found.value.at}: lift <NumberText number={found.value.numbers.lift} label="lift found" />, drag{" "}
              <NumberText number={found.value.numbers.drag} label="drag found" />. {found.value.text}</p>
            <button type="button" class="do quiet" onClick={() => found.value && onTake(found.value.setting)}>
              Move the handles there
            </button>
          </>
        )}
      </div>
    </section>
  );
}

export interface Edge {
  y_m: number[];
  angle_deg: number[];
  low_deg: number[];
  high_deg: number[];
  tolerance_deg: [number, number];
  worst: Num;
  is_within: boolean;
  text: string;
}

/** The angle at which the air of this wing meets an edge behind it, against what the edge stands. */
export function EdgeBehind({ edge }: { edge: Edge }) {
  const ends = [edge.y_m[0], edge.y_m[edge.y_m.length - 1]];
  const level = edge.tolerance_deg[0];
  return (
    <section>
      <h2>The edge behind</h2>
      <p>{edge.text}</p>
      <LineChart title="Flow angle along the edge, up positive" xLabel="y, m" yLabel="°" series={[
        { label: "least and most", tone: "faint", x: edge.y_m, y: edge.low_deg, dashed: true },
        { label: "", tone: "faint", x: edge.y_m, y: edge.high_deg, dashed: true },
        { label: "what it stands", tone: "tuft", x: ends, y: [level, level] },
        { label: "", tone: "tuft", x: ends, y: [-level, -level] },
        { label: "angle", tone: "ink", x: edge.y_m, y: edge.angle_deg },
      ]} />
    </section>
  );
}
