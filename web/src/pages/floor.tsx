/** The floor: pressure in plan under the hand, sweep of ride height, layer, prices, strakes, levers. */

import { useComputed } from "@preact/signals";
import { useHandles, useLive } from "../live";
import { withUnit, write } from "../number";
import { line, place, turn } from "../store";
import type { Num } from "../types";
import { Choice, Slider } from "../widgets/control";
import { Tuft } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { Busy, Notices, RefusedNote } from "../widgets/state";
import { Wide } from "../widgets/wide";
import { type FloorField, FloorPlan, FloorSide } from "./floor-draw";
import { CauseTable, TrailList } from "./floor-cause";
import { type FrontRow, FrontSection } from "./floor-front";
import type { Cause, Trail } from "./floor-trail";
import { Page } from "./page";
import { LineChart, type Series } from "./sections-draw";
import "./floor.css";

interface Handles {
  front_mm: number;
  rear_mm: number;
  front_least_mm: number;
  rear_least_mm: number;
  front_most_mm: number;
  rear_most_mm: number;
  angle_deg: number;
  kick_mm: number;
  kick_least_mm: number;
  kick_most_mm: number;
  edge_gap_mm: number | null;
  skirt_mm: number | null;
  roll_deg: number;
  exit_pressure: number;
  mixing: number;
  discharge: number;
  half_width_m: number;
  tail_half_m: number;
  kick_m: number;
  front_m: number;
  exit_m: number;
  wheelbase_m: number;
  strake_offset_mm: number;
  strake_offset_most_mm: number;
  strake_start_mm: number;
  strake_gap_pct: number;
  strake_toe_deg: number;
}

interface Sweep {
  rear_mm: number[];
  best: number[];
  low: number[];
  high: number[];
  budget: (number | null)[];
  budget_low: (number | null)[];
  budget_high: (number | null)[];
  shape_factor: number[];
  peak_mm: number | null;
  now_mm: number;
}

interface Prices {
  refused?: string;
  kick_m: number;
  angle_deg: number;
  area_ratio: number;
  gain: Num;
  moved_mm: number;
  rows: { name: string; binds: boolean; gain: Num; free: Num }[];
}

interface Flows {
  inlet: number;
  left: number;
  right: number;
  exit: number;
  inlet_share: number;
  leak_share: number;
}

interface Calibration {
  sweep: string;
  refused: string[];
  answer: string;
  rows: { key: string; label: string; before: Num; after: Num }[];
  points: { rear_mm: number; measured: Num; before: number; after: number; left_pct: number }[];
  notices: string[];
}

interface Level {
  answer: string;
  rows: { key: string; label: string; before: Num; after: Num; moved: number }[];
}

interface FloorTree {
  floors: string[];
  floor: string;
  state: string;
  states: string[];
  speed_kmh: number;
  at: string;
  engine: string;
  answer: string;
  handles: Handles | null;
  loads: { key: string; label: string; number: Num }[];
  sweep: Sweep | null;
  field: FloorField | null;
  flows: Flows | null;
  hysteresis: string;
  prices: Prices | null;
  fronts: FrontRow[];
  strakes: { offset_mm: number; start_m: number; gap_pct: number; gain: Num }[];
  levers: { name: string; per_mm: Num; per_kn: Num; force_n: number; front_share_pct: number }[];
  cautions: string[];
  trails: Trail[];
  cause: Cause | null;
  calibration: Calibration | null;
  level: Level | null;
}

interface Setting {
  front_mm: number;
  rear_mm: number;
  roll_deg: number;
  angle_deg: number;
  kick_mm: number;
  edge_gap_mm: number | null;
  skirt_mm: number | null;
  exit_pressure: number;
  mixing: number;
  discharge: number;
  strake_offset_mm: number;
  strake_start_mm: number;
  strake_gap_pct: number;
  strake_toe_deg: number;
}

