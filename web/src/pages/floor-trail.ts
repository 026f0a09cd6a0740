/** Vortices of strakes drawn over the floor: the strake, its core, its footprint, where it bursts. */

import type { Num } from "../types";
import { colour } from "../widgets/width";

export interface Trail {
  refused?: string;
  start_m: number;
  end_m: number;
  offset_m: number;
  angle_deg: number;
  height_mm: number;
  text: string;
  x: number[];
  y?: number[];
  core?: number[];
  suction?: number[];
  reach_m?: number;
  breaks_m?: number | null;
  washes?: "in" | "out";
  load?: Num;
}

export interface Cause {
  answer: string;
  rows: { reading: string; label: string; returned: Num; evidence: string; is_cause: boolean }[];
}

type Place = (v: number) => number;

/** Both sides: the strake as a stroke, the core as a band as wide as it is, suction as a veil. */
export function drawTrails(ctx: CanvasRenderingContext2D, trails: Trail[], px: Place, py: Place, scale: number) {
  for (const trail of trails) {
    if (trail.refused) continue;
    for (const side of [1, -1]) {
      // beside its strake the vortex lies on the side it washes to
      const lee = trail.washes === "out" ? 1 : -1;
      const ys = (trail.y ?? []).map((y, k) => py(side * (y + lee * (trail.core?.[k] ?? 0))));
      const xs = trail.x.map(px);
      veil(ctx, trail, xs, ys, scale);
      core(ctx, trail, xs, ys, scale, px);
      ctx.strokeStyle = colour("ink");
      ctx.lineWidth = 2.5;
      ctx.beginPath();
      ctx.moveTo(px(trail.start_m), py(side * trail.offset_m));
      ctx.lineTo(px(trail.end_m), py(side * trail.offset_m));
      ctx.stroke();
    }
  }
}

/** The footprint: as wide as the vortex lies below the floor, as strong as its suction there. */
function veil(ctx: CanvasRenderingContext2D, trail: Trail, xs: number[], ys: number[], scale: number) {
  const arm = (trail.reach_m ?? 0) * scale;
  ctx.fillStyle = colour("ink");
  for (let k = 0; k + 1 < xs.length; k++) {
    ctx.globalAlpha = 0.22 * (trail.suction?.[k] ?? 0);
    ctx.beginPath();
    ctx.moveTo(xs[k], ys[k] - arm);
    ctx.lineTo(xs[k + 1], ys[k + 1] - arm);
    ctx.lineTo(xs[k + 1], ys[k + 1] + arm);
    ctx.lineTo(xs[k], ys[k] + arm);
    ctx.fill();
  }
  ctx.globalAlpha = 1;
}

function core(ctx: CanvasRenderingContext2D, trail: Trail, xs: number[], ys: number[], scale: number, px: Place) {
  const burst = trail.breaks_m == null ? null : px(trail.breaks_m);
  for (let k = 0; k + 1 < xs.length; k++) {
    const isBurst = burst !== null && xs[k] >= burst - 0.5;
    ctx.strokeStyle = colour(isBurst ? "wrong" : "front");
    ctx.globalAlpha = isBurst ? 0.35 : 0.8;
    ctx.lineWidth = Math.max(1.5, 2 * (trail.core?.[k] ?? 0) * scale);
    ctx.beginPath();
    ctx.moveTo(xs[k], ys[k]);
    ctx.lineTo(xs[k + 1], ys[k + 1]);
    ctx.stroke();
  }
  ctx.globalAlpha = 1;
  if (burst === null) return;
  const at = xs.findIndex((x) => x >= burst - 0.5);
  const y = ys[Math.max(at, 0)];
  ctx.strokeStyle = colour("wrong");
  ctx.lineWidth = 1.8;
  ctx.beginPath();
  ctx.moveTo(burst - 5, y - 5);
  ctx.lineTo(burst + 5, y + 5);
  ctx.moveTo(burst - 5, y + 5);
  ctx.lineTo(burst + 5, y - 5);
  ctx.stroke();
}
