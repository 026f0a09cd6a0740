/** The sheet's frame: rail, sheet, margin, and the title block in the corner. */

import type { ComponentChildren } from "preact";
import { useEffect } from "preact/hooks";
import { Margin } from "./margin";
import { connected, outline, overview, place, runNews, sheetShown, stale, theme, unitWay } from "./store";
import type { RailEntry } from "./types";
import { Choice } from "./widgets/control";
import { Legend, OriginMark } from "./widgets/mark";
import { RunBar, StaleNote } from "./widgets/state";

/** Shown only until the server's own list is in, or when it cannot be had. */
const FIRST_RAIL: RailEntry[] = [
  { page: "overview", title: "Overview", support: "none" },
  { page: "runs", title: "Runs", support: "none" },
];

const SUPPORT_WORDS: Record<string, string> = {
  measured: "stands on measurements",
  computed: "stands on computation",
  claimed: "stands on claims",
  assumed: "stands on assumptions",
  none: "nothing to stand on yet",
};

interface FrameProps {
  /** Whether the overview is still on its way. */
  waits: boolean;
  children: ComponentChildren;
}

export function Frame({ waits, children }: FrameProps) {
  const rail = (overview.value ?? outline.value)?.rail ?? FIRST_RAIL;
  const here = place.value.page;
  const title = rail.find((entry) => entry.page === homeOf(rail, here))?.title ?? here;
  useEffect(() => {
    const name = (overview.value ?? outline.value)?.project.title;
    document.title = name ? `${title} · ${name.slice(0, 60)}` : title;
  });
  return (
    <div class="drawing">
      <a class="skip" href="#sheet" onClick={skip}>
        To the sheet
      </a>
      <Rail rail={rail} here={here} waits={waits && overview.value === null} />
      <main class="sheet" id="sheet" tabIndex={-1} aria-label={title}>
        {connected.value === false && (
          <p class="note refused" role="alert">
            <b>No answer from the program.</b> What stands here was computed before it stopped.
            Start it again with <code>tuftwork open</code>.
          </p>
        )}
        <StaleNote show={stale.value && sheetShown.value && restsOnResults(rail, here)} />
        {runNews.value?.state === "running" && <RunBar news={runNews.value} />}
        {children}
        <footer>
          <Legend />
        </footer>
      </main>
      <Margin />
      <TitleBlock rail={rail} here={here} />
    </div>
  );
}

/** Sheets that are parts of another one, where the rail has no line for them. */
const HOMES: Record<string, string> = { budget: "car", map: "car", states: "car" };

function homeOf(rail: RailEntry[], here: string): string {
  return rail.some((entry) => entry.page === here) ? here : (HOMES[here] ?? here);
}

/** Whether a sheet shows what a study computed; the register and the run log are always of now. */
function restsOnResults(rail: RailEntry[], here: string): boolean {
  return rail.find((entry) => entry.page === homeOf(rail, here))?.results !== false;
}

function skip(event: Event): void {
  event.preventDefault();
  document.getElementById("sheet")?.focus();
}

/** How many sheets a rail usually has, for the moment before anything is known. */
const USUAL = 14;

function Rail({ rail, here, waits }: { rail: RailEntry[]; here: string; waits: boolean }) {
  return (
    <nav class="rail" aria-label="Sheets" aria-busy={waits}>
      <p class="name">
        <svg viewBox="0 0 40 20" width="40" height="20" aria-hidden="true">
          <rect x="2" y="6.5" width="7" height="7" fill="currentColor" />
          <path class="wool" d="M9 10c8-6 14 4 20-1 3-2.500 6-1.500 9-3M9 10c7 0 12-4 18 0s8 1 11 2" />
        </svg>
        tuftwork
      </p>
      <ol>
        {rail.map((entry, index) => (
          <li key={entry.page}>
            <a
              href={`#/${entry.page}`}
              aria-current={entry.page === homeOf(rail, here) ? "page" : undefined}
              title={waits ? undefined : SUPPORT_WORDS[entry.support]}
            >
              <span class="no">{index + 1}</span>
              <span class="title">{entry.title}</span>
              {waits ? <Unread /> : <OriginMark origin={entry.support} />}
              <span class="unseen">{waits ? "not read yet" : SUPPORT_WORDS[entry.support]}</span>
              {entry.note && <span class="memo">{entry.note}</span>}
            </a>
          </li>
        ))}
        {waits &&
          rail === FIRST_RAIL &&
          Array.from({ length: USUAL - rail.length }, (_, k) => (
            <li key={`unread ${k}`} class="unread" aria-hidden="true">
              <span style={{ width: `${52 + ((k * 29) % 40)}%` }} />
            </li>
          ))}
      </ol>
      <div class="ways">
        <Choice
          label="Downforce as"
          value={unitWay.value}
          options={[
            ["area", "m²"],
            ["kilograms", "kg at km/h"],
          ]}
          onPick={(way) => (unitWay.value = way)}
        />
        <Choice
          label="Paper"
          value={theme.value}
          options={[
            ["auto", "auto"],
            ["light", "light"],
            ["dark", "dark"],
          ]}
          onPick={(way) => (theme.value = way)}
        />
      </div>
    </nav>
  );
}

/** Where a mark will stand once it is known how well a sheet is supported. */
function Unread() {
  return (
    <svg class="mark unread" viewBox="0 0 12 12" width="12" height="12" aria-hidden="true">
      <circle cx="6" cy="6" r="1.5" fill="currentColor" />
    </svg>
  );
}

function TitleBlock({ rail, here }: { rail: RailEntry[]; here: string }) {
  const tree = overview.value ?? outline.value;
  const project = tree?.project ?? {};
  const mass = tree?.state["mass state"];
  const index = rail.findIndex((entry) => entry.page === homeOf(rail, here));
  const cells: [string, string][] = [
    ["Project", [project.title, project.client].filter(Boolean).join(", ")],
    ["Car", project.car ?? ""],
    ["Mass state", typeof mass === "string" ? mass : ""],
    ["Inputs", tree?.digest?.slice(0, 8) ?? ""],
    ["Version", tree?.version ?? ""],
    ["Day", project.day ?? ""],
    ["Sheet", index < 0 || rail === FIRST_RAIL ? "" : `${index + 1} of ${rail.length}`],
  ];
  return (
    <section class="block" aria-label="Title block">
      <dl class="titleblock">
      {cells
        .filter(([, value]) => value)
        .map(([label, value]) => (
          <div key={label} class={`cell-${label.toLowerCase().replace(" ", "-")}`}>
            <dt>{label}</dt>
            <dd title={value}>{value}</dd>
          </div>
        ))}
      </dl>
    </section>
  );
}
