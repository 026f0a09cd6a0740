/** The floor seen from above with its pressure, the leak at its edges, and its gap from the side. */

import { useSignal } from "@preact/signals";
import { useLayoutEffect, useRef } from "preact/hooks";
import { withUnit, write } from "../number";
import { colours } from "../store";
import { prepare } from "../widgets/field";
import { twoSided } from "../widgets/palette";
import { colour, useWidth } from "../widgets/width";
import { drawTrails, type Trail } from "./floor-trail";

export interface FloorField {
  shape: [number, number];
  x: ArrayLike<number | null>;
  y: ArrayLike<number | null>;
  cp: ArrayLike<number | null>;
  speed: ArrayLike<number | null>;
  gap: ArrayLike<number | null>;
  leak_left: ArrayLike<number | null>;
  leak_right: ArrayLike<number | null>;
  line_x: ArrayLike<number | null>;
  shape_factor: ArrayLike<number | null>;
  displacement_mm: ArrayLike<number | null>;
  gap_mm: ArrayLike<number | null>;
  stalled_from: number | null;
}

interface Props {
  field: FloorField;
  front: number;
  exit: number;
  half: number;
  tail: number;
  kick: number;
  wheelbase: number;
  trails: Trail[];
  isRefused: boolean;
}

const PAD = { l: 40, r: 12, t: 40, b: 54 };
const DEEPEST = 3;

const n = (v: number | null | undefined) => (v === null || v === undefined || !Number.isFinite(v) ? null : v);

/** Pressure in plan; the car drives to the left. Point at it to read a place. */
export function FloorPlan({ field, front, exit, half, tail, kick, wheelbase, trails, isRefused }: Props) {
  const [ref, width] = useWidth<HTMLDivElement>(720);
  const canvas = useRef<HTMLCanvasElement>(null);
  const hand = useSignal<[number, number] | null>(null);
  const scale = (width - PAD.l - PAD.r) / (exit - front);
  const height = Math.round(2 * half * scale + PAD.t + PAD.b);
  const [nx, ny] = field.shape;
  /** Faces of cells whose middles are given: each middle lies half way between two. */
  const edges = (v: ArrayLike<number | null>, a: number) => {
    const out = [a];
    for (let i = 0; i < v.length; i++) out.push(2 * Number(v[i]) - out[i]);
    return out;
  };
  const xs = edges(field.x, front);
  const ys = edges(field.y, -half);
  const px = (x: number) => PAD.l + scale * (x - front);
  const py = (y: number) => PAD.t + scale * (half - y);
  useLayoutEffect(() => {
    if (!canvas.current) return;
    const ctx = prepare(canvas.current, width, height);
    const isDark = matchesDark();
    for (let i = 0; i < nx; i++)
      for (let j = 0; j < ny; j++) {
        const cp = n(field.cp[i * ny + j]);
        if (cp === null) continue;
        const [r, g, b] = twoSided(cp / DEEPEST, isDark);
        ctx.fillStyle = `rgb(${r} ${g} ${b})`;
        ctx.fillRect(px(xs[i]), py(ys[j + 1]), px(xs[i + 1]) - px(xs[i]) + 0.6, py(ys[j]) - py(ys[j + 1]) + 0.6);
      }
    drawTrails(ctx, trails, px, py, scale);
    outline(ctx);
    leaks(ctx);
    axis(ctx);
    (canvas.current as HTMLCanvasElement & { dataset: DOMStringMap }).dataset.drawn = `${nx}x${ny}`;
  }, [field, trails, width, height, colours.value]);

  const outline = (ctx: CanvasRenderingContext2D) => {
    ctx.strokeStyle = colour("ink");
    ctx.lineWidth = 1.25;
    ctx.beginPath();
    const end = tail < half ? kick : exit;
    ctx.moveTo(px(front), py(half));
    ctx.lineTo(px(end), py(half));
    if (tail < half) {
      ctx.lineTo(px(end), py(tail));
      ctx.lineTo(px(exit), py(tail));
      ctx.lineTo(px(exit), py(-tail));
      ctx.lineTo(px(end), py(-tail));
    } else ctx.lineTo(px(exit), py(-half));
    ctx.lineTo(px(end), py(-half));
    ctx.lineTo(px(front), py(-half));
    ctx.closePath();
    ctx.stroke();
    ctx.setLineDash([5, 4]);
    ctx.beginPath();
    ctx.moveTo(px(kick), py(tail));
    ctx.lineTo(px(kick), py(-tail));
    ctx.stroke();
    ctx.setLineDash([]);
  };
  /** Arrows as long as the air that comes in or leaves per metre of edge. */
  const leaks = (ctx: CanvasRenderingContext2D) => {
    const all = [...Array.from(field.leak_left), ...Array.from(field.leak_right)].map((v) => Math.abs(n(v) ?? 0));
    const most = Math.max(0.02, ...all);
    ctx.strokeStyle = ctx.fillStyle = colour("front");
    ctx.lineWidth = 1.2;
    for (let i = 0; i < nx; i += 2)
      for (const [flow, side] of [[n(field.leak_right[i]), 1], [n(field.leak_left[i]), -1]] as const) {
        if (flow === null || Math.abs(flow) < 0.02 * most) continue;
        const x = px(Number(field.x[i]));
        const edge = py(side * (Number(field.x[i]) > kick ? tail : half));
        const far = edge - side * 26 * (Math.abs(flow) / most);
        const [from, to] = flow > 0 ? [far, edge] : [edge, far];
        const dir = Math.sign(to - from);
        ctx.beginPath();
        ctx.moveTo(x, from);
        ctx.lineTo(x, to);
        ctx.moveTo(x - 2.5, to - dir * 4);
        ctx.lineTo(x, to);
        ctx.lineTo(x + 2.5, to - dir * 4);
        ctx.stroke();
      }
  };
  const axis = (ctx: CanvasRenderingContext2D) => {
    ctx.fillStyle = colour("faint");
    ctx.textAlign = "center";
    const base = height - 14;
    for (const [x, text] of [[0, "front axle"], [wheelbase, "rear axle"]] as const) {
      if (x < front || x > exit) continue;
      ctx.strokeStyle = colour("faint");
      ctx.lineWidth = 1;
      ctx.setLineDash([2, 4]);
      ctx.beginPath();
      ctx.moveTo(px(x), PAD.t - 30);
      ctx.lineTo(px(x), height - 30);
      ctx.stroke();
      ctx.setLineDash([]);
      ctx.fillText(text, Math.min(Math.max(px(x), 46), width - 40), base);
    }
  };
  const point = (event: PointerEvent) => {
    const box = canvas.current!.getBoundingClientRect();
    const x = front + (event.clientX - box.left - PAD.l) / scale;
    const y = half - (event.clientY - box.top - PAD.t) / scale;
    const i = xs.findIndex((v, k) => k < nx && v <= x && x < xs[k + 1]);
    const j = ys.findIndex((v, k) => k < ny && v <= y && y < ys[k + 1]);
    hand.value = i < 0 || j < 0 ? null : [i, j];
  };
  const at = hand.value;
  const cp = at && n(field.cp[at[0] * ny + at[1]]);
  return (
    <figure class={`floorplan${isRefused ? " waiting" : ""}`}>
      <figcaption><b>Pressure under the floor, from above</b><ColourKey /></figcaption>
      <div ref={ref}>
        <canvas ref={canvas} style={{ width: `${width}px`, height: `${height}px` }} role="img"
          aria-label={said(field)} onPointerMove={point} onPointerLeave={() => (hand.value = null)} />
      </div>
      <p class="readout" aria-live="off">
        {at && cp !== null && cp !== undefined
          ? `${withUnit(write(Number(field.x[at[0]]), 2), "m")} behind the front axle, ${withUnit(write(Number(field.y[at[1]]), 2), "m")} from the middle: Cp ${write(cp, 2)}, speed ${write(n(field.speed[at[0] * ny + at[1]]) ?? 0, 2)} of the road's, gap ${withUnit(write(1000 * (n(field.gap[at[0] * ny + at[1]]) ?? 0), 0), "mm")}`
          : "Driving to the left. Arrows at the edges: air that comes in or leaves. Point at the floor to read it."}
      </p>
    </figure>
  );
}

