/** Pictures: marks to numbers, live; rival readings of what is seen; what to ask next. */

import { useEffect, useLayoutEffect, useMemo, useRef, useState } from "preact/hooks";
import { followed, same } from "../follow";
import { write } from "../number";
import { act, connected, line, place, revision, turn } from "../store";
import type { PicturesPage, ReadingRow, TracedRow } from "../types";
import { Choice } from "../widgets/control";
import { NumberText } from "../widgets/num";
import { type Corner, type Layers, type Marks, Stage } from "../widgets/stage";
import { Notices } from "../widgets/state";
import { Wide } from "../widgets/wide";
import { latest } from "../wire";
import { Page } from "./page";

interface Live {
  readings: ReadingRow[];
  sections: TracedRow[];
  fault: string;
  camera: PicturesPage["picture"]["camera"];
  notices: string[];
}
interface Step {
  marks: Marks;
  on: Record<string, string>;
}

export function PicturesSheet() {
  const picture = place.value.query.picture ?? "";
  const address = `/pictures.json${picture ? `?picture=${encodeURIComponent(picture)}` : ""}`;
  return (
    <Page<PicturesPage> title="Pictures" address={address}>
      {(page) => <Desk key={page.picture.id} page={page} />}
    </Page>
  );
}

const keyOf = (page: PicturesPage) => `tuftwork.marks.${page.project}.${page.picture.id}`;

