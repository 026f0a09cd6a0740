"""The budget as a waterfall: each part and interaction a step, with the range of its step."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from tuftwork.plot.style import LIGHT, Theme, axes_or_new, house_style, range_bar
from tuftwork.quantity import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterfallStep:
    """One step of the waterfall.

    Attributes
    ----------
    name
        What it is about.
    kind
        ``part``, ``interaction``, ``total`` or ``measured``.
    front, rear : (n_draw,)
        CzSf and CzSr. [m²]
    """

    name: str
    kind: str
    front: Array
    rear: Array


def waterfall(
    steps: Sequence[WaterfallStep], *, ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw where the downforce comes from, step by step down to the whole car.

    Parameters
    ----------
    steps
        Parts and interactions, then the total and what was measured.
    ax
        To draw on.
    theme
        Of the colours.

    Returns
    -------
    axes
        With CzS in m² along the bottom; front axle share in one colour, rear in the other.
    """
    rows = list(steps)
    ax = axes_or_new(ax, theme, height=5.2 * len(rows) + 20)
    with house_style(theme):
        reached = 0.0
        for place, step in enumerate(rows):
            front, rear = float(np.median(step.front)), float(np.median(step.rear))
            total = step.front + step.rear
            start = 0.0 if step.kind in ("total", "measured") else reached
            if step.kind == "measured":
                range_bar(ax, place, total, theme.ink)
            else:
                _bars(ax, place, start, front, rear, theme)
                range_bar(ax, place, start + total, theme.ink)
            if step.kind in ("part", "interaction"):
                reached += float(np.median(total))
                ax.plot([reached] * 2, [place, place + 1], color=theme.faint, linewidth=0.5)
        _labels(ax, rows, theme)
    return ax


def _bars(ax: Axes, place: int, start: float, front: float, rear: float, theme: Theme) -> None:
    """Draw front then rear, one above the other, so that opposite signs stay readable."""
    ax.barh(place - 0.17, front, 0.3, left=start, color=theme.front, alpha=0.75, linewidth=0)
    ax.barh(place + 0.17, rear, 0.3, left=start, color=theme.rear, alpha=0.75, linewidth=0)


def _labels(ax: Axes, rows: Sequence[WaterfallStep], theme: Theme) -> None:
    ax.set_yticks(range(len(rows)), [row.name for row in rows])
    for label, row in zip(ax.get_yticklabels(), rows, strict=True):
        label.set_fontweight("semibold" if row.kind in ("total", "measured") else "normal")
        if row.kind == "interaction":
            label.set_color(theme.faint)
    ax.invert_yaxis()
    ax.tick_params(axis="y", length=0)
    ax.axvline(0.0, color=theme.ink, linewidth=0.8)
    ax.grid(axis="x")
    ax.set_xlabel("CzS [m²]")
    low, high = ax.get_xlim()
    ax.set_xlim(low, high + 0.04 * (high - low))
    for x, text, colour in ((0.0, "front axle", theme.front), (0.16, "rear axle", theme.rear)):
        ax.text(x, 1.02, text, transform=ax.transAxes, color=colour, fontsize=8.5, fontweight=600)
    ax.text(
        0.31, 1.02, "dot and bars: sum so far, 50 and 80 % range of the step",
        transform=ax.transAxes, color=theme.faint, fontsize=8,
    )  # fmt: skip
