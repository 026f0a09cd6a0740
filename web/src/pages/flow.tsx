/** Flow: the whole car in three dimensions: set up with cost, watch it run, look at what it gave. */

import { useSignal } from "@preact/signals";
import type { ComponentType } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { useHandles, useLive } from "../live";
import { duration, tie, write } from "../number";
import { act, line, place, revision } from "../store";
import type { Num, Refusal } from "../types";
import { StateWord } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { Busy, Notices, RefusedNote } from "../widgets/state";
import { type Block, type Message, Refused } from "../wire";
import { Cases, type Sweep, WORDS } from "./flow-cases";
import { movedFields, type Part, SetUp, type Setting } from "./flow-set";
import { Page } from "./page";
import { LineChart } from "./sections-draw";
import "./flow.css";

interface Row {
  label: string;
  text: string;
}
interface Cost {
  rows: Row[];
  faults: string[];
  can_run: boolean;
}
type Priced = { cost: Cost; parts: Part[]; run: Run | null };
interface Run {
  state: string;
  is_going: boolean;
  travel: number | null;
  longest: number | null;
  settle: number | null;
  rate: number | null;
  /** Of all its processes. */
  seconds: number | null;
  text: string | null;
  faults: string[] | null;
  can_resume: boolean;
  numbers: Record<string, Num>;
  doubts: string[];
  /** The statistical error at which it may end. */
  asked: string | null;
  /** The host that it runs on, where that is another one. */
  elsewhere: string | null;
  progress?: number;
  left_s?: number | null;
}
interface Passed {
  name: string;
  kind: string;
  flow: string;
  speed: string;
  pressure: string;
  note: string;
}
interface Result {
  evidence: string;
  at: string;
  is_older: boolean;
  over_time: string;
  /** What runs with other cells say of this one. */
  grid: string[];
  loads: { key: string; label: string; number: Num; noise: string }[];
  moments: Row[];
  parts: { name: string; front: string; rear: string; total: string; drag: string; friction: string }[];
  inside: Passed[];
  doubts: string[];
  bias: string;
  why_not: string;
  facts: string;
  gap: string;
  notices: string[];
  notes: string[];
}
interface Tree {
  cases: { name: string; speed: Num; cell: Num; evidence: string; state: string }[];
  case: string;
  text: string;
  kinds?: string[];
  setting: Setting;
  parts: Part[];
  cost: Cost;
  run: Run | null;
  result: Result | null;
  sweep: Sweep;
  /** Changes when a run or a sweep begins or ends. */
  mark: string;
}

export function FlowSheet() {
  const { case: name = "" } = place.value.query;
  return (
    <Page<Tree> title="Flow" address={`/flow.json${name ? `?case=${encodeURIComponent(name)}` : ""}`}
      lead="The whole car in three dimensions: pressure, wakes and vortices, and loads as a rival opinion with a stated bias.">
      {(tree) => (tree.cases.length === 0 ? <Begin tree={tree} /> : <Chosen name={name || tree.case} tree={tree} />)}
    </Page>
  );
}

/** The cases, and the chosen one; until it has come the one before stays, dimmed and out of reach. */
function Chosen({ name, tree }: { name: string; tree: Tree }) {
  const isWaiting = name !== tree.case;
  useEffect(() => {
    // a command may begin or stop a run or a sweep while this page is open
    let timer = 0;
    let left = false;
    let seen: unknown = tree.mark;
    const look = async () => {
      try {
        const { header } = await line.ask({ do: "flow_mark" });
        // once for each change: a page that takes long to come must not be asked for anew meanwhile
        if (!left && header.mark !== seen) {
          seen = header.mark;
          revision.value += 1;
        }
      } catch (why) {
        if (!(why instanceof Refused)) throw why; // the line is cut: the page says so by itself
      } finally {
        if (!left) timer = window.setTimeout(() => void look(), 2000);
      }
    };
    timer = window.setTimeout(() => void look(), 2000);
    return () => {
      left = true;
      window.clearTimeout(timer);
    };
  }, [tree]);
  return (
    <>
      <Cases name={name} tree={tree.sweep} asks={2000} />
      <div class="flow-below" aria-busy={isWaiting}>
        <div class="mark">{isWaiting && <Busy what={`Reading “${name}”`} />}</div>
        <div class="old body" inert={isWaiting}>
          <CaseOf key={tree.case} tree={tree} />
        </div>
      </div>
    </>
  );
}

