/** The car as one system: budget, parts together, states, map, platform, leverage. */

import type { ComponentChildren } from "preact";
import { tie } from "../number";
import { place } from "../store";
import type { Num } from "../types";
import { KgFactor, NumberText, RangeBar, spanOf } from "../widgets/num";
import { Empty } from "../widgets/state";
import { asked, Ways } from "../widgets/ways";
import { BudgetSheet } from "./budget";
import "./car.css";
import { PlatformView } from "./car-platform";
import { StatesView } from "./car-states";
import { SurveyView } from "./car-survey";
import type { CarTree, Lever, TogetherRow } from "./car-types";
import { MapSheet } from "./map";
import { Page } from "./page";
import { StatesSheet } from "./states";

const TABS = [
  ["budget", "Budget"],
  ["together", "Parts together"],
  ["states", "States"],
  ["map", "Map"],
  ["platform", "Platform"],
  ["leverage", "Leverage"],
] as const;
type Tab = (typeof TABS)[number][0];

/** Which part of the page an address opens: `#/map` is the map, `#/car?tab=platform` the platform. */
function tabNow(): Tab {
  const { page, query } = place.value;
  const wanted = page === "car" ? (query.tab ?? "budget") : page;
  return TABS.find(([key]) => key === wanted)?.[0] ?? "budget";
}

function hrefOf(tab: Tab): string {
  const { speed = "", state = "" } = place.value.query;
  const query = new URLSearchParams(Object.entries({ tab, speed, state }).filter(([, v]) => v));
  return `#/car?${query.toString()}`;
}

export function CarSheet() {
  const now = tabNow();
  return (
    <>
      <nav class="tabs" aria-label="Parts of this sheet">
        <ul>
          {TABS.map(([key, title]) => (
            <li key={key}>
              <a href={hrefOf(key)} aria-current={key === now ? "true" : undefined}>
                {title}
              </a>
            </li>
          ))}
        </ul>
      </nav>
      {now === "budget" && <BudgetSheet />}
      {now === "map" && (
        <>
          <MapSheet />
          <Part>{(tree) => <SurveyView surveys={tree.surveys} />}</Part>
        </>
      )}
      {now === "states" && (
        <>
          <StatesSheet />
          <Part>{(tree) => <StatesView tree={tree} />}</Part>
        </>
      )}
      {now === "together" && (
        <Part
          title="Parts together"
          lead="Every part as if it stood alone, what parts do to each other, and the system they make. Differences are taken draw by draw."
        >
          {(tree) => <TogetherView tree={tree} />}
        </Part>
      )}
      {now === "platform" && (
        <Part
          title="Platform"
          lead="How sensitive the car is to its ride heights, how far the cliff is in mm and under the pedals, and whether it holds still."
        >
          {(tree) => <PlatformView key={`${tree.state} ${tree.speed.best}`} tree={tree} />}
        </Part>
      )}
      {now === "leverage" && (
        <Part
          title="Leverage"
          lead="What one workshop step of each device and height is worth once the platform has settled, the strongest first."
        >
          {(tree) => <LeverageView tree={tree} />}
        </Part>
      )}
    </>
  );
}

function Part({
  title,
  lead,
  children,
}: {
  title?: string;
  lead?: string;
  children: (tree: CarTree) => ComponentChildren;
}) {
  return (
    <Page<CarTree>
      title={title ?? "Car"}
      bare={title === undefined}
      lead={lead}
      address={`/car.json${asked()}`}
    >
      {(tree, busy) => (
        <KgFactor.Provider value={tree.kg_per_m2}>
          {title !== undefined && <Ways tree={tree} />}
          <div class={busy ? "body waiting" : "body"}>{children(tree)}</div>
        </KgFactor.Provider>
      )}
    </Page>
  );
}

function TogetherView({ tree }: { tree: CarTree }) {
  const all = tree.together;
  if (!all) return <Empty text="No parts yet. Add [[parts]] tables to project.toml." />;
  const sums: [string, TogetherRow][] = [
    ["Parts alone", all.isolated],
    ["Between parts", all.between],
    ["The system", all.system],
  ];
  const [low, high] = spanOf(sums.map(([, row]) => row.total), true);
  return (
    <>
      <div class="sums" role="group" aria-label="Sum of isolated parts beside the system">
        {sums.map(([label, row]) => (
          <div key={label} class={row === all.system ? "sumrow whole" : "sumrow"}>
            <span class="when">{label}</span>
            <RangeBar number={row.total} low={low} high={high} label={label} tone={row === all.between ? "faint" : "whole"} />
            <NumberText number={row.total} label={label} />
          </div>
        ))}
      </div>
      <p class="faint">CzS at {tree.at}. One scale for all three; the upright line is zero.</p>
      {all.pairs.length === 0 ? (
        <Empty text="These parts do nothing to each other that the engines know." />
      ) : (
        <div class="scroll" tabIndex={0} role="region" aria-label="What parts do to each other">
          <table class="pairstable">
            <caption>What parts do to each other, the largest first</caption>
            <thead>
              <tr>
                <th scope="col">From, to</th>
                <th scope="col" class="front">Front</th>
                <th scope="col" class="rear">Rear</th>
                <th scope="col">Both</th>
                <th scope="col">Drag</th>
              </tr>
            </thead>
            <tbody>
              {all.pairs.map((row) => (
                <tr key={row.name}>
                  <th scope="row">
                    {row.name}
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
      )}
    </>
  );
}

function LeverageView({ tree }: { tree: CarTree }) {
  if (tree.levers.length === 0)
    return <Empty text="Leverage needs springs and tyres: fill in [car.front] and [car.rear]." />;
  const points = (n: Num): Num => n;
  const [low, high] = spanOf(tree.levers.map((row) => points(row.total)), true);
  return (
    <>
      <p class="faint">At {tree.at}. The bars share one scale; the rank is the range over the draws.</p>
      <div class="scroll" tabIndex={0} role="region" aria-label="Leverage as a table">
        <table class="levers">
          <thead>
            <tr>
              <th scope="col">What, one step</th>
              <th scope="col" class="wide">CzS gained</th>
              <th scope="col">Heights held</th>
              <th scope="col">Drag</th>
              <th scope="col">Front share</th>
              <th scope="col">Rank</th>
            </tr>
          </thead>
          <tbody>
            {tree.levers.map((row) => (
              <LeverLine key={row.name} row={row} low={low} high={high} />
            ))}
          </tbody>
        </table>
      </div>
    </>
  );
}

function LeverLine({ row, low, high }: { row: Lever; low: number; high: number }) {
  const [first, , last] = row.rank;
  return (
    <tr>
      <th scope="row">
        {row.name}
        <small>{tie(row.step)}</small>
      </th>
      <td class="wide">
        <RangeBar number={row.total} low={low} high={high} label={`${row.name}: CzS gained`} />
        <NumberText number={row.total} label={`${row.name}: CzS gained`} />
      </td>
      <td>
        {row.held ? <NumberText number={row.held} label={`${row.name}: heights held`} stack /> : <span class="faint">–</span>}
      </td>
      <td>
        <NumberText number={row.drag} label={`${row.name}: drag`} stack />
      </td>
      <td>
        <NumberText number={row.share} label={`${row.name}: front share`} stack />
      </td>
      <td class="nowrap">{first === last ? first : `${first} to ${last}`}</td>
    </tr>
  );
}
