/** What a page says when it has nothing, not yet, not all, not this, or not any more. */

import type { ComponentChildren } from "preact";
import { duration } from "../number";
import { cancelRun, runNews, stale, startRun } from "../store";
import type { Refusal, RunNews } from "../types";

export function Empty({ text, action, onAction }: { text: string; action?: string; onAction?: () => void }) {
  return (
    <div class="note empty">
      <p>{text}</p>
      {action && (
        <button type="button" class="do" onClick={onAction}>
          {action}
        </button>
      )}
    </div>
  );
}

export function Busy({ what = "Reading" }: { what?: string }) {
  return (
    <p class="note busy" role="status">
      <span class="thread" aria-hidden="true" />
      {what}
    </p>
  );
}

export function Partial({ missing }: { missing: string[] | undefined }) {
  if (!missing?.length) return null;
  return (
    <div class="note partial">
      <p>
        <b>Not complete.</b> What stands here still holds; missing:
      </p>
      <ul>
        {missing.map((text) => (
          <li key={text}>{text}</li>
        ))}
      </ul>
    </div>
  );
}

/** How many notices stand open; more than one beyond them are folded. */
const OPEN = 3;

/** Cautions and range notices: they stand with the numbers they concern. */
export function Notices({ notices }: { notices: string[] | undefined }) {
  if (!notices?.length) return null;
  const open = notices.length > OPEN + 1 ? OPEN : notices.length;
  const rest = notices.slice(open);
  return (
    <div class="notice-box">
      <NoticeList notices={notices.slice(0, open)} />
      {rest.length > 0 && (
        <details>
          <summary>{rest.length} more to know about these numbers</summary>
          <NoticeList notices={rest} />
        </details>
      )}
    </div>
  );
}

function NoticeList({ notices }: { notices: string[] }) {
  return (
    <ul class="notices">
      {notices.map((text) => (
        <li key={text} class="caution">
          {text}
        </li>
      ))}
    </ul>
  );
}

const HEADS: Record<string, string> = {
  refused: "Refused: nothing was computed",
  empty: "Nothing here yet",
  "unknown name": "No such page or chain",
  "not converged": "No answer: the solution did not converge",
  cancelled: "Stopped",
  defect: "The program failed",
  gone: "No answer from the program",
};

interface RefusedProps {
  refusal: Refusal;
  /** In place of the usual words for this kind of refusal. */
  head?: string;
  children?: ComponentChildren;
}

export function RefusedNote({ refusal, head, children }: RefusedProps) {
  const faults = refusal.faults ?? [];
  return (
    <div class={`note ${refusal.kind === "empty" ? "empty" : "refused"}`} role="alert">
      <p>
        <b>{head ?? HEADS[refusal.kind] ?? "Refused"}.</b>
      </p>
      {faults.length === 0 && <p>{refusal.text}</p>}
      {faults.length > 0 && (
        <ol class="faults">
          {faults.map((fault, index) => (
            <li key={index}>
              <p>
                <code>
                  {fault.file}
                  {fault.line !== null ? `:${fault.line}` : ""}
                </code>{" "}
                <b>{fault.key}</b>: {fault.what}.
              </p>
              {fault.found && <p>Found: {fault.found}</p>}
              {fault.expected && <p>Expected: {fault.expected}</p>}
              {fault.cure && <p>{fault.cure}</p>}
            </li>
          ))}
        </ol>
      )}
      {children}
    </div>
  );
}

export function StaleNote({ show = stale.value }: { show?: boolean }) {
  if (!show || runNews.value?.state === "running") return null;
  return (
    <div class="note stale" role="status">
      <p>
        <b>Computed from older inputs.</b> The project changed since; the numbers below belong to
        the inputs before the change.
      </p>
      <button type="button" class="do" onClick={startRun}>
        Run again
      </button>
    </div>
  );
}

export function RunBar({ news, onCancel = cancelRun }: { news: RunNews; onCancel?: () => void }) {
  const share = Math.round(100 * (news.progress ?? 0));
  return (
    <div class="runbar">
      <span class="what">
        Running: {news.step || "starting"}
        {news.left_s != null && <span class="faint"> · about {duration(news.left_s)} left</span>}
      </span>
      <div
        class="track"
        role="progressbar"
        aria-label="Progress of the run"
        aria-valuenow={share}
        aria-valuemin={0}
        aria-valuemax={100}
      >
        <span style={{ width: `${share}%` }} />
      </div>
      <span class="share">{share}&nbsp;%</span>
      <button type="button" class="do quiet" onClick={onCancel}>
        Cancel
      </button>
    </div>
  );
}
