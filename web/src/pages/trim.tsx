/** The trim table: the page the driver holds, and a slider between its rows. */

import { useHandles, useLive } from "../live";
import { tie, withUnit, write } from "../number";
import { line } from "../store";
import type { Num } from "../types";
import { Slider } from "../widgets/control";
import { NumberText, RangeBar, Scale, spanOf } from "../widgets/num";
import { Empty, RefusedNote } from "../widgets/state";
import type { Block } from "../wire";
import { Verdict } from "./lap";
import { LapChart } from "./lap-chart";
import type { TrimPage, TrimRow } from "./lap-types";
import "./lap.css";
import { Page } from "./page";

export function TrimSheet() {
  return (
    <Page<TrimPage>
      title="Trim"
      lead="Settings that keep the front share within a band, in order of downforce; every one through the part engines, the platform and a lap."
      address="/trim.json"
    >
      {(tree) => (
        <div class="body">
          <p class="caution strong">
            <b>Caution.</b> {tree.caution}
          </p>
          <Request tree={tree} />
          <Table tree={tree} />
          <p class="do-first">{tie(tree.first_step)}</p>
          <Blanking tree={tree} />
          <Between tree={tree} />
          <LeftOut tree={tree} />
          <Save tree={tree} />
        </div>
      )}
    </Page>
  );
}

function Request({ tree }: { tree: TrimPage }) {
  return (
    <p>
      {tree.circuit}, {tree.mass_state}. Wanted in fast corners: {tree.wanted.text} front, ±
      {tree.band.text}. Changes are against “{tree.baseline}”; ranges hold four times out of five (
      {tree.draws} draws). {tree.no_go}
    </p>
  );
}

function Table({ tree }: { tree: TrimPage }) {
  const all = [...tree.rows, ...tree.special];
  const [low, high] = spanOf(tree.rows.map((row) => row.lap), true);
  if (all.length === 0) return <Empty text="No setting keeps the balance. Widen [lap.trim] band." />;
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Trim table">
      <table class="laps trim">
        <thead>
          <tr>
            <th scope="col">Setting</th>
            <th scope="col">hf / hr, mm</th>
            <th scope="col">CzS</th>
            <th scope="col">Front</th>
            <th scope="col">Lap</th>
            <th scope="col" class="wide">
                <span class="unseen">Range</span>
              </th>
            <th scope="col">Top</th>
            <th scope="col">{tree.corners[0]}</th>
            <th scope="col">{tree.corners[1]}</th>
          </tr>
        </thead>
        <tbody>
          {tree.rows.map((row) => (
            <Row key={row.name} row={row} low={low} high={high} />
          ))}
        </tbody>
        <tbody class="special">
          {tree.special.map((row) => (
            <Row key={row.name} row={row} low={low} high={high} />
          ))}
        </tbody>
        <tfoot>
          <tr>
            <td colSpan={5} />
            <td>
              <Scale low={low} high={high} unit="s" />
            </td>
            <td colSpan={3} class="faint">
              left is quicker
            </td>
          </tr>
        </tfoot>
      </table>
    </div>
  );
}

function Row({ row, low, high }: { row: TrimRow; low: number; high: number }) {
  const isDry = row.kind === "dry";
  const title = isDry ? tie(Object.values(row.values).join(", ")) : row.name;
  const cell = (key: "downforce" | "share" | "lap" | "top" | "first" | "second") => (
    <td>
      <NumberText number={row[key]} label={`${row.name}: ${key}`} stack />
    </td>
  );
  return (
    <tr class={row.no_go && isDry ? "nogo" : ""}>
      <th scope="row">
        {row.no_go && isDry && <span class="nogo-word">not to be run</span>} {title}
        {!isDry && <small>{tie([row.kind, ...Object.values(row.values)].join(", "))}</small>}
        {row.mind && (!row.no_go || !isDry) && <small>{row.mind}</small>}
      </th>
      <td class="nowrap">
        {write(row.front_mm, 0)} / {write(row.rear_mm, 0)}
        <small>
          fast {write(row.fast_mm[0], 0)} / {write(row.fast_mm[1], 0)}
        </small>
      </td>
      {cell("downforce")}
      {cell("share")}
      {cell("lap")}
      <td>{isDry && <RangeBar number={row.lap} low={low} high={high} label={`${row.name}: lap`} />}</td>
      {cell("top")}
      {cell("first")}
      {cell("second")}
    </tr>
  );
}

function Blanking({ tree }: { tree: TrimPage }) {
  if (tree.blanking.length === 0) return null;
  return (
    <section aria-label="Blanking">
      <h2>Blanking by air temperature</h2>
      <dl class="pairs">
        {tree.blanking.map((row) => (
          <div key={row.step}>
            <dt>from {row.above.text}</dt>
            <dd>{row.step}</dd>
          </div>
        ))}
      </dl>
    </section>
  );
}

