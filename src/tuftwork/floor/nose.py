"""A splitter as the front of a channel: lip, ramps, its own inlet, bending under its own load.

Above the plate stands what the nose stops; below, the channel from the lip to where it hands over
(a vent, the flat, a cooler's mouth) is solved with its layer, with the loss of a rounded lip and
the pressure it hands over to. A plate that bends comes nearer to the road and carries more: the
fixed point is looked for, and where there is none the plate is drawn to the road.
"""

from dataclasses import dataclass, replace

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure, LineResult, solve_line
from tuftwork.floor.shape import FloorShape, Profile, Stand
from tuftwork.floor.splitter import rounded_entrance_loss
from tuftwork.quantity import Array, Numeric


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontFloor:
    """A splitter and the front floor behind it. [m]

    Attributes
    ----------
    width, lip, handover
        Across the car; stations of lip and of where the channel hands over.
    projection
        Of the plate ahead of the bodywork.
    lip_radius
    profile
        Underside over the lip's height: ramps into the arches, diffusers of the front floor.
    edge_gap
        Under the sides where footplates stand, None: the clearance.
    stiffness
        Load on the plate ahead of the bodywork per droop of its lip; None: rigid. [N/m]
    """

    width: float
    lip: float
    handover: float
    projection: float
    lip_radius: float
    profile: Profile = ()
    edge_gap: float | None = None
    stiffness: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontFlow:
    """What a front floor meets.

    Attributes
    ----------
    clearance
        Of the unloaded lip over the road. [m]
    pitch
        Nose-down slope of the plate. [rad]
    pressure
        Dynamic pressure of the road speed; bends the plate. [Pa]
    handover_pressure
        Cp where the channel hands over. [-]
    head
        Total pressure it is fed with. [-]
    """

    clearance: float
    pitch: float
    pressure: float
    handover_pressure: float
    head: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontLoad:
    """What a front floor makes.

    Attributes
    ----------
    upper, under
        CzS from above and below. [m²]
    plate
        CzS of it on the plate ahead of the bodywork, which bends it. [m²]
    centre
        Station of its centre. [m]
    droop
        Of the lip. [m]
    clearance
        Left under the lip. [m]
    inlet_loss
        Of the lip, dynamic pressures of the air under it. [-]
    choke
        Share of the narrowest gap that its layer's displacement fills. [-]
    is_choked
        Whether lowering it further takes load away.
    upwash
        Angle it turns the flow up by at a chord behind its edge; ± half. [rad]
    line
        The channel.
    """

    upper: float
    under: float
    plate: float
    centre: float
    droop: float
    clearance: float
    inlet_loss: float
    choke: float
    is_choked: bool
    upwash: float
    line: LineResult

    @property
    def downforce(self) -> float:
        """CzS. [m²]"""
        return self.upper + self.under


def solve_front(
    floor: FrontFloor,
    flow: FrontFlow,
    closure: FloorClosure,
    *,
    upper_pressure: float = 0.55,
    pool: float = 0.10,
) -> FrontLoad:
    """Return the load of a splitter with the channel under it, bent as far as its load bends it.

    Parameters
    ----------
    floor, flow
        The plate and what it meets.
    closure
        What the channel's equations leave open; exit pressure and head come from ``flow``.
    upper_pressure, pool
        Cp where plate meets nose and the length it dies away over. [-], [m]

    Raises
    ------
    InputError
        If a size has no meaning, or the bent lip touches the road.
    NotConverged
        If load and bending find no balance: the plate is drawn to the road.
    """
    if not (floor.projection > 0 and floor.lip_radius >= 0 and floor.width > 0):
        raise InputError("splitter", floor.projection, "m", "wants projection and width above 0")
    if floor.stiffness is not None and not floor.stiffness > 0:
        raise InputError("stiffness", floor.stiffness, "N/m", "must be above 0",
                         "Leave it out for a rigid plate.")  # fmt: skip
    droop, near = 0.0, None
    load = _rigid(floor, flow, closure, 0.0, near, upper_pressure, pool)
    if floor.stiffness is not None:
        for _ in range(60):
            aim = load.plate * flow.pressure / floor.stiffness
            if aim > 0.8 * flow.clearance:
                raise NotConverged(
                    f"the splitter at {1e3 * flow.clearance:.0f} mm: its load draws it to the road"
                )
            if abs(aim - droop) < 1e-6:
                break
            droop += 0.6 * (aim - droop)
            load = _rigid(floor, flow, closure, droop, load.line, upper_pressure, pool)
        else:
            raise NotConverged("the splitter's load and bending found no balance in 60 steps")
    step = 0.02 * load.clearance
    lower = _rigid(floor, flow, closure, droop + step, load.line, upper_pressure, pool)
    return replace(load, is_choked=lower.under < load.under)


