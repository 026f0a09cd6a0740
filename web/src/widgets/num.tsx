/** A number on the sheet: select it and the margin says why. */

import { createContext } from "preact";
import { useContext } from "preact/hooks";
import { digits, inKilograms, split, withUnit, write } from "../number";
import { askWhy, unitWay, whyName } from "../store";
import type { Num } from "../types";
import { OriginMark } from "./mark";

/** kg per m² at the speed of a page, stated once for all its numbers. */
export const KgFactor = createContext<number | undefined>(undefined);

/** The number in the way of speaking the reader chose. */
export function useWay(number: Num): Num {
  const factor = useContext(KgFactor);
  return (unitWay.value === "kilograms" && inKilograms(number, factor)) || number;
}

interface Props {
  number: Num;
  /** Two lines, for tables and narrow places. */
  stack?: boolean;
  /** Whether ride heights and state are written beside it. */
  at?: boolean;
  label?: string;
  big?: boolean;
}

export function NumberText({ number, stack, at, label, big }: Props) {
  const shown = useWay(number);
  const { best, range } = split(shown.text);
  const kind = `num${stack ? " stack" : ""}${big ? " big" : ""}`;
  const place = shown.at;
  const inside = (
    <>
      {label && <span class="unseen">{label}: </span>}
      <span class="value">
        <OriginMark origin={shown.origin} />
        <b>{best}</b>
      </span>{" "}
      {range && <span class="range">{stack ? range : `(${range})`}</span>}
      <span class="unseen">, {shown.origin}</span>
      {place && <span class={at ? "at" : "unseen"}> at {place}</span>}
    </>
  );
  if (!shown.why) return <span class={kind}>{inside}</span>;
  return (
    <button
      type="button"
      class={kind}
      aria-pressed={whyName.value === shown.why}
      title={place}
      onClick={() => askWhy(shown.why)}
    >
      {inside}
      <span class="unseen">. Why?</span>
    </button>
  );
}

interface BarProps {
  number: Num;
  low: number;
  high: number;
  tone?: "front" | "rear" | "whole" | "faint";
  label?: string;
}

/** A drawn range: thin 80 %, thick 50 %, dot best. With `noise`, a difference against zero. */
export function RangeBar({ number, low, high, tone = "whole", label }: BarProps) {
  const shown = useWay(number);
  const scale = shown === number ? 1 : (shown.best ?? 0) / (number.best || 1) || 1;
  const at = (v: number) => `${(100 * (v - low * scale)) / (high * scale - low * scale || 1)}%`;
  const picture = (
    <svg class={`rangebar ${tone}`} height="24" aria-hidden="true">
      <line x1="0" x2="100%" y1="12" y2="12" class="ground" />
      {shown.noise !== undefined && (
        <rect
          class="noise"
          x={at(-shown.noise)}
          width={`${(200 * shown.noise) / (high * scale - low * scale || 1)}%`}
          y="2"
          height="20"
        />
      )}
      {low < 0 && high > 0 && <line class="zero" x1={at(0)} x2={at(0)} y1="0" y2="24" />}
      {shown.low !== null && shown.high !== null && (
        <line class="thin" x1={at(shown.low)} x2={at(shown.high)} y1="12" y2="12" />
      )}
      {shown.low_half != null && shown.high_half != null && (
        <line class="thick" x1={at(shown.low_half)} x2={at(shown.high_half)} y1="12" y2="12" />
      )}
      {shown.best !== null && <circle cx={at(shown.best)} cy="12" r="4" />}
    </svg>
  );
  if (!shown.why) return <span class="bar">{picture}</span>;
  return (
    <button
      type="button"
      class="bar"
      aria-label={`${label ?? "range"}: ${shown.text}. Why?`}
      aria-pressed={whyName.value === shown.why}
      onClick={() => askWhy(shown.why)}
    >
      {picture}
    </button>
  );
}

/** Ends of a shared scale, so that bars under each other can be compared. */
export function Scale({ low, high, unit }: { low: number; high: number; unit: string }) {
  const places = Math.max(0, digits((high - low) / 2) - 1);
  return (
    <span class="scale" aria-hidden="true">
      <span>{write(low, places)}</span>
      <span>{withUnit(write(high, places), unit)}</span>
    </span>
  );
}

/** Bounds that hold every range of a list, with a little air. */
export function spanOf(numbers: Num[], withZero = false): [number, number] {
  const values = numbers
    .flatMap((n) => [n.low, n.high, n.best, n.noise ?? null, n.noise === undefined ? null : -n.noise])
    .filter((v): v is number => v !== null);
  if (withZero || values.length === 0) values.push(0);
  const low = Math.min(...values);
  const high = Math.max(...values);
  const air = 0.06 * (high - low || Math.abs(high) || 1);
  return [low === 0 ? 0 : low - air, high === 0 ? 0 : high + air];
}
