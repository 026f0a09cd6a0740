"""A toy of the demo car, for pages only: invented numbers that hang together."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tuftwork.quantity.format import THIN, digits_after_point, format_number

Draws = NDArray[np.float64]
G = 9.80665
DENSITY = 1.18
RATE_FRONT, RATE_REAR = 113.0, 121.0  # [N/mm]
N_DRAW = 256
STATES = {"as raced": (0.0, 0.0), "wing 12": (-0.015, 0.135), "no wing": (0.085, -0.737)}

_FRONT = np.array(
    [[30, 0.66], [38, 0.688], [42.1, 0.687], [47.2, 0.673], [53, 0.639], [60, 0.60], [80, 0.47]]
)
_REAR = np.array(
    [
        [40, 0.60],
        [52, 0.645],
        [55.7, 0.702],
        [57, 0.765],
        [58, 0.858],
        [59.3, 0.956],
        [63.7, 0.987],
        [71, 0.945],
        [85, 0.84],
        [100, 0.76],
    ]
)


@dataclass(frozen=True)
class Platform:
    """Draws of the platform and its loads at one speed."""

    speed: float
    hf: Draws
    hr: Draws
    front: Draws
    rear: Draws
    drag: Draws

    @property
    def total(self) -> Draws:
        return self.front + self.rear

    @property
    def share(self) -> Draws:
        return 100.0 * self.front / self.total

    @property
    def at(self) -> str:
        return (
            f"hf {np.median(self.hf):.1f}{THIN}mm, hr {np.median(self.hr):.1f}{THIN}mm, "
            f"{self.speed:g}{THIN}km/h"
        )


class ToyCar:
    """Loads from ride heights by two curves, with draws of their scale and of the cliff."""

    def __init__(self) -> None:
        rng = np.random.default_rng(20261125)
        self.scale_front = rng.normal(1.0, 0.045, N_DRAW)
        self.scale_rear = rng.normal(1.0, 0.055, N_DRAW)
        self.cliff = rng.normal(0.0, 1.1, N_DRAW)
        self.scale_drag = rng.normal(1.0, 0.02, N_DRAW)

    def loads(self, hf: Any, hr: Any, state: str, draws: bool = True) -> tuple[Draws, Draws, Draws]:
        """Return CzSf, CzSr, CxS [m²] at ride heights [mm]."""
        extra_front, extra_rear = STATES[state]
        shift = self.cliff if draws else 0.0
        front = np.interp(hf, _FRONT[:, 0], _FRONT[:, 1]) + extra_front
        rear = np.interp(np.asarray(hr) - shift, _REAR[:, 0], _REAR[:, 1]) + extra_rear
        drag = 0.80 + 0.11 * np.asarray(rear) + 0.03 * np.asarray(front)
        if draws:
            return front * self.scale_front, rear * self.scale_rear, drag * self.scale_drag
        return front, rear, drag

    def platform(
        self, speed: float, state: str, static: tuple[float, float] = (58.0, 71.0)
    ) -> Platform:
        """Return the platform at a speed [km/h] by damped repetition."""
        q = pressure(speed)
        hf = np.full(N_DRAW, static[0] - 6.0)
        hr = np.full(N_DRAW, static[1] - 6.0)
        for _ in range(60):
            front, rear, _ = self.loads(hf, hr, state)
            hf += 0.3 * (static[0] - q * front / RATE_FRONT - hf)
            hr += 0.3 * (static[1] - q * rear / RATE_REAR - hr)
        front, rear, drag = self.loads(hf, hr, state)
        return Platform(speed, hf, hr, front, rear, drag)


def pressure(speed: float) -> float:
    """Return ½ρV² [Pa] at a speed in km/h."""
    return 0.5 * DENSITY * (speed / 3.6) ** 2


def number(
    draws: Any, unit: str, origin: str = "computed", at: str = "", why: str = "", **more: Any
) -> dict[str, Any]:
    """Return a number as pages hold it, from draws or from (low, best, high)."""
    if isinstance(draws, tuple):
        low, best, high = (float(v) for v in draws)
        low_half, high_half = best + 0.53 * (low - best), best + 0.53 * (high - best)
    else:
        low, low_half, best, high_half, high = (
            float(v) for v in np.quantile(draws, [0.1, 0.25, 0.5, 0.75, 0.9])
        )
    made: dict[str, Any] = {
        "text": _text(best, low, high, unit),
        "best": best,
        "low": low,
        "high": high,
        "low_half": low_half,
        "high_half": high_half,
        "unit": unit,
        "origin": origin,
        **more,
    }
    if at:
        made["at"] = at
    if why:
        made["why"] = why
    return made


def _text(best: float, low: float, high: float, unit: str) -> str:
    tail = f"{THIN}{unit}" if unit else ""
    if not high > low:
        return f"{best:g}".replace("-", "\u2212") + tail
    digits = digits_after_point((high - low) / 2)
    low_text, high_text = format_number(low, digits), format_number(high, digits)
    return f"{format_number(best, digits)}{tail} ({low_text} to {high_text})"
