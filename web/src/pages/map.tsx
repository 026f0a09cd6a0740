/** The map: loads over ride heights, and the platform's way through it, live under a slider. */

import { useSignal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { useHandles, useLive } from "../live";
import { inKilograms, write } from "../number";
import { line, place, turn, unitWay } from "../store";
import type { MapPage, MapPoint, Num } from "../types";
import { Choice, Slider } from "../widgets/control";
import { FanChart } from "../widgets/fan";
import { Tuft } from "../widgets/mark";
import { KgFactor, NumberText } from "../widgets/num";
import { RefusedNote } from "../widgets/state";
import { FIELDS, type FieldName, MapField, type Live } from "./map-field";
import { Page } from "./page";

export function MapSheet() {
  const state = place.value.query.state ?? "";
  return (
    <Page<MapPage>
      title="Aero map"
      lead="Loads over ride heights. The loads move the ride heights and the ride heights move the loads; the path shows where the car ends up."
      address={`/map.json${state ? `?state=${encodeURIComponent(state)}` : ""}`}
    >
      {(tree) => <MapView key={tree.state ?? ""} page={tree} />}
    </Page>
  );
}

interface Ask {
  speed: number;
  front_mm: number;
  rear_mm: number;
}

function MapView({ page }: { page: MapPage }) {
  const tenth = (mm: number) => Number(mm.toFixed(1));
  const sheet = { front_mm: tenth(page.static.front_mm), rear_mm: tenth(page.static.rear_mm) };
  const { now: ask } = useHandles<Ask>({ speed: Number(place.peek().query.speed) || 220, ...sheet });
  const field = useSignal<FieldName>("total");
  const state = page.state ?? page.states[0];
  const since = useRef(performance.now());
  const { live, refusal } = useLive<Ask, Live>(ask, async (wanted) => {
    const from = since.current;
    const { header, arrays } = await line.ask({ do: "path_at", state, ...wanted });
    return { ...(header as unknown as Live), arrays, ask: wanted, since: from };
  });
  const write = useRef(0);
  const move = (change: Partial<Ask>) => {
    since.current = performance.now();
    ask.value = { ...ask.value, ...change };
    clearTimeout(write.current);
    // The address follows when the hand rests: browsers refuse hundreds of changes a minute.
    write.current = window.setTimeout(() => turn({ speed: String(ask.value.speed) }, true), 500);
  };
  useEffect(() => () => clearTimeout(write.current), []);
  const now = ask.value;
  const isMoved = now.front_mm !== sheet.front_mm || now.rear_mm !== sheet.rear_mm;
  const shown = FIELDS.filter((f) => page.fields[f.key]);
  return (
    <KgFactor.Provider value={live.value?.kg_per_m2}>
      <div class="controls">
        <div class="sliders">
        <Slider label="Speed" value={now.speed} low={80} high={260} step={1} unit="km/h"
          onMove={(speed) => move({ speed })} />
        <Slider label="Static front" value={now.front_mm} low={30} high={100} step={0.5} unit="mm"
          onMove={(front_mm) => move({ front_mm })} />
        <Slider label="Static rear" value={now.rear_mm} low={30} high={120} step={0.5} unit="mm"
          onMove={(rear_mm) => move({ rear_mm })} />
        </div>
        {isMoved && (
          <button type="button" class="do quiet" onClick={() => move(sheet)}>
            Back to {sheet.front_mm} / {sheet.rear_mm}&nbsp;mm
          </button>
        )}
        {page.states.length > 1 && (
          <Choice label="State" value={place.value.query.state || (page.state ?? page.states[0])}
            options={page.states.map((s) => [s, s] as const)}
            onPick={(s) => turn({ state: s }, true)} />
        )}
        <Choice label="Shown" value={field.value} options={shown.map((f) => [f.key, f.short] as const)}
          onPick={(key) => (field.value = key)} />
      </div>
      {refusal.value && <RefusedNote refusal={refusal.value} />}
      <div class="mapsplit">
        <MapField page={page} field={field.value} live={live.value} />
        <LiveNumbers live={live.value} page={page} isRefused={refusal.value !== null} />
      </div>
      <Curves page={page} speed={now.speed} isMoved={isMoved} />
      <PathTable path={page.path} />
      <Equilibria page={page} />
    </KgFactor.Provider>
  );
}

const LIVE: [keyof Live["numbers"], string, string][] = [
  ["total", "Downforce", ""],
  ["front", "front axle", "front"],
  ["rear", "rear axle", "rear"],
  ["share", "on the front axle", ""],
  ["drag", "Drag", ""],
  ["front_mm", "hf, front ride height", "front"],
  ["rear_mm", "hr, rear ride height", "rear"],
];

function LiveNumbers({ live, page, isRefused }: { live: Live | null; page: MapPage; isRefused: boolean }) {
  return (
    <div class={`livenumbers${isRefused ? " waiting" : ""}`}>
      <p class="at">{live ? `At ${live.at}` : "Waiting for the platform"}</p>
      {live && (
        <dl class="pairs">
          {LIVE.filter(([key]) => live.numbers[key]).map(([key, label, tone]) => (
            <div key={key} class={tone}>
              <dt>{label}</dt>
              <dd>
                <NumberText number={live.numbers[key]!} label={label} />
              </dd>
            </div>
          ))}
        </dl>
      )}
      {page.cliff && (
        <div class="cliff">
          <p>
            <Tuft label="Wants attention now" /> {page.cliff.text}
          </p>
          {live?.numbers.cliff_mm && (
            <p>
              Height above it: <NumberText number={live.numbers.cliff_mm} label="height above the edge" />
            </p>
          )}
        </div>
      )}
    </div>
  );
}

function Curves({ page, speed, isMoved }: { page: MapPage; speed: number; isMoved: boolean }) {
  const kilograms = unitWay.value === "kilograms";
  const of = (key: "front" | "rear" | "share"): (Num | undefined)[] =>
    page.path.map((p) => (p[key] && kilograms && inKilograms(p[key], undefined)) || p[key]);
  const x = page.path.map((p) => p.speed_kmh);
  if (x.length < 2 || !page.path.some((p) => p.front)) return null;
  const unit = of("front")[0]?.unit ?? "m²";
  return (
    <section class="curves" aria-label="Along the path">
      {isMoved && (
        <p class="faint">The curves and the table are for the static ride heights on file.</p>
      )}
      <FanChart title="Load on each axle" x={x} xLabel="speed, km/h" unit={unit} cursor={speed}
        fans={[
          { label: "front axle", tone: "front", numbers: of("front") },
          { label: "rear axle", tone: "rear", numbers: of("rear") },
        ]} />
      <FanChart title="Share on the front axle" x={x} xLabel="speed, km/h" unit="%" cursor={speed}
        fans={[{ label: "front share", tone: "ink", numbers: of("share") }]} />
    </section>
  );
}

const COLUMNS = [
  ["front", "Front"],
  ["rear", "Rear"],
  ["total", "Both"],
  ["share", "Front share"],
  ["drag", "Drag"],
] as const;

function PathTable({ path }: { path: MapPoint[] }) {
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="The path as a table">
      <table>
        <caption>The path as a table</caption>
        <thead>
          <tr>
            <th scope="col">Speed, hf / hr</th>
            {COLUMNS.map(([key, label]) => (
              <th key={key} scope="col" class={key}>
                {label}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {path.map((point) => (
            <tr key={point.speed_kmh}>
              <th scope="row" class="nowrap">
                {point.speed_kmh}&nbsp;km/h
                <small>
                  {write(point.front_mm, 1)} / {write(point.rear_mm, 1)}&nbsp;mm
                </small>
              </th>
              {COLUMNS.map(([key, label]) => (
                <td key={key}>
                  {point[key] && (
                    <NumberText number={point[key]} label={`${label} at ${point.speed_kmh} km/h`} stack />
                  )}
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

function Equilibria({ page }: { page: MapPage }) {
  const unstable = page.equilibria.filter((e) => !e.stable);
  if (unstable.length === 0) return null;
  const speeds = [...new Set(unstable.map((e) => e.speed_kmh))];
  return (
    <div class="note">
      <p>
        <b>More than one ride height balances</b> at {speeds.join(", ")}&nbsp;km/h. Open squares on
        the map mark those the car does not stay at:
      </p>
      <ul>
        {unstable.map((e, k) => (
          <li key={k}>
            hf {write(e.front_mm, 1)}&nbsp;mm, hr {write(e.rear_mm, 1)}&nbsp;mm at {e.speed_kmh}
            &nbsp;km/h
          </li>
        ))}
      </ul>
    </div>
  );
}
