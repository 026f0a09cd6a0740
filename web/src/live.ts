/** Handles of a page, and what the server makes of them at once. */

import { effect, type ReadonlySignal, type Signal, untracked, useSignal } from "@preact/signals";
import { useEffect, useLayoutEffect, useMemo, useRef } from "preact/hooks";
import { followed, same } from "./follow";
import { connected, revision } from "./store";
import type { Refusal } from "./types";
import { latest, Refused } from "./wire";

interface Handles<T> {
  now: Signal<T>;
  /** Whether a hand has moved them from where the project has them. */
  isMoved: boolean;
  /** These are the project's now: a page read anew may bring them in the project's own words. */
  settle: (value: T) => void;
}

/** Handles as the project has them, until a hand moves them; a page read anew moves the others. */
export function useHandles<T extends object>(own: T): Handles<T> {
  const now = useSignal<T>(own);
  const was = useRef(own);
  useLayoutEffect(() => {
    if (!same(was.current, own)) now.value = followed(now.peek(), was.current, own);
    was.current = own;
  }, [JSON.stringify(own)]);
  return { now, isMoved: !same(now.value, own), settle: (value) => (was.current = value) };
}

interface Ways {
  /** Ask only while this holds. */
  when?: boolean;
  /** Time that the hand must rest first. [ms] */
  rest?: number;
}

/**
 * Ask the server what the handles mean: whenever they move (the latest value wins), when results
 * or the project changed, and when the line is back after a cut; always for where they stand now.
 */
export function useLive<A, L>(
  handles: ReadonlySignal<A | null>,
  ask: (value: A) => Promise<L>,
  { when = true, rest = 0 }: Ways = {},
) {
  const live = useSignal<L | null>(null);
  const refusal = useSignal<Refusal | null>(null);
  const asking = useRef(ask);
  asking.current = ask;
  const push = useMemo(
    () =>
      latest<A>(async (value) => {
        try {
          live.value = await asking.current(value);
          refusal.value = null;
        } catch (why) {
          if (!(why instanceof Refused)) throw why;
          refusal.value = why.refusal;
        }
      }),
    [],
  );
  const isOpen = connected.value;
  const now = revision.value;
  useEffect(() => {
    if (isOpen === null || !when) return;
    let timer = 0;
    let isQuiet = isOpen === false; // that the line was cut is said already
    const stop = effect(() => {
      const value = handles.value;
      clearTimeout(timer);
      if (isQuiet || value === null) {
        isQuiet = false;
        return;
      }
      if (rest > 0) timer = window.setTimeout(() => push(value), rest);
      else untracked(() => push(value));
    });
    return () => {
      stop();
      clearTimeout(timer);
    };
  }, [handles, isOpen, now, when]);
  return { live, refusal };
}
