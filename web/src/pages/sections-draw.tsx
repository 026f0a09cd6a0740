/** Drawings of a section under the hand: outline with layers and handles, and plain line charts. */

import type { ComponentChildren } from "preact";
import { useRef } from "preact/hooks";
import { write } from "../number";
import type { Block } from "../wire";
import { useWidth } from "../widgets/width";

export interface Flap {
  deflection_deg: number;
  gap_pct: number;
  overlap_pct: number;
  chord_pct: number;
}

export interface Setting {
  incidence_deg: number;
  gurney_mm: number;
  speed: number;
  flaps: Flap[];
}

export interface LayerLine {
  element: number;
  side: "upper" | "lower" | "wake";
  transition: number | null;
  separation: number | null;
}

type Arrays = Record<string, Block>;
type Point = [number, number];

const points = (x: Block, y: Block): Point[] => Array.from(x, (v, i) => [v, y[i]]);

interface DrawingProps {
  arrays: Arrays;
  elements: number;
  lines: LayerLine[];
  held: { arrays: Arrays; elements: number } | null;
  setting: Setting;
  isRefused: boolean;
  onMove: (change: Partial<Setting>) => void;
}

/** The section as it hangs on the car, suction side down; drag its handles or use the arrow keys. */
export function SectionDrawing({ arrays, elements, lines, held, setting, isRefused, onMove }: DrawingProps) {
  const [ref, width] = useWidth<HTMLDivElement>(640);
  const outlines = outlinesOf(arrays, elements);
  const all = [...outlines, ...(held ? outlinesOf(held.arrays, held.elements) : [])].flat();
  const [left, right] = ends(all.map((p) => p[0]));
  const [low, high] = ends(all.map((p) => p[1]));
  const air = 0.09;
  const scale = width / (right - left + 2 * air + 0.1);
  const height = Math.max(150, Math.min(360, scale * (high - low + 2 * air)));
  const px = ([x, y]: Point): Point => [
    scale * (x - left + air),
    height / 2 - scale * (y - (low + high) / 2),
  ];
  const path = (ring: Point[]) => `M${ring.map((p) => px(p).map((v) => v.toFixed(1)).join(" ")).join("L")}`;
  const main = outlines[0];
  const nose = noseOf(main);
  const last = outlines[outlines.length - 1];
  return (
    <div ref={ref} class={`section${isRefused ? " waiting" : ""}`}>
      <svg width={width} height={height} role="group" aria-label="Section as it hangs on the car">
        {held &&
          outlinesOf(held.arrays, held.elements).map((ring, k) => <path key={`h${k}`} class="held" d={`${path(ring)}Z`} />)}
        {lines.map((line, k) => (
          <path key={`l${k}`} class={kindOf(line)} d={layerPath(arrays, k, path)} />
        ))}
        {outlines.map((ring, k) => (
          <path key={k} class="element" d={`${path(ring)}Z`} />
        ))}
        <Handle label="Incidence" at={px(nose)} value={setting.incidence_deg} unit="°" step={0.1}
          onKey={(by) => onMove({ incidence_deg: tenth(setting.incidence_deg + by) })}
          onDrag={(dx, dy, start) => {
            const arm = [nose[0] - tailOf(last)[0], nose[1] - tailOf(last)[1]];
            onMove({ incidence_deg: tenth(start + turned(arm, dx / scale, -dy / scale)) });
          }} />
        {outlines.slice(1).map((ring, k) => (
          <FlapHandles key={`f${k}`} index={k} ring={ring} px={px} scale={scale} setting={setting} onMove={onMove} />
        ))}
      </svg>
      <p class="faint">
        {legendOf(lines)} Drag a handle, or focus it and use the arrow keys.
      </p>
    </div>
  );
}

