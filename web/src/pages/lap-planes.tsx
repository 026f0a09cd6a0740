/** Two planes: where on the map the lap is spent, and lines of equal lap time over drag and downforce. */

import { signed, withUnit, write } from "../number";
import { contour, type Point } from "../widgets/contour";
import { useWidth } from "../widgets/width";
import type { LapPage } from "./lap-types";

export function Planes({ tree }: { tree: LapPage }) {
  return (
    <section aria-label="Planes">
      <h2>Where on the map, and what drag may cost: {tree.state}</h2>
      <div class="curves planes">
        <Spent page={tree} />
        <EqualTime page={tree} />
      </div>
    </section>
  );
}

interface Span {
  low: number;
  high: number;
}

interface PlaneProps {
  x: Span;
  y: Span;
  xLabel: string;
  yLabel: string;
  places: number;
  label: string;
  children: (place: (x: number, y: number) => Point, size: { width: number; height: number }) => preact.ComponentChildren;
}

const EDGE = { left: 52, right: 12, top: 10, bottom: 44 };

/** A frame with axes; what it holds is placed in CSS pixels. */
function Plane({ x, y, xLabel, yLabel, places, label, children }: PlaneProps) {
  const [ref, width] = useWidth<HTMLDivElement>(480);
  const height = Math.round(Math.min(380, Math.max(260, width * 0.68)));
  const [w, h] = [width - EDGE.left - EDGE.right, height - EDGE.top - EDGE.bottom];
  const place = (a: number, b: number): Point => [
    EDGE.left + ((a - x.low) / (x.high - x.low)) * w,
    EDGE.top + h - ((b - y.low) / (y.high - y.low)) * h,
  ];
  return (
    <div ref={ref}>
      <svg class="plane" width={width} height={height} role="img" aria-label={label}>
        {ticks(x).map((v) => {
          const [px] = place(v, y.low);
          return (
            <g key={v}>
              <line class="grid" x1={px} x2={px} y1={EDGE.top} y2={EDGE.top + h} />
              <text x={px} y={EDGE.top + h + 16} text-anchor="middle">{write(v, places)}</text>
            </g>
          );
        })}
        {ticks(y).map((v) => {
          const [, py] = place(x.low, v);
          return (
            <g key={v}>
              <line class="grid" x1={EDGE.left} x2={EDGE.left + w} y1={py} y2={py} />
              <text x={EDGE.left - 6} y={py + 4} text-anchor="end">{write(v, places)}</text>
            </g>
          );
        })}
        <text x={EDGE.left + w / 2} y={height - 6} text-anchor="middle">{xLabel}</text>
        <text x={12} y={EDGE.top + h / 2} text-anchor="middle" transform={`rotate(-90 12 ${EDGE.top + h / 2})`}>{yLabel}</text>
        {children(place, { width: w, height: h })}
      </svg>
    </div>
  );
}

/** Seconds of the lap over both ride heights, lines of the rear axle's load beneath. */
function Spent({ page }: { page: LapPage }) {
  const { edges_front, edges_rear, axis_front, axis_rear, seconds, downforce_rear } = page.occupancy;
  const most = Math.max(...seconds.flat());
  const ends = (edges: number[]): Span => ({ low: edges[0] - 2, high: edges[edges.length - 1] + 2 });
  const [x, y] = [ends(edges_rear), ends(edges_front)];
  const flat = downforce_rear.flat();
  const levels = steps(Math.min(...flat), Math.max(...flat), 14);
  return (
    <figure>
      <figcaption>
        <b>Where on the map the lap is spent</b>
        <span class="shade">the stronger the longer, up to {withUnit(write(most, 1), "s")}</span>
        <span class="isoline rear">CzS rear, m²</span>
      </figcaption>
      <Plane x={x} y={y} xLabel="hr, mm" yLabel="hf, mm" places={0}
        label={`Seconds of the lap over both ride heights. ${page.cliff.text}`}>
        {(place) => (
          <>
            {seconds.map((row, j) =>
              row.map((value, i) => {
                if (value < 0.002 * most) return null;
                const [x0, y1] = place(edges_rear[i], edges_front[j]);
                const [x1, y0] = place(edges_rear[i + 1], edges_front[j + 1]);
                return (
                  <rect key={`${j} ${i}`} class="spent" x={x0} y={y0} width={Math.max(0, x1 - x0)}
                    height={Math.max(0, y1 - y0)}
                    fill-opacity={0.1 + 0.75 * Math.sqrt(value / most)}>
                    <title>{`hf ${write(edges_front[j], 0)} to ${write(edges_front[j + 1], 0)} mm, hr ${write(edges_rear[i], 0)} to ${write(edges_rear[i + 1], 0)} mm: ${write(value, 1)} s at ${write(page.occupancy.speed_kmh[j][i], 0)} km/h`}</title>
                  </rect>
                );
              }),
            )}
            <Lines grid={downforce_rear} levels={levels} x={axis_rear} y={axis_front} place={place} tone="rear"
              within={[x, y]} write={(v) => write(v, 2)} />
          </>
        )}
      </Plane>
      <p class="faint">{page.cliff.text}</p>
    </figure>
  );
}

