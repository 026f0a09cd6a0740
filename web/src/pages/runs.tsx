/** The log of runs: what was computed, from which inputs, how long it took. */

import { duration, moment } from "../number";
import { runNews, startRun } from "../store";
import type { RunEntry } from "../types";
import { StateWord } from "../widgets/mark";
import { Empty, RefusedNote } from "../widgets/state";
import { Page } from "./page";

const TONES = { done: "ok", cancelled: "doubt", failed: "wrong", running: "faint" } as const;

export function RunsSheet() {
  const news = runNews.value;
  const isRunning = news?.state === "running";
  return (
    <Page<{ runs: RunEntry[] }>
      title="Runs"
      lead="A step whose inputs did not change is not computed again."
      address="/runs.json"
    >
      {({ runs }) => (
        <>
          {!isRunning && (
            <p>
              <button type="button" class="do" onClick={startRun}>
                Run the study
              </button>
            </p>
          )}
          {news?.state === "failed" && news.error && <RefusedNote refusal={news.error} />}
          {news?.state === "cancelled" && (
            <p class="note" role="status">
              <b>Stopped.</b> {news.text}
            </p>
          )}
          {runs.length === 0 ? <Empty text="Nothing has run yet." /> : <Log runs={runs} />}
        </>
      )}
    </Page>
  );
}

function Log({ runs }: { runs: RunEntry[] }) {
  return (
    <ol class="runs">
      {runs.map((run) => (
        <li key={run.id}>
          <p class="meta">
            <b>{moment(run.when)}</b>
            <StateWord word={run.state} tone={TONES[run.state] ?? "faint"} />
            <span>{run.what}</span>
            {run.took_s !== null && <span>{duration(run.took_s)}</span>}
          </p>
          <p class="faint">
            inputs <code>{run.digest.slice(0, 8)}</code>, version {run.version}, {run.host}
          </p>
          {run.text && <p>{run.text}</p>}
          {run.steps.length > 0 && <Steps run={run} />}
        </li>
      ))}
    </ol>
  );
}

function Steps({ run }: { run: RunEntry }) {
  const longest = Math.max(...run.steps.map((step) => step.took_s), 1e-9);
  const again = run.steps.filter((step) => !step.cached).length;
  return (
    <details>
      <summary>
        {run.steps.length} steps, {again} computed, {run.steps.length - again} kept from before
      </summary>
      <ul class="dominates">
        {run.steps.map((step) => (
          <li key={step.name}>
            <span class="label">{step.name}</span>
            <span class="share">{duration(step.took_s)}</span>
            <span class={`track${step.cached ? " kept" : ""}`} aria-hidden="true">
              <span style={{ width: `${(100 * step.took_s) / longest}%` }} />
            </span>
            <span class="halved">{step.cached ? "kept from before" : "computed"}</span>
          </li>
        ))}
      </ul>
    </details>
  );
}
