/** The pages as the server sends them; the server's side of this is app/contract.py. */

export type Origin = "measured" | "published" | "digitised" | "claimed" | "computed" | "assumed";
export type Support = "measured" | "computed" | "claimed" | "assumed" | "none";
export type Verdict =
  | "consistent"
  | "needs an assumption"
  | "contradicts"
  | "unknown"
  | "below noise";

export interface Num {
  text: string;
  best: number | null;
  low: number | null;
  high: number | null;
  low_half?: number | null;
  high_half?: number | null;
  unit: string;
  origin: Origin;
  at?: string;
  why?: string;
  kg_per_m2?: number;
  noise?: number;
  label?: string;
}

export interface RailEntry {
  page: string;
  title: string;
  support: Support;
  note?: string;
  /** Whether it shows results of a study, which may be of older inputs. */
  results?: boolean;
}

export interface Finding {
  rank: number;
  title: string;
  text: string;
  numbers: Num[];
  verdict: Verdict;
  value?: Num | null;
  test?: string;
  page?: string;
  why?: string;
}

export interface Overview {
  project: Record<string, string>;
  answer: string;
  findings: Finding[];
  state: Record<string, Num | string>;
  rail: RailEntry[];
  stale: boolean;
  digest?: string;
  version?: string;
  partial?: string[];
}

export interface Labelled {
  label: string;
  number: Num;
  ok?: boolean;
}

export interface Slip {
  label: string;
  odds: number;
  reading: string;
  number: Num | null;
}

export interface Claim {
  id: string;
  said: string;
  by: string;
  verdict: Verdict;
  because: string;
  equation: string;
  working: string[];
  implied: Labelled[];
  bounds: Labelled[];
  slips: Slip[];
  ask: string;
  why?: string;
}

export interface Claims {
  claims: Claim[];
  together: { verdict: Verdict; conflicts: string[][]; text: string };
  unknowns: { name: string; label: string; number: Num; prior: Num }[];
  partial?: string[];
}

export interface BudgetRow {
  name: string;
  kind: "part" | "interaction" | "total" | "measured" | "run" | "difference";
  front: Num;
  rear: Num;
  total: Num;
  drag: Num;
  note?: string;
}

export interface Budget {
  speed: Num;
  state: string;
  states: string[];
  speeds: number[];
  rows: BudgetRow[];
  /** Interactions too small to read one by one: their sum, and which of the rows they are. */
  others?: { row: BudgetRow; names: string[]; said: string } | null;
  share: Num;
  measured?: Num | null;
  at?: string;
  kg_per_m2?: number;
  partial?: string[];
}

export interface MapPoint {
  speed_kmh: number;
  front_mm: number;
  rear_mm: number;
  front?: Num;
  rear?: Num;
  total?: Num;
  drag?: Num;
  share?: Num;
}

export type Grid = (number | null)[][];

export interface MapPage {
  state?: string;
  states: string[];
  axes: { front_mm: number[]; rear_mm: number[] };
  fields: Record<string, Grid>;
  path: MapPoint[];
  cliff?: { front_mm: number[]; rear_mm: number[]; text: string } | null;
  static: { front_mm: number; rear_mm: number };
  equilibria: { speed_kmh: number; front_mm: number; rear_mm: number; stable: boolean }[];
  why_cell?: string;
  partial?: string[];
}

export interface Item {
  id: string;
  title: string;
  kind: string;
  file: string;
  digest: string;
  source?: string;
  day: string;
  state: "registered" | "not registered" | "changed" | "missing" | "not a file";
  /** A word, or a word with a chain to open. */
  used_by: (string | { name: string; why: string })[];
  note: string;
}

export interface RunEntry {
  id: string;
  when: string;
  took_s: number | null;
  what: string;
  digest: string;
  version: string;
  host: string;
  steps: { name: string; cached: boolean; took_s: number }[];
  state: "done" | "cancelled" | "failed" | "running";
  progress?: number | null;
  left_s?: number | null;
  text?: string;
}

export interface Chain {
  id: string;
  title: string;
  number: Num;
  steps: { what: string; origin: Origin; source: string; place: string; number: Num | null }[];
  dominates: { name: string; label: string; hint?: string; share: number; halved: number }[];
  decision: string;
  notices: string[];
}

export interface Fault {
  what: string;
  file: string;
  line: number | null;
  key: string;
  found: string;
  expected: string;
  cure: string;
}

export interface Refusal {
  kind: "refused" | "empty" | "unknown name" | "not converged" | "cancelled" | "defect" | "gone";
  text: string;
  faults: Fault[];
}

export interface RunNews {
  news: "run";
  run: string;
  state: RunEntry["state"];
  progress?: number;
  step?: string;
  left_s?: number | null;
  text?: string;
  error?: Refusal;
}

/** One reading of the pictures page. */
export interface ReadingRow {
  id: string;
  name: string;
  kind: string;
  picture: string;
  marks: string[];
  less: string[];
  fills: string;
  number: Num | null;
  shares: { name: string; share: number }[];
  /** What is wrong where the key it fills says something else. */
  differs?: string;
  fault: string;
}

/** An outline traced end-on; without numbers there is a fault. */
export interface TracedRow {
  mark: string;
  numbers: { label: string; number: Num }[];
  turned?: boolean;
  miss?: number;
  corners?: number;
  points?: [number, number][];
  csv?: string;
  file?: string;
  fault: string;
}

export interface StockFeature {
  id: string;
  name: string;
  kind: string;
  known: "seen" | "inferred" | "guessed";
  role: string;
  zone: string;
  picture: string;
  mark: string;
  numbers: { label: string; number: Num }[];
  confidence: Num | null;
  rivals: { reading: string; weight: number; decider: string }[];
  pressure?: string;
  checks?: string[];
}

export interface PicturesPage {
  /** Title of the project: marks that are not saved yet are kept under it. */
  project: string;
  pictures: { id: string; title: string; marks: number; fault: string; weak: boolean }[];
  picture: {
    id: string;
    title: string;
    tile: number;
    width?: number;
    height?: number;
    click: number;
    marks: Record<string, [number, number][]>;
    on: Record<string, string>;
    fault: string;
    notices: string[];
    camera: {
      focal_35mm: Num;
      distortion: number;
      place: number[];
      miss_pixel: number | null;
      strength: number;
    } | null;
  };
  readings: ReadingRow[];
  points: string[];
  planes: string[];
  sections: TracedRow[];
  wings: string[];
  features: {
    list: StockFeature[];
    loose: { name: string; lacks: string; text: string }[];
    paths: { name: string; inlets: string[]; exits: string[]; text: string }[];
    mending: {
      text: string;
      mend: number;
      leave: number;
      rows: { name: string; kind: string; zone: string; count: number; mend: number; points: number }[];
    } | null;
    ask: { feature: string; name: string; ask: string; text: string; doubt_bits: number; points: number | null }[];
  };
}
