/** Cooling: circuits against their limits, the air net under the hand, exits, forecast, tape. */

import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { useHandles, useLive } from "../live";
import { write } from "../number";
import { line } from "../store";
import type { Num } from "../types";
import { Choice, Slider } from "../widgets/control";
import { Tuft } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { even } from "../widgets/palette";
import { RefusedNote } from "../widgets/state";
import { bandOf, TemperatureChart } from "../widgets/temperature";
import { type Ask, type Move, PartAdd, PartEdit } from "./cooling-edit";
import { AirNet, type NetPart, type NetTree } from "./cooling-net";
import { Stint, type StintTree } from "./cooling-stint";
import "./cooling.css";
import { Page } from "./page";

interface CircuitRow {
  name: string;
  kind: string;
  what: string;
  coolers: string[];
  hottest: Num;
  worst: Num;
  heat: Num;
  limit: Num | null;
  over: Num | null;
  verdict: string;
}

interface ExitRow {
  exit: string;
  place: string;
  circuit: string;
  is_now: boolean;
  hottest: Num;
  over: Num;
  needed: Num | null;
  just: Num;
  drag: Num;
  front: Num;
  rear: Num;
  legality: string;
}

interface CoolingTree {
  at: string;
  answer: string;
  circuits: CircuitRow[];
  net: NetTree;
  gains: { circuit: string; part: string; kind: string; rows: { part: string; gain: Num }[] }[];
  exits: ExitRow[];
  forecast: { circuit: string; place: string; ambient_c: number[]; limit_c: number; numbers: Num[]; over: number[] }[];
  blanking: { circuit: string; ambient_c: number[]; blanking: number[]; temperature_c: number[][]; over: number[][]; advice: (number | null)[] }[];
  loads: { name: string; kind: string; front: Num; rear: Num; total: Num; drag: Num }[];
  controls: { speed_kmh: number; air_c: number; areas: { part: string; cm2: number; places: string[] }[]; cores: string[]; kinds: Record<string, string[]> };
  duty: string;
  stint: StintTree | null;
}

interface Live {
  net: NetTree;
  at: string;
  numbers: Record<string, Num>;
  over: Record<string, Num>;
  reversed: string[];
  lines: string[];
}

export function CoolingSheet() {
  return (
    <Page<CoolingTree> title="Cooling" address="/cooling.json"
      lead="One air net for the car: which circuit each cooler serves, where its air comes from and leaves, and what holds it back.">
      {(tree) => <CoolingView tree={tree} />}
    </Page>
  );
}

