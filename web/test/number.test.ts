import { describe, expect, it } from "vitest";
import {
  digits,
  duration,
  inKilograms,
  MINUS,
  moment,
  split,
  textOf,
  THIN,
  signed,
  ticks,
  tie,
  write,
} from "../src/number";
import type { Num } from "../src/types";

const number = (low: number, best: number, high: number, more: Partial<Num> = {}): Num => ({
  text: "",
  best,
  low,
  high,
  unit: "m²",
  origin: "computed",
  ...more,
});

describe("digits follow the range", () => {
  it.each([
    [1.36, 1.44, 1.52, `1.440${THIN}m² (1.360 to 1.520)`],
    [1.2, 1.44, 1.7, `1.44${THIN}m² (1.20 to 1.70)`],
    [-0.13, -0.085, -0.04, `${MINUS}0.085${THIN}m² (${MINUS}0.130 to ${MINUS}0.040)`],
    [0.02, 0.02, 0.02, `0.02000${THIN}m²`],
  ])("%f < %f < %f", (low, best, high, text) => {
    expect(textOf(number(low, best, high))).toBe(text);
  });

  it("gives two figures of the half-range", () => {
    expect(digits(0.08)).toBe(3);
    expect(digits(0.15)).toBe(2);
    expect(digits(12)).toBe(0);
    expect(digits(1234)).toBe(0);
  });

  it("writes no minus zero", () => {
    expect(write(-0.0004, 2)).toBe("0.00");
  });

  it("writes a true minus, and the sign of a gain", () => {
    expect(write(-21, 0)).toBe(`${MINUS}21`);
    expect(signed(1.24, 1)).toBe("+1.2");
    expect(signed(-1.24, 1)).toBe(`${MINUS}1.2`);
    expect(signed(-0.04, 1)).toBe("0.0");
  });

  it("says unknown where nothing is known", () => {
    expect(textOf({ ...number(0, 0, 0), best: null })).toBe("unknown");
  });
});

describe("kilograms for people who think that way", () => {
  it("turns an area into the force at its speed", () => {
    const made = inKilograms(number(1.2, 1.44, 1.7, { low_half: 1.3, high_half: 1.6 }), 224.7)!;
    expect(made.text).toBe(`324${THIN}kg (270 to 382)`);
    expect(made.low_half).toBeCloseTo(292.1, 1);
  });

  it("prefers the number's own speed to the page's", () => {
    expect(inKilograms(number(1, 1, 1, { kg_per_m2: 100 }), 200)!.best).toBe(100);
  });

  it("leaves what is no area, or holds at no speed, alone", () => {
    expect(inKilograms(number(1, 1, 1), undefined)).toBeNull();
    expect(inKilograms(number(1, 1, 1, { unit: "%" }), 200)).toBeNull();
  });
});

describe("words", () => {
  it("takes the server's text apart", () => {
    expect(split("1.44\u00a0m² (1.36 to 1.52)")).toEqual({
      best: `1.44${THIN}m²`,
      range: "1.36 to 1.52",
    });
    expect(split("220\u00a0km/h")).toEqual({ best: `220${THIN}km/h`, range: "" });
  });

  it("keeps numbers and units on one line", () => {
    expect(tie("below 60 mm at 180 km/h")).toBe("below 60\u00a0mm at 180\u00a0km/h");
    expect(tie("11 more")).toBe("11 more");
  });

  it("writes moments without the machine's alphabet", () => {
    expect(moment("2026-11-25T18:33:13+00:00")).toMatch(/^2026-11-2[456] \d\d:33$/);
    expect(moment("yesterday")).toBe("yesterday");
  });

  it("writes durations for people", () => {
    expect(duration(0.012)).toBe(`12${THIN}ms`);
    expect(duration(6.21)).toBe(`6.2${THIN}s`);
    expect(duration(62)).toBe(`62${THIN}s`);
    expect(duration(200)).toBe(`3${THIN}min 20${THIN}s`);
  });
});

describe("round steps", () => {
  it("are 1, 2 or 5 times a power of ten and lie inside", () => {
    expect(ticks(0, 1, 5)).toEqual([0, 0.2, 0.4, 0.6, 0.8, 1]);
    expect(ticks(1.19, 1.67, 12)).toContain(1.45);
    expect(ticks(34, 66, 8).every((t) => t >= 34 && t <= 66)).toBe(true);
  });
});
