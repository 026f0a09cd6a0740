/** The line to the server, and what is read anew when: answers and news come in any order here. */

import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import { followed } from "../src/follow";
import { latest, Line, pack, Refused } from "../src/wire";

/** A socket whose other end is the test. */
class FakeSocket {
  static readonly CONNECTING = 0;
  static readonly OPEN = 1;
  static all: FakeSocket[] = [];
  readyState = 0;
  binaryType = "";
  sent: ArrayBuffer[] = [];
  onopen: () => void = () => undefined;
  onclose: () => void = () => undefined;
  onmessage: (event: { data: ArrayBuffer }) => void = () => undefined;

  constructor() {
    FakeSocket.all.push(this);
  }
  send(frame: ArrayBuffer): void {
    this.sent.push(frame);
  }
  stands(): void {
    this.readyState = 1;
    this.onopen();
  }
  isCut(): void {
    this.readyState = 3;
    this.onclose();
  }
  says(header: Record<string, unknown>): void {
    this.onmessage({ data: pack(header) });
  }
  get asked(): Record<string, unknown>[] {
    return this.sent.map((frame) => JSON.parse(new TextDecoder().decode(frame.slice(4))));
  }
}

beforeEach(() => {
  FakeSocket.all = [];
  vi.useFakeTimers();
  vi.stubGlobal("WebSocket", FakeSocket);
});
afterEach(() => {
  vi.unstubAllGlobals();
  vi.useRealTimers();
  vi.resetModules();
});

const socketNow = () => FakeSocket.all.at(-1)!;

describe("the line", () => {
  function laid(): Line {
    const line = new Line("ws://here", () => undefined, () => undefined);
    line.open();
    return line;
  }

  it("says what was asked before it stood as soon as it stands", async () => {
    const line = laid();
    const answer = line.ask({ do: "run" });
    expect(socketNow().sent).toEqual([]);
    socketNow().stands();
    expect(socketNow().asked.map((one) => one.do)).toEqual(["run"]);
    socketNow().says({ id: 1, run: "mine" });
    expect((await answer).header.run).toBe("mine");
  });

  it("refuses what waits when it is cut, and says nothing of it later", async () => {
    const line = laid();
    const unsaid = line.ask({ do: "early" });
    socketNow().isCut();
    await expect(unsaid).rejects.toBeInstanceOf(Refused);
    await expect(line.ask({ do: "meanwhile" })).rejects.toBeInstanceOf(Refused);
    vi.advanceTimersByTime(300);
    expect(FakeSocket.all.length).toBe(2);
    socketNow().stands();
    expect(socketNow().sent).toEqual([]);
    const waits = line.ask({ do: "late" });
    socketNow().isCut();
    await expect(waits).rejects.toBeInstanceOf(Refused);
  });

  it("lets nobody wait for an answer that cannot be read", async () => {
    const line = laid();
    socketNow().stands();
    const answer = line.ask({ do: "path_at" });
    const header = { id: 1, arrays: [{ name: "x", shape: [9], dtype: "float32" }] };
    socketNow().says(header); // the array is missing
    await expect(answer).rejects.toThrow();
    const next = line.ask({ do: "path_at" });
    socketNow().says({ id: 2 });
    await next;
  });
});

describe("latest value wins", () => {
  it("asks for the next value after a request that failed", async () => {
    const asked: number[] = [];
    const complaints: unknown[] = [];
    const push = latest<number>(
      async (value) => {
        asked.push(value);
        if (value < 3) throw new Error(`no ${value}`);
      },
      (why) => complaints.push(why),
    );
    push(1);
    push(2);
    for (let k = 0; k < 9; k++) await Promise.resolve();
    push(3);
    expect(asked).toEqual([1, 2, 3]);
    expect(complaints.map(String)).toEqual(["Error: no 1", "Error: no 2"]);
  });
});

