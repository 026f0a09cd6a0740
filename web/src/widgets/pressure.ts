/**
 * Colours of pressure: two-sided, the sheet's paper at zero. Light: red and blue of matplotlib's
 * RdBu (ColorBrewer, Harrower and Brewer 2003), washed with paper near zero; dark: berlin of the
 * scientific colour maps (Crameri 2018). 17 nodes each, straight lines between them.
 */

import { even } from "./palette";

type Rgb = [number, number, number];

const LIGHT: Rgb[] = [
  [5, 48, 97], [23, 82, 144], [42, 113, 178], [63, 142, 192], [107, 172, 209], [155, 201, 224],
  [194, 221, 236], [224, 236, 243], [247, 246, 246], [251, 229, 216], [251, 204, 180],
  [245, 170, 137], [228, 128, 102], [208, 85, 72], [186, 40, 50], [147, 14, 38], [103, 0, 31],
];
const DARK: Rgb[] = [
  [158, 176, 255], [121, 171, 237], [81, 159, 211], [54, 133, 173], [40, 104, 134], [29, 75, 97],
  [20, 48, 62], [17, 26, 32], [25, 12, 9], [43, 14, 1], [65, 18, 1], [91, 29, 8], [125, 52, 30],
  [158, 81, 63], [190, 111, 99], [223, 143, 137], [255, 173, 173],
];

export type Scale = "pressure" | "even";

/** Colour of a value between two ends; pressure has its middle at zero. */
export function colourOf(scale: Scale, value: number, ends: [number, number], dark: boolean, paper: Rgb): Rgb {
  if (scale === "even") return even((value - ends[0]) / (ends[1] - ends[0]));
  const share = value < 0 ? 0.5 - (0.5 * value) / ends[0] : 0.5 + (0.5 * value) / ends[1];
  const x = Math.max(0, Math.min(1, share));
  const nodes = dark ? DARK : LIGHT;
  const k = Math.min(nodes.length - 2, Math.floor(x * (nodes.length - 1)));
  const t = x * (nodes.length - 1) - k;
  const wash = dark ? 0 : Math.exp(-(((2 * x - 1) / 0.25) ** 2));
  return [0, 1, 2].map((c) => {
    const own = nodes[k][c] + t * (nodes[k + 1][c] - nodes[k][c]);
    return Math.round(own + wash * (paper[c] - own));
  }) as Rgb;
}

/** 256 colours of a scale as RGBA bytes. */
export function tableOf(scale: Scale, ends: [number, number], dark: boolean, paper: Rgb): Uint8Array {
  const table = new Uint8Array(1024);
  for (let n = 0; n < 256; n++) {
    const value = ends[0] + (n / 255) * (ends[1] - ends[0]);
    table.set([...colourOf(scale, value, ends, dark, paper), 255], 4 * n);
  }
  return table;
}
