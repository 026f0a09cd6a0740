"""What passes the cores of a finished run: mass flow, drop, how even it is."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.flow.case import FlowPart
from tuftwork.flow.doubt import Doubt
from tuftwork.flow.moments import Moments
from tuftwork.flow.porous import Porous
from tuftwork.flow.prepare import Prepared

Floats = npt.NDArray[np.float64]
PUSHED = 1.05
"""Speed over that at which a fan has no rise left up to which it is not doubted. [-]"""
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


Seen = tuple[Prepared, Moments, Floats]


def core_flows(boxes: Sequence[Seen]) -> tuple[CoreFlow, ...]:
    """Return the flow through every core and fan.

    Parameters
    ----------
    boxes
        What was run, the mean moments with the cores' force in them, and the mean wall rows
        (15, n_wall); the box and then finer ones, each with the cells that it answers for.
    """
    first = boxes[0][0]
    laws = {p.name: p.porous for p in first.case.parts if p.porous is not None}
    cores = {c.name: c for box, _, _ in boxes for c in box.setup.walls.cores}
    out = []
    for name, core in cores.items():
        law, axis = laws[name], np.array(core.axis)
        pieces = [_piece(box, mean, rows, name, axis) for box, mean, rows in boxes]
        volume, u, rho = (np.concatenate([p[k] for p in pieces]) for k in range(3))
        if not volume.size:
            continue
        area = float(volume.sum()) / law.depth
        speed = float((volume * u).sum() / volume.sum())
        flow = float((volume * rho * u).sum() / law.depth) * first.case.density
        spread = float(np.sqrt((volume * (u - speed) ** 2).sum() / volume.sum()))
        drops = [_pressure_drop(box, mean, law, name) for box, mean, _ in boxes]
        seen = [drop for drop in drops if drop is not None]
        out.append(
            CoreFlow(
                name=name, is_fan=law.rise > 0, area=area, mass_flow=flow, speed=speed,
                drop=sum(p[3] for p in pieces) / area, law_drop=law.drop(speed),
                pressure_drop=seen[-1] if seen else None,
                unevenness=spread / max(abs(speed), 1e-9),
            )
        )  # fmt: skip
    return tuple(out)


def fan_doubts(
    cores: Sequence[CoreFlow], parts: Sequence[FlowPart], travel: float
) -> tuple[Doubt, ...]:
    """Return a doubt for every fan that air passes where its curve says nothing.

    Parameters
    ----------
    cores
        What passed cores and fans.
    parts
        Of the case.
    travel
        Now. [body lengths]
    """
    laws = {p.name: p.porous for p in parts if p.porous is not None}
    out = []
    for core in cores:
        free = laws[core.name].free_speed()
        if not core.is_fan or 0.0 <= core.speed <= PUSHED * free:
            continue
        flow, most = (f"{v * core.area:.3g}\u202fm³/s" for v in (abs(core.speed), free))
        said = f"{flow} pass it backwards"
        if core.speed > 0:
            said = f"{flow} are pushed through it, {core.speed / free:.1f} times its free flow"
            said += f" of {most}"
        text = (
            f"Doubtful: fan '{core.name}' is off its curve: {said}. "
            "What it does to the air there is the curve carried on, not measured."
        )
        out.append(Doubt(kind="fan", value=core.speed / free, travel=travel, seen=1, at=None,
                         part=f"'{core.name}'", text=text))  # fmt: skip
    return tuple(out)


def _piece(
    prepared: Prepared, mean: Moments, rows: Floats, name: str, axis: Floats
) -> tuple[Floats, Floats, Floats, float]:
    """Volume [m³], speed along the axis [m/s] and density by cell, and the force [N], in a box."""
    case, walls = prepared.case, prepared.setup.walls
    names = [c.name for c in walls.cores]
    zone, fill = walls.zones()
    number = names.index(name) + 1 if name in names else -1
    own = np.flatnonzero(zone == number)
    cells = walls.cell[own]
    u = axis @ mean.velocity.reshape(3, -1)[:, cells] * (case.cell / case.step_time)
    force = float((axis @ rows[7:10, own]).sum())
    force *= case.density * case.cell**4 / case.step_time**2
    volume = fill[own].astype(float) * case.cell**3
    return volume, u, mean.density.reshape(-1)[cells], force


def _pressure_drop(prepared: Prepared, mean: Moments, law: Porous, name: str) -> float | None:
    """Return static pressure ahead of a core less behind it, mean over its face. [Pa]."""
    case, setup = prepared.case, prepared.setup
    part = next(p for p in case.parts if p.name == name)
    triangles = part.triangles()
    axis = law.unit_axis()
    along = triangles.reshape(-1, 3) @ axis
    walls = setup.walls
    names = [c.name for c in walls.cores]
    if name not in names:
        return None
    zone = 1 + names.index(name)
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
