/** The answer first, then what it stands on. */

import { startRun } from "../store";
import { tie } from "../number";
import type { Finding, Num, Overview } from "../types";
import { Tuft, VerdictWord } from "../widgets/mark";
import { NumberText, RangeBar, Scale, spanOf } from "../widgets/num";
import { Empty } from "../widgets/state";
import { Page } from "./page";

export function OverviewSheet() {
  return (
    <Page<Overview> title="Overview" address="/overview.json" tellsMissing={(tree) => tree.answer === ""}>
      {(tree) => (
        <>
          {tree.project.question && <p class="question">{tree.project.question}</p>}
          {tree.answer && <p class="answer">{tie(tree.answer)}</p>}
          {tree.findings.length === 0 ? (
            <NoFindings computed={tree.answer !== ""} />
          ) : (
            <Findings findings={tree.findings} />
          )}
          <State state={tree.state} />
        </>
      )}
    </Page>
  );
}

/** Before the first run there is one thing to do; after it there was nothing to find. */
function NoFindings({ computed }: { computed: boolean }) {
  if (computed)
    return <Empty text="The study found nothing worth a line. Claims, states, circuits and days entered in project.toml give it more to weigh." />;
  return (
    <Empty
      text="Nothing has been computed yet. Enter the car and its claims in project.toml, then run the study."
      action="Run the study"
      onAction={startRun}
    />
  );
}

function Findings({ findings }: { findings: Finding[] }) {
  return (
    <section aria-labelledby="findings">
      <h2 id="findings">Findings, by what they are worth</h2>
      <ol class="findings">
        {findings.map((finding, index) => (
          <li key={finding.rank}>
            <span class="balloon" aria-hidden="true">
              {finding.rank}
            </span>
            <FindingView finding={finding} first={index === 0} />
          </li>
        ))}
      </ol>
    </section>
  );
}

export function FindingView({ finding, first }: { finding: Finding; first: boolean }) {
  return (
    <article>
      <h3>
        {tie(finding.title)} {first && <Tuft label="Wants attention now" />}
      </h3>
      <p class="meta">
        <VerdictWord verdict={finding.verdict} />
        {finding.value && (
          <span class="worth">
            worth <NumberText number={finding.value} label="worth" />
          </span>
        )}
      </p>
      <p>{tie(finding.text)}</p>
      <ul class="numbers">
        {finding.numbers.map((number, k) => (
          <li key={k}>
            {number.label && <span class="what">{number.label}</span>}
            <NumberText number={number} at label={number.label} />
            <OwnBar number={number} />
          </li>
        ))}
      </ul>
      {finding.test && (
        <p class="test">
          <b>Cheapest test:</b> {tie(finding.test)}
        </p>
      )}
      {finding.page && finding.page !== "overview" && (
        <p class="go">
          <a href={`#/${finding.page}${finding.why ? `?why=${encodeURIComponent(finding.why)}` : ""}`}>
            See it on the {finding.page} sheet
          </a>
        </p>
      )}
    </article>
  );
}

function OwnBar({ number }: { number: Num }) {
  const isDelta = number.noise !== undefined;
  const [low, high] = spanOf([number], isDelta);
  if (!(high > low) || number.low === number.high) return null;
  return (
    <div class="own">
      <RangeBar number={number} low={low} high={high} />
      <Scale low={low} high={high} unit={number.unit} />
    </div>
  );
}

function State({ state }: { state: Overview["state"] }) {
  const entries = Object.entries(state);
  if (entries.length === 0) return null;
  return (
    <section aria-labelledby="state">
      <h2 id="state">The state all of this holds in</h2>
      <dl class="pairs">
        {entries.map(([label, value]) => (
          <div key={label}>
            <dt>{label}</dt>
            <dd>
              {typeof value === "string" ? value : <NumberText number={value} label={label} />}
            </dd>
          </div>
        ))}
      </dl>
    </section>
  );
}
