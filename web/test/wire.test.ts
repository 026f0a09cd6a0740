import { describe, expect, it } from "vitest";
import { latest, pack, unpack } from "../src/wire";

/** A frame as the server packs it (app/frame.py), bytes written out by hand. */
function frame(header: object, ...blocks: ArrayBuffer[]): ArrayBuffer {
  let text = new TextEncoder().encode(JSON.stringify(header));
  const spare = (8 - ((4 + text.length) % 8)) % 8;
  text = new TextEncoder().encode(JSON.stringify(header) + " ".repeat(spare));
  const padded = blocks.map((b) => Math.ceil(b.byteLength / 8) * 8);
  const made = new Uint8Array(4 + text.length + padded.reduce((a, b) => a + b, 0));
  new DataView(made.buffer).setUint32(0, text.length, true);
  made.set(text, 4);
  let at = 4 + text.length;
  blocks.forEach((block, k) => {
    made.set(new Uint8Array(block), at);
    at += padded[k];
  });
  return made.buffer;
}

describe("a message on the socket", () => {
  it("keeps arrays of odd length apart", () => {
    const header = {
      id: 7,
      arrays: [
        { name: "a", shape: [3], dtype: "float32" },
        { name: "b", shape: [2, 2], dtype: "int32" },
        { name: "c", shape: [5], dtype: "uint8" },
      ],
    };
    const message = unpack(
      frame(
        header,
        new Float32Array([1.5, -2, 3]).buffer,
        new Int32Array([1, 2, 3, -4]).buffer,
        new Uint8Array([1, 0, 1, 0, 255]).buffer,
      ),
    );
    expect(message.header.id).toBe(7);
    expect([...message.arrays.a]).toEqual([1.5, -2, 3]);
    expect([...message.arrays.b]).toEqual([1, 2, 3, -4]);
    expect([...message.arrays.c]).toEqual([1, 0, 1, 0, 255]);
  });

  it("starts its arrays on a multiple of eight whatever the header says", () => {
    for (const word of ["", "m", "m²", "hf 44.9 mm", "°"]) {
      const packed = pack({ id: 1, word });
      expect(packed.byteLength % 8).toBe(0);
      expect(unpack(packed).header).toEqual({ id: 1, word });
    }
  });

  it("refuses a type it does not know", () => {
    const bad = frame({ arrays: [{ name: "x", shape: [1], dtype: "float16" }] }, new ArrayBuffer(8));
    expect(() => unpack(bad)).toThrow("float16");
  });

  it("refuses a message cut short", () => {
    expect(() => unpack(new ArrayBuffer(2))).toThrow();
    const whole = frame({ arrays: [{ name: "x", shape: [9], dtype: "float32" }] }, new ArrayBuffer(8));
    expect(() => unpack(whole)).toThrow();
  });
});

describe("latest value wins", () => {
  it("asks for the first and the last value, and for none in between", async () => {
    const asked: number[] = [];
    let release: () => void = () => undefined;
    const push = latest<number>((value) => {
      asked.push(value);
      return new Promise((done) => (release = done));
    });
    push(1);
    push(2);
    push(3);
    push(4);
    release();
    await Promise.resolve();
    await Promise.resolve();
    expect(asked).toEqual([1, 4]);
  });

  it("asks again after a rest", async () => {
    const asked: number[] = [];
    const push = latest<number>(async (value) => void asked.push(value));
    push(1);
    await new Promise((done) => setTimeout(done, 0));
    push(2);
    await new Promise((done) => setTimeout(done, 0));
    expect(asked).toEqual([1, 2]);
  });
});