interface LiveFloor {
  at: string;
  numbers: Record<string, Num>;
  notices: string[];
  flows: Flows;
  trails: Trail[];
  field: FloorField;
  setting: Setting;
}

const settingOf = (h: Handles): Setting => ({
  front_mm: h.front_mm, rear_mm: h.rear_mm, roll_deg: h.roll_deg, angle_deg: h.angle_deg, kick_mm: h.kick_mm,
  edge_gap_mm: h.edge_gap_mm, skirt_mm: h.skirt_mm, exit_pressure: h.exit_pressure, mixing: h.mixing, discharge: h.discharge,
  strake_offset_mm: h.strake_offset_mm, strake_start_mm: h.strake_start_mm, strake_gap_pct: h.strake_gap_pct, strake_toe_deg: h.strake_toe_deg,
});

export function FloorSheet() {
  const { floor = "", state = "" } = place.value.query;
  const query = new URLSearchParams(Object.entries({ floor, state }).filter(([, v]) => v)).toString();
  return (
    <Page<FloorTree> title="Floor" address={`/floor.json${query ? `?${query}` : ""}`}
      lead="The channel between floor and road, solved in plan. Lower the car, move the ramp, seal the edges, and see what the air does.">
      {(tree) => <FloorView key={`${tree.floor} ${tree.state}`} tree={tree} />}
    </Page>
  );
}

async function floorAt(tree: FloorTree, setting: Setting): Promise<LiveFloor> {
  const { header, arrays } = await line.ask({ do: "floor_at", floor: tree.floor, state: tree.state, ...setting });
  const head = header as unknown as Omit<LiveFloor, "field" | "setting"> & { shape: [number, number]; stalled_from: number | null };
  const field = { ...(arrays as unknown as FloorField), shape: head.shape, stalled_from: head.stalled_from };
  return { at: head.at, numbers: head.numbers, notices: head.notices, flows: head.flows, trails: head.trails, field, setting };
}

