/** Drawing of the map: a field of ride heights, and what moves on it. No state, no page. */

import { ticks, write } from "../number";
import type { Grid, MapPage } from "../types";
import { between, contour, place, valueAt } from "./contour";
import { even } from "./palette";
import { colour } from "./width";

export const PAD = { left: 52, right: 16, top: 14, bottom: 44 };

export interface Frame {
  width: number;
  height: number;
  front: number[];
  rear: number[];
}

/** Millimetres to pixels and back. */
export function scaleOf(frame: Frame) {
  const { width, height, front, rear } = frame;
  const [f0, f1] = [front[0], front.at(-1)!];
  const [r0, r1] = [rear[0], rear.at(-1)!];
  const w = width - PAD.left - PAD.right;
  const h = height - PAD.top - PAD.bottom;
  return {
    x: (mm: number) => PAD.left + ((mm - f0) / (f1 - f0)) * w,
    y: (mm: number) => PAD.top + h - ((mm - r0) / (r1 - r0)) * h,
    front: (px: number) => f0 + ((px - PAD.left) / w) * (f1 - f0),
    rear: (px: number) => r0 + ((PAD.top + h - px) / h) * (r1 - r0),
    inside: { x: PAD.left, y: PAD.top, w, h },
  };
}

/** Set a canvas up for the screen's pixels; drawing stays in CSS pixels. */
export function prepare(canvas: HTMLCanvasElement, width: number, height: number) {
  const ratio = devicePixelRatio || 1;
  if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
  if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
  const ctx = canvas.getContext("2d")!;
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, width, height);
  ctx.font = "12px 'Source Sans 3', sans-serif";
  return ctx;
}

export function rangeOf(grid: Grid): [number, number] {
  const values = grid.flat().filter((v): v is number => v !== null);
  return values.length ? [Math.min(...values), Math.max(...values)] : [0, 1];
}

export interface BaseInput {
  page: MapPage;
  grid: Grid;
  frame: Frame;
  /** Factor and digits of what is written: area, kilograms or per cent. */
  factor: number;
}

/** Everything that does not move with the sliders. */
export function drawBase(ctx: CanvasRenderingContext2D, input: BaseInput): void {
  const { page, grid, frame } = input;
  const scale = scaleOf(frame);
  const { inside } = scale;
  const range = rangeOf(grid);
  ctx.save();
  ctx.beginPath();
  ctx.rect(inside.x, inside.y, inside.w, inside.h);
  ctx.clip();
  paint(ctx, grid, frame, range);
  hatch(ctx, page, frame);
  lines(ctx, input, range);
  cliff(ctx, page, frame);
  ctx.restore();
  axes(ctx, frame);
}

function paint(ctx: CanvasRenderingContext2D, grid: Grid, frame: Frame, range: [number, number]) {
  const [low, high] = range;
  const [w, h] = [160, 160];
  const image = new ImageData(w, h);
  const [f0, f1] = [frame.front[0], frame.front.at(-1)!];
  const [r0, r1] = [frame.rear[0], frame.rear.at(-1)!];
  for (let j = 0; j < h; j++) {
    const y = place(frame.rear, r1 - ((j + 0.5) / h) * (r1 - r0));
    for (let i = 0; i < w; i++) {
      const value = between(grid, place(frame.front, f0 + ((i + 0.5) / w) * (f1 - f0)), y);
      if (value === null) continue;
      const k = 4 * (j * w + i);
      [image.data[k], image.data[k + 1], image.data[k + 2]] = even((value - low) / (high - low || 1));
      image.data[k + 3] = 150; // the sheet shows through: lines and words stay on top
    }
  }
  const small = new OffscreenCanvas(w, h);
  small.getContext("2d")!.putImageData(image, 0, 0);
  const { inside } = scaleOf(frame);
  ctx.imageSmoothingEnabled = true;
  ctx.drawImage(small, inside.x, inside.y, inside.w, inside.h);
}

