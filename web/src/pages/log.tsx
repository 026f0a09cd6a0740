/** The log of a test day: faults as cards, what their cures change, traces. */

import { useState } from "preact/hooks";
import { tie, write } from "../number";
import { act, place, startRun, turn } from "../store";
import { Choice } from "../widgets/control";
import { StateWord, Tuft } from "../widgets/mark";
import { NumberText } from "../widgets/num";
import { Empty } from "../widgets/state";
import { Wide } from "../widgets/wide";
import { useWidth } from "../widgets/width";
import { Trace } from "./log-trace";
import { Page } from "./page";
import "./trial.css";
import type { BeforeAfter, Card, LogPage } from "./trial-types";

export function LogSheet() {
  const { day = "" } = place.value.query;
  return (
    <Page<LogPage>
      title="Log"
      lead="What may be wrong with the day's log, with the evidence, and what putting it right would change. The log itself is never changed."
      address={`/log.json${day ? `?day=${encodeURIComponent(day)}` : ""}`}
    >
      {(tree) =>
        tree.refused ? (
          <div class="body">
            <Empty text={`This log cannot be used yet. ${tree.refused.join(" ")}`} />
            {tree.columns.length > 0 && <Columns tree={tree} />}
          </div>
        ) : (
          <div class="body" key={tree.day}>
            {tree.days.length > 1 && (
              <Choice
                label="Day"
                value={tree.day}
                options={tree.days.map((d) => [d, d] as const)}
                onPick={(d) => turn({ day: d }, true)}
              />
            )}
            <Cards tree={tree} />
            {tree.before_after.length > 0 && <Changes tree={tree} />}
            <Traces tree={tree} />
            <Rest tree={tree} />
          </div>
        )
      }
    </Page>
  );
}

/** Run the study, and say what becomes of what was just written. */
const again = async () =>
  (await startRun())
    ? "The study runs again with it."
    : "The study could not be started with it now: run it again when the one under way has ended.";

function Cards({ tree }: { tree: LogPage }) {
  const [said, setSaid] = useState("");
  // the words go along: a page that is behind must not change what another number means by now
  const cure = (what: Record<string, number | string>) =>
    act({ do: "log_cure", day: tree.day, ...what })
      .then(async () => setSaid(`Written into the project. ${await again()}`))
      .catch((why: Error) => setSaid(why.message));
  if (tree.faults.length === 0)
    return <p class="answer">No fault was found in this log.</p>;
  const first = tree.faults.find((c) => !c.taken);
  return (
    <section aria-labelledby="faults">
      <h2 id="faults">
        {tree.left > 0 ? `${tree.faults.length} faults found` : "Faults found, cures accepted"}
      </h2>
      {tree.faults.map((card) => (
        <FaultCard key={card.n} card={card} first={card === first} onTake={() => cure({ take: card.n, words: card.title })} />
      ))}
      {said && (
        <p role="status" class="faint">
          {said}
        </p>
      )}
      {tree.cures.length > 0 && (
        <details>
          <summary>{tree.cures.length} accepted cures</summary>
          <ol class="accepted">
            {tree.cures.map((text, k) => (
              <li key={k}>
                {tie(text)}{" "}
                <button type="button" class="do quiet" onClick={() => cure({ undo: k + 1, words: text })}>
                  Take back
                </button>
              </li>
            ))}
          </ol>
        </details>
      )}
    </section>
  );
}

function FaultCard({ card, first, onTake }: { card: Card; first: boolean; onTake: () => void }) {
  return (
    <article class="claim" aria-labelledby={`card-${card.n}`}>
      <header>
        <span class="balloon">{card.n}</span>
        <div>
          <h3 id={`card-${card.n}`}>
            {tie(card.title)} {first && <Tuft label="Wants attention now" />}
          </h3>
          <p class="meta">
            <StateWord word={card.taken ? "cure accepted" : "open"} tone={card.taken ? "ok" : "doubt"} />
            <span>{tie(card.size)}</span>
            <span class="faint">{card.sure} standard uncertainties from nothing</span>
          </p>
        </div>
      </header>
      <ul class="evidence-lines">
        {card.evidence.map((text) => (
          <li key={text}>{tie(text)}</li>
        ))}
      </ul>
      <p>
        <b>Cure:</b> {tie(card.cure)}.{card.changes && <span class="faint"> {tie(card.changes)}.</span>}
      </p>
      {!card.taken && !card.cure.startsWith("no cure") && (
        <p>
          <button type="button" class="do" onClick={onTake}>
            Accept the cure
          </button>
        </p>
      )}
    </article>
  );
}