def _rigid(
    floor: FrontFloor, flow: FrontFlow, closure: FloorClosure, droop: float,
    near: LineResult | None, upper_pressure: float, pool: float,
) -> FrontLoad:  # fmt: skip
    length = floor.handover - floor.lip
    clearance = flow.clearance - droop
    if not clearance > 0:
        raise InputError("clearance", clearance, "m", "the lip touches the road at its station",
                         "Raise the car or stiffen the plate.")  # fmt: skip
    # the plate bends about the bodywork; behind it the underside keeps its slope
    bend = ((floor.lip, 0.0), (floor.lip + floor.projection, droop), (floor.handover, droop))
    own = floor.profile or ((floor.lip, 0.0), (floor.handover, 0.0))
    stations = sorted({x for x, _ in (*bend, *own)})
    heights = sum(
        np.interp(stations, [x for x, _ in line], [z for _, z in line]) for line in (bend, own)
    )
    profile = tuple(zip(stations, np.asarray(heights).tolist(), strict=True))
    shape = FloorShape(
        width=floor.width, front=floor.lip, exit=floor.handover, profile=profile,
        edge_gap=floor.edge_gap,
    )  # fmt: skip
    slope = float(np.tan(flow.pitch))
    stand = Stand(
        front=clearance - slope * floor.lip, rear=clearance - slope * (floor.lip - 1.0),
        wheelbase=1.0,
    )  # fmt: skip
    loss = float(rounded_entrance_loss(floor.lip_radius / (2 * clearance)))
    here = replace(
        closure, head=flow.head, exit_pressure=flow.handover_pressure, inlet_loss=loss,
        inlet_thickness=max(0.02 * floor.lip_radius, 1e-4),
    )  # fmt: skip
    line = solve_line(shape, stand, here, n_node=80, start=near)
    upper = floor.width * upper_pressure * pool * -np.expm1(-floor.projection / pool)
    x = floor.projection / pool
    behind = floor.projection - pool * (1 - x / np.expm1(x))
    moment = line.moment + upper * (floor.lip + behind)
    total = float(upper + line.downforce)
    ahead = np.linspace(floor.lip, floor.lip + floor.projection, 41)
    suction = np.interp(ahead, line.x, -line.pressure * line.width)
    return FrontLoad(
        upper=float(upper), under=line.downforce,
        plate=float(upper + np.trapezoid(suction, ahead)), centre=float(moment / total),
        droop=droop, clearance=clearance, inlet_loss=loss,
        choke=float(np.max(line.blocked / line.gap)), is_choked=False,
        upwash=upwash_behind(total, floor.width, length, clearance), line=line,
    )  # fmt: skip


def upwash_behind(downforce: float, width: float, distance: float, height: float) -> float:
    """Return the angle a loaded plate turns the flow up by at an edge behind it [rad].

    A bound vortex of Γ/U = CzS/(2 b) and its image under the road: w/U = Γ/(2π) (d/(d²+0) −
    d/(d²+4h²)), up where the plate pushes down. Good to a factor of two.

    Parameters
    ----------
    downforce, width
        CzS and span of the plate. [m²], [m]
    distance, height
        From its centre to the edge; of the plate over the road. [m]
    """
    if not distance > 0:
        raise InputError("distance", distance, "m", "must be above 0")
    strength = downforce / (2 * width)
    return float(strength / (2 * np.pi) * (1 / distance - distance / (distance**2 + 4 * height**2)))


def edge_tolerance(
    radius: Numeric, chord: Numeric, *, limit: Numeric = 4.0, head: Numeric = 1.0
) -> Array:
    """Return the incidence a rolled edge bears before its nose separates [rad].

    Near a parabolic nose the greatest speed is U α sqrt(2 c/r); it holds down to Cp = −``limit``
    (common practice, no source: 4, good to a factor of two), less in air that has lost head.
    """
    r, c = np.asarray(radius, float), np.asarray(chord, float)
    if not (np.all(r >= 0) and np.all(c > 0)):
        raise InputError("edge", float(np.min(r)), "m", "radius must be 0 or more, chord above 0")
    return np.asarray(np.sqrt(limit * np.maximum(head, 0.0)) * np.sqrt(r / (2 * c)))
