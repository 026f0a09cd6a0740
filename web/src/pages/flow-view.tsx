/** Pictures of a finished run: the car in three dimensions, a plane through the flow, bands. */

import { type Signal, useComputed, useSignal } from "@preact/signals";
import { useEffect, useMemo, useRef } from "preact/hooks";
import { useLive } from "../live";
import { digits, ticks, write } from "../number";
import { colours, connected, line } from "../store";
import { Choice } from "../widgets/control";
import { colourOf, type Scale, tableOf } from "../widgets/pressure";
import { type Body, Scene } from "../widgets/scene";
import { Busy, RefusedNote } from "../widgets/state";
import { colour, useWidth } from "../widgets/width";
import { type Block, Refused } from "../wire";
import type { Refusal } from "../types";
import { Frames, type Instant, type OverTime, sampleWords } from "./flow-time";
import { LineChart } from "./sections-draw";

type Rgb = [number, number, number];
type Arrays = Record<string, Block>;
interface View {
  names: string[];
  planes: { name: string; axis: "x" | "y" | "z"; at: number }[];
  vortex_level: number;
  low: number[];
  high: number[];
  over_time: OverTime | null;
  /** End of the fluctuation's scale, a round number that holds nearly all of it, and the largest value. */
  rms_end: number;
  rms_most: number;
  arrays: Arrays;
}

const ENDS: Record<string, [number, number]> = {
  pressure: [-1.5, 1], friction: [0, 0.01], loss: [0, 1], speed: [0, 1.4],
};
const endsOf = (field: string, view: View): [number, number] => (field === "rms" ? [0, view.rms_end] : ENDS[field]);
const WORDS: Record<string, string> = {
  pressure: "pressure coefficient Cp", friction: "friction coefficient", loss: "total pressure lost, share of q",
  speed: "speed over car speed", rms: "fluctuation of Cp, rms",
};
/** What is shown: means, the last instant, or a sample kept over time, where the record holds it. */
type State = "mean" | "last" | "time";
type Option = readonly [State, string];
const INSTANT = ", one instant";
const MEAN: Option = ["mean", "mean"];
const LAST: Option = ["last", "one instant"];
const TIME: Option = ["time", "over time"];
const scaleOf = (field: string): Scale => (field === "pressure" ? "pressure" : "even");

/** The sheet's paper as it is now, and whether the sheet is dark. */
function sheet(name = "paper"): { rgb: Rgb; dark: boolean } {
  const [r, g, b] = colour(name).match(/[\d.]+/g)!.map(Number);
  return { rgb: [r, g, b], dark: name === "paper" ? r + g + b < 384 : false };
}

export default function FlowView({ name, evidence }: { name: string; evidence: string }) {
  const view = useSignal<View | null>(null);
  const refusal = useSignal<Refusal | null>(null);
  const frame = useSignal(0);
  const shown = useRef("");
  const isOpen = connected.value;
  useEffect(() => {
    const wanted = `${name} ${evidence}`;
    if (isOpen === null || shown.current === wanted) return; // the line came back: the pictures are here already
    let left = false;
    line.ask({ do: "flow_view", case: name }).then(
      ({ header, arrays }) => {
        if (left) return;
        shown.current = wanted;
        refusal.value = null;
        frame.value = 0;
        view.value = { ...(header as unknown as View), arrays };
      },
      (why) => {
        if (!(why instanceof Refused)) throw why;
        if (!left) refusal.value = why.refusal;
      },
    );
    return () => {
      left = true;
    };
  }, [name, evidence, isOpen]);
  if (refusal.value) return <RefusedNote refusal={refusal.value} />;
  if (!view.value) return <div class="flow-room"><Busy what="Reading the run's pictures" /></div>;
  return (
    <>
      <Solid name={name} view={view.value} frame={frame} />
      <PlaneOf name={name} view={view.value} frame={frame} />
      <Charts view={view.value} />
    </>
  );
}

