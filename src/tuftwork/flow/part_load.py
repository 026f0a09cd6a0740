"""Mean loads of a run by part and in bands along the car."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.engine import lever, sum_by_surface
from tuftwork.flow.prepare import Prepared

if TYPE_CHECKING:
    from tuftwork.flow.result import FlowResult

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLoad:
    """Mean load of one part.

    Attributes
    ----------
    name
        Part name.
    downforce_area, drag_area, side_area
        Coefficient areas, downforce positive, side to the right. [m²]
    pitch_volume
        Moment about the lateral axis at ground level and the parts' mid length, nose up positive,
        over dynamic pressure. [m³]
    friction_drag_area
        The share of drag that the wall law gives. [m²]
    """

    name: str
    downforce_area: float
    drag_area: float
    side_area: float
    pitch_volume: float
    friction_drag_area: float


def part_loads(prepared: Prepared, wall: Floats) -> tuple[PartLoad, ...]:
    """Return mean loads by part from the mean wall rows. (15, n_wall)."""
    setup, scale = prepared.setup, prepared.area_per_force
    low, high = prepared.case.bounds()
    centre = np.array([0.5 * (low[0] + high[0]), 0.0, 0.0])
    arm = lever(setup) - ((centre - np.array(prepared.origin)) / prepared.case.cell)[:, None]
    loads = sum_by_surface(wall, arm, setup) * scale
    count = len(setup.walls.surfaces)
    friction = np.bincount(setup.walls.counted(), weights=wall[4], minlength=count) * scale
    return tuple(
        PartLoad(
            name=part.name,
            drag_area=float(loads[n, 0]),
            side_area=float(loads[n, 1]),
            downforce_area=float(-loads[n, 2]),
            pitch_volume=float(loads[n, 4] * prepared.case.cell),
            friction_drag_area=float(friction[n]),
        )
        for n, part in enumerate(prepared.case.parts, start=1)
    )


def sum_parts(boxes: Sequence[tuple[PartLoad, ...]]) -> tuple[PartLoad, ...]:
    """Return each part's loads added over boxes of cells, which all hold the same parts."""
    numbers = [f.name for f in fields(PartLoad) if f.name != "name"]
    return tuple(
        PartLoad(name=same[0].name, **{n: sum(getattr(p, n) for p in same) for n in numbers})
        for same in zip(*boxes, strict=True)
    )


def bands(result: "FlowResult", *, width: float) -> tuple[Floats, Floats, Floats]:
    """Return drag and downforce area in bands along the car.

    Parameters
    ----------
    result
        A finished run.
    width
        Length of a band. [m]

    Returns
    -------
    start : (n_band,)
        Front edge of each band. [m]
    drag_area, downforce_area : (n_part, n_band)
        Their sums over bands are the parts' loads. [m²]
    """
    if not width > 0:
        raise InputError("width", width, "m", "must be above 0")
    case = result.prepared.case
    low, high = case.bounds()
    margin = 2 * case.finest
    count = max(1, int(np.ceil((high[0] - low[0] + 2 * margin) / width)))
    start = np.asarray(low[0] - margin + width * np.arange(count), dtype=float)
    every = [_box_bands(box, start, width) for box in (result, *result.boxes)]
    drag, down = (np.asarray(np.sum([e[n] for e in every], axis=0)) for n in (0, 1))
    return start, drag, down


def _box_bands(result: "FlowResult", start: Floats, width: float) -> tuple[Floats, Floats]:
    """Drag and downforce area in bands, of the walls that one box of cells answers for."""
    prepared, n = result.prepared, start.size
    walls = prepared.setup.walls
    x = prepared.origin[0] + prepared.case.cell * (walls.cell % prepared.setup.shape[0])
    band = np.clip(((x - start[0]) // width).astype(int), 0, n - 1)
    count = len(walls.surfaces)
    rows = result.wall_rows
    sums = [np.zeros((count, n)), np.zeros((count, n))]
    for first, to in ((0, walls.counted()), (7, walls.zone_counted())):
        for total, row in zip(sums, (rows[first], -rows[first + 2]), strict=True):
            total += np.bincount(to * n + band, weights=row, minlength=count * n).reshape(count, n)
    parts = slice(1, len(prepared.case.parts) + 1)
    scale = prepared.area_per_force
    return np.asarray(sums[0][parts] * scale), np.asarray(sums[1][parts] * scale)
