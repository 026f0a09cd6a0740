/** A temperature with its range along something: air, time. Limit dashed, chances along the foot. */

import { ticks, write } from "../number";
import { useWidth } from "./width";

export interface Band {
  low: number[];
  low_half: number[];
  best: number[];
  high_half: number[];
  high: number[];
}

interface Props {
  title: string;
  x: number[];
  xLabel: string;
  band: Band;
  /** Drawn dashed with its words. */
  limit?: { at: number; text: string };
  /** A window shaded between two temperatures. */
  window?: [number, number];
  /** Written along the foot, one for each x or none. */
  foot?: string[];
  label: string;
  /** Points are marked where they are few. */
  marked?: boolean;
  onPick?: (index: number) => void;
}

const HIGH = 236;
const PAD = { left: 46, right: 12, top: 14, bottom: 46 };

export function TemperatureChart(props: Props) {
  const { title, x, xLabel, band, limit, window, foot, label, marked, onPick } = props;
  const [ref, width] = useWidth<HTMLDivElement>(420);
  const values = [...band.low, ...band.high, ...(limit ? [limit.at] : []), ...(window ?? [])];
  const span = Math.max(...values) - Math.min(...values) || 1;
  const low = Math.min(...values) - 0.06 * span;
  const high = Math.max(...values) + 0.06 * span;
  const first = x[0];
  const last = x[x.length - 1];
  const right = width - PAD.right - (marked ? 14 : 0);
  const left = PAD.left + (marked ? 14 : 0);
  const atX = (v: number) => left + ((v - first) / (last - first || 1)) * (right - left);
  const atY = (v: number) => HIGH - PAD.bottom - ((v - low) / (high - low)) * (HIGH - PAD.bottom - PAD.top);
  const path = (ys: number[]) => ys.map((v, k) => `${k ? "L" : "M"}${atX(x[k]).toFixed(1)} ${atY(v).toFixed(1)}`).join("");
  const area = (below: number[], above: number[]) =>
    `${path(below)}L${[...above].reverse().map((v, k) => `${atX(x[x.length - 1 - k]).toFixed(1)} ${atY(v).toFixed(1)}`).join("L")}Z`;
  return (
    <figure class="temps">
      <figcaption>
        <b>{title}</b>
      </figcaption>
      <div ref={ref}>
        <svg width={width} height={HIGH} role="img" aria-label={label}>
          {window && (
            <rect class="window" x={PAD.left} width={Math.max(0, width - PAD.right - PAD.left)}
              y={atY(window[1])} height={Math.max(0, atY(window[0]) - atY(window[1]))} />
          )}
          {ticks(low, high, 5).map((v) => (
            <g key={v} class="tick">
              <line x1={PAD.left} x2={width - PAD.right} y1={atY(v)} y2={atY(v)} />
              <text x={PAD.left - 8} y={atY(v) + 4} text-anchor="end">{write(v, 0)}</text>
            </g>
          ))}
          {(marked ? x : ticks(first, last, 6)).map((v) => (
            <text key={v} x={atX(v)} y={HIGH - PAD.bottom + 18} text-anchor="middle">{write(v, 0)}</text>
          ))}
          <text x={(PAD.left + width - PAD.right) / 2} y={HIGH - 4} text-anchor="middle">{xLabel}</text>
          <text x={4} y={11}>°C</text>
          <path class="wide" d={area(band.low, band.high)} />
          <path class="half" d={area(band.low_half, band.high_half)} />
          <path class="best" d={path(band.best)} />
          {marked && band.best.map((v, k) => (
            <circle key={k} cx={atX(x[k])} cy={atY(v)} r="4" onClick={onPick && (() => onPick(k))} />
          ))}
          {limit && (
            <g class="limit">
              <line x1={PAD.left} x2={width - PAD.right} y1={atY(limit.at)} y2={atY(limit.at)} />
              <text x={width - PAD.right} y={atY(limit.at) - 5} text-anchor="end">{limit.text}</text>
            </g>
          )}
          {foot?.map((text, k) => (
            <text key={k} class="foot" x={atX(x[k])} y={HIGH - PAD.bottom - 5} text-anchor="middle">{text}</text>
          ))}
        </svg>
      </div>
    </figure>
  );
}

/** The five curves of a list of numbers. */
export function bandOf(numbers: { best: number | null; low: number | null; high: number | null; low_half?: number | null; high_half?: number | null }[]): Band {
  const of = (key: keyof Band) => numbers.map((n) => (n[key] ?? n.best ?? 0) as number);
  return { low: of("low"), low_half: of("low_half"), best: of("best"), high_half: of("high_half"), high: of("high") };
}
