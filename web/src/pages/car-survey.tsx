/** Large maps that were made: cells run, how far off reading between them is, where to run next. */

import type { SurveyMade } from "./car-types";

export function SurveyView({ surveys }: { surveys: SurveyMade[] }) {
  return (
    <section>
      <h2>Large maps</h2>
      {surveys.length === 0 && (
        <p class="faint">
          None yet. <code>tuftwork map PROJECT --survey 1000 --share 0.3</code> runs a thousand cells
          of every state, goes on after a stop, and says how far off the cells between runs are.
        </p>
      )}
      {surveys.map((made) => (
        <div key={made.file} class="scroll" tabIndex={0} role="region" aria-label={`Large map ${made.file}`}>
          <table>
            <caption>
              {made.file}: {made.cells} cells a state, {made.draws} draws
            </caption>
            <thead>
              <tr>
                <th scope="col">State</th>
                <th scope="col">Attitude</th>
                <th scope="col">Run</th>
                <th scope="col">Between</th>
                <th scope="col">Error held out</th>
                <th scope="col">In 80 % range</th>
                <th scope="col">One run more helps most at</th>
              </tr>
            </thead>
            <tbody>
              {made.slices.map((row) => (
                <tr key={`${row.state} ${row.slice}`}>
                  <th scope="row">{row.state}</th>
                  <td>{row.slice}</td>
                  <td>{row.run}</td>
                  <td>{row.between}</td>
                  <td class="nowrap">{row.error}</td>
                  <td>{row.covered}</td>
                  <td>{row.next}</td>
                </tr>
              ))}
            </tbody>
          </table>
          {made.held && <p class="faint">{made.held}</p>}
        </div>
      ))}
    </section>
  );
}
