/** The field on its two canvases: one that rests and one that moves with the sliders. */

import { useSignal } from "@preact/signals";
import { useEffect, useLayoutEffect, useRef } from "preact/hooks";
import { withUnit, write } from "../number";
import { askWhy, colours, unitWay } from "../store";
import type { Grid, MapPage, Num } from "../types";
import { between, place as placeOn } from "../widgets/contour";
import { drawBase, drawLive, type Frame, prepare, rangeOf, scaleOf } from "../widgets/field";
import { even } from "../widgets/palette";
import { useWidth } from "../widgets/width";
import type { Block } from "../wire";

export const FIELDS = [
  { key: "total", short: "both", long: "downforce of both axles", unit: "m²" },
  { key: "front", short: "front", long: "downforce on the front axle", unit: "m²" },
  { key: "rear", short: "rear", long: "downforce on the rear axle", unit: "m²" },
  { key: "share", short: "front share", long: "share on the front axle", unit: "%" },
  { key: "drag", short: "drag", long: "drag", unit: "m²" },
  { key: "half_range_total", short: "doubt", long: "half of the 80 % range of downforce", unit: "m²" },
] as const;
export type FieldName = (typeof FIELDS)[number]["key"];

export interface Live {
  at: string;
  kg_per_m2?: number;
  numbers: Partial<
    Record<"front" | "rear" | "total" | "drag" | "share" | "front_mm" | "rear_mm" | "cliff_mm", Num>
  >;
  arrays: Record<string, Block>;
  ask: { speed: number; front_mm: number; rear_mm: number };
  /** When the slider was moved, in the page's clock. */
  since: number;
}

interface Props {
  page: MapPage;
  field: FieldName;
  live: Live | null;
}

type Hand = { front: number; rear: number };

export function MapField({ page, field, live }: Props) {
  const [box, width] = useWidth<HTMLDivElement>(560);
  // The whole map and the sliders stay on one screen.
  const height = Math.round(Math.max(300, Math.min(560, width * 0.82, innerHeight * 0.54)));
  const base = useRef<HTMLCanvasElement>(null);
  const over = useRef<HTMLCanvasElement>(null);
  const hand = useSignal<Hand | null>(null);
  const { front_mm: front, rear_mm: rear } = page.axes;
  const frame: Frame = { width, height, front, rear };
  const grid = page.fields[field];
  const kind = FIELDS.find((f) => f.key === field)!;
  const inKg = unitWay.value === "kilograms" && kind.unit === "m²" && live?.kg_per_m2 !== undefined;
  const factor = inKg ? live!.kg_per_m2! : 1;
  const unit = inKg ? "kg" : kind.unit;

  useEffect(() => {
    if (base.current) drawBase(prepare(base.current, width, height), { page, grid, frame, factor });
    void document.fonts?.ready.then(() => {
      if (base.current) drawBase(prepare(base.current, width, height), { page, grid, frame, factor });
    });
  }, [page, field, width, height, colours.value, factor]);

  useLayoutEffect(() => {
    if (!over.current) return;
    drawLive(prepare(over.current, width, height), {
      frame,
      page,
      cloud: cloudOf(live),
      path: pathOf(live),
      at: middleOf(live),
      hand: hand.value,
    });
    note(over.current, live);
  }, [page, live, hand.value, width, height, colours.value]);

  const ask = (at: Hand | null) => {
    if (!at || !page.why_cell) return;
    const node = nearest(at, front, rear);
    askWhy(
      page.why_cell
        .replace("{field}", field)
        .replace("{front_mm}", `${node.front}`)
        .replace("{rear_mm}", `${node.rear}`),
    );
  };
  const pointed = (event: MouseEvent) => {
    const scale = scaleOf(frame);
    const rect = over.current!.getBoundingClientRect();
    const at = {
      front: scale.front(event.clientX - rect.left),
      rear: scale.rear(event.clientY - rect.top),
    };
    const isInside =
      at.front >= front[0] && at.front <= front.at(-1)! && at.rear >= rear[0] && at.rear <= rear.at(-1)!;
    return isInside ? at : null;
  };
  const onKey = (event: KeyboardEvent) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (step) {
      event.preventDefault();
      hand.value = walk(hand.value ?? middleOf(live) ?? { front: front[0], rear: rear[0] }, step, front, rear);
    } else if (event.key === "Enter") ask(hand.value);
  };

  return (
    <figure class="field">
      <figcaption>
        <span>
          <b>{kind.long[0].toUpperCase() + kind.long.slice(1)}</b>, {unit}
        </span>
      </figcaption>
      <div ref={box} class="canvases" style={{ height: `${height}px` }}>
        <canvas ref={base} style={{ width: `${width}px`, height: `${height}px` }} aria-hidden="true" />
        <canvas
          ref={over}
          style={{ width: `${width}px`, height: `${height}px` }}
          role="application"
          tabIndex={0}
          aria-label={`Map of ${kind.long} over ride heights. Arrow keys move a cross from cell to cell, Enter asks why.`}
          onKeyDown={onKey}
          onPointerMove={(event) => (hand.value = pointed(event))}
          onPointerLeave={() => (hand.value = null)}
          onClick={(event) => ask(pointed(event))}
        />
      </div>
      <p class="readout" aria-live="polite">
        {hand.value
          ? words(hand.value, grid, page, unit, factor)
          : "Point at a cell, or walk there with the arrow keys."}
      </p>
      <ColourBar range={rangeOf(grid)} factor={factor} unit={unit} hasHatch={!!page.fields.valid} />
    </figure>
  );
}