function FlapHandles({ index, ring, px, scale, setting, onMove }: {
  index: number; ring: Point[]; px: (p: Point) => Point; scale: number; setting: Setting;
  onMove: (change: Partial<Setting>) => void;
}) {
  const flap = setting.flaps[index];
  const began = useRef(flap);
  if (!flap) return null;
  const set = (change: Partial<Flap>) =>
    onMove({ flaps: setting.flaps.map((f, k) => (k === index ? { ...f, ...change } : f)) });
  const nose = noseOf(ring);
  const tail = tailOf(ring);
  const middle: Point = [0.3 * tail[0] + 0.7 * nose[0], 0.3 * tail[1] + 0.7 * nose[1]];
  const name = `Flap ${index + 1}`;
  return (
    <>
      <Handle label={`${name} deflection`} at={px(tail)}
          value={flap.deflection_deg} unit="°" step={0.1}
          onKey={(by) => set({ deflection_deg: tenth(flap.deflection_deg + by) })}
          onDrag={(dx, dy, start) =>
            set({ deflection_deg: tenth(start + turned([tail[0] - nose[0], tail[1] - nose[1]], dx / scale, -dy / scale)) })
        } />
      <Handle label={`${name} gap`} at={px(middle)} value={flap.gap_pct} unit="%" step={0.05} kind="slide"
        onStart={() => (began.current = flap)}
        onKey={(by) => set({ gap_pct: hundredth(Math.max(0.1, flap.gap_pct + by)) })}
        onSide={(by) => set({ overlap_pct: hundredth(flap.overlap_pct - by) })}
        onDrag={(dx, dy) =>
          set({
            gap_pct: hundredth(Math.max(0.1, began.current.gap_pct - (100 * dy) / scale)),
            overlap_pct: hundredth(began.current.overlap_pct - (100 * dx) / scale),
          })
        } />
    </>
  );
}

interface HandleProps {
  label: string;
  at: Point;
  value: number;
  unit: string;
  step: number;
  kind?: "turn" | "slide";
  onStart?: () => void;
  onKey: (by: number) => void;
  /** Left and right arrows, where they move something else. */
  onSide?: (by: number) => void;
  onDrag: (dx: number, dy: number, start: number) => void;
}

function Handle({ label, at, value, unit, step, kind = "turn", onStart, onKey, onSide, onDrag }: HandleProps) {
  const start = useRef<{ x: number; y: number; value: number } | null>(null);
  const keys: Record<string, () => void> = {
    ArrowUp: () => onKey(step),
    ArrowDown: () => onKey(-step),
    ArrowRight: () => (onSide ?? onKey)(step),
    ArrowLeft: () => (onSide ?? onKey)(-step),
    PageUp: () => onKey(10 * step),
    PageDown: () => onKey(-10 * step),
  };
  return (
    <g class={`handle ${kind}`} transform={`translate(${at[0]} ${at[1]})`} tabindex={0} role="slider"
      aria-label={`${label}, on the drawing`} aria-valuenow={value} aria-valuetext={`${write(value, 2)} ${unit}`}
      onKeyDown={(event) => {
        const move = keys[event.key];
        if (!move) return;
        event.preventDefault();
        move();
      }}
      onPointerDown={(event) => {
        event.currentTarget.setPointerCapture(event.pointerId);
        start.current = { x: event.clientX, y: event.clientY, value };
        onStart?.();
      }}
      onPointerMove={(event) => {
        const s = start.current;
        if (s) onDrag(event.clientX - s.x, event.clientY - s.y, s.value);
      }}
      onPointerUp={() => (start.current = null)}
      onPointerCancel={() => (start.current = null)}>
      <title>{`${label}: ${write(value, 2)} ${unit}`}</title>
      <circle class="hit" r="14" />
      {kind === "turn" ? <circle class="grip" r="5.5" /> : <rect class="grip" x="-5" y="-5" width="10" height="10" />}
    </g>
  );
}

