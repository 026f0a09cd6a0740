/** Sections and wings: one wing under the hand, its pressure, layers, polar, span load and loads. */

import { type Signal, useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { useHandles, useLive } from "../live";
import { line, place, turn } from "../store";
import type { Num } from "../types";
import { Choice, Slider } from "../widgets/control";
import { Tuft } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { Busy, Notices, RefusedNote } from "../widgets/state";
import { Wide } from "../widgets/wide";
import { type Block, Line } from "../wire";
import { Page } from "./page";
import { type Flap, type LayerLine, LineChart, SectionDrawing, type Series, type Setting } from "./sections-draw";
import { BetterSetting, type Devices, DeviceTable, type Edge, EdgeBehind } from "./sections-help";
import "./sections.css";

interface Row {
  key: string;
  label: string;
  number: Num;
}

interface Curves {
  alpha_deg: (number | null)[];
  lift: (number | null)[];
  lift_low: (number | null)[];
  lift_high: (number | null)[];
  drag: (number | null)[];
  nose_suction: (number | null)[];
  state: string[];
}

interface SectionTree {
  wings: string[];
  wing: string;
  state: string;
  states: string[];
  speed_kmh: number;
  outline: string;
  is_stand_in: boolean;
  engine: string;
  answer: string;
  shape: { element: string; outline: string; values: { label: string; number: Num }[]; notices: string[] }[];
  slots: { flap: number; gap: Num; overlap: Num }[];
  handles: { incidence_deg: number; gurney_mm: number; gurney_most_mm: number; chord_mm: number; speed_kmh: number; flaps: Flap[] };
  polar: Curves | null;
  span: { y_m: number[]; load: number[]; ideal: number[]; margin_deg: number[] } | null;
  loads: Row[];
  edge?: Edge | null;
  tolerances: { what: string; error: string; lift: Num | null; drag: Num | null; note: string }[];
  cautions: string[];
}

interface PointLive {
  at: string;
  numbers: Record<string, Num>;
  notices: string[];
  elements: number;
  devices?: Devices;
  lines: LayerLine[];
  arrays: Record<string, Block>;
}

interface SpanLive {
  /** What was asked: an answer to an older question is shown as waiting. */
  ask: Setting;
  at: string;
  numbers: Record<string, Num>;
  notices: string[];
  arrays: Record<string, Block>;
}

/** A design put aside to compare with. */
interface Held {
  point: PointLive;
  span: SpanLive | null;
}

const REST_MS = 400;

/** Polars take seconds: they have a line of their own, so that the hand never waits for one. */
let slow: Promise<Line> | null = null;
function slowLine(): Promise<Line> {
  slow ??= new Promise((done) => {
    const made: Line = new Line(
      `ws://${location.host}/socket`,
      () => undefined,
      (open) => open && done(made),
    );
    made.open();
  });
  return slow;
}

export function SectionsSheet() {
  const { wing = "", state = "" } = place.value.query;
  const query = new URLSearchParams(Object.entries({ wing, state }).filter(([, v]) => v)).toString();
  return (
    <Page<SectionTree> title="Sections and wings" address={`/sections.json${query ? `?${query}` : ""}`}
      lead="Move an element and see what it does: pressure and layers at once, polar and span load when the hand rests.">
      {(tree) => <SectionsView key={`${tree.wing} ${tree.state}`} tree={tree} />}
    </Page>
  );
}

function useSection(tree: SectionTree, setting: Signal<Setting>) {
  const common = { wing: tree.wing, state: tree.state };
  useEffect(() => void slowLine(), []);
  const { live: point, refusal } = useLive<Setting, PointLive>(setting, async (wanted) => {
    const { header, arrays } = await line.ask({ do: "section_at", ...common, ...wanted });
    return { ...(header as unknown as PointLive), arrays };
  });
  // A polar takes longer than a point: it is asked for when the hand rests.
  const { live: span, refusal: spanRefusal } = useLive<Setting, SpanLive>(
    setting,
    async (wanted) => {
      const { header, arrays } = await (await slowLine()).ask({ do: "span_at", ...common, ...wanted });
      return { ...(header as unknown as SpanLive), arrays, ask: wanted };
    },
    { rest: REST_MS },
  );
  return { point, span, refusal: refusal.value ?? spanRefusal.value };
}

function SectionsView({ tree }: { tree: SectionTree }) {
  const sheet: Setting = {
    incidence_deg: tree.handles.incidence_deg,
    gurney_mm: tree.handles.gurney_mm,
    speed: tree.speed_kmh,
    flaps: tree.handles.flaps,
  };
  const { now: setting, isMoved } = useHandles<Setting>(sheet);
  const held = useSignal<Held | null>(null);
  const { point, span, refusal } = useSection(tree, setting);
  const move = (change: Partial<Setting>) => {
    setting.value = { ...setting.value, ...change };
  };
  const now = setting.value;
  const isLate = span.value !== null && JSON.stringify(span.value.ask) !== JSON.stringify(now);
  return (
    <>
      <p class="answer section-answer"><Tuft label="Wants attention now" /> {tree.answer}</p>
      <div class="controls">
        {tree.wings.length > 1 && (
          <Choice label="Wing" value={tree.wing} options={tree.wings.map((w) => [w, w] as const)}
            onPick={(w) => turn({ wing: w }, true)} />
        )}
        {tree.states.length > 1 && (
          <Choice label="State" value={tree.state} options={tree.states.map((s) => [s, s] as const)}
            onPick={(s) => turn({ state: s }, true)} />
        )}
        <Handles tree={tree} now={now} move={move} />
        <div class="deeds">
          <button type="button" class="do quiet" disabled={!point.value}
            onClick={() => point.value && (held.value = { point: point.value, span: span.value })}>
            Hold this design to compare
          </button>
          {held.value && (
            <button type="button" class="do quiet" onClick={() => (held.value = null)}>Let go of it</button>
          )}
          {isMoved && (
            <button type="button" class="do quiet" onClick={() => move(sheet)}>Back to the project's setting</button>
          )}
        </div>
      </div>
      {refusal && <RefusedNote refusal={refusal} />}
      {!point.value && !refusal && <Busy what="Solving the section" />}
      {point.value && (
        <SectionDrawing arrays={point.value.arrays} elements={point.value.elements} lines={point.value.lines}
          held={held.value && { arrays: held.value.point.arrays, elements: held.value.point.elements }}
          setting={now} isRefused={refusal !== null} onMove={move} />
      )}
      <div class="section-split">
        {point.value && <PressureChart point={point.value} held={held.value} />}
        <LiveTable point={point.value} span={span.value} held={held.value} isLate={isLate} />
      </div>
      {point.value && <Notices notices={[...point.value.notices, ...(span.value?.notices ?? [])]} />}
      <section class={`curves${isLate ? " waiting" : ""}`} aria-label="Polar and span load" aria-busy={isLate}>
        <PolarChart tree={tree} point={point.value} span={span.value} held={held.value} now={now} isMoved={isMoved} />
        <SpanChart tree={tree} span={span.value} held={held.value} />
      </section>
      {point.value?.devices && <DeviceTable devices={point.value.devices} />}
      <BetterSetting now={now} wing={tree.wing} state={tree.state} line={slowLine} onTake={move} />
      <Sheet tree={tree} />
    </>
  );
}

function Handles({ tree, now, move }: { tree: SectionTree; now: Setting; move: (c: Partial<Setting>) => void }) {
  const flap = (k: number, change: Partial<Flap>) =>
    move({ flaps: now.flaps.map((f, i) => (i === k ? { ...f, ...change } : f)) });
  return (
    <div class="sliders">
      <Slider label="Incidence" value={now.incidence_deg} low={-6} high={18} step={0.1} unit="°"
        onMove={(incidence_deg) => move({ incidence_deg })} />
      <Slider label="Gurney" value={now.gurney_mm} low={0} high={tree.handles.gurney_most_mm} step={0.5} unit="mm"
        onMove={(gurney_mm) => move({ gurney_mm })} />
      <Slider label="Speed" value={now.speed} low={40} high={300} step={1} unit="km/h"
        onMove={(speed) => move({ speed })} />
      {now.flaps.map((f, k) => (
        <FlapSliders key={k} name={now.flaps.length > 1 ? `Flap ${k + 1}` : "Flap"} flap={f} onMove={(c) => flap(k, c)} />
      ))}
    </div>
  );
}

function FlapSliders({ name, flap, onMove }: { name: string; flap: Flap; onMove: (c: Partial<Flap>) => void }) {
  return (
    <>
      <Slider label={`${name} deflection`} value={flap.deflection_deg} low={0} high={45} step={0.1} unit="°"
        onMove={(deflection_deg) => onMove({ deflection_deg })} />
      <Slider label={`${name} gap`} value={flap.gap_pct} low={0.5} high={4} step={0.1} unit="% chord"
        onMove={(gap_pct) => onMove({ gap_pct })} />
      <Slider label={`${name} overlap`} value={flap.overlap_pct} low={-3} high={4} step={0.1} unit="% chord"
        onMove={(overlap_pct) => onMove({ overlap_pct })} />
    </>
  );
}

function pressureSeries(point: PointLive, tone: Series["tone"], label: string, dashed = false): Series[] {
  return Array.from({ length: point.elements }, (_, k) => ({
    label: k === 0 ? label : "",
    tone,
    dashed,
    x: point.arrays[`x${k}`],
    y: point.arrays[`cp${k}`],
  }));
}

function PressureChart({ point, held }: { point: PointLive; held: Held | null }) {
  return (
    <LineChart title="Pressure" xLabel="x, chords" yLabel="Cp, suction up" flipped height={420}
      series={[...(held ? pressureSeries(held.point, "rear", "held", true) : []), ...pressureSeries(point, "ink", "now")]} />
  );
}

const NAMES: [string, string][] = [
  ["lift", "section lift coefficient"],
  ["drag", "section drag coefficient"],
  ["moment", "section moment, quarter chord"],
  ["nose_suction", "nose suction of its limit"],
  ["slot", "least gap over the layers in it"],
];
const WING_NAMES: [string, string][] = [
  ["force", "downforce, straight air"],
  ["downforce", "CzS"],
  ["drag", "CxS"],
  ["margin", "incidence left before the stall"],
  ["vortex", "tip vortex: circulation over road speed"],
  ["hinge", "moment about the hinge, towards more incidence"],
  ["actuator", "force at the lever that holds it"],
];

function LiveTable({ point, span, held, isLate }: {
  point: PointLive | null; span: SpanLive | null; held: Held | null; isLate: boolean;
}) {
  if (!point) return null;
  const rows = (names: [string, string][], now: Record<string, Num> | undefined, old: Record<string, Num> | undefined) =>
    names.filter(([key]) => now?.[key]).map(([key, label]) => (
      <tr key={label}>
        <th scope="row">{label}</th>
        <td><NumberText number={now![key]} label={label} stack /></td>
        {held && <td>{old?.[key] && <NumberText number={old[key]} label={`${label}, held`} stack />}</td>}
      </tr>
    ));
  return (
    <div class="livesection" aria-live="polite">
      <Wide label="Numbers of the section">
        <table>
          <caption>{held ? `Now: ${point.at}. Held: ${held.point.at}` : point.at}</caption>
          <thead>
            <tr>
              <th scope="col">What</th>
              <th scope="col">Now</th>
              {held && <th scope="col" class="rear">Held</th>}
            </tr>
          </thead>
          <tbody>{rows(NAMES, point.numbers, held?.point.numbers)}</tbody>
          <tbody class={isLate ? "waiting" : ""}>
            {rows(WING_NAMES, span?.numbers, held?.span?.numbers)}
          </tbody>
        </table>
      </Wide>
    </div>
  );
}

function PolarChart({ tree, point, span, held, now, isMoved }: {
  tree: SectionTree; point: PointLive | null; span: SpanLive | null; held: Held | null; now: Setting; isMoved: boolean;
}) {
  const p = tree.polar;
  const series: Series[] = [];
  if (p && !isMoved && now.gurney_mm === 0) {
    series.push({ label: "pessimistic constants", tone: "faint", x: p.alpha_deg, y: p.lift_low, dashed: true });
    const pick = (list: (number | null)[], keep: boolean[]) => list.filter((_, i) => keep[i]);
    const failed = p.state.map((s) => s === "failed");
    const past = p.state.map((s) => s === "separated" || s === "beyond");
    if (past.includes(true)) series.push({ label: "separated or past the stall: no promise", tone: "tuft", dots: true, x: pick(p.alpha_deg, past), y: pick(p.lift, past) });
    series.push({ label: "no answer", tone: "tuft", dots: true, x: p.alpha_deg.filter((_, i) => failed[i]), y: p.lift.filter((_, i) => failed[i]).map(() => 0) });
  }
  if (held?.span) series.push({ label: "held", tone: "rear", x: held.span.arrays.alpha_deg, y: held.span.arrays.lift, dashed: true });
  if (span) series.push({ label: "now", tone: "ink", x: span.arrays.alpha_deg, y: span.arrays.lift });
  else if (p) series.push({ label: "as drawn", tone: "ink", x: p.alpha_deg, y: p.lift });
  const lift = point?.numbers.lift?.best;
  return (
    <LineChart title="Polar of the section, free air" xLabel="incidence of the section, °" yLabel="lift coefficient, computed" series={series}>
      {lift != null && <p class="faint">Held level past the last incidence that converged. Nothing is promised further than 2° past maximum lift.</p>}
    </LineChart>
  );
}

function SpanChart({ tree, span, held }: { tree: SectionTree; span: SpanLive | null; held: Held | null }) {
  const series: Series[] = [];
  if (held?.span) series.push({ label: "held", tone: "rear", x: held.span.arrays.y, y: held.span.arrays.load, dashed: true });
  if (span) {
    series.push({ label: "elliptic, same total", tone: "faint", x: span.arrays.y, y: span.arrays.ideal, dashed: true });
    series.push({ label: "now", tone: "ink", x: span.arrays.y, y: span.arrays.load });
  } else if (tree.span) {
    series.push({ label: "elliptic, same total", tone: "faint", x: tree.span.y_m, y: tree.span.ideal, dashed: true });
    series.push({ label: "as drawn", tone: "ink", x: tree.span.y_m, y: tree.span.load });
  }
  return <LineChart title="Load along the span" xLabel="y, m" yLabel="m² per m" series={series} />;
}

function Sheet({ tree }: { tree: SectionTree }) {
  return (
    <>
      {tree.loads.length > 0 && (
        <section>
          <h2>Part sheet: {tree.wing}, {tree.state}</h2>
          <dl class="pairs">
            {tree.loads.map((row) => (
              <div key={row.key}>
                <dt>{row.label}</dt>
                <dd><NumberText number={row.number} label={row.label} /></dd>
              </div>
            ))}
          </dl>
          <Notices notices={tree.cautions} />
        </section>
      )}
      {tree.edge && <EdgeBehind edge={tree.edge} />}
      {tree.tolerances.length > 0 && <Tolerances tree={tree} />}
      <section>
        <h2>Shape</h2>
        <p class="faint">{tree.is_stand_in ? `${tree.outline} stands in; the budget uses the estimate.` : `${tree.outline}; the budget uses sections and lattice.`}</p>
        {tree.shape.map((row) => (
          <div key={row.element}>
            <h3>{row.element}: {row.outline}</h3>
            <dl class="numbers shape">
              {row.values.map((v) => (
                <div key={v.label}>
                  <dt class="what">{v.label}</dt>
                  <dd><NumberText number={v.number} label={v.label} /></dd>
                </div>
              ))}
            </dl>
            <Notices notices={row.notices} />
          </div>
        ))}
      </section>
    </>
  );
}

function Tolerances({ tree }: { tree: SectionTree }) {
  return (
    <section>
      <h2>What build errors cost</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="What build errors cost">
        <table>
          <caption>The worse of the two directions, for the section at its setting, on the plan area</caption>
          <thead>
            <tr><th scope="col">What</th><th scope="col">Off by</th><th scope="col">CzS</th><th scope="col">CxS</th></tr>
          </thead>
          <tbody>
            {tree.tolerances.map((row) => (
              <tr key={row.what}>
                <th scope="row">{row.what}{row.note && <small>{row.note}</small>}</th>
                <td>{row.error}</td>
                <td>{row.lift ? <NumberText number={row.lift} label={`${row.what} CzS`} /> : "no answer"}</td>
                <td>{row.drag ? <NumberText number={row.drag} label={`${row.what} CxS`} /> : "no answer"}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}
