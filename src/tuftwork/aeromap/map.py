"""The aero map: axle loads over front and rear ride height, state by state, draw by draw.

Signs and axes after SAE J1594: x rearward, y to the right, z up; loads resolved at the ground, mid
wheelbase, and stated at the axles' contact patches; downforce positive.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from hashlib import sha256
from typing import Protocol

import numpy as np
from jaxtyping import Bool, Float, Int

from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.interpolate import Surface, surface_of
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.quantity import ORIGINS, Array, Origin, Source

FrontAxis = Float[np.ndarray, " n_front"]
RearAxis = Float[np.ndarray, " n_rear"]
Flags = Bool[np.ndarray, "n_state n_front n_rear"]
DrawField = Float[np.ndarray, "n_state n_front n_rear n_draw"]
FIELDS = ("downforce_front", "downforce_rear", "drag")
"""The map's fields, in the order in which a :class:`Surface` holds them."""


class AxleLoads(Protocol):
    """What a load function returns; a part's load and a whole car's both fit."""

    @property
    def downforce_front(self) -> Array:
        """CzSf ``(..., n_draw)`` [m²]."""
        ...

    @property
    def downforce_rear(self) -> Array:
        """CzSr ``(..., n_draw)`` [m²]."""
        ...

    @property
    def drag(self) -> Array:
        """CxS ``(..., n_draw)`` [m²]."""
        ...

    @property
    def notices(self) -> tuple[str, ...]:
        """What a reader must be told."""
        ...