export interface Series {
  label: string;
  tone: "ink" | "front" | "rear" | "faint" | "tuft";
  x: ArrayLike<number | null>;
  y: ArrayLike<number | null>;
  dashed?: boolean;
  dots?: boolean;
}

interface ChartProps {
  title: string;
  xLabel: string;
  yLabel: string;
  series: Series[];
  /** Suction upward. */
  flipped?: boolean;
  mark?: [number, number];
  height?: number;
  children?: ComponentChildren;
}

/** Lines over a plain scale; what it shows is said in words for those who do not see it. */
export function LineChart({ title, xLabel, yLabel, series, flipped, mark, height = 220, children }: ChartProps) {
  const [ref, width] = useWidth<HTMLDivElement>(360);
  const shown = series.filter((s) => s.x.length > 0);
  const xs = shown.flatMap((s) => numbers(s.x));
  const ys = shown.flatMap((s) => numbers(s.y));
  const [x0, x1] = ends(xs.length ? xs : [0, 1]);
  const [y0, y1] = padded(ends(ys.length ? [...ys, 0] : [0, 1]));
  const box = { l: 46, r: 10, t: 22, b: 34 };
  const w = Math.max(60, width - box.l - box.r);
  const h = height - box.t - box.b;
  const fx = (v: number) => box.l + (w * (v - x0)) / (x1 - x0 || 1);
  const fy = (v: number) => box.t + h * (flipped ? (v - y0) / (y1 - y0 || 1) : 1 - (v - y0) / (y1 - y0 || 1));
  const xTicks = ticks(x0, x1, Math.max(3, Math.floor(w / 48)));
  const yTicks = ticks(y0, y1, 5);
  return (
    <figure class="linechart">
      <figcaption>
        <b>{title}</b>
        {shown.length > 1 && shown.map((s) => s.label && (
          <span key={s.label} class={`key ${s.tone}${s.dashed ? " dashed" : ""}`}>{s.label}</span>
        ))}
      </figcaption>
      <div ref={ref}>
        <svg width={width} height={height} role="img" aria-label={`${title}: ${yLabel} over ${xLabel}. ${shown.map(said).join("; ")}`}>
          {yTicks.map((v) => (
            <g key={`y${v}`} class={v === 0 ? "tick nil" : "tick"}>
              <line x1={box.l} x2={box.l + w} y1={fy(v)} y2={fy(v)} />
              <text x={box.l - 6} y={fy(v) + 4} text-anchor="end">{label(v, yTicks)}</text>
            </g>
          ))}
          {xTicks.map((v) => (
            <text key={`x${v}`} x={fx(v)} y={box.t + h + 16} text-anchor="middle">{label(v, xTicks)}</text>
          ))}
          <text x={box.l + w} y={height - 4} text-anchor="end">{xLabel}</text>
          <text x={box.l} y={12} class="yname">{yLabel}</text>
          {shown.map((s, k) => (
            <g key={`${s.label}${k}`} class={`curve ${s.tone}${s.dashed ? " dashed" : ""}`}>
              {s.dots
                ? dotsOf(s).map(([x, y], i) => <circle key={i} cx={fx(x)} cy={fy(y)} r="3.5" />)
                : <path d={curveOf(s, fx, fy)} />}
            </g>
          ))}
          {mark && (
            <g class="curve tuft">
              <circle cx={fx(mark[0])} cy={fy(mark[1])} r="5" />
            </g>
          )}
        </svg>
      </div>
      {children}
    </figure>
  );
}

function outlinesOf(arrays: Arrays, count: number): Point[][] {
  return Array.from({ length: count }, (_, k) => points(arrays[`x${k}`], arrays[`y${k}`]));
}

function layerPath(arrays: Arrays, k: number, path: (ring: Point[]) => string): string {
  const inner = points(arrays[`lx${k}`], arrays[`ly${k}`]);
  const outer = points(arrays[`ox${k}`], arrays[`oy${k}`]);
  return `${path([...inner, ...outer.reverse()])}Z`;
}

