/** The circuit in plan, coloured by what the car does there. */

import type { Signal } from "@preact/signals";
import { withUnit, write } from "../number";
import { even } from "../widgets/palette";
import { useWidth } from "../widgets/width";
import type { LapPage, Trace } from "./lap-types";

export const COLOURINGS = [
  { key: "speed", short: "speed", unit: "km/h" },
  { key: "gain", short: "seconds gained", unit: "s/km" },
  { key: "front_margin", short: "front grip left", unit: "%" },
  { key: "rear_margin", short: "rear grip left", unit: "%" },
] as const;
export type Colouring = (typeof COLOURINGS)[number]["key"];

interface Props {
  page: LapPage;
  by: Colouring;
  at: Signal<number | null>;
}

/** Least height of a name, and greatest height of the plan in lap.css. [px] */
const LEAST = 10.5;
const TALLEST = 520;

export function Track({ page, by, at }: Props) {
  const { x, y, station } = page.plan;
  const frame = boundsOf(x, y);
  const values = station.map((s) => valueOf(page, by, s));
  const [low, high] = rangeOf(values, by);
  const unit = COLOURINGS.find((c) => c.key === by)!.unit;
  const size = Math.max(frame.width, frame.height);
  const [ref, width] = useWidth<HTMLElement>(480);
  // names stay readable however small the plan is drawn
  const letter = Math.max(0.024 * size, LEAST * Math.max(frame.width / Math.max(width, 1), frame.height / TALLEST));
  const here = at.value === null ? null : nearest(station, at.value);
  return (
    <figure class="track" ref={ref}>
      <svg
        viewBox={`${frame.left} ${frame.top} ${frame.width} ${frame.height}`}
        role="img"
        aria-label={`${page.circuit} in plan, coloured by ${by.replace("_", " ")}. The corner table below has every value.`}
      >
        <path class="road" stroke-width={0.02 * size}
          d={`M${x.map((v, k) => `${v.toFixed(1)} ${(-y[k]).toFixed(1)}`).join("L")}Z`} />
        {x.map((_, k) => {
          const next = (k + 1) % x.length;
          const share = (values[k] - low) / (high - low || 1);
          return (
            <line key={k} x1={x[k]} y1={-y[k]} x2={x[next]} y2={-y[next]} stroke-width={0.013 * size}
              stroke-linecap="round" stroke={`rgb(${even(Math.max(0, Math.min(1, share))).join(" ")})`} />
          );
        })}
        <StartLine page={page} size={size} />
        {page.corners.map((corner) => {
          const k = nearest(station, corner.apex);
          const place = outside(x, y, k, 0.033 * size);
          return (
            <text key={corner.name} x={place.x} y={place.y} font-size={letter}
              text-anchor={place.anchor} dominant-baseline="middle">
              {corner.name}
            </text>
          );
        })}
        {here !== null && <circle class="here" cx={x[here]} cy={-y[here]} r={0.013 * size} stroke-width={0.004 * size} />}
      </svg>
      <Bar low={low} high={high} unit={unit} by={by} />
    </figure>
  );
}

function StartLine({ page, size }: { page: LapPage; size: number }) {
  const { x, y } = page.plan;
  const [dx, dy] = [x[1] - x[0], y[0] - y[1]];
  const far = (0.02 * size) / (Math.hypot(dx, dy) || 1);
  return (
    <line class="start" x1={x[0] - dy * far} y1={-y[0] + dx * far} x2={x[0] + dy * far} y2={-y[0] - dx * far}
      stroke-width={0.004 * size} />
  );
}

function Bar({ low, high, unit, by }: { low: number; high: number; unit: string; by: Colouring }) {
  const stops = Array.from({ length: 9 }, (_, k) => `rgb(${even(k / 8).join(" ")})`);
  const places = by === "gain" ? 2 : 0;
  return (
    <div class="colourbar">
      <span>{write(low, places)}</span>
      <span class="ramp" style={{ background: `linear-gradient(to right, ${stops.join(", ")})` }} />
      <span>{withUnit(write(high, places), unit)}</span>
      {by === "gain" && <span>positive is time gained</span>}
      <span class="keyline start">start</span>
    </div>
  );
}

function boundsOf(x: number[], y: number[]) {
  const [x0, x1] = [Math.min(...x), Math.max(...x)];
  const [y0, y1] = [Math.min(...y), Math.max(...y)];
  const size = Math.max(x1 - x0, y1 - y0);
  const [air, tall] = [0.17 * size, 0.07 * size];
  return { left: x0 - air, top: -y1 - tall, width: x1 - x0 + 2 * air, height: y1 - y0 + 2 * tall };
}

/** A place beside the line, on the outside of the bend. */
function outside(x: number[], y: number[], k: number, far: number) {
  const [before, after] = [(k - 6 + x.length) % x.length, (k + 6) % x.length];
  const dx = x[k] - (x[before] + x[after]) / 2;
  const dy = (y[before] + y[after]) / 2 - y[k];
  const size = Math.hypot(dx, dy) || 1;
  const anchor = dx / size > 0.35 ? "start" : dx / size < -0.35 ? "end" : "middle";
  return { x: x[k] + (far * dx) / size, y: (far * dy) / size - y[k], anchor } as const;
}

export function nearest(list: number[], value: number): number {
  let best = 0;
  for (let k = 1; k < list.length; k++)
    if (Math.abs(list[k] - value) < Math.abs(list[best] - value)) best = k;
  return best;
}

/** A column of a trace at a station, straight between its places. */
export function read(trace: Trace, key: "speed_kmh" | "front_margin" | "rear_margin", s: number): number {
  const { station } = trace;
  let k = station.findIndex((v) => v > s);
  if (k <= 0) k = k < 0 ? station.length - 1 : 1;
  const share = (s - station[k - 1]) / (station[k] - station[k - 1] || 1);
  const t = Math.max(0, Math.min(1, share));
  return trace[key][k - 1] * (1 - t) + trace[key][k] * t;
}

function valueOf(page: LapPage, by: Colouring, s: number): number {
  const own = page.traces[page.state];
  if (by === "speed") return read(own, "speed_kmh", s);
  if (by === "gain") {
    const other = page.traces[page.against];
    return 3600 / read(other, "speed_kmh", s) - 3600 / read(own, "speed_kmh", s);
  }
  return read(own, by, s);
}

function rangeOf(values: number[], by: Colouring): [number, number] {
  const [low, high] = [Math.min(...values), Math.max(...values)];
  if (by === "gain") {
    const reach = Math.max(Math.abs(low), Math.abs(high), 0.05);
    return [-reach, reach];
  }
  return by === "speed" ? [low, high] : [0, Math.max(10, Math.min(100, high))];
}