/** Where a cell lies outside what was checked: hatched, as the draughtsman marks cut stock. */
function hatch(ctx: CanvasRenderingContext2D, page: MapPage, frame: Frame): void {
  const valid = page.fields.valid;
  if (!valid) return;
  const scale = scaleOf(frame);
  const { front, rear } = frame;
  const edge = (axis: number[], k: number) =>
    k <= 0 ? axis[0] : k >= axis.length ? axis.at(-1)! : (axis[k - 1] + axis[k]) / 2;
  ctx.save();
  ctx.beginPath();
  valid.forEach((row, j) =>
    row.forEach((ok, i) => {
      if (ok) return;
      const [x0, x1] = [scale.x(edge(front, i)), scale.x(edge(front, i + 1))];
      const [y0, y1] = [scale.y(edge(rear, j + 1)), scale.y(edge(rear, j))];
      ctx.rect(x0, y0, x1 - x0 + 0.5, y1 - y0 + 0.5);
    }),
  );
  ctx.clip();
  ctx.strokeStyle = colour("ink");
  ctx.globalAlpha = 0.4;
  ctx.lineWidth = 1;
  ctx.beginPath();
  for (let x = -frame.height; x < frame.width; x += 9) {
    ctx.moveTo(x, frame.height);
    ctx.lineTo(x + frame.height, 0);
  }
  ctx.stroke();
  ctx.restore();
}

