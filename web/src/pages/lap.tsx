/** The lap: what each state is worth in seconds, where it comes from, and what a unit is worth. */

import { type Signal, useSignal } from "@preact/signals";
import { withUnit, write } from "../number";
import { place, turn } from "../store";
import type { Num } from "../types";
import { Choice } from "../widgets/control";
import { NumberText, RangeBar, Scale, spanOf } from "../widgets/num";
import { LapChart } from "./lap-chart";
import { Devices } from "./lap-devices";
import { Grip } from "./lap-grip";
import { Planes } from "./lap-planes";
import { type Colouring, COLOURINGS, Track } from "./lap-track";
import type { LapPage, StateLap, Trace } from "./lap-types";
import "./lap.css";
import { Page } from "./page";

export function LapSheet() {
  const { circuit = "", state = "", against = "" } = place.value.query;
  const query = new URLSearchParams(
    Object.entries({ circuit, state, against }).filter(([, v]) => v),
  ).toString();
  return (
    <Page<LapPage>
      title="Lap"
      lead="A lap for every draw of the study on its own aero map. Differences are taken draw by draw, so what is uncertain about both cancels."
      address={`/lap.json${query ? `?${query}` : ""}`}
    >
      {(tree, busy) => (
        <div class={busy ? "body waiting" : "body"}>
          <p class="caution">{tree.caution}</p>
          <Controls tree={tree} />
          <States tree={tree} />
          <Along tree={tree} />
          <Corners tree={tree} />
          <Value tree={tree} />
          <Grip tree={tree} />
          <Planes tree={tree} />
          <Devices tree={tree} />
          {tree.elsewhere.length > 1 && <Elsewhere tree={tree} />}
          <Margins tree={tree} />
          {tree.said && <Said said={tree.said} />}
          {tree.next.length > 0 && <Next tree={tree} />}
        </div>
      )}
    </Page>
  );
}

function Controls({ tree }: { tree: LapPage }) {
  return (
    <div class="controls">
      {tree.circuits.length > 1 && (
        <Choice label="Circuit" value={tree.circuit} options={tree.circuits.map((c) => [c, c] as const)}
          onPick={(circuit) => turn({ circuit }, true)} />
      )}
      <Choice label="State" value={tree.state} options={tree.states.map((s) => [s, s] as const)}
        onPick={(state) => turn({ state, against: state === tree.against ? "" : tree.against }, true)} />
      {tree.states.length > 1 && (
        <Choice label="Against" value={tree.against}
          options={tree.states.filter((s) => s !== tree.state || s === tree.against).map((s) => [s, s] as const)}
          onPick={(against) => turn({ against }, true)} />
      )}
    </div>
  );
}

function States({ tree }: { tree: LapPage }) {
  const changes = tree.laps.flatMap((row) => (row.change ? [row.change] : []));
  const [low, high] = spanOf(changes, true);
  return (
    <section aria-label="Lap times">
      <h2>Seconds a lap of {tree.circuit}</h2>
      <p class="faint">
        {tree.length.text}{tree.line !== "as given" && `, on the line of ${tree.line}`}; against “{tree.laps[0]?.name}”. The grey band is what this driver’s
        scatter hides: ±{tree.noise.text} ({tree.driver}).
      </p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Lap times as a table">
        <table class="laps">
          <thead>
            <tr>
              <th scope="col">State</th>
              <th scope="col">Lap</th>
              <th scope="col">Change</th>
              <th scope="col" class="wide">
                <span class="unseen">Range</span>
              </th>
              <th scope="col">Top speed</th>
              <th scope="col">Verdict</th>
            </tr>
          </thead>
          <tbody>
            {tree.laps.map((row) => (
              <StateRow key={row.name} row={row} low={low} high={high} isShown={row.name === tree.state} />
            ))}
          </tbody>
          {changes.length > 0 && (
            <tfoot>
              <tr>
                <td colSpan={3} />
                <td>
                  <Scale low={low} high={high} unit="s" />
                </td>
                <td colSpan={2} class="faint">
                  left is quicker
                </td>
              </tr>
            </tfoot>
          )}
        </table>
      </div>
    </section>
  );
}

