/** What every part of the page shares: where we are, how we are shown, what the server says. */

import { computed, effect, signal } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import type { Overview, Refusal, RunNews } from "./types";
import { Line, readJson } from "./wire";

export interface Place {
  page: string;
  query: Record<string, string>;
}

/** `#/claims?why=claim.C1` to a place. */
export function readPlace(hash: string): Place {
  const [path, query] = hash.replace(/^#\/?/, "").split("?");
  return {
    page: decodeURIComponent(path || "overview"),
    query: Object.fromEntries(new URLSearchParams(query ?? "")),
  };
}

/** A place to its address. */
export function writePlace(place: Place): string {
  const query = new URLSearchParams(Object.entries(place.query).filter(([, v]) => v !== ""));
  const text = query.toString();
  return `#/${encodeURIComponent(place.page)}${text ? `?${text}` : ""}`;
}

export const place = signal<Place>(readPlace(location.hash));
export const whyName = computed(() => place.value.query.why ?? "");
addEventListener("hashchange", () => (place.value = readPlace(location.hash)));

/** Change parts of the address; an empty string takes a part out. */
export function turn(query: Record<string, string>, replace = false): void {
  const next = writePlace({ page: place.value.page, query: { ...place.value.query, ...query } });
  if (next === location.hash) return;
  if (replace) {
    history.replaceState(null, "", next);
    place.value = readPlace(next);
  } else location.hash = next;
}

/** Ask why: the chain has an address of its own. */
export const askWhy = (name: string | undefined) => {
  if (name) turn({ why: name });
};

function kept<T extends string>(key: string, choices: readonly T[]) {
  const found = localStorage.getItem(key) as T | null;
  const made = signal<T>(found && choices.includes(found) ? found : choices[0]);
  effect(() => localStorage.setItem(key, made.value));
  return made;
}

export const theme = kept("tuftwork.theme", ["auto", "light", "dark"] as const);
export const unitWay = kept("tuftwork.units", ["area", "kilograms"] as const);
const systemDark = matchMedia("(prefers-color-scheme: dark)");
/** Bumped whenever colours change, so that canvases draw again. */
export const colours = signal(0);
effect(() => {
  const root = document.documentElement;
  root.style.colorScheme = theme.value === "auto" ? "light dark" : theme.value;
  colours.value = colours.peek() + 1;
});
systemDark.addEventListener("change", () => (colours.value += 1));

export const connected = signal<boolean | null>(null);
export const stale = signal(false);
export const runNews = signal<RunNews | null>(null);
/** Bumped when results changed: pages ask again. */
export const revision = signal(0);

export const line = new Line(
  `ws://${location.host}/socket`,
  (news) => {
    if (news.news === "inputs") {
      if (stale.value && !news.stale) revision.value += 1;
      stale.value = news.stale === true;
    } else if (news.news === "run") {
      const before = runNews.value;
      runNews.value = news as unknown as RunNews;
      if (before?.state === "running" && news.state !== "running") revision.value += 1;
    }
  },
  (open) => (connected.value = open),
);

export function startRun(): void {
  const run = `run-${Date.now().toString(36)}`;
  line.ask({ do: "run", run }).catch((why: Error & { refusal?: Refusal }) => {
    runNews.value = { news: "run", run, state: "failed", text: why.message, error: why.refusal };
  });
}

export const cancelRun = () => void line.ask({ do: "cancel" }).catch(() => undefined);

export interface Fetched<T> {
  data: T | null;
  error: Refusal | null;
  busy: boolean;
}

/** A page of the server; what was there stays until the new answer is in. */
export function useTree<T>(address: string): Fetched<T> {
  const [state, setState] = useState<Fetched<T>>({ data: null, error: null, busy: true });
  const shown = useRef("");
  const now = revision.value;
  useEffect(() => {
    if (!address) return;
    let left = false;
    const isOther = shown.current.split("?")[0] !== address.split("?")[0];
    setState((old) => (isOther ? { data: null, error: null, busy: true } : { ...old, busy: true }));
    askOnce<T>(address, now).then((next) => {
      if (left) return;
      shown.current = address;
      setState({ ...next, busy: false });
    });
    return () => {
      left = true;
    };
  }, [address, now]);
  return state;
}

type Answer<T> = { data: T | null; error: Refusal | null };
const underWay = new Map<string, Promise<Answer<unknown>>>();

/** Two parts of a page that need the same tree share one request. */
function askOnce<T>(address: string, now: number): Promise<Answer<T>> {
  const key = `${now} ${address}`;
  let flight = underWay.get(key);
  if (!flight) {
    flight = fetchTree(address).finally(() => underWay.delete(key));
    underWay.set(key, flight);
  }
  return flight as Promise<Answer<T>>;
}

async function fetchTree<T>(address: string): Promise<Answer<T>> {
  try {
    const answer = await fetch(address);
    if (answer.status === 401) return refused("refused", await answer.text());
    const tree = readJson(await answer.text());
    if (tree.error) return { data: null, error: tree.error as Refusal };
    return { data: tree as T, error: null };
  } catch {
    return refused("gone", `${address} did not answer. Start the program with \`tuftwork open\`.`);
  }
}

const refused = (kind: Refusal["kind"], text: string): Answer<never> => ({
  data: null,
  error: { kind, text, faults: [] },
});

/** Rail and title block, shared by every page. */
export const overview = signal<Overview | null>(null);
