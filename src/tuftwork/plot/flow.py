"""Figures of a run of the 3-D flow, drawn without a graphics card.

Surfaces come from the software painter in ``render``; what lies on planes is an ordinary map.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import Colormap, to_rgb
from matplotlib.figure import Figure

from tuftwork.flow.scale import round_end
from tuftwork.plot.render import Canvas, View, paint_surface, seen_line
from tuftwork.plot.style import LIGHT, Theme, even_map, house_style, new_figure, two_sided_map

PRESSURE = (-1.5, 1.0)
"""Pressure coefficients at the ends of the scale; zero has the paper's colour. [-]"""
PIXELS = 1150
LOSS = (0.0, 1.0)
SPEED = (0.0, 1.4)
Tree = Mapping[str, Any]


def pressure_view(
    surface: Tree,
    *,
    azimuth: float,
    elevation: float,
    theme: Theme = LIGHT,
    ax: Axes | None = None,
    pixels: int = PIXELS,
    field: str = "pressure",
) -> Axes:
    """Draw the surface coloured by its pressure coefficient, or its fluctuation, with the scale.

    Parameters
    ----------
    surface
        ``vertices`` (n, 3) [m], ``faces`` (m, 3) and the field (n,) [-].
    azimuth, elevation
        From where it is seen. [rad]
    theme
        ``LIGHT`` for paper.
    ax
        To draw on; a page-wide figure unless given.
    pixels
        Width of the painted picture.
    field
        ``pressure`` or ``pressure_rms``.
    """
    vertices = np.asarray(surface["vertices"], dtype=float)
    view = _view(vertices, azimuth, elevation, pixels)
    canvas = Canvas.empty(view)
    values = np.asarray(surface[field], dtype=float)
    paint_surface(canvas, view, vertices, np.asarray(surface["faces"], np.int64), values)
    found = _axes(ax, view, theme)
    label, ends, colours = "Cp, mean", PRESSURE, pressure_map(theme)
    if field == "pressure_rms":
        ends, colours = (0.0, round_end(values)), even_map(theme)
        label = f"fluctuation of Cp, rms; largest {np.nanmax(values, initial=0.0):.2g}"
    _show(found, _coloured(canvas, colours, ends, theme))
    _scale(found, colours, ends, label, theme)
    return found


def vortex_view(
    record: Tree, *, azimuth: float, elevation: float, theme: Theme = LIGHT, ax: Axes | None = None
) -> Axes:
    """Draw the vortex surface coloured by the loss of total pressure, streamlines and the car.

    Parameters
    ----------
    record
        With ``surface``, ``vortices`` and ``lines``.
    azimuth, elevation, theme, ax
        As for ``pressure_view``.
    """
    car = np.asarray(record["surface"]["vertices"], dtype=float)
    vortex = np.asarray(record["vortices"]["vertices"], dtype=float)
    length = float(np.ptp(car[:, 0]))
    high = car.max(axis=0) + np.array([0.55 * length, 0.0, 0.1])
    view = _view(np.stack([car.min(axis=0), high]), azimuth, elevation)
    body, swirl = Canvas.empty(view), Canvas.empty(view)
    faces = np.asarray(record["surface"]["faces"], np.int64)
    paint_surface(body, view, car, faces, np.zeros(len(car)))
    paint_surface(
        swirl, view, vortex, np.asarray(record["vortices"]["faces"], np.int64),
        np.asarray(record["vortices"]["loss"], dtype=float),
    )  # fmt: skip
    ahead = swirl.near > body.near
    colour_map = even_map(theme)
    body_colour = np.array(to_rgb(theme.hair)) * (0.75 + 0.3 * body.shade[..., None])
    paper = np.array(to_rgb(theme.paper))
    picture = np.where(np.isfinite(body.near)[..., None], np.clip(body_colour, 0, 1), paper)
    wool = _coloured(swirl, colour_map, LOSS, theme)
    picture = np.where(ahead[..., None], 0.12 * picture + 0.88 * wool, picture)
    found = _axes(ax, view, theme)
    _show(found, picture)
    hidden = Canvas(near=np.maximum(body.near, swirl.near), value=body.value, shade=body.shade)
    starts = np.asarray(record["lines"]["start"])
    points = np.asarray(record["lines"]["vertices"], dtype=float)
    for first, last in pairwise(starts):
        x, y = seen_line(hidden, view, points[first:last], 0.01)
        found.plot(x, y, color=theme.ink, linewidth=0.45, alpha=0.75)
    _scale(found, colour_map, LOSS, "total pressure lost, share of q", theme)
    return found


