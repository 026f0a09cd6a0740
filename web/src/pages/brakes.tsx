/** Brakes: energy of a lap, disc, pad and fluid against their windows, ducts under the hand. */

import { batch, useComputed, useSignal } from "@preact/signals";
import { useLive } from "../live";
import { line } from "../store";
import type { Num } from "../types";
import { Choice, Slider } from "../widgets/control";
import { NumberText } from "../widgets/num";
import { RefusedNote } from "../widgets/state";
import { type Band, TemperatureChart } from "../widgets/temperature";
import "./cooling.css";
import { Page } from "./page";

interface WindowRow {
  part: string;
  low_c: number | null;
  high_c: number;
  peak_c: number;
  working: Num;
  hottest: Num;
  over: Num;
  under: Num;
  verdict: string;
}

interface Option {
  name: string;
  flow: Num;
  drag: Num;
  peak_surface: Num;
  peak_mean: Num;
  lap_mean: Num;
  peak_fluid: Num;
  trace: Band & { time_s: number[] };
  windows: WindowRow[];
}

interface AxleRow {
  axle: string;
  options: Option[];
  need: { limit_c: number; has: Num | null; flow: Num | null; area: Num | null; drag: Num | null; text: string };
}

interface StopRow {
  number: number;
  fast_kmh: number;
  slow_kmh: number;
  energy: Num;
  duration: Num;
  distance: Num;
  rise_front?: Num;
  rise_rear?: Num;
}

interface BrakesTree {
  at: string;
  answer: string;
  source: string;
  energy: Num;
  power: Num;
  stops: StopRow[];
  axles: AxleRow[];
  kits: { state: string; energy: Num; power: Num; peak: Num }[];
}

export function BrakesSheet() {
  return (
    <Page<BrakesTree> title="Brakes" address="/brakes.json"
      lead="What a lap gives the brakes, how hot disc, pad and fluid become, and how large the duct must be.">
      {(tree) => (
        <>
          <p class="answer small">{tree.answer}</p>
          <dl class="sum">
            <div>
              <dt>Energy, one lap</dt>
              <dd><NumberText number={tree.energy} label="energy of a lap" /></dd>
            </div>
            <div>
              <dt>Mean power</dt>
              <dd><NumberText number={tree.power} label="mean power" /></dd>
            </div>
          </dl>
          {tree.axles.map((axle) => (
            <Axle key={axle.axle} axle={axle} at={tree.at} />
          ))}
          <DuctBench axles={tree.axles} />
          <Stops rows={tree.stops} source={tree.source} />
          <Kits rows={tree.kits} />
        </>
      )}
    </Page>
  );
}

const TONE: Record<string, string> = { "too hot": "bad", "too cold": "maybe", doubtful: "maybe", inside: "good" };