function CoolingView({ tree }: { tree: CoolingTree }) {
  const start: Ask = { speed: tree.controls.speed_kmh, air_c: tree.controls.air_c, areas: {}, places: {}, taped: {}, routes: {}, gone: [], added: [] };
  const { now: ask, isMoved } = useHandles<Ask>(start);
  const held = tree.gains.find((g) => tree.circuits.some((c) => c.name === g.circuit && c.verdict !== "inside" && c.verdict !== "no limit"));
  const chosen = useSignal<string>(held?.part ?? tree.net.parts[0].name);
  const { live, refusal } = useLive<Ask, Live>(
    ask,
    async (wanted) => (await line.ask({ do: "cooling_at", ...wanted })).header as unknown as Live,
  );
  const now = ask.value;
  const past = useSignal<{ ask: Ask; tag: string }[]>([]);
  const move: Move = (change, tag) => {
    const last = past.value[past.value.length - 1];
    // one drag of a slider is one step back
    if (last?.tag !== tag) past.value = [...past.value, { ask: now, tag }];
    ask.value = { ...now, ...change };
  };
  const undo = () => {
    const last = past.value[past.value.length - 1];
    if (!last) return;
    past.value = past.value.slice(0, -1);
    ask.value = last.ask;
  };
  const shown = isMoved ? live.value : null;
  const net = shown ? drawn(shown, tree.net) : tree.net;
  const picked = [...net.parts, ...net.nodes].some((p) => p.name === chosen.value) ? chosen.value : net.parts[0].name;
  useEffect(() => {
    const key = (event: KeyboardEvent) => {
      const inField = event.target instanceof HTMLElement && /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName);
      const isRange = event.target instanceof HTMLInputElement && event.target.type === "range";
      if (event.key !== "z" || !(event.ctrlKey || event.metaKey) || (inField && !isRange)) return;
      event.preventDefault();
      undo();
    };
    window.addEventListener("keydown", key);
    return () => window.removeEventListener("keydown", key);
  });
  return (
    <>
      <p class="answer small">
        {held && <Tuft label="Wants attention now" />} {tree.answer}
      </p>
      <p class="faint">{tree.duty}</p>
      <Circuits tree={tree} live={shown} />
      <section aria-label="The air net">
        <h2>The air net</h2>
        <p class="faint">
          Air runs from left to right, at {shown ? shown.at : tree.at}. The bar in each part is its share of the
          pressure spent. Select a part to change it.
        </p>
        <AirNet net={net} live={shown} held={held?.part} chosen={picked} onPick={(name) => (chosen.value = name)} />
        <Bench tree={tree} net={net} ask={now} live={shown} chosen={picked} move={move} />
        <PartAdd net={net} kinds={tree.controls.kinds} ask={now} move={move} onAdded={(name) => (chosen.value = name)} />
        <div class="controls">
          <div class="sliders">
            <Slider label="Speed" value={now.speed} low={40} high={300} step={1} unit="km/h" onMove={(speed) => move({ speed }, "speed")} />
            <Slider label="Air" value={now.air_c} low={-5} high={48} step={1} unit="°C" onMove={(air_c) => move({ air_c }, "air")} />
          </div>
          {past.value.length > 0 && (
            <button type="button" class="do quiet" onClick={undo}>
              Undo
            </button>
          )}
          {isMoved && (
            <button type="button" class="do quiet" onClick={() => move(start, "back")}>
              Back to the project's values
            </button>
          )}
        </div>
        {refusal.value && <RefusedNote refusal={refusal.value} />}
        {shown && shown.lines.length > 0 && (
          <div class="keep">
            To keep it, write into project.toml:
            {shown.lines.map((text, k) => (
              <code key={k + text}>{text}</code>
            ))}
          </div>
        )}
      </section>
      {held && <Gains held={held} />}
      <Exits rows={tree.exits} at={tree.at} />
      <Forecast rows={tree.forecast} />
      <Tape charts={tree.blanking} />
      <Stint stint={tree.stint} />
      <Loads rows={tree.loads} at={tree.at} />
    </>
  );
}

const TONE: Record<string, string> = { "over its limit": "bad", doubtful: "maybe", inside: "good" };

function Circuits({ tree, live }: { tree: CoolingTree; live: Live | null }) {
  const all = tree.circuits.flatMap((c) => [c.hottest, live?.numbers[`circuit ${c.name}`], c.limit]);
  const values = all.flatMap((n) => (n ? [n.low, n.high] : [])).filter((v): v is number => v !== null);
  const low = Math.min(...values) - 6;
  const high = Math.max(...values) + 6;
  return (
    <section aria-label="Circuits">
      <h2>Circuits</h2>
      <ul class="circuits">
        {tree.circuits.map((c) => {
          const number = live?.numbers[`circuit ${c.name}`] ?? c.hottest;
          const over = live ? live.over[c.name] : c.over;
          return (
            <li key={c.name}>
              <div>
                <b>{c.name}</b>
                <small>{c.coolers.join(", ")}</small>
              </div>
              <div>
                <div class="gauge">
                  <Gauge number={number} limit={c.limit?.best ?? null} low={low} high={high} />
                  <NumberText number={number} label={`${c.name}: ${c.what}`} />
                </div>
                <p class="meta">
                  {!live && <span class={`word ${TONE[c.verdict] ?? ""}`}>{c.verdict}</span>}
                  {c.limit && (
                    <span>
                      limit <NumberText number={c.limit} label={`${c.name}: limit`} />
                    </span>
                  )}
                  {over && <span>chance of crossing it {over.text}</span>}
                  {!live && (
                    <span>
                      if the worst minute lasted <NumberText number={c.worst} label={`${c.name}: worst minute`} />
                    </span>
                  )}
                  {!live && (
                    <span>
                      sheds <NumberText number={c.heat} label={`${c.name}: heat`} />
                    </span>
                  )}
                </p>
              </div>
            </li>
          );
        })}
      </ul>
    </section>
  );
}

