/** Tiles of a picture, fetched over the socket and kept; the view decides which are needed. */

import { line } from "../store";

export interface TileKey {
  level: number;
  column: number;
  row: number;
}

export class TileStore {
  private kept = new Map<string, HTMLImageElement | null>();
  private coming = new Map<string, Promise<void>>();

  constructor(
    readonly picture: string,
    readonly side: number,
    private readonly onLoad: () => void,
  ) {}

  /** The image of a tile, null while it is on its way. */
  get({ level, column, row }: TileKey): HTMLImageElement | null {
    const key = `${level}/${column}/${row}`;
    const held = this.kept.get(key);
    if (held !== undefined) return held;
    this.kept.set(key, null);
    const coming = line
      .ask({ do: "picture_tile", picture: this.picture, level, column, row })
      .then(async (answer) => {
        const bytes = answer.arrays.jpeg as Uint8Array;
        const image = new Image();
        image.src = URL.createObjectURL(new Blob([bytes.slice()], { type: "image/jpeg" }));
        await image.decode();
        this.kept.set(key, image);
        this.onLoad();
      })
      .catch(() => void this.kept.delete(key))
      .finally(() => this.coming.delete(key));
    this.coming.set(key, coming);
    return null;
  }

  /** Resolves when every tile that was asked for is here, or cannot be had. */
  async settled(): Promise<void> {
    await Promise.all(this.coming.values());
  }

  close(): void {
    for (const image of this.kept.values()) if (image) URL.revokeObjectURL(image.src);
    this.kept.clear();
  }

  /** Draw a part of the picture [pixel of the picture] into a canvas, as far as tiles are there. */
  draw(
    pen: CanvasRenderingContext2D,
    view: { x: number; y: number; scale: number },
    size: { width: number; height: number },
    picture: { width: number; height: number },
    levels: number[],
  ): void {
    for (const level of levels) {
      const step = this.side * 2 ** level;
      const first = { column: Math.floor(view.x / step), row: Math.floor(view.y / step) };
      const last = {
        column: Math.floor((view.x + size.width / view.scale) / step),
        row: Math.floor((view.y + size.height / view.scale) / step),
      };
      for (let row = Math.max(0, first.row); row <= last.row && row * step < picture.height; row++)
        for (let column = Math.max(0, first.column); column <= last.column && column * step < picture.width; column++) {
          const image = this.get({ level, column, row });
          if (!image) continue;
          const grow = view.scale * 2 ** level;
          pen.drawImage(
            image,
            (column * step - view.x) * view.scale,
            (row * step - view.y) * view.scale,
            image.width * grow,
            image.height * grow,
          );
        }
    }
  }
}

/** Where the picture is sharpest near a place: the steepest change of brightness within reach. */
export function edgeNear(
  store: TileStore,
  at: [number, number],
  picture: { width: number; height: number },
  reach = 6,
): [number, number] {
  const side = 2 * reach + 3;
  const canvas = new OffscreenCanvas(side, side);
  const pen = canvas.getContext("2d") as unknown as CanvasRenderingContext2D;
  const left = Math.round(at[0]) - reach - 1;
  const top = Math.round(at[1]) - reach - 1;
  store.draw(pen, { x: left, y: top, scale: 1 }, { width: side, height: side }, picture, [0]);
  const data = pen.getImageData(0, 0, side, side).data;
  const light = (x: number, y: number) => {
    const k = 4 * (y * side + x);
    return data[k] + data[k + 1] + data[k + 2];
  };
  let best: [number, number] = at;
  let most = 40;
  for (let y = 1; y < side - 1; y++)
    for (let x = 1; x < side - 1; x++) {
      const off = Math.hypot(left + x - at[0], top + y - at[1]);
      if (off > reach) continue;
      const steep = Math.hypot(light(x + 1, y) - light(x - 1, y), light(x, y + 1) - light(x, y - 1));
      const score = steep * (1 - 0.5 * (off / reach));
      if (score > most) {
        most = score;
        best = [left + x, top + y];
      }
    }
  return best;
}
