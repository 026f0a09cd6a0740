"""Figures of a floor: pressure in plan with the leak at its edges, load over ride height."""

import numpy as np
from matplotlib.axes import Axes

from tuftwork.floor import PlanResult
from tuftwork.plot.style import LIGHT, Theme, axes_or_new, house_style, two_sided_map
from tuftwork.quantity import Array

_DEEPEST = 3.0  # [-] Cp at the end of the colours


def floor_pressure(result: PlanResult, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw the pressure under a floor from above, the car driving to the left.

    Parameters
    ----------
    result
        A solved floor.
    ax, theme
        To draw on, and its colours.
    """
    ax = axes_or_new(ax, theme, height=70.0)
    with house_style(theme):
        x, y = _faces(result.x), _faces(result.y)
        mesh = ax.pcolormesh(
            x, y, result.pressure.T, cmap=two_sided_map(theme), vmin=-_DEEPEST, vmax=_DEEPEST,
            rasterized=True,
        )  # fmt: skip
        has_floor = np.isfinite(result.pressure)
        most = max(float(np.max(np.abs([result.leak_left, result.leak_right]))), 1e-9)
        reach = 0.12 * (y[-1] - y[0])
        for i in range(0, result.x.size, 3):
            rows = np.flatnonzero(has_floor[i])
            for edge, side, flow in (
                (y[rows[-1] + 1], 1.0, result.leak_right[i]),
                (y[rows[0]], -1.0, result.leak_left[i]),
            ):
                tail = edge + side * reach * abs(float(flow)) / most
                ends = (tail, edge) if flow > 0 else (edge, tail)
                ax.annotate(
                    "", (result.x[i], ends[1]), (result.x[i], ends[0]),
                    arrowprops={"arrowstyle": "->", "color": theme.front, "lw": 0.8,
                                "shrinkA": 0, "shrinkB": 0},
                )  # fmt: skip
        top = np.array([y[np.flatnonzero(row)[-1] + 1] for row in has_floor])
        low = np.array([y[np.flatnonzero(row)[0]] for row in has_floor])
        edge = np.concatenate([np.repeat(top, 2), np.repeat(low, 2)[::-1]])
        along = np.column_stack([x[:-1], x[1:]]).ravel()
        ring = np.concatenate([along, along[::-1]])
        ax.plot(np.append(ring, ring[0]), np.append(edge, edge[0]), color=theme.ink, lw=0.9)
        ax.set_ylim(y[0] - 1.3 * reach, y[-1] + 1.3 * reach)
        ax.set_aspect("equal")
        ax.set_xlabel("behind the front axle [m]")
        ax.set_ylabel("y [m]")
        figure = ax.get_figure(root=True)
        if figure is not None:
            bar = figure.colorbar(mesh, ax=ax, shrink=0.8, pad=0.02, extend="both")
            bar.set_label("Cp [-]")
    return ax


def ride_height_sweep(
    rear: Array,
    best: Array,
    low: Array,
    high: Array,
    *,
    rival: Array | None = None,
    rival_label: str = "closed form",
    now: float | None = None,
    ax: Axes | None = None,
    theme: Theme = LIGHT,
) -> Axes:
    """Draw CzS of the floor over rear ride height [mm], with its 80 % range and a rival answer."""
    ax = axes_or_new(ax, theme, height=62.0)
    with house_style(theme):
        ax.fill_between(rear, low, high, color=theme.ink, alpha=0.15, linewidth=0)
        ax.plot(rear, best, color=theme.ink, label="channel in plan")
        if rival is not None:
            ax.plot(rear, rival, color=theme.rear, linestyle=(0, (5, 3)), label=rival_label)
        _mark_now(ax, now, theme, at=0.97)
        ax.set_ylim(bottom=0.0)
        ax.set_xlabel("rear ride height at this rake [mm]")
        ax.set_ylabel("CzS of the floor [m²]")
        # above the axes: neither the curves nor the line at "now" can run into it
        ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), borderaxespad=0.3, labelspacing=0.25)
    return ax


def nose_sweep(
    clearance: Array,
    best: Array,
    low: Array,
    high: Array,
    *,
    now: float | None = None,
    ax: Axes | None = None,
    theme: Theme = LIGHT,
) -> Axes:
    """Draw CzS of a splitter over the height of its lip [mm], with its 80 % range."""
    ax = axes_or_new(ax, theme, height=62.0)
    with house_style(theme):
        ax.fill_between(clearance, low, high, color=theme.front, alpha=0.15, linewidth=0)
        ax.plot(clearance, best, color=theme.front)
        _mark_now(ax, now, theme, at=0.06)
        ax.set_ylim(bottom=0.0)
        ax.set_xlabel("lip over the road before it bends [mm]")
        ax.set_ylabel("CzS of the splitter [m²]")
    return ax


def _faces(middles: Array) -> Array:
    inner = 0.5 * (middles[1:] + middles[:-1])
    first, last = 2 * middles[0] - inner[0], 2 * middles[-1] - inner[-1]
    return np.concatenate([[first], inner, [last]])


def _mark_now(ax: Axes, now: float | None, theme: Theme, *, at: float) -> None:
    """Mark where the car stands, its word at a share of the height."""
    if now is None:
        return
    ax.axvline(now, color=theme.tuft, linewidth=0.9)
    ax.annotate(
        "now", (now, at), xycoords=("data", "axes fraction"), ha="right",
        va="top" if at > 0.5 else "bottom", fontsize=8, color=theme.tuft, xytext=(-3, 0),
        textcoords="offset points",
    )  # fmt: skip
