"""Figures of wings: span loading against the ideal, stall margin, loads over height."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from tuftwork.plot.style import LIGHT, Theme, axes_or_new, house_style
from tuftwork.wing import WingResult

_MINUS = FuncFormatter(lambda v, _: f"{v:g}".replace("-", "\N{MINUS SIGN}"))


def span_load(
    result: WingResult, *, ax: Axes | None = None, theme: Theme = LIGHT, label: str = ""
) -> Axes:
    """Draw the load along the span against the elliptic load of the same total.

    Parameters
    ----------
    result
        A solved wing.
    ax, theme
        To draw on, and its colours.
    label
        For a legend when two designs share the axes.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        colours = (theme.ink, theme.rear, theme.front, theme.faint)
        for k in np.unique(result.surface):
            mine = result.surface == k
            load = (result.lift * result.chord * result.speed**2)[mine]
            ideal = (result.ideal_lift * result.chord * result.speed**2)[mine]
            y = result.y[mine]
            ax.plot(y, load, color=colours[int(k) % 4], label=label or f"surface {int(k) + 1}")
            ax.plot(y, ideal, color=colours[int(k) % 4], linewidth=0.8, linestyle=(0, (4, 3)))
        ax.annotate(
            "dashed: elliptic, same total", (0.02, 0.04), xycoords="axes fraction",
            fontsize=8, color=theme.faint,
        )  # fmt: skip
        ax.set_ylim(bottom=min(0.0, float(ax.get_ylim()[0])))
        ax.set_xlabel("y [m]")
        ax.set_ylabel("downforce per span [m² per m]")
        ax.xaxis.set_major_formatter(_MINUS)
        if np.unique(result.surface).size > 1 or label:
            ax.legend()
    return ax


def stall_margin(result: WingResult, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw the incidence left before each strip stalls; below zero it has stalled."""
    ax = axes_or_new(ax, theme, height=65.0)
    with house_style(theme):
        colours = (theme.ink, theme.rear, theme.front, theme.faint)
        for k in np.unique(result.surface):
            mine = result.surface == k
            ax.plot(result.y[mine], np.rad2deg(result.margin[mine]), color=colours[int(k) % 4])
        ax.axhline(0.0, color=theme.tuft, linewidth=0.8)
        low = min(0.0, float(np.rad2deg(result.margin.min())))
        ax.set_ylim(low - 1.0, float(np.rad2deg(result.margin.max())) + 1.0)
        ax.annotate(
            "stall", (0.99, 0.0), xycoords=("axes fraction", "data"), xytext=(0, 3),
            textcoords="offset points", ha="right", fontsize=8, color=theme.tuft,
        )  # fmt: skip
        ax.set_xlabel("y [m]")
        ax.set_ylabel("margin to stall [°]")
        for axis in (ax.xaxis, ax.yaxis):
            axis.set_major_formatter(_MINUS)
    return ax