function Desk({ page }: { page: PicturesPage }) {
  const { picture } = page;
  const saved = useMemo<Step>(() => ({ marks: picture.marks, on: picture.on }), [picture.marks, picture.on]);
  const [step, setStep] = useState<Step>(() => {
    // what another page saved since these were kept stands, except where a mark was moved here
    const kept = draftOf(localStorage.getItem(keyOf(page)));
    return kept ? joined(kept, kept.was ?? saved, saved) : saved;
  });
  const past = useRef<Step[]>([]);
  const future = useRef<Step[]>([]);
  const [live, setLive] = useState<Live | null>(null);
  const [chosen, setChosen] = useState<Corner | null>(null);
  const [said, setSaid] = useState("");
  const [snap, setSnap] = useState(false);
  const [adding, setAdding] = useState("");
  const [layers, setLayers] = useState<Layers>({ dimensions: true, openings: true, flow: true, rivals: false });
  const before = useRef<Step | null>(null);
  const [trouble, setTrouble] = useState("");
  const isChanged = JSON.stringify(step) !== JSON.stringify(saved);
  // keys come faster than a slow machine draws: each starts from the step before it, drawn or not
  const now = useRef(step);
  const put = (next: Step) => {
    now.current = next;
    setStep(next);
  };
  // what another page saved is taken over, except where a mark has been moved here
  const was = useRef(saved);
  useLayoutEffect(() => {
    const [old, here] = [was.current, now.current];
    was.current = saved;
    const next = joined(here, old, saved);
    if (JSON.stringify(next) !== JSON.stringify(here)) put(next);
  }, [saved]);

  const ask = useMemo(
    () =>
      latest<Step>(async (wanted) => {
        try {
          const answer = await line.ask({ do: "picture_marks", picture: picture.id, ...wanted });
          setLive(answer.header as unknown as Live);
          setTrouble("");
        } catch (why) {
          setTrouble((why as Error).message);
        }
      }),
    [picture.id],
  );
  // one browser keeps one draft: what another of its tabs moved is moved here too, and is said
  const known = useRef(localStorage.getItem(keyOf(page)));
  const meet = (text: string | null): boolean => {
    const base = draftOf(known.current) ?? was.current;
    const [theirs, here] = [draftOf(text), now.current];
    known.current = text;
    if (!theirs) return false;
    const next = joined(here, base, theirs);
    if (same(next, here)) return false;
    past.current.push(here);
    future.current = [];
    put(next);
    setSaid("Marks were moved in another tab of this browser.");
    return true;
  };
  useEffect(() => {
    const hear = (event: StorageEvent) => {
      if (event.key === keyOf(page) && event.newValue !== known.current) meet(event.newValue);
    };
    addEventListener("storage", hear);
    return () => removeEventListener("storage", hear);
  }, []);
  // kept before anything is painted: a page that is left at once loses no mark
  useLayoutEffect(() => {
    const key = keyOf(page);
    const held = localStorage.getItem(key);
    // what another tab wrote while this one slept is taken over before anything is written
    if (held !== known.current && meet(held)) return;
    const text = JSON.stringify({ ...step, was: was.current } satisfies Kept);
    if (text !== held && (isChanged || held)) localStorage.setItem(key, text);
    // other tabs hear where the marks went before there is nothing to hear of
    if (!isChanged && held) localStorage.removeItem(key);
    known.current = isChanged ? text : null;
  }, [step, saved, isChanged]);
  const isOpen = connected.value;
  useEffect(() => {
    if (isChanged) ask(step);
    else setTrouble("");
  }, [step, isChanged, isOpen, revision.value]);

  const take = (next: Step) => {
    past.current.push(now.current);
    future.current = [];
    put(next);
    setSaid("");
  };
  const onMove = (corner: Corner, at: [number, number], done: boolean) => {
    const here = now.current;
    const corners = here.marks[corner.mark];
    if (!corners) return;
    const next: Step = { ...here, marks: { ...here.marks, [corner.mark]: corners.map((one, k) => (k === corner.corner ? at : one)) } };
    if (!done) {
      before.current ??= here;
      put(next);
      return;
    }
    past.current.push(before.current ?? here);
    before.current = null;
    future.current = [];
    put(next);
  };
  const back = () => {
    const last = past.current.pop();
    if (!last) return;
    future.current.push(now.current);
    put(last);
  };
  const again = () => {
    const next = future.current.pop();
    if (!next) return;
    past.current.push(now.current);
    put(next);
  };
  const save = async () => {
    const sent = now.current;
    try {
      // only what was moved here is written: another page may have saved other marks meanwhile
      const answer = await act({ do: "picture_save", picture: picture.id, ...sent, was: was.current });
      was.current = sent;
      setSaid(`Saved: ${answer.header.saved} change${answer.header.saved === 1 ? "" : "s"} in project.toml.`);
    } catch (why) {
      setSaid((why as Error).message);
    }
  };
  const onPlace = (at: [number, number]) => {
    const held = now.current.marks[adding] ?? [];
    const isPoint = page.points.includes(adding) && !adding.startsWith("tyre ");
    const corners: [number, number][] = isPoint ? [at] : [...held, at];
    take({ ...now.current, marks: { ...now.current.marks, [adding]: corners } });
    setChosen({ mark: adding, corner: corners.length - 1 });
    if (isPoint) setAdding("");
  };
  const remove = () => {
    if (!chosen) return;
    const corners = step.marks[chosen.mark];
    const rest = Object.fromEntries(Object.entries(step.marks).filter(([mark]) => mark !== chosen.mark));
    const left = corners.filter((_, k) => k !== chosen.corner);
    const planes = Object.fromEntries(Object.entries(step.on).filter(([mark]) => mark !== chosen.mark));
    take(left.length ? { ...step, marks: { ...step.marks, [chosen.mark]: left } } : { marks: rest, on: planes });
    setChosen(null);
  };
  useEffect(() => {
    const key = (event: KeyboardEvent) => {
      if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
      event.preventDefault();
      if (event.shiftKey) again();
      else back();
    };
    addEventListener("keydown", key);
    return () => removeEventListener("keydown", key);
  });

  const shown = isChanged ? live : null; // marks that were taken back count no more
  const rows = page.readings.map((row) => shown?.readings.find((r) => r.id === row.id) ?? row);
  const here = rows.filter((row) => row.picture === picture.id || row.marks.some((m) => step.marks[m]));
  const camera = shown ? shown.camera : picture.camera;
  const fault = shown ? shown.fault : picture.fault;
  return (
    <div class="pictures">
      <Choice
        label="Picture"
        hideLabel
        value={picture.id}
        options={page.pictures.map((p) => [p.id, `${p.id} ${p.title}${p.fault ? " (no camera)" : p.weak ? " (weak)" : ""}`] as const)}
        onPick={(id) => turn({ picture: id })}
      />
      {fault && (
        <p class="note refused" role="alert">
          <b>No camera for this picture.</b> {fault}
        </p>
      )}
      <Notices notices={[...(shown?.notices ?? picture.notices)]} />
      {picture.width && picture.height ? (
        <Stage
          picture={picture.id}
          title={picture.title}
          width={picture.width}
          height={picture.height}
          tile={picture.tile}
          marks={step.marks}
          readings={here}
          features={page.features.list}
          layers={layers}
          chosen={chosen}
          snap={snap}
          placing={adding !== ""}
          onChoose={setChosen}
          onMove={onMove}
          onPlace={onPlace}
        />
      ) : null}
      <div class="controls marking">
        <fieldset class="checks">
          <legend class="unseen">Layers</legend>
          {(Object.keys(layers) as (keyof Layers)[]).map((name) => (
            <label key={name}>
              <input type="checkbox" checked={layers[name]} onChange={() => setLayers({ ...layers, [name]: !layers[name] })} /> {name}
            </label>
          ))}
          <label>
            <input type="checkbox" checked={snap} onChange={() => setSnap(!snap)} /> snap to edges
          </label>
        </fieldset>
        <p>
          <button type="button" class="do quiet" disabled={past.current.length === 0} onClick={back}>
            Undo
          </button>{" "}
          <button type="button" class="do quiet" disabled={future.current.length === 0} onClick={again}>
            Redo
          </button>{" "}
          <button type="button" class="do" disabled={!isChanged} onClick={() => void save()}>
            Save marks
          </button>{" "}
          {isChanged && (
            <button type="button" class="do quiet" onClick={() => take(saved)}>
              Back to the saved ones
            </button>
          )}{" "}
          <span role="status" class="faint">
            {said || trouble || (isChanged ? "Not saved yet; kept in this browser." : "")}
          </span>
        </p>
        <Adding page={page} step={step} adding={adding} chosen={chosen} onAdd={setAdding} onRemove={remove} onPlane={(plane) => chosen && take({ ...step, on: { ...step.on, [chosen.mark]: plane } })} />
      </div>
      {camera && (
        <p class="faint camera">
          Camera: focal length {camera.focal_35mm.text} on film, {camera.place.map((v) => write(v, 2)).join(", ")} m from the front axle;
          marks miss by {camera.miss_pixel == null ? "–" : write(camera.miss_pixel, 1)} pixels; a metre in the middle of the car is known to ±
          {write(100 * camera.strength, 1)}&nbsp;%.
        </p>
      )}
      <section aria-labelledby="readings">
        <h2 id="readings">Readings</h2>
        <Readings rows={rows} here={picture.id} />
      </section>
      <Sections page={page} rows={shown?.sections ?? page.sections} isChanged={isChanged} />
      <Square page={page} step={step} />
      <Stock page={page} />
    </div>
  );
}