function said(field: FloorField): string {
  const all = Array.from(field.cp).map(n).filter((v): v is number => v !== null);
  return `Pressure coefficient under the floor in plan, from ${write(Math.min(...all), 2)} to ${write(Math.max(...all), 2)}.`;
}

const matchesDark = () => {
  const set = document.documentElement.dataset.theme;
  return set === "dark" || (set !== "light" && matchMedia("(prefers-color-scheme: dark)").matches);
};

function ColourKey() {
  void colours.value;
  const stops = Array.from({ length: 9 }, (_, k) => {
    const v = -1 + k / 6.4;
    const [r, g, b] = twoSided(v, matchesDark());
    return `rgb(${r} ${g} ${b}) ${(100 * k) / 8}%`;
  });
  return (
    <span class="cpkey">
      Cp {write(-DEEPEST, 0)} <i style={{ background: `linear-gradient(90deg, ${stops.join(", ")})` }} /> {write(DEEPEST / 4, 2)}
    </span>
  );
}

/** The middle of the floor over the road, with the layer on it; heights drawn four times. */
export function FloorSide({ field, front, exit, isRefused }: { field: FloorField; front: number; exit: number; isRefused: boolean }) {
  const [ref, width] = useWidth<HTMLDivElement>(720);
  const gaps = Array.from(field.gap_mm).map((v) => n(v) ?? 0);
  const scale = (width - PAD.l - PAD.r) / (exit - front);
  const tall = (4 * scale * Math.max(...gaps)) / 1000;
  const fit = Math.min(1, 130 / tall);
  const height = Math.round(tall * fit + 34);
  const fx = (x: number) => PAD.l + scale * (x - front);
  const fy = (mm: number) => height - 20 - (4 * fit * scale * mm) / 1000;
  const xs = Array.from(field.line_x).map(Number);
  const top = xs.map((x, k) => `${fx(x).toFixed(1)} ${fy(gaps[k]).toFixed(1)}`);
  const layer = xs.map((x, k) => `${fx(x).toFixed(1)} ${fy(gaps[k] - (n(field.displacement_mm[k]) ?? 0)).toFixed(1)}`);
  const apart = field.stalled_from;
  return (
    <figure class={`floorside${isRefused ? " waiting" : ""}`}>
      <figcaption><b>Gap and layer, from the side</b> <span class="faint">heights drawn {write(4 * fit, 1)} times</span></figcaption>
      <div ref={ref}>
        <svg width={width} height={height} role="img" aria-label={apart === null ? "The layer holds along the ramp." : `The layer has separated from ${write(apart, 2)} m on.`}>
          <line class="road" x1={PAD.l} x2={width - PAD.r} y1={fy(0)} y2={fy(0)} />
          <path class={apart === null ? "thin" : "thin apart"} d={`M${top.join("L")}L${[...layer].reverse().join("L")}Z`} />
          <path class="under" d={`M${top.join("L")}`} />
        </svg>
      </div>
      <p class="readout">
        {apart === null
          ? "The displacement of the layer stays thin along the ramp: it holds."
          : `The layer has separated from ${withUnit(write(apart, 2), "m")} on.`}
      </p>
    </figure>
  );
}
