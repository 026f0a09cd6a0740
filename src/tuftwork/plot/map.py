"""The aero map as a picture: contours over the ride heights, the car's path, cloud and cliff."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator

from tuftwork.aeromap.balance import cliff_line
from tuftwork.aeromap.equilibrium import PlatformPath
from tuftwork.aeromap.interpolate import evaluate
from tuftwork.aeromap.map import AeroMap, map_surface
from tuftwork.errors import UnknownName
from tuftwork.plot.style import LIGHT, Theme, axes_or_new, even_map, house_style
from tuftwork.quantity import Array

Shown = Literal["total", "front", "rear", "drag", "share"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Field:
    title: str
    unit: str
    factor: float = 1.0


FIELDS: dict[str, _Field] = {
    "total": _Field(title="Downforce area CzS", unit="m²"),
    "front": _Field(title="Front axle CzSf", unit="m²"),
    "rear": _Field(title="Rear axle CzSr", unit="m²"),
    "drag": _Field(title="Drag area CxS", unit="m²"),
    "share": _Field(title="Front share of downforce", unit="%", factor=100.0),
}
"""What can be shown."""
_N_FINE = 121
_CLOUD_SPEEDS = 6  # clouds shown at most; more hide each other


def load_map(
    aero_map: AeroMap,
    shown: Shown | str = "total",
    *,
    state: str = "",
    path: PlatformPath | None = None,
    ax: Axes | None = None,
    theme: Theme = LIGHT,
) -> Axes:
    """Draw contours of one field over front and rear ride height, and the car's path on them.

    Cells outside what was checked, or beyond a table of the engines, are hatched.

    Parameters
    ----------
    aero_map
        The map; the median of its draws is contoured.
    shown
        Key of ``FIELDS``.
    state
        Name of the state; the first unless given.
    path
        Where the car rides; with it its cloud of draws. The rear axle's cliff is drawn always.
    ax
        To draw on.
    theme
        Of the colours.

    Returns
    -------
    ax
        With heights in mm.
    """
    if shown not in FIELDS:
        raise UnknownName("shown", shown, FIELDS)
    about = FIELDS[shown]
    ax = axes_or_new(ax, theme, height=105.0)
    with house_style(theme):
        surface = map_surface(aero_map, state)
        front = np.linspace(aero_map.front[0], aero_map.front[-1], _N_FINE)
        rear = np.linspace(aero_map.rear[0], aero_map.rear[-1], _N_FINE)
        hf, hr = (h.ravel() for h in np.meshgrid(front, rear, indexing="ij"))
        values = _chosen(evaluate(surface, hf, hr), shown)
        field = about.factor * np.median(values, axis=-1).reshape(_N_FINE, _N_FINE)
        _contours(ax, (front * 1e3, rear * 1e3, field), theme)
        _hatched(ax, aero_map, state, theme)
        edge = np.nanmedian(_some(cliff_line(surface, "rear", front)), axis=1)
        _cliff(ax, front * 1e3, edge * 1e3, theme)
        if path is not None:
            _path(ax, path, theme)
        ax.set_xlabel("front ride height hf [mm]")
        ax.set_ylabel("rear ride height hr [mm]")
        ax.set_title(f"{about.title} [{about.unit}]")
    return ax


def _some(edges: Array) -> Array:
    """Return edges with rows of nothing but NaN made quiet: the median of nothing warns."""
    return np.where(np.mean(np.isfinite(edges), axis=1, keepdims=True) > 0.5, edges, np.inf)


def _chosen(fields: Array, shown: str) -> Array:
    front, rear, drag = fields
    whole = front + rear
    answers = {"total": whole, "front": front, "rear": rear, "drag": drag}
    if shown == "share":
        return np.asarray(front / np.where(np.abs(whole) > 1e-9, whole, np.nan))
    return np.asarray(answers[shown])


def _contours(ax: Axes, field: tuple[Array, Array, Array], theme: Theme) -> None:
    front, rear, values = field
    levels = MaxNLocator(18).tick_values(float(np.nanmin(values)), float(np.nanmax(values)))
    ax.contourf(front, rear, values.T, levels=levels, cmap=even_map(theme))
    lines = ax.contour(front, rear, values.T, levels=levels[::2], colors=theme.ink, linewidths=0.4)
    ax.clabel(lines, fontsize=7, fmt="%g", colors=theme.ink)


def _hatched(ax: Axes, aero_map: AeroMap, state: str, theme: Theme) -> None:
    """Hatch cells outside what was checked or worked out."""
    beyond = aero_map.extrapolated[aero_map.place(state)]
    if not np.any(beyond):
        return
    with rc_context({"hatch.color": theme.faint, "hatch.linewidth": 0.5}):
        ax.contourf(
            1e3 * aero_map.front, 1e3 * aero_map.rear, beyond.T.astype(float), levels=[0.5, 1.5],
            colors="none", hatches=["//"],
        )  # fmt: skip
    ax.text(
        0.99, 0.985, "hatched: beyond what was worked out or checked", transform=ax.transAxes,
        ha="right", va="top", fontsize=8, color=theme.ink, zorder=6,
        path_effects=[withStroke(linewidth=2.6, foreground=theme.paper)],
    )  # fmt: skip


def _cliff(ax: Axes, front: Array, edge: Array, theme: Theme) -> None:
    seen = np.isfinite(edge)
    if not np.any(seen):
        return
    halo = [withStroke(linewidth=3.0, foreground=theme.paper)]
    ax.plot(
        front[seen], edge[seen], color=theme.tuft, linewidth=1.6, dashes=(4, 2), path_effects=halo
    )
    k = np.flatnonzero(seen)[int(0.04 * seen.sum())]
    _note(ax, front[k], edge[k], "rear cliff begins below", theme.tuft, theme, shift=(2, 6))


def _path(ax: Axes, path: PlatformPath, theme: Theme) -> None:
    front, rear = 1e3 * path.ride_height_front, 1e3 * path.ride_height_rear
    step = max(1, int(np.ceil(path.speed.size / _CLOUD_SPEEDS)))
    chosen = range(path.speed.size - 1, -1, -step)
    for s in chosen:
        ax.plot(front[s], rear[s], ".", color=theme.ink, alpha=0.3, markersize=2.0, zorder=3)
    best_front, best_rear = np.nanmedian(front, axis=1), np.nanmedian(rear, axis=1)
    halo = [withStroke(linewidth=3.2, foreground=theme.paper)]
    ax.plot(best_front, best_rear, color=theme.ink, linewidth=1.6, path_effects=halo, zorder=4)
    for s in chosen:
        ax.plot(
            best_front[s], best_rear[s], "o", color=theme.ink, markersize=5.5,
            markeredgecolor=theme.paper, zorder=5,
        )  # fmt: skip
        speed = f"{3.6 * path.speed[s]:.0f}"
        text = f"{speed} km/h" if s == path.speed.size - 1 else speed
        _note(ax, best_front[s], best_rear[s], text, theme.ink, theme, shift=(7, -9))


def _note(ax: Axes, x: float, y: float, text: str, colour: str, theme: Theme, **how: Any) -> None:
    ax.annotate(
        text, (x, y), xytext=how["shift"], textcoords="offset points", color=colour, fontsize=8,
        fontweight=600, zorder=6, path_effects=[withStroke(linewidth=2.6, foreground=theme.paper)],
    )  # fmt: skip
