/**
 * Colours of fields: cividis (Nuñez, Anderton, Renslow 2018), even in lightness and readable with
 * any colour vision; 17 nodes sampled from matplotlib's table, straight lines between them.
 */

const NODES: [number, number, number][] = [
  [0, 34, 78], [0, 46, 106], [26, 56, 111], [50, 67, 109], [67, 78, 108], [83, 90, 109],
  [97, 101, 111], [111, 112, 115], [125, 124, 120], [140, 136, 120], [155, 148, 118],
  [171, 160, 114], [188, 174, 108], [205, 187, 99], [222, 201, 88], [240, 216, 70],
  [254, 232, 56],
];

/** Colour at 0..1. */
export function even(share: number): [number, number, number] {
  const x = Math.max(0, Math.min(1, share)) * (NODES.length - 1);
  const k = Math.min(NODES.length - 2, Math.floor(x));
  const t = x - k;
  const mix = (c: 0 | 1 | 2) => Math.round(NODES[k][c] + t * (NODES[k + 1][c] - NODES[k][c]));
  return [mix(0), mix(1), mix(2)];
}
