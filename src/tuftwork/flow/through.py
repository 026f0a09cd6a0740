"""Openings of closed bodies: faces that swallow and blow air, tied to the net of the cooling room.

What lies inside the body is not in the cells. The flow tells the net the total pressure at each
mouth and the pressure at each exit; the net tells how much passes; and so on until they agree.
The faces impose momentum, not speed, and their sums are equal: what goes in comes out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.flow.lattice import VELOCITY, WEIGHT
from tuftwork.flow.setup import Surface, WallLinks

if TYPE_CHECKING:
    from tuftwork.cooling import AirNet, Surroundings
    from tuftwork.flow.passage import Passage

Floats = npt.NDArray[np.float64]
FASTEST = 2.0
"""Air may pass a face at most this many times as fast as the car. [-]"""
AGREED = 0.01
"""Largest difference between flow and net at which they count as agreed. [-]"""
_EDGE = 1e-3
"""Width that decides on which side of an opening's edge a link lies that meets it. [cells]"""
_OFF = 0.1
"""How far along its facing a face may lie off its box. [cells]"""
_SHARE = 0.5
"""Share of the net's answer that is taken at a time. [-]"""
_EASE = 0.1
"""Share of a change made per sample: a sudden one sends a wave as strong as the stagnation."""
_CALM = 0.5
"""Share of a window, its end, whose mean pressures the net is told. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A face of a closed part that swallows or blows air.

    Attributes
    ----------
    name
        Its name; that of the net's part where they are tied.
    part
        The part whose surface it lies on.
    kind
        ``"inlet"`` or ``"outlet"``.
    low, high
        Corners of a box around the face: the part's surface in it that faces ``facing`` within 45°
        is open, to its edges. Shape (3,). [m]
    facing
        Direction out of the body. Shape (3,). [-]
    mass_flow
        Through it, at the start where a net says how much. [kg/s]
    """

    name: str
    part: str
    kind: Literal["inlet", "outlet"]
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    facing: tuple[float, float, float]
    mass_flow: float

    def __post_init__(self) -> None:
        if not self.mass_flow >= 0:
            cure = "The kind says which way it goes."
            raise InputError("mass_flow", self.mass_flow, "kg/s", "must not be below 0", cure)
        if not np.linalg.norm(self.facing) > 0:
            raise InputError("facing", str(self.facing), "", "must not be zero")
        if not np.all(np.array(self.high) > np.array(self.low)):
            raise InputError("high", str(self.high), "m", f"must lie above low = {self.low}")

    @property
    def way(self) -> float:
        """Sign of the flow along ``facing``."""
        return 1.0 if self.kind == "outlet" else -1.0

    def unit_facing(self) -> Floats:
        """Return the direction out of the body. Shape (3,)."""
        facing = np.array(self.facing, dtype=float)
        return np.asarray(facing / np.linalg.norm(facing))


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """An opening as the cells of one box have it.

    Attributes
    ----------
    opening
        What was asked.
    surface
        Its number in the surface table.
    cell
        Flat numbers of the cells with open links, x fastest. Shape (n,).
    area
        That air passes through beside each. Shape (n,). [cells²]
    is_whole
        Whether all cut links of a cell are open. Shape (n,).
    """

    opening: Opening
    surface: int
    cell: npt.NDArray[np.int64]
    area: Floats
    is_whole: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningFlow:
    """What passed an opening in the end.

    Attributes
    ----------
    name, kind
        As asked.
    area
        As the cells have it. [m²]
    mass_flow
        Through it. [kg/s]
    pressure, total
        Coefficients of static and total pressure at the face, mean over its cells away from its
        rim. [-]
    net_flow
        What the net answers to these pressures; None without a net. [kg/s]
    """

    name: str
    kind: str
    area: float
    mass_flow: float
    pressure: float
    total: float
    net_flow: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NetTie:
    """The net behind the openings.

    Attributes
    ----------
    net, around
        Of the cooling room, best values.
    heats
        Given to the air by the net's parts. [W]
    """

    net: "AirNet"
    around: "Surroundings"
    heats: Mapping[str, float] = field(default_factory=dict)

    def flows(self, faces: Sequence["Passage"], pressure: Floats, total: Floats) -> Floats:
        """Return the mass flow through each opening at these pressure coefficients. [kg/s].

        Below 0 where the net would pass air the other way.

        Inlets take ``total`` as their recovery, outlets ``pressure``. If the net has openings
        that no face stands for, outlets are scaled so that they blow what inlets swallow.
        """
        from tuftwork.cooling import AirNet, Exit, Inlet, solve_air

        here = {face.opening.name: n for n, face in enumerate(faces)}
        parts = []
        for part in self.net.elements:
            n = here.get(part.name)
            if n is not None and isinstance(part, Inlet):
                part = replace(part, recovery=float(np.clip(total[n], -1.5, 1.02)))
            elif n is not None and isinstance(part, Exit):
                part = replace(part, pressure=float(np.clip(pressure[n], -5.0, 1.0)))
            parts.append(part)
        solved = solve_air(AirNet(elements=tuple(parts)), self.around, self.heats)
        flow = np.array([float(solved.of(face.opening.name)[0]) for face in faces])
        is_in = np.array([face.opening.kind == "inlet" for face in faces])
        taken, given = float(flow[is_in].sum()), float(flow[~is_in].sum())
        if taken > 0 and given > 0:
            flow[~is_in] *= taken / given
        return flow


