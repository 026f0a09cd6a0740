/** Start: one page at a time inside the frame. */

import { render } from "preact";
import { useEffect } from "preact/hooks";
import { Frame } from "./frame";
import { BrakesSheet } from "./pages/brakes";
import { CarSheet } from "./pages/car";
import { ClaimsSheet } from "./pages/claims";
import { ComponentsSheet } from "./pages/components";
import { CoolingSheet } from "./pages/cooling";
import { EvidenceSheet } from "./pages/evidence";
import { FloorSheet } from "./pages/floor";
import { FlowSheet } from "./pages/flow";
import { LapSheet } from "./pages/lap";
import { LogSheet } from "./pages/log";
import { OverviewSheet } from "./pages/overview";
import { PicturesSheet } from "./pages/pictures";
import { PlainSheet } from "./pages/plain";
import { RunsSheet } from "./pages/runs";
import { SectionsSheet } from "./pages/sections";
import { AgreementSheet, PlanSheet, ResultsSheet } from "./pages/trial";
import { TrimSheet } from "./pages/trim";
import { line, outline, overview, place, useTree } from "./store";
import "./style.css";
import type { Overview } from "./types";

const SHEETS: Record<string, () => preact.JSX.Element> = {
  overview: OverviewSheet,
  claims: ClaimsSheet,
  car: CarSheet,
  budget: CarSheet,
  map: CarSheet,
  pictures: PicturesSheet,
  sections: SectionsSheet,
  floor: FloorSheet,
  states: CarSheet,
  flow: FlowSheet,
  lap: LapSheet,
  trim: TrimSheet,
  cooling: CoolingSheet,
  brakes: BrakesSheet,
  evidence: EvidenceSheet,
  plan: PlanSheet,
  log: LogSheet,
  results: ResultsSheet,
  agreement: AgreementSheet,
  runs: RunsSheet,
  components: ComponentsSheet,
};

function App() {
  const first = useTree<Overview>(overview.value ? "" : "/overview.json?only=rail");
  const { data, error } = useTree<Overview>("/overview.json");
  useEffect(() => {
    if (data) overview.value = data;
    else if (first.data) outline.value = first.data;
  }, [data, first.data]);
  const Sheet = SHEETS[place.value.page] ?? PlainSheet;
  return (
    <Frame waits={!data && !error && !first.error}>
      <Sheet key={place.value.page} />
    </Frame>
  );
}

line.open();
render(<App />, document.getElementById("app")!);
