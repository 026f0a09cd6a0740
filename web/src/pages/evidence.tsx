/** Everything the work stands on, and whether it is still what was registered. */

import { useSignal } from "@preact/signals";
import { act, askWhy } from "../store";
import type { Item, Refusal } from "../types";
import { StateWord, Tuft } from "../widgets/mark";
import { Empty, RefusedNote } from "../widgets/state";
import { Refused } from "../wire";
import { Page } from "./page";

const TONES = { registered: "ok", "not registered": "doubt", changed: "wrong", missing: "wrong", "not a file": "faint" } as const;

interface Tree {
  items: Item[];
  /** Files below evidence/ that no row names. */
  loose?: string[];
  kinds?: string[];
  next?: string;
}

export function EvidenceSheet() {
  return (
    <Page<Tree>
      title="Evidence"
      lead="Originals are never changed. A file that no longer matches its registered digest is named."
      address="/evidence.json"
    >
      {(tree) => (
        <>
          {tree.items.length === 0 ? (
            <Empty text="No evidence yet. Register photos, logs and papers: a copy goes into evidence/, a row with its digest into project.toml." />
          ) : (
            <Register items={tree.items} />
          )}
          {tree.kinds && <Add kinds={tree.kinds} loose={tree.loose ?? []} next={tree.next ?? ""}
            bare={tree.items.filter((item) => item.state === "not registered").length} />}
        </>
      )}
    </Page>
  );
}

const NOTHING = { file: "", kind: "", source: "", day: "", title: "" };

/** A file becomes evidence: what it is, who made it, when; its digest is kept from then on. */
function Add({ kinds, loose, next, bare }: { kinds: string[]; loose: string[]; next: string; bare: number }) {
  const values = useSignal(NOTHING);
  const refusal = useSignal<Refusal | null>(null);
  const told = useSignal("");
  const deed = async (request: Record<string, unknown>) => {
    try {
      const { header } = await act(request);
      refusal.value = null;
      told.value = String(header.text ?? "");
      return true;
    } catch (why) {
      if (!(why instanceof Refused)) throw why;
      told.value = "";
      refusal.value = why.refusal;
      return false;
    }
  };
  const send = async () => {
    const asked = values.value;
    if ((await deed({ do: "evidence_add", ...asked })) && values.value === asked) values.value = NOTHING;
  };
  const set = (key: keyof typeof NOTHING) => (event: { currentTarget: HTMLInputElement | HTMLSelectElement }) =>
    (values.value = { ...values.value, [key]: event.currentTarget.value });
  const text = (key: keyof typeof NOTHING, label: string, sample: string) => (
    <label class="field">
      {label}
      <input type="text" value={values.value[key]} placeholder={sample} onInput={set(key)}
        list={key === "file" && loose.length > 0 ? "loose" : undefined} />
    </label>
  );
  return (
    <section aria-labelledby="add-evidence" class="add-evidence">
      <h2 id="add-evidence">Register a file</h2>
      {loose.length > 0 && (
        <p>
          Below evidence/, named by no row:{" "}
          {loose.slice(0, 8).map((name) => (
            <button key={name} type="button" class="tag" onClick={() => (values.value = { ...values.value, file: name })}>
              {name}
            </button>
          ))}
          {loose.length > 8 && <span class="faint"> and {loose.length - 8} more</span>}
        </p>
      )}
      <datalist id="loose">{loose.map((name) => <option key={name} value={name} />)}</datalist>
      <form onSubmit={(event) => {
        event.preventDefault();
        void send();
      }}>
        {text("file", "File", "path on this machine")}
        <label class="field">
          Kind
          <select value={values.value.kind} onChange={set("kind")}>
            <option value="">choose</option>
            {kinds.map((kind) => <option key={kind} value={kind}>{kind}</option>)}
          </select>
        </label>
        {text("source", "Source", "owner, by mail")}
        {text("day", "Day", "2026-05-03")}
        {text("title", "What it is", "the file's name")}
        <button type="submit" class="do">Register as {next}</button>
      </form>
      <p class="faint">A file from elsewhere is copied into evidence/; the project file gains one block and stays otherwise as it is.</p>
      {bare > 0 && (
        <p>
          {bare === 1 ? "One file is" : `${bare} files are`} named without a digest, so a change of it would pass unseen.{" "}
          <button type="button" class="do quiet" onClick={() => void deed({ do: "evidence_keep" })}>
            {bare === 1 ? "Keep its digest" : "Keep their digests"}
          </button>
        </p>
      )}
      {told.value && <p role="status">{told.value}</p>}
      {refusal.value && <RefusedNote refusal={refusal.value} head="Refused: nothing was registered" />}
    </section>
  );
}

function Register({ items }: { items: Item[] }) {
  const first = items.find((item) => item.state === "changed" || item.state === "missing");
  const count = (state: string) => items.filter((item) => item.state === state).length;
  const words = [`${items.length} items`];
  if (count("changed")) words.push(`${count("changed")} changed since it was registered`);
  if (count("missing")) words.push(`${count("missing")} missing`);
  return (
    <>
      <p class="sumline">{words.join(", ")}.</p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Register">
        <table class="register">
          <thead>
            <tr>
              <th scope="col">No</th>
              <th scope="col">What</th>
              <th scope="col">State</th>
              <th scope="col">Day, source, digest</th>
              <th scope="col">Used by</th>
            </tr>
          </thead>
          <tbody>
            {items.map((item) => (
              <tr key={item.id}>
                <td class="no">{item.id}</td>
                <th scope="row">
                  {item.title} {item === first && <Tuft label="Wants attention now" />}
                  <small>
                    {item.kind}
                    {item.file && (
                      <>
                        , <code>{item.file}</code>
                      </>
                    )}
                  </small>
                  {item.note && <small>{item.note}</small>}
                </th>
                <td>
                  <StateWord word={item.state} tone={TONES[item.state] ?? "faint"} />
                </td>
                <td class="nowrap">
                  {item.day}
                  {item.source && <small>{item.source}</small>}
                  <small>
                    <code>{item.digest.slice(0, 8)}</code>
                  </small>
                </td>
                <td>
                  <UsedBy names={item.used_by} />
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </>
  );
}

function UsedBy({ names }: { names: Item["used_by"] }) {
  if (names.length === 0) return <span class="faint">nothing yet</span>;
  const [shown, rest] = [names.slice(0, 6), names.slice(6)];
  return (
    <ul class="tags">
      {shown.map((name, k) => (
        <li key={k}>
          {typeof name === "string" ? (
            <span class="tag">{name}</span>
          ) : (
            <button type="button" class="tag" onClick={() => askWhy(name.why)}>
              {name.name}
            </button>
          )}
        </li>
      ))}
      {rest.length > 0 && <li class="faint">and {rest.length} more</li>}
    </ul>
  );
}
