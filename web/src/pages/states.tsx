/** What each state of the car would gain, with the platform loop closed. */

import type { Num } from "../types";
import { NumberText, RangeBar, Scale, spanOf } from "../widgets/num";
import { Empty } from "../widgets/state";
import { Page } from "./page";

interface StateRow {
  name: string;
  gain: Num;
  /** The same at unchanged ride heights, where that differs. */
  held?: Num | null;
  drag: Num;
  share: Num;
  verdict: string;
}

interface States {
  baseline: string;
  at: string;
  rows: StateRow[];
}

export function StatesSheet() {
  return (
    <Page<States> title="States" address="/states.json">
      {(tree) =>
        tree.rows.length === 0 ? (
          <Empty text="One state only. Add a [state.NAME] table to project.toml to compare it with this one." />
        ) : (
          <>
            <p>
              Differences from “{tree.baseline}” at {tree.at}, draw by draw. The bars share one
              scale; the grey band, where there is one, is noise.
            </p>
            <Rows rows={tree.rows} />
          </>
        )
      }
    </Page>
  );
}

function Rows({ rows }: { rows: StateRow[] }) {
  const gains = rows.flatMap((row) => (row.held ? [row.gain, row.held] : [row.gain]));
  const [low, high] = spanOf(gains, true);
  return (
    <ul class="states">
      {rows.map((row) => (
        <li key={row.name}>
          <h2>
            {row.name} <span class="word">{row.verdict}</span>
          </h2>
          <div class="pair">
            <span class="when">downforce, platform settled</span>
            <RangeBar number={row.gain} low={low} high={high} label={`${row.name}: gain`} />
            <NumberText number={row.gain} label={`${row.name}: gain`} />
            {row.held && (
              <>
                <span class="when">at unchanged ride heights</span>
                <RangeBar number={row.held} low={low} high={high} tone="faint" label={`${row.name}: held`} />
                <NumberText number={row.held} label={`${row.name}: at unchanged ride heights`} />
              </>
            )}
            <span />
            <Scale low={low} high={high} unit={row.gain.unit} />
          </div>
          <p class="meta">
            <span>
              drag <NumberText number={row.drag} label={`${row.name}: drag`} />
            </span>
            <span>
              front share then <NumberText number={row.share} label={`${row.name}: front share`} />
            </span>
            {row.gain.at && <span class="faint">at {row.gain.at}</span>}
          </p>
        </li>
      ))}
    </ul>
  );
}
