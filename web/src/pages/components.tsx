/** Every widget in every state, to be looked at after each change of look. */

import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { ChainView } from "../margin";
import { withUnit, write } from "../number";
import type { BudgetRow, Num, Verdict } from "../types";
import { Choice, Slider } from "../widgets/control";
import { FanChart } from "../widgets/fan";
import { ORIGINS, StateWord, Tuft, VerdictWord } from "../widgets/mark";
import { KgFactor, NumberText, RangeBar, Scale } from "../widgets/num";
import { Busy, Empty, Partial, RefusedNote, RunBar, StaleNote } from "../widgets/state";
import { Waterfall } from "../widgets/waterfall";
import { FindingView } from "./overview";

const LONG =
  "A sentence that goes on for longer than anyone would like, with Donaudampfschifffahrtsgesellschaftskapitänsmützenabzeichen in it, and no end in sight before the margin of the sheet is reached twice";

function made(low: number, best: number, high: number, unit: string, more: Partial_ = {}): Num {
  const half = (edge: number) => best + 0.53 * (edge - best);
  const places = unit === "m²" ? 2 : 1;
  const text = `${withUnit(write(best, places), unit)} (${write(low, places)} to ${write(high, places)})`;
  return { text: text.replaceAll("-", "\u2212"), best, low, high, low_half: half(low), high_half: half(high), unit, origin: "computed", ...more };
}
type Partial_ = { [K in keyof Num]?: Num[K] };

const TOTAL = made(1.36, 1.44, 1.52, "m²", {
  why: "total.downforce.220",
  at: "hf 44.9 mm, hr 57.0 mm, 220 km/h, as raced",
  kg_per_m2: 224.7,
});
const VERDICTS: Verdict[] = ["consistent", "needs an assumption", "contradicts", "unknown", "below noise"];
const ROWS: BudgetRow[] = [
  row("splitter", "part", 0.46, -0.02),
  row("floor and diffuser, with strakes, as found on the car", "part", 0.22, 0.31),
  row("rear wing", "part", -0.085, 0.737),
  row("wing on diffuser", "interaction", 0.0, 0.05),
  row("total", "total", 0.6, 1.08),
];

function row(name: string, kind: BudgetRow["kind"], front: number, rear: number): BudgetRow {
  const of = (v: number) => made(v - 0.05, v, v + 0.05, "m²", { why: `${name}.x` });
  return { name, kind, front: of(front), rear: of(rear), total: of(front + rear), drag: of(0.1) };
}

function Case({ name, children }: { name: string; children: ComponentChildren }) {
  return (
    <section class="case">
      <h3>{name}</h3>
      {children}
    </section>
  );
}