/** Ask, or do, and say what was refused. */
function useAsk() {
  const refusal = useSignal<Refusal | null>(null);
  const tell = async (answer: Promise<Message>) => {
    try {
      const found = await answer;
      refusal.value = null;
      return found;
    } catch (why) {
      if (!(why instanceof Refused)) throw why;
      refusal.value = why.refusal;
      return null;
    }
  };
  type Request = Record<string, unknown>;
  return { refusal, ask: (r: Request) => tell(line.ask(r)), deed: (r: Request) => tell(act(r)) };
}

function Begin({ tree }: { tree: Tree }) {
  const { refusal, deed } = useAsk();
  const add = (kind: string) => deed({ do: "flow_add", kind });
  return (
    <div class="note empty">
      <p>{tree.text}</p>
      <div class="flow-add">
        {(tree.kinds ?? []).map((kind, k) => (
          <button key={kind} type="button" class={k ? "do quiet" : "do"} onClick={() => void add(kind)}>
            Start from a generic {kind === "coupe" ? "coupé" : kind}
          </button>
        ))}
      </div>
      {refusal.value && <RefusedNote refusal={refusal.value} />}
    </div>
  );
}

function CaseOf({ tree }: { tree: Tree }) {
  const { now: setting, isMoved, settle } = useHandles<Setting>(tree.setting);
  const run = useSignal<Run | null>(tree.run);
  const cut = useSignal<{ rows: Row[]; faults: string[]; notices: string[] } | "busy" | null>(null);
  const { refusal, ask, deed } = useAsk();
  const common = { case: tree.case };
  // what it costs is known for the project's settings, and asked for when a hand has moved them
  const { live, refusal: costRefusal } = useLive<Setting, Priced>(
    setting,
    async (wanted) => {
      const { header } = await line.ask({ do: "flow_cost", ...common, ...movedFields(wanted, tree.setting) });
      return header as unknown as Priced;
    },
    { when: isMoved },
  );
  const { cost, parts } = (isMoved && live.value) || tree;
  // a run goes on from its checkpoint with another end or error too, and not with another cell
  const goesOn = isMoved ? live.value?.run?.can_resume : run.value?.can_resume;
  const refused = refusal.value ?? (isMoved ? costRefusal.value : null);
  useEffect(() => {
    run.value = tree.run;
  }, [tree]);
  const looks = useRef(0);
  const move = (change: Partial<Setting>) => {
    setting.value = { ...setting.value, ...change };
    looks.current += 1; // what is being cut was for where they stood
    cut.value = null;
    refusal.value = null;
  };
  const now = setting.value;
  const going = run.value?.is_going ?? false;
  const start = async () => {
    const answer = await deed({ do: "flow_start", ...common, ...movedFields(now, tree.setting) });
    if (!answer) return;
    settle(now); // a start saves the settings
    run.value = (answer.header as unknown as { run: Run }).run;
  };
  const save = async () => {
    if (await deed({ do: "flow_save", ...common, ...movedFields(now, tree.setting) })) settle(now);
  };
  const look = async () => {
    const mine = (looks.current += 1);
    cut.value = "busy";
    const answer = await ask({ do: "flow_prepare", ...common, ...movedFields(now, tree.setting) });
    if (mine === looks.current) cut.value = answer ? (answer.header as never) : null;
  };
  return (
    <>
      <section class="flow-set" aria-label="Set up">
        <SetUp now={now} own={tree.setting} parts={parts} onMove={move} />
        <div>
          <h2>What it costs</h2>
          <Pairs rows={[...cost.rows, ...(cut.value && cut.value !== "busy" ? cut.value.rows : [])]} />
          <Faults faults={cost.faults} />
          {cut.value === "busy" && <Busy what="Cutting the grid" />}
          {cut.value && cut.value !== "busy" && (
            <>
              <Faults faults={cut.value.faults} />
              <Notices notices={cut.value.notices} />
            </>
          )}
          <div class="deeds">
            <button type="button" class="do" disabled={!cost.can_run || going} onClick={() => void start()}>
              {goesOn ? "Go on from the checkpoint" : "Run it"}
            </button>
            <button type="button" class="do quiet" disabled={!cost.can_run || cut.value === "busy"} onClick={() => void look()}>
              Cut the grid and look
            </button>
            {isMoved && (
              <>
                <button type="button" class="do quiet" onClick={() => void save()}>Save settings</button>
                <button type="button" class="do quiet" onClick={() => move(tree.setting)}>Back to the project's</button>
              </>
            )}
          </div>
          {refused && <RefusedNote refusal={refused} />}
        </div>
      </section>
      <Going name={tree.case} run={run} onCancel={() => void deed({ do: "flow_cancel", ...common })} />
      {tree.result ? <ResultOf tree={tree} result={tree.result} /> : (
        <div class="note empty">
          <p>{going ? "Pictures and loads follow when this run ends." : "This case has not been run to its end yet: look at its cost, then run it."}</p>
        </div>
      )}
    </>
  );
}