def check_openings(
    openings: Sequence[Opening], parts: Mapping[str, bool], tie: NetTie | None
) -> None:
    """Refuse openings that cannot be meant.

    Parameters
    ----------
    openings
        All of them.
    parts
        Whether each part is closed, by name.
    tie
        The net behind them.

    Raises
    ------
    InputError, UnknownName
        With the opening's name.
    """
    names = [o.name for o in openings]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise InputError("opening", f"'{twice}'", "", "stands twice")
    for o in openings:
        if o.part not in parts:
            raise UnknownName("part", o.part, parts)
        if not parts[o.part]:
            limit = "needs a closed part: the inside takes the air"
            raise InputError(f"opening '{o.name}'", o.part, "", limit)
        if tie is not None:
            tie.net.part(o.name)
    flows = [sum(o.mass_flow for o in openings if o.kind == k) for k in ("inlet", "outlet")]
    if openings and abs(flows[0] - flows[1]) > 1e-6 * max(flows):
        limit = f"must equal what goes out, {flows[1]:g} kg/s"
        cure = "Give every opening's mass_flow, and an outlet for what the inlets take."
        raise InputError("flow through the inlets", flows[0], "kg/s", limit, cure)


def add_openings(
    links: WallLinks,
    openings: Sequence[tuple[Opening, int]],
    places: Floats,
    cell: float,
) -> tuple[WallLinks, tuple[Face, ...]]:
    """Return wall links with the openings' faces in them: those that meet the wall in one are open.

    So the area that passes is the one drawn, wherever its edges lie in their cells.

    Parameters
    ----------
    links
        The wall links.
    openings
        Each opening and the surface number of its part.
    places : (3, n_wall)
        Foot of each wall cell on its wall. [m]
    cell
        Size of a cell. [m]
    """
    if not openings:
        return links, ()
    surface_of, main = links.surface_of.copy(), links.main.copy()
    surfaces, faces = list(links.surfaces), []
    share = links.shares()
    centre = places + cell * links.geometry[3] * links.geometry[:3]
    for opening, part in openings:
        facing = opening.unit_facing()
        near = (facing @ links.geometry[:3] > 0.7) & (links.main == part)
        towards = (VELOCITY[1:] @ facing < -1e-9)[:, None]
        own = near[None] & (links.cut > 0) & (surface_of == part) & towards
        for axis in range(3):  # links that meet its very edge count on one side of it
            hit = centre[axis] + cell * (share * VELOCITY[1:, axis, None] - _EDGE)
            off = _OFF * cell * abs(facing[axis])
            own &= (hit > opening.low[axis] - off) & (hit < opening.high[axis] + off)
        number = len(surfaces)
        surface_of[own] = number
        whole = np.all(own == (links.cut > 0), axis=0) & own.any(axis=0)
        main[own.any(axis=0)] = number
        own_area = (6.0 * WEIGHT[1:] * -(VELOCITY[1:] @ facing)) @ own
        there = np.flatnonzero(own.any(axis=0))
        surfaces.append(Surface(name=opening.name, is_opening=True, counts_to=part))
        faces.append(
            Face(opening=opening, surface=number, cell=links.cell[there], area=own_area[there],
                 is_whole=whole[there])
        )  # fmt: skip
    grown = replace(links, surface_of=surface_of, main=main, surfaces=tuple(surfaces))
    return grown, tuple(faces)


def face_row(opening: Opening, flux: float) -> Floats:
    """Return what an opening's row of the surface table says at a flux. Shape (3,).

    Parameters
    ----------
    opening
        Which way it goes.
    flux
        Mass through its face per area. [density·cells/step]
    """
    return np.asarray(opening.way * flux * opening.unit_facing())


