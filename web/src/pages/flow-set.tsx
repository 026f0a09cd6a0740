/** What a case of the 3-D flow is run with: its fields, and the parts that are in. */

import { same } from "../follow";
import { Choice, Slider } from "../widgets/control";
import { Entry, type Keep, KeepOverTime } from "./flow-keep";

export interface Setting {
  speed_kmh: number;
  yaw_deg: number;
  front_mm: number | null;
  rear_mm: number | null;
  cell_mm: number;
  levels: number;
  /** Travel before anything is averaged. [car lengths] */
  settle: number;
  longest: number;
  error_m2: number;
  /** The same as a share of each load, which then holds instead; null: the area holds. */
  error_pct: number | null;
  back_end: "cpu" | "cuda";
  leave_out: string[];
  over_time: Keep | null;
}
export interface Part {
  name: string;
  in: boolean;
  rolls: boolean;
  passes: boolean;
  is_plate: boolean;
  size: string;
  triangles: number;
}

/** The fields that a hand moved: only they are sent, whatever else the project says meanwhile. */
export function movedFields(now: Setting, own: Setting): Partial<Setting> {
  const keys = (Object.keys(now) as (keyof Setting)[]).filter((key) => !same(now[key], own[key]));
  return Object.fromEntries(keys.map((key) => [key, now[key]]));
}

/** Travel that must be left to average over. [car lengths] */
const AVERAGED = 1;
const STEP = 0.5;
const upTo = (value: number) => Math.ceil(value / STEP) * STEP;
/** Digits after the point that a length in the project has, two at most: it is not rounded to the handle's step. */
const places = (value: number) => Math.max(1, Number(value.toFixed(2)).toString().split(".")[1]?.length ?? 0);

/** Ends of a handle: the usual ones, or as far as the project itself goes. */
const ends = (low: number, high: number, own: number | null) => ({ low: Math.min(low, own ?? low), high: Math.max(high, own ?? high) });

interface Props {
  now: Setting;
  /** As the project has it. */
  own: Setting;
  parts: Part[];
  onMove: (change: Partial<Setting>) => void;
}

export function SetUp({ now, own, parts, onMove }: Props) {
  // settling pushes the end of the run ahead of it; the end itself stops where nothing would be averaged
  const settle = (to: number) =>
    onMove(now.longest < to + AVERAGED ? { settle: to, longest: upTo(to + AVERAGED) } : { settle: to });
  const shortest = Math.max(2, upTo(now.settle + AVERAGED));
  const longest = Math.max(60, own.longest, shortest);
  return (
    <div>
      <h2>Set up</h2>
      <div class="sliders">
        <Slider label="Speed" value={now.speed_kmh} {...ends(20, 360, own.speed_kmh)} step={1} unit="km/h"
          onMove={(speed_kmh) => onMove({ speed_kmh })} />
        <Slider label="Yaw" value={now.yaw_deg} {...ends(-15, 15, own.yaw_deg)} step={0.5} unit="°"
          onMove={(yaw_deg) => onMove({ yaw_deg })} />
        {now.front_mm !== null && (
          <Slider label="Front ride height" value={now.front_mm} {...ends(10, 250, own.front_mm)} step={0.5} unit="mm"
            onMove={(front_mm) => onMove({ front_mm })} />
        )}
        {now.rear_mm !== null && (
          <Slider label="Rear ride height" value={now.rear_mm} {...ends(10, 250, own.rear_mm)} step={0.5} unit="mm"
            onMove={(rear_mm) => onMove({ rear_mm })} />
        )}
        <Slider label="Cell" value={now.cell_mm} {...ends(3, 100, own.cell_mm)} step={0.5} unit="mm"
          onMove={(cell_mm) => onMove({ cell_mm })} />
        <Slider label="Doublings outwards" value={now.levels} {...ends(0, 4, own.levels)} step={1} unit="times"
          onMove={(levels) => onMove({ levels })} />
        <Slider label="Settles for" value={now.settle} {...ends(0, 30, own.settle)} step={STEP} places={places(now.settle)} unit="car lengths"
          onMove={settle} />
        <Slider label="Runs at most" value={now.longest} low={shortest} high={longest} step={STEP} places={places(now.longest)}
          unit="car lengths" onMove={(to) => onMove({ longest: to })} />
      </div>
      <Ending now={now} onMove={onMove} />
      <Choice label="Runs on" value={now.back_end} options={[["cpu", "this machine's cores"], ["cuda", "a graphics card"]]}
        onPick={(back_end) => onMove({ back_end })} />
      <KeepOverTime now={now.over_time} onMove={(over_time) => onMove({ over_time })} />
      <h3>Parts</h3>
      {parts.length === 0 && <p class="faint">None can be read yet: see what would be refused.</p>}
      {parts.length > 0 && <div class="flow-parts" tabIndex={0} role="group" aria-label="Parts that are run">
        {parts.map((part) => (
          <label key={part.name}>
            <input type="checkbox" checked={part.in} onChange={() => onMove({ leave_out: leftOut(now, parts, part) })} />
            <span>{part.name}{part.rolls ? ", rolls" : ""}{part.passes ? ", air passes" : ""}{part.is_plate ? ", thin plate" : ""}</span>
            <small>{part.size}</small>
          </label>
        ))}
      </div>}
    </div>
  );
}

/** What is left out once a part is put in or taken out; a name that stands for several gives way to theirs. */
function leftOut(now: Setting, parts: Part[], turned: Part): string[] {
  if (turned.in) return [...now.leave_out, turned.name];
  if (now.leave_out.includes(turned.name)) return now.leave_out.filter((name) => name !== turned.name);
  return parts.filter((part) => !part.in && part.name !== turned.name).map((part) => part.name);
}

/** The statistical error at which a run may end: an area, or a share of each load. */
function Ending({ now, onMove }: Pick<Props, "now" | "onMove">) {
  const isShare = now.error_pct !== null;
  return (
    <div class="flow-end" role="group" aria-label="Statistical error at which it ends">
      <span>Ends at a statistical error of</span>
      <Entry label="Statistical error of CzS and CxS" value={now.error_pct ?? now.error_m2} low={0}
        onMove={(error) => onMove(isShare ? { error_pct: error } : { error_m2: error })} />
      <select aria-label="Unit of that error" value={isShare ? "share" : "area"}
        onChange={(event) => onMove({ error_pct: event.currentTarget.value === "share" ? 1 : null })}>
        <option value="area">m² (CzS, CxS)</option>
        <option value="share">% of CzS, of CxS</option>
      </select>
    </div>
  );
}