function Pairs({ rows }: { rows: Row[] }) {
  if (!rows.length) return null;
  return (
    <dl class="pairs">
      {rows.map((row) => (
        <div key={row.label}>
          <dt>{row.label}</dt>
          <dd>{row.text}</dd>
        </div>
      ))}
    </dl>
  );
}

function Faults({ faults }: { faults: string[] }) {
  if (!faults.length) return null;
  return (
    <div class="note refused" role="alert">
      <p><b>It would be refused{faults.length > 1 ? `, for ${faults.length} reasons` : ""}.</b></p>
      <ol class="faults">{faults.map((text) => <li key={text}>{tie(text)}</li>)}</ol>
    </div>
  );
}

/** The run under way: asked for once a second while it goes. */
function Going({ name, run, onCancel }: { name: string; run: { value: Run | null }; onCancel: () => void }) {
  const [history, keep] = useState<Record<string, Block> | null>(null);
  const going = run.value?.is_going ?? false;
  useEffect(() => {
    if (!going) return;
    let left = false;
    const look = async () => {
      try {
        const { header, arrays } = await line.ask({ do: "flow_watch", case: name });
        if (left) return;
        run.value = (header as unknown as { run: Run | null }).run;
        keep(arrays);
        if (run.value && !run.value.is_going) revision.value += 1;
      } catch (why) {
        if (!(why instanceof Refused)) throw why;
      } finally {
        if (!left) timer = window.setTimeout(() => void look(), 1000);
      }
    };
    let timer = window.setTimeout(() => void look(), 200);
    return () => {
      left = true;
      clearTimeout(timer);
    };
  }, [going, name]);
  const state = run.value;
  if (!state) return null;
  const [tone, word] = WORDS[state.state] ?? ["faint", state.state];
  const share = Math.round(100 * (state.progress ?? 0));
  return (
    <section class="flow-run" aria-label="The run">
      <h2>The run <StateWord word={state.is_going && state.elsewhere ? `${word} on ${state.elsewhere}` : word} tone={tone} /></h2>
      {state.is_going && (
        <div class="runbar">
          <span class="what">
            {write(state.travel ?? 0, 2)} of at most {write(state.longest ?? 0, 1)} car lengths
            {state.rate ? ` · ${write(state.rate / 1e6, 1)} million cells a second` : ""}
            {state.seconds ? ` · ${duration(state.seconds)} so far` : ""}
            {state.asked && <span class="faint"> · ends at a statistical error of {tie(state.asked)}</span>}
            {state.left_s != null && <span class="faint"> · at most {duration(state.left_s)} left</span>}
          </span>
          <div class="track" role="progressbar" aria-label="Progress of the 3-D run" aria-valuenow={share}
            aria-valuemin={0} aria-valuemax={100}>
            <span style={{ width: `${share}%` }} />
          </div>
          <span class="share">{share}&nbsp;%</span>
          <button type="button" class="do quiet" onClick={onCancel}>
            Cancel
          </button>
        </div>
      )}
      {state.text && !state.is_going && (
        <p>
          {tie(sentence(state.text))}
          {state.can_resume && state.seconds ? <span class="faint"> {duration(state.seconds)} of computing so far.</span> : ""}
        </p>
      )}
      {state.is_going && state.doubts.length > 0 && <Doubts doubts={state.doubts} />}
      {state.is_going && (
        <dl class="numbers">
          {Object.entries(state.numbers).map(([key, number]) => (
            <div key={key} aria-live="polite">
              <dt class="what">{number.label}, statistical error only</dt>
              <dd><NumberText number={number} label={number.label} /></dd>
            </div>
          ))}
          {Object.keys(state.numbers).length === 0 && <p class="faint">{(state.travel ?? 0) < (state.settle ?? Infinity) ? "The flow settles; loads follow." : "Loads follow."}</p>}
        </dl>
      )}
      {state.is_going && history && history.travel?.length > 1 && <Means history={history} />}
    </section>
  );
}

const sentence = (text: string) => (/[.!?]$/.test(text) ? upper(text) : `${upper(text)}.`);
const upper = (text: string) => text.charAt(0).toUpperCase() + text.slice(1);

/** Signs that a flow is finite but wrong, with their places. */
function Doubts({ doubts }: { doubts: string[] }) {
  return (
    <div class="note stale" role="status">
      <p><b>The flow looks wrong.</b> Its numbers are finite, but do not rely on them before these are cleared.</p>
      <ul class="faults">{doubts.map((text) => <li key={text}>{tie(upper(text.replace(/^Doubtful: /, "")))}</li>)}</ul>
    </div>
  );
}

