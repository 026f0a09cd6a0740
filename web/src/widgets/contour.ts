/** Contour lines of a grid by marching squares, joined into polylines. */

import type { Grid } from "../types";

export type Point = [number, number];

/** Lines of one level in grid coordinates (column, row); cells with a hole are left out. */
export function contour(grid: Grid, level: number): Point[][] {
  const pieces: [Point, Point][] = [];
  for (let j = 0; j + 1 < grid.length; j++)
    for (let i = 0; i + 1 < grid[j].length; i++) pieces.push(...cell(grid, i, j, level));
  // A node exactly on the level gives pieces of no length, which would cut the line there.
  return join(pieces.filter(([a, b]) => a[0] !== b[0] || a[1] !== b[1]));
}

function cell(grid: Grid, i: number, j: number, level: number): [Point, Point][] {
  const corners: [number, number, number | null][] = [
    [i, j, grid[j][i]],
    [i + 1, j, grid[j][i + 1]],
    [i + 1, j + 1, grid[j + 1][i + 1]],
    [i, j + 1, grid[j + 1][i]],
  ];
  if (corners.some(([, , v]) => v === null)) return [];
  const cuts: Point[] = [];
  for (let k = 0; k < 4; k++) {
    const [xa, ya, va] = corners[k] as [number, number, number];
    const [xb, yb, vb] = corners[(k + 1) % 4] as [number, number, number];
    if (va >= level === vb >= level) continue;
    const t = (level - va) / (vb - va);
    cuts.push([xa + t * (xb - xa), ya + t * (yb - ya)]);
  }
  if (cuts.length === 2) return [[cuts[0], cuts[1]]];
  if (cuts.length !== 4) return [];
  // A saddle: the mean of the corners says which side the middle is on.
  const mean = corners.reduce((sum, [, , v]) => sum + (v as number), 0) / 4;
  const isFirstHigh = (corners[0][2] as number) >= level;
  return mean >= level === isFirstHigh
    ? [[cuts[0], cuts[1]], [cuts[2], cuts[3]]]
    : [[cuts[3], cuts[0]], [cuts[1], cuts[2]]];
}

function join(pieces: [Point, Point][]): Point[][] {
  const key = ([x, y]: Point) => `${x.toFixed(6)},${y.toFixed(6)}`;
  const ends = new Map<string, number[]>();
  pieces.forEach((piece, index) =>
    piece.forEach((p) => ends.set(key(p), [...(ends.get(key(p)) ?? []), index])),
  );
  const used = new Set<number>();
  const grow = (line: Point[]): void => {
    for (;;) {
      const tip = key(line[line.length - 1]);
      const next = (ends.get(tip) ?? []).find((index) => !used.has(index));
      if (next === undefined) return;
      used.add(next);
      const [a, b] = pieces[next];
      line.push(key(a) === tip ? b : a);
    }
  };
  const lines: Point[][] = [];
  pieces.forEach(([a, b], index) => {
    if (used.has(index)) return;
    used.add(index);
    const line: Point[] = [a, b];
    grow(line);
    line.reverse();
    grow(line);
    lines.push(line);
  });
  return lines;
}

/** Value of a grid between its nodes; null outside and beside a hole. */
export function between(grid: Grid, x: number, y: number): number | null {
  const i = Math.min(Math.floor(x), (grid[0]?.length ?? 0) - 2);
  const j = Math.min(Math.floor(y), grid.length - 2);
  if (i < 0 || j < 0 || x > i + 1 || y > j + 1) return null;
  const [a, b, c, d] = [grid[j][i], grid[j][i + 1], grid[j + 1][i], grid[j + 1][i + 1]];
  if (a === null || b === null || c === null || d === null) return null;
  const [u, v] = [x - i, y - j];
  return (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * c + u * d);
}

/** Where a value lies on an axis that need not be even: 2.5 is half way from node 2 to node 3. */
export function place(axis: number[], value: number): number {
  if (value <= axis[0]) return value === axis[0] ? 0 : (value - axis[0]) / (axis[1] - axis[0]);
  let k = 0;
  while (k + 2 < axis.length && value > axis[k + 1]) k++;
  return k + (value - axis[k]) / (axis[k + 1] - axis[k]);
}

/** The way back: a place on an axis to its value. */
export function valueAt(axis: number[], where: number): number {
  const k = Math.max(0, Math.min(axis.length - 2, Math.floor(where)));
  return axis[k] + (where - k) * (axis[k + 1] - axis[k]);
}