function Gauge({ number, limit, low, high }: { number: Num; limit: number | null; low: number; high: number }) {
  const at = (v: number) => `${(100 * (v - low)) / (high - low || 1)}%`;
  return (
    <svg class="gaugebar rangebar" height="24" aria-hidden="true">
      <line x1="0" x2="100%" y1="12" y2="12" class="ground" />
      {number.low !== null && number.high !== null && <line class="thin" x1={at(number.low)} x2={at(number.high)} y1="12" y2="12" />}
      {number.low_half != null && number.high_half != null && (
        <line class="thick" x1={at(number.low_half)} x2={at(number.high_half)} y1="12" y2="12" />
      )}
      {number.best !== null && <circle cx={at(number.best)} cy="12" r="4" />}
      {limit !== null && <line class="limit" x1={at(limit)} x2={at(limit)} y1="1" y2="23" />}
    </svg>
  );
}

/** The net as the server drew it after a change, its numbers with it. */
function drawn(live: Live, own: NetTree): NetTree {
  const old = new Map(own.parts.map((p) => [p.name, p]));
  const read = (key: string) => live.numbers[key];
  return {
    parts: live.net.parts.map((p) => ({
      ...old.get(p.name), ...p, flow: read(`part ${p.name} flow`), loss: read(`part ${p.name} loss`),
      outlet: read(`part ${p.name} outlet`), heat: read(`part ${p.name} heat`) ?? null,
    })),
    nodes: live.net.nodes.map((n) => ({
      ...n, temperature: read(`node ${n.name} temperature`), pressure: read(`node ${n.name} pressure`),
    })),
  };
}

function Bench({ tree, net, ask, live, chosen, move }: {
  tree: CoolingTree; net: NetTree; ask: Ask; live: Live | null; chosen: string; move: Move;
}) {
  const part = net.parts.find((p) => p.name === chosen);
  const node = net.nodes.find((n) => n.name === chosen);
  const added = ask.added.find((a) => a.name === chosen);
  const opening = added ? undefined : tree.controls.areas.find((a) => a.part === chosen);
  const read = (key: string, own: Num | null | undefined) => live?.numbers[key] ?? own;
  const rows: [string, Num | null | undefined][] = part
    ? [
        ["air", read(`part ${chosen} flow`, part.flow)],
        ["loss of total pressure", read(`part ${chosen} loss`, part.loss)],
        ["air leaving it", read(`part ${chosen} outlet`, part.outlet)],
        ["heat given to the air", read(`part ${chosen} heat`, part.heat)],
      ]
    : node
      ? [
          ["air", read(`node ${chosen} temperature`, node.temperature)],
          ["total pressure above ambient", read(`node ${chosen} pressure`, node.pressure)],
        ]
      : [];
  return (
    <div class="bench" aria-live="polite">
      <div>
        <h3>
          {chosen}
          <small>{part ? wordsOf(part) : "node"}</small>
        </h3>
        <dl class="pairs">
          {rows.filter(([, n]) => n).map(([label, n]) => (
            <div key={label}>
              <dt>{label}</dt>
              <dd>
                <NumberText number={n!} label={`${chosen}: ${label}`} />
              </dd>
            </div>
          ))}
        </dl>
      </div>
      <div>
        {opening && (
          <Slider label={`Net area of ${chosen}`} value={ask.areas[chosen] ?? opening.cm2}
            low={Math.round(opening.cm2 / 4)} high={Math.round(opening.cm2 * 3)} step={opening.cm2 > 200 ? 5 : 1} unit="cm²"
            onMove={(v) => move({ areas: { ...ask.areas, [chosen]: v } }, `area ${chosen}`)} />
        )}
        {opening && opening.places.length > 1 && (
          <Choice label="Where it leaves" value={ask.places[chosen] ?? opening.places[0]}
            options={opening.places.map((p) => [p, p] as const)}
            onPick={(p) => move({ places: { ...ask.places, [chosen]: p } }, `place ${chosen}`)} />
        )}
        {tree.controls.cores.includes(chosen) && (
          <Slider label={`Tape on ${chosen}`} value={ask.taped[chosen] ?? 0} low={0} high={60} step={1} unit="% of the face"
            onMove={(v) => move({ taped: { ...ask.taped, [chosen]: v } }, `tape ${chosen}`)} />
        )}
        {added && (
          <Slider label={`Net area of ${chosen}`} value={added.area} low={2} high={Math.max(1000, 2 * added.area)} step={1} unit="cm²"
            onMove={(area) => move({ added: ask.added.map((a) => (a === added ? { ...a, area } : a)) }, `area ${chosen}`)} />
        )}
        {node && <p class="faint">A node: parts meet here. Select a part to lead it elsewhere.</p>}
        {part && <PartEdit part={part} net={net} ask={ask} move={move} />}
      </div>
    </div>
  );
}