function Axle({ axle, at }: { axle: AxleRow; at: string }) {
  const names = axle.options.map((o) => o.name);
  const shown = useSignal(names[names.length - 1]);
  const option = axle.options.find((o) => o.name === shown.value) ?? axle.options[0];
  const disc = option.windows[0];
  return (
    <section aria-label={`${axle.axle} brakes`}>
      <h2 class={axle.axle}>{axle.axle === "front" ? "Front brakes" : "Rear brakes"}</h2>
      {names.length > 1 && (
        <Choice label={`Shown, ${axle.axle}`} value={shown.value} options={names.map((n) => [n, n] as const)} onPick={(n) => (shown.value = n)} />
      )}
      <div class="pairofcharts">
        <TemperatureChart title={`Surface of one ${axle.axle} disc, ${option.name}`} x={option.trace.time_s} xLabel={`time, s; ${at}`}
          band={option.trace} window={disc.low_c === null ? undefined : [disc.low_c, disc.high_c]}
          limit={{ at: disc.peak_c, text: `short peaks to ${Math.round(disc.peak_c)} °C` }}
          label={`Surface temperature over the stint, ${option.name}: peaks at ${option.peak_surface.text}. The table beside it has every window.`} />
        <div class="scroll" tabIndex={0} role="region" aria-label={`Windows, ${axle.axle}`}>
          <table>
            <thead>
              <tr>
                <th scope="col">Part, window</th>
                <th scope="col">Mean, last lap</th>
                <th scope="col">Highest</th>
              </tr>
            </thead>
            <tbody>
              {option.windows.map((w) => (
                <tr key={w.part}>
                  <th scope="row">
                    {w.part}
                    <small>
                      {w.low_c === null ? `below ${Math.round(w.high_c)} °C` : `${Math.round(w.low_c)} to ${Math.round(w.high_c)} °C`}
                    </small>
                    <span class={`word ${TONE[w.verdict] ?? ""}`}>{w.verdict}</span>
                  </th>
                  <td><NumberText number={w.working} label={`${w.part}: mean`} stack /></td>
                  <td>
                    <NumberText number={w.hottest} label={`${w.part}: highest`} stack />
                    <small>too hot: {w.over.text}</small>
                  </td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      </div>
      <Need axle={axle} option={option} />
    </section>
  );
}

function Need({ axle, option }: { axle: AxleRow; option: Option }) {
  const { need } = axle;
  if (need.text) return <p>{need.text}</p>;
  return (
    <p>
      {(option.flow.best ?? 0) > 0 ? (
        <>
          The duct leads <NumberText number={option.flow} label="air led to the disc" /> to one disc; the air of both sides
          costs <NumberText number={option.drag} label="drag of the ducts' air" /> of CxS.
        </>
      ) : (
        <>No air is led to the discs, which costs no drag.</>
      )}
      {need.flow && need.flow.best === 0 && <> No air need be led to it to stay below {Math.round(need.limit_c)}&nbsp;°C.</>}
      {need.flow && need.flow.best !== 0 && (
        <>
          {" "}
          To hold its surface below {Math.round(need.limit_c)}&nbsp;°C in nine draws of ten it needs <b>{need.flow.text}</b>
          {need.area && need.has && (
            <>
              , a duct of <b>{need.area.text}</b> where there are <NumberText number={need.has} label="duct today" />
            </>
          )}
          {need.drag && (
            <>
              ; the air of both sides then costs <NumberText number={need.drag} label="drag of the air needed" /> of CxS
            </>
          )}
          .
        </>
      )}
    </p>
  );
}

interface Live {
  at: string;
  numbers: Record<string, Num>;
}

function DuctBench({ axles }: { axles: AxleRow[] }) {
  const ducted = axles.filter((a) => a.need.has);
  const axle = useSignal(ducted[0]?.axle ?? "");
  const scale = useSignal(1);
  const air = useSignal(28);
  const wanted = useComputed(() =>
    axle.value ? { axle: axle.value, duct: scale.value, air_c: air.value } : null,
  );
  const { live, refusal } = useLive(
    wanted,
    async (ask: object) => (await line.ask({ do: "brakes_at", ...ask })).header as unknown as Live,
  );
  if (ducted.length === 0) return null;
  const has = ducted.find((a) => a.axle === axle.value)?.need.has?.best ?? 0;
  return (
    <section aria-label="The duct under the hand">
      <h2>The duct under the hand</h2>
      <div class="controls">
        <div class="sliders">
          <Slider label="Duct area" value={Math.round(has * scale.value)} low={0} high={Math.round(2.5 * has)} step={1} unit="cm²"
            onMove={(v) => (scale.value = v / has)} />
          <Slider label="Air" value={air.value} low={-5} high={48} step={1} unit="°C" onMove={(v) => (air.value = v)} />
        </div>
        {ducted.length > 1 && (
          <Choice label="Axle" value={axle.value} options={ducted.map((a) => [a.axle, a.axle] as const)}
            onPick={(a) => batch(() => ([axle.value, scale.value] = [a, 1]))} />
        )}
      </div>
      {refusal.value && <RefusedNote refusal={refusal.value} />}
      {live.value && (
        <dl class="pairs" aria-live="polite">
          {([["flow", "air to one disc"], ["lap_mean", "mean of the last lap"], ["peak_surface", "highest of the surface"]] as const).map(
            ([key, label]) => (
              <div key={key}>
                <dt>{label}</dt>
                <dd><NumberText number={live.value!.numbers[key]} label={label} /></dd>
              </div>
            ),
          )}
        </dl>
      )}
    </section>
  );
}

function Stops({ rows, source }: { rows: StopRow[]; source: string }) {
  return (
    <section aria-label="Stops of a lap">
      <h2>Stops of a lap</h2>
      <p class="faint">{source}</p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Stops as a table">
        <table>
          <thead>
            <tr>
              <th scope="col">Stop</th>
              <th scope="col">To the brakes</th>
              <th scope="col">Time</th>
              <th scope="col">Length</th>
              <th scope="col" class="front">Even rise, front</th>
              <th scope="col" class="rear">Even rise, rear</th>
            </tr>
          </thead>
          <tbody>
            {rows.map((row) => (
              <tr key={row.number}>
                <th scope="row" class="nowrap">
                  {row.number}
                  <small>{row.fast_kmh} to {row.slow_kmh}&nbsp;km/h</small>
                </th>
                {([row.energy, row.duration, row.distance, row.rise_front, row.rise_rear] as const).map((n, k) => (
                  <td key={k}>{n && <NumberText number={n} label={`stop ${row.number}`} stack />}</td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Kits({ rows }: { rows: BrakesTree["kits"] }) {
  if (rows.length < 2) return null;
  return (
    <section aria-label="What a kit does to them">
      <h2>What a kit does to them</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="States as a table">
        <table>
          <thead>
            <tr>
              <th scope="col">State</th>
              <th scope="col">Energy of a lap</th>
              <th scope="col">Power while braking</th>
              <th scope="col">Front disc's peak</th>
            </tr>
          </thead>
          <tbody>
            {rows.map((row, k) => (
              <tr key={row.state}>
                <th scope="row">{row.state}</th>
                <td>{k === 0 ? "as it is" : row.energy.text}</td>
                <td>{k === 0 ? "as it is" : row.power.text}</td>
                <td><NumberText number={row.peak} label={`${row.state}: peak`} /></td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}