@dataclass(slots=True)
class Exchange:
    """Flow and net while they come to agree.

    Attributes
    ----------
    faces
        The openings.
    tie
        The net; None: the flows stay as they are.
    unit
        One lattice flow of mass. [kg/s]
    pressure_unit
        Pressure coefficient of a density departure of 1. [-]
    speed_unit
        One lattice speed over that of the free stream. [-]
    flows, wanted
        Through each face now, and where they ease to. [kg/s]
    answers
        What the net said last; None before it was asked. [kg/s]
    pressure, total
        At each face, over the last window. [-]
    window
        Samples since the net was last asked.
    apart
        Largest difference between flow and net when it was last asked, over the largest flow. [-]
    """

    faces: "tuple[Passage, ...]"
    tie: NetTie | None
    unit: float
    pressure_unit: float
    speed_unit: float
    flows: Floats
    wanted: Floats = field(default_factory=lambda: np.zeros(0))
    answers: Floats | None = None
    pressure: Floats = field(default_factory=lambda: np.zeros(0))
    total: Floats = field(default_factory=lambda: np.zeros(0))
    window: list[Floats] = field(default_factory=list)
    apart: float = float("inf")

    def note(self, departure: Sequence[float]) -> None:
        """Take in one sample of the density departure beside each face."""
        self.window.append(np.array(departure))

    def flux(self, flows: Floats) -> Floats:
        """Return flows [kg/s] per area of their faces. [density·cells/step]."""
        return np.asarray(flows / self.unit / np.array([face.area for face in self.faces]))

    def coefficients(self, departure: Floats) -> tuple[Floats, Floats]:
        """Return pressure and total-pressure coefficients at the faces from density departures."""
        speed = self.flux(self.flows) / (1.0 + departure) * self.speed_unit
        pressure = departure * self.pressure_unit
        return pressure, pressure + speed**2 * (1.0 + departure)

    def ease(self) -> bool:
        """Move the flows a little towards where they are wanted; False where they are there."""
        if not self.wanted.size:
            self.wanted = self.flows.copy()
        apart = self.wanted - self.flows
        if np.abs(apart).max(initial=0.0) <= 1e-4 * max(float(self.wanted.max(initial=0.0)), 1e-9):
            return False
        self.flows = self.flows + _EASE * apart
        return True

    def ask(self) -> None:
        """Ask the net at the pressures of the window's end."""
        last = self.window[int((1.0 - _CALM) * len(self.window)) :]
        self.pressure, self.total = self.coefficients(np.mean(last, axis=0))
        self.window.clear()
        if self.tie is not None:
            self.answers = self.tie.flows(self.faces, self.pressure, self.total)
            self.apart = float(
                np.abs(self.answers - self.flows).max() / max(self.answers.max(), 1e-12)
            )
            self.wanted = np.maximum(self.flows + _SHARE * (self.answers - self.flows), 0.0)
            fastest = self.flux(self.wanted) * self.speed_unit
            if fastest.max() > FASTEST:
                worst = self.faces[int(fastest.argmax())].opening.name
                raise NotConverged(
                    f"the net wants air through '{worst}' at {fastest.max():.1f} times the car's "
                    "speed: its opening is larger than the face drawn for it."
                )

    @property
    def mismatch(self) -> float:
        """Largest difference between flow and net, over the largest flow; 0 without a net. [-]."""
        return 0.0 if self.tie is None else self.apart

    def why_apart(self) -> str:
        """Return what keeps flow and net apart, in words."""
        if self.answers is None:
            return "the net was never asked, the run is too short"
        if self.answers.min() < 0:
            worst = self.faces[int(self.answers.argmin())].opening.name
            return (
                f"at the pressures of the flow the net passes air backwards through '{worst}': "
                "look at where the openings lie"
            )
        return f"they differ by {100 * self.apart:.1f} %"

    def rows(self, departure: Floats, cell: float) -> tuple[OpeningFlow, ...]:
        """Return what passed each face, at its mean density departure."""
        pressure, total = self.coefficients(departure)
        return tuple(
            OpeningFlow(
                name=face.opening.name, kind=face.opening.kind, area=face.area * cell**2,
                mass_flow=float(self.flows[n]), pressure=float(pressure[n]),
                total=float(total[n]),
                net_flow=None if self.answers is None else float(self.answers[n]),
            )
            for n, face in enumerate(self.faces)
        )  # fmt: skip