const LOOKS: [string, string, number, number][] = [
  ["ahead", "From ahead", 0.62, 0.33],
  ["behind", "From behind", 2.45, 0.35],
  ["below", "From below", 2.55, -0.45],
  ["side", "Left side", Math.PI / 2, 0],
  ["top", "From above", Math.PI / 2, Math.PI / 2 - 0.001],
];

type Coat = "pressure" | "friction" | "rms";
interface Shown {
  name: string;
  view: View;
  frame: Signal<number>;
}

interface Wish {
  plane: number;
  surface: boolean;
}

/** A sample kept over time: asked for as the handle moves, the latest one wins. */
function useInstant({ name, view, frame }: Shown, asked: Wish | null) {
  const wish = useSignal(asked);
  useEffect(() => {
    wish.value = asked;
  }, [asked?.plane, asked?.surface]);
  const wanted = useComputed(() => {
    const count = view.over_time?.travel.length ?? 0;
    return wish.value && count ? { frame: Math.min(frame.value, count - 1), ...wish.value } : null;
  });
  return useLive(wanted, async (asked): Promise<Instant> => {
    const { arrays } = await line.ask({ do: "flow_frame", case: name, ...asked });
    return { ...asked, arrays };
  });
}

function Solid(props: Shown) {
  const { view, frame } = props;
  const canvas = useRef<HTMLCanvasElement>(null);
  const scene = useRef<Scene | null>(null);
  const field = useSignal<Coat>("pressure");
  const picked = useSignal<State>("mean");
  const kept = view.over_time;
  const options = statesOf(field.value, view);
  const state = options.find(([key]) => key === picked.value)?.[0] ?? "mean";
  const more = useSignal({ vortices: false, lines: true, plane: -1 });
  const broken = useSignal("");
  const hand = useRef<{ x: number; y: number; shift: boolean } | null>(null);
  const tone = colours.value;
  const own = more.value.plane < 0 ? -1 : (kept?.planes.indexOf(more.value.plane) ?? -1);
  const { live, refusal } = useInstant(props, state === "time" ? { plane: own, surface: true } : null);
  const instant = state === "time" ? live.value : null;
  useEffect(() => {
    if (!canvas.current) return;
    try {
      scene.current = new Scene(canvas.current, view.low, view.high);
    } catch (why) {
      broken.value = `This browser draws no three dimensions (${(why as Error).message}). The pictures of the report and the files for other viewers are there all the same.`;
      return;
    }
    const made = scene.current;
    const watch = new ResizeObserver(() => made.ask());
    watch.observe(canvas.current);
    return () => {
      watch.disconnect();
      made.close();
    };
  }, [view]);
  useEffect(() => {
    const { rgb, dark } = sheet();
    scene.current?.show(
      bodiesOf(view, field.value, state, more.value, instant, rgb, dark),
      rgb.map((v) => v / 255) as Rgb,
    );
  }, [view, field.value, state, more.value, instant, tone]);
  const turn = (azimuth: number, elevation: number) => {
    const made = scene.current;
    if (!made) return;
    made.camera.azimuth = azimuth;
    made.camera.elevation = Math.max(-1.57, Math.min(1.57, elevation));
    made.ask();
  };
  const zoom = (factor: number) => {
    const made = scene.current;
    if (!made) return;
    made.camera.zoom = Math.max(0.4, Math.min(20, made.camera.zoom * factor));
    made.ask();
  };
  const look = (azimuth: number, elevation: number) => {
    const made = scene.current;
    if (!made) return;
    made.camera.zoom = 1;
    made.camera.shift = [0, 0];
    turn(azimuth, elevation);
  };
  useEffect(() => {
    const spot = canvas.current;
    if (!spot) return;
    const wheel = (event: WheelEvent) => {
      event.preventDefault();
      zoom(Math.exp(-0.0015 * event.deltaY));
    };
    spot.addEventListener("wheel", wheel, { passive: false });
    return () => spot.removeEventListener("wheel", wheel);
  }, []);
  if (broken.value) return <p class="note partial">{broken.value}</p>;
  const keys: Record<string, [number, number]> = {
    ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1],
  };
  return (
    <section class="flow-solid" aria-label="The car in three dimensions">
      <h2>The car</h2>
      <div class="controls">
        <Choice label="Colour" value={field.value} options={coats(view)} onPick={(v) => (field.value = v)} />
        {options.length > 1 && (
          <Choice label="Surface" value={state} options={options} onPick={(v) => (picked.value = v)} />
        )}
        <fieldset class="ticks">
          <legend>Also show</legend>
          <Tick label="streamlines" on={more.value.lines} onTurn={(lines) => (more.value = { ...more.value, lines })} />
          <Tick label="vortices" on={more.value.vortices} onTurn={(vortices) => (more.value = { ...more.value, vortices })} />
        </fieldset>
        <label class="pick">
          <span class="name">Plane in it</span>
          <select value={String(more.value.plane)}
            onChange={(e) => (more.value = { ...more.value, plane: Number(e.currentTarget.value) })}>
            <option value="-1">none</option>
            {meansOf(view).map((p) => <option key={p.name} value={String(view.planes.indexOf(p))}>{p.name}</option>)}
          </select>
        </label>
        <div class="deeds" role="group" aria-label="Look from">
          {LOOKS.map(([key, label, a, e]) => (
            <button key={key} type="button" class="do quiet" onClick={() => look(a, e)}>{label}</button>
          ))}
        </div>
      </div>
      {state === "time" && kept && <Frames kept={kept} frame={frame} label="The car over time" refusal={refusal.value} />}
      <div class="flow-canvas">
        <canvas ref={canvas} tabIndex={0} role="img"
          aria-label={`The car coloured by ${WORDS[field.value]}. Arrow keys turn it, plus and minus zoom.`}
          onKeyDown={(event) => {
            const made = scene.current;
            const step = keys[event.key];
            if (made && step) {
              event.preventDefault();
              turn(made.camera.azimuth + step[0], made.camera.elevation + step[1]);
            } else if (event.key === "+" || event.key === "=") zoom(1.15);
            else if (event.key === "-") zoom(1 / 1.15);
          }}
          onPointerDown={(event) => {
            event.currentTarget.setPointerCapture(event.pointerId);
            hand.current = { x: event.clientX, y: event.clientY, shift: event.shiftKey || event.button > 0 };
          }}
          onPointerMove={(event) => {
            const made = scene.current;
            const start = hand.current;
            if (!made || !start) return;
            const [dx, dy] = [event.clientX - start.x, event.clientY - start.y];
            hand.current = { ...start, x: event.clientX, y: event.clientY };
            if (start.shift) {
              const size = event.currentTarget.clientHeight;
              made.camera.shift = [made.camera.shift[0] + dx / size, made.camera.shift[1] - dy / size];
              made.ask();
            } else turn(made.camera.azimuth - 0.008 * dx, made.camera.elevation + 0.008 * dy);
          }}
          onPointerUp={() => (hand.current = null)}
          onPointerCancel={() => (hand.current = null)}
          onContextMenu={(event) => event.preventDefault()} />
        <Legend field={field.value} ends={endsOf(field.value, view)}
          note={noteOf(field.value, state, kept, frame.value, view.rms_most)} />
        {(more.value.vortices || more.value.plane >= 0) && <Legend field="loss" ends={ENDS.loss} />}
      </div>
      <p class="faint">Drag turns it, the wheel or + and − zoom, Shift and drag shift it.
        {state !== "mean" && (more.value.lines || more.value.vortices) && " Streamlines and vortices stay those of the mean."}
        {more.value.vortices && ` Vortices: Q = ${write(view.vortex_level, 0)} (speed over length)².`}</p>
    </section>
  );
}