interface Live {
  at: string;
  numbers: Record<"lap" | "top" | "downforce" | "share" | "first" | "second", Num>;
  verdict: string;
  no_go: string;
  draws: number;
  outside: number;
  arrays: Record<string, Block>;
}

function Between({ tree }: { tree: TrimPage }) {
  const form = tree.live;
  const { now: ask } = useHandles({
    ...form.now, value: Math.min(form.high, Math.max(form.low, form.now.value)),
  });
  const { live, refusal } = useLive(ask, async (wanted: typeof ask.value) => {
    const { header, arrays } = await line.ask({ do: "trim_at", ...wanted });
    return { ...(header as unknown as Live), arrays };
  });
  const move = (change: Partial<typeof ask.value>) => (ask.value = { ...ask.value, ...change });
  const now = ask.value;
  return (
    <section aria-label="Between the rows">
      <h2>Between the rows</h2>
      <div class="sliders">
        <Slider label={form.label} value={now.value} low={form.low} high={form.high} step={0.1} unit={form.unit}
          onMove={(value) => move({ value })} />
        <Slider label="Front at rest" value={now.front_mm} low={form.heights_mm.front[0]} high={form.heights_mm.front[1]}
          step={0.5} unit="mm" onMove={(front_mm) => move({ front_mm })} />
        <Slider label="Rear at rest" value={now.rear_mm} low={form.heights_mm.rear[0]} high={form.heights_mm.rear[1]}
          step={0.5} unit="mm" onMove={(rear_mm) => move({ rear_mm })} />
      </div>
      {refusal.value && <RefusedNote refusal={refusal.value} />}
      {live.value ? <Answer live={live.value} tree={tree} isOld={refusal.value !== null} /> : !refusal.value && <p class="faint">Waiting for the lap.</p>}
    </section>
  );
}

function Answer({ live, tree, isOld }: { live: Live; tree: TrimPage; isOld: boolean }) {
  const { numbers, arrays } = live;
  const x = Array.from(arrays.station ?? [], (s) => s / 1000);
  const base = Array.from(arrays.base_kmh ?? []);
  const rows: [string, Num][] = [
    [`Lap against “${tree.baseline}”`, numbers.lap],
    ["CzS in fast corners", numbers.downforce],
    ["Front share there", numbers.share],
    ["Top speed", numbers.top],
    [`Slowest in ${tree.corners[0]}, change`, numbers.first],
    [`Slowest in ${tree.corners[1]}, change`, numbers.second],
  ];
  return (
    <div class={`lapsplit${isOld ? " waiting" : ""}`}>
      <div class="livelap" data-at={live.at}>
        <p class="at">
          {live.at} <Verdict word={live.verdict} />
        </p>
        {live.no_go && <p class="nogo-word">{live.no_go}</p>}
        <dl class="pairs">
          {rows.map(([label, number]) => (
            <div key={label}>
              <dt>{label}</dt>
              <dd>
                <NumberText number={number} label={label} />
              </dd>
            </div>
          ))}
        </dl>
        {live.outside > 0.005 && (
          <p class="faint">{write(100 * live.outside, 0)} % of the lap lies outside the map and is extrapolated.</p>
        )}
      </div>
      {x.length > 0 && (
        <LapChart title="Speed" x={x} unit="km/h" height={220}
          lines={[
            { label: "here", tone: "ink", values: Array.from(arrays.speed_kmh) },
            ...(base.length === x.length ? [{ label: tree.baseline, tone: "faint" as const, dash: true, values: base }] : []),
          ]} />
      )}
    </div>
  );
}

function LeftOut({ tree }: { tree: TrimPage }) {
  if (tree.left_out.length === 0) return null;
  return (
    <details>
      <summary>{tree.left_out.length} settings outside the band</summary>
      <div class="scroll" tabIndex={0} role="region" aria-label="Settings outside the band">
        <table class="laps">
          <caption>The car in the middle of the draws.</caption>
          <thead>
            <tr>
              <th scope="col">Setting</th>
              <th scope="col">Front share</th>
              <th scope="col">CzS</th>
              <th scope="col">Lap</th>
            </tr>
          </thead>
          <tbody>
            {tree.left_out.map((row) => (
              <tr key={row.name}>
                <th scope="row">{tie(row.name)}</th>
                <td class="nowrap">{withUnit(write(row.share, 1), "%")}</td>
                <td class="nowrap">{withUnit(write(row.downforce, 2), "m²")}</td>
                <td class="nowrap">{withUnit(write(row.lap, 2), "s")}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </details>
  );
}

function Save({ tree }: { tree: TrimPage }) {
  const save = () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([tree.csv], { type: "text/csv" }));
    link.download = "trim.csv";
    link.click();
    URL.revokeObjectURL(link.href);
  };
  return (
    <p class="meta">
      <button type="button" class="do quiet" onClick={save}>
        Save the table as CSV
      </button>
      <span class="faint">
        The page for the driver: <code>tuftwork trim --save</code> writes trim.pdf and trim.csv.
      </span>
    </p>
  );
}
