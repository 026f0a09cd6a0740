"""A circuit as the lap sees it: curvature, bank, grade and crest over distance, and its corners."""

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array

Direction = Literal["left", "right"]
CornerClass = Literal["slow", "medium", "fast"]

CLASS_RADIUS = (60.0, 150.0)
"""Apex radii between slow and medium and between medium and fast corners. [m]  common practice"""

TIGHTEST = 3.0  # [m]  no car turns tighter on a circuit; a smaller radius is a spike or a unit slip


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """One corner: where it begins, turns tightest and ends [m], its radius there and its class."""

    name: str
    direction: Direction
    start: float
    apex: float
    end: float
    radius: float
    corner_class: CornerClass


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """Road along its line. A repeated station marks a jump.

    Attributes
    ----------
    station, curvature : (n,)
        Distance [m] and signed curvature, left positive [1/m]; straight between stations.
    x, y : (n,)
        Plan of the line. [m]
    bank, grade, crest : (n,)
        Bank, positive down towards the left side [rad]; slope, uphill positive [rad]; vertical
        curvature, positive in a hollow [1/m].
    width_right, width_left : (n,)
        From the line to the edges. [m]
    closed
        Whether the end meets the start.
    corners, notices
        Corners in order of distance; what the checks had to say.
    """

    name: str
    station: Array
    curvature: Array
    x: Array
    y: Array
    bank: Array
    grade: Array
    crest: Array
    width_right: Array
    width_left: Array
    closed: bool = True
    corners: tuple[Corner, ...] = ()
    notices: tuple[str, ...] = field(default=())

    @property
    def length(self) -> float:
        """Length of the line. [m]"""
        return float(self.station[-1] - self.station[0])

    @property
    def turns(self) -> float:
        """Net number of turns, counter-clockwise positive."""
        ds = np.diff(self.station)
        return float(np.sum(0.5 * (self.curvature[1:] + self.curvature[:-1]) * ds) / (2 * np.pi))

    def corner(self, name: str) -> Corner:
        """Return the corner of that name."""
        for corner in self.corners:
            if corner.name == name:
                return corner
        raise InputError(
            "corner", f"'{name}'", "", "not on this circuit",
            f"Known: {', '.join(c.name for c in self.corners)}.",
        )  # fmt: skip


def circuit_of(
    name: str, station: Array, curvature: Array, plan: tuple[Array, Array], **rest: object
) -> Circuit:
    """Return a circuit from its line, flat and 10 m wide where nothing else is said; checked.

    Parameters
    ----------
    name : ()
        Name of the circuit. [-]
    station, curvature : (n,)
        Distance and signed curvature. [m, 1/m]
    plan : (2, n)
        x and y. [m]
    rest : ()
        Further fields of :class:`Circuit`. [mixed]

    Returns
    -------
    circuit : ()
        With corners found unless given. [-]

    Raises
    ------
    InputError
        If a value is not a number, stations fall back, or a radius is impossible.
    """
    n = np.shape(station)
    fields: dict[str, object] = {k: np.zeros(n) for k in ("bank", "grade", "crest")}
    fields |= {k: np.full(n, 5.0) for k in ("width_right", "width_left")}
    fields |= rest
    made = Circuit(
        name=name, station=np.asarray(station, float), curvature=np.asarray(curvature, float),
        x=np.asarray(plan[0], float), y=np.asarray(plan[1], float), **fields,  # type: ignore[arg-type]
    )  # fmt: skip
    _check(made)
    return made if made.corners else replace(made, corners=find_corners(made))


def _check(c: Circuit) -> None:
    """Refuse what no circuit can be."""
    arrays = {
        "station": c.station, "curvature": c.curvature, "bank": c.bank, "grade": c.grade,
        "crest": c.crest, "width_right": c.width_right, "width_left": c.width_left,
    }  # fmt: skip
    for name, values in arrays.items():
        if not np.all(np.isfinite(values)):
            raise InputError(name, "nan", "", "must be numbers", "Remove or fill the faulty lines.")
        if values.shape != c.station.shape:
            raise InputError(name, str(values.shape), "", f"must have shape {c.station.shape}")
    if not np.all(np.diff(c.station) >= 0.0):
        raise InputError("station", "list", "m", "must not fall back", "Sort by distance.")
    if not c.length > 50.0:
        raise InputError(
            "length", c.length, "m", "too short for a circuit", "Given in km? Multiply by 1000."
        )
    if c.length > 60_000.0:
        raise InputError(
            "length", c.length, "m", "too long for a circuit", "Given in mm or feet? Convert to m."
        )
    k = np.abs(c.curvature)
    if np.max(k) > 1.0 / TIGHTEST:
        where = float(c.station[int(np.argmax(k))])
        raise InputError(
            "radius",
            1.0 / float(np.max(k)),
            "m",
            f"tighter than {TIGHTEST:g} at {where:.0f} m",
            "A curvature spike: smooth over a longer length, or mend the points there.",
        )
    if np.max(np.abs(c.bank)) > 0.8 or np.max(np.abs(c.grade)) > 0.5:
        raise InputError(
            "bank or grade", float(np.max(np.abs(c.bank))), "rad", "too steep",
            "Degrees given? Multiply by pi/180.",
        )  # fmt: skip