function FloorView({ tree }: { tree: FloorTree }) {
  const first = tree.handles && settingOf(tree.handles);
  const { now: held, isMoved } = useHandles<Partial<Setting>>(first ?? {});
  const setting = useComputed(() => ("front_mm" in held.value ? (held.value as Setting) : null));
  const { live, refusal } = useLive(setting, (wanted: Setting) => floorAt(tree, wanted));
  const move = (change: Partial<Setting>) => {
    if (setting.value) held.value = { ...held.value, ...change };
  };
  const field = live.value?.field ?? tree.field;
  const flows = live.value?.flows ?? tree.flows;
  const trails = live.value?.trails ?? tree.trails ?? [];
  const h = tree.handles;
  const now = setting.value;
  return (
    <>
      <p class="answer floor-answer"><Tuft label="Wants attention now" /> {tree.answer}</p>
      <div class="controls">
        {tree.floors.length > 1 && (
          <Choice label="Floor" value={tree.floor} options={tree.floors.map((f) => [f, f] as const)} onPick={(f) => turn({ floor: f }, true)} />
        )}
        {tree.states.length > 1 && (
          <Choice label="State" value={tree.state} options={tree.states.map((s) => [s, s] as const)} onPick={(s) => turn({ state: s }, true)} />
        )}
        {h && now && (
          <div class="sliders floor-sliders">
            <Slider label="Front ride height" value={now.front_mm} low={h.front_least_mm} high={h.front_most_mm} step={0.5} unit="mm" onMove={(front_mm) => move({ front_mm })} />
            <Slider label="Rear ride height" value={now.rear_mm} low={h.rear_least_mm} high={h.rear_most_mm} step={0.5} unit="mm" onMove={(rear_mm) => move({ rear_mm })} />
            <Slider label="Roll" value={now.roll_deg} low={-2} high={2} step={0.1} unit="°" onMove={(roll_deg) => move({ roll_deg })} />
            <Slider label="Ramp angle" value={now.angle_deg} low={0} high={22} step={0.1} unit="°" onMove={(angle_deg) => move({ angle_deg })} />
            <Slider label="Kick line" value={now.kick_mm} low={h.kick_least_mm} high={h.kick_most_mm} step={5} unit="mm" onMove={(kick_mm) => move({ kick_mm })} />
            {now.edge_gap_mm !== null ? (
              <Slider label="Gap under the edges" value={now.edge_gap_mm} low={0} high={100} step={1} unit="mm" onMove={(edge_gap_mm) => move({ edge_gap_mm })} />
            ) : (
              <Slider label="Skirt under the edges" value={now.skirt_mm ?? 0} low={0} high={Math.floor(0.9 * Math.min(now.front_mm, now.rear_mm))} step={0.5} unit="mm" onMove={(skirt_mm) => move({ skirt_mm })} />
            )}
            <Slider label="Exit pressure, Cp × 100" value={100 * now.exit_pressure} low={-80} high={0} step={1} unit="" onMove={(v) => move({ exit_pressure: v / 100 })} />
            <Slider label="Loss of mixing" value={100 * now.mixing} low={0} high={100} step={1} unit="%" onMove={(v) => move({ mixing: v / 100 })} />
            <Slider label="Strakes on trial" value={now.strake_offset_mm} low={0} high={h.strake_offset_most_mm} step={5} unit="mm" onMove={(strake_offset_mm) => move({ strake_offset_mm })} />
            {now.strake_offset_mm > 0 && (
              <>
                <Slider label="Strakes start at" value={now.strake_start_mm} low={h.kick_least_mm} high={h.kick_most_mm} step={5} unit="mm" onMove={(strake_start_mm) => move({ strake_start_mm })} />
                <Slider label="Gap under strakes" value={now.strake_gap_pct} low={5} high={95} step={1} unit="%" onMove={(strake_gap_pct) => move({ strake_gap_pct })} />
                <Slider label="Toe of strakes" value={now.strake_toe_deg} low={-12} high={12} step={0.5} unit="°" onMove={(strake_toe_deg) => move({ strake_toe_deg })} />
              </>
            )}
          </div>
        )}
        <div class="deeds">
          {isMoved && first && (
            <button type="button" class="do quiet" onClick={() => move(first)}>Back to the project's setting</button>
          )}
        </div>
      </div>
      {refusal.value && <RefusedNote refusal={refusal.value} />}
      {!field && !refusal.value && tree.floors.length > 0 && <Busy what="Solving the floor" />}
      {field && h && (
        <>
          <FloorPlan field={field} front={h.front_m} exit={h.exit_m} half={h.half_width_m} tail={h.tail_half_m}
            kick={(now?.kick_mm ?? h.kick_mm) / 1000} wheelbase={h.wheelbase_m} trails={trails} isRefused={refusal.value !== null} />
          <TrailList trails={trails} />
          <FloorSide field={field} front={h.front_m} exit={h.exit_m} isRefused={refusal.value !== null} />
        </>
      )}
      <div class="floor-split">
        {tree.floors.length > 0 && <LoadTable tree={tree} live={live.value} flows={flows} />}
        {tree.sweep && <SweepChart sweep={tree.sweep} engine={tree.engine} now={now} live={live.value} isMoved={isMoved} />}
      </div>
      {live.value && <Notices notices={live.value.notices} />}
      {tree.cause && <CauseTable cause={tree.cause} />}
      <p class="faint">{tree.hysteresis}</p>
      {tree.level && <LevelTable found={tree.level} />}
      {tree.calibration && <CalibrationTables found={tree.calibration} />}
      {tree.prices && <PriceTable prices={tree.prices} />}
      {(tree.fronts ?? []).map((front) => <FrontSection key={front.name} front={front} />)}
      <div class="floor-split">
        {tree.strakes.length > 0 && <StrakeTable rows={tree.strakes} />}
        {tree.levers.length > 0 && <LeverTable rows={tree.levers} />}
      </div>
      <Notices notices={tree.cautions} />
    </>
  );
}

