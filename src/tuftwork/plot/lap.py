"""Figures of the lap: plan, traces, worth of a unit, equal lap time, occupancy, margins."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.ticker import FuncFormatter

from tuftwork.errors import UnknownName
from tuftwork.lap import (
    AeroTable,
    CornerWorth,
    Lap,
    MarginCell,
    Occupancy,
    PolarPlane,
    ValueTable,
    plan_at,
)
from tuftwork.plot.style import LIGHT, Theme, axes_or_new, house_style
from tuftwork.quantity import Array

_KMH = 3.6
_MINUS = FuncFormatter(lambda v, _: f"{v:g}".replace("-", "−"))

COLOURINGS = {
    "speed": ("speed [km/h]", "viridis"),
    "front margin": ("grip left at the front [%]", "cividis"),
    "rear margin": ("grip left at the rear [%]", "cividis"),
}
"""What the plan can be coloured by, with its label and even colour map."""


def track_plan(
    lap: Lap, *, by: str = "speed", ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw the circuit in plan, coloured by speed or by what grip is left.

    Parameters
    ----------
    lap
        A solved lap.
    by
        One of ``COLOURINGS``.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        Plan in metres, corners named.
    """
    if by not in COLOURINGS:
        raise UnknownName("by", by, COLOURINGS)
    label, colours = COLOURINGS[by]
    ax = axes_or_new(ax, theme)
    t = lap.trace
    shown = {
        "speed": _KMH * t.speed,
        "front margin": 100.0 * (1.0 - t.use_front),
        "rear margin": 100.0 * (1.0 - t.use_rear),
    }[by]
    with house_style(theme):
        x, y = plan_at(lap.circuit, t.station)
        x, y = np.r_[x, x[0]], np.r_[y, y[0]]
        pieces = np.stack([np.c_[x[:-1], y[:-1]], np.c_[x[1:], y[1:]]], axis=1)
        line = LineCollection(list(pieces), cmap=colours, linewidths=3.0, capstyle="round")
        line.set_array(shown)
        ax.add_collection(line)
        ax.plot(x[0], y[0], marker="|", color=theme.ink, markersize=9, zorder=4)
        middle = np.array([x.mean(), y.mean()])
        for corner in lap.circuit.corners:
            cx, cy = plan_at(lap.circuit, np.array([corner.apex]))
            out = np.array([cx[0], cy[0]]) - middle
            out /= max(float(np.hypot(*out)), 1e-9)
            ax.annotate(
                corner.name, (float(cx[0]), float(cy[0])), xytext=tuple(11 * out),
                textcoords="offset points", fontsize=7, color=theme.ink,
                ha="left" if out[0] > 0.35 else "right" if out[0] < -0.35 else "center",
                va="bottom" if out[1] > 0.35 else "top" if out[1] < -0.35 else "center",
            )  # fmt: skip
        ax.set_aspect("equal")
        ax.margins(0.16, 0.12)
        ax.autoscale_view()
        ax.axis("off")
        bar = ax.figure.colorbar(line, ax=ax, shrink=0.7, pad=0.02)
        bar.set_label(label)
        bar.outline.set_visible(False)
    return ax


