/** What others say, as equations; which of it can be true. */

import { useState } from "preact/hooks";
import { askWhy } from "../store";
import { tie } from "../number";
import type { Claim, Claims, Labelled, Num, Slip } from "../types";
import { StateWord, Tuft, VerdictWord } from "../widgets/mark";
import { NumberText, RangeBar, Scale, spanOf } from "../widgets/num";
import { Empty } from "../widgets/state";
import { Page } from "./page";

export function ClaimsSheet() {
  return (
    <Page<Claims>
      title="Claims"
      lead="Each claim becomes an equation in shared unknowns; first by itself, then all together with the evidence."
      address="/claims.json"
    >
      {(tree) =>
        tree.claims.length === 0 ? (
          <Empty text="No claims yet. Add a [[claim]] table to project.toml: what was said, by whom, and where it stands." />
        ) : (
          <>
            <Together together={tree.together} />
            {tree.claims.map((claim) => (
              <ClaimView
                key={claim.id}
                claim={claim}
                first={claim === tree.claims.find((c) => c.verdict === "contradicts")}
              />
            ))}
            <Unknowns unknowns={tree.unknowns} />
          </>
        )
      }
    </Page>
  );
}

function Together({ together }: { together: Claims["together"] }) {
  return (
    <section aria-labelledby="together" class="together">
      <h2 id="together">Together with the evidence</h2>
      <p>
        <VerdictWord verdict={together.verdict} />
      </p>
      <p>{tie(together.text)}</p>
      {together.conflicts.length > 0 && (
        <p class="sets">
          Smallest sets that cannot all be true:{" "}
          {together.conflicts.map((set, k) => (
            <span key={k} class="set">
              {set.join(" with ")}
            </span>
          ))}
        </p>
      )}
    </section>
  );
}

function ClaimView({ claim, first }: { claim: Claim; first: boolean }) {
  return (
    <article class="claim" aria-labelledby={`claim-${claim.id}`}>
      <header>
        <span class="balloon">{claim.id}</span>
        <div>
          <h2 id={`claim-${claim.id}`}>
            “{tie(claim.said)}” {first && <Tuft label="Wants attention now" />}
          </h2>
          <p class="meta">
            <VerdictWord verdict={claim.verdict} />
            <span class="faint">{claim.by}</span>
            {claim.why && (
              <button type="button" class="do quiet" onClick={() => askWhy(claim.why)}>
                Why?
              </button>
            )}
          </p>
        </div>
      </header>
      <p class="because">{tie(claim.because)}</p>
      <div class="columns">
        <Numbers title="It means" list={claim.implied} />
        <Numbers title="Held against" list={claim.bounds} />
      </div>
      {claim.slips.length > 0 && <Slips slips={claim.slips} />}
      {claim.working.length > 0 && (
        <details>
          <summary>Working, line by line</summary>
          <p class="equation">{claim.equation}</p>
          <ol class="working">
            {claim.working.map((text, k) => (
              <li key={k}>{tie(text)}</li>
            ))}
          </ol>
        </details>
      )}
      {claim.ask && <Ask text={claim.ask} />}
    </article>
  );
}

function Numbers({ title, list }: { title: string; list: Labelled[] }) {
  if (list.length === 0) return null;
  return (
    <section>
      <h3>{title}</h3>
      <dl class="pairs">
        {list.map((one) => (
          <div key={one.label}>
            <dt>
              {one.ok !== undefined && (
                <StateWord word={one.ok ? "holds" : "fails"} tone={one.ok ? "ok" : "wrong"} />
              )}{" "}
              {one.label}
            </dt>
            <dd>
              <NumberText number={one.number} label={one.label} />
            </dd>
          </div>
        ))}
      </dl>
    </section>
  );
}

function Slips({ slips }: { slips: Slip[] }) {
  return (
    <section>
      <h3>Likely slips</h3>
      <ol class="slips">
        {slips.map((slip) => (
          <li key={slip.label}>
            <span class="odds">
              <b>{Math.round(100 * slip.odds)}</b>&nbsp;%
              <span class="track" aria-hidden="true">
                <span style={{ width: `${100 * slip.odds}%` }} />
              </span>
            </span>
            <span class="slip">
              <b>{slip.label}</b>
              <br />
              {slip.reading}
            </span>
            {slip.number && <NumberText number={slip.number} label={slip.reading} stack />}
          </li>
        ))}
      </ol>
    </section>
  );
}

function Ask({ text }: { text: string }) {
  const [copied, setCopied] = useState(false);
  return (
    <p class="ask">
      <b>To ask:</b> {text}{" "}
      <button
        type="button"
        class="do quiet"
        onClick={() => void navigator.clipboard?.writeText(text).then(() => setCopied(true))}
      >
        {copied ? "Copied" : "Copy"}
      </button>
    </p>
  );
}

const AT_ONCE = 6;

/** Those the claims and the evidence narrowed most come first. */
function narrowed(one: Claims["unknowns"][number]): number {
  const width = (n: Num) => (n.high ?? 0) - (n.low ?? 0);
  return width(one.prior) > 0 ? width(one.number) / width(one.prior) : 1;
}

function Unknowns({ unknowns }: { unknowns: Claims["unknowns"] }) {
  if (unknowns.length === 0) return null;
  const sorted = [...unknowns].sort((a, b) => narrowed(a) - narrowed(b));
  const rest = sorted.slice(AT_ONCE);
  return (
    <section aria-labelledby="unknowns">
      <h2 id="unknowns">What claims and evidence leave open</h2>
      <UnknownList list={sorted.slice(0, AT_ONCE)} />
      {rest.length > 0 && (
        <details>
          <summary>{rest.length} more, less narrowed</summary>
          <UnknownList list={rest} />
        </details>
      )}
    </section>
  );
}

function UnknownList({ list }: { list: Claims["unknowns"] }) {
  return (
    <ul class="unknowns">
      {list.map((one) => {
        const [low, high] = spanOf([one.number, one.prior]);
        return (
          <li key={one.name}>
            <p>
              <b>{one.label}</b> <span class="faint">{one.name}</span>
            </p>
            <div class="pair">
              <span class="when">before</span>
              <RangeBar number={one.prior} low={low} high={high} tone="faint" label={`${one.name} before`} />
              <NumberText number={one.prior} label={`${one.name} before`} />
              <span class="when">now</span>
              <RangeBar number={one.number} low={low} high={high} label={`${one.name} now`} />
              <NumberText number={one.number} label={`${one.name} now`} />
              <span />
              <Scale low={low} high={high} unit={one.number.unit} />
            </div>
          </li>
        );
      })}
    </ul>
  );
}