const wordsOf = (part: NetPart) => (part.place ? `${part.kind}, ${part.place}` : part.kind);

function Gains({ held }: { held: CoolingTree["gains"][number] }) {
  const most = Math.max(...held.rows.map((r) => r.gain.best ?? 0), 1);
  return (
    <section aria-label="What a quarter more would gain">
      <h2>What a quarter more of each would gain</h2>
      <p class="faint">Drop of the {held.circuit}, each part enlarged alone.</p>
      <ul class="gains">
        {held.rows.map((row, k) => (
          <li key={row.part} class={k === 0 ? "first" : ""}>
            <span>{row.part}</span>
            <span class="track">
              <span style={{ width: `${(100 * (row.gain.best ?? 0)) / most}%` }} />
            </span>
            <span>{row.gain.text}</span>
          </li>
        ))}
      </ul>
    </section>
  );
}

function Exits({ rows, at }: { rows: ExitRow[]; at: string }) {
  if (rows.length === 0) return null;
  return (
    <section aria-label="Places for the exit">
      <h2>Where the exit could be</h2>
      <p class="faint">At {at}, with the net area it has today; changes against today, draw by draw. Downforce that a jet adds is a prior, to be tested on the car.</p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Places as a table">
        <table>
          <thead>
            <tr>
              <th scope="col">Exit, place</th>
              <th scope="col">Temperature</th>
              <th scope="col">Area needed</th>
              <th scope="col">Drag</th>
              <th scope="col" class="front">Front</th>
              <th scope="col" class="rear">Rear</th>
            </tr>
          </thead>
          <tbody>
            {rows.map((row) => (
              <tr key={row.exit + row.place}>
                <th scope="row">
                  {row.exit}, {row.place}
                  <small>{row.is_now ? "as it is" : row.legality}</small>
                </th>
                <td>
                  <NumberText number={row.hottest} label={`${row.place}: ${row.circuit}`} stack />
                  <small>over its limit: {row.over.text}</small>
                </td>
                <td>
                  {row.needed ? <b>{row.needed.text}</b> : <span class="faint">none suffices</span>}
                  <NumberText number={row.just} label={`${row.place}: area`} stack />
                </td>
                {(["drag", "front", "rear"] as const).map((key) => (
                  <td key={key}>
                    {row.is_now ? <span class="faint">–</span> : <NumberText number={row[key]} label={`${row.place}: ${key}`} stack />}
                  </td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <p class="faint">In bold: the area that keeps the accepted chance. Under it: the area at which each draw just meets the limit. Legality is decided by the current rule text and the scrutineers.</p>
    </section>
  );
}

const percent = (share: number) => `${Math.round(100 * share)}\u00a0%`;

function Forecast({ rows }: { rows: CoolingTree["forecast"] }) {
  const names = [...new Set(rows.map((r) => r.circuit))];
  const shown = useSignal(names[0]);
  if (rows.length === 0) return null;
  return (
    <section aria-label="Forecast">
      <h2>Temperature forecast</h2>
      {names.length > 1 && (
        <Choice label="Circuit" value={shown.value} options={names.map((n) => [n, n] as const)} onPick={(n) => (shown.value = n)} />
      )}
      <div class="pairofcharts">
        {rows.filter((r) => r.circuit === shown.value).map((r) => (
          <TemperatureChart key={r.place} title={`${r.circuit} at ${r.place}`} x={r.ambient_c} marked
            xLabel="air, °C; bold: chance of crossing the limit" band={bandOf(r.numbers)}
            limit={{ at: r.limit_c, text: `limit ${Math.round(r.limit_c)} °C` }} foot={r.over.map(percent)}
            label={`${r.circuit} at ${r.place}: ${r.ambient_c.map((t, k) => `${write(t, 0)} °C air, ${r.numbers[k].text}, chance of crossing ${percent(r.over[k])}`).join("; ")}`} />
        ))}
      </div>
      <p class="faint">Bands hold 50 and 80 % of the draws.</p>
    </section>
  );
}

function Tape({ charts }: { charts: CoolingTree["blanking"] }) {
  const names = charts.map((c) => c.circuit);
  const shown = useSignal(names[0]);
  const chart = charts.find((c) => c.circuit === shown.value);
  if (!chart) return null;
  const all = chart.temperature_c.flat();
  const [low, high] = [Math.min(...all), Math.max(...all)];
  const paint = (t: number) => {
    const [r, g, b] = even((t - low) / (high - low || 1));
    const dark = 0.299 * r + 0.587 * g + 0.114 * b < 120;
    return { background: `rgb(${r} ${g} ${b})`, color: dark ? "#fff" : "#000" };
  };
  return (
    <section aria-label="Blanking chart">
      <h2>Blanking chart</h2>
      {names.length > 1 && (
        <Choice label="Cores of" value={shown.value} options={names.map((n) => [n, n] as const)} onPick={(n) => (shown.value = n)} />
      )}
      <div class="scroll" tabIndex={0} role="region" aria-label="Blanking by air temperature">
        <table class="tape">
          <caption>Median temperature and chance of crossing the limit; outlined: the most tape that keeps the accepted chance</caption>
          <thead>
            <tr>
              <th scope="col">Taped</th>
              {chart.ambient_c.map((t) => (
                <th key={t} scope="col">{write(t, 0)}&nbsp;°C air</th>
              ))}
            </tr>
          </thead>
          <tbody>
            {chart.blanking.map((share, j) => (
              <tr key={share}>
                <th scope="row">{percent(share)}</th>
                {chart.ambient_c.map((t, i) => (
                  <td key={t} style={paint(chart.temperature_c[i][j])} class={chart.advice[i] === share ? "fits" : ""}>
                    {write(chart.temperature_c[i][j], 0)}&nbsp;°C
                    <small>{percent(chart.over[i][j])}</small>
                  </td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      {chart.advice.every((a) => a === null) && (
        <p>No tape at all keeps the accepted chance at these temperatures: cure the restriction first.</p>
      )}
    </section>
  );
}

function Loads({ rows, at }: { rows: CoolingTree["loads"]; at: string }) {
  return (
    <section aria-label="What it costs">
      <h2>What the air through the car costs</h2>
      <p class="faint">
        Areas at {at}, as raced, against the same car with its inlets shut: what wheel wells do by themselves is the
        body's. The last line is what the budget holds at its nearest speed.
      </p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Loads as a table">
        <table>
          <thead>
            <tr>
              <th scope="col">Contribution</th>
              <th scope="col" class="front">Front</th>
              <th scope="col" class="rear">Rear</th>
              <th scope="col">Both</th>
              <th scope="col">Drag</th>
            </tr>
          </thead>
          <tbody>
            {rows.map((row) => (
              <tr key={row.name} class={row.kind}>
                <th scope="row">{row.name}</th>
                {(["front", "rear", "total", "drag"] as const).map((key) => (
                  <td key={key}>
                    <NumberText number={row[key]} label={`${row.name}: ${key}`} stack />
                  </td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}
