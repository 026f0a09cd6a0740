/** A test day on paper, what it measured, and how the model stands against it. */

import { tie, write } from "../number";
import { place, turn } from "../store";
import type { Verdict } from "../types";
import { Choice } from "../widgets/control";
import { OriginMark, VerdictWord } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { Empty } from "../widgets/state";
import { Wide } from "../widgets/wide";
import { Page } from "./page";
import "./trial.css";
import { LapsPart, MatrixPart, PairedPart, SessionParts, sourceWord } from "./trial-session";
import type { AgreementPage, PlanPage, ResultsPage } from "./trial-types";

function address(page: string, keys: string[]): string {
  const query = place.value.query;
  const asked = keys.filter((k) => query[k]).map((k) => [k, query[k]]);
  const text = new URLSearchParams(asked).toString();
  return `/${page}.json${text ? `?${text}` : ""}`;
}

function Days({ tree }: { tree: { day: string; days: string[] } }) {
  if (tree.days.length < 2) return null;
  return (
    <Choice
      label="Day"
      value={tree.day}
      options={tree.days.map((d) => [d, d] as const)}
      onPick={(d) => turn({ day: d }, true)}
    />
  );
}

export function PlanSheet() {
  return (
    <Page<PlanPage>
      title="Plan"
      lead="The question and the rule first; then how many repeats tell a gain from noise, in which order, in what time."
      address="/plan.json"
    >
      {(tree) => (
        <div class="body">
          <p class="answer">{tie(tree.question)}</p>
          <p>
            <b>Rule:</b> {tie(tree.rule)}
          </p>
          <p class={tree.is_enough ? "good" : "short"}>
            <b>{tree.is_enough ? "Enough." : "Not enough."}</b> <span>{tie(tree.answer)}</span>
          </p>
          <ul class="notices">
            <li class="caution">{tree.safety.join(" ")}</li>
          </ul>
          <Powers tree={tree} />
          <section aria-labelledby="stops">
            <h2 id="stops">Stop or wait</h2>
            <ul class="evidence-lines">
              {tree.stops.map((text) => (
                <li key={text}>{tie(text)}</li>
              ))}
            </ul>
          </section>
          <Lines tree={tree} />
          <MatrixPart matrix={tree.matrix} />
          <p class="faint">
            Run sheet as PDF and as a table to edit: <code>tuftwork plan PROJECT --sheet</code>
          </p>
        </div>
      )}
    </Page>
  );
}

