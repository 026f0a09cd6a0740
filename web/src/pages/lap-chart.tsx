/** Lines along the lap; the pointer's place is shared by all of them and by the plan. */

import type { Signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import uPlot from "uplot";
import "uplot/dist/uPlot.min.css";
import { write } from "../number";
import { colours } from "../store";
import { colour, useWidth } from "../widgets/width";

export interface Line {
  label: string;
  tone: "front" | "rear" | "ink" | "faint";
  dash?: boolean;
  values: (number | null)[];
}

interface Props {
  title: string;
  /** Distance along the lap. [km] */
  x: number[];
  xLabel?: string;
  unit: string;
  lines: Line[];
  height?: number;
  /** Spans to shade, such as corners. [km] */
  spans?: { start: number; end: number; name: string }[];
  at?: Signal<number | null>;
  dots?: boolean;
  /** Digits after the point on the upright axis. */
  places?: number;
}

export function LapChart({ title, x, xLabel = "distance, km", unit, lines, height = 170, spans = [], at, dots, places = 0 }: Props) {
  const [ref, width] = useWidth<HTMLDivElement>(560);
  const plot = useRef<uPlot | null>(null);
  const key = JSON.stringify([x.length, lines.map((l) => [l.label, l.values.slice(0, 400)])]);
  useEffect(() => {
    if (!ref.current) return;
    const made = new uPlot(options(), [x, ...lines.map((l) => l.values)], ref.current);
    plot.current = made;
    return () => made.destroy();
  }, [key, width, height, colours.value]);

  const axis = (label: string, size: number): uPlot.Axis => ({
    label, labelSize: 18, size,
    font: "12px 'Source Sans 3', sans-serif",
    labelFont: "12px 'Source Sans 3', sans-serif",
    stroke: colour("faint"),
    grid: { stroke: colour("hair"), width: 1 },
    ticks: { stroke: colour("hair"), width: 1, size: 4 },
  });
  const options = (): uPlot.Options => ({
    width,
    height,
    scales: { x: { time: false } },
    legend: { show: false },
    cursor: {
      drag: { x: false, y: false },
      points: { size: 6 },
      ...(at && { sync: { key: "lap" } }),
    },
    axes: [axis(xLabel, 28), { ...axis(unit, 44), values: (_, all) => all.map((v) => write(v, places)) }],
    series: [
      {},
      ...lines.map((l) => ({
        stroke: colour(l.tone),
        width: l.dash ? 1.25 : 1.75,
        ...(l.dash && { dash: [5, 4] }),
        points: { show: dots ?? false, size: 5, fill: colour(l.tone) },
      })),
    ],
    hooks: {
      drawClear: [(u) => shade(u, spans)],
      setCursor: [
        (u) => {
          if (at) at.value = u.cursor.idx == null ? null : 1000 * x[u.cursor.idx];
        },
      ],
    },
  });
  return (
    <figure class="lapchart">
      <figcaption>
        <b>{title}</b>
        {lines.map((l) => (
          <span key={l.label} class={`line ${l.tone}${l.dash ? " dash" : ""}`}>
            {l.label}
          </span>
        ))}
      </figcaption>
      <div ref={ref} class="plot" role="img" aria-label={`${title}, ${unit}: ${lines.map((l) => l.label).join(", ")}`} />
    </figure>
  );
}

function shade(u: uPlot, spans: { start: number; end: number }[]): void {
  const { ctx, bbox } = u;
  ctx.save();
  ctx.fillStyle = colour("hair");
  ctx.globalAlpha = 0.35;
  for (const span of spans) {
    const left = u.valToPos(span.start, "x", true);
    ctx.fillRect(left, bbox.top, u.valToPos(span.end, "x", true) - left, bbox.height);
  }
  ctx.restore();
}
