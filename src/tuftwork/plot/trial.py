"""Figures of a test day: before and after its cures, predicted against measured."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from tuftwork.plot.style import LIGHT, Theme, axes_or_new, house_style, name_line, range_bar
from tuftwork.quantity import Array

_KMH = 3.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One result, draw by draw. [m/s], [m], [m²]"""

    speed: float
    height_rear: Array
    front: Array
    rear: Array


def before_after(
    before: Sequence[Measured],
    after: Sequence[Measured],
    *,
    ax: Axes | None = None,
    theme: Theme = LIGHT,
) -> Axes:
    """Return CzSr over the rear ride height, as read and with the cures.

    Parameters
    ----------
    before, after
        Results of the baseline, as read and cured, in the order of speed.
    """
    axes = axes_or_new(ax, theme, height=85.0)
    with house_style(theme):
        for rows, colour, style in ((before, theme.faint, "--"), (after, theme.rear, "-")):
            x = [1e3 * float(np.median(r.height_rear)) for r in rows]
            y = [float(np.median(r.rear)) for r in rows]
            axes.plot(x, y, style, color=colour, linewidth=1.2)
            for at, row in zip(x, rows, strict=True):
                range_bar(axes, at, row.rear, colour, upright=True)
        if before and after:
            for rows, colour, text in ((before, theme.faint, "as read"),
                                       (after, theme.rear, "with the cures")):  # fmt: skip
                first = rows[0]
                place = 1e3 * float(np.median(first.height_rear)), float(np.median(first.rear))
                name_line(axes, *place, text, colour, shift=(8, 0))
            _speeds(axes, after, theme)
        axes.set_xlabel("hr, ride height at the rear axle line  [mm]")
        axes.set_ylabel("CzSr  [m²]")
        axes.grid(axis="y")
        axes.margins(x=0.13, y=0.2)
    return axes


def _speeds(axes: Axes, rows: Sequence[Measured], theme: Theme) -> None:
    """Write the speed of the first and last point beside them."""
    for row in (rows[0], rows[-1]):
        x, y = 1e3 * float(np.median(row.height_rear)), float(np.median(row.rear))
        axes.annotate(
            f"{row.speed * _KMH:.0f} km/h", (x, y), xytext=(0, -24), textcoords="offset points",
            ha="center", fontsize=8, color=theme.faint,
        )  # fmt: skip


def agreement(
    measured: Sequence[Measured],
    predicted: Sequence[Measured],
    *,
    ax: Axes | None = None,
    theme: Theme = LIGHT,
) -> Axes:
    """Return both axles' CzS over speed: the model's 80 % range as a band, measured as bars."""
    axes = axes_or_new(ax, theme, height=85.0)
    with house_style(theme):
        speed = np.array([r.speed * _KMH for r in predicted])
        for axle, colour in (("front", theme.front), ("rear", theme.rear)):
            draws = np.stack([getattr(r, axle) for r in predicted])
            low, best, high = np.quantile(draws, (0.1, 0.5, 0.9), axis=1)
            axes.fill_between(speed, low, high, color=colour, alpha=0.14, linewidth=0)
            axes.plot(speed, best, color=colour, linewidth=1.0, linestyle="--")
            for row in measured:
                range_bar(axes, row.speed * _KMH, getattr(row, axle), colour, upright=True)
            name_line(axes, float(speed[-1]), float(best[-1]), f"CzS{axle[0]} predicted", colour)
        axes.set_xlabel("speed  [km/h]")
        axes.set_ylabel("CzS of an axle  [m²]")
        axes.grid(axis="y")
        axes.margins(x=0.16)
    return axes
