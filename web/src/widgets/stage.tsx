/** A picture with marks on it: zoom, pan, drag with a magnifier, nudge by keyboard. */

import { useEffect, useRef, useState } from "preact/hooks";
import { colours, connected } from "../store";
import type { ReadingRow, StockFeature } from "../types";
import { edgeNear, TileStore } from "./tiles";

export type Marks = Record<string, [number, number][]>;
export interface Corner {
  mark: string;
  corner: number;
}
interface View {
  x: number;
  y: number;
  scale: number;
}
export interface Layers {
  dimensions: boolean;
  openings: boolean;
  flow: boolean;
  rivals: boolean;
}

interface Props {
  picture: string;
  title: string;
  width: number;
  height: number;
  tile: number;
  marks: Marks;
  readings: ReadingRow[];
  features: StockFeature[];
  layers: Layers;
  chosen: Corner | null;
  snap: boolean;
  placing: boolean;
  onChoose: (corner: Corner | null) => void;
  onMove: (corner: Corner, at: [number, number], done: boolean) => void;
  onPlace: (at: [number, number]) => void;
}

const LENS = 168;
const LENS_SCALE = 6;
const REACH = 14;

export function Stage(props: Props) {
  const { picture, width, height, tile, marks } = props;
  const box = useRef<HTMLDivElement>(null);
  const canvas = useRef<HTMLCanvasElement>(null);
  const lens = useRef<HTMLCanvasElement>(null);
  const store = useRef<TileStore | null>(null);
  const [size, setSize] = useState({ width: 800, height: 520 });
  const [view, setView] = useState<View>({ x: 0, y: 0, scale: 0 });
  const [loaded, setLoaded] = useState(0);
  const drag = useRef<{ corner: Corner | null; x: number; y: number; view: View } | null>(null);
  const [held, setHeld] = useState<Corner | null>(null);
  const moved = useRef(0);

  useEffect(() => {
    const made = new TileStore(picture, tile, () => setLoaded((n) => n + 1));
    store.current = made;
    setLoaded((n) => n + 1);
    return () => made.close();
  }, [picture, tile]);

  useEffect(() => {
    const here = box.current!;
    const look = () => setSize({ width: here.clientWidth, height: here.clientHeight });
    const watch = new ResizeObserver(look);
    watch.observe(here);
    look();
    return () => watch.disconnect();
  }, []);

  const fit = (): View => {
    const scale = Math.min(size.width / width, size.height / height);
    return { x: (width - size.width / scale) / 2, y: (height - size.height / scale) / 2, scale };
  };
  useEffect(() => setView(fit()), [picture, width, height, size.width, size.height]);

  useEffect(() => {
    const here = canvas.current;
    if (!here || !store.current || view.scale <= 0) return;
    const dense = devicePixelRatio || 1;
    here.width = size.width * dense;
    here.height = size.height * dense;
    const pen = here.getContext("2d")!;
    const level = levelFor(view.scale * dense, width, height, tile);
    const coarse = levelFor(0, width, height, tile);
    const scaled = { ...view, scale: view.scale * dense };
    const pixels = { width: here.width, height: here.height };
    store.current.draw(pen, scaled, pixels, { width, height }, level === coarse ? [level] : [coarse, level]);
  }, [view, size, loaded, width, height, colours.value, connected.value]);

  const shown = held ?? props.chosen;
  const at = shown && marks[shown.mark]?.[shown.corner];
  useEffect(() => {
    const here = lens.current;
    if (!here || !store.current || !at) return;
    const pen = here.getContext("2d")!;
    pen.fillStyle = "#888";
    pen.fillRect(0, 0, LENS, LENS);
    const reach = LENS / LENS_SCALE / 2;
    pen.imageSmoothingEnabled = false;
    // pixels count from their middles: the middle of the first pixel is 0
    const corner = { x: at[0] + 0.5 - reach, y: at[1] + 0.5 - reach, scale: LENS_SCALE };
    store.current.draw(pen, corner, { width: LENS, height: LENS }, { width, height }, [0]);
  });

  useEffect(() => {
    if (moved.current === 0) return;
    const begun = moved.current;
    moved.current = 0;
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () =>
        performance.measure("drag to repaint", { start: begun, end: performance.now() });
      channel.port2.postMessage(0);
    });
  }, [marks]);

  const toPicture = (event: { clientX: number; clientY: number }): [number, number] => {
    const here = box.current!.getBoundingClientRect();
    return [
      (event.clientX - here.left) / view.scale + view.x - 0.5,
      (event.clientY - here.top) / view.scale + view.y - 0.5,
    ];
  };
  const toScreen = ([x, y]: [number, number]): [number, number] => [
    (x + 0.5 - view.x) * view.scale,
    (y + 0.5 - view.y) * view.scale,
  ];
  const inside = ([x, y]: [number, number]): [number, number] => [
    Math.min(width - 1, Math.max(0, x)),
    Math.min(height - 1, Math.max(0, y)),
  ];

  const zoom = (factor: number, x = size.width / 2, y = size.height / 2) =>
    setView((old) => {
      const scale = Math.min(16, Math.max(0.5 * fit().scale, old.scale * factor));
      return { x: old.x + x / old.scale - x / scale, y: old.y + y / old.scale - y / scale, scale };
    });

  const nearest = (event: PointerEvent): Corner | null => {
    const here = box.current!.getBoundingClientRect();
    const [px, py] = [event.clientX - here.left, event.clientY - here.top];
    let best: Corner | null = null;
    let least = REACH;
    for (const [mark, corners] of Object.entries(marks))
      corners.forEach((one, corner) => {
        const [x, y] = toScreen(one);
        const off = Math.hypot(x - px, y - py);
        if (off < least) {
          least = off;
          best = { mark, corner };
        }
      });
    return best;
  };

  const down = (event: PointerEvent) => {
    if (event.button !== 0) return;
    if (props.placing) {
      props.onPlace(inside(toPicture(event)));
      return;
    }
    (event.currentTarget as HTMLElement).setPointerCapture(event.pointerId);
    const corner = nearest(event);
    drag.current = { corner, x: event.clientX, y: event.clientY, view };
    setHeld(corner);
    if (corner) props.onChoose(corner);
  };
  const move = (event: PointerEvent) => {
    const now = drag.current;
    if (!now) return;
    if (now.corner) {
      moved.current = event.timeStamp;
      props.onMove(now.corner, inside(toPicture(event)), false);
    } else
      setView({
        ...now.view,
        x: now.view.x - (event.clientX - now.x) / now.view.scale,
        y: now.view.y - (event.clientY - now.y) / now.view.scale,
      });
  };
  const up = (event: PointerEvent) => {
    const now = drag.current;
    drag.current = null;
    setHeld(null);
    if (!now) return;
    const still = Math.hypot(event.clientX - now.x, event.clientY - now.y) < 3;
    if (!now.corner) {
      if (still) props.onChoose(null);
      return;
    }
    if (still) return;
    const to = inside(toPicture(event));
    const [corner, tiles] = [now.corner, store.current];
    if (!props.snap || !tiles) props.onMove(corner, to, true);
    else {
      edgeNear(tiles, to, { width, height }); // asks for the pixels there
      void tiles.settled().then(() => props.onMove(corner, edgeNear(tiles, to, { width, height }), true));
    }
  };

  const key = (event: KeyboardEvent) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way && props.chosen) {
      const now = marks[props.chosen.mark]?.[props.chosen.corner];
      if (!now) return;
      const step = event.shiftKey ? 5 : event.altKey ? 0.1 : 0.5;
      moved.current = event.timeStamp;
      props.onMove(props.chosen, inside([now[0] + step * way[0], now[1] + step * way[1]]), true);
    } else if (way) setView((old) => ({ ...old, x: old.x + (40 * way[0]) / old.scale, y: old.y + (40 * way[1]) / old.scale }));
    else if (event.key === "+" || event.key === "=") zoom(1.4);
    else if (event.key === "-") zoom(1 / 1.4);
    else if (event.key === "0") setView(fit());
    else if (event.key === "Escape") props.onChoose(null);
    else return;
    event.preventDefault();
  };

  return (
    <div class="stage">
      <div
        ref={box}
        class={`frame${props.placing ? " placing" : ""}`}
        role="application"
        tabIndex={0}
        aria-label={`Picture ${picture}: ${props.title}. Arrows move the chosen mark, plus and minus zoom, 0 shows all.`}
        onPointerDown={down}
        onPointerMove={move}
        onPointerUp={up}
        onPointerCancel={up}
        onKeyDown={key}
        onWheel={(event) => {
          event.preventDefault();
          const here = box.current!.getBoundingClientRect();
          zoom(Math.exp(-0.0016 * event.deltaY), event.clientX - here.left, event.clientY - here.top);
        }}
      >
        <canvas ref={canvas} style={{ width: `${size.width}px`, height: `${size.height}px` }} />
        <svg width={size.width} height={size.height} aria-hidden="true">
          <Drawn {...props} toScreen={toScreen} />
          {Object.entries(marks).map(([name, corners]) =>
            corners.map((one, k) => {
              const [x, y] = toScreen(one);
              const on = shown?.mark === name && shown.corner === k;
              return (
                <g key={`${name} ${k}`} class={`pin${on ? " on" : ""}`} transform={`translate(${x} ${y})`}>
                  {corners.length > 2 && !on ? (
                    <>
                      <circle r="3.5" class="under" />
                      <circle r="3.5" />
                    </>
                  ) : (
                    <>
                      <circle r="6" class="under" />
                      <circle r="6" />
                      <path d="M-10 0h6M4 0h6M0-10v6M0 4v6" />
                    </>
                  )}
                  {on && (
                    <text x="12" y="-9">
                      {name}
                    </text>
                  )}
                </g>
              );
            }),
          )}
        </svg>
        {at && (
          <div class={`lens ${toScreen(at)[0] > size.width / 2 ? "left" : "right"}`} aria-hidden="true">
            <canvas ref={lens} width={LENS} height={LENS} />
            <svg width={LENS} height={LENS}>
              <path d={`M${LENS / 2} 0v${LENS / 2 - 8}M${LENS / 2} ${LENS}v${8 - LENS / 2}M0 ${LENS / 2}h${LENS / 2 - 8}M${LENS} ${LENS / 2}h${8 - LENS / 2}`} />
            </svg>
          </div>
        )}
      </div>
      <p class="stagebar">
        <button type="button" class="do quiet" onClick={() => zoom(1.5)} aria-label="Zoom in">
          +
        </button>
        <button type="button" class="do quiet" onClick={() => zoom(1 / 1.5)} aria-label="Zoom out">
          −
        </button>
        <button type="button" class="do quiet" onClick={() => setView(fit())}>
          Whole picture
        </button>
        <span class="faint">
          {width} × {height} pixels · {Math.round(100 * view.scale)} %
        </span>
      </p>
    </div>
  );
}

