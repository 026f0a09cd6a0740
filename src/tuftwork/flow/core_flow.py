"""What passes the cores of a finished run: mass flow, drop, how even it is."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.flow.engine import Moments
from tuftwork.flow.porous import Porous
from tuftwork.flow.prepare import Prepared

Floats = npt.NDArray[np.float64]
_APART = 1.5
"""How far from a core's faces the pressure of the air is read. [cells]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoreFlow:
    """Mean flow through one core or fan.

    Attributes
    ----------
    name
        Part name.
    is_fan
        Whether it has a rise of its own.
    area
        Face that air can pass, volume over depth. [m²]
    mass_flow
        Along its axis. [kg/s]
    speed
        Through its face. [m/s]
    drop
        Force on it along its axis over its area: pressure lost, below 0 for a fan. [Pa]
    law_drop
        What its law says at the mean speed; less than ``drop`` where the speed is uneven. [Pa]
    pressure_drop
        Static pressure ahead less behind, 1.5 cells off its faces; None where no air is there. [Pa]
    unevenness
        Standard deviation of the speed over its cells, over the mean. [-]
    """

    name: str
    is_fan: bool
    area: float
    mass_flow: float
    speed: float
    drop: float
    law_drop: float
    pressure_drop: float | None
    unevenness: float


def core_flows(prepared: Prepared, mean: Moments, rows: Floats) -> tuple[CoreFlow, ...]:
    """Return the flow through every core and fan.

    Parameters
    ----------
    prepared
        What was run.
    mean
        Moments, with the cores' force in them.
    rows : (10, n_wall)
        Wall rows.
    """
    case, walls = prepared.case, prepared.setup.walls
    zone, fill = walls.zones()
    laws = {p.name: p for p in case.parts if p.porous is not None}
    per_speed = case.cell / case.step_time
    per_force = case.density * case.cell**4 / case.step_time**2
    out = []
    for n, core in enumerate(walls.cores, start=1):
        own = np.flatnonzero(zone == n)
        share = fill[own].astype(float)
        axis = np.array(core.axis)
        cells = walls.cell[own]
        u = axis @ mean.velocity.reshape(3, -1)[:, cells]
        rho = mean.density.reshape(-1)[cells]
        law = laws[core.name].porous
        assert law is not None
        area = float(share.sum()) * case.cell**3 / law.depth
        speed = float((share * u).sum() / share.sum()) * per_speed
        flow = float((share * rho * u).sum() / share.sum()) * per_speed * area * case.density
        force = float((axis @ rows[7:10, own]).sum()) * per_force
        spread = float(np.sqrt((share * (u * per_speed - speed) ** 2).sum() / share.sum()))
        out.append(
            CoreFlow(
                name=core.name, is_fan=law.rise > 0, area=area, mass_flow=flow, speed=speed,
                drop=force / area, law_drop=law.drop(speed),
                pressure_drop=_pressure_drop(prepared, mean, law, core.name),
                unevenness=spread / max(abs(speed), 1e-9),
            )
        )  # fmt: skip
    return tuple(out)


def _pressure_drop(prepared: Prepared, mean: Moments, law: Porous, name: str) -> float | None:
    """Return static pressure ahead of a core less behind it, mean over its face. [Pa]."""
    case, setup = prepared.case, prepared.setup
    part = next(p for p in case.parts if p.name == name)
    triangles = part.triangles()
    axis = law.unit_axis()
    along = triangles.reshape(-1, 3) @ axis
    walls = setup.walls
    zone = 1 + [c.name for c in walls.cores].index(name)
    cells = walls.cell[(walls.zones()[0] == zone) & (walls.zones()[1] > 0.5)]
    if not cells.size:
        return None
    lx, ly, lz = setup.shape
    at = np.stack([cells % lx, (cells // lx) % ly, cells // (lx * ly)])
    place = np.array(prepared.origin)[:, None] + case.cell * at
    depth = axis @ place
    per_pressure = case.density * (case.cell / case.step_time) ** 2 / 3.0
    found = []
    for face, way in ((along.min(), -1.0), (along.max(), 1.0)):
        there = place + axis[:, None] * (face + way * _APART * case.cell - depth)
        i, j, k = np.round((there - np.array(prepared.origin)[:, None]) / case.cell).astype(int)
        inside = (i >= 0) & (i < lx) & (j >= 0) & (j < ly) & (k >= 0) & (k < lz)
        i, j, k = i[inside], j[inside], k[inside]
        free = setup.mark[k, j, i] != 1
        if not free.any():
            return None
        found.append(float(mean.density[k[free], j[free], i[free]].mean()) * per_pressure)
    return found[0] - found[1]
