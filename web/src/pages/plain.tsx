/** A page without a form of its own, shown as it comes: later rooms need no new code here. */

import type { ComponentChildren } from "preact";
import { overview, place } from "../store";
import type { Num } from "../types";
import { NumberText } from "../widgets/num";
import { Page } from "./page";

type Tree = null | boolean | number | string | Tree[] | { [key: string]: Tree };

const isNumber = (tree: Tree): boolean =>
  typeof tree === "object" && tree !== null && "text" in tree && "unit" in tree;

export function PlainSheet() {
  const { page, query } = place.value;
  const title = overview.value?.rail.find((entry) => entry.page === page)?.title ?? page;
  const rest = new URLSearchParams(Object.entries(query).filter(([k]) => k !== "why")).toString();
  return (
    <Page<Tree> title={title} address={`/${encodeURIComponent(page)}.json${rest ? `?${rest}` : ""}`}>
      {(tree) => <Shown tree={tree} />}
    </Page>
  );
}

function Shown({ tree, inTable }: { tree: Tree; inTable?: boolean }): ComponentChildren {
  if (tree === null || tree === "") return <span class="faint">nothing</span>;
  if (typeof tree !== "object") return <span>{String(tree)}</span>;
  if (isNumber(tree)) return <NumberText number={tree as unknown as Num} stack={inTable} />;
  if (Array.isArray(tree)) return <List list={tree} />;
  return (
    <dl class="pairs wide">
      {Object.entries(tree).map(([key, value]) => (
        <div key={key}>
          <dt>{key.replaceAll("_", " ")}</dt>
          <dd>
            <Shown tree={value} />
          </dd>
        </div>
      ))}
    </dl>
  );
}

function List({ list }: { list: Tree[] }) {
  if (list.length === 0) return <span class="faint">none</span>;
  const rows = list.filter(
    (one): one is { [key: string]: Tree } =>
      typeof one === "object" && one !== null && !Array.isArray(one) && !isNumber(one),
  );
  if (rows.length !== list.length)
    return (
      <ul>
        {list.map((one, k) => (
          <li key={k}>
            <Shown tree={one} />
          </li>
        ))}
      </ul>
    );
  const columns = [...new Set(rows.flatMap((row) => Object.keys(row)))];
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Table">
      <table class="plain">
        <thead>
          <tr>
            {columns.map((column) => (
              <th key={column} scope="col">
                {column.replaceAll("_", " ")}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.map((row, k) => (
            <tr key={k}>
              {columns.map((column) => (
                <td key={column}>{column in row && <Shown tree={row[column]} inTable />}</td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