const kindOf = (line: LayerLine) =>
  line.side === "wake" ? "layer wake" : line.separation !== null ? "layer apart" : "layer";

function legendOf(lines: LayerLine[]): string {
  const apart = lines.filter((l) => l.side !== "wake" && l.separation !== null);
  const turns = lines.filter((l) => l.side !== "wake" && l.transition !== null);
  const first = apart.length
    ? apart.map((l) => `Element ${l.element + 1} separates on its ${l.side === "upper" ? "suction" : "pressure"} side at ${write(100 * l.separation!, 0)} % of its chord.`).join(" ")
    : "Nothing separates.";
  const early = turns.map((l) => l.transition!).sort((a, b) => a - b)[0];
  return early === undefined ? first : `${first} Layers turn turbulent from ${write(100 * early, 0)} % on.`;
}

/** Points run from the trailing edge; the nose is the one furthest from it. */
function tailOf(ring: Point[]): Point {
  const [a, b] = [ring[0], ring[ring.length - 1]];
  return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
}

function noseOf(ring: Point[]): Point {
  const tail = tailOf(ring);
  let best = ring[0];
  let far = 0;
  for (const p of ring) {
    const d = Math.hypot(p[0] - tail[0], p[1] - tail[1]);
    if (d > far) [far, best] = [d, p];
  }
  return best;
}

function turned(arm: number[], dx: number, dy: number): number {
  const by = Math.atan2(arm[1] + dy, arm[0] + dx) - Math.atan2(arm[1], arm[0]);
  return (180 / Math.PI) * Math.atan2(Math.sin(by), Math.cos(by));
}

const tenth = (v: number) => Math.round(10 * v) / 10;
const hundredth = (v: number) => Math.round(100 * v) / 100;
const numbers = (list: ArrayLike<number | null>) => Array.from(list).filter((v): v is number => v !== null && Number.isFinite(v));
const ends = (list: number[]): [number, number] => [Math.min(...list), Math.max(...list)];
const padded = ([a, b]: [number, number]): [number, number] => {
  const air = 0.05 * (b - a || Math.abs(b) || 1);
  return [a === 0 ? 0 : a - air, b === 0 ? 0 : b + air];
};

function ticks(low: number, high: number, count: number): number[] {
  const raw = (high - low) / Math.max(1, count);
  const power = 10 ** Math.floor(Math.log10(raw || 1));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw) ?? raw;
  const out = [];
  for (let v = Math.ceil(low / step) * step; v <= high + 1e-9 * step; v += step) out.push(Math.abs(v) < 1e-9 * step ? 0 : v);
  return out;
}

function label(v: number, all: number[]): string {
  const step = all.length > 1 ? Math.abs(all[1] - all[0]) : 1;
  return write(v, Math.max(0, Math.min(3, -Math.floor(Math.log10(step) + 1e-9))));
}

function dotsOf(s: Series): Point[] {
  return Array.from(s.x, (x, i) => [x, s.y[i]] as [number | null, number | null]).filter(
    (p): p is Point => p[0] !== null && p[1] !== null,
  );
}

function curveOf(s: Series, fx: (v: number) => number, fy: (v: number) => number): string {
  let pen = "M";
  let out = "";
  for (let i = 0; i < s.x.length; i++) {
    const [x, y] = [s.x[i], s.y[i]];
    if (x === null || y === null || !Number.isFinite(x) || !Number.isFinite(y)) {
      pen = "M";
      continue;
    }
    out += `${pen}${fx(x).toFixed(1)} ${fy(y).toFixed(1)}`;
    pen = "L";
  }
  return out;
}

function said(s: Series): string {
  const y = numbers(s.y);
  if (!y.length) return s.label;
  const [a, b] = ends(y);
  return `${s.label || "curve"} from ${write(a, 2)} to ${write(b, 2)}`;
}
