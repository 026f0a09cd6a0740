/** What a run keeps over time: a switch, how often, which planes. */

import { useSignal } from "@preact/signals";

export type Axis = "x" | "y" | "z";
export interface Keep {
  /** Travel between two samples. [car lengths] */
  every: number;
  /** Planes, each normal to an axis. [m] */
  planes: { axis: Axis; at: number }[];
  surface: boolean;
}

const FIRST: Keep = { every: 0.1, planes: [{ axis: "y", at: 0 }], surface: true };
const MOST = 20;
const ACROSS: [Axis, string][] = [["x", "across, at x"], ["y", "along, at y"], ["z", "level, at z"]];

interface Props {
  now: Keep | null;
  onMove: (keep: Keep | null) => void;
}

export function KeepOverTime({ now, onMove }: Props) {
  return (
    <div class="flow-keep" role="group" aria-label="Kept over time">
      <h3>Kept over time</h3>
      <div class="ticks">
        <label>
          <input type="checkbox" checked={now !== null}
            onChange={(event) => onMove(event.currentTarget.checked ? FIRST : null)} /> samples as the run goes on, after it has settled
        </label>
      </div>
      {now && <Wanted now={now} onMove={onMove} />}
    </div>
  );
}

function Wanted({ now, onMove }: { now: Keep; onMove: (keep: Keep) => void }) {
  const move = (change: Partial<Keep>) => onMove({ ...now, ...change });
  const plane = (n: number, change: Partial<Keep["planes"][number]>) =>
    move({ planes: now.planes.map((p, k) => (k === n ? { ...p, ...change } : p)) });
  return (
    <>
      <label class="line">
        <span>Every</span>
        <Entry label="Car lengths between two samples" value={now.every} low={0} onMove={(every) => move({ every })} />
        <span>car lengths</span>
      </label>
      {now.planes.map((p, n) => (
        <div key={n} class="line">
          <span>Plane</span>
          <select aria-label={`Plane ${n + 1} lies`} value={p.axis}
            onChange={(event) => plane(n, { axis: event.currentTarget.value as Axis })}>
            {ACROSS.map(([axis, words]) => <option key={axis} value={axis}>{words}</option>)}
          </select>
          <Entry label={`Place of plane ${n + 1}, m`} value={p.at} onMove={(at) => plane(n, { at })} />
          <span>m</span>
          <button type="button" class="do quiet" aria-label={`Leave out plane ${n + 1}`}
            onClick={() => move({ planes: now.planes.filter((_, k) => k !== n) })}>Leave out</button>
        </div>
      ))}
      <div class="line">
        <button type="button" class="do quiet" disabled={now.planes.length >= MOST}
          onClick={() => move({ planes: [...now.planes, { axis: "x", at: 0 }] })}>Add a plane</button>
        <span class="ticks">
          <label>
            <input type="checkbox" checked={now.surface} onChange={(event) => move({ surface: event.currentTarget.checked })} /> pressure on the car
          </label>
        </span>
      </div>
    </>
  );
}

/** A number typed in; what is none falls back to what stood there. An answer that arrives meanwhile takes nothing away. */
export function Entry({ label, value, low, onMove }: { label: string; value: number; low?: number; onMove: (value: number) => void }) {
  const draft = useSignal<string | null>(null);
  const take = (text: string) => {
    const told = Number(text.trim().replace(",", ".").replace("\u2212", "-"));
    draft.value = null;
    if (text.trim() && Number.isFinite(told) && (low === undefined || told > low)) onMove(told);
  };
  return (
    <input type="text" inputMode="decimal" aria-label={label} value={draft.value ?? String(value)}
      onInput={(event) => (draft.value = event.currentTarget.value)}
      onChange={(event) => take(event.currentTarget.value)} />
  );
}