def speed_trace(laps: dict[str, Lap], *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw speed over distance for one or more laps of a circuit.

    Parameters
    ----------
    laps
        By name; the first is drawn in ink, the next ones in colour.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        Distance in km, speed in km/h.
    """
    ax = axes_or_new(ax, theme)
    colours = (theme.ink, theme.tuft, theme.front, theme.rear)
    with house_style(theme):
        for (name, lap), colour in zip(laps.items(), colours, strict=False):
            t = lap.trace
            ax.plot(
                t.station / 1e3, _KMH * t.speed, color=colour, label=f"{name}, {lap.time:.2f} s"
            )
        first = next(iter(laps.values()))
        low, high = ax.get_ylim()
        ax.set_ylim(low, high + 0.12 * (high - low))
        for corner in first.circuit.corners:
            ax.axvspan(corner.start / 1e3, corner.end / 1e3, color=theme.faint, alpha=0.10, lw=0)
        ax.set_xlim(0.0, first.circuit.length / 1e3)
        ax.set_xlabel("distance [km]")
        ax.set_ylabel("speed [km/h]")
        ax.legend(loc="upper right", frameon=False, ncols=len(laps), fontsize=7)
    return ax


def limit_strip(lap: Lap, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw ride heights over distance with a strip that says what limits.

    Parameters
    ----------
    lap
        A solved lap.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        Distance in km, ride heights in mm.
    """
    ax = axes_or_new(ax, theme)
    t = lap.trace
    s = t.station / 1e3
    with house_style(theme):
        ax.plot(s, 1e3 * t.ride_height_front, color=theme.front, label="front ride height")
        ax.plot(s, 1e3 * t.ride_height_rear, color=theme.rear, label="rear ride height")
        low, high = ax.get_ylim()
        strip = low - 0.10 * (high - low)
        for index, colour in enumerate((theme.faint, theme.front, theme.rear)):
            here = t.limit == index
            ax.fill_between(
                s, strip, low - 0.03 * (high - low), where=list(here), color=colour, lw=0,
                label=None if index else "power limits",
            )  # fmt: skip
        ax.set_ylim(strip, high + 0.15 * (high - low))
        ax.set_xlim(0.0, lap.circuit.length / 1e3)
        ax.set_xlabel("distance [km]")
        ax.set_ylabel("ride height [mm]")
        ax.legend(loc="upper right", frameon=False, ncols=3, fontsize=7)
    return ax


def worth_bars(table: ValueTable, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw seconds per unit with ranges, the driver's noise band behind them.

    Parameters
    ----------
    table
        From ``value_of_units``.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        Seconds; left of zero is quicker.
    """
    ax = axes_or_new(ax, theme)
    rows = sorted(table.worth, key=lambda w: abs(w.best))
    colour = {
        "quicker": theme.ok, "slower": theme.wrong, "below noise": theme.faint,
        "sign unknown": theme.doubt,
    }  # fmt: skip
    with house_style(theme):
        noise = rows[0].noise
        ax.axvspan(-noise, noise, color=theme.faint, alpha=0.13, lw=0)
        ax.axvline(0.0, color=theme.ink, lw=0.8)
        for i, w in enumerate(rows):
            ax.plot([w.low, w.high], [i, i], color=colour[w.verdict], lw=2.0)
            ax.plot(w.best, i, "o", color=colour[w.verdict], ms=4.5)
        reach = 1.15 * max(noise, *(max(abs(w.low), abs(w.high)) for w in rows))
        ax.set_xlim(-reach, reach)
        ax.set_yticks(range(len(rows)), [w.name for w in rows])
        ax.set_ylim(-0.7, len(rows) - 0.3)
        ax.set_title("grey band: smaller than the driver's scatter", loc="left", fontsize=8)
        ax.xaxis.set_major_formatter(_MINUS)
        ax.set_xlabel("lap time [s], left is quicker")
    return ax


def equal_lap_lines(plane: PolarPlane, *, ax: Axes | None = None, theme: Theme = LIGHT) -> Axes:
    """Draw lines of equal lap time over drag and downforce.

    Parameters
    ----------
    plane
        From ``polar_plane``.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        CxS and CzS in m².
    """
    ax = axes_or_new(ax, theme)
    x, z = plane.here[0] + plane.drag, plane.here[1] + plane.downforce
    base = float(plane.time[plane.drag.size // 2, plane.downforce.size // 2])
    delta = plane.time.T - base
    with house_style(theme):
        step = _round_step(float(np.ptp(delta)) / 8.0)
        reach = np.ceil(np.abs(delta).max() / step) * step
        levels = np.arange(-reach, reach + 0.5 * step, step)
        lines = ax.contour(x, z, delta, levels=levels, colors=theme.ink, linewidths=0.9)
        digits = 2 if step >= 0.01 else 3
        ax.clabel(lines, fmt=lambda v: f"{v:+.{digits}f} s".replace("-", "−"), fontsize=7)
        ax.plot(*plane.here, "o", color=theme.tuft, ms=6)
        ax.annotate(
            f"here {base:.2f} s", plane.here, xytext=(8, 7), textcoords="offset points",
            color=theme.tuft, fontsize=8,
            bbox={"facecolor": theme.paper, "edgecolor": "none", "pad": 1.0},
        )  # fmt: skip
        ax.set_xlabel("drag area CxS [m²]")
        ax.set_ylabel("downforce area CzS [m²]")
    return ax


def _round_step(step: float) -> float:
    """Return a round step not below the one given."""
    power = 10.0 ** np.floor(np.log10(max(step, 1e-6)))
    return float(next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= step))


def occupancy_on_map(
    found: Occupancy, aero: AeroTable, *, state: int = 0, ax: Axes | None = None,
    theme: Theme = LIGHT,
) -> Axes:  # fmt: skip
    """Draw where on the map the lap is spent, over lines of rear downforce.

    Parameters
    ----------
    found
        From ``occupancy``.
    aero, state
        The table and the block of it.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        Rear and front ride height in mm.
    """
    ax = axes_or_new(ax, theme)
    rear = aero.downforce_rear
    rear = rear[0, state] if rear.ndim == 4 else rear[state]
    with house_style(theme):
        seconds = found.seconds.sum(axis=2)
        shade = ax.pcolormesh(
            1e3 * found.edges_rear, 1e3 * found.edges_front,
            np.where(seconds > 0.0, seconds, np.nan), cmap="YlOrBr", shading="flat",
        )  # fmt: skip
        lines = ax.contour(
            1e3 * aero.ride_height_rear, 1e3 * aero.ride_height_front, rear,
            levels=8, colors=theme.rear, linewidths=0.9,
        )  # fmt: skip
        ax.clabel(lines, fmt="%.2f", fontsize=7)
        ax.set_xlim(1e3 * found.edges_rear[0] - 3.0, 1e3 * found.edges_rear[-1] + 3.0)
        ax.set_ylim(1e3 * found.edges_front[0] - 3.0, 1e3 * found.edges_front[-1] + 3.0)
        bar = ax.figure.colorbar(shade, ax=ax, pad=0.02)
        bar.set_label("time there [s]")
        bar.outline.set_visible(False)
        ax.set_title(
            f"lines: CzS rear [m²]; {100 * found.near_cliff:.0f} % of the lap on the cliff",
            loc="left",
            fontsize=8,
        )  # fmt: skip
        ax.set_xlabel("rear ride height [mm]")
        ax.set_ylabel("front ride height [mm]")
    return ax


def corner_bars(
    corners: tuple[CornerWorth, ...], *, ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw seconds gained or lost corner by corner.

    Parameters
    ----------
    corners
        From ``worth_by_corner``.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        Seconds; below zero is quicker.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        seconds = np.array([c.seconds for c in corners])
        colours = [theme.ok if s < 0.0 else theme.wrong for s in seconds]
        ax.bar(np.arange(seconds.size), seconds, color=colours, width=0.62)
        ax.axhline(0.0, color=theme.ink, lw=0.8)
        names = [f"{c.name}\n{_KMH * c.speed_before:.0f} km/h" for c in corners]
        ax.set_xticks(np.arange(seconds.size), names, rotation=55, ha="right", fontsize=7)
        ax.yaxis.set_major_formatter(_MINUS)
        ax.set_ylabel("change [s]")
        ax.set_title(f"sum {seconds.sum():+.3f} s".replace("-", "−"), loc="left", fontsize=8)
    return ax


def margin_bars(
    cells: tuple[MarginCell, ...], *, ax: Axes | None = None, theme: Theme = LIGHT
) -> Axes:
    """Draw grip left at each axle by corner phase and speed band.

    Parameters
    ----------
    cells
        From ``margins``.
    ax, theme
        To draw on, and its colours.

    Returns
    -------
    ax
        Per cent of each axle's grip.
    """
    ax = axes_or_new(ax, theme)
    with house_style(theme):
        place: Array = np.arange(float(len(cells)))
        front, rear = [100 * c.front for c in cells], [100 * c.rear for c in cells]
        ax.barh(place - 0.19, front, 0.34, color=theme.front, label="front")
        ax.barh(place + 0.19, rear, 0.34, color=theme.rear, label="rear")
        ax.set_yticks(place, [f"{c.phase}, {c.band} speed ({c.seconds:.0f} s)" for c in cells])
        ax.invert_yaxis()
        ax.axvline(0.0, color=theme.ink, lw=0.8)
        ax.set_xlabel("grip left [%]")
        ax.legend(loc="lower right", frameon=False, fontsize=7)
    return ax