function StateRow({ row, low, high, isShown }: { row: StateLap; low: number; high: number; isShown: boolean }) {
  return (
    <tr class={isShown ? "shown" : ""}>
      <th scope="row">{row.name}</th>
      <td>
        <NumberText number={row.time} label={`${row.name}: lap`} stack />
      </td>
      <td>{row.change && <NumberText number={row.change} label={`${row.name}: change`} stack />}</td>
      <td>{row.change && <RangeBar number={row.change} low={low} high={high} label={`${row.name}: change`} />}</td>
      <td>
        <NumberText number={row.top} label={`${row.name}: top speed`} stack />
      </td>
      <td>
        <Verdict word={row.verdict} />
      </td>
    </tr>
  );
}

export function Verdict({ word }: { word: string }) {
  const tone =
    word === "quicker" || word === "worth doing" ? "ok"
    : word === "slower" || word === "a loss" ? "wrong"
    : word === "baseline" ? "" : "doubt";
  return <span class={`lapverdict ${tone}`}>{word}</span>;
}

function Along({ tree }: { tree: LapPage }) {
  const by = useSignal<Colouring>("speed");
  const at = useSignal<number | null>(null);
  const isCompared = tree.state !== tree.against;
  const shown = COLOURINGS.filter((c) => isCompared || c.key !== "gain");
  const now = isCompared || by.value !== "gain" ? by.value : "speed";
  return (
    <section aria-label="Along the lap">
      <h2>Along the lap: {tree.state}</h2>
      <div class="lapsplit">
        <div>
          <Choice label="Line coloured by" value={now} options={shown.map((c) => [c.key, c.short] as const)}
            onPick={(key) => (by.value = key)} />
          <Track page={tree} by={now} at={at} />
        </div>
        <Traces tree={tree} at={at} isCompared={isCompared} />
      </div>
    </section>
  );
}

function Traces({ tree, at, isCompared }: { tree: LapPage; at: Signal<number | null>; isCompared: boolean }) {
  const own = tree.traces[tree.state];
  const other = tree.traces[tree.against];
  const x = own.station.map((s) => s / 1000);
  const spans = tree.corners.map((c) => ({ start: c.start / 1000, end: c.end / 1000, name: c.name }));
  const onto = (values: number[]) => resampled(other.station, values, own.station);
  return (
    <div>
      <LapChart title="Speed" x={x} unit="km/h" spans={spans} at={at} height={190}
        lines={[
          { label: tree.state, tone: "ink", values: own.speed_kmh },
          ...(isCompared ? [{ label: tree.against, tone: "faint" as const, dash: true, values: onto(other.speed_kmh) }] : []),
        ]} />
      {isCompared && (
        <LapChart title={`Time against “${tree.against}”`} x={x} unit="s" spans={spans} at={at} height={130} places={2}
          lines={[{ label: "below zero is quicker", tone: "ink", values: gapOf(own, other) }]} />
      )}
      <LapChart title="Grip left" x={x} unit="%" spans={spans} at={at} height={150}
        lines={[
          { label: "front", tone: "front", values: own.front_margin },
          { label: "rear", tone: "rear", values: own.rear_margin },
        ]} />
      <LapChart title="Ride heights" x={x} unit="mm" spans={spans} at={at} height={150}
        lines={[
          { label: "hf", tone: "front", values: own.front_mm },
          { label: "hr", tone: "rear", values: own.rear_mm },
        ]} />
      <p class="faint">
        {tree.trace_of} Shaded: corners. {tree.cliff.text}
        {tree.outside > 0.005 && ` ${write(100 * tree.outside, 0)} % of the lap lies outside the aero map and is extrapolated.`}
      </p>
    </div>
  );
}

/** Seconds behind (or, below zero, ahead of) another lap by the place on the road. */
function gapOf(own: Trace, other: Trace): number[] {
  const clock = (trace: Trace) => {
    let sum = 0;
    return trace.seconds.map((s) => (sum += s) - s / 2);
  };
  const theirs = resampled(other.station, clock(other), own.station);
  return clock(own).map((t, k) => t - theirs[k]);
}