/** What the surface can be coloured by. */
const coats = (view: View): [Coat, string][] => [
  ["pressure", "pressure"], ["friction", "friction"],
  ...("pressure_rms" in view.arrays ? [["rms", "fluctuation"] as [Coat, string]] : []),
];

/** The states that a field of the surface has. */
function statesOf(field: Coat, view: View): Option[] {
  if (field === "rms") return [MEAN];
  const last = "pressure_last" in view.arrays ? [LAST] : [];
  return [MEAN, ...last, ...(field === "pressure" && view.over_time?.surface ? [TIME] : [])];
}

function noteOf(field: string, state: State, kept: OverTime | null, frame: number, most = 0): string {
  if (field === "rms")
    return `${kept ? `of ${kept.travel.length} samples, ` : ""}largest ${write(most, digits(most))}`;
  if (state === "time" && kept) return sampleWords(kept, frame);
  return state === "last" ? "one instant" : "mean";
}

const meansOf = (view: View) => view.planes.filter((p) => !p.name.endsWith(INSTANT));

/** The same plane in a state; the plane itself where the record does not hold that. */
function inState(view: View, plane: number, state: State): number {
  const twin = view.planes.findIndex((p) => p.name === view.planes[plane].name + INSTANT);
  return state === "last" && twin >= 0 ? twin : plane;
}