def plane_view(plane: Tree, field: str, *, theme: Theme = LIGHT, ax: Axes | None = None) -> Axes:
    """Draw one field on a plane; the car cut by it stays one flat colour.

    Parameters
    ----------
    plane
        ``axis``, ``at`` [m], ``across`` (n,), ``up`` (m,) [m] and the field (m, n).
    field
        ``pressure``, ``loss`` or ``speed``.
    theme
        ``LIGHT`` for paper.
    ax
        To draw on; a page-wide figure unless given.
    """
    label, ends, colour_map = _field(field, theme)
    across, up = np.asarray(plane["across"], float), np.asarray(plane["up"], float)
    values = np.asarray(plane[field], dtype=float)
    if ax is None:
        ratio = np.ptp(up) / max(np.ptp(across), 1e-9)
        height = float(np.clip(22 + 128 * ratio, 40, 150))
        ax = new_figure(height=height, theme=theme)[1][0, 0]
    with house_style(theme):
        shown = colour_map.with_extremes(bad=theme.solid)
        ax.pcolormesh(across, up, np.ma.masked_invalid(values), cmap=shown, vmin=ends[0],
                      vmax=ends[1], shading="nearest", rasterized=True)  # fmt: skip
        ax.set_facecolor(theme.solid)
        ax.set_aspect("equal")
        first, second = (a for a in "xyz" if a != plane["axis"])
        ax.set_xlabel(f"{first}, m")
        ax.set_ylabel(f"{second}, m")
        ax.set_title(f"{plane['name']}, {plane['axis']} = {plane['at']:.2f} m")
    _scale(ax, colour_map, ends, label, theme)
    return ax


def instants_view(planes: Sequence[Tree], field: str, *, theme: Theme = LIGHT) -> Figure:
    """Draw one field on a plane at instants that follow one another, two beside each other.

    Parameters
    ----------
    planes
        As for ``plane_view``, each with the ``name`` that stands over it; an even number.
    field, theme
        As for ``plane_view``.
    """
    label, ends, colour_map = _field(field, theme)
    first = planes[0]
    ratio = np.ptp(np.asarray(first["up"])) / max(np.ptp(np.asarray(first["across"])), 1e-9)
    rows = (len(planes) + 1) // 2
    height = float(np.clip(rows * (11 + 66 * ratio) + 8, 40, 190))
    figure, axes = new_figure(height=height, theme=theme, rows=rows, columns=2)
    with house_style(theme):
        shown = colour_map.with_extremes(bad=theme.solid)
        for ax, plane in zip(axes.ravel(), planes, strict=True):
            values = np.ma.masked_invalid(np.asarray(plane[field], dtype=float))
            place = np.asarray(plane["across"]), np.asarray(plane["up"])
            ax.pcolormesh(*place, values, cmap=shown, vmin=ends[0], vmax=ends[1],
                          shading="nearest", rasterized=True)  # fmt: skip
            ax.set_facecolor(theme.solid)
            ax.set_aspect("equal")
            ax.set_title(plane["name"], fontsize=8.5)
            ax.label_outer()
        across, up = (a for a in "xyz" if a != first["axis"])
        for ax in axes[-1]:
            ax.set_xlabel(f"{across}, m")
        for ax in axes[:, 0]:
            ax.set_ylabel(f"{up}, m")
    _scale(list(axes.ravel()), colour_map, ends, label, theme)
    return figure