LoadFunction = Callable[[PlatformState], AxleLoads]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapHeader:
    """What a reader must know of the car before using its map; free text where not said."""

    car: str = ""
    configuration: str = ""
    settings: str = ""
    digest: str = ""
    mass_state: str = ""
    cooling: str = ""
    tyres: str = ""
    camber: str = "not varied"
    steer: str = "straight ahead"
    yaw: str = "0°"
    roll: str = "0°"
    wind: str = "none"
    ground: str = "moving with the car's speed"
    datum: str = "reference plane of the floor at the axle lines"
    measured_at: str = "on the car's centre line, at the front and the rear axle line"
    reynolds: str = ""
    method: str = ""
    cliffs: str = ""
    hysteresis: str = ""
    changes: str = ""
    author: str = ""
    day: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AirAt:
    """Speed and air at which a map is made.

    Attributes
    ----------
    speed
        Air speed. [m/s]
    density, viscosity
        Of the air. [kg/m³], [Pa s]
    """

    speed: float
    density: float
    viscosity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedSpan:
    """Ride heights inside which the models were compared with data. [m]"""

    front: tuple[float, float] = (0.0, np.inf)
    rear: tuple[float, float] = (0.0, np.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class AeroMap:
    """Axle loads over ride heights.

    Attributes
    ----------
    front, rear : (n_front,), (n_rear,)
        Ride heights of the reference plane at the axle lines, rising. [m]
    states
        Names of the car's states.
    downforce_front, downforce_rear, drag : (n_state, n_front, n_rear, n_draw)
        CzSf, CzSr, CxS. [m²]
    air
        Speed and air it was made at.
    origin : (n_state, n_front, n_rear)
        Place in ``ORIGINS`` of how each cell came to be known.
    valid : (n_state, n_front, n_rear)
        Whether the cell holds numbers at all.
    extrapolated : (n_state, n_front, n_rear)
        Whether the cell lies outside the checked range.
    sources, notices
        What the numbers rest on, and what a reader must be told.
    header
        What the car was.
    """

    front: FrontAxis
    rear: RearAxis
    states: tuple[str, ...]
    downforce_front: DrawField
    downforce_rear: DrawField
    drag: DrawField
    air: AirAt
    origin: Int[np.ndarray, "n_state n_front n_rear"]
    valid: Flags
    extrapolated: Flags
    sources: tuple[Source, ...] = ()
    notices: tuple[str, ...] = ()
    header: MapHeader = field(default_factory=MapHeader)

    @property
    def n_draw(self) -> int:
        """Number of draws."""
        return int(self.drag.shape[-1])

    @property
    def shape(self) -> tuple[int, int, int, int]:
        """States, front heights, rear heights, draws."""
        return len(self.states), self.front.size, self.rear.size, self.n_draw

    def place(self, state: str = "") -> int:
        """Return where a state stands; the first where no name is given."""
        if state and state not in self.states:
            raise UnknownName("state", state, self.states)
        return self.states.index(state) if state else 0

    def stacked(self, state: str = "") -> Float[np.ndarray, "3 n_front n_rear n_draw"]:
        """Return CzSf, CzSr and CxS of one state in one array [m²]."""
        at = self.place(state)
        return np.stack([getattr(self, name)[at] for name in FIELDS])

    @property
    def digest(self) -> str:
        """Checksum of axes, fields and flags: the same numbers give the same text."""
        made = sha256()
        for name in ("front", "rear", *FIELDS, "origin", "valid", "extrapolated"):
            values = np.ascontiguousarray(getattr(self, name))
            made.update(f"{name}{values.shape}".encode())
            made.update(values.astype("<i8" if values.dtype.kind in "ib" else "<f8").tobytes())
        made.update(repr((self.states, self.air)).encode())
        return f"sha256:{made.hexdigest()}"


def build_map(
    loads: Mapping[str, LoadFunction],
    *,
    front: FrontAxis,
    rear: RearAxis,
    air: AirAt,
    checked: CheckedSpan | None = None,
    header: MapHeader | None = None,
) -> AeroMap:
    """Return the map of a car: every state at every pair of ride heights.

    Parameters
    ----------
    loads
        State → function from a platform state, heights ``(n_cell, 1)`` each, to axle loads
        ``(n_cell, n_draw)``.
    front, rear : (n_front,), (n_rear,)
        Ride heights, rising, above the ground. [m]
    air
        Speed and air.
    checked
        Ride heights inside which the models were compared with data; cells outside are marked.
    header
        What the car was.

    Returns
    -------
    aero_map
        Of origin ``computed``; cells in which a draw is not a number are not valid.

    Raises
    ------
    InputError
        If an axis does not rise or reaches the ground, or states differ in their draws.
    """
    for name, axis in (("front", front), ("rear", rear)):
        if axis.size < 2 or not np.all(np.diff(axis) > 0) or not axis[0] > 0:
            limit = "must rise from above 0, and have 2 nodes at least"
            raise InputError(f"{name} axis", axis.size, "nodes", limit)
    if not loads:
        raise InputError("states", "none", "", "a map needs one at least")
    hf, hr = (h.reshape(-1, 1) for h in np.meshgrid(front, rear, indexing="ij"))
    platform = PlatformState(
        ride_height_front=hf, ride_height_rear=hr, speed=np.full((1, 1), air.speed),
        density=np.full((1, 1), air.density), viscosity=np.full((1, 1), air.viscosity),
    )  # fmt: skip
    answers = {state: load(platform) for state, load in loads.items()}
    n_draw = {np.shape(answer.drag)[-1] for answer in answers.values()}
    if len(n_draw) != 1:
        raise InputError("draws", str(sorted(n_draw)), "", "must be the same in every state")
    shape = (front.size, rear.size, n_draw.pop())
    stacked = [
        np.stack([_on_grid(getattr(answer, name), shape) for answer in answers.values()])
        for name in FIELDS
    ]
    valid = np.all(np.isfinite(np.stack(stacked)), axis=(0, 4))
    notices = dict.fromkeys(n for answer in answers.values() for n in answer.notices)
    return AeroMap(
        front=front, rear=rear, states=tuple(loads),
        downforce_front=stacked[0], downforce_rear=stacked[1], drag=stacked[2], air=air,
        origin=np.full(valid.shape, ORIGINS.index("computed")), valid=valid,
        extrapolated=np.broadcast_to(_outside(front, rear, checked), valid.shape).copy(),
        notices=tuple(notices), header=header or MapHeader(),
    )  # fmt: skip


def map_surface(aero_map: AeroMap, state: str = "") -> Surface:
    """Return one state's smooth surface (fields in the order of ``FIELDS``), for many readings.

    Raises
    ------
    NotCovered
        If a cell of that state is not valid.
    """
    at = aero_map.place(state)
    if not np.all(aero_map.valid[at]):
        n = int(np.sum(~aero_map.valid[at]))
        raise NotCovered(
            f"{n} cells of state '{aero_map.states[at]}' hold no valid numbers. Narrow the axes."
        )
    return surface_of(aero_map.front, aero_map.rear, aero_map.stacked(state))


def origin_of(aero_map: AeroMap, state: int, front: int, rear: int) -> Origin:
    """Return how one cell came to be known."""
    return ORIGINS[int(aero_map.origin[state, front, rear])]


def header_lines(header: MapHeader) -> dict[str, str]:
    """Return the header as name → text."""
    return {item.name: str(getattr(header, item.name)) for item in fields(header)}


def _on_grid(values: Array, shape: tuple[int, int, int]) -> Array:
    n_front, n_rear, n_draw = shape
    flat = np.broadcast_to(np.asarray(values, dtype=float), (n_front * n_rear, n_draw))
    return flat.reshape(shape).copy()


def _outside(
    front: FrontAxis, rear: RearAxis, checked: CheckedSpan | None
) -> Bool[np.ndarray, "n_front n_rear"]:
    span = checked or CheckedSpan()
    f = (front < span.front[0]) | (front > span.front[1])
    r = (rear < span.rear[0]) | (rear > span.rear[1])
    return f[:, None] | r[None, :]
