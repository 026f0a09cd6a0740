/** The page of the car as the server sends it; its side of this is app/contract_car.py. */

import type { Num } from "../types";

export interface TogetherRow {
  name: string;
  front: Num;
  rear: Num;
  total: Num;
  drag: Num;
  note?: string;
}

export interface LoadRow {
  speed_kmh: number;
  total: Num;
  share: Num;
  drag: Num;
  height_front?: Num;
  height_rear?: Num;
}

export interface CarState {
  name: string;
  role: string;
  note: string;
  rows: LoadRow[];
}

export interface Device {
  name: string;
  positions: string[];
  failures: string[];
  travel_s: number;
  note: string;
  schedules: { name: string; note: string; rows: Record<string, string | number>[] }[];
  stuck: {
    state: string;
    wanted: string;
    kind: string;
    total: Num;
    share: Num;
    drag: Num;
    feels: string;
  }[];
}

export interface Cliff {
  axle: "front" | "rear";
  pedal: string;
  height: Num | null;
  g: Num | null;
  beyond: number | null;
  text: string;
}

export interface Corner {
  lateral: Num;
  from: string;
  refused: string;
  numbers: { name: string; words: string; number: Num }[];
}

export interface Platform {
  index: Num;
  corner: Corner;
  per_mm: { axle: "front" | "rear"; total: Num; share: Num }[];
  cliffs: Cliff[];
  divergence: { margin: Num; speed: Num | null; text: string };
  bounce: {
    share: number;
    damping: Num;
    frequency: Num;
    onset: Num | null;
    at: Num | null;
    text: string;
  };
  curve: {
    speed_kmh: number[];
    damping: (Num | null)[];
    frequency: (Num | null)[];
    front: (Num | null)[];
    rear: (Num | null)[];
    margin: (Num | null)[];
  };
  assumed: string[];
  caution: string;
}

export interface Lever {
  name: string;
  step: string;
  total: Num;
  held: Num | null;
  drag: Num;
  share: Num;
  rank: [number, number, number];
}

export interface SurveyMade {
  file: string;
  cells: number;
  draws: number;
  ran: number;
  kept: number;
  took_s: number;
  held?: string;
  slices: {
    state: string;
    slice: string;
    run: number;
    between: number;
    error: string;
    covered: string;
    next: string;
  }[];
}

export interface CarTree {
  state: string;
  states: string[];
  speed: Num;
  speeds: number[];
  at: string;
  kg_per_m2: number;
  static: { front_mm: number; rear_mm: number };
  together: {
    isolated: TogetherRow;
    between: TogetherRow;
    system: TogetherRow;
    pairs: TogetherRow[];
  } | null;
  rows: CarState[];
  devices: Device[];
  platform: Platform | null;
  levers: Lever[];
  surveys: SurveyMade[];
  partial?: string[];
  notices?: string[];
}
