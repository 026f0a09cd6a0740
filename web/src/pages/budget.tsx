/** Where the downforce comes from: a waterfall and a table, at one speed in one state. */

import { useState } from "preact/hooks";
import { tie } from "../number";
import type { Budget, BudgetRow } from "../types";
import { KgFactor, NumberText } from "../widgets/num";
import { Empty } from "../widgets/state";
import { Waterfall } from "../widgets/waterfall";
import { asked, Ways } from "../widgets/ways";
import { Page } from "./page";

export function BudgetSheet() {
  return (
    <Page<Budget>
      title="Budget"
      lead="Parts alone, what they do to each other as rows of their own, and the sum against what was measured."
      address={`/budget.json${asked()}`}
    >
      {(tree, busy) => (
        <KgFactor.Provider value={tree.kg_per_m2}>
          <Ways tree={tree} />
          <div class={busy ? "body waiting" : "body"}>
            <Sum tree={tree} />
            {tree.rows.length === 0 ? (
              <Empty text="No parts yet. Add a [[parts]] table to project.toml." />
            ) : (
              <Rows tree={tree} />
            )}
          </div>
        </KgFactor.Provider>
      )}
    </Page>
  );
}

/** The chart and the table: small interactions stand as one row until they are asked for. */
function Rows({ tree }: { tree: Budget }) {
  const [isOpen, setOpen] = useState(false);
  const others = tree.others ?? null;
  const rows = others && !isOpen ? gathered(tree.rows, others) : tree.rows;
  return (
    <>
      <figure>
        <figcaption>
          <b>Downforce by part</b>
          <span class="key front">front axle</span>
          <span class="key rear">rear axle</span>
        </figcaption>
        <Waterfall rows={rows} />
      </figure>
      {others && (
        <p class="others">
          <button type="button" class="do quiet" aria-expanded={isOpen} onClick={() => setOpen(!isOpen)}>
            {isOpen ? "Put small interactions together" : `Open ${others.row.name}`}
          </button>{" "}
          <span class="faint">{tie(others.said)}</span>
        </p>
      )}
      <Table rows={rows} at={tree.at ?? tree.rows[0]?.total.at} />
    </>
  );
}

/** The rows with those of a group replaced by their sum, which stands last among interactions. */
export function gathered(rows: BudgetRow[], others: NonNullable<Budget["others"]>): BudgetRow[] {
  const kept = rows.filter((row) => row.kind !== "interaction" || !others.names.includes(row.name));
  const at = kept.findIndex((row) => row.kind !== "part" && row.kind !== "interaction");
  return at < 0 ? [...kept, others.row] : [...kept.slice(0, at), others.row, ...kept.slice(at)];
}

function Sum({ tree }: { tree: Budget }) {
  const total = tree.rows.find((row) => row.kind === "total");
  return (
    <dl class="sum">
      {total && (
        <div>
          <dt>Whole car</dt>
          <dd>
            <NumberText number={total.total} label="Whole car" big stack />
          </dd>
        </div>
      )}
      <div>
        <dt>On the front axle</dt>
        <dd>
          <NumberText number={tree.share} label="On the front axle" big stack />
        </dd>
      </div>
      {tree.measured && (
        <div>
          <dt>Measured</dt>
          <dd>
            <NumberText number={tree.measured} label="Measured" big stack />
          </dd>
        </div>
      )}
    </dl>
  );
}

const KINDS: Record<BudgetRow["kind"], string> = {
  part: "",
  interaction: "between parts",
  total: "sum",
  measured: "measured",
  run: "3-D flow, bias stated",
  difference: "sum less measured",
};

function Table({ rows, at }: { rows: BudgetRow[]; at: string | undefined }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Budget as a table">
      <table class="budget">
        <caption>{at ? `All at ${at}` : "Budget"}</caption>
        <thead>
          <tr>
            <th scope="col">Part</th>
            <th scope="col" class="front">
              Front
            </th>
            <th scope="col" class="rear">
              Rear
            </th>
            <th scope="col">Both</th>
            <th scope="col">Drag</th>
          </tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <tr key={row.name} class={row.kind}>
              <th scope="row">
                {row.name}
                {KINDS[row.kind] && KINDS[row.kind] !== row.name && <small>{KINDS[row.kind]}</small>}
                {row.note && <small>{row.note}</small>}
              </th>
              {(["front", "rear", "total", "drag"] as const).map((key) => (
                <td key={key}>
                  <NumberText number={row[key]} label={`${row.name} ${key}`} stack />
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}