def band_view(bands: Tree, *, theme: Theme = LIGHT, ax: Axes | None = None) -> Axes:
    """Draw downforce and drag in bands along the car.

    Parameters
    ----------
    bands
        ``start`` (n,) [m], ``width`` [m], ``drag`` and ``downforce`` (n_part, n) [m²].
    theme
        ``LIGHT`` for paper.
    ax
        To draw on; a page-wide figure unless given.
    """
    if ax is None:
        ax = new_figure(height=58.0, theme=theme)[1][0, 0]
    start, width = np.asarray(bands["start"], float), float(bands["width"])
    edges = np.append(start, start[-1] + width)
    with house_style(theme):
        for name, colour, label in (("downforce", theme.ink, "downforce"),
                                    ("drag", theme.tuft, "drag")):  # fmt: skip
            total = np.asarray(bands[name], float).sum(axis=0) / width
            ax.stairs(total, edges, color=colour, linewidth=1.4)
            k = int(np.argmax(np.abs(total)))
            ax.annotate(label, (start[k] + width / 2, total[k]), color=colour, fontsize=8.5,
                        fontweight=600, xytext=(6, 0), textcoords="offset points")  # fmt: skip
        ax.axhline(0, color=theme.faint, linewidth=0.6)
        ax.set_xlabel("x, m rearward of the front axle")
        ax.set_ylabel("m² per metre")
    return ax


def pressure_map(theme: Theme) -> Colormap:
    """Return the two-sided map with its middle at zero on the uneven scale of pressure."""
    from matplotlib.colors import LinearSegmentedColormap

    low, high = PRESSURE
    share = np.linspace(low, high, 256)
    at = np.where(share < 0, 0.5 - 0.5 * share / low, 0.5 + 0.5 * share / high)
    return LinearSegmentedColormap.from_list("tuft pressure", two_sided_map(theme)(at)[:, :3])


def _field(field: str, theme: Theme) -> tuple[str, tuple[float, float], Colormap]:
    if field == "pressure":
        return "Cp", PRESSURE, pressure_map(theme)
    if field == "loss":
        return "total pressure lost, share of q", LOSS, even_map(theme)
    return "speed over car speed", SPEED, even_map(theme)


def _view(vertices: np.ndarray, azimuth: float, elevation: float, pixels: int = PIXELS) -> View:
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    return View(
        azimuth=azimuth, elevation=elevation, width=pixels,
        low=(float(low[0]), float(low[1]), float(low[2])),
        high=(float(high[0]), float(high[1]), float(high[2])),
    )  # fmt: skip


def _axes(ax: Axes | None, view: View, theme: Theme) -> Axes:
    if ax is None:
        height = 132.0 * view.frame()[2] / view.width
        ax = new_figure(height=height, theme=theme)[1][0, 0]
    ax.set_axis_off()
    return ax


def _coloured(
    canvas: Canvas, colour_map: Colormap, ends: tuple[float, float], theme: Theme
) -> np.ndarray:
    """Return the picture in colour, lit, on paper; places without a value stay faint."""
    share = (canvas.value - ends[0]) / (ends[1] - ends[0])
    colour = colour_map(np.clip(np.nan_to_num(share, nan=0.5), 0, 1))[..., :3]
    colour = np.where(np.isnan(canvas.value)[..., None], to_rgb(theme.hair), colour)
    lit = np.clip(colour * (0.62 + 0.42 * canvas.shade[..., None]), 0, 1)
    return np.where(np.isfinite(canvas.near)[..., None], lit, to_rgb(theme.paper))


def _show(ax: Axes, picture: np.ndarray) -> None:
    height, width = picture.shape[:2]
    ax.imshow(picture, extent=(0, width, height, 0), interpolation="antialiased")
    ax.set_xlim(0, width)
    ax.set_ylim(height, 0)


def _scale(
    ax: Axes | list[Axes], colour_map: Colormap, ends: tuple[float, float], label: str, theme: Theme
) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    one = ax[0] if isinstance(ax, list) else ax
    figure = one.get_figure(root=True)
    assert isinstance(figure, Figure)
    with house_style(theme):
        bar = figure.colorbar(ScalarMappable(Normalize(*ends), colour_map), ax=ax, shrink=0.62,
                              aspect=26, pad=0.015, extend="both")  # fmt: skip
        bar.outline.set_linewidth(0.5)
        bar.set_label(label, fontsize=8.0)
        bar.ax.tick_params(labelsize=7.5)
