/** Choice of speed and state that a page's address keeps. */

import { place, turn } from "../store";
import type { Num } from "../types";
import { Choice } from "./control";

interface Asked {
  speed: Num;
  speeds: number[];
  state: string;
  states: string[];
}

export function Ways({ tree }: { tree: Asked }) {
  const { speed = "", state = "" } = place.value.query;
  return (
    <div class="controls">
      <Choice
        label="Speed, km/h"
        value={speed || String(tree.speed.best)}
        options={tree.speeds.map((v) => [String(v), String(v)] as const)}
        onPick={(v) => turn({ speed: v }, true)}
      />
      {tree.states.length > 1 && (
        <Choice
          label="State"
          value={state || tree.state}
          options={tree.states.map((v) => [v, v] as const)}
          onPick={(v) => turn({ state: v }, true)}
        />
      )}
    </div>
  );
}

/** Return what a page asks of the server for the speed and state of its address. */
export function asked(): string {
  const { speed = "", state = "" } = place.value.query;
  const query = new URLSearchParams(Object.entries({ speed, state }).filter(([, v]) => v)).toString();
  return query ? `?${query}` : "";
}