export function ComponentsSheet() {
  const [speed, setSpeed] = useState(220);
  const [pick, setPick] = useState("220");
  return (
    <>
      <header class="pagehead">
        <h1>Components</h1>
        <p>Every widget in every state.</p>
      </header>
      <h2>Numbers</h2>
      <div class="cases">
        <Case name="origins">
          {ORIGINS.map((origin) => (
            <p key={origin}>
              <NumberText number={{ ...TOTAL, origin }} /> {origin}
            </p>
          ))}
        </Case>
        <Case name="stacked, big, with its place">
          <p><NumberText number={TOTAL} stack /></p>
          <p><NumberText number={TOTAL} big at /></p>
        </Case>
        <Case name="without chain, without range, unknown">
          <p><NumberText number={{ ...TOTAL, why: undefined }} /></p>
          <p><NumberText number={{ ...TOTAL, text: "220\u00a0km/h", unit: "km/h", low: 220, high: 220, best: 220, kg_per_m2: undefined }} /></p>
          <p><NumberText number={{ text: "unknown", best: null, low: null, high: null, unit: "m²", origin: "assumed" }} /></p>
        </Case>
        <Case name="negative, in kilograms">
          <p><NumberText number={made(-0.13, -0.085, -0.04, "m²", { why: "wing.front" })} /></p>
          <KgFactor.Provider value={224.7}><p><NumberText number={TOTAL} /></p></KgFactor.Provider>
        </Case>
      </div>
      <h2>Ranges</h2>
      <div class="cases">
        <Case name="range, four tones">
          {(["whole", "front", "rear", "faint"] as const).map((tone) => (
            <RangeBar key={tone} number={TOTAL} low={1.3} high={1.6} tone={tone} label={tone} />
          ))}
          <Scale low={1.3} high={1.6} unit="m²" />
        </Case>
        <Case name="difference: clear, below noise">
          <RangeBar number={made(0.08, 0.14, 0.2, "m²", { noise: 0.04 })} low={-0.1} high={0.25} />
          <RangeBar number={made(-0.02, 0.03, 0.08, "m²", { noise: 0.04 })} low={-0.1} high={0.25} />
          <Scale low={-0.1} high={0.25} unit="m²" />
        </Case>
      </div>
      <h2>Marks</h2>
      <div class="cases">
        <Case name="verdicts">{VERDICTS.map((v) => <p key={v}><VerdictWord verdict={v} /></p>)}</Case>
        <Case name="states and tuft">
          <p><StateWord word="registered" tone="ok" /> <StateWord word="cancelled" tone="doubt" /></p>
          <p><StateWord word="missing" tone="wrong" /> <StateWord word="not a file" tone="faint" /></p>
          <p><Tuft label="Wants attention now" /> one a page</p>
        </Case>
      </div>
      <h2>Controls</h2>
      <div class="controls">
        <Slider label="Speed" value={speed} low={80} high={260} step={1} unit="km/h" onMove={setSpeed} />
        <Choice label="Speed, km/h, of a choice" value={pick} options={[["180", "180"], ["200", "200"], ["220", "220"]]} onPick={setPick} />
        <button type="button" class="do">Do it</button>
        <button type="button" class="do quiet">Perhaps</button>
        <button type="button" class="do" disabled>Not now</button>
      </div>
      <h2>States of a page</h2>
      <Empty text="No claims yet. Add a [[claim]] table to project.toml." action="Run the study" />
      <Busy what="Reading the map" />
      <RunBar news={{ news: "run", run: "x", state: "running", progress: 0.4, step: "platform", left_s: 3.1 }} onCancel={() => undefined} />
      <Partial missing={["Cooling: no core data yet.", LONG]} />
      <RefusedNote refusal={{ kind: "refused", text: "", faults: [{ what: "unit missing", file: "project.toml", line: 31, key: "part.wing.span", found: "1.70", expected: 'a length such as "1.70 m"', cure: "Add the unit." }] }} />
      <RefusedNote refusal={{ kind: "not converged", text: LONG, faults: [] }} />
      <StaleNote show />
      <h2>Long text</h2>
      <FindingView first={false} finding={{ rank: 1, title: LONG, text: LONG, numbers: [{ ...TOTAL, at: LONG }], verdict: "unknown", value: TOTAL, test: LONG }} />
      <h2>Drawings</h2>
      <Waterfall rows={ROWS} />
      <FanChart title="Load on each axle" x={[140, 180, 220]} xLabel="speed, km/h" unit="m²" cursor={speed}
        fans={[
          { label: "front axle", tone: "front", numbers: [0.64, 0.67, 0.675].map((v) => made(v - 0.04, v, v + 0.04, "m²")) },
          { label: "rear axle", tone: "rear", numbers: [0.99, 0.96, 0.77].map((v) => made(v - 0.06, v, v + 0.06, "m²")) },
        ]} />
      <h2>A chain</h2>
      <div class="margin-sample">
        <ChainView chain={{ id: "total.downforce.220", title: "Downforce of the whole car at 220 km/h", number: TOTAL, steps: [{ what: LONG, origin: "digitised", source: "side.jpg", place: "marks 3, 4", number: TOTAL }, { what: "Section slope", origin: "published", source: "abbott1945", place: "p. 462", number: null }], dominates: [{ name: "a", label: LONG, share: 0.41, halved: 0.81 }], decision: LONG, notices: [LONG] }} />
      </div>
    </>
  );
}