function Tick({ label, on, onTurn }: { label: string; on: boolean; onTurn: (on: boolean) => void }) {
  return (
    <label>
      <input type="checkbox" checked={on} onChange={(event) => onTurn(event.currentTarget.checked)} /> {label}
    </label>
  );
}

const whole = (block: Block) => new Uint32Array(block.buffer, block.byteOffset, block.length);
const reals = (block: Block) => block as Float32Array;

function bodiesOf(
  view: View, field: Coat, state: State, more: { vortices: boolean; lines: boolean; plane: number },
  instant: Instant | null, paper: Rgb, dark: boolean,
): Body[] {
  const a = view.arrays;
  const key = field === "rms" ? "pressure_rms" : state === "last" ? `${field}_last` : field;
  const table = (f: string) => tableOf(scaleOf(f), endsOf(f, view), dark, paper);
  const bodies: Body[] = [{
    vertices: reals(a.vertices), faces: whole(a.faces), values: reals(instant?.arrays.surface ?? a[key]),
    ends: endsOf(field, view), table: table(field),
  }];
  if (more.vortices)
    bodies.push({
      vertices: reals(a.vortex_vertices), faces: whole(a.vortex_faces), values: reals(a.vortex_loss),
      ends: ENDS.loss, table: table("loss"),
    });
  if (more.lines) {
    const ink = sheet("ink").rgb.map((v) => v / 255) as Rgb;
    bodies.push({
      vertices: reals(a.points), faces: pairs(a.starts), values: reals(a.line_speed), ends: ENDS.speed,
      table: table("speed"), lines: true, plain: ink,
    });
  }
  if (more.plane >= 0) {
    const kept = instant?.plane !== undefined && instant.plane >= 0 ? instant.arrays : null;
    const sheet = sheetOf(view.planes[more.plane], kept ?? valuesOf(view, inState(view, more.plane, state)), "loss");
    bodies.push({ ...sheet, ends: ENDS.loss, table: table("loss"), lines: false });
  }
  return bodies;
}

/** Streamlines as pairs of neighbouring points. */
function pairs(starts: Block): Uint32Array {
  const out: number[] = [];
  for (let k = 0; k + 1 < starts.length; k++)
    for (let n = starts[k]; n + 1 < starts[k + 1]; n++) out.push(n, n + 1);
  return new Uint32Array(out);
}

/** Places and fields of a plane as the record holds them. */
function valuesOf(view: View, n: number): Arrays {
  const keys = ["across", "up", "pressure", "loss", "speed"];
  return Object.fromEntries(keys.map((key) => [key, view.arrays[`plane${n} ${key}`]]));
}

