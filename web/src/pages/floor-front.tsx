/** A splitter's front floor: numbers of its channels, load as the nose moves, what it warns of. */

import { tie, withUnit, write } from "../number";
import type { Num } from "../types";
import { NumberText } from "../widgets/num";
import { Notices } from "../widgets/state";
import { Wide } from "../widgets/wide";
import { LineChart, type Series } from "./sections-draw";

export interface FrontSweep {
  clearance_mm: number[];
  best: number[];
  low: number[];
  high: number[];
  droop_mm: number[];
  now_mm: number;
}

export interface FrontRow {
  name: string;
  engine: string;
  text: string;
  notices: string[];
  numbers: { key: string; label: string; number: Num }[];
  sweep: FrontSweep | null;
  /** What its plate has to hold: the load sheet. */
  hold: { text: string; notices: string[]; numbers: FrontRow["numbers"] } | null;
}

export function FrontSection({ front }: { front: FrontRow }) {
  const total = front.numbers.find((row) => row.key === "total");
  return (
    <section class="floor-front">
      <h2>Front floor: {front.name}</h2>
      <p>{tie(front.text)}</p>
      <div class="floor-split">
        {front.numbers.length > 0 && (
          <Numbers rows={front.numbers} name={front.name} label="Numbers of the front floor" />
        )}
        {front.sweep && <FrontChart sweep={front.sweep} load={total?.number.best ?? null} name={front.name} />}
      </div>
      <Notices notices={front.notices} />
      {front.hold && (
        <section class="floor-hold" aria-label={`What the ${front.name} has to hold`}>
          <h3>What its plate has to hold</h3>
          <p>{tie(front.hold.text)}</p>
          <Numbers rows={front.hold.numbers} name={front.name} label="Loads of the plate" />
          <Notices notices={front.hold.notices} />
        </section>
      )}
      {front.engine === "closed form" && (
        <p class="faint">The budget takes this splitter in closed form; here it is one channel up to where the flat begins. [parts.channel] lets the channels answer.</p>
      )}
    </section>
  );
}

function Numbers({ rows, name, label }: { rows: FrontRow["numbers"]; name: string; label: string }) {
  return (
    <Wide label={label}>
      <table>
        <tbody>
          {rows.map((row) => (
            <tr key={row.key}>
              <th scope="row">{row.label}</th>
              <td><NumberText number={row.number} label={`${name}: ${row.label}`} stack /></td>
            </tr>
          ))}
        </tbody>
      </table>
    </Wide>
  );
}

function FrontChart({ sweep, load, name }: { sweep: FrontSweep; load: number | null; name: string }) {
  const x = sweep.clearance_mm;
  const series: Series[] = [
    { label: "80 % range", tone: "faint", x, y: sweep.low, dashed: true },
    { label: "", tone: "faint", x, y: sweep.high, dashed: true },
    { label: "channels", tone: "front", x, y: sweep.best },
  ];
  const top = x[sweep.best.indexOf(Math.max(...sweep.best))] ?? sweep.now_mm;
  const inside = top > Math.min(...x) && top < Math.max(...x);
  const droop = Math.max(...sweep.droop_mm);
  return (
    <LineChart title={`CzS of the ${name}, the nose moved up and down`} xLabel="lip over the road before it bends, mm" yLabel="m²" series={series}
      height={280} mark={load === null ? undefined : [sweep.now_mm, load]}>
      <p class="faint">
        {inside ? `It makes most near ${withUnit(write(top, 0), "mm")}.` : "It still gains at the lowest height shown."}
        {droop > 0.05 && ` Its lip droops by up to ${withUnit(write(droop, 1), "mm")}.`}
        {" "}Floor, wheels and cooling are left as they stand; the ring is where it runs.
      </p>
    </LineChart>
  );
}