/** Marks as they stood in the project when they were first moved, and where they are now. */
type Kept = Step & { was?: Step };

function joined(here: Step, old: Step, saved: Step): Step {
  return { marks: followed(here.marks, old.marks, saved.marks), on: followed(here.on, old.on, saved.on) };
}

function draftOf(text: string | null): Kept | null {
  try {
    return text ? (JSON.parse(text) as Kept) : null;
  } catch {
    return null;
  }
}

interface AddingProps {
  page: PicturesPage;
  step: Step;
  adding: string;
  chosen: Corner | null;
  onAdd: (name: string) => void;
  onRemove: () => void;
  onPlane: (plane: string) => void;
}

function Adding({ page, step, adding, chosen, onAdd, onRemove, onPlane }: AddingProps) {
  const [name, setName] = useState("");
  const at = chosen && step.marks[chosen.mark]?.[chosen.corner];
  return (
    <>
      <p class="adding">
        <label>
          New mark{" "}
          <input list="marknames" value={name} placeholder="hub front left, slot …" onInput={(event) => setName(event.currentTarget.value)} />
        </label>
        <datalist id="marknames">
          {page.points.map((point) => (
            <option key={point} value={point} />
          ))}
        </datalist>{" "}
        <button type="button" class="do quiet" disabled={!name.trim()} onClick={() => onAdd(adding ? "" : name.trim())}>
          {adding ? "Done" : "Set it on the picture"}
        </button>
      </p>
      {chosen && at && (
        <p class="adding">
          <b>{chosen.mark}</b>
          {step.marks[chosen.mark].length > 1 && ` ${chosen.corner + 1} of ${step.marks[chosen.mark].length}`} at {write(at[0], 1)}, {write(at[1], 1)}{" "}
          {!page.points.includes(chosen.mark) && !chosen.mark.startsWith("tyre ") && (
            <label>
              on{" "}
              <select value={step.on[chosen.mark] ?? ""} onChange={(event) => onPlane(event.currentTarget.value)}>
                <option value="" disabled>
                  no plane
                </option>
                {page.planes.map((plane) => (
                  <option key={plane} value={plane}>
                    {plane}
                  </option>
                ))}
              </select>
            </label>
          )}{" "}
          <button type="button" class="do quiet" onClick={() => onAdd(chosen.mark)}>
            Add a corner
          </button>{" "}
          <button type="button" class="do quiet" onClick={onRemove}>
            Remove
          </button>
        </p>
      )}
    </>
  );
}