function levelFor(scale: number, width: number, height: number, tile: number): number {
  const last = Math.max(0, Math.ceil(Math.log2(Math.max(width, height) / tile)));
  if (scale <= 0) return last;
  return Math.min(last, Math.max(0, Math.floor(Math.log2(1 / scale))));
}

/** Lines of the layers: dimensions, openings, flow, rivals. */
function Drawn({
  marks,
  readings,
  features,
  layers,
  picture,
  toScreen,
}: Props & { toScreen: (at: [number, number]) => [number, number] }) {
  const line = (at: [number, number][], close = false) =>
    at.map((one, k) => `${k ? "L" : "M"}${toScreen(one).map((v) => v.toFixed(1)).join(" ")}`).join("") + (close ? "Z" : "");
  const middle = (at: [number, number][]): [number, number] => {
    const all = at.map(toScreen);
    return [all.reduce((s, p) => s + p[0], 0) / all.length, all.reduce((s, p) => s + p[1], 0) / all.length];
  };
  // labels stand under each other where they would cover one another
  const taken: { x: number; y: number; wide: number }[] = [];
  const free = (x: number, y: number, wide: number): number => {
    while (taken.some((t) => x < t.x + t.wide && t.x < x + wide && Math.abs(t.y - y) < 17)) y += 17;
    taken.push({ x, y, wide });
    return y;
  };
  return (
    <>
      {layers.openings &&
        readings
          .filter((r) => r.kind === "area" && r.picture === picture)
          .map((r) => (
            <g key={`open ${r.id}`} class="opening">
              {r.marks.map((m) => marks[m] && <path key={m} d={line(marks[m], true)} />)}
              {r.less.map((m) => marks[m] && <path key={m} class="less" d={line(marks[m], true)} />)}
            </g>
          ))}
      {layers.dimensions &&
        readings
          .filter((r) => r.marks.some((m) => marks[m]))
          .map((r) => {
            const at = r.marks.flatMap((m) => marks[m] ?? []);
            if (!r.number || at.length === 0) return null;
            const screen = at.map(toScreen);
            const isArea = r.kind === "area";
            const x = isArea ? Math.min(...screen.map((p) => p[0])) - 12 : middle(at)[0];
            const y = isArea ? Math.max(...screen.map((p) => p[1])) + 6 : middle(at)[1];
            const best = r.number.text.split(" (")[0];
            const level = free(x + 12, y + 20, 7.2 * (r.id.length + best.length + 2));
            return (
              <g key={r.id} class="dimension">
                {r.kind !== "area" && at.length > 1 && <path d={line(at)} class="under" />}
                {r.kind !== "area" && at.length > 1 && <path d={line(at)} />}
                <text x={x + 12} y={level}>
                  <tspan class="id">{r.id}</tspan> {best}
                </text>
              </g>
            );
          })}
      {(layers.flow || layers.rivals) &&
        features
          .filter((f) => f.picture === picture && f.mark && marks[f.mark])
          .map((f) => {
            const [x, y] = middle(marks[f.mark]);
            const sure = f.confidence?.best ?? 0.5;
            const dash = sure > 0.9 ? "" : sure > 0.7 ? "8 4" : "2 4";
            const first = f.rivals[0];
            return (
              <g key={f.id} class="guess">
                {layers.flow && ["in", "out"].includes(f.role) && (
                  <path
                    class="arrow"
                    stroke-dasharray={dash}
                    d={f.role === "in" ? `M${x - 46} ${y - 34}L${x - 6} ${y - 6}m-11-3l11 3l-3-11` : `M${x + 4} ${y - 4}L${x + 44} ${y - 34}m-11 2l11-2l-4 10`}
                  />
                )}
                {layers.rivals && first && (
                  <text x={x + 14} y={y - 20}>
                    <tspan class="id">{f.id}</tspan> {first.reading} ({Math.round(100 * first.weight)} %)
                  </text>
                )}
              </g>
            );
          })}
    </>
  );
}