/** A plane as triangles; squares with a corner inside the car are left out. */
function sheetOf(
  { axis, at }: View["planes"][number], found: Arrays, field: string,
): { vertices: Float32Array; faces: Uint32Array; values: Float32Array } {
  const [across, up, values] = ["across", "up", field].map((k) => reals(found[k]));
  const vertices = new Float32Array(3 * across.length * up.length);
  const order = { x: [1, 2, 0], y: [0, 2, 1], z: [0, 1, 2] }[axis];
  up.forEach((v, j) => across.forEach((u, i) => {
    const k = 3 * (j * across.length + i);
    vertices[k + order[0]] = u;
    vertices[k + order[1]] = v;
    vertices[k + order[2]] = at;
  }));
  const faces: number[] = [];
  for (let j = 0; j + 1 < up.length; j++)
    for (let i = 0; i + 1 < across.length; i++) {
      const k = j * across.length + i;
      const four = [k, k + 1, k + across.length + 1, k + across.length];
      if (four.every((c) => Number.isFinite(values[c]))) faces.push(four[0], four[1], four[2], four[0], four[2], four[3]);
    }
  return { vertices, faces: new Uint32Array(faces), values };
}

function Legend({ field, ends: [low, high], note }: { field: string; ends: [number, number]; note?: string }) {
  const tone = colours.value;
  const stops = useMemo(() => {
    const { rgb, dark } = sheet();
    return Array.from({ length: 21 }, (_, k) => {
      const value = low + (k / 20) * (high - low);
      return `rgb(${colourOf(scaleOf(field), value, [low, high], dark, rgb).join(" ")})`;
    });
  }, [field, tone, low, high]);
  const marks = ticks(low, high, 5);
  const places = Math.max(1, digits(marks[1] - marks[0]) - 1);
  return (
    <div class="flow-legend" role="img" aria-label={`Colours: ${WORDS[field]} from ${write(low, 1)} to ${write(high, Math.max(2, places))}`}>
      <span class="bar" style={{ background: `linear-gradient(to right, ${stops.join(",")})` }} />
      {marks.map((t) => (
        <span key={t} class="tick" style={{ left: `${(100 * (t - low)) / (high - low)}%` }}>
          {write(t, places)}
        </span>
      ))}
      <span class="name">{WORDS[field]}{note ? `, ${note}` : ""}</span>
    </div>
  );
}

