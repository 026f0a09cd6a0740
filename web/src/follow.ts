/** What becomes of things moved by hand when the project they came from has changed. */

export const same = (a: unknown, b: unknown) => JSON.stringify(a) === JSON.stringify(b);

/** Where things stand after the project changed from `was` to `own`: what a hand moved stays. */
export function followed<T extends object>(now: T, was: T, own: T): T {
  const keys = new Set([...Object.keys(now), ...Object.keys(was), ...Object.keys(own)]) as Set<keyof T>;
  const next: Partial<T> = {};
  for (const key of keys) {
    const from = same(now[key], was[key]) ? own : now;
    if (key in from) next[key] = from[key];
  }
  return next as T;
}
