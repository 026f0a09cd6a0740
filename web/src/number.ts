/** Numbers written as everywhere in the house: `1.44 m² (1.36 to 1.52)`. */

import type { Num } from "./types";

/** What the server writes between number and unit; a tenth of an em in the sheet's typeface. */
export const NARROW = "\u202f";
/** What the sheet shows there: its no-break space is a fifth of an em, which is a thin space. */
export const THIN = "\u00a0";
export const MINUS = "\u2212";

/** Digits after the point: two figures of the half-range, or four of the value. */
export function digits(half: number, best = 0): number {
  if (half > 0 && Number.isFinite(half)) return clamp(1 - Math.floor(Math.log10(half)));
  if (best === 0 || !Number.isFinite(best)) return 2;
  return clamp(3 - Math.floor(Math.log10(Math.abs(best))));
}

const clamp = (n: number) => Math.max(0, Math.min(6, n));

/** A true minus, and no minus zero. */
export function write(value: number, places: number): string {
  let text = value.toFixed(places);
  if (Number(text) === 0) text = text.replace("-", "");
  return text.replace("-", MINUS);
}

/** A difference, which has its sign even where it is a gain. */
export const signed = (value: number, places: number): string =>
  (Number(value.toFixed(places)) > 0 ? "+" : "") + write(value, places);

export const withUnit = (text: string, unit: string) =>
  !unit ? text : unit === "°" ? text + unit : text + THIN + unit;

/** Best value with unit, and the range without brackets; either may be missing. */
export interface Written {
  best: string;
  range: string;
}

/** Take the server's own words apart: it is the one place where digits are decided. */
export function split(text: string): Written {
  const cut = text.indexOf(" (");
  if (cut < 0 || !text.endsWith(")")) return { best: text, range: "" };
  return { best: text.slice(0, cut), range: text.slice(cut + 2, -1) };
}

/** The same number in kilograms, for people who think that way; null where that makes no sense. */
export function inKilograms(number: Num, factor: number | undefined): Num | null {
  const scale = number.kg_per_m2 ?? factor;
  if (number.unit !== "m²" || scale === undefined || number.best === null) return null;
  const by = (v: number | null | undefined) => (v == null ? null : v * scale);
  const made: Num = {
    ...number,
    unit: "kg",
    best: by(number.best),
    low: by(number.low),
    high: by(number.high),
    low_half: by(number.low_half),
    high_half: by(number.high_half),
  };
  if (number.noise !== undefined) made.noise = number.noise * scale;
  made.text = textOf(made);
  return made;
}

/** Write a number from its values. */
export function textOf(number: Num): string {
  const { best, low, high, unit } = number;
  if (best === null) return "unknown";
  if (low === null || high === null || !(high > low))
    return withUnit(write(best, digits(0, best)), unit);
  const places = digits((high - low) / 2);
  return `${withUnit(write(best, places), unit)} (${write(low, places)} to ${write(high, places)})`;
}

/** Round steps for an axis: 1, 2 or 5 times a power of ten, about `count` of them. */
export function ticks(low: number, high: number, count: number): number[] {
  const rough = (high - low) / Math.max(1, count);
  if (!(rough > 0)) return [low];
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough * 0.999) ?? rough;
  const first = Math.ceil(low / step - 1e-9);
  const last = Math.floor(high / step + 1e-9);
  return Array.from({ length: last - first + 1 }, (_, i) =>
    Number(((first + i) * step).toPrecision(12)),
  );
}

/** Keep a number and its unit on one line of running text. */
export const tie = (text: string) =>
  text
    .replace(/(\d)[ \u00a0]°(?!C)/g, "$1°")
    .replace(/ ± (?=\d)/g, "\u00a0±\u00a0")
    .replace(/\b([xyz]) (?=[\u2212-]?\d)/g, "$1\u00a0")
    .replace(/(\d) (?=(?:mm|m²|m|km\/h|kg|N|%|°C|s|degrees|points?|cells|steps|Pa|kW)(?![\wµ]))/g, "$1\u00a0");

/** A moment as the reader's clock had it: 2026-11-25 18:33. */
export function moment(text: string): string {
  const when = new Date(text);
  if (!text.includes("T") || Number.isNaN(when.getTime())) return text;
  return when.toLocaleString("sv-SE").slice(0, 16);
}

/** A duration: 6.2 s, 3 min 20 s. */
export function duration(seconds: number): string {
  if (seconds < 0.095) return `${write(seconds * 1000, 0)}${THIN}ms`;
  if (seconds < 99.5) return `${write(seconds, seconds < 9.95 ? 1 : 0)}${THIN}s`;
  const whole = Math.round(seconds);
  return `${Math.floor(whole / 60)}${THIN}min ${whole % 60}${THIN}s`;
}