describe("handles of a page that is read anew", () => {
  it("stay where a hand moved them and follow the project where none did", () => {
    const was = { front: 58, rear: 71, out: ["a"] };
    const now = { front: 50, rear: 71, out: ["a"] };
    const own = { front: 60, rear: 75, out: ["a", "b"] };
    expect(followed(now, was, own)).toEqual({ front: 50, rear: 75, out: ["a", "b"] });
  });

  it("keep what was put in here and lose what was taken out elsewhere", () => {
    const was: Record<string, number[]> = { hub: [1, 2], sill: [3, 4] };
    const now = { hub: [9, 9], sill: [3, 4], mine: [5, 6] };
    expect(followed(now, was, { hub: [1, 2], theirs: [7, 8] })).toEqual({
      hub: [9, 9],
      mine: [5, 6],
      theirs: [7, 8],
    });
  });
});

describe("what is read anew", () => {
  async function opened() {
    const kept = new Map<string, string>();
    vi.stubGlobal("location", { hash: "", host: "here" });
    vi.stubGlobal("addEventListener", () => undefined);
    vi.stubGlobal("matchMedia", () => ({ addEventListener: () => undefined }));
    vi.stubGlobal("document", { documentElement: { style: {} } });
    vi.stubGlobal("localStorage", {
      getItem: (key: string) => kept.get(key) ?? null,
      setItem: (key: string, value: string) => void kept.set(key, value),
    });
    const store = await import("../src/store");
    store.line.open();
    return store;
  }
  const run = (name: string, state: string) => ({ news: "run", run: name, state });
  const inputs = (digest: string, stale: boolean) => ({ news: "inputs", digest, stale });

  it("everything, when a run has ended, also one that this page never saw going", async () => {
    const { revision } = await opened();
    const socket = socketNow();
    socket.stands();
    socket.says(run("a", "running"));
    expect(revision.value).toBe(0);
    socket.says(run("a", "done"));
    expect(revision.value).toBe(1);
    socket.says(run("a", "done")); // told again
    expect(revision.value).toBe(1);
    socket.says(run("b", "done"));
    expect(revision.value).toBe(2);
  });

  it("everything, when somebody else changed the project", async () => {
    const { revision, stale } = await opened();
    const socket = socketNow();
    socket.stands();
    socket.says(inputs("aa", false));
    expect(revision.value).toBe(0);
    socket.says(inputs("bb", true));
    expect([revision.value, stale.value]).toEqual([1, true]);
    socket.says(inputs("bb", false));
    expect([revision.value, stale.value]).toEqual([2, false]);
  });

  it("everything, when the line is back after a cut", async () => {
    const { revision, connected } = await opened();
    socketNow().stands();
    expect(revision.value).toBe(0);
    socketNow().isCut();
    expect(connected.value).toBe(false);
    vi.advanceTimersByTime(300);
    socketNow().stands();
    expect([revision.value, connected.value]).toEqual([1, true]);
  });

  it("everything, after a deed or its refusal, but not where nobody answered", async () => {
    const { act, revision } = await opened();
    const socket = socketNow();
    socket.stands();
    const done = act({ do: "flow_save" });
    expect(revision.value).toBe(0);
    socket.says({ id: 1, saved: 1 });
    await done;
    expect(revision.value).toBe(1);
    const refused = act({ do: "flow_save" });
    socket.says({ id: 2, error: { kind: "refused", text: "moved on", faults: [] } });
    await expect(refused).rejects.toThrow("moved on");
    expect(revision.value).toBe(2);
    const lost = act({ do: "flow_save" });
    socket.isCut();
    await expect(lost).rejects.toThrow("stopped");
    expect(revision.value).toBe(2);
  });

  it("a run that goes on is shown though a second one was refused", async () => {
    const { revision, runNews, startRun } = await opened();
    const socket = socketNow();
    socket.stands();
    socket.says(run("theirs", "running"));
    const started = startRun();
    socket.says({ id: 1, error: { kind: "refused", text: "still running", faults: [] } });
    expect(await started).toBe(false);
    expect(runNews.value?.state).toBe("running");
    socket.says(run("theirs", "done"));
    expect(revision.value).toBe(1);
  });
});
