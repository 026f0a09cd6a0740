/** Controls: a choice of few, a slider with its number. */

import { withUnit, write } from "../number";

interface ChoiceProps<T extends string> {
  label: string;
  value: T;
  options: readonly (readonly [T, string])[];
  onPick: (value: T) => void;
  hideLabel?: boolean;
}

export function Choice<T extends string>({ label, value, options, onPick, hideLabel }: ChoiceProps<T>) {
  return (
    <fieldset class="choice">
      <legend class={hideLabel ? "unseen" : ""}>{label}</legend>
      <div>
        {options.map(([key, text]) => (
          <label key={key} class={key === value ? "on" : ""}>
            <input
              type="radio"
              name={label}
              value={key}
              checked={key === value}
              onChange={() => onPick(key)}
            />
            {text}
          </label>
        ))}
      </div>
    </fieldset>
  );
}

interface SliderProps {
  label: string;
  value: number;
  low: number;
  high: number;
  step: number;
  unit: string;
  /** Digits after the point, where the value may stand between two steps. */
  places?: number;
  onMove: (value: number) => void;
}

export function Slider({ label, value: exact, low, high, step, unit, places = step < 1 ? 1 : 0, onMove }: SliderProps) {
  const value = Number(exact.toFixed(places));
  const read = write(value, places);
  return (
    <label class="slider">
      <span class="name">{label}</span>
      <input
        type="range"
        min={low}
        max={high}
        step={step}
        value={value}
        aria-valuetext={withUnit(read, unit)}
        onInput={(event) => onMove(Number(event.currentTarget.value))}
      />
      <span class="read">
        <b>{read}</b>
        {withUnit("", unit)}
      </span>
    </label>
  );
}