function resampled(from: number[], values: number[], to: number[]): number[] {
  let k = 1;
  return to.map((s) => {
    while (k < from.length - 1 && from[k] < s) k++;
    const t = Math.max(0, Math.min(1, (s - from[k - 1]) / (from[k] - from[k - 1] || 1)));
    return values[k - 1] * (1 - t) + values[k] * t;
  });
}

function Corners({ tree }: { tree: LapPage }) {
  const changes = tree.corners.flatMap((row) => (row.change ? [row.change] : []));
  const [low, high] = spanOf(changes, true);
  return (
    <section aria-label="Corner by corner">
      <h2>Corner by corner</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Corners as a table">
        <table class="laps">
          <caption>
            Slowest speed of “{tree.state}”
            {changes.length > 0 && `, and seconds against “${tree.against}”, each corner with half of the straights beside it`}
          </caption>
          <thead>
            <tr>
              <th scope="col">Corner</th>
              <th scope="col">Radius</th>
              <th scope="col">Slowest</th>
              {changes.length > 0 && <th scope="col">Change</th>}
              {changes.length > 0 && <th scope="col" class="wide">
                <span class="unseen">Range</span>
              </th>}
            </tr>
          </thead>
          <tbody>
            {tree.corners.map((row) => (
              <tr key={row.name}>
                <th scope="row">
                  {row.name} <small>{row.class}</small>
                </th>
                <td class="nowrap">{row.radius.text}</td>
                <td>
                  <NumberText number={row.speed} label={`${row.name}: slowest`} stack />
                </td>
                {row.change && (
                  <td>
                    <NumberText number={row.change} label={`${row.name}: change`} stack />
                  </td>
                )}
                {row.change && (
                  <td>
                    <RangeBar number={row.change} low={low} high={high} label={`${row.name}: change`} />
                  </td>
                )}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Value({ tree }: { tree: LapPage }) {
  const [low, high] = spanOf(tree.value.map((row) => row.number), true);
  return (
    <section aria-label="What a unit is worth">
      <h2>What a unit is worth: {tree.state}</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Worth of a unit as a table">
        <table class="laps">
          <caption>
            Exact slopes of lap time, every draw; one point is 0.01 m². One point of downforce may
            cost <NumberText number={tree.exchange} label="exchange" /> points of drag at equal lap time.
          </caption>
          <thead>
            <tr>
              <th scope="col">One unit</th>
              <th scope="col">Seconds</th>
              <th scope="col" class="wide">
                <span class="unseen">Range</span>
              </th>
              <th scope="col">Units this driver could feel</th>
            </tr>
          </thead>
          <tbody>
            {tree.value.map((row) => (
              <tr key={row.name}>
                <th scope="row">{row.name}</th>
                <td>
                  <NumberText number={row.number} label={row.name} stack />
                </td>
                <td>
                  <RangeBar number={row.number} low={low} high={high} label={row.name} />
                </td>
                <td>{row.to_show === null ? "–" : row.to_show < 99.5 ? write(row.to_show, row.to_show < 9.95 ? 1 : 0) : "over 100"}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <dl class="sum">
        <Sum label="Out of the engine" number={tree.energy.engine} />
        <Sum label="Into the brakes" number={tree.energy.brakes} />
        <Sum label="Against the air" number={tree.energy.drag} />
        <div>
          <dt>Tyre work, front / rear, against “{tree.laps[0]?.name}”</dt>
          <dd>
            {write(100 * tree.energy.tyre_front, 0)} / {withUnit(write(100 * tree.energy.tyre_rear, 0), "%")}
          </dd>
        </div>
      </dl>
    </section>
  );
}

const Sum = ({ label, number }: { label: string; number: Num }) => (
  <div>
    <dt>{label}</dt>
    <dd>
      <NumberText number={number} label={label} />
    </dd>
  </div>
);

function Elsewhere({ tree }: { tree: LapPage }) {
  const states = tree.states.slice(1);
  return (
    <section aria-label="Elsewhere">
      <h2>Which is quicker where</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Circuits as a table">
        <table class="laps">
          <thead>
            <tr>
              <th scope="col">Circuit</th>
              {states.map((s) => (
                <th key={s} scope="col">
                  {s}
                </th>
              ))}
              <th scope="col">Quickest</th>
            </tr>
          </thead>
          <tbody>
            {tree.elsewhere.map((row) => (
              <tr key={row.circuit}>
                <th scope="row">{row.circuit}</th>
                {row.refused && <td colSpan={states.length}>{row.refused}</td>}
                {row.cells.map((cell) => (
                  <td key={cell.state}>
                    <NumberText number={cell.change} label={`${row.circuit}, ${cell.state}`} stack />
                    <Verdict word={cell.verdict} />
                  </td>
                ))}
                <td>{row.quickest}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Margins({ tree }: { tree: LapPage }) {
  const { curve } = tree;
  return (
    <section aria-label="Balance">
      <h2>Which axle gives up first</h2>
      <div class="curves">
        <LapChart title="Grip left in corners" x={curve.speed_kmh} xLabel="speed, km/h" unit="%" dots
          lines={[
            { label: "front axle", tone: "front", values: curve.front },
            { label: "rear axle", tone: "rear", values: curve.rear },
          ]} />
        <div class="scroll" tabIndex={0} role="region" aria-label="Margins as a table">
          <table class="laps">
            <thead>
              <tr>
                <th scope="col">Phase, speed</th>
                <th scope="col" class="front">Front</th>
                <th scope="col" class="rear">Rear</th>
                <th scope="col">Time</th>
                <th scope="col">First to give up</th>
              </tr>
            </thead>
            <tbody>
              {tree.margins.map((row) => (
                <tr key={row.phase + row.band}>
                  <th scope="row">
                    {row.phase}, {row.band}
                  </th>
                  <td class="nowrap">{withUnit(write(row.front, 1), "%")}</td>
                  <td class="nowrap">{withUnit(write(row.rear, 1), "%")}</td>
                  <td class="nowrap">{withUnit(write(row.seconds, 1), "s")}</td>
                  <td>{row.says}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      </div>
    </section>
  );
}

function Said({ said }: { said: NonNullable<LapPage["said"]> }) {
  return (
    <section aria-label="What the driver said">
      <h2>
        Is it aero at all? <span class="word">{said.verdict}</span>
      </h2>
      {said.remarks.map((row) => (
        <p key={row.said}>
          “{row.said}” <span class="faint">Taken as: {row.as}.</span>
        </p>
      ))}
      <dl class="pairs">
        {said.checks.map((row) => (
          <div key={row.asked}>
            <dt>{row.asked}</dt>
            <dd>{row.answer}</dd>
          </div>
        ))}
      </dl>
      <p>{said.next_step}</p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Suspects as a table">
        <table class="laps">
          <caption>Where to start testing. The odds are common practice written down, not measured.</caption>
          <thead>
            <tr>
              <th scope="col">Odds</th>
              <th scope="col">Suspect</th>
              <th scope="col">Cause</th>
              <th scope="col">Test</th>
            </tr>
          </thead>
          <tbody>
            {said.suspects.map((row) => (
              <tr key={row.cause}>
                <td class="nowrap">{withUnit(write(100 * row.odds, 0), "%")}</td>
                <td>{row.suspect}</td>
                <td>{row.cause}</td>
                <td>{row.test}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Next({ tree }: { tree: LapPage }) {
  return (
    <section aria-label="What next">
      <h2>What next, by seconds for money</h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Changes as a table">
        <table class="laps">
          <caption>
            Gains are what may be counted on: each is weighed by how it is known. A change stands
            together with what it needs first. What this driver’s scatter hides comes last, however
            cheap.
          </caption>
          <thead>
            <tr>
              <th scope="col">Change</th>
              <th scope="col">Counted on</th>
              <th scope="col">Cost</th>
              <th scope="col">Seconds for one</th>
              <th scope="col">How known</th>
              <th scope="col">Verdict</th>
            </tr>
          </thead>
          <tbody>
            {tree.next.map((row) => (
              <tr key={row.name}>
                <th scope="row">
                  {row.name}
                  {row.after.length > 0 && <small>with {row.after.join(", ")}</small>}
                </th>
                <td>
                  <NumberText number={row.gain} label={row.name} stack />
                </td>
                <td>{write(row.cost, 1)}</td>
                <td class="nowrap">{withUnit(write(row.per_cost, 2), "s")}</td>
                <td>{row.confidence}</td>
                <td>
                  <Verdict word={row.verdict} />
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}