function Readings({ rows, here }: { rows: ReadingRow[]; here: string }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Readings">
      <table class="plain readings">
        <thead>
          <tr>
            <th scope="col">id</th>
            <th scope="col">what</th>
            <th scope="col">number, 80 % range</th>
            <th scope="col">range comes from</th>
            <th scope="col">source of</th>
          </tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <tr key={row.id} class={row.picture === here ? "" : "elsewhere"}>
              <td>{row.id}</td>
              <td>
                {row.name}
                <small>
                  {row.kind}, {row.picture}
                </small>
              </td>
              <td>{row.number ? <NumberText number={row.number} stack label={row.name} /> : <span class="faint">{row.fault}</span>}</td>
              <td>
                {row.shares.slice(0, 2).map((share) => (
                  <small key={share.name}>
                    {share.name} {Math.round(100 * share.share)} %
                  </small>
                ))}
              </td>
              <td>
                {row.fills || <span class="faint">–</span>}
                {row.differs && <small class="differs">{row.differs} Saving the marks puts it right.</small>}
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

/** Outlines of sections seen end-on: what they are, their coordinates, and their use. */
function Sections({ page, rows, isChanged }: { page: PicturesPage; rows: TracedRow[]; isChanged: boolean }) {
  const [wing, setWing] = useState(page.wings[0] ?? "");
  const [said, setSaid] = useState("");
  if (rows.length === 0) return null;
  const use = async (row: TracedRow) => {
    try {
      const answer = await act({ do: "picture_section", picture: page.picture.id, mark: row.mark, wing });
      setSaid(`${wing} now has ${answer.header.file} as its section (evidence ${answer.header.evidence}). Run the study to see what it changes.`);
    } catch (why) {
      setSaid((why as Error).message);
    }
  };
  return (
    <section aria-labelledby="traced">
      <h2 id="traced">Traced sections</h2>
      {rows.map((row) => (
        <div key={row.mark} class="traced">
          <p>
            <b>{row.mark}</b>{" "}
            {row.fault ? (
              <span class="faint">{row.fault}</span>
            ) : (
              <span class="faint">
                smooth through {row.corners} marks, which miss it by {write(100 * (row.miss ?? 0), 1)}&nbsp;% of the chord
                {row.turned && "; drawn turned over: on the car it pushes down"}
              </span>
            )}
          </p>
          {row.points && <Foil points={row.points} label={`Section ${row.mark}`} />}
          {row.numbers.map(({ label, number }) => (
            <p key={label}>
              {label}: <NumberText number={number} label={`${row.mark}, ${label}`} />
            </p>
          ))}
          {row.csv && (
            <p>
              <button type="button" class="do quiet" onClick={() => download(row)}>
                Save the coordinates
              </button>{" "}
              {page.wings.length > 0 && (
                <>
                  <button type="button" class="do" disabled={isChanged} onClick={() => void use(row)}>
                    Use as the section of
                  </button>{" "}
                  <select aria-label="Wing" value={wing} onChange={(event) => setWing(event.currentTarget.value)}>
                    {page.wings.map((one) => (
                      <option key={one} value={one}>
                        {one}
                      </option>
                    ))}
                  </select>{" "}
                  {isChanged && <span class="faint">Save the marks first.</span>}
                </>
              )}
            </p>
          )}
        </div>
      ))}
      <p role="status" class="faint">
        {said}
      </p>
    </section>
  );
}

function download(row: TracedRow) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([row.csv ?? ""], { type: "text/csv" }));
  link.download = row.file ?? "section.csv";
  link.click();
  URL.revokeObjectURL(link.href);
}

