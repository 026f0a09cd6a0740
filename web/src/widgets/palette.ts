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

/** Pressure, suction to one side: RdBu (Brewer 2003) on paper, berlin (Crameri 2018) in the dark. */
const SUCTION_LIGHT: [number, number, number][] = [[5, 48, 97], [40, 111, 176], [104, 170, 207], [191, 220, 235], [246, 244, 238]];
const PUSH_LIGHT: [number, number, number][] = [[246, 244, 238], [250, 206, 182], [229, 131, 104], [187, 42, 51], [103, 0, 31]];
const SUCTION_DARK: [number, number, number][] = [[158, 175, 254], [81, 159, 211], [39, 103, 133], [19, 60, 78], [20, 24, 29]];
const PUSH_DARK: [number, number, number][] = [[20, 24, 29], [64, 18, 0], [125, 51, 30], [189, 111, 99], [254, 173, 173]];

/** Colour at -1 (deepest suction) to 1; the sheet's paper at zero. */
export function twoSided(value: number, isDark: boolean): [number, number, number] {
  const isSuction = value < 0;
  const nodes = isSuction ? (isDark ? SUCTION_DARK : SUCTION_LIGHT) : isDark ? PUSH_DARK : PUSH_LIGHT;
  const along = isSuction ? 1 + Math.max(-1, value) : Math.min(1, value);
  const x = along * (nodes.length - 1);
  const k = Math.min(nodes.length - 2, Math.floor(x));
  const mix = (c: 0 | 1 | 2) => Math.round(nodes[k][c] + (x - k) * (nodes[k + 1][c] - nodes[k][c]));
  return [mix(0), mix(1), mix(2)];
}