function PlaneOf(props: Shown) {
  const { view, frame } = props;
  const [ref, width] = useWidth<HTMLDivElement>(700);
  const canvas = useRef<HTMLCanvasElement>(null);
  const chosen = useSignal(0);
  const field = useSignal<"pressure" | "loss" | "speed">("loss");
  const picked = useSignal<State>("mean");
  const read = useSignal("");
  const kept = view.over_time;
  const own = kept?.planes.indexOf(chosen.value) ?? -1;
  const hasInstant = inState(view, chosen.value, "last") !== chosen.value;
  const options = [MEAN, ...(hasInstant ? [LAST] : []), ...(own >= 0 ? [TIME] : [])];
  const state = options.find(([key]) => key === picked.value)?.[0] ?? "mean";
  const { live, refusal } = useInstant(props, state === "time" ? { plane: own, surface: false } : null);
  const instant = state === "time" && live.value?.plane === own ? live.value.arrays : null;
  const n = inState(view, chosen.value, state);
  const { axis, at } = view.planes[n];
  const found = instant ?? valuesOf(view, n);
  const across = reals(found.across);
  const up = reals(found.up);
  const values = reals(found[field.value]);
  const spanned = (across[across.length - 1] - across[0]) || 1;
  const height = Math.min(440, Math.max(120, (width * (up[up.length - 1] - up[0])) / spanned));
  const tone = colours.value;
  useEffect(() => {
    const spot = canvas.current?.getContext("2d");
    if (!spot) return;
    const { rgb, dark } = sheet();
    const solid = sheet("solid").rgb;
    const image = new ImageData(across.length, up.length);
    for (let j = 0; j < up.length; j++)
      for (let i = 0; i < across.length; i++) {
        const value = values[j * across.length + i];
        const own = Number.isFinite(value)
          ? colourOf(scaleOf(field.value), value, ENDS[field.value], dark, rgb) : solid;
        image.data.set([...own, 255], 4 * ((up.length - 1 - j) * across.length + i));
      }
    const small = new OffscreenCanvas(across.length, up.length);
    small.getContext("2d")!.putImageData(image, 0, 0);
    canvas.current!.width = width * devicePixelRatio;
    canvas.current!.height = height * devicePixelRatio;
    spot.imageSmoothingEnabled = false;
    spot.drawImage(small, 0, 0, canvas.current!.width, canvas.current!.height);
  }, [n, field.value, width, height, tone, view, instant]);
  const [first, second] = (["x", "y", "z"] as const).filter((a) => a !== axis);
  return (
    <section aria-label="A plane through the flow">
      <h2>A plane through the flow</h2>
      <div class="controls">
        <label class="pick">
          <span class="name">Plane</span>
          <select value={String(n)} onChange={(e) => (chosen.value = Number(e.currentTarget.value))}>
            {meansOf(view).map((p) => <option key={p.name} value={String(view.planes.indexOf(p))}>{p.name}</option>)}
          </select>
        </label>
        {options.length > 1 && <Choice label="Time" value={state} options={options} onPick={(v) => (picked.value = v)} />}
        <Choice label="Field" value={field.value}
          options={[["loss", "total pressure lost"], ["pressure", "pressure"], ["speed", "speed"]]}
          onPick={(v) => (field.value = v)} />
      </div>
      {state === "time" && kept && <Frames kept={kept} frame={frame} label="The plane over time" refusal={refusal.value} />}
      <div ref={ref} class="flow-plane">
        <canvas ref={canvas} style={{ width: `${width}px`, height: `${height}px` }} role="img"
          aria-label={`${WORDS[field.value]} on the plane ${axis} = ${write(at, 2)} m`}
          onPointerMove={(event) => {
            const box = event.currentTarget.getBoundingClientRect();
            const i = Math.min(across.length - 1, Math.floor(((event.clientX - box.left) / box.width) * across.length));
            const j = Math.min(up.length - 1, Math.floor((1 - (event.clientY - box.top) / box.height) * up.length));
            const value = values[Math.max(0, j) * across.length + Math.max(0, i)];
            read.value = `${first} ${write(across[Math.max(0, i)], 2)} m, ${second} ${write(up[Math.max(0, j)], 2)} m: ${
              Number.isFinite(value) ? write(value, 2) : "inside the car"}`;
          }} />
        <Legend field={field.value} ends={ENDS[field.value]} note={noteOf(field.value, state, kept, frame.value)} />
      </div>
      <p class="faint">{axis} = {write(at, 2)} m; {first} to the right, {second} up. {read.value}</p>
    </section>
  );
}

function Charts({ view }: { view: View }) {
  const a = view.arrays;
  return (
    <section class="section-split flow-charts" aria-label="Along the car and over time">
      <LineChart title="Load along the car" xLabel="x, m rearward of the front axle" yLabel="m² in each band" series={[
        { label: "downforce", tone: "ink", x: a.band_start, y: a.band_downforce },
        { label: "drag", tone: "faint", x: a.band_start, y: a.band_drag },
      ]} />
      <LineChart title="Every sample" xLabel="travel, car lengths" yLabel="m²" series={settledOnly(a)} />
    </section>
  );
}

/** The first starts are far off the scale: they would press the rest flat. */
function settledOnly(a: Arrays) {
  const first = Math.floor(0.12 * a.travel.length);
  const cut = (block: Block) => Array.from(block).slice(first);
  return [
    { label: "CzSf", tone: "front" as const, x: cut(a.travel), y: cut(a.front) },
    { label: "CzSr", tone: "rear" as const, x: cut(a.travel), y: cut(a.rear) },
    { label: "CxS", tone: "ink" as const, x: cut(a.travel), y: cut(a.drag) },
  ];
}
