"""Figures of the car as a system: sums beside each other, damping and cliffs against speed."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from tuftwork.plot.style import LIGHT, Theme, axes_or_new, house_style
from tuftwork.quantity import Array


def beside(
    rows: Sequence[tuple[str, Array]], *, ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw ranges under each other against zero: isolated parts, what is between, the system.

    Parameters
    ----------
    rows
        Name and draws ``(n_draw,)``, from the top. [m²]
    ax
        To draw on.
    theme
        Of the colours.
    """
    ax = axes_or_new(ax, theme, height=12.0 + 8.0 * len(rows))
    with house_style(theme):
        for place, (_, draws) in enumerate(rows):
            low, low_half, best, high_half, high = np.quantile(draws, (0.1, 0.25, 0.5, 0.75, 0.9))
            ax.plot([low, high], [place, place], color=theme.ink, lw=1.1)
            ax.plot([low_half, high_half], [place, place], color=theme.ink, lw=4.0,
                    solid_capstyle="butt")  # fmt: skip
            ax.plot(best, place, "o", color=theme.ink, markeredgecolor=theme.paper, ms=6)
        ax.axvline(0.0, color=theme.ink, lw=0.8)
        ax.set_yticks(range(len(rows)), [name for name, _ in rows])
        ax.set_ylim(len(rows) - 0.4, -0.6)
        ax.set_xlabel("CzS [m²]")
        ax.grid(axis="x")
        ax.tick_params(axis="y", length=0)
    return ax


def against_speed(
    speed: Array,
    curves: Sequence[tuple[str, str, Array]],
    label: str,
    *,
    ax: Axes | None = None,
    theme: Theme = LIGHT,
    zero: bool = True,
) -> Axes:
    """Draw fans of draws against speed.

    Parameters
    ----------
    speed : (n_speed,)
        [km/h]
    curves
        Name, colour's name in the theme, draws ``(n_speed, n_draw)``; NaN where there is nothing.
    label
        Of the upright axis, with its unit.
    zero
        Whether zero is a line that matters.
    """
    ax = axes_or_new(ax, theme, height=58.0)
    with house_style(theme):
        for name, tone, draws in curves:
            seen = np.mean(np.isfinite(draws), axis=1) >= 0.5
            if not np.any(seen):
                continue
            x = speed[seen]
            bands = np.nanquantile(draws[seen], (0.1, 0.25, 0.5, 0.75, 0.9), axis=1)
            colour = getattr(theme, tone)
            ax.fill_between(x, bands[0], bands[4], color=colour, alpha=0.16, lw=0)
            ax.fill_between(x, bands[1], bands[3], color=colour, alpha=0.26, lw=0)
            ax.plot(x, bands[2], color=colour, lw=1.5)
            ax.annotate(name, (x[-1], bands[2][-1]), xytext=(5, 0), textcoords="offset points",
                        color=colour, va="center", fontsize=8)  # fmt: skip
        if zero:
            ax.axhline(0.0, color=theme.ink, lw=0.8)
        ax.set_xlabel("speed [km/h]")
        ax.set_ylabel(label)
        ax.grid(axis="y")
        ax.margins(x=0.0)
    return ax
