/** A stint from cold, and the soak after the engine stops. */

import type { Num } from "../types";
import { NumberText } from "../widgets/num";
import { type Band, TemperatureChart } from "../widgets/temperature";

type Trace = Band & { time_min: number[] };

export interface StintTree {
  text: string;
  boils_c: number | null;
  cap: string | null;
  rows: {
    circuit: string;
    limit_c: number | null;
    peak: Num;
    over: Num | null;
    over_after_min: number | null;
    rest: Num;
    boiling: Num | null;
    trace: Trace;
    soak: Trace;
  }[];
}

export function Stint({ stint }: { stint: StintTree | null }) {
  if (!stint) return null;
  return (
    <section aria-label="A stint from cold">
      <h2>A stint from cold, and the soak after it</h2>
      <p class="faint">{stint.text} Bands hold 50 and 80 % of the draws.</p>
      {stint.rows.map((row) => (
        <div key={row.circuit}>
          <div class="pairofcharts">
            <TemperatureChart title={`${row.circuit}, running`} x={row.trace.time_min} xLabel="minutes from the start" band={row.trace}
              limit={row.limit_c === null ? undefined : { at: row.limit_c, text: `limit ${Math.round(row.limit_c)} °C` }}
              label={`${row.circuit} over the stint: highest ${row.peak.text}${row.over_after_min === null ? "" : `, half of the draws over the limit after ${row.over_after_min} minutes`}`} />
            <TemperatureChart title={`${row.circuit}, engine off`} x={row.soak.time_min} xLabel="minutes after stopping" band={row.soak}
              limit={stint.boils_c === null ? undefined : { at: stint.boils_c, text: `water boils, ${Math.round(stint.boils_c)} °C` }}
              label={`${row.circuit} after stopping: highest ${row.rest.text}`} />
          </div>
          <p class="meta">
            <span>
              highest of the stint <NumberText number={row.peak} label={`${row.circuit}: stint`} />
            </span>
            {row.over && <span>chance of crossing its limit {row.over.text}</span>}
            {row.over_after_min !== null && <span>half of the draws over it after {row.over_after_min} min</span>}
            <span>
              after stopping <NumberText number={row.rest} label={`${row.circuit}: soak`} />
            </span>
            {row.boiling && <span>chance that water boils {row.boiling.text}{stint.cap && `, cap ${stint.cap}`}</span>}
          </p>
        </div>
      ))}
    </section>
  );
}