/** A section over its chord, both axes to one scale. */
function Foil({ points, label }: { points: [number, number][]; label: string }) {
  const high = Math.max(...points.map((p) => p[1])) + 0.02;
  const low = Math.min(...points.map((p) => p[1])) - 0.02;
  const path = `M${points.map(([x, y]) => `${(1000 * x).toFixed(1)},${(1000 * (high - y)).toFixed(1)}`).join("L")}Z`;
  return (
    <svg class="foil" role="img" aria-label={label} viewBox={`-10 0 1020 ${(1000 * (high - low)).toFixed(0)}`}>
      <path d={path} />
      <line x1="0" x2="1000" y1={1000 * high} y2={1000 * high} />
    </svg>
  );
}

/** A plane of the picture seen square on. */
function Square({ page, step }: { page: PicturesPage; step: Step }) {
  const planes = [...new Set(Object.entries(step.on).filter(([m]) => step.marks[m]).map(([, p]) => p))];
  const [plane, setPlane] = useState("");
  const [shown, setShown] = useState<{ url: string; share: number } | null>(null);
  const [fault, setFault] = useState("");
  const wanted = useRef<{ plane: string; step: Step } | null>(null);
  const ask = useMemo(
    () =>
      latest<{ plane: string; step: Step }>(async (now) => {
        if (wanted.current === null) return;
        try {
          const answer = await line.ask({ do: "picture_plane", picture: page.picture.id, plane: now.plane, ...now.step });
          // another plane, or none, was chosen meanwhile
          if (wanted.current?.plane !== now.plane) return;
          const url = URL.createObjectURL(new Blob([(answer.arrays.jpeg as Uint8Array).slice()], { type: "image/jpeg" }));
          setShown({ url, share: (0.1 * (answer.header.pixel_per_m as number)) / (answer.header.width as number) });
          setFault("");
        } catch (why) {
          setFault((why as Error).message);
        }
      }),
    [page.picture.id],
  );
  const isOpen = connected.value;
  useEffect(() => {
    wanted.current = plane ? { plane, step } : null;
    if (wanted.current) ask(wanted.current);
    else setShown(null);
    return () => {
      wanted.current = null;
    };
  }, [plane, page.picture.id, step, isOpen]);
  useEffect(() => () => URL.revokeObjectURL(shown?.url ?? ""), [shown]);
  if (planes.length === 0) return null;
  return (
    <section aria-labelledby="square">
      <h2 id="square">A plane seen square on</h2>
      <Choice label="Plane" hideLabel value={plane} options={[["", "none"] as const, ...planes.map((p) => [p, p] as const)]} onPick={setPlane} />
      {fault && <p class="note refused">{fault}</p>}
      {shown && (
        <figure class="square">
          <span class="plate">
            <img src={shown.url} alt={`Plane ${plane} of ${page.picture.id}, straightened`} />
            <span class="ruler" style={{ width: `${100 * shown.share}%` }} aria-hidden="true" />
          </span>
          <figcaption>The bar is 100 mm on {plane}. What lies off the plane is drawn out of true.</figcaption>
        </figure>
      )}
    </section>
  );
}

