/** The socket: one binary frame a message, answers by id, news for whoever listens. */

import { NARROW, THIN } from "./number";
import type { Refusal } from "./types";

export type Block = Float32Array | Int32Array | Uint8Array;
export interface Message {
  header: Record<string, unknown>;
  arrays: Record<string, Block>;
}

const ALIGN = 8;
const KINDS = { float32: Float32Array, int32: Int32Array, uint8: Uint8Array } as const;

/** Header alone, as the page sends it: u32 length, JSON padded with spaces to 8 bytes. */
export function pack(header: Record<string, unknown>): ArrayBuffer {
  const text = new TextEncoder().encode(JSON.stringify(header));
  const size = text.length + ((ALIGN - ((4 + text.length) % ALIGN)) % ALIGN);
  const frame = new Uint8Array(4 + size).fill(0x20);
  new DataView(frame.buffer).setUint32(0, size, true);
  frame.set(text, 4);
  return frame.buffer;
}

/** The server's JSON, with spaces before units as this sheet shows them (see number.ts). */
export const readJson = (text: string) => JSON.parse(text.replaceAll(NARROW, THIN));

/** Header and typed-array views over the message; nothing is copied. */
export function unpack(frame: ArrayBuffer): Message {
  if (frame.byteLength < 4) throw new Error(`message of ${frame.byteLength} bytes`);
  const size = new DataView(frame).getUint32(0, true);
  const header = readJson(new TextDecoder().decode(new Uint8Array(frame, 4, size)));
  const arrays: Record<string, Block> = {};
  let start = 4 + size;
  for (const { name, shape, dtype } of header.arrays ?? []) {
    const kind = KINDS[dtype as keyof typeof KINDS];
    if (!kind) throw new Error(`array ${name}: unknown type ${dtype}`);
    const count = (shape as number[]).reduce((a, b) => a * b, 1);
    arrays[name] = new kind(frame, start, count);
    start += Math.ceil((count * kind.BYTES_PER_ELEMENT) / ALIGN) * ALIGN;
  }
  return { header, arrays };
}

/**
 * Latest value wins: one request under way, the newest waiting value goes next, those in between
 * are dropped. No fixed rate: as fast as the other end answers. A request that fails is complained
 * of, and the next value is asked for all the same.
 */
export function latest<T>(
  ask: (value: T) => Promise<void>,
  complain: (why: unknown) => void = (why) => reportError(why),
): (value: T) => void {
  let busy = false;
  let waiting: { value: T } | null = null;
  const pump = async () => {
    busy = true;
    while (waiting) {
      const { value } = waiting;
      waiting = null;
      try {
        await ask(value);
      } catch (why) {
        complain(why);
      }
    }
    busy = false;
  };
  return (value) => {
    waiting = { value };
    if (!busy) void pump();
  };
}

/** An answer that says why not. */
export class Refused extends Error {
  constructor(readonly refusal: Refusal) {
    super(refusal.text);
  }
}

const GONE: Refusal = {
  kind: "gone",
  text: "The program behind this page has stopped. Start it again with `tuftwork open`.",
  faults: [],
};

type Waiting = { done: (answer: Message) => void; fail: (why: Error) => void };

/** The line to the server; comes back by itself when it was cut. */
export class Line {
  private socket: WebSocket | null = null;
  private next = 1;
  private waiting = new Map<number | string, Waiting>();
  /** Asked while the line was being laid: said as soon as it stands. */
  private unsaid: ArrayBuffer[] = [];
  private pause = 250;

  constructor(
    private readonly address: string,
    private readonly onNews: (news: Record<string, unknown>) => void,
    private readonly onState: (open: boolean) => void,
  ) {}

  open(): void {
    const socket = new WebSocket(this.address);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => {
      this.pause = 250;
      for (const frame of this.unsaid.splice(0)) socket.send(frame);
      this.onState(true);
    };
    socket.onmessage = (event) => this.read(event.data as ArrayBuffer);
    socket.onclose = () => {
      this.onState(false);
      this.unsaid = [];
      this.fail(new Refused(GONE));
      setTimeout(() => this.open(), this.pause);
      this.pause = Math.min(5000, this.pause * 2);
    };
    this.socket = socket;
  }

  /** Ask once; the answer carries the same id. */
  ask(request: Record<string, unknown>): Promise<Message> {
    const id = (request.id as string | number | undefined) ?? this.next++;
    return new Promise((done, fail) => {
      const state = this.socket?.readyState;
      if (state !== WebSocket.OPEN && state !== WebSocket.CONNECTING) {
        fail(new Refused(GONE));
        return;
      }
      this.waiting.set(id, { done, fail });
      const frame = pack({ ...request, id });
      if (state === WebSocket.OPEN) this.socket!.send(frame);
      else this.unsaid.push(frame);
    });
  }

  private fail(why: Error): void {
    const all = [...this.waiting.values()];
    this.waiting.clear();
    for (const one of all) one.fail(why);
  }

  private read(frame: ArrayBuffer): void {
    let message: Message;
    try {
      message = unpack(frame);
    } catch (why) {
      // nobody can tell whose answer it was, and nobody must wait for it for ever
      this.fail(why as Error);
      return;
    }
    this.take(message);
  }

  private take(message: Message): void {
    const { id, news, error } = message.header as {
      id?: number | string;
      news?: string;
      error?: Refusal;
    };
    if (news !== undefined) {
      this.onNews(message.header);
      return;
    }
    const one = id === undefined ? undefined : this.waiting.get(id);
    if (!one) return;
    this.waiting.delete(id!);
    if (error) one.fail(new Refused(error));
    else one.done(message);
  }
}