function Powers({ tree }: { tree: PlanPage }) {
  return (
    <section aria-labelledby="powers">
      <h2 id="powers">What so many pairs per state can see</h2>
      <Wide label="Pairs and what they see">
        <table class="plain sheetlines">
          <thead>
            <tr>
              <th scope="col">Pairs</th>
              <th scope="col">Smallest gain seen</th>
              <th scope="col">Chance to see {tree.see_points} points</th>
              <th scope="col">Takes</th>
            </tr>
          </thead>
          <tbody>
            {tree.powers.map((p) => (
              <tr key={p.pairs} class={p.pairs === tree.pairs ? "setup" : ""}>
                <th scope="row">{p.pairs}</th>
                <td>{write(p.sees_points, 1)} points</td>
                <td>{p.chance_percent}&nbsp;%</td>
                <td>
                  {p.takes} h{!p.fits && <span class="faint">, more than there is</span>}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}

function Lines({ tree }: { tree: PlanPage }) {
  return (
    <section aria-labelledby="runsheet">
      <h2 id="runsheet">
        Run sheet, {tree.used} h, {tree.left} h to spare
      </h2>
      <div class="scroll" tabIndex={0} role="region" aria-label="Run sheet">
        <table class="plain sheetlines">
          <thead>
            <tr>
              <th scope="col">Start</th>
              <th scope="col">Block</th>
              <th scope="col">State</th>
              <th scope="col">km/h</th>
              <th scope="col">What</th>
            </tr>
          </thead>
          <tbody>
            {tree.lines.map((one) => (
              <tr key={one.n} class={one.kind === "pair" ? "" : "setup"}>
                <td>{one.start}</td>
                <td>{one.block}</td>
                <td>{one.state}</td>
                <td>{one.speed_kmh ?? ""}</td>
                <td class="words">{tie(one.what)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

const RESULT_KEYS = ["height_front", "height_rear", "front", "rear", "total", "share"] as const;
const RESULT_HEADS = ["hf", "hr", "CzSf", "CzSr", "CzS", "Front share"];

export function ResultsSheet() {
  return (
    <Page<ResultsPage>
      title="Results"
      lead="Constant-speed passes reduced to loads at the axles, at the ride heights they were driven at."
      address={address("results", ["day", "version"])}
    >
      {(tree) =>
        tree.refused || !tree.version ? (
          <div class="body">
            {tree.refused && <Empty text={`This log cannot be used yet. ${tree.refused.join(" ")}`} />}
            <LapsPart laps={tree.laps} />
            <SessionParts tree={tree} />
          </div>
        ) : (
          <div class="body">
            <div class="controls">
              <Days tree={tree} />
              <Choice
                label="Version"
                value={tree.version}
                options={tree.versions.map((v) => [v, v] as const)}
                onPick={(v) => turn({ version: v }, true)}
              />
            </div>
            <div class="scroll" tabIndex={0} role="region" aria-label="Results">
              <table class="plain">
                <caption>
                  {tree.mass_state}; one pass scatters by {tree.scatter.join(" front, ")} rear
                </caption>
                <thead>
                  <tr>
                    <th scope="col">State, speed</th>
                    {RESULT_HEADS.map((head) => (
                      <th key={head} scope="col">
                        {head}
                      </th>
                    ))}
                  </tr>
                </thead>
                <tbody>
                  {tree.rows.map((row) => (
                    <tr key={`${row.state} ${row.speed_kmh}`}>
                      <th scope="row">
                        {row.state}, {Math.round(row.speed_kmh)} km/h
                        <small>
                          {row.passes} passes{row.both_ways ? "" : ", one way more"}
                        </small>
                      </th>
                      {RESULT_KEYS.map((key) => (
                        <td key={key}>
                          <NumberText number={row[key]} label={key.replace("_", " ")} stack />
                        </td>
                      ))}
                    </tr>
                  ))}
                </tbody>
              </table>
            </div>
            <Gains tree={tree} />
            <PairedPart paired={tree.paired} />
            <LapsPart laps={tree.laps} />
            <Coast tree={tree} />
            <Doubts tree={tree} />
            <SessionParts tree={tree} />
          </div>
        )
      }
    </Page>
  );
}

function Gains({ tree }: { tree: ResultsPage }) {
  if (tree.differences.length === 0) return null;
  return (
    <section aria-labelledby="gains">
      <h2 id="gains">Against the baseline</h2>
      <Wide label="Gains as a table">
        <table class="plain">
          <thead>
            <tr>
              <th scope="col">State, speed</th>
              <th scope="col">CzSf</th>
              <th scope="col">CzSr</th>
              <th scope="col">CzS</th>
              <th scope="col">Verdict</th>
            </tr>
          </thead>
          <tbody>
            {tree.differences.map((d) => (
              <tr key={`${d.state} ${d.speed_kmh}`}>
                <th scope="row">
                  {d.state}, {Math.round(d.speed_kmh)} km/h
                </th>
                {(["front", "rear", "total"] as const).map((key) => (
                  <td key={key}>
                    <NumberText number={d[key]} label={key} stack />
                  </td>
                ))}
                <td>{d.verdict === "below noise" ? <VerdictWord verdict="below noise" /> : d.verdict}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}

function Coast({ tree }: { tree: ResultsPage }) {
  const coast = tree.coast;
  if (!coast) return null;
  return (
    <section aria-labelledby="coast">
      <h2 id="coast">Coast-down</h2>
      <dl class="pairs">
        <div>
          <dt>CxS</dt>
          <dd>
            <NumberText number={coast.drag} label="CxS" at />
          </dd>
        </div>
        <div>
          <dt>Rolling resistance</dt>
          <dd>{coast.rolling}</dd>
        </div>
        <div>
          <dt>Wind, grade</dt>
          <dd>
            {coast.wind}; {coast.grade}
          </dd>
        </div>
        <div>
          <dt>Split of the ways</dt>
          <dd>{coast.split || "one way only"}</dd>
        </div>
        <div>
          <dt>From</dt>
          <dd>
            {coast.runs} runs, {coast.from}; v(t) itself is fitted
          </dd>
        </div>
        <div>
          <dt>Against standards</dt>
          <dd>
            {coast.standards.map((text) => (
              <div key={text}>{tie(text)}</div>
            ))}
          </dd>
        </div>
      </dl>
    </section>
  );
}

function Doubts({ tree }: { tree: ResultsPage }) {
  return (
    <section aria-labelledby="doubts">
      <h2 id="doubts">What the ranges rest on</h2>
      {tree.budgets.map((budget) => (
        <Wide key={budget.state} label={`Uncertainties, ${budget.state}`}>
          <table class="plain">
            <caption>
              Standard uncertainties, {budget.state}, {Math.round(budget.speed_kmh)} km/h; together{" "}
              {budget.combined_front} front, {budget.combined_rear} rear
            </caption>
            <thead>
              <tr>
                <th scope="col">From</th>
                <th scope="col">CzSf</th>
                <th scope="col">Share</th>
                <th scope="col">CzSr</th>
                <th scope="col">Share</th>
              </tr>
            </thead>
            <tbody>
              {budget.lines.map((one) => (
                <tr key={one.name}>
                  <th scope="row">{one.name}</th>
                  <td>{one.front}</td>
                  <td>{Math.round(100 * one.front_share)}&nbsp;%</td>
                  <td>{one.rear}</td>
                  <td>{Math.round(100 * one.rear_share)}&nbsp;%</td>
                </tr>
              ))}
            </tbody>
          </table>
        </Wide>
      ))}
    </section>
  );
}

export function AgreementSheet() {
  return (
    <Page<AgreementPage>
      title="Agreement"
      lead="The model before any measurement against what was measured, both with their ranges; what was learned, and what to test next."
      address={address("agreement", ["day"])}
    >
      {(tree) =>
        tree.rows.length === 0 && tree.ranked.length === 0 ? (
          <Empty text="Nothing to compare yet: a test day and parts are needed." />
        ) : (
          <div class="body">
            <Days tree={tree} />
            {tree.next && (
              <p class="answer">
                <b>Test next:</b> {tie(tree.next.text)}
              </p>
            )}
            <Ranked tree={tree} />
            <div class="scroll" tabIndex={0} role="region" aria-label="Predicted against measured">
              <table class="plain">
                <thead>
                  <tr>
                    <th scope="col">State, speed</th>
                    <th scope="col">CzSf measured</th>
                    <th scope="col">predicted</th>
                    <th scope="col">CzSr measured</th>
                    <th scope="col">predicted</th>
                    <th scope="col">Verdict, front and rear</th>
                  </tr>
                </thead>
                <tbody>
                  {tree.rows.map((row) => (
                    <tr key={`${row.state} ${row.speed_kmh}`}>
                      <th scope="row">
                        {row.state}, {Math.round(row.speed_kmh)} km/h
                      </th>
                      {(
                        ["front_measured", "front_predicted", "rear_measured", "rear_predicted"] as const
                      ).map((key) => (
                        <td key={key}>
                          <NumberText number={row[key]} label={key.replace("_", " ")} stack />
                        </td>
                      ))}
                      <td>
                        <Verdicts list={[row.front_verdict, row.rear_verdict]} />
                      </td>
                    </tr>
                  ))}
                </tbody>
              </table>
            </div>
            <Learned tree={tree} />
            <p class="faint">
              Correlation memo as PDF: <code>tuftwork agree PROJECT --memo</code>
            </p>
          </div>
        )
      }
    </Page>
  );
}

function Ranked({ tree }: { tree: AgreementPage }) {
  const worst = tree.ranked.filter((d) => d.verdict !== "consistent");
  return (
    <section aria-labelledby="ranked">
      <h2 id="ranked">Disagreements, the most consequential first</h2>
      <p>
        {tree.consistent} of {tree.compared} measured values agree with the model within both ranges.
      </p>
      {worst.length > 0 && (
        <Wide label="Disagreements as a table">
          <table class="plain">
            <thead>
              <tr>
                <th scope="col">Where</th>
                <th scope="col">Miss</th>
                <th scope="col">Beyond both ranges</th>
                <th scope="col">Verdict</th>
              </tr>
            </thead>
            <tbody>
              {worst.map((d) => (
                <tr key={d.name}>
                  <th scope="row">
                    {d.name}
                    <small>{d.text}</small>
                  </th>
                  <td>{write(d.miss_points, 1)} points</td>
                  <td>{write(d.worth_points, 1)} points</td>
                  <td>
                    <VerdictWord verdict={d.verdict} />
                  </td>
                </tr>
              ))}
            </tbody>
          </table>
        </Wide>
      )}
    </section>
  );
}

function Verdicts({ list }: { list: Verdict[] }) {
  const shown = list[0] === list[1] ? list.slice(0, 1) : list;
  return (
    <>
      {shown.map((verdict, k) => (
        <div key={k}>
          <VerdictWord verdict={verdict} />
        </div>
      ))}
    </>
  );
}

function Learned({ tree }: { tree: AgreementPage }) {
  if (tree.path.length === 0) return null;
  return (
    <section aria-labelledby="learned">
      <h2 id="learned">The map with what was learned</h2>
      {tree.bias && (
        <p>
          What was measured removed at least half of the model's doubt in{" "}
          {Math.round(100 * tree.bias.front.measured_share)}&nbsp;% of the map's cells in front and{" "}
          {Math.round(100 * tree.bias.rear.measured_share)}&nbsp;% at the rear
          {tree.tunnels.length > 0 &&
            ` (the tunnel alone in ${Math.round(100 * tree.bias.rear.tunnel_share)} % at the rear)`}
          . Elsewhere the model stands alone.
        </p>
      )}
      <Wide label="Map with what was learned">
        <table class="plain">
          <thead>
            <tr>
              <th scope="col">km/h</th>
              <th scope="col">hf, hr</th>
              <th scope="col">CzSf</th>
              <th scope="col">rests on</th>
              <th scope="col">CzSr</th>
              <th scope="col">rests on</th>
            </tr>
          </thead>
          <tbody>
            {tree.path.map((row) => (
              <tr key={row.speed_kmh}>
                <th scope="row">{Math.round(row.speed_kmh)}</th>
                <td>
                  {write(row.front_mm, 1)}, {write(row.rear_mm, 1)}&nbsp;mm
                </td>
                {(["front", "rear"] as const).map((axle) => (
                  <>
                    <td key={axle}>
                      <NumberText number={row[axle]} label={axle} stack />
                    </td>
                    <td key={`${axle} origin`} class="nowrap">
                      <OriginMark origin={row[`${axle}_origin`]} />{" "}
                      {sourceWord(row[`${axle}_source`])}
                    </td>
                  </>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}
