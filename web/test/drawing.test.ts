import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { between, contour, place, valueAt } from "../src/widgets/contour";
import { even } from "../src/widgets/palette";

describe("contour lines", () => {
  it("of a plane are one straight line", () => {
    const grid = [0, 1, 2, 3].map((y) => [0, 1, 2, 3, 4].map((x) => x + y));
    const lines = contour(grid, 2.5);
    expect(lines).toHaveLength(1);
    for (const [x, y] of lines[0]) expect(x + y).toBeCloseTo(2.5, 12);
  });

  it("of a hill close on themselves", () => {
    const grid = Array.from({ length: 9 }, (_, y) =>
      Array.from({ length: 9 }, (_, x) => -((x - 4) ** 2) - (y - 4) ** 2),
    );
    const [line, ...rest] = contour(grid, -5);
    expect(rest).toHaveLength(0);
    expect(line[0][0]).toBeCloseTo(line.at(-1)![0], 9);
    expect(line[0][1]).toBeCloseTo(line.at(-1)![1], 9);
  });

  it("leave holes alone", () => {
    expect(contour([[0, null], [1, 1]], 0.5)).toEqual([]);
  });
});

describe("values between nodes", () => {
  it("are exact on a plane and missing outside", () => {
    const grid = [[0, 1], [2, 3]];
    expect(between(grid, 0.25, 0.5)).toBeCloseTo(1.25, 12);
    expect(between(grid, 1.2, 0.5)).toBeNull();
    expect(between(grid, -0.2, 0.5)).toBeNull();
  });

  it("come back from an uneven axis", () => {
    const axis = [30, 32, 36, 50];
    for (const mm of [30, 31, 35, 43, 50]) expect(valueAt(axis, place(axis, mm))).toBeCloseTo(mm, 12);
  });
});

const linear = (c: number) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
const lightness = ([r, g, b]: number[]) =>
  0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
const contrast = (a: number[], b: number[]) => {
  const [low, high] = [lightness(a), lightness(b)].sort((x, y) => x - y);
  return (high + 0.05) / (low + 0.05);
};

describe("colours", () => {
  it("of fields grow lighter all the way", () => {
    const all = Array.from({ length: 33 }, (_, k) => lightness(even(k / 32)));
    all.slice(1).forEach((v, k) => expect(v).toBeGreaterThan(all[k]));
  });

  const css = readFileSync(new URL("../src/style.css", import.meta.url), "utf8");
  const rgb = (hex: string) => [1, 3, 5].map((k) => parseInt(hex.slice(k, k + 2), 16));
  const tokens = Object.fromEntries(
    [...css.matchAll(/--(\w+): light-dark\((#\w+), (#\w+)\)/g)].map(([, name, light, dark]) => [
      name,
      [rgb(light), rgb(dark)],
    ]),
  );

  it.each(["ink", "faint", "front", "rear", "tuft", "ok", "doubt", "wrong"])(
    "%s can be read on paper and on raised ground in both themes (4.5 to 1)",
    (name) => {
      for (const theme of [0, 1])
        for (const ground of ["paper", "raised"])
          expect(contrast(tokens[name][theme], tokens[ground][theme])).toBeGreaterThanOrEqual(4.5);
    },
  );
});
