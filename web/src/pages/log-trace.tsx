/** A trace of any length: the server answers with least and most of each piece of the window. */

import { useEffect, useRef, useState } from "preact/hooks";
import { withUnit, write } from "../number";
import { colours, connected, line, revision } from "../store";
import { colour, useWidth } from "../widgets/width";
import { latest } from "../wire";

interface Answer {
  unit: string;
  start: number;
  end: number;
  time: Float32Array;
  least: Float32Array;
  most: Float32Array;
}

interface Props {
  day: string;
  role: string;
  cured: boolean;
  window: [number, number];
  whole: [number, number];
  onWindow: (next: [number, number]) => void;
}

const TALL = 168;
const LEFT = 52;
const FOOT = 22;

export function Trace({ day, role, cured, window: [start, end], whole, onWindow }: Props) {
  const [holder, width] = useWidth<HTMLDivElement>(640);
  const canvas = useRef<HTMLCanvasElement>(null);
  const [answer, setAnswer] = useState<Answer | null>(null);
  const [failed, setFailed] = useState("");
  const ask = useRef(
    latest(async (request: Record<string, unknown>) => {
      try {
        const { header, arrays } = await line.ask(request);
        setAnswer({ ...(header as unknown as Answer), ...(arrays as unknown as Answer) });
        setFailed("");
      } catch (why) {
        setFailed((why as Error).message);
      }
    }),
  );
  useEffect(() => {
    ask.current({ do: "trace", day, role, cured, start, end, pieces: Math.max(200, width) });
  }, [day, role, cured, start, end, width, connected.value, revision.value]);
  const shade = colours.value;
  const begun = useRef(0);
  useEffect(() => {
    if (!canvas.current || !answer) return;
    draw(canvas.current, answer, width);
    const from = begun.current;
    if (from === 0 || answer.start !== start || answer.end !== end) return;
    begun.current = 0;
    // the next message after a frame comes once that frame has been painted
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () =>
        performance.measure("zoom to repaint", { start: from, end: performance.now() });
      channel.port2.postMessage(0);
    });
  }, [answer, width, shade]);

  const zoom = (factor: number, at = 0.5) => {
    begun.current = performance.now();
    const middle = start + at * (end - start);
    const next = Math.min(whole[1] - whole[0], Math.max(0.5, (end - start) * factor));
    const from = Math.min(Math.max(whole[0], middle - at * next), whole[1] - next);
    onWindow([from, from + next]);
  };
  const slide = (share: number) => {
    begun.current = performance.now();
    const span = end - start;
    const from = Math.min(Math.max(whole[0], start + share * span), whole[1] - span);
    onWindow([from, from + span]);
  };
  const onKey = (event: KeyboardEvent) => {
    const moves: Record<string, () => void> = {
      "+": () => zoom(0.5),
      "-": () => zoom(2),
      ArrowLeft: () => slide(-0.25),
      ArrowRight: () => slide(0.25),
      Home: () => onWindow(whole),
    };
    const move = moves[event.key];
    if (!move) return;
    event.preventDefault();
    move();
  };
  const onWheel = (event: WheelEvent) => {
    if (!event.ctrlKey && Math.abs(event.deltaX) > Math.abs(event.deltaY)) slide(event.deltaX / 600);
    else {
      const box = (event.currentTarget as HTMLElement).getBoundingClientRect();
      zoom(event.deltaY > 0 ? 1.25 : 0.8, Math.min(1, Math.max(0, (event.clientX - box.left - LEFT) / (width - LEFT))));
    }
    event.preventDefault();
  };
  return (
    <div ref={holder} class="trace">
      <canvas
        ref={canvas}
        width={width}
        height={TALL}
        tabIndex={0}
        role="img"
        aria-label={`${role} from ${write(start, 1)} to ${write(end, 1)} s. Plus and minus zoom, arrows move, Home shows all.`}
        onKeyDown={onKey}
        onWheel={onWheel}
      />
      {failed && <p class="caution">{failed}</p>}
      <p class="tools">
        <button type="button" class="do quiet" onClick={() => zoom(0.5)} aria-label="Zoom in">
          +
        </button>
        <button type="button" class="do quiet" onClick={() => zoom(2)} aria-label="Zoom out">
          −
        </button>
        <button type="button" class="do quiet" onClick={() => slide(-0.5)} aria-label="Earlier">
          Earlier
        </button>
        <button type="button" class="do quiet" onClick={() => slide(0.5)} aria-label="Later">
          Later
        </button>
        <button type="button" class="do quiet" onClick={() => onWindow(whole)}>
          All
        </button>
        <span class="faint">
          {write(start, 1)} to {withUnit(write(end, 1), "s")}
        </span>
      </p>
    </div>
  );
}

function draw(canvas: HTMLCanvasElement, answer: Answer, width: number): void {
  const ratio = devicePixelRatio || 1;
  canvas.width = width * ratio;
  canvas.height = TALL * ratio;
  canvas.style.width = `${width}px`;
  canvas.style.height = `${TALL}px`;
  const pen = canvas.getContext("2d")!;
  pen.scale(ratio, ratio);
  pen.clearRect(0, 0, width, TALL);
  const { time, least, most } = answer;
  if (time.length === 0) return;
  let low = Infinity;
  let high = -Infinity;
  for (let i = 0; i < time.length; i++) {
    if (least[i] < low) low = least[i];
    if (most[i] > high) high = most[i];
  }
  const air = 0.08 * (high - low || Math.abs(high) || 1);
  low -= air;
  high += air;
  const span = answer.end - answer.start;
  const x = (t: number) => LEFT + ((width - LEFT - 4) * t) / span;
  const y = (v: number) => 6 + ((TALL - FOOT - 6) * (high - v)) / (high - low);
  pen.font = "12px 'Source Sans 3', sans-serif";
  pen.lineWidth = 1;
  for (let k = 0; k <= 2; k++) {
    const value = low + air + ((high - low - 2 * air) * k) / 2;
    pen.strokeStyle = colour("hair");
    pen.beginPath();
    pen.moveTo(LEFT, y(value));
    pen.lineTo(width, y(value));
    pen.stroke();
    pen.fillStyle = colour("faint");
    pen.textAlign = "right";
    pen.fillText(write(value, high - low > 50 ? 0 : 1), LEFT - 6, y(value) + 4);
  }
  pen.textAlign = "left";
  pen.fillText(answer.unit, 0, 14);
  pen.strokeStyle = colour("ink");
  pen.beginPath();
  const gap = Math.max(2, (3 * span) / time.length);
  for (let i = 0; i < time.length; i++) {
    const at = x(time[i]);
    if (at < LEFT || at > width) continue;
    if (i === 0 || time[i] - time[i - 1] > gap) pen.moveTo(at, y(most[i]));
    pen.lineTo(at, y(most[i]));
    pen.lineTo(at, y(least[i]));
  }
  pen.stroke();
  pen.fillStyle = colour("faint");
  for (const share of [0, 0.5, 1]) {
    pen.textAlign = share === 0 ? "left" : share === 1 ? "right" : "center";
    pen.fillText(`${write(answer.start + share * span, span < 20 ? 1 : 0)} s`, x(share * span), TALL - 5);
  }
}
