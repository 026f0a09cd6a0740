/** Many cases of the 3-D flow: how each stands, its loads, one sweep over what is left. */

import { useSignal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { tie } from "../number";
import { act, line, revision, turn } from "../store";
import type { Num, Refusal } from "../types";
import { StateWord } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { RefusedNote } from "../widgets/state";
import { Refused } from "../wire";

interface CaseRow {
  name: string;
  state: string;
  at: string;
  text: string;
  progress: number | null;
  evidence: string;
  front: Num | null;
  rear: Num | null;
  drag: Num | null;
}
export interface Sweep {
  as_of: number;
  rows: CaseRow[];
  is_going: boolean;
  is_stopping: boolean;
  done: number;
  count: number;
  left: number;
}

export const WORDS: Record<string, ["ok" | "doubt" | "wrong" | "faint", string]> = {
  preparing: ["faint", "cutting the grid"], running: ["faint", "running"], finishing: ["faint", "writing the results"],
  done: ["ok", "done"], cancelled: ["doubt", "stopped"], lost: ["doubt", "lost"],
  unheard: ["doubt", "not heard of"], failed: ["wrong", "failed"],
  refused: ["wrong", "refused"], waiting: ["faint", "waiting"], "not run": ["faint", "not run"],
  older: ["doubt", "other settings"],
};
const AXES: ["front" | "rear" | "yaw" | "cell", string, string][] = [
  ["front", "Front ride heights, mm", "30, 40, 50"], ["rear", "Rear ride heights, mm", "50, 60"], ["yaw", "Yaw, °", "0, 3, 6"],
  ["cell", "Cells, mm", "12, 17"],
];

export function Cases({ name, tree, asks }: { name: string; tree: Sweep; asks: number }) {
  const sweep = useSignal<Sweep>(tree);
  const refusal = useSignal<Refusal | null>(null);
  const trouble = useSignal<Refusal | null>(null);
  const told = useSignal("");
  const values = useSignal({ front: "", rear: "", yaw: "", cell: "" });
  // the page's own answer may have been asked for earlier and arrive later: the newer look stays
  const keep = (found: Sweep) => {
    if (found.as_of >= sweep.peek().as_of) sweep.value = found;
  };
  useEffect(() => keep(tree), [tree]);
  const deed = async (request: Record<string, unknown>) => {
    try {
      const { header } = await act(request);
      const found = header as unknown as { sweep: Sweep; names?: string[] };
      refusal.value = null;
      keep(found.sweep);
      return found;
    } catch (why) {
      if (!(why instanceof Refused)) throw why;
      refusal.value = why.refusal;
      return null;
    }
  };
  const { rows, is_going: going, is_stopping: stopping, done, count, left } = sweep.value;
  useEffect(() => {
    if (!going) return;
    const stateOf = (s: Sweep) => s.rows.find((row) => row.name === name)?.state;
    let before = stateOf(sweep.peek());
    let left = false;
    // the next look is due some time after the last one was answered: a slow machine is not pressed
    const look = async () => {
      try {
        const found = (await line.ask({ do: "flow_sweep" })).header.sweep as Sweep;
        if (left) return;
        trouble.value = null;
        keep(found);
        // what a case gave is read anew when it ends, or when the sweep does
        if (!found.is_going || stateOf(found) !== before) revision.value += 1;
        before = stateOf(found);
      } catch (why) {
        if (!(why instanceof Refused)) throw why;
        trouble.value = why.refusal;
      } finally {
        if (!left) timer = window.setTimeout(() => void look(), asks);
      }
    };
    let timer = window.setTimeout(() => void look(), asks);
    return () => {
      left = true;
      trouble.value = null;
      window.clearTimeout(timer);
    };
  }, [going, name]);
  const spread = async () => {
    const asked = values.value;
    const found = await deed({ do: "flow_spread", case: name, ...asked });
    if (!found?.names) return;
    told.value = `${found.names.length} cases stand in the project for these values.`;
    if (values.value === asked) values.value = { front: "", rear: "", yaw: "", cell: "" };
  };
  const refused = refusal.value ?? trouble.value;
  const many = rows.length > 1;
  return (
    <section class="flow-cases" aria-label="Cases">
      {many && <h2>Cases</h2>}
      {many && (
        <div class="scroll" tabIndex={0} role="region" aria-label="Cases and their loads">
          <table>
            <caption>m², each with its statistical error and the stated bias; choose one to see it below</caption>
            <thead>
              <tr><th scope="col">Case</th><th scope="col">State</th><th scope="col" class="front">CzSf</th>
                <th scope="col" class="rear">CzSr</th><th scope="col">CxS</th></tr>
            </thead>
            <tbody>
              {rows.map((row) => <CaseLine key={row.name} row={row} isShown={row.name === name} />)}
            </tbody>
          </table>
        </div>
      )}
      {going && (
        <div class="runbar">
          <span class="what">{stopping ? "Stopping at the next sample" : `Sweep: ${done} of ${count} done`}</span>
          <div class="track" role="progressbar" aria-label="Progress of the sweep" aria-valuenow={done} aria-valuemin={0}
            aria-valuemax={count}>
            <span style={{ width: `${count ? (100 * done) / count : 0}%` }} />
          </div>
          <button type="button" class="do quiet" disabled={stopping} onClick={() => void deed({ do: "flow_sweep_stop" })}>
            Stop the sweep
          </button>
        </div>
      )}
      {many && !going && left > 0 && (
        <div class="deeds">
          <button type="button" class="do quiet" onClick={() => void deed({ do: "flow_sweep_start" })}>
            {left === 1 ? "Run the one that is left" : `Run the ${left} that are left`}
          </button>
          <span class="faint">One after the other; what was stopped goes on from its checkpoint.</span>
        </div>
      )}
      {told.value && <p class="faint" role="status">{told.value}</p>}
      <details class="flow-spread">
        <summary>Spread ride heights or yaw, or cells, from “{name}”</summary>
        <form onSubmit={(event) => {
          event.preventDefault();
          void spread();
        }}>
          {AXES.map(([axis, label, sample]) => (
            <label key={axis} class="field">
              {label}
              <input type="text" value={values.value[axis]} placeholder={sample}
                onInput={(e) => (values.value = { ...values.value, [axis]: e.currentTarget.value })} />
            </label>
          ))}
          <button type="submit" class="do quiet">Write the cases</button>
        </form>
        <p class="faint">Every combination becomes a case of the project, otherwise like this one; what is left empty stays.
          Other cells tell how far its loads depend on its own; such cases do not count.</p>
      </details>
      {refused && <RefusedNote refusal={refused} />}
    </section>
  );
}

function CaseLine({ row, isShown }: { row: CaseRow; isShown: boolean }) {
  const [tone, word] = WORDS[row.state] ?? ["faint", row.state];
  const share = row.progress === null ? "" : ` ${Math.round(100 * row.progress)} %`;
  return (
    <>
      <tr class={`${isShown ? "on" : ""}${row.text ? " goes-on" : ""}`}>
        <th scope="row">
          <button type="button" class="tag" aria-current={isShown ? "true" : undefined}
            onClick={() => turn({ case: row.name }, true)}>
            {row.name}
          </button>
          <small>{row.at}</small>
        </th>
        <td class="words"><StateWord word={word + share} tone={tone} /></td>
        {(["front", "rear", "drag"] as const).map((key) => (
          <td key={key}>{row[key] ? <NumberText number={row[key]} label={`${row.name}, ${key}`} stack /> : "–"}</td>
        ))}
      </tr>
      {row.text && (
        <tr class={`told${isShown ? " on" : ""}`}>
          <td colSpan={5}><small>{tie(row.text)}</small></td>
        </tr>
      )}
    </>
  );
}