/** Lines of equal lap time over drag and downforce. */
function EqualTime({ page }: { page: LapPage }) {
  const { drag, downforce, change, here } = page.plane;
  const span = (axis: number[]): Span => ({ low: axis[0], high: axis[axis.length - 1] });
  // The page's grid is drag by downforce; lines are drawn with downforce upwards.
  const grid = downforce.map((_, j) => drag.map((_, i) => change[i][j]));
  const flat = change.flat();
  const levels = steps(Math.min(...flat), Math.max(...flat), 8);
  const digits = levels.length > 1 && levels[1] - levels[0] < 0.095 ? 2 : 1;
  return (
    <figure>
      <figcaption>
        <b>Equal lap time</b>
        <span class="isoline ink">seconds against here</span>
      </figcaption>
      <Plane x={span(drag)} y={span(downforce)} xLabel="CxS, m²" yLabel="CzS in fast corners, m²" places={2}
        label="Lines of equal lap time over drag and downforce at the car's own balance.">
        {(place) => {
          const [px, py] = place(here[0], here[1]);
          return (
            <>
              <Lines grid={grid} levels={levels} x={drag} y={downforce} place={place} tone="ink"
                within={[span(drag), span(downforce)]} write={(v) => (v === 0 ? "" : signed(v, digits))} />
              <circle class="now" cx={px} cy={py} r={5} />
              <text class="now" x={px + 9} y={py - 8}>here</text>
            </>
          );
        }}
      </Plane>
      <p class="faint">Along a line a change pays for itself. Front share held; one lap of the car in the middle of the draws at every node.</p>
    </figure>
  );
}

interface LinesProps {
  grid: number[][];
  levels: number[];
  x: number[];
  y: number[];
  place: (x: number, y: number) => Point;
  tone: "rear" | "ink";
  within: [Span, Span];
  write: (level: number) => string;
}

function Lines({ grid, levels, x, y, place, tone, within, write: text }: LinesProps) {
  const at = (axis: number[], k: number) => {
    const i = Math.min(Math.floor(k), axis.length - 2);
    return axis[i] + (k - i) * (axis[i + 1] - axis[i]);
  };
  const [across, up] = within;
  // Where lines crowd, every other label would lie on its neighbour.
  const labelled: Point[] = [];
  const isFree = ([a, b]: Point) => {
    if (a < EDGE.left + 14 || labelled.some(([c, d]) => Math.abs(a - c) < 34 && Math.abs(b - d) < 15)) return false;
    labelled.push([a, b]);
    return true;
  };
  const inside = (a: number, b: number) => a >= across.low && a <= across.high && b >= up.low && b <= up.high;
  return (
    <>
      {levels.flatMap((level) =>
        contour(grid, level)
          .map((line) => line.map(([i, j]): Point => [at(x, i), at(y, j)]).filter(([a, b]) => inside(a, b)))
          .filter((line) => line.length > 2)
          .map((line, n) => {
            const points = line.map(([a, b]) => place(a, b));
            const [tx, ty] = points[Math.floor(points.length / 2)];
            return (
              <g key={`${level} ${n}`}>
                <path class={`isoline ${tone}${level === 0 ? " zero" : ""}`} d={`M${points.map(([a, b]) => `${a.toFixed(1)} ${b.toFixed(1)}`).join("L")}`} />
                {points.length > 4 && text(level) !== "" && isFree([tx, ty]) && <text class={`level ${tone}`} x={tx} y={ty + 4} text-anchor="middle">{text(level)}</text>}
              </g>
            );
          }),
      )}
    </>
  );
}

/** Round values between two ends, about so many. */
function steps(low: number, high: number, count: number): number[] {
  const raw = (high - low) / count || 1;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * power).find((m) => m >= raw)!;
  const first = Math.ceil(low / step);
  return Array.from({ length: Math.max(0, Math.floor(high / step) - first + 1) }, (_, k) => Number(((first + k) * step).toPrecision(9)));
}

const ticks = ({ low, high }: Span) => steps(low, high, 6);
