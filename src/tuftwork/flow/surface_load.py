"""Loads from the pressure on the surfaces themselves and the friction of the wall law.

The loads of a run are the momentum that cut links exchange, which is what the air loses to the last
digit. But between the faces of the last cells and a wall that lies d cells from their centres there
is a gap of d − ½ cells that is not computed. A nose takes up ρ u times that gap, a wall along the
grid carries it unseen, and a blunt base gives the mass back without its momentum: what the air
loses is off by 2 (d − ½) u² times the girth. Pressure on the surface does not know of the gap.
Its own error is that the pressure is that of the nearest cells, not of the wall.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.flow.engine import lever
from tuftwork.flow.output import coefficients, split_surface
from tuftwork.flow.result import FlowResult
from tuftwork.flow.surface_map import weights_of

Floats = npt.NDArray[np.float64]
_WET = 3.0
"""A place whose cells lie further off is not wetted: it lies inside another part. [cells]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceLoad:
    """Mean load of one part by pressure on its surface and friction.

    Attributes
    ----------
    name
        Part name.
    drag_area, side_area, downforce_area
        Coefficient areas, side to the right, downforce positive. [m²]
    friction_drag_area
        The share of the drag that the wall law gives. [m²]
    wetted
        Share of the surface that has air beside it. [-]
    """

    name: str
    drag_area: float
    side_area: float
    downforce_area: float
    friction_drag_area: float
    wetted: float


def surface_loads(result: FlowResult, *, size: float | None = None) -> tuple[SurfaceLoad, ...]:
    """Return the loads of all parts but cores, by pressure on their surfaces and friction.

    Momentum that passes openings is not in them.

    Parameters
    ----------
    result
        A finished run.
    size
        Longest edge of the triangles that the pressure is summed over; two cells unless given. [m]
    """
    boxes = (result, *result.boxes)
    case = result.prepared.case
    pressure = coefficients(case, np.concatenate([b.wall_rows for b in boxes], axis=1))["pressure"]
    places = np.concatenate([_places(b) for b in boxes])
    friction = sum((_friction(b) for b in boxes), np.zeros((len(case.parts), 3)))
    out = []
    for n, part in enumerate(case.parts):
        if part.porous is not None:
            continue
        vertices, faces = split_surface(case, n, size)
        force, wetted = np.zeros(3), []
        for turn in (1.0,) if part.is_closed else (1.0, -1.0):
            a, b, c = (vertices[faces[:, k]] for k in range(3))
            area = 0.5 * turn * np.cross(b - a, c - a)
            amount = np.linalg.norm(area, axis=1)
            middle, look = (a + b + c) / 3, area / np.maximum(amount, 1e-30)[:, None]
            weights = weights_of([box.prepared for box in boxes], n, middle, look)
            far = np.linalg.norm(weights @ places - middle, axis=1)
            wet = (np.diff(weights.indptr) > 0) & (far < _WET * case.finest)
            force -= np.where(wet, weights @ pressure, 0.0) @ area
            wetted.append(float((amount * wet).sum() / amount.sum()))
        drag, side, lift = (float(x) for x in force + friction[n])
        out.append(
            SurfaceLoad(
                name=part.name, drag_area=drag, side_area=side, downforce_area=-lift,
                friction_drag_area=float(friction[n, 0]), wetted=float(np.mean(wetted)),
            )
        )  # fmt: skip
    return tuple(out)


def said_of_books(result: FlowResult) -> list[str]:
    """Return what the loads are by pressure on the surfaces; nothing where air passes parts."""
    case = result.prepared.case
    if case.openings or any(part.porous is not None for part in case.parts):
        return []
    own = surface_loads(result)
    drag, down = sum(p.drag_area for p in own), sum(p.downforce_area for p in own)
    by_air = f"{result.drag_area.mean:.3g} and {result.downforce_area.mean:.3g} m²"
    return [
        f"By pressure on the surfaces and friction CxS and CzS are {drag:.3g} and {down:.3g} m², "
        f"by the momentum of the air {by_air}. They part by where walls lie in their cells and by "
        "how far the cells' pressure is from the wall's."
    ]


def _places(box: FlowResult) -> Floats:
    """Return where each wall cell of a box lies. Shape (n_wall, 3). [m]."""
    prepared = box.prepared
    return np.asarray((prepared.case.cell * lever(prepared.setup)).T + np.array(prepared.origin))


def _friction(box: FlowResult) -> Floats:
    """Return the friction of each part in a box, in coefficient areas. Shape (n_part, 3). [m²]."""
    prepared = box.prepared
    walls, count = prepared.setup.walls, len(prepared.setup.walls.surfaces)
    rows = [np.bincount(walls.counted(), weights=r, minlength=count) for r in box.wall_rows[4:7]]
    parts = slice(1, len(prepared.case.parts) + 1)
    return np.asarray(np.stack(rows, axis=1)[parts] * prepared.area_per_force)
