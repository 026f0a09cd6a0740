"""A wing as a table: thousands of settings, onsets and heights in one call.

The lattice and the sections are solved once on a grid of incidence and height; draws and map
cells then interpolate. 256 draws by 225 cells are a few milliseconds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import map_coordinates

from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Array, Numeric
from tuftwork.wing.coupling import solve_wing, wing_system
from tuftwork.wing.planform import Onset, Wing
from tuftwork.wing.section_table import SectionTable


@dataclass(frozen=True, slots=True, kw_only=True)
class WingTable:
    """Downforce, drag and centre of a wing over incidence and change of height.

    Attributes
    ----------
    incidence : (n_incidence,)
        Even grid of setting plus mean onset angle. [rad]
    height : (n_height,)
        Even grid of change of height from the drawn position, up positive; one value where
        height does not matter. [m]
    downforce_area, drag_area, x_centre : (n_height, n_incidence)
        [m^2], [m^2], [m]; drag without the tilt of an onset.
    induced_area : (n_height, n_incidence)
        Share of the drag that goes with the square of the load. [m^2]
    margin : (n_height, n_incidence)
        Smallest stall margin along the span. [rad]
    """

    incidence: Array
    height: Array
    downforce_area: Array
    drag_area: Array
    induced_area: Array
    x_centre: Array
    margin: Array
    notices: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WingLoads:
    """What a table gives for arrays of settings; every field has their broadcast shape.

    ``is_outside`` marks settings beyond the table, where its edge is held.
    """

    downforce_area: Array
    drag_area: Array
    induced_area: Array
    x_centre: Array
    margin: Array
    is_outside: NDArray[np.bool_]


def wing_table(
    wing: Wing,
    tables: Mapping[str, SectionTable],
    *,
    incidence: Sequence[float] | Array,
    height: Sequence[float] | Array = (0.0,),
    onset: Onset | None = None,
    base_setting: Array | None = None,
    n_span: int = 24,
) -> WingTable:
    """Return the table of a wing.

    Parameters
    ----------
    wing, tables
        As for ``solve_wing``.
    incidence : (n,)
        Even grid, setting plus mean onset angle. [rad]
    height : (m,)
        Even grid of changes of height. [m]
    onset
        Shape of the onset along the span about its mean.
    base_setting : (n_surface,)
        Setting of each surface that ``incidence`` is added to. [rad]
    n_span
        Strips across each surface.
    """
    grid, levels = np.asarray(incidence, float), np.asarray(height, float)
    for name, values in (("incidence", grid), ("height", levels)):
        if values.size > 1 and not np.allclose(np.diff(values), values[1] - values[0]):
            raise InputError(name, f"{values.size} values", "", "must be evenly spaced")
    if grid.size < 3:
        raise InputError("incidence", grid.size, "values", "must be three or more")
    base = np.zeros(len(wing.surfaces)) if base_setting is None else np.asarray(base_setting)
    shape = (levels.size, grid.size)
    out = {k: np.full(shape, np.nan) for k in ("down", "drag", "induced", "x", "margin")}
    failed = 0
    for i, shift in enumerate(levels):
        moved = Wing(
            surfaces=tuple(replace(s, z=s.z + shift) for s in wing.surfaces),
            plates=wing.plates,
            is_grounded=wing.is_grounded,
        )
        system = wing_system(moved, n_span=n_span)
        for j, a in enumerate(grid):
            try:
                r = solve_wing(system, tables, incidence=base + a, onset=onset)
            except NotConverged:
                failed += 1
                continue
            out["down"][i, j] = r.downforce_area
            out["drag"][i, j] = r.drag_area - r.onset_area
            out["induced"][i, j] = r.induced_area
            out["x"][i, j] = r.x_centre
            out["margin"][i, j] = float(r.margin.min())
    filled = {k: np.array([_fill(grid, row) for row in v]) for k, v in out.items()}
    notices = (f"{failed} settings beyond stall filled from neighbours",) if failed else ()
    return WingTable(
        incidence=grid,
        height=levels,
        downforce_area=filled["down"],
        drag_area=filled["drag"],
        induced_area=filled["induced"],
        x_centre=filled["x"],
        margin=filled["margin"],
        notices=notices,
    )


def _fill(grid: Array, row: Array) -> Array:
    good = ~np.isnan(row)
    if good.sum() < 2:
        raise NotConverged("a row of the wing table has fewer than two solved settings")
    if good.all():
        return row
    inner = PchipInterpolator(grid[good], row[good], extrapolate=False)(grid)
    return np.where(np.isnan(inner), np.interp(grid, grid[good], row[good]), inner)


def evaluate(
    table: WingTable,
    *,
    incidence: Numeric,
    onset_angle: Numeric = 0.0,
    onset_speed: Numeric = 1.0,
    height: Numeric = 0.0,
) -> WingLoads:
    """Return loads for arrays of settings at once.

    Parameters
    ----------
    table
        See :func:`wing_table`.
    incidence, onset_angle : (...)
        Setting, and flow angle that adds to it. [rad]
    onset_speed : (...)
        Local speed over the road speed. [-]
    height : (...)
        Change of height, up positive. [m]

    Returns
    -------
    loads : WingLoads
        Every field in the broadcast shape. The onset tilts the load: what adds incidence turns it
        forward, CxS loses CzS sin(angle).
    """
    a, tilt, k, h = np.broadcast_arrays(
        *(np.asarray(v, float) for v in (incidence, onset_angle, onset_speed, height))
    )
    if not (k > 0.0).all():
        raise InputError("onset_speed", float(k.min()), "", "must be above 0")
    alpha = a + tilt
    fa = np.asarray(alpha - table.incidence[0]) / (table.incidence[1] - table.incidence[0])
    if table.height.size > 1:
        fh = (h - table.height[0]) / (table.height[1] - table.height[0])
    else:
        fh = np.zeros_like(fa)
    where = np.stack([fh.ravel(), fa.ravel()])

    def read(values: Array) -> Array:
        order: Literal[1, 3] = 3 if values.shape[0] >= 4 else 1
        return np.asarray(
            map_coordinates(values, where, order=order, mode="nearest", prefilter=order > 1)
        ).reshape(fa.shape)

    down, drag = read(table.downforce_area), read(table.drag_area)
    outside = (fa < -1e-9) | (fa > table.incidence.size - 1 + 1e-9)
    if table.height.size > 1:
        outside |= (fh < -1e-9) | (fh > table.height.size - 1 + 1e-9)
    q = k**2
    return WingLoads(
        downforce_area=np.asarray(q * down * np.cos(tilt)),
        drag_area=np.asarray(q * (drag - down * np.sin(tilt))),
        induced_area=np.asarray(q * read(table.induced_area)),
        x_centre=read(table.x_centre),
        margin=read(table.margin),
        is_outside=np.asarray(outside),
    )
