/** What was measured beside passes: laps, tunnel sessions, pressures, flow made visible. */

import { signed, tie, write } from "../number";
import { VerdictWord } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { Wide } from "../widgets/wide";
import type { Laps, Matrix, Notes, Pressures, ResultsPage, Sessions, Tunnel } from "./trial-types";

const SOURCES = { track: "the day", tunnel: "the tunnel", model: "the model" } as const;

export function sourceWord(source: keyof typeof SOURCES): string {
  return SOURCES[source];
}

function Gain({ word }: { word: string }) {
  return word === "below noise" ? <VerdictWord verdict="below noise" /> : <>{word}</>;
}

export function SessionParts({ tree }: { tree: Sessions }) {
  return (
    <>
      {tree.tunnels.map((one) => (
        <TunnelPart key={one.name} one={one} />
      ))}
      {tree.pressures.map((one) => (
        <PressurePart key={one.name} one={one} />
      ))}
      <NotesPart notes={tree.notes} />
    </>
  );
}

export function LapsPart({ laps }: { laps?: Laps | null }) {
  if (!laps) return null;
  return (
    <section aria-labelledby="laps">
      <h2 id="laps">Laps against the baseline</h2>
      {laps.refused ? (
        <p class="caution">{laps.refused.join(" ")}</p>
      ) : (
        <Wide label="Laps as a table">
          <table class="plain">
            <caption>{laps.laps} laps in use; each stint has a level of its own, wear is taken out</caption>
            <thead>
              <tr>
                <th scope="col">State</th>
                <th scope="col">Lap time</th>
                <th scope="col">Wear</th>
                <th scope="col">Verdict</th>
                <th scope="col">How</th>
              </tr>
            </thead>
            <tbody>
              {laps.rows.map((r) => (
                <tr key={r.state}>
                  <th scope="row">
                    {r.state}
                    <small>
                      {r.laps} laps, {r.stints} stints
                    </small>
                  </th>
                  <td>
                    <NumberText number={r.gain} label="lap time" stack />
                  </td>
                  <td>{r.wear}</td>
                  <td>
                    <Gain word={r.verdict} />
                  </td>
                  <td>{r.method}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </Wide>
      )}
    </section>
  );
}

export function PairedPart({ paired }: { paired: ResultsPage["paired"] }) {
  if (!paired?.length) return null;
  return (
    <section aria-labelledby="paired">
      <h2 id="paired">From every pass, the day&rsquo;s drift taken out</h2>
      {paired.map((one) => (
        <Wide key={one.state} label={`Every pass, ${one.state}`}>
          <table class="plain">
            <caption>
              {one.state} less {one.against}: {one.passes} passes, {one.method}; drift {one.drift}, one
              pass scatters by {one.scatter}
            </caption>
            <thead>
              <tr>
                <th scope="col">Speed</th>
                <th scope="col">CzS</th>
                <th scope="col">Verdict</th>
              </tr>
            </thead>
            <tbody>
              {one.rows.map((r) => (
                <tr key={r.speed_kmh}>
                  <th scope="row">{Math.round(r.speed_kmh)} km/h</th>
                  <td>
                    <NumberText number={r.gain} label="CzS" stack />
                  </td>
                  <td>
                    <Gain word={r.verdict} />
                  </td>
                </tr>
              ))}
            </tbody>
          </table>
        </Wide>
      ))}
    </section>
  );
}

function TunnelPart({ one }: { one: Tunnel }) {
  const id = `tunnel-${one.name.replace(/\W+/g, "-")}`;
  if (one.refused)
    return (
      <section aria-labelledby={id}>
        <h2 id={id}>Tunnel: {one.name}</h2>
        <p class="caution">This session cannot be used yet. {one.refused.join(" ")}</p>
      </section>
    );
  return (
    <section aria-labelledby={id}>
      <h2 id={id}>Tunnel: {one.name}</h2>
      <p>
        {tie(one.about)}. Walls by {one.correction}; axes {one.axes}; {one.scatter}.
      </p>
      <ul class="evidence-lines">
        {[...one.sweeps, ...one.notices].map((text) => (
          <li key={text}>{tie(text)}</li>
        ))}
      </ul>
      <div class="scroll" tabIndex={0} role="region" aria-label={`Tunnel results, ${one.name}`}>
        <table class="plain">
          <thead>
            <tr>
              <th scope="col">State, hf / hr</th>
              <th scope="col">CzSf</th>
              <th scope="col">CzSr</th>
              <th scope="col">CzS</th>
              <th scope="col">CxS</th>
              <th scope="col">Down less up</th>
            </tr>
          </thead>
          <tbody>
            {one.rows.map((r) => (
              <tr key={`${r.state} ${r.front_mm} ${r.rear_mm}`}>
                <th scope="row">
                  {r.state}, {r.front_mm} / {r.rear_mm} mm
                  <small>{r.count} readings</small>
                </th>
                {(["front", "rear", "total", "drag"] as const).map((key) => (
                  <td key={key}>
                    <NumberText number={r[key]} label={key} stack />
                  </td>
                ))}
                <td>{r.gap_points === null ? "" : `${signed(r.gap_points, 1)} points`}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <details>
        <summary>Wall corrections side by side, and what the ranges rest on</summary>
        <Wide label="Wall corrections">
          <table class="plain">
            <caption>First point by every method</caption>
            <thead>
              <tr>
                <th scope="col">Method</th>
                <th scope="col">q over q read</th>
                <th scope="col">CxS</th>
                <th scope="col">CzS</th>
              </tr>
            </thead>
            <tbody>
              {one.methods.map((m) => (
                <tr key={m.method}>
                  <th scope="row">{m.method}</th>
                  <td>{write(m.ratio, 4)}</td>
                  <td>{m.drag}</td>
                  <td>{m.total}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </Wide>
        <Wide label="Uncertainties of the tunnel">
          <table class="plain">
            <caption>Standard uncertainties where CzSr is least certain: {one.lines[0]?.at}</caption>
            <thead>
              <tr>
                <th scope="col">From</th>
                <th scope="col">CzSf</th>
                <th scope="col">CzSr</th>
                <th scope="col">Share of CzSr</th>
                <th scope="col">CxS</th>
              </tr>
            </thead>
            <tbody>
              {one.lines.map((x) => (
                <tr key={x.name}>
                  <th scope="row">{x.name}</th>
                  <td>{x.front}</td>
                  <td>{x.rear}</td>
                  <td>{Math.round(100 * x.rear_share)}&nbsp;%</td>
                  <td>{x.drag}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </Wide>
      </details>
    </section>
  );
}

function PressurePart({ one }: { one: Pressures }) {
  const id = `pressures-${one.name.replace(/\W+/g, "-")}`;
  return (
    <section aria-labelledby={id}>
      <h2 id={id}>Pressures: {one.name}</h2>
      {one.refused ? (
        <p class="caution">This test cannot be used yet. {one.refused.join(" ")}</p>
      ) : (
        <div class="pressures">
          <Wide label="Pressures as a table">
            <table class="plain">
              <thead>
                <tr>
                  <th scope="col">Tap</th>
                  <th scope="col">At</th>
                  <th scope="col">Cp, or loss of total pressure</th>
                  <th scope="col">Bears on</th>
                </tr>
              </thead>
              <tbody>
                {one.rows.map((r) => (
                  <tr key={`${r.tap} ${r.state}`}>
                    <th scope="row">
                      {r.tap}
                      <small>{r.state}</small>
                    </th>
                    <td>{r.at}</td>
                    <td>
                      {r.kind.endsWith("total") && <span class="faint">loss </span>}
                      <NumberText number={r.value} label={r.tap} stack />
                    </td>
                    <td>{r.hypothesis}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </Wide>
          {one.ducts.length > 0 && (
            <Wide label="Flow through ducts">
              <table class="plain">
                <caption>Flow through ducts</caption>
                <thead>
                  <tr>
                    <th scope="col">Duct</th>
                    <th scope="col">Flow</th>
                    <th scope="col">Rake</th>
                    <th scope="col">Uneven by</th>
                  </tr>
                </thead>
                <tbody>
                  {one.ducts.map((d) => (
                    <tr key={`${d.duct} ${d.state}`}>
                      <th scope="row">
                        {d.duct}
                        <small>{d.state}</small>
                      </th>
                      <td>
                        <NumberText number={d.flow} label="flow" stack />
                      </td>
                      <td>
                        {d.tubes} tubes at {d.speed_kmh} km/h
                        {d.backward > 0 && <span class="caution"> {d.backward} read backward flow</span>}
                      </td>
                      <td>{d.unevenness}</td>
                    </tr>
                  ))}
                </tbody>
              </table>
            </Wide>
          )}
        </div>
      )}
    </section>
  );
}

function NotesPart({ notes }: { notes: Notes }) {
  if (notes.rows.length === 0) return null;
  return (
    <section aria-labelledby="notes">
      <h2 id="notes">Flow made visible</h2>
      {notes.hypotheses.map((h) => (
        <p key={h.id}>
          <b>{tie(h.says)}</b> <VerdictWord verdict={h.verdict} />{" "}
          <span class="faint">
            {h.for.length > 0 && `notes ${h.for.join(", ")} for it. `}
            {h.against.length > 0 && `notes ${h.against.join(", ")} against it. `}
            {h.taps.length > 0 && `Taps: ${h.taps.join("; ")}.`}
          </span>
        </p>
      ))}
      <Wide label="Tunnel stops">
        <table class="plain sheetlines">
          <thead>
            <tr>
              <th scope="col">Note</th>
              <th scope="col">Place</th>
              <th scope="col">Seen</th>
              <th scope="col">While</th>
              <th scope="col">Bears on</th>
            </tr>
          </thead>
          <tbody>
            {notes.rows.map((n) => (
              <tr key={n.n}>
                <th scope="row">{n.n}</th>
                <td>
                  {n.at} {n.at_is === "place" && <span class="faint">(no part)</span>}
                </td>
                <td>
                  {n.seen}, by {n.by}. {tie(n.note)} {n.picture && <span class="faint">{n.picture}</span>}
                </td>
                <td>{[n.state, n.speed].filter(Boolean).join(", ")}</td>
                <td>{n.hypothesis && `${n.bears} '${n.hypothesis}'`}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}

export function MatrixPart({ matrix }: { matrix: Matrix | null }) {
  if (!matrix) return null;
  return (
    <section aria-labelledby="matrix">
      <h2 id="matrix">Tunnel matrix, the most telling point first</h2>
      <p>
        {matrix.measured} of {matrix.candidates} points fit into {matrix.takes} h and take away{" "}
        {matrix.answered_percent}&nbsp;% of the model&rsquo;s doubt along the car&rsquo;s own path.
      </p>
      <ul class="evidence-lines">
        {matrix.marks.map((text) => (
          <li key={text}>{tie(text)}</li>
        ))}
      </ul>
      <div class="scroll" tabIndex={0} role="region" aria-label="Tunnel matrix">
        <table class="plain sheetlines">
          <thead>
            <tr>
              <th scope="col">Start</th>
              <th scope="col">State</th>
              <th scope="col">hf / hr</th>
              <th scope="col">Answered</th>
            </tr>
          </thead>
          <tbody>
            {matrix.lines.map((x) => (
              <tr key={x.n} class={x.is_repeat ? "setup" : ""}>
                <td>{x.start}</td>
                <td>
                  {x.state} {x.is_repeat && <span class="faint">first point again</span>}
                </td>
                <td>
                  {x.front_mm} / {x.rear_mm} mm
                </td>
                <td>{x.answered_percent}&nbsp;%</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}
