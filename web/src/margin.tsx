/** The margin: why a number is what it is. */

import { useEffect, useRef } from "preact/hooks";
import { withUnit, write } from "./number";
import { readable, turn, useTree, whyName } from "./store";
import type { Chain } from "./types";
import { OriginMark } from "./widgets/mark";
import { NumberText, RangeBar, Scale, spanOf } from "./widgets/num";
import { Busy, RefusedNote } from "./widgets/state";

export function Margin() {
  const name = whyName.value;
  const close = useRef<HTMLButtonElement>(null);
  const asked = useRef<HTMLElement | null>(null);
  useEffect(() => {
    if (!name) return;
    asked.current = document.activeElement as HTMLElement | null;
    const onKey = (event: KeyboardEvent) => {
      if (event.key !== "Escape") return;
      const back = asked.current;
      turn({ why: "" });
      back?.focus?.();
    };
    addEventListener("keydown", onKey);
    return () => removeEventListener("keydown", onKey);
  }, [name]);
  return (
    <aside class={`margin${name ? " open" : ""}`} aria-label="Why" aria-live="polite">
      <h2>
        Why?
        {name && (
          <button
            ref={close}
            type="button"
            class="do quiet"
            onClick={() => turn({ why: "" })}
            aria-label="Close the chain"
          >
            Close
          </button>
        )}
      </h2>
      {name ? <ChainOf name={name} /> : <Nothing />}
    </aside>
  );
}

function Nothing() {
  return (
    <div class="hint">
      <svg viewBox="0 0 120 44" width="120" height="44" aria-hidden="true">
        <path class="thin" d="M4 34h60" />
        <path class="thick" d="M20 34h28" />
        <circle cx="34" cy="34" r="4" fill="currentColor" />
        <path class="lead" d="M34 30V10h78" />
        <path class="lead" d="m106 7 6 3-6 3" />
      </svg>
      <p>Select any number, bar, cell or curve. What it stands on is written here.</p>
    </div>
  );
}

function ChainOf({ name }: { name: string }) {
  const address = `/why/${name.split("/").map(encodeURIComponent).join("/")}.json`;
  const { data, error, busy } = useTree<Chain>(address);
  if (error) return <RefusedNote refusal={error} />;
  if (!data || (busy && data.id !== name)) return <Busy what="Following the chain" />;
  return <ChainView chain={data} />;
}

export function ChainView({ chain }: { chain: Chain }) {
  const bare = { ...chain.number, why: undefined };
  const [low, high] = spanOf([bare]);
  return (
    <div class="chain">
      <h3>{chain.title}</h3>
      {!readable.value && (
        <p class="caution">Of the inputs before: the project cannot be read as it stands now.</p>
      )}
      <NumberText number={bare} big at />
      <div class="own">
        <RangeBar number={bare} low={low} high={high} />
        <Scale low={low} high={high} unit={bare.unit} />
      </div>
      {(chain.notices ?? []).map((notice) => (
        <p key={notice} class="caution">
          {notice}
        </p>
      ))}
      <h4>Where it comes from</h4>
      {chain.steps.length === 0 && <p class="faint">No step is recorded.</p>}
      <ol class="steps">
        {chain.steps.map((step, index) => (
          <li key={index}>
            <OriginMark origin={step.origin} />
            <div>
              <p class="what">{step.what}</p>
              {step.number && <NumberText number={step.number} stack />}
              <p class="source">
                {step.origin}
                {step.source && ` · ${step.source}`}
                {step.place && `, ${step.place}`}
              </p>
            </div>
          </li>
        ))}
      </ol>
      {chain.dominates.length > 0 && (
        <>
          <h4>What dominates its range</h4>
          <ul class="dominates">
            {chain.dominates.map((one) => (
              <li key={one.name}>
                <span class="label" title={one.hint || undefined}>{one.label}</span>
                <span class="share">{withUnit(write(100 * one.share, 0), "%")}</span>
                <span class="track" aria-hidden="true">
                  <span style={{ width: `${100 * Math.min(1, one.share)}%` }} />
                </span>
                <span class="halved">
                  halve it: range shrinks to {withUnit(write(100 * one.halved, 0), "%")}
                </span>
              </li>
            ))}
          </ul>
        </>
      )}
      {chain.decision && (
        <>
          <h4>Which decision it touches</h4>
          <p>{chain.decision}</p>
        </>
      )}
      <p class="address">
        <a href={`/why/${chain.id}.json`} target="_blank" rel="noreferrer">
          {chain.id}
        </a>
      </p>
    </div>
  );
}
