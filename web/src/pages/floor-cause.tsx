/** Why the load falls, reading beside reading; and what the strakes' vortices do. */

import { NumberText } from "../widgets/num";
import type { Cause, Trail } from "./floor-trail";

export function CauseTable({ cause }: { cause: Cause }) {
  return (
    <section class="floor-cause">
      <h2>Why the load falls lower down</h2>
      <p>{cause.answer}</p>
      {cause.rows.length > 0 && (
        <div class="scroll" tabIndex={0} role="region" aria-label="Rival readings of the fall">
          <table>
            <thead><tr><th scope="col">Reading</th><th scope="col">CzS back without it</th><th scope="col">It hangs on</th></tr></thead>
            <tbody>
              {cause.rows.map((row) => (
                <tr key={row.reading} class={row.is_cause ? "named" : undefined}>
                  <th scope="row">{row.label}{row.is_cause && <span class="verdict"> – the cause</span>}</th>
                  <td><NumberText number={row.returned} label={`Back unless ${row.label}`} /></td>
                  <td>{row.evidence}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
    </section>
  );
}

export function TrailList({ trails }: { trails: Trail[] }) {
  if (trails.length === 0) return null;
  return (
    <section class="floor-trails" aria-live="polite">
      <h2>Vortices of the strakes</h2>
      <ul>
        {trails.map((trail) => (
          <li key={`${trail.start_m} ${trail.offset_m}`}>
            {trail.refused ?? trail.text}
            {trail.load && <> Its footprint, both sides: <NumberText number={trail.load} label="CzS of the vortices' footprint" /> of CzS.</>}
          </li>
        ))}
      </ul>
      <p class="faint">
        Band: core, as wide as it is, paler and red once burst. Veil: suction on the floor. Cross: where it bursts. Loads ±40 %, signs near certain; they stand beside the channel's load, not in it.
      </p>
    </section>
  );
}
