/** What every part of the page shares: where we are, how we are shown, what the server says. */

import { computed, effect, signal } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import type { Overview, Refusal, RunNews } from "./types";
import { Line, type Message, readJson, Refused } from "./wire";

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
/** Whether the project can be read as it is now; where not, every page says why and shows nothing. */
export const readable = signal(true);
/** Whether the sheet shows an answer; a sheet that is refused or empty has no numbers to excuse. */
export const sheetShown = signal(false);
export const runNews = signal<RunNews | null>(null);
/**
 * Bumped when what the server would say has changed: pages ask again, and an answer that was asked
 * for before is dropped, however late it comes.
 */
export const revision = signal(0);
let inputs = "";

/** What the server tells by itself: of its inputs, and of the run under way. */
function hear(news: Record<string, unknown>): void {
  if (news.news === "inputs") {
    const before = inputs;
    inputs = String(news.digest ?? "");
    const turned = before !== "" && readable.value !== (news.readable !== false);
    readable.value = news.readable !== false;
    // changed by another page, by a command or by hand; or what was changed has been computed
    if ((before && before !== inputs) || turned || (stale.value && !news.stale)) revision.value += 1;
    stale.value = news.stale === true;
  } else if (news.news === "run") {
    const before = runNews.value;
    runNews.value = news as unknown as RunNews;
    // an end that this page has not heard of yet, be it of a run that it never saw going
    const isNew = before?.state === "running" || before?.run !== news.run;
    if (news.state !== "running" && isNew) revision.value += 1;
  }
}

export const line = new Line(`ws://${location.host}/socket`, hear, (open) => {
  // what was told while the line was cut has been missed
  if (open && connected.value === false) revision.value += 1;
  connected.value = open;
});

/** Ask for a deed, which changes the project or what runs for it: all that was read is read anew. */
export async function act(request: Record<string, unknown>): Promise<Message> {
  try {
    const answer = await line.ask(request);
    revision.value += 1;
    return answer;
  } catch (why) {
    // a refusal may come from a page that is behind; where nobody answers there is nothing to read
    if (why instanceof Refused && why.refusal.kind !== "gone") revision.value += 1;
    throw why;
  }
}

/** Start the study; false where it could not be, which is then told as news. */
export async function startRun(): Promise<boolean> {
  const run = `run-${Date.now().toString(36)}`;
  try {
    await line.ask({ do: "run", run });
    return true;
  } catch (why) {
    if (!(why instanceof Refused)) throw why;
    const going = runNews.value;
    // one that goes on is no less under way because a second was asked for
    if (going?.state !== "running")
      runNews.value = { news: "run", run, state: "failed", text: why.message, error: why.refusal };
    return false;
  }
}

export const cancelRun = () =>
  void line.ask({ do: "cancel", run: runNews.value?.run }).catch(() => undefined);

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
      // something was done meanwhile: this answer may be older than that, the next is on its way
      if (left || now !== revision.peek()) return;
      shown.current = address;
      setState((old) => {
        // what was read stays readable when the program has gone
        const isGone = next.error?.kind === "gone" && old.data !== null;
        return isGone ? { ...old, busy: false } : { ...next, busy: false };
      });
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
  let status: number;
  let text: string;
  try {
    const answer = await fetch(address);
    [status, text] = [answer.status, await answer.text()];
  } catch {
    return refused("gone", `${address} did not answer. Start the program with \`tuftwork open\`.`);
  }
  if (status === 401) return refused("refused", text);
  try {
    const tree = readJson(text);
    if (tree.error) return { data: null, error: tree.error as Refusal };
    return { data: tree as T, error: null };
  } catch {
    // it did answer: what stands here must not pass for what it says now
    return refused("defect", `${address} gave an answer that cannot be read (status ${status}). Load the page again.`);
  }
}

const refused = (kind: Refusal["kind"], text: string): Answer<never> => ({
  data: null,
  error: { kind, text, faults: [] },
});

/** Rail and title block, shared by every page. */
export const overview = signal<Overview | null>(null);
/** What the project's file alone tells of them, shown until the overview has been worked out. */
export const outline = signal<Overview | null>(null);
