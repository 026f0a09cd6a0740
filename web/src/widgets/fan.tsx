/** Curves against speed as fans: pale 80 %, deeper 50 %, line best. */

import { useEffect, useRef } from "preact/hooks";
import uPlot from "uplot";
import "uplot/dist/uPlot.min.css";
import { withUnit, write } from "../number";
import { askWhy, colours } from "../store";
import type { Num } from "../types";
import { colour, useWidth } from "./width";

export interface Fan {
  label: string;
  tone: "front" | "rear" | "ink";
  numbers: (Num | undefined)[];
}

interface Props {
  title: string;
  x: number[];
  xLabel: string;
  unit: string;
  fans: Fan[];
  /** Where the slider stands. */
  cursor?: number;
  height?: number;
}

export function FanChart({ title, x, xLabel, unit, fans, cursor, height = 220 }: Props) {
  const [ref, width] = useWidth<HTMLDivElement>(420);
  const plot = useRef<uPlot | null>(null);
  const at = useRef(cursor);
  at.current = cursor;
  const key = JSON.stringify(fans.map((f) => f.numbers.map((n) => [n?.best, n?.low, n?.high])));
  useEffect(() => {
    if (!ref.current) return;
    const made = new uPlot(options(), data(x, fans), ref.current);
    plot.current = made;
    return () => made.destroy();
  }, [key, width, height, colours.value, unit]);
  useEffect(() => plot.current?.redraw(false), [cursor]);

  const options = (): uPlot.Options => ({
    width,
    height,
    scales: { x: { time: false } },
    legend: { show: false },
    cursor: { drag: { x: false, y: false }, points: { size: 6 } },
    axes: [axis(xLabel, 28), { ...axis(unit, 44), values: (_, all) => even(all) }],
    series: [{}, ...fans.flatMap((fan) => seriesOf(fan))],
    bands: fans.flatMap((fan, i) => {
      const base = 1 + 5 * i;
      const tint = colour(fan.tone);
      return [
        { series: [base + 1, base] as uPlot.Band.Bounds, fill: fade(tint, 0.16) },
        { series: [base + 3, base + 2] as uPlot.Band.Bounds, fill: fade(tint, 0.26) },
      ];
    }),
    hooks: { draw: [(u) => drawCursor(u, at.current)], ready: [(u) => listen(u, fans)] },
  });

  return (
    <figure class="fan">
      <figcaption>
        <b>{title}</b>
        {fans.length > 1 &&
          fans.map((fan) => (
            <span key={fan.label} class={`key ${fan.tone}`}>
              {fan.label}
            </span>
          ))}
      </figcaption>
      <div ref={ref} class="plot" role="img" aria-label={summary(title, x, unit, fans)} />
    </figure>
  );
}

function axis(label: string, size: number): uPlot.Axis {
  return {
    label,
    labelSize: 18,
    size,
    font: "12px 'Source Sans 3', sans-serif",
    labelFont: "12px 'Source Sans 3', sans-serif",
    stroke: colour("faint"),
    grid: { stroke: colour("hair"), width: 1 },
    ticks: { stroke: colour("hair"), width: 1, size: 4 },
  };
}

/** Axis words with as many digits as the finest of them needs. */
function even(all: number[]): string[] {
  const step = all.length > 1 ? all[1] - all[0] : 1;
  const places = Math.max(0, Math.min(3, -Math.floor(Math.log10(step) + 1e-9)));
  return all.map((v) => write(v, places));
}

const COLUMNS = ["low", "high", "low_half", "high_half", "best"] as const;

function data(x: number[], fans: Fan[]): uPlot.AlignedData {
  return [x, ...fans.flatMap((fan) => COLUMNS.map((c) => fan.numbers.map((n) => n?.[c] ?? null)))];
}

function seriesOf(fan: Fan): uPlot.Series[] {
  const hidden = { stroke: "transparent", width: 0, points: { show: false } };
  const tint = colour(fan.tone);
  return [
    hidden,
    hidden,
    hidden,
    hidden,
    { stroke: tint, width: 2, points: { show: true, size: 6, fill: tint, stroke: tint } },
  ];
}

function drawCursor(u: uPlot, value: number | undefined): void {
  if (value === undefined) return;
  const x = u.valToPos(value, "x", true);
  const { ctx } = u;
  ctx.save();
  ctx.strokeStyle = colour("ink");
  ctx.lineWidth = devicePixelRatio;
  ctx.setLineDash([8, 3, 2, 3].map((v) => v * devicePixelRatio));
  ctx.beginPath();
  ctx.moveTo(x, u.bbox.top);
  ctx.lineTo(x, u.bbox.top + u.bbox.height);
  ctx.stroke();
  ctx.restore();
}

/** A click asks why of the nearest point of the nearest curve. */
function listen(u: uPlot, fans: Fan[]): void {
  u.over.addEventListener("click", (event) => {
    const index = u.posToIdx(event.offsetX);
    const near = fans
      .map((fan) => fan.numbers[index])
      .filter((n): n is Num => n?.best != null)
      .map((n) => ({ n, far: Math.abs(u.valToPos(n.best!, "y") - event.offsetY) }))
      .sort((a, b) => a.far - b.far)[0];
    askWhy(near?.n.why);
  });
}

function summary(title: string, x: number[], unit: string, fans: Fan[]): string {
  const parts = fans.map((fan) => {
    const [first, last] = [fan.numbers[0]?.best, fan.numbers.at(-1)?.best];
    if (first == null || last == null) return fan.label;
    const places = unit === "m²" ? 2 : 0;
    return `${fan.label} from ${withUnit(write(first, places), unit)} to ${withUnit(write(last, places), unit)}`;
  });
  return `${title}, ${x[0]} to ${x.at(-1)} km/h: ${parts.join("; ")}. The table below has every value.`;
}

export function fade(rgb: string, alpha: number): string {
  const [r, g, b] = rgb.match(/[\d.]+/g) ?? ["0", "0", "0"];
  return `rgba(${r}, ${g}, ${b}, ${alpha})`;
}