def find_corners(
    circuit: Circuit, *, straight_radius: float = 400.0, least_turn: float = 0.14
) -> tuple[Corner, ...]:
    """Return the corners of a circuit: stretches of one hand, tighter than a straight.

    Parameters
    ----------
    circuit : ()
        The circuit. [-]
    straight_radius : ()
        Radius beyond which the line counts as straight. [m]
    least_turn : ()
        Heading change below which a bend is not counted. [rad]

    Returns
    -------
    corners : (n_corner,)
        Named T1, T2 … in order of distance. [-]
    """
    s, k = circuit.station, circuit.curvature
    grid = np.linspace(s[0], s[-1], max(int(circuit.length), 100) + 1)
    kk = np.interp(grid, s, k)
    ds = grid[1] - grid[0]
    hand = np.where(np.abs(kk) > 1.0 / straight_radius, np.sign(kk), 0.0)
    edges = np.flatnonzero(np.diff(hand)) + 1
    spans: list[list[int]] = []
    for a, b in zip(np.r_[0, edges], np.r_[edges, grid.size], strict=True):
        if hand[a] == 0.0:
            continue
        if spans and hand[spans[-1][0]] == hand[a] and (a - spans[-1][1]) * ds < 15.0:
            spans[-1][1] = int(b)
        else:
            spans.append([int(a), int(b)])
    corners = []
    for a, b in spans:
        if abs(np.sum(kk[a:b])) * ds < least_turn:
            continue
        top = float(np.max(np.abs(kk[a:b])))
        flat = np.flatnonzero(np.abs(kk[a:b]) > 0.995 * top)
        apex = a + int(flat[flat.size // 2])
        corners.append(
            (float(grid[a]), float(grid[apex]), float(grid[min(b, grid.size - 1)]), kk[apex])
        )
    return tuple(
        Corner(
            name=f"T{i}", direction="left" if kap > 0 else "right", start=a, apex=m, end=b,
            radius=1.0 / abs(float(kap)), corner_class=class_of_radius(1.0 / abs(float(kap))),
        )
        for i, (a, m, b, kap) in enumerate(corners, start=1)
    )  # fmt: skip


def class_of_radius(radius: float) -> CornerClass:
    """Return the class of a corner from its apex radius.

    Parameters
    ----------
    radius : ()
        Radius at the apex. [m]

    Returns
    -------
    corner_class : ()
        slow, medium or fast by ``CLASS_RADIUS``. [-]
    """
    return "slow" if radius < CLASS_RADIUS[0] else "medium" if radius < CLASS_RADIUS[1] else "fast"


def reverse(circuit: Circuit) -> Circuit:
    """Return the circuit driven the other way round.

    Parameters
    ----------
    circuit : ()
        The circuit. [-]

    Returns
    -------
    circuit : ()
        Same road, other direction. [-]
    """
    flip = slice(None, None, -1)
    end = circuit.station[-1]
    return replace(
        circuit,
        station=end - circuit.station[flip],
        curvature=-circuit.curvature[flip],
        x=circuit.x[flip],
        y=circuit.y[flip],
        bank=-circuit.bank[flip],
        grade=-circuit.grade[flip],
        crest=circuit.crest[flip],
        width_right=circuit.width_left[flip],
        width_left=circuit.width_right[flip],
        corners=tuple(
            replace(
                c, start=end - c.end, apex=end - c.apex, end=end - c.start,
                direction="left" if c.direction == "right" else "right",
            )
            for c in circuit.corners[::-1]
        ),
    )  # fmt: skip


def start_at(circuit: Circuit, station: float) -> Circuit:
    """Return a closed circuit counted from another start line.

    Parameters
    ----------
    circuit : ()
        Closed circuit. [-]
    station : ()
        Where the new start lies. [m]

    Returns
    -------
    circuit : ()
        Same road, other start; corners are found again. [-]
    """
    if not circuit.closed:
        raise InputError("circuit", circuit.name, "", "is open: its start is where it is")
    s = circuit.station
    cut = float(station) % circuit.length

    def turned(values: Array) -> Array:
        at = np.interp(cut, s, values)
        after, before = s > cut, s < cut
        return np.asarray(np.r_[at, values[after], values[before], at])

    rolled = np.r_[0.0, s[s > cut] - cut, s[s < cut] + circuit.length - cut, circuit.length]
    names = ("curvature", "x", "y", "bank", "grade", "crest", "width_right", "width_left")
    fields = {n: turned(getattr(circuit, n)) for n in names}
    made = replace(circuit, station=rolled, corners=(), **fields)  # type: ignore[arg-type]
    return replace(made, corners=find_corners(made))
