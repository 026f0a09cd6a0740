/** Pages of a test day as the server sends them. */

import type { Grid, Num, Verdict } from "../types";

export interface Card {
  n: number;
  kind: string;
  title: string;
  size: string;
  evidence: string[];
  sure: number;
  taken: boolean;
  cure: string;
  changes: string;
  worth_points: number;
}

export interface BeforeAfter {
  speed_kmh: number;
  front_before: Num;
  front_after: Num;
  rear_before: Num;
  rear_after: Num;
  share_before: Num;
  share_after: Num;
}

interface OfDay {
  day: string;
  days: string[];
  refused?: string[];
}

export interface LogPage extends OfDay {
  mass_state: string;
  rows: number;
  span_s: [number, number];
  columns: { name: string; unit: string; role: string; is_guess: boolean }[];
  faults: Card[];
  knowing: Card[];
  left: number;
  cures: string[];
  before_after: BeforeAfter[];
  passes: { n: number; state: string; speed_kmh: number; way: string; start_s: number; end_s: number }[];
  traces: string[];
  how: string;
}

export interface ResultsPage extends OfDay {
  version: string;
  versions: string[];
  mass_state: string;
  rows: {
    state: string;
    speed_kmh: number;
    passes: number;
    both_ways: boolean;
    height_front: Num;
    height_rear: Num;
    front: Num;
    rear: Num;
    total: Num;
    share: Num;
  }[];
  differences: {
    state: string;
    against: string;
    speed_kmh: number;
    front: Num;
    rear: Num;
    total: Num;
    verdict: string;
  }[];
  budgets: {
    state: string;
    speed_kmh: number;
    lines: { name: string; front: string; rear: string; front_share: number; rear_share: number }[];
    combined_front: string;
    combined_rear: string;
  }[];
  coast: {
    drag: Num;
    runs: number;
    rolling: string;
    wind: string;
    grade: string;
    split: string;
    from: string;
  } | null;
  scatter: string[];
}

export interface Bias {
  front_mm: number[];
  rear_mm: number[];
  best: Grid;
  doubt: Grid;
  origin: string[][];
  measured_share: number;
  size: number;
}

export interface AgreementPage extends OfDay {
  rows: {
    state: string;
    speed_kmh: number;
    front_measured: Num;
    front_predicted: Num;
    front_verdict: Verdict;
    rear_measured: Num;
    rear_predicted: Num;
    rear_verdict: Verdict;
  }[];
  path: {
    speed_kmh: number;
    front_mm: number;
    rear_mm: number;
    front: Num;
    rear: Num;
    front_origin: "measured" | "computed";
    rear_origin: "measured" | "computed";
  }[];
  next?: { text: string } | null;
  bias?: { front: Bias; rear: Bias };
}

export interface PlanPage {
  question: string;
  rule: string;
  states: string[];
  see_points: number;
  noise_points: number;
  needed_exactly: number;
  pairs: number;
  is_enough: boolean;
  answer: string;
  used: string;
  left: string;
  powers: { pairs: number; sees_points: number; chance_percent: number; takes: string; fits: boolean }[];
  lines: {
    n: number;
    start: string;
    kind: string;
    state: string;
    block: string;
    speed_kmh: number | null;
    what: string;
  }[];
  stops: string[];
  safety: string[];
}
