/** Where the downforce comes from: each row starts where the one before ended, per axle. */

import { useContext } from "preact/hooks";
import { ticks, withUnit, write } from "../number";
import { askWhy, unitWay, whyName } from "../store";
import type { BudgetRow, Num } from "../types";
import { KgFactor } from "./num";
import { useWidth } from "./width";

const ROW = 56;
const TRACK = 28;
const HEAD = 28;

interface Bar {
  axle: "front" | "rear";
  number: Num;
  from: number;
}

function layOut(rows: BudgetRow[]): { row: BudgetRow; bars: Bar[] }[] {
  const sum = { front: 0, rear: 0 };
  return rows.map((row) => {
    const isStep = row.kind === "part" || row.kind === "interaction";
    const bars = (["front", "rear"] as const).map((axle) => {
      const from = isStep ? sum[axle] : 0;
      if (isStep) sum[axle] += row[axle].best ?? 0;
      return { axle, number: row[axle], from };
    });
    return { row, bars };
  });
}

export function Waterfall({ rows }: { rows: BudgetRow[] }) {
  const [ref, width] = useWidth<HTMLDivElement>(640);
  const factor = useContext(KgFactor);
  const scale = unitWay.value === "kilograms" && factor !== undefined ? factor : 1;
  const unit = scale === 1 ? "m²" : "kg";
  const laid = layOut(rows.filter((row) => row.kind !== "difference" && row.kind !== "run"));
  const edges = laid.flatMap(({ bars }) =>
    bars.flatMap(({ number, from }) => [
      from,
      from + (number.low ?? number.best ?? 0),
      from + (number.high ?? number.best ?? 0),
    ]),
  );
  const low = Math.min(0, ...edges);
  const high = Math.max(0.1, ...edges);
  const names = Math.min(176, Math.max(112, width * 0.24));
  const x = (v: number) => names + ((v - low) / (high - low)) * (width - names - 16);
  const height = HEAD + laid.length * ROW;
  return (
    <div ref={ref} class="waterfall">
      <svg width={width} height={height} role="group" aria-label="Budget of downforce by part and axle">
        {ticks(low * scale, high * scale, width > 620 ? 7 : 4).map((t) => (
          <g key={t} class={t === 0 ? "tick zero" : "tick"}>
            <line x1={x(t / scale)} x2={x(t / scale)} y1={HEAD - 6} y2={height} />
            <text x={x(t / scale)} y="14" text-anchor="middle">
              {write(t, scale === 1 ? 1 : 0)}
            </text>
          </g>
        ))}
        <text class="unit" x="0" y="14">
          downforce, {unit}
        </text>
        {laid.map(({ row, bars }, index) => (
          <g key={row.name} transform={`translate(0 ${HEAD + index * ROW})`} class={row.kind}>
            <line class="rule" x1="0" x2={width} y1="0" y2="0" />
            <foreignObject x="0" y="2" width={names - 12} height={ROW - 4}>
              <div class="rowname" title={row.name}>
                <span>{row.name}</span>
              </div>
            </foreignObject>
            {bars.map((bar) => (
              <BarOf key={bar.axle} bar={bar} row={row} x={x} scale={scale} unit={unit} />
            ))}
          </g>
        ))}
      </svg>
    </div>
  );
}

interface BarProps {
  bar: Bar;
  row: BudgetRow;
  x: (v: number) => number;
  scale: number;
  unit: string;
}

function BarOf({ bar: { axle, number, from }, row, x, scale, unit }: BarProps) {
  const best = number.best ?? 0;
  const end = from + best;
  const y = (axle === "front" ? 0 : TRACK - 2) + 1;
  const mid = y + TRACK / 2;
  const [low, high] = [from + (number.low ?? best), from + (number.high ?? best)];
  const [lowHalf, highHalf] = [from + (number.low_half ?? best), from + (number.high_half ?? best)];
  const words = `${row.name}, ${axle} axle: ${withUnit(write(best * scale, scale === 1 ? 3 : 0), unit)}`;
  const open = () => askWhy(number.why);
  const left = Math.min(x(low), x(from), x(end)) - 4;
  const right = Math.max(x(high), x(from), x(end)) + 4;
  return (
    <g
      class={`wbar ${axle}${number.why && whyName.value === number.why ? " chosen" : ""}`}
      role={number.why ? "button" : "img"}
      tabindex={number.why ? 0 : undefined}
      aria-label={number.why ? `${words}. Why?` : words}
      onClick={open}
      onKeyDown={(event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        open();
      }}
    >
      <rect class="hit" x={left} y={y} width={Math.max(28, right - left)} height={TRACK - 2} />
      <rect
        class="fill"
        x={Math.min(x(from), x(end))}
        y={mid - 7}
        width={Math.max(1, Math.abs(x(end) - x(from)))}
        height="12"
      />
      <line class="thin" x1={x(low)} x2={x(high)} y1={mid - 1} y2={mid - 1} />
      <line class="thick" x1={x(lowHalf)} x2={x(highHalf)} y1={mid - 1} y2={mid - 1} />
      <circle cx={x(end)} cy={mid - 1} r="3.5" />
    </g>
  );
}