function Stock({ page }: { page: PicturesPage }) {
  const { list, loose, ask, paths, mending } = page.features;
  if (list.length === 0 && !mending) return null;
  return (
    <>
      {ask.length > 0 && (
        <section aria-labelledby="ask">
          <h2 id="ask">Worth asking next</h2>
          <ol class="questions">
            {ask.map((one) => (
              <li key={one.feature}>
                <b>{one.ask}</b>
                <small>
                  {one.name}: {one.text}; {write(one.doubt_bits, 1)} bits open.
                </small>
              </li>
            ))}
          </ol>
        </section>
      )}
      {loose.length > 0 && (
        <section aria-labelledby="loose">
          <h2 id="loose">Air that comes from nowhere or goes nowhere</h2>
          <ul>
            {loose.map((one) => (
              <li key={`${one.name} ${one.lacks}`}>{one.text}</li>
            ))}
          </ul>
        </section>
      )}
      {paths.length > 0 && (
        <section aria-labelledby="paths">
          <h2 id="paths">What restricts the air</h2>
          <ul>
            {paths.map((one) => (
              <li key={one.name}>
                <b>{one.name}</b>
                {one.inlets.length > 0 && `, from ${one.inlets.join(", ")}`}
                {one.exits.length > 0 && ` to ${one.exits.join(", ")}`}: {one.text}
              </li>
            ))}
          </ul>
        </section>
      )}
      {mending && <Mending mending={mending} />}
      <section aria-labelledby="stock">
        <h2 id="stock">Stock of features</h2>
        <ul class="stock">
          {list.map((one) => (
            <li key={one.id}>
              <p>
                <span class="balloon">{one.id}</span> <b>{one.name}</b>{" "}
                <span class="faint">
                  {one.kind}, {one.known}
                  {one.zone && `, ${one.zone}`}
                </span>
              </p>
              {one.numbers.map(({ label, number }) => (
                <p key={label}>
                  {label}: <NumberText number={number} />
                </p>
              ))}
              {one.pressure && <small>{one.pressure}</small>}
              {one.checks?.map((text) => (
                <small key={text}>{text}</small>
              ))}
              {one.rivals.length > 0 && (
                <ul class="rivals">
                  {one.rivals.map((rival) => (
                    <li key={rival.reading}>
                      <span class="track" aria-hidden="true">
                        <span style={{ width: `${100 * rival.weight}%` }} />
                      </span>
                      <span>
                        {Math.round(100 * rival.weight)} % {rival.reading}
                        {rival.decider && <small>Settles it: {rival.decider}</small>}
                      </span>
                    </li>
                  ))}
                </ul>
              )}
            </li>
          ))}
        </ul>
      </section>
    </>
  );
}

function Mending({ mending }: { mending: NonNullable<PicturesPage["features"]["mending"]> }) {
  return (
    <section aria-labelledby="mending">
      <h2 id="mending">Seams, gaps and fixings</h2>
      <p class="answer">{mending.text}</p>
      <Wide label="Seams, gaps and fixings as a table">
        <table class="plain">
          <thead>
            <tr>
              <th scope="col">Fault</th>
              <th scope="col">Where</th>
              <th scope="col">Mend</th>
              <th scope="col">All of them cost</th>
            </tr>
          </thead>
          <tbody>
            {mending.rows.map((row) => (
              <tr key={row.name}>
                <th scope="row">
                  {row.name}
                  <small>{row.kind}</small>
                </th>
                <td>{row.zone}</td>
                <td>
                  {row.mend > 0 ? <b>{row.mend} of {row.count}</b> : <span class="faint">none of {row.count}</span>}
                </td>
                <td>{row.points < 0.005 ? "under 0.01" : write(row.points, 2)} points of drag</td>
              </tr>
            ))}
          </tbody>
        </table>
      </Wide>
    </section>
  );
}