function lines(ctx: CanvasRenderingContext2D, input: BaseInput, range: [number, number]): void {
  const { grid, frame, factor } = input;
  const scale = scaleOf(frame);
  const levels = ticks(range[0] * factor, range[1] * factor, 12);
  const step = levels.length > 1 ? levels[1] - levels[0] : 1;
  const places = Math.max(0, Math.min(3, -Math.floor(Math.log10(step) + 1e-9)));
  const labels: { x: number; y: number; text: string; turn: number }[] = [];
  ctx.strokeStyle = colour("ink");
  ctx.lineWidth = 1;
  for (const level of levels)
    for (const line of contour(grid, level / factor)) {
      const points = line.map(
        ([i, j]) => [scale.x(valueAt(frame.front, i)), scale.y(valueAt(frame.rear, j))] as const,
      );
      ctx.beginPath();
      points.forEach(([x, y], k) => (k ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
      ctx.globalAlpha = 0.55;
      ctx.stroke();
      const label = labelOn(points, write(level, places), labels);
      if (label) labels.push(label);
    }
  ctx.globalAlpha = 1;
  for (const label of labels) writeOn(ctx, label);
}

/** A place for a label: near the middle of a long line, and clear of the other labels. */
function labelOn(
  points: readonly (readonly [number, number])[],
  text: string,
  others: { x: number; y: number }[],
) {
  if (points.length < 8) return null;
  for (const share of [0.5, 0.35, 0.65, 0.2, 0.8]) {
    const k = Math.max(1, Math.min(points.length - 2, Math.round(share * points.length)));
    const [x, y] = points[k];
    if (others.some((o) => Math.hypot(o.x - x, o.y - y) < 46)) continue;
    const [xa, ya] = points[k - 1];
    const [xb, yb] = points[k + 1];
    let turn = Math.atan2(yb - ya, xb - xa);
    if (Math.abs(turn) > Math.PI / 2) turn -= Math.sign(turn) * Math.PI;
    return { x, y, text, turn };
  }
  return null;
}

function writeOn(
  ctx: CanvasRenderingContext2D,
  { x, y, text, turn }: { x: number; y: number; text: string; turn: number },
): void {
  ctx.save();
  ctx.translate(x, y);
  ctx.rotate(turn);
  ctx.textAlign = "center";
  ctx.textBaseline = "middle";
  ctx.strokeStyle = colour("paper");
  ctx.lineWidth = 5;
  ctx.lineJoin = "round";
  ctx.strokeText(text, 0, 0);
  ctx.fillStyle = colour("ink");
  ctx.fillText(text, 0, 0);
  ctx.restore();
}

function cliff(ctx: CanvasRenderingContext2D, page: MapPage, frame: Frame): void {
  if (!page.cliff) return;
  const scale = scaleOf(frame);
  const points = page.cliff.front_mm.map(
    (mm, k) => [scale.x(mm), scale.y(page.cliff!.rear_mm[k])] as const,
  );
  ctx.strokeStyle = colour("tuft");
  ctx.lineWidth = 2;
  ctx.beginPath();
  points.forEach(([x, y], k) => (k ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
  ctx.stroke();
  // Teeth on the losing side, as on a drawn cliff.
  ctx.lineWidth = 1.2;
  ctx.beginPath();
  for (let k = 0; k + 1 < points.length; k++) {
    const [[xa, ya], [xb, yb]] = [points[k], points[k + 1]];
    for (let x = xa + 6; x < xb; x += 12) {
      const y = ya + ((x - xa) / (xb - xa || 1)) * (yb - ya);
      ctx.moveTo(x, y);
      ctx.lineTo(x, y + 7);
    }
  }
  ctx.stroke();
}

function axes(ctx: CanvasRenderingContext2D, frame: Frame): void {
  const { x, y, inside } = scaleOf(frame);
  const [bottom, right] = [inside.y + inside.h, inside.x + inside.w];
  ctx.strokeStyle = colour("ink");
  ctx.fillStyle = colour("ink");
  ctx.lineWidth = 1;
  ctx.strokeRect(inside.x + 0.5, inside.y + 0.5, inside.w, inside.h);
  ctx.textAlign = "center";
  ctx.textBaseline = "top";
  ctx.beginPath();
  for (const t of ticks(frame.front[0], frame.front.at(-1)!, 8)) {
    ctx.moveTo(x(t), bottom);
    ctx.lineTo(x(t), bottom + 4);
    ctx.fillText(write(t, 0), x(t), bottom + 7);
  }
  ctx.textAlign = "right";
  ctx.textBaseline = "middle";
  for (const t of ticks(frame.rear[0], frame.rear.at(-1)!, 8)) {
    ctx.moveTo(inside.x, y(t));
    ctx.lineTo(inside.x - 4, y(t));
    ctx.fillText(write(t, 0), inside.x - 8, y(t));
  }
  ctx.stroke();
  ctx.textAlign = "center";
  ctx.textBaseline = "bottom";
  ctx.fillText("front ride height hf, mm", inside.x + inside.w / 2, frame.height - 4);
  ctx.save();
  ctx.translate(13, inside.y + inside.h / 2);
  ctx.rotate(-Math.PI / 2);
  ctx.textBaseline = "middle";
  ctx.fillText("rear ride height hr, mm", 0, 0);
  ctx.restore();
  ctx.globalAlpha = 0.25;
  ctx.beginPath();
  ctx.moveTo(right, inside.y);
  ctx.stroke();
  ctx.globalAlpha = 1;
}

export interface LiveInput {
  frame: Frame;
  page: MapPage;
  cloud: { front: ArrayLike<number>; rear: ArrayLike<number> } | null;
  path: { speed: ArrayLike<number>; front: ArrayLike<number>; rear: ArrayLike<number> } | null;
  at: { front: number; rear: number } | null;
  hand: { front: number; rear: number } | null;
}

/** What moves: the platform's path, the cloud of draws, the platform now, the reader's cross. */
export function drawLive(ctx: CanvasRenderingContext2D, live: LiveInput): void {
  const scale = scaleOf(live.frame);
  const { inside } = scale;
  ctx.save();
  ctx.beginPath();
  ctx.rect(inside.x, inside.y, inside.w, inside.h);
  ctx.clip();
  const path = live.path ?? {
    speed: live.page.path.map((p) => p.speed_kmh),
    front: live.page.path.map((p) => p.front_mm),
    rear: live.page.path.map((p) => p.rear_mm),
  };
  if (live.cloud) {
    ctx.fillStyle = colour("ink");
    ctx.globalAlpha = 0.42;
    for (let k = 0; k < live.cloud.front.length; k++)
      ctx.fillRect(scale.x(live.cloud.front[k]) - 1.25, scale.y(live.cloud.rear[k]) - 1.25, 2.5, 2.5);
    ctx.globalAlpha = 1;
  }
  pathLine(ctx, path, scale, live.at);
  for (const one of live.page.equilibria.filter((e) => !e.stable)) {
    ctx.strokeStyle = colour("wrong");
    ctx.lineWidth = 1.5;
    const [x, y] = [scale.x(one.front_mm), scale.y(one.rear_mm)];
    ctx.strokeRect(x - 4, y - 4, 8, 8);
  }
  if (live.at) target(ctx, scale.x(live.at.front), scale.y(live.at.rear));
  if (live.hand) cross(ctx, scale, live.hand);
  ctx.restore();
}

function pathLine(
  ctx: CanvasRenderingContext2D,
  path: NonNullable<LiveInput["path"]>,
  scale: ReturnType<typeof scaleOf>,
  at: LiveInput["at"],
): void {
  const points = Array.from(path.front, (mm, k) => [scale.x(mm), scale.y(path.rear[k])] as const);
  for (const [tone, width] of [["paper", 5], ["ink", 2.25]] as const) {
    ctx.strokeStyle = colour(tone);
    ctx.lineWidth = width;
    ctx.beginPath();
    points.forEach(([x, y], k) => (k ? ctx.lineTo(x, y) : ctx.moveTo(x, y)));
    ctx.stroke();
  }
  ctx.textAlign = "left";
  ctx.textBaseline = "middle";
  let last: readonly [number, number] | null = null;
  roundStops(path.speed).forEach(({ speed, k, t }) => {
    const [a, b] = [points[k], points[Math.min(k + 1, points.length - 1)]];
    const [x, y] = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
    ctx.fillStyle = colour("ink");
    ctx.beginPath();
    ctx.arc(x, y, 3, 0, 2 * Math.PI);
    ctx.fill();
    if (last && Math.hypot(x - last[0], y - last[1]) < 26) return;
    if (at && Math.hypot(x + 18 - scale.x(at.front), y + 9 - scale.y(at.rear)) < 30) return;
    last = [x, y];
    ctx.strokeStyle = colour("paper");
    ctx.lineWidth = 4;
    ctx.lineJoin = "round";
    const text = write(speed, 0);
    ctx.strokeText(text, x + 8, y + 9);
    ctx.fillText(text, x + 8, y + 9);
  });
}

/** Where a drawn path passes round speeds: the piece it is on and how far along. */
function roundStops(speed: ArrayLike<number>): { speed: number; k: number; t: number }[] {
  const stops = [];
  for (let k = 0; k + 1 < speed.length; k++) {
    const [a, b] = [speed[k], speed[k + 1]];
    for (let v = 20 * Math.ceil(a / 20 - 1e-6); v < b - 1e-6; v += 20)
      if (v >= 80) stops.push({ speed: v, k, t: Math.max(0, (v - a) / (b - a)) });
  }
  const end = speed.length - 1;
  if (end >= 0 && Math.abs(speed[end] % 20) < 1e-3) stops.push({ speed: speed[end], k: end, t: 0 });
  return stops;
}

function target(ctx: CanvasRenderingContext2D, x: number, y: number): void {
  for (const [tone, width] of [["paper", 5], ["ink", 2]] as const) {
    ctx.strokeStyle = colour(tone);
    ctx.lineWidth = width;
    ctx.beginPath();
    ctx.arc(x, y, 8, 0, 2 * Math.PI);
    ctx.moveTo(x - 14, y);
    ctx.lineTo(x - 4, y);
    ctx.moveTo(x + 4, y);
    ctx.lineTo(x + 14, y);
    ctx.moveTo(x, y - 14);
    ctx.lineTo(x, y - 4);
    ctx.moveTo(x, y + 4);
    ctx.lineTo(x, y + 14);
    ctx.stroke();
  }
}

function cross(
  ctx: CanvasRenderingContext2D,
  scale: ReturnType<typeof scaleOf>,
  hand: { front: number; rear: number },
): void {
  const { inside } = scale;
  ctx.strokeStyle = colour("ink");
  ctx.globalAlpha = 0.7;
  ctx.lineWidth = 1;
  ctx.setLineDash([10, 3, 2, 3]);
  ctx.beginPath();
  ctx.moveTo(scale.x(hand.front), inside.y);
  ctx.lineTo(scale.x(hand.front), inside.y + inside.h);
  ctx.moveTo(inside.x, scale.y(hand.rear));
  ctx.lineTo(inside.x + inside.w, scale.y(hand.rear));
  ctx.stroke();
  ctx.setLineDash([]);
  ctx.globalAlpha = 1;
}
