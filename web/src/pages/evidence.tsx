/** Everything the work stands on, and whether it is still what was registered. */

import { askWhy } from "../store";
import type { Item } from "../types";
import { StateWord, Tuft } from "../widgets/mark";
import { Empty } from "../widgets/state";
import { Page } from "./page";

const TONES = { registered: "ok", "not registered": "doubt", changed: "wrong", missing: "wrong", "not a file": "faint" } as const;

export function EvidenceSheet() {
  return (
    <Page<{ items: Item[] }>
      title="Evidence"
      lead="Originals are never changed. A file that no longer matches its registered digest is named."
      address="/evidence.json"
    >
      {({ items }) =>
        items.length === 0 ? (
          <Empty text="No evidence yet. Put photos, logs and papers into the folder evidence/ and name them in project.toml." />
        ) : (
          <Register items={items} />
        )
      }
    </Page>
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
              <th scope="col">Day, digest</th>
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
