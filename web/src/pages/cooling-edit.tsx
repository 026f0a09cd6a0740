/** Changing the air net by hand: where a part runs, what is taken out, what is put in, undo. */

import { useSignal } from "@preact/signals";
import type { NetPart, NetTree } from "./cooling-net";

export interface AddedPart {
  name: string;
  kind: string;
  start: string;
  end: string;
  area: number;
  place: string;
}

export interface Ask {
  speed: number;
  air_c: number;
  areas: Record<string, number>;
  places: Record<string, string>;
  taped: Record<string, number>;
  routes: Record<string, [string, string]>;
  gone: string[];
  added: AddedPart[];
}

export type Move = (change: Partial<Ask>, tag: string) => void;

const OUTSIDE = "outside";

interface PickProps {
  label: string;
  value: string;
  options: readonly string[];
  onPick: (value: string) => void;
}

function Pick({ label, value, options, onPick }: PickProps) {
  return (
    <label class="field">
      <span>{label}</span>
      <select value={value} onChange={(event) => onPick(event.currentTarget.value)}>
        {options.map((option) => (
          <option key={option} value={option}>
            {option}
          </option>
        ))}
      </select>
    </label>
  );
}

interface PartProps {
  part: NetPart;
  net: NetTree;
  ask: Ask;
  move: Move;
}

/** Where the chosen part runs, and taking it out. */
export function PartEdit({ part, net, ask, move }: PartProps) {
  const own = ask.added.find((a) => a.name === part.name);
  const ends = [...net.nodes.map((n) => n.name), OUTSIDE];
  const lead = (start: string, end: string) => {
    if (start === end) return;
    if (own) move({ added: ask.added.map((a) => (a === own ? { ...a, start, end } : a)) }, `route ${part.name}`);
    else move({ routes: { ...ask.routes, [part.name]: [start, end] } }, `route ${part.name}`);
  };
  const remove = () => {
    const { [part.name]: _area, ...areas } = ask.areas;
    const { [part.name]: _place, ...places } = ask.places;
    const { [part.name]: _route, ...routes } = ask.routes;
    if (own) move({ added: ask.added.filter((a) => a !== own) }, `out ${part.name}`);
    else move({ gone: [...ask.gone, part.name], areas, places, routes }, `out ${part.name}`);
  };
  return (
    <div class="netedit">
      {part.kind !== "inlet" && (
        <Pick label="Runs from" value={part.start} options={ends.filter((n) => n !== OUTSIDE || part.kind === "leak")}
          onPick={(start) => lead(start, part.end)} />
      )}
      <Pick label={part.kind === "inlet" ? "Feeds" : "to"} value={part.end}
        options={ends.filter((n) => n !== OUTSIDE || part.kind === "exit" || part.kind === "leak")}
        onPick={(end) => lead(part.start, end)} />
      {part.kind !== "core" && (
        <button type="button" class="do quiet" onClick={remove}>
          Take {part.name} out
        </button>
      )}
    </div>
  );
}

interface AddProps {
  net: NetTree;
  kinds: Record<string, readonly string[]>;
  ask: Ask;
  move: Move;
  onAdded: (name: string) => void;
}

/** A new inlet, duct, exit or leak between the nodes there are. */
export function PartAdd({ net, kinds, ask, move, onAdded }: AddProps) {
  const nodes = net.nodes.map((n) => n.name);
  const draft = useSignal<AddedPart>({
    name: "", kind: "exit", start: nodes[nodes.length - 1] ?? "", end: OUTSIDE, area: 300, place: "bonnet",
  });
  const now = draft.value;
  const set = (change: Partial<AddedPart>) => (draft.value = { ...now, ...change });
  const become = (kind: string) =>
    set({
      kind,
      place: kinds[kind]?.[0] ?? "",
      start: kind === "inlet" ? OUTSIDE : now.start === OUTSIDE ? nodes[0] : now.start,
      end: kind === "exit" ? OUTSIDE : now.end === OUTSIDE && kind !== "leak" ? nodes[0] : now.end,
    });
  const taken = net.parts.some((p) => p.name === now.name.trim());
  const put = (event: Event) => {
    event.preventDefault();
    const name = now.name.trim();
    if (!name || taken) return;
    move({ added: [...ask.added, { ...now, name }] }, `add ${name}`);
    onAdded(name);
    set({ name: "" });
  };
  const places = kinds[now.kind] ?? [];
  return (
    <details class="netadd">
      <summary>Add a part</summary>
      <form class="netedit" onSubmit={put}>
        <Pick label="Kind" value={now.kind} options={Object.keys(kinds)} onPick={become} />
        <label class="field">
          <span>Name</span>
          <input type="text" value={now.name} maxLength={60} required onInput={(e) => set({ name: e.currentTarget.value })} />
        </label>
        {now.kind !== "inlet" && <Pick label="Runs from" value={now.start} options={nodes} onPick={(start) => set({ start })} />}
        {now.kind !== "exit" && (
          <Pick label={now.kind === "inlet" ? "Feeds" : "to"} value={now.end}
            options={now.kind === "leak" ? [...nodes, OUTSIDE] : nodes} onPick={(end) => set({ end })} />
        )}
        {places.length > 0 && (
          <Pick label={now.kind === "exit" ? "At the" : "Sort"} value={now.place} options={places} onPick={(place) => set({ place })} />
        )}
        <label class="field">
          <span>Net area, cm²</span>
          <input type="number" value={now.area} min={2} max={9999} step={1} required
            onInput={(e) => set({ area: Number(e.currentTarget.value) })} />
        </label>
        <button type="submit" class="do" disabled={!now.name.trim() || taken || (now.kind !== "exit" && now.start === now.end)}>
          Add it
        </button>
        {taken && <p class="faint">A part has this name already.</p>}
      </form>
    </details>
  );
}
