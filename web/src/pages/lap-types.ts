/** The pages "Lap" and "Trim" as the server sends them. */

import type { Num } from "../types";

export interface Trace {
  station: number[];
  speed_kmh: number[];
  seconds: number[];
  ax: number[];
  ay: number[];
  front_mm: number[];
  rear_mm: number[];
  front_margin: number[];
  rear_margin: number[];
  limit: number[];
  limits: string[];
  time: number;
}

export interface CornerRow {
  name: string;
  class: string;
  apex: number;
  start: number;
  end: number;
  radius: Num;
  speed: Num;
  change: Num | null;
}

export interface StateLap {
  name: string;
  time: Num;
  top: Num;
  change: Num | null;
  verdict: string;
  chance?: number;
}

export interface Elsewhere {
  circuit: string;
  refused: string;
  quickest: string;
  cells: { state: string; change: Num; verdict: string; chance: number }[];
}

export interface DeviceLap {
  name: string;
  device: string;
  refused: string;
  time: Num;
  moves: number;
  travel: number;
  positions: string[];
  rows: { state: string; kind: "held" | "failed"; share?: number | null; refused: string; change?: Num; verdict?: string }[];
  trace: { station: number[]; speed_kmh: number[]; position: number[] };
  notices: string[];
}

interface Tied {
  before: Num;
  after: Num;
  moved: number;
  left_pct: number;
}

export interface GripPage {
  refused: string[];
  answer: string;
  says: string[];
  inputs: (Tied & { name: string; label: string })[];
  friction: (Tied & { axle: "front" | "rear"; load: string })[];
  rows: {
    id: string;
    kind: string;
    at: string;
    state: string;
    mass_state: string;
    gave_up: "front" | "rear" | "not said";
    evidence: string;
    radius: Num;
    measured: Num;
    before: Num;
    after: Num;
    miss: number;
  }[];
  notices: string[];
  lap: Num | null;
}

export interface LapPage {
  circuit: string;
  circuits: string[];
  state: string;
  against: string;
  states: string[];
  length: Num;
  noise: Num;
  driver: string;
  laps: StateLap[];
  elsewhere: Elsewhere[];
  plan: { station: number[]; x: number[]; y: number[] };
  traces: Record<string, Trace>;
  trace_of: string;
  corners: CornerRow[];
  value: { name: string; number: Num; verdict: string; to_show: number | null }[];
  exchange: Num;
  cliff: { share: number; text: string };
  occupancy: {
    edges_front: number[];
    edges_rear: number[];
    axis_front: number[];
    axis_rear: number[];
    seconds: number[][];
    speed_kmh: number[][];
    downforce_rear: number[][];
  };
  plane: { drag: number[]; downforce: number[]; change: number[][]; here: [number, number] };
  devices: DeviceLap[];
  line: string;
  energy: { engine: Num; brakes: Num; drag: Num; tyre_front: number; tyre_rear: number };
  grip: GripPage | null;
  outside: number;
  margins: { phase: string; band: string; seconds: number; front: number; rear: number; share: number; says: string }[];
  curve: { speed_kmh: number[]; front: number[]; rear: number[]; seconds: number[] };
  said: {
    remarks: { said: string; as: string }[];
    verdict: string;
    checks: { asked: string; answer: string }[];
    next_step: string;
    suspects: { suspect: string; odds: number; cause: string; test: string; source: string }[];
  } | null;
  next: { name: string; state: string; after: string[]; gain: Num; chance: number; cost: number; per_cost: number; confidence: string; verdict: string }[];
  caution: string;
}

export interface TrimRow {
  kind: string;
  name: string;
  values: Record<string, string>;
  front_mm: number;
  rear_mm: number;
  fast_mm: [number, number];
  lap: Num;
  top: Num;
  first: Num;
  second: Num;
  downforce: Num;
  share: Num;
  no_go: boolean;
  mind: string;
}

export interface TrimPage {
  circuit: string;
  baseline: string;
  mass_state: string;
  wanted: Num;
  band: Num;
  corners: [string, string];
  rows: TrimRow[];
  special: TrimRow[];
  left_out: { name: string; values: Record<string, string>; share: number; downforce: number; lap: number; front_mm: number; rear_mm: number; mind: string }[];
  first_step: string;
  no_go: string;
  blanking: { above: Num; step: string }[];
  noise: Num;
  live: {
    label: string;
    unit: string;
    low: number;
    high: number;
    now: { value: number; front_mm: number; rear_mm: number };
    heights_mm: { front: [number, number]; rear: [number, number] };
  };
  csv: string;
  draws: number;
  caution: string;
}