function LoadTable({ tree, live, flows }: { tree: FloorTree; live: LiveFloor | null; flows: Flows | null }) {
  return (
    <div class="floorloads" aria-live="polite">
      <Wide label="Loads of the floor">
        <table>
          <caption>{live?.at ?? tree.at}</caption>
          <thead><tr><th scope="col">What</th><th scope="col">As in the project</th><th scope="col">Now</th></tr></thead>
          <tbody>
            {tree.loads.map((row) => (
              <tr key={row.key}>
                <th scope="row">{row.label}</th>
                <td><NumberText number={row.number} label={row.label} stack /></td>
                <td>{live?.numbers[row.key] ? <NumberText number={live.numbers[row.key]} label={`${row.label}, now`} stack /> : "–"}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
      {flows && (
        <p>
          Of the air that leaves at the exit {withUnit(write(100 * flows.inlet_share, 0), "%")} came in at the front
          and {withUnit(write(100 * flows.leak_share, 0), "%")} through the side edges.
        </p>
      )}
    </div>
  );
}

function SweepChart({ sweep, engine, now, live, isMoved }: {
  sweep: Sweep; engine: string; now: Setting | null; live: LiveFloor | null; isMoved: boolean;
}) {
  const x = sweep.rear_mm;
  const series: Series[] = [
    { label: "80 % range", tone: "faint", x, y: sweep.low, dashed: true },
    { label: "", tone: "faint", x, y: sweep.high, dashed: true },
    { label: engine === "closed form" ? "budget, closed form" : "budget, channel table", tone: "rear", x, y: sweep.budget },
    { label: "channel in plan", tone: "ink", x, y: sweep.best },
  ];
  const load = live?.numbers.downforce?.best;
  const mark: [number, number] | undefined = now && load != null ? [isMoved ? now.rear_mm : sweep.now_mm, load] : undefined;
  return (
    <LineChart title="CzS of the floor, the car lowered at its rake" xLabel="rear ride height, mm" yLabel="m²" series={series} height={280} mark={mark}>
      <p class="faint">
        {sweep.peak_mm === null ? "The channel alone keeps gaining down to the lowest height shown." : `The channel makes most at ${withUnit(write(sweep.peak_mm, 0), "mm")}.`}
        {" "}The ring is the setting above.
      </p>
    </LineChart>
  );
}

/** What the whole car's measured rows made of this floor's open numbers. */
function LevelTable({ found }: { found: Level }) {
  return (
    <section class="floor-tied">
      <h2>Level, after what was measured</h2>
      <p>{found.answer}</p>
      <Wide label="Level after what was measured">
        <table>
          <thead><tr><th scope="col">Input</th><th scope="col">Before</th><th scope="col">After</th><th scope="col">Moved, in its standard deviations</th></tr></thead>
          <tbody>
            {found.rows.map((row) => (
              <tr key={row.key}>
                <th scope="row">{row.label}</th>
                <td><NumberText number={row.before} label={`${row.label}, before`} stack /></td>
                <td><NumberText number={row.after} label={`${row.label}, after what was measured`} stack /></td>
                <td class="n">{write(row.moved, 1)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}

function CalibrationTables({ found }: { found: Calibration }) {
  return (
    <section class="floor-tied">
      <h2>Tied to a ride-height sweep</h2>
      <p>{found.answer}</p>
      {found.refused.length > 1 && <Notices notices={found.refused.slice(1)} />}
      <Notices notices={found.notices} />
      {found.rows.length > 0 && (
        <div class="floor-split">
          <Wide label="Inputs before and after">
            <table>
              <thead><tr><th scope="col">Input</th><th scope="col">Before</th><th scope="col">After</th></tr></thead>
              <tbody>
                {found.rows.map((row) => (
                  <tr key={row.key}>
                    <th scope="row">{row.label}</th>
                    <td><NumberText number={row.before} label={`${row.label}, before`} stack /></td>
                    <td><NumberText number={row.after} label={`${row.label}, after`} stack /></td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Wide>
          <Wide label="Sweep before and after">
            <table>
              <thead><tr><th scope="col">Rear ride height</th><th scope="col">Measured CzS</th><th scope="col">Before</th><th scope="col">After</th><th scope="col">Left</th></tr></thead>
              <tbody>
                {found.points.map((point) => (
                  <tr key={point.rear_mm}>
                    <th scope="row">{withUnit(write(point.rear_mm, 1), "mm")}</th>
                    <td><NumberText number={point.measured} label={`Measured at ${point.rear_mm} mm`} stack /></td>
                    <td>{write(point.before, 3)}</td>
                    <td>{write(point.after, 3)}</td>
                    <td>{withUnit(write(point.left_pct, 1), "%")}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Wide>
        </div>
      )}
    </section>
  );
}

function PriceTable({ prices }: { prices: Prices }) {
  if (prices.refused) return <section><h2>Room over the ramp</h2><p>{prices.refused}</p></section>;
  return (
    <section>
      <h2>Room over the ramp</h2>
      <p>
        The best plane ramp under the hard points and the rules: {write(prices.angle_deg, 1)}° from
        station {withUnit(write(prices.kick_m, 2), "m")}, area ratio {write(prices.area_ratio, 1)}, worth <NumberText number={prices.gain} label="Best ramp over the present" /> more
        than the present one.
      </p>
      {prices.rows.length === 0 ? (
        <p class="faint">No hard points entered: add them to the floor as <code>hard_points</code> and each gets its price.</p>
      ) : (
        <div class="scroll" tabIndex={0} role="region" aria-label="Prices of hard points">
          <table>
            <thead><tr><th scope="col">Hard point</th><th scope="col">Touches the ramp</th><th scope="col">{prices.moved_mm} mm higher</th><th scope="col">Gone</th></tr></thead>
            <tbody>
              {prices.rows.map((row) => (
                <tr key={row.name}>
                  <th scope="row">{row.name}</th>
                  <td>{row.binds ? "yes" : "no"}</td>
                  <td><NumberText number={row.gain} label={`${row.name} higher`} /></td>
                  <td><NumberText number={row.free} label={`${row.name} gone`} /></td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
    </section>
  );
}

function StrakeTable({ rows }: { rows: FloorTree["strakes"] }) {
  return (
    <section>
      <h2>A pair of strakes in the diffuser</h2>
      <Wide label="Strakes as a table">
        <table>
          <thead><tr><th scope="col">From the middle</th><th scope="col">Gap left</th><th scope="col">CzS, ±40 %</th></tr></thead>
          <tbody>
            {rows.map((row) => (
              <tr key={`${row.offset_mm} ${row.gap_pct}`}>
                <th scope="row">{withUnit(`${row.offset_mm}`, "mm")}</th>
                <td>{withUnit(`${row.gap_pct}`, "%")} of the ride height</td>
                <td><NumberText number={row.gain} label={`Strakes at ${row.offset_mm} mm`} /></td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}

function LeverTable({ rows }: { rows: FloorTree["levers"] }) {
  return (
    <section>
      <h2>Where a millimetre pays</h2>
      <Wide label="Millimetres as a table">
        <table>
          <thead><tr><th scope="col">Move</th><th scope="col">CzS per mm</th><th scope="col">Holds</th><th scope="col">On the front</th></tr></thead>
          <tbody>
            {rows.map((row) => (
              <tr key={row.name}>
                <th scope="row">{row.name}</th>
                <td><NumberText number={row.per_mm} label={`${row.name}, per mm`} /></td>
                <td>{withUnit(`${row.force_n}`, "N")}</td>
                <td>{withUnit(write(row.front_share_pct, 0), "%")}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}
