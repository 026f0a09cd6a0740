/** Small marks: where a number comes from, how a verdict reads, the tuft. All our own drawings. */

import type { Origin, Support, Verdict } from "../types";

const ORIGIN_WORDS: Record<Origin, string> = {
  measured: "measured on this car",
  published: "published elsewhere",
  digitised: "read off a picture",
  claimed: "claimed by someone",
  computed: "computed here",
  assumed: "until something better is known",
};
export const ORIGINS = Object.keys(ORIGIN_WORDS) as Origin[];

export function OriginMark({ origin, title }: { origin: Origin | Support; title?: boolean }) {
  return (
    <svg class="mark" viewBox="0 0 12 12" width="12" height="12" aria-hidden="true">
      {title && <title>{origin}</title>}
      {origin === "measured" && <rect x="2" y="2" width="8" height="8" fill="currentColor" />}
      {origin === "computed" && (
        <rect x="2.6" y="2.6" width="6.8" height="6.8" class="stroke" />
      )}
      {origin === "published" && <circle cx="6" cy="6" r="3.4" fill="currentColor" />}
      {origin === "digitised" && <circle cx="6" cy="6" r="3.6" class="stroke" stroke-width="1.8" />}
      {origin === "claimed" && <path d="M3.4 10.4 8.6 1.6" class="stroke" stroke-width="2.6" />}
      {origin === "assumed" && (
        <circle cx="6" cy="6" r="4" class="stroke" stroke-dasharray="2 1.77" stroke-width="1.5" />
      )}
      {origin === "none" && <path d="M3.5 6h5" class="stroke" opacity="0.6" />}
    </svg>
  );
}

export function Legend() {
  return (
    <dl class="legend" aria-label="Where numbers come from">
      {ORIGINS.map((origin) => (
        <div key={origin}>
          <dt>
            <OriginMark origin={origin} /> {origin}
          </dt>
          <dd>{ORIGIN_WORDS[origin]}</dd>
        </div>
      ))}
      <div>
        <dt>
          <svg class="mark" viewBox="0 0 44 12" width="44" height="12" aria-hidden="true">
            <path d="M2 6h40" class="thin" />
            <path d="M12 6h20" class="thick" />
            <circle cx="22" cy="6" r="3.2" fill="currentColor" />
          </svg>{" "}
          range
        </dt>
        <dd>thin 80 %, thick 50 %, dot best</dd>
      </div>
    </dl>
  );
}

const TONE: Record<Verdict, string> = {
  consistent: "ok",
  "needs an assumption": "doubt",
  contradicts: "wrong",
  unknown: "faint",
  "below noise": "faint",
};

export function VerdictWord({ verdict }: { verdict: Verdict }) {
  return (
    <span class={`verdict ${TONE[verdict] ?? "faint"}`}>
      <svg viewBox="0 0 16 16" width="16" height="16" aria-hidden="true" class="mark">
        {verdict === "consistent" && <path d="M2.5 8.5 6.5 12.5 13.5 3.5" class="stroke" />}
        {verdict === "needs an assumption" && (
          <path d="M2.5 8.5 6.5 12.5 8.6 9.8M10.4 7.5 13.5 3.5" class="stroke" />
        )}
        {verdict === "contradicts" && (
          <path d="M2 5.5h8M7.5 3 10 5.5 7.5 8M14 10.5H6M8.5 8 6 10.5 8.5 13" class="stroke" />
        )}
        {verdict === "unknown" && (
          <path d="M5 5.5C5 2.2 11 2.2 11 5.5 11 8 8 7.6 8 10.2M8 12.6v1" class="stroke" />
        )}
        {verdict === "below noise" && (
          <path d="M1.5 9c1.5-5 3-5 4.3 0s2.8 5 4.3 0 2.8-5 4.4 0" class="stroke" />
        )}
      </svg>
      {verdict}
    </span>
  );
}

/** A state word with its mark: registered, changed, missing; done, cancelled, failed, running. */
export function StateWord({ word, tone }: { word: string; tone: "ok" | "doubt" | "wrong" | "faint" }) {
  return (
    <span class={`verdict ${tone}`}>
      <svg viewBox="0 0 16 16" width="14" height="14" aria-hidden="true" class="mark">
        {tone === "ok" && <path d="M2.5 8.5 6.5 12.5 13.5 3.5" class="stroke" />}
        {tone === "doubt" && <path d="M2 13.5 8 3l6 10.5zM8 7v3.5" class="stroke" />}
        {tone === "wrong" && <path d="M3 3l10 10M13 3 3 13" class="stroke" />}
        {tone === "faint" && <path d="M3 8h10" class="stroke" />}
      </svg>
      {word}
    </span>
  );
}

/** The tuft: what wants attention now. One a page. */
export function Tuft({ label }: { label: string }) {
  return (
    <span class="tuft">
      <svg viewBox="0 0 40 20" width="40" height="20" role="img" aria-label={label}>
        <rect x="2" y="6.5" width="7" height="7" fill="currentColor" />
        <path class="wool" d="M9 10c8-6 14 4 20-1 3-2.500 6-1.500 9-3" />
        <path class="wool" d="M9 10c7 0 12-4 18 0s8 1 11 2" />
        <path class="wool" d="M9 10c6 4 11 6 17 3s8 2 11 4" />
      </svg>
    </span>
  );
}