/** What passed cores, fans and openings. */
function Inside({ rows }: { rows: Passed[] }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Air through cores, fans and openings">
      <table>
        <caption>Air through cores, fans and openings; means, computed</caption>
        <thead>
          <tr><th scope="col">Where</th><th scope="col">What</th><th scope="col">Mass flow</th>
            <th scope="col">Speed or face</th><th scope="col">Pressure</th></tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <tr key={row.name}>
              <th scope="row">{row.name}{row.note && <small>{tie(row.note)}</small>}</th><td>{row.kind}</td>
              <td>{row.flow}</td><td>{row.speed}</td><td>{row.pressure}</td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

/** Means as they settle, with their statistical error. */
function Means({ history: h }: { history: Record<string, Block> }) {
  const off = (mean: Block, error: Block, sign: number) => Array.from(mean, (v, k) => v + sign * 1.28 * error[k]);
  const band = (key: "downforce" | "drag", tone: "ink" | "faint", label: string) => [
    { label, tone, x: h.travel, y: h[key] },
    { label: "", tone: "faint" as const, dashed: true, x: h.travel, y: off(h[key], h[`${key}_error`], 1) },
    { label: "", tone: "faint" as const, dashed: true, x: h.travel, y: off(h[key], h[`${key}_error`], -1) },
  ];
  return (
    <>
      <LineChart title="Means so far" xLabel="travel, car lengths" yLabel="m²"
        series={[...band("downforce", "ink", "CzS"), ...band("drag", "faint", "CxS")]} />
      <p class="faint">Dashed: 80&nbsp;% range of each mean, of the statistical error only.</p>
    </>
  );
}

function ResultOf({ tree, result }: { tree: Tree; result: Result }) {
  const [View, keep] = useState<ComponentType<{ name: string; evidence: string }> | null>(null);
  useEffect(() => {
    // pictures need code that no other page does
    void import("./flow-view").then((found) => keep(() => found.default));
  }, []);
  return (
    <>
      <section aria-label="Loads">
        <h2>What it gave</h2>
        {result.is_older && (
          <div class="note stale"><p><b>Run with other settings.</b> The case has changed since; run it again to renew these.</p></div>
        )}
        <div class="scroll" tabIndex={0} role="region" aria-label="Loads of the whole car">
          <table class="flow-range">
            <caption>At {result.at}; evidence {result.evidence}. Ranges hold the statistical error and the stated bias.</caption>
            <thead><tr><th scope="col">Load</th><th scope="col">With its range</th><th scope="col">Statistical</th></tr></thead>
            <tbody>
              {result.loads.map((row) => (
                <tr key={row.key}>
                  <th scope="row">{row.label}</th>
                  <td><NumberText number={row.number} label={row.label} /></td>
                  <td>{row.noise.replace(" of it statistical", "")}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
        {result.doubts.length > 0 && <Doubts doubts={result.doubts} />}
        <ul class="notices">
          <li class="caution"><b>How far off it may be.</b> {result.bias}</li>
          {result.why_not && <li class="caution"><b>Not held against the car's models.</b> {result.why_not}</li>}
        </ul>
      </section>
      {View ? <View name={tree.case} evidence={result.evidence} /> : <div class="flow-room"><Busy what="Loading the pictures" /></div>}
      <section aria-label="By part">
        <h2>By part</h2>
        <div class="scroll" tabIndex={0} role="region" aria-label="Loads by part">
          <table class="figures">
            <caption>m², at the axles' contact patches; computed, the same bias on all</caption>
            <thead>
              <tr><th scope="col">Part</th><th scope="col" class="front">CzSf</th><th scope="col" class="rear">CzSr</th>
                <th scope="col">CzS</th><th scope="col">CxS</th><th scope="col">of it friction</th></tr>
            </thead>
            <tbody>
              {result.parts.map((p) => (
                <tr key={p.name}>
                  <th scope="row">{p.name}</th><td>{p.front}</td><td>{p.rear}</td><td>{p.total}</td><td>{p.drag}</td><td>{p.friction}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
        {result.inside.length > 0 && <Inside rows={result.inside} />}
        <Pairs rows={result.moments} />
        <p class="faint">{tie(`${result.facts} ${result.gap}`)}</p>
        {result.over_time && <p class="faint">{result.over_time}</p>}
        {result.grid.map((text) => <p key={text} class="faint">{tie(text)}</p>)}
        <Notices notices={[...result.notices.filter((n) => !result.doubts.includes(n)), ...result.notes]} />
      </section>
    </>
  );
}
