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

export interface Column {
  name: string;
  unit: string;
  role: string;
  is_guess: boolean;
}

export interface Tunnel {
  name: string;
  refused?: string[];
  points: number;
  about: string;
  axes: string;
  correction: string;
  rows: {
    state: string;
    front_mm: number;
    rear_mm: number;
    count: number;
    front: Num;
    rear: Num;
    drag: Num;
    total: Num;
    gap_points: number | null;
  }[];
  methods: { method: string; ratio: number; drag: string; total: string }[];
  lines: { name: string; at: string; front: string; rear: string; drag: string; rear_share: number }[];
  sweeps: string[];
  scatter: string;
  notices: string[];
}

export interface Pressures {
  name: string;
  refused?: string[];
  rows: { tap: string; kind: string; at: string; state: string; count: number; value: Num; hypothesis: string }[];
  ducts: {
    duct: string;
    state: string;
    tubes: number;
    speed_kmh: number;
    unevenness: string;
    backward: number;
    flow: Num;
  }[];
}

export interface Notes {
  rows: {
    n: number;
    at: string;
    at_is: string;
    by: string;
    seen: string;
    state: string;
    speed: string;
    picture: string;
    hypothesis: string;
    bears: string;
    note: string;
  }[];
  hypotheses: {
    id: string;
    says: string;
    for: number[];
    against: number[];
    taps: string[];
    verdict: Verdict;
  }[];
}

export interface Laps {
  laps: number;
  refused?: string[];
  rows: {
    state: string;
    against: string;
    laps: number;
    stints: number;
    method: string;
    gain: Num;
    wear: string;
    verdict: string;
  }[];
}

export interface Sessions {
  tunnels: Tunnel[];
  pressures: Pressures[];
  notes: Notes;
  laps?: Laps | null;
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
  columns: Column[];
  roles: string[];
  guesses: number;
  is_said: boolean;
  faults: Card[];
  knowing: Card[];
  left: number;
  cures: string[];
  before_after: BeforeAfter[];
  passes: { n: number; state: string; speed_kmh: number; way: string; start_s: number; end_s: number }[];
  traces: string[];
  how: string;
}

export interface ResultsPage extends OfDay, Sessions {
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
  paired: {
    state: string;
    against: string;
    method: string;
    passes: number;
    drift: string;
    scatter: string;
    rows: { speed_kmh: number; gain: Num; verdict: string }[];
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
    standards: string[];
  } | null;
  scatter: string[];
}

export interface Bias {
  front_mm: number[];
  rear_mm: number[];
  best: Grid;
  doubt: Grid;
  origin: string[][];
  source: string[][];
  measured_share: number;
  tunnel_share: number;
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
    front_source: "track" | "tunnel" | "model";
    rear_source: "track" | "tunnel" | "model";
  }[];
  ranked: { name: string; verdict: Verdict; miss_points: number; worth_points: number; text: string }[];
  consistent: number;
  compared: number;
  tunnels: string[];
  next?: { text: string } | null;
  bias?: { front: Bias; rear: Bias };
}

export interface Matrix {
  candidates: number;
  measured: number;
  takes: string;
  answered_percent: number;
  marks: string[];
  lines: {
    n: number;
    start: string;
    state: string;
    front_mm: number;
    rear_mm: number;
    is_repeat: boolean;
    answered_percent: number;
  }[];
}

export interface PlanPage {
  matrix: Matrix | null;
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
