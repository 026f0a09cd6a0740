/** What circles driven did to the tyres: before, after, and what they cannot tell. */

import { withUnit, write } from "../number";
import { NumberText, RangeBar, Scale, spanOf } from "../widgets/num";
import type { GripPage, LapPage } from "./lap-types";

export function Grip({ tree }: { tree: LapPage }) {
  const { grip } = tree;
  if (!grip) return null;
  if (grip.refused.length > 0)
    return (
      <section aria-label="Grip from circles driven">
        <h2>Grip from circles driven</h2>
        <p>{grip.answer}</p>
        <ul class="refusals">
          {grip.refused.map((text) => <li key={text}>{text}</li>)}
        </ul>
      </section>
    );
  return (
    <section aria-label="Grip from circles driven">
      <h2>Grip from circles driven</h2>
      <p>
        {grip.answer}
        {grip.lap && (
          <>
            {" "}A lap of “{tree.laps[0]?.name}” changes by <NumberText number={grip.lap} label="lap with the tyres as driven" />{" "}
            with the tyres as driven.
          </>
        )}
      </p>
      <Tyres grip={grip} />
      <Circles grip={grip} />
      <ul class="says">
        {grip.says.map((text) => <li key={text}>{text}</li>)}
      </ul>
      {grip.notices.map((text) => <p key={text} class="caution">{text}</p>)}
    </section>
  );
}

const sigmas = (value: number) => withUnit(`${value > 0 ? "+" : ""}${write(value, 1)}`, "sd");

function Tyres({ grip }: { grip: GripPage }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Tyres before and after the circles as a table">
      <table class="laps">
        <caption>
          Moved: in standard deviations of what was given. Friction is that of an axle at the load the
          circles put on its outer wheel, which is what they measure.
        </caption>
        <thead>
          <tr>
            <th scope="col">Tyres</th>
            <th scope="col">As given</th>
            <th scope="col">As driven</th>
            <th scope="col" class="wide"><span class="unseen">Ranges</span></th>
            <th scope="col">Moved</th>
            <th scope="col">Range left</th>
          </tr>
        </thead>
        <tbody>
          {grip.friction.map((row) => (
            <TyreRow key={row.axle} name={`${row.axle} friction at ${row.load}`} row={row} tone={row.axle} />
          ))}
          {grip.inputs.map((row) => (
            <TyreRow key={row.name} name={row.label} row={row}
              tone={row.name.includes(".front.") ? "front" : row.name.includes(".rear.") ? "rear" : "whole"} />
          ))}
        </tbody>
      </table>
    </div>
  );
}

function TyreRow({ name, row, tone }: {
  name: string;
  row: GripPage["friction"][number] | GripPage["inputs"][number];
  tone: "front" | "rear" | "whole";
}) {
  const [low, high] = spanOf([row.before, row.after]);
  return (
    <tr>
      <th scope="row">{name}</th>
      <td><NumberText number={row.before} label={`${name}: as given`} stack /></td>
      <td><NumberText number={row.after} label={`${name}: as driven`} stack /></td>
      <td>
        <RangeBar number={row.before} low={low} high={high} tone="faint" label={`${name}: as given`} />
        <RangeBar number={row.after} low={low} high={high} tone={tone} label={`${name}: as driven`} />
      </td>
      <td class="nowrap">{sigmas(row.moved)}</td>
      <td class="nowrap">{withUnit(write(row.left_pct, 0), "%")}</td>
    </tr>
  );
}

function Circles({ grip }: { grip: GripPage }) {
  const [low, high] = spanOf(grip.rows.flatMap((row) => [row.measured, row.before, row.after]));
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Circles as a table">
      <table class="laps">
        <caption>To the side at the limit. Bars from above: measured, tyres as given, tyres as driven.</caption>
        <thead>
          <tr>
            <th scope="col">Circle</th>
            <th scope="col">Measured</th>
            <th scope="col">As given</th>
            <th scope="col">As driven</th>
            <th scope="col" class="wide"><span class="unseen">Ranges</span></th>
            <th scope="col">Left over</th>
          </tr>
        </thead>
        <tbody>
          {grip.rows.map((row) => (
            <tr key={row.id}>
              <th scope="row">
                {row.id} <small>{row.at || row.kind}, R&nbsp;{row.radius.text}</small>
                <small>{row.gave_up === "not said" ? "who gave up is not said" : `${row.gave_up} gave up`}
                  {row.state && `, ${row.state}`}{row.mass_state && `, ${row.mass_state}`}</small>
              </th>
              <td><NumberText number={row.measured} label={`${row.id}: measured`} stack /></td>
              <td><NumberText number={row.before} label={`${row.id}: tyres as given`} stack /></td>
              <td><NumberText number={row.after} label={`${row.id}: tyres as driven`} stack /></td>
              <td>
                <RangeBar number={row.measured} low={low} high={high} label={`${row.id}: measured`} />
                <RangeBar number={row.before} low={low} high={high} tone="faint" label={`${row.id}: tyres as given`} />
                <RangeBar number={row.after} low={low} high={high} tone={row.gave_up === "not said" ? "whole" : row.gave_up}
                  label={`${row.id}: tyres as driven`} />
              </td>
              <td class="nowrap">{sigmas(row.miss)}</td>
            </tr>
          ))}
        </tbody>
        <tfoot>
          <tr>
            <td colSpan={4} />
            <td><Scale low={low} high={high} unit="g" /></td>
            <td />
          </tr>
        </tfoot>
      </table>
    </div>
  );
}