function words(at: Hand, grid: Grid, page: MapPage, unit: string, factor: number): string {
  const { front_mm: front, rear_mm: rear } = page.axes;
  const value = between(grid, placeOn(front, at.front), placeOn(rear, at.rear));
  const where = `hf ${withUnit(write(at.front, 1), "mm")}, hr ${withUnit(write(at.rear, 1), "mm")}`;
  if (value === null) return `${where}: nothing computed here`;
  const places = unit === "m²" ? 3 : unit === "%" ? 1 : 0;
  return `${where}: ${withUnit(write(value * factor, places), unit)}`;
}

function ColourBar({ range, factor, unit, hasHatch }: {
  range: [number, number];
  factor: number;
  unit: string;
  hasHatch: boolean;
}) {
  const stops = Array.from({ length: 9 }, (_, k) => `rgb(${even(k / 8).join(" ")} / 0.59)`);
  const places = unit === "m²" ? 2 : 0;
  return (
    <div class="colourbar">
      <span>{write(range[0] * factor, places)}</span>
      <span class="ramp" style={{ background: `linear-gradient(to right, ${stops.join(", ")})` }} />
      <span>{withUnit(write(range[1] * factor, places), unit)}</span>
      <span class="sep keyline path">path, with km/h</span>
      <span class="keyline cloud">draws</span>
      <span class="keyline edge">edge of force reduction</span>
      {hasHatch && <span class="keyline hatched">outside what was checked</span>}
    </div>
  );
}

const cloudOf = (live: Live | null) =>
  live?.arrays.cloud_front_mm && live.arrays.cloud_rear_mm
    ? { front: live.arrays.cloud_front_mm, rear: live.arrays.cloud_rear_mm }
    : null;

const pathOf = (live: Live | null) =>
  live?.arrays.path_front_mm && live.arrays.path_rear_mm && live.arrays.path_speed_kmh
    ? {
        speed: live.arrays.path_speed_kmh,
        front: live.arrays.path_front_mm,
        rear: live.arrays.path_rear_mm,
      }
    : null;

function middleOf(live: Live | null): Hand | null {
  const [front, rear] = [live?.numbers.front_mm?.best, live?.numbers.rear_mm?.best];
  return front == null || rear == null ? null : { front, rear };
}

function nearest(at: Hand, front: number[], rear: number[]): Hand {
  const near = (axis: number[], v: number) =>
    axis.reduce((a, b) => (Math.abs(b - v) < Math.abs(a - v) ? b : a));
  return { front: near(front, at.front), rear: near(rear, at.rear) };
}

function walk(at: Hand, [dx, dy]: number[], front: number[], rear: number[]): Hand {
  const now = nearest(at, front, rear);
  const next = (axis: number[], v: number, d: number) =>
    axis[Math.max(0, Math.min(axis.length - 1, axis.indexOf(v) + d))];
  return { front: next(front, now.front, dx), rear: next(rear, now.rear, dy) };
}

/** Say on the canvas what is drawn, and how long it took from the slider to the picture. */
function note(canvas: HTMLCanvasElement, live: Live | null): void {
  if (!live || canvas.dataset.speed === String(live.ask.speed)) return;
  canvas.dataset.speed = String(live.ask.speed);
  const { since } = live;
  // Two frames on, the picture is on the screen.
  requestAnimationFrame(() =>
    requestAnimationFrame(() => performance.measure("slider to repaint", { start: since })),
  );
}
