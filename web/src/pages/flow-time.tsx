/** What a run kept over time: a handle and two buttons to go through its samples. */

import type { Signal } from "@preact/signals";
import { write } from "../number";
import type { Refusal } from "../types";
import { RefusedNote } from "../widgets/state";
import type { Block } from "../wire";

export interface OverTime {
  /** Travel and time of every sample. [car lengths], [s] */
  travel: number[];
  time: number[];
  /** For each kept plane, which one of the page it is. */
  planes: number[];
  surface: boolean;
}

/** One sample: the surface's pressure, fields of a plane. */
export interface Instant {
  frame: number;
  plane: number;
  surface: boolean;
  arrays: Record<string, Block>;
}

export const sampleWords = (kept: OverTime, frame: number) =>
  `at ${write(kept.travel[Math.min(frame, kept.travel.length - 1)], 2)} car lengths`;

interface Props {
  kept: OverTime;
  frame: Signal<number>;
  label: string;
  refusal: Refusal | null;
}

export function Frames({ kept, frame, label, refusal }: Props) {
  const last = kept.travel.length - 1;
  const now = Math.min(frame.value, last);
  const go = (to: number) => (frame.value = Math.max(0, Math.min(last, to)));
  const told = `sample ${now + 1} of ${last + 1}, ${sampleWords(kept, now)}`;
  return (
    <div class="flow-frames" role="group" aria-label={label}>
      <button type="button" class="do quiet" aria-label="Earlier sample" disabled={now === 0} onClick={() => go(now - 1)}>
        <Arrow back />
      </button>
      <label class="slider">
        <span class="name">Sample <b>{now + 1}</b> of {last + 1}</span>
        <input type="range" min={0} max={last} step={1} value={now} aria-label={`${label}: sample`} aria-valuetext={told}
          onInput={(event) => go(Number(event.currentTarget.value))} />
        <span class="read">{write(kept.travel[now], 2)}&nbsp;car lengths, {write(1000 * kept.time[now], 1)}&nbsp;ms</span>
      </label>
      <button type="button" class="do quiet" aria-label="Later sample" disabled={now === last} onClick={() => go(now + 1)}>
        <Arrow />
      </button>
      {refusal && <RefusedNote refusal={refusal} />}
    </div>
  );
}

const Arrow = ({ back = false }: { back?: boolean }) => (
  <svg width="12" height="12" viewBox="0 0 12 12" aria-hidden="true">
    <path d={back ? "M8 2 4 6l4 4" : "M4 2l4 4-4 4"} fill="none" stroke="currentColor" stroke-width="1.5" />
  </svg>
);