function Changes({ tree }: { tree: LogPage }) {
  return (
    <section aria-labelledby="changes">
      <h2 id="changes">Before and after</h2>
      <figure>
        <figcaption>
          <b>CzSr over speed, {tree.mass_state}</b>
          <span class="key faint">as read</span>
          <span class="key rear">{tree.left > 0 ? "with all cures" : "with the accepted cures"}</span>
        </figcaption>
        <Chart rows={tree.before_after} />
      </figure>
      <div class="scroll" tabIndex={0} role="region" aria-label="Before and after as a table">
        <table class="plain">
          <thead>
            <tr>
              <th scope="col">km/h</th>
              <th scope="col">CzSf as read</th>
              <th scope="col">CzSf cured</th>
              <th scope="col">CzSr as read</th>
              <th scope="col">CzSr cured</th>
              <th scope="col">Front share cured</th>
            </tr>
          </thead>
          <tbody>
            {tree.before_after.map((row) => (
              <tr key={row.speed_kmh}>
                <th scope="row">{Math.round(row.speed_kmh)}</th>
                {(["front_before", "front_after", "rear_before", "rear_after", "share_after"] as const).map(
                  (key) => (
                    <td key={key}>
                      <NumberText number={row[key]} label={key.replace("_", " ")} stack />
                    </td>
                  ),
                )}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

function Chart({ rows }: { rows: BeforeAfter[] }) {
  const [holder, width] = useWidth<HTMLDivElement>(640);
  const tall = 220;
  const values = rows.flatMap((r) => [r.rear_before.low, r.rear_before.high, r.rear_after.low, r.rear_after.high]);
  const known = values.filter((v): v is number => v !== null);
  const [low, high] = [Math.min(...known), Math.max(...known)];
  const [v0, v1] = [rows[0].speed_kmh, rows[rows.length - 1].speed_kmh];
  const x = (v: number) => 44 + ((width - 70) * (v - v0)) / (v1 - v0 || 1);
  const y = (a: number) => 10 + ((tall - 40) * (high - a)) / (high - low || 1);
  const path = (key: "rear_before" | "rear_after") =>
    rows.map((r, i) => `${i ? "L" : "M"}${x(r.speed_kmh)} ${y(r[key].best ?? 0)}`).join("");
  const ticks = Array.from({ length: 5 }, (_, k) => Math.ceil(low * 5) / 5 + 0.2 * k).filter((t) => t <= high);
  return (
    <div ref={holder} class="beforeafter">
      <svg width={width} height={tall} aria-hidden="true">
        {ticks.map((t) => (
          <g key={t} class="tick">
            <line x1={40} x2={width} y1={y(t)} y2={y(t)} />
            <text x={34} y={y(t) + 4} text-anchor="end">
              {write(t, 1)}
            </text>
          </g>
        ))}
        {(["rear_before", "rear_after"] as const).map((key) => (
          <g key={key} class={key === "rear_after" ? "after" : "before"}>
            <path d={path(key)} />
            {rows.map((r) => (
              <g key={r.speed_kmh}>
                <line
                  x1={x(r.speed_kmh)}
                  x2={x(r.speed_kmh)}
                  y1={y(r[key].low ?? 0)}
                  y2={y(r[key].high ?? 0)}
                />
                <circle cx={x(r.speed_kmh)} cy={y(r[key].best ?? 0)} r="4" />
              </g>
            ))}
          </g>
        ))}
        {rows.map((r, k) => (
          // one that would run into the last, which has the unit, is left out
          (k === rows.length - 1 || x(r.speed_kmh) < width - 74) && <text
            key={r.speed_kmh}
            x={k === rows.length - 1 ? width : x(r.speed_kmh)}
            y={tall - 6}
            text-anchor={k === rows.length - 1 ? "end" : "middle"}
          >
            {Math.round(r.speed_kmh)}
            {k === rows.length - 1 && " km/h"}
          </text>
        ))}
        <text x={0} y={12}>
          m²
        </text>
      </svg>
    </div>
  );
}

function Traces({ tree }: { tree: LogPage }) {
  const [role, setRole] = useState(tree.traces.includes("pot rear left") ? "pot rear left" : tree.traces[0]);
  const [cured, setCured] = useState<"as read" | "cured">("as read");
  const [shown, setShown] = useState<[number, number]>(tree.span_s);
  return (
    <section aria-labelledby="traces">
      <h2 id="traces">Traces</h2>
      <div class="controls">
        <label class="pick">
          <span>Channel</span>
          <select value={role} onChange={(event) => setRole(event.currentTarget.value)}>
            {tree.traces.map((name) => (
              <option key={name}>{name}</option>
            ))}
          </select>
        </label>
        <label class="pick">
          <span>Pass</span>
          <select
            onChange={(event) => {
              const one = tree.passes[Number(event.currentTarget.value)];
              setShown(one ? [one.start_s - 1, one.end_s + 1] : tree.span_s);
            }}
          >
            <option value="-1">whole day</option>
            {tree.passes.map((p, k) => (
              <option key={p.n} value={k}>
                {p.n}: {Math.round(p.speed_kmh)} km/h {p.way}, {p.state}
              </option>
            ))}
          </select>
        </label>
        {tree.cures.length > 0 && (
          <Choice
            label="Version"
            value={cured}
            options={[
              ["as read", "as read"],
              ["cured", "cured"],
            ]}
            onPick={setCured}
          />
        )}
      </div>
      <Trace
        day={tree.day}
        role={role}
        cured={cured === "cured"}
        window={shown}
        whole={tree.span_s}
        onWindow={setShown}
      />
    </section>
  );
}

function Rest({ tree }: { tree: LogPage }) {
  return (
    <section aria-labelledby="knowing">
      <h2 id="knowing">Worth knowing</h2>
      {tree.knowing.length === 0 && <p class="faint">Nothing beside the faults.</p>}
      <ul class="evidence-lines">
        {tree.knowing.map((card) => (
          <li key={card.n}>
            <b>{tie(card.title)}</b>, {tie(card.size)}. {tie(card.evidence.join(" "))}
          </li>
        ))}
      </ul>
      <Columns tree={tree} />
      <p class="faint">{tree.how}</p>
    </section>
  );
}

function Columns({ tree }: { tree: LogPage }) {
  const [said, setSaid] = useState("");
  const tell = (what: Record<string, unknown>) =>
    act({ do: "log_roles", day: tree.day, ...what })
      .then(async () => setSaid(`Remembered in the project. ${await again()}`))
      .catch((why: Error) => setSaid(why.message));
  const used = tree.columns.filter((c) => c.role).length;
  return (
    <details open={tree.guesses > 0 || Boolean(tree.refused)}>
      <summary>
        {used} of {tree.columns.length} columns in use
        {tree.rows > 0 && `, ${tree.rows.toLocaleString("en").replaceAll(",", "\u202f")} rows`}
        {tree.guesses > 0 && `; ${tree.guesses} guessed`}
      </summary>
      <p class="tools">
        {tree.guesses > 0 && (
          <button type="button" class="do quiet" onClick={() => tell({ confirm: true })}>
            Confirm all guesses
          </button>
        )}
        {tree.is_said && (
          <button type="button" class="do quiet" onClick={() => tell({ forget: true })}>
            Guess again
          </button>
        )}
        {said && <span role="status">{said}</span>}
      </p>
      <Wide label="Columns of the log">
        <table class="plain">
          <thead>
            <tr>
              <th scope="col">Column</th>
              <th scope="col">Unit</th>
              <th scope="col">Taken for</th>
              <th scope="col">By</th>
            </tr>
          </thead>
          <tbody>
            {tree.columns.map((c) => (
              <tr key={c.name}>
                <td>{c.name}</td>
                <td>{c.unit}</td>
                <td>
                  <select
                    class="role"
                    aria-label={`What is ${c.name}`}
                    value={c.role}
                    onChange={(event) => tell({ roles: { [c.name]: event.currentTarget.value } })}
                  >
                    <option value="">not used</option>
                    {tree.roles.map((name) => (
                      <option key={name}>{name}</option>
                    ))}
                  </select>
                </td>
                <td class="faint">{!c.role ? "" : c.is_guess ? "guess" : "you"}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </details>
  );
}
