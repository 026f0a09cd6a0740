/** The air net as a drawing: parts as boxes, nodes as points, air from left to right. */

import type { Num } from "../types";
import { split } from "../number";
import { useWidth } from "../widgets/width";

export interface NetPart {
  name: string;
  kind: string;
  start: string;
  end: string;
  column: number;
  row: number;
  place: string;
  reversed: boolean;
  share: number;
  flow: Num;
  loss: Num;
  outlet: Num;
  heat: Num | null;
}

export interface NetNode {
  name: string;
  column: number;
  row: number;
  temperature: Num;
  pressure: Num;
}

export interface NetTree {
  parts: NetPart[];
  nodes: NetNode[];
}

interface Live {
  numbers: Record<string, Num>;
  reversed: string[];
}

interface Props {
  net: NetTree;
  live: Live | null;
  held?: string;
  chosen: string;
  onPick: (name: string) => void;
}

const ROW = 122;
const BOX = { high: 92, wide: 148 };
const LEAST = 204;

export function AirNet({ net, live, held, chosen, onPick }: Props) {
  const [ref, width] = useWidth<HTMLDivElement>(820);
  const columns = Math.max(1, ...net.parts.map((p) => p.column + 0.5));
  const rows = Math.max(1, ...net.parts.map((p) => p.row + 1), ...net.nodes.map((n) => n.row + 1));
  const step = Math.max(LEAST, width / columns);
  const wide = Math.min(BOX.wide, step - 56);
  const height = rows * ROW;
  const x = (column: number) => column * step;
  const y = (row: number) => row * ROW + ROW / 2 + 6;
  const nodes = new Map(net.nodes.map((n) => [n.name, n]));
  const read = (key: string, own: Num) => live?.numbers[key] ?? own;
  const most = Math.max(...net.parts.map((p) => read(`part ${p.name} flow`, p.flow).best ?? 0), 1e-6);
  const isBack = (p: NetPart) => (live ? live.reversed.includes(p.name) : p.reversed);
  const air = Math.min(...net.nodes.map((n) => read(`node ${n.name} temperature`, n.temperature).best ?? 0));
  const pipe = (from: [number, number], to: [number, number]) => {
    const middle = (from[0] + to[0]) / 2;
    return `M${from[0]} ${from[1]}C${middle} ${from[1]} ${middle} ${to[1]} ${to[0]} ${to[1]}`;
  };
  return (
    <div class="net scroll" ref={ref} tabIndex={0} role="region" aria-label="Drawing of the air net">
      <svg width={Math.max(width, columns * step)} height={height}>
        {net.parts.map((p) => {
          const flow = read(`part ${p.name} flow`, p.flow).best ?? 0;
          const left: [number, number] = [x(p.column) - wide / 2, y(p.row)];
          const right: [number, number] = [x(p.column) + wide / 2, y(p.row)];
          const [a, b] = p.reversed ? [p.end, p.start] : [p.start, p.end];
          const from = nodes.get(a);
          const to = nodes.get(b);
          const start: [number, number] = from ? [x(from.column), y(from.row)] : [Math.max(2, left[0] - 24), left[1]];
          const end: [number, number] = to ? [x(to.column), y(to.row)] : [Math.min(right[0] + 24, columns * step - 2), right[1]];
          const stroke = 1.5 + (9 * flow) / most;
          const outlet = read(`part ${p.name} outlet`, p.outlet).best ?? 0;
          const inlet = from ? (read(`node ${from.name} temperature`, from.temperature).best ?? 0) : air;
          const warm = (t: number) => (t > air + 5 ? " warm" : "");
          const back = isBack(p) ? " back" : "";
          return (
            <g key={p.name} aria-hidden="true">
              <path class={`pipe${warm(inlet)}${back}`} d={pipe(start, left)} stroke-width={stroke} />
              <path class={`pipe${warm(outlet)}${back}`} d={pipe(right, end)} stroke-width={stroke} />
            </g>
          );
        })}
        {net.nodes.map((n) => {
          const warmth = read(`node ${n.name} temperature`, n.temperature);
          const pressure = read(`node ${n.name} pressure`, n.pressure);
          return (
            <g key={n.name} class={`node${chosen === n.name ? " chosen" : ""}`} role="button" tabindex={0}
              aria-pressed={chosen === n.name}
              aria-label={`${n.name}, node: ${split(warmth.text).best}, ${split(pressure.text).best}`}
              onClick={() => onPick(n.name)} onKeyDown={(e) => press(e, () => onPick(n.name))}>
              <rect x={x(n.column) - 26} y={y(n.row) - 46} width="52" height="92" fill="transparent" />
              <circle class="dot" cx={x(n.column)} cy={y(n.row)} r="7" />
              <text class="faint" x={x(n.column)} y={y(n.row) + 24} text-anchor="middle">{`${split(warmth.text).best} `}</text>
              <text class="faint" x={x(n.column)} y={y(n.row) + 39} text-anchor="middle">{split(pressure.text).best}</text>
            </g>
          );
        })}
        {net.parts.map((p) => {
          const flow = read(`part ${p.name} flow`, p.flow);
          const loss = read(`part ${p.name} loss`, p.loss);
          const outlet = read(`part ${p.name} outlet`, p.outlet);
          const heat = p.heat && read(`part ${p.name} heat`, p.heat);
          const left = x(p.column) - wide / 2;
          const top = y(p.row) - BOX.high / 2;
          const lines = [
            `${split(flow.text).best} → ${split(outlet.text).best}`,
            `loss ${split(loss.text).best}`,
            heat ? `heat ${split(heat.text).best}` : p.place || p.kind,
          ];
          return (
            <g key={p.name} role="button" tabindex={0} aria-pressed={chosen === p.name}
              class={`part ${p.kind}${chosen === p.name ? " chosen" : ""}${held === p.name ? " held" : ""}`}
              aria-label={`${p.name}, ${lines.join(", ")}, ${p.kind}, ${Math.round(100 * p.share)} % of the pressure spent${isBack(p) ? ", runs backwards" : ""}`}
              onClick={() => onPick(p.name)} onKeyDown={(e) => press(e, () => onPick(p.name))}>
              <rect class="box" x={left} y={top} width={wide} height={BOX.high} />
              <text class="name" x={left + 10} y={top + 20}>{`${cut(p.name, wide)} `}</text>
              {lines.map((text, k) => (
                <text key={k} class={k === 2 && !heat ? "faint" : ""} x={left + 10} y={top + 39 + 17 * k}>{`${cut(text, wide)} `}</text>
              ))}
              <rect class="spent" x={left + 10} y={top + BOX.high - 11} width={wide - 20} height="5" />
              <rect class="spent on" x={left + 10} y={top + BOX.high - 11} width={(wide - 20) * Math.min(1, p.share)} height="5" />
            </g>
          );
        })}
      </svg>
    </div>
  );
}

/** Enter and space do what a click does. */
function press(event: KeyboardEvent, act: () => void): void {
  if (event.key !== "Enter" && event.key !== " ") return;
  event.preventDefault();
  act();
}

/** A name that fits a box; the whole of it stands in the bench below. */
const cut = (text: string, wide: number) => {
  const most = Math.floor((wide - 16) / 6.6);
  return text.length > most ? `${text.slice(0, most - 1)}…` : text;
};
