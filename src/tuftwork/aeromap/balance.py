"""Balance and loads against speed, how stiff the air is, and how far the cliff is.

The cliff of an axle is where it loses load on coming lower: its edge is the greatest ride height,
the other axle's held, from which the next millimetre takes away at least a stated share,

    CzS_i(h_i) − CzS_i(h_i − 1 mm) ≥ criterion · CzS_i(h_i) · 1 mm,

2 % unless another is given. Above the edge the distance is positive; on the cliff it is negative
and says how much the axle would have to be raised.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from jaxtyping import Float

from tuftwork.aeromap.equilibrium import PlatformPath
from tuftwork.aeromap.interpolate import Surface, evaluate, evaluate_with_slopes
from tuftwork.aeromap.platform import STANDARD_GRAVITY
from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import Array

Axle = Literal["front", "rear"]
AXLES: tuple[Axle, ...] = ("front", "rear")
CLIFF_CRITERION = 20.0  # [1/m]  2 % of the axle's load per millimetre; common practice, no source
_REACH = 4  # [-] steps over which a loss is taken: one millimetre
_FINE = 1e-3 / _REACH  # [m] between the heights at which a line is looked at for the edge

Ways = Float[np.ndarray, "n_speed n_draw"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """A car's loads and balance on its path through the speeds.

    Attributes
    ----------
    speed : (n_speed,)
        [m/s]
    front_share : (n_speed, n_draw)
        Front axle's share of the downforce. [-]
    downforce, drag : (n_speed, n_draw)
        CzS and CxS. [m²]
    load_front, load_rear, load : (n_speed, n_draw)
        At the axles and together. [N]
    stiffness : (2, 2, n_speed, n_draw)
        Change of axle load (first index: front, rear) per ride height (second). [N/m]
    to_cliff_front, to_cliff_rear : (n_speed, n_draw)
        Height above the edge of the axle's cliff; NaN where the map has none. [m]
    margin : (n_speed, n_draw)
        Against static divergence: 1 at rest, 0 where the springs cannot hold the car. [-]
    criterion
        Of the cliff. [1/m]
    """

    speed: Float[np.ndarray, " n_speed"]
    front_share: Ways
    downforce: Ways
    drag: Ways
    load_front: Ways
    load_rear: Ways
    load: Ways
    stiffness: Float[np.ndarray, "2 2 n_speed n_draw"]
    to_cliff_front: Ways
    to_cliff_rear: Ways
    margin: Ways
    criterion: float

    @property
    def mass_front(self) -> Ways:
        """Front axle load as the mass that would press as much [kg]."""
        return np.asarray(self.load_front / STANDARD_GRAVITY)

    @property
    def mass_rear(self) -> Ways:
        """Rear axle load as the mass that would press as much [kg]."""
        return np.asarray(self.load_rear / STANDARD_GRAVITY)

    @property
    def mass(self) -> Ways:
        """Whole load as the mass that would press as much [kg]."""
        return np.asarray(self.load / STANDARD_GRAVITY)


def front_share(path: PlatformPath) -> Ways:
    """Return the front axle's share of the downforce along a path [-]."""
    return np.asarray(path.downforce_front / (path.downforce_front + path.downforce_rear))


def balance_of(
    path: PlatformPath, surface: Surface, *, criterion: float = CLIFF_CRITERION
) -> Balance:
    """Return loads, balance, stiffness and distance to the cliff along a path.

    Parameters
    ----------
    path
        Of one direction of speed, all draws on the map.
    surface
        The map it was found on.
    criterion
        Relative loss of axle load per height lost at which the cliff begins. [1/m]

    Returns
    -------
    balance
        Draw by draw.

    Raises
    ------
    InputError
        If the criterion is not above 0.
    NotCovered
        If a draw left the map.
    """
    if not criterion > 0:
        raise InputError("criterion", criterion, "1/m", "must be above 0")
    hf, hr = path.ride_height_front, path.ride_height_rear
    values, over_front, over_rear = evaluate_with_slopes(surface, hf, hr)
    total = values[0] + values[1]
    whole = path.load_front + path.load_rear
    # from the loads of this very path: its draws may differ in density
    pressure = np.divide(whole, total, out=np.zeros_like(whole), where=total != 0)
    slopes = np.stack([np.stack([over_front[k], over_rear[k]]) for k in (0, 1)])
    return Balance(
        speed=path.speed, front_share=values[0] / total, downforce=total, drag=values[2],
        load_front=path.load_front, load_rear=path.load_rear, load=whole,
        stiffness=slopes * pressure, margin=path.margin, criterion=criterion,
        to_cliff_front=hf - _edges(surface, "front", hr, criterion),
        to_cliff_rear=hr - _edges(surface, "rear", hf, criterion),
    )  # fmt: skip


def cliff_line(
    surface: Surface, axle: Axle, other: Array, *, criterion: float = CLIFF_CRITERION
) -> Float[np.ndarray, "n_other n_draw"]:
    """Return the edge of an axle's cliff along the other axle's ride height.

    Parameters
    ----------
    surface
        The map.
    axle
        Whose cliff.
    other : (n_other,)
        Ride heights of the other axle. [m]
    criterion
        Relative loss of axle load per height lost. [1/m]

    Returns
    -------
    edge : (n_other, n_draw)
        Ride height of the edge; NaN where the map has none. [m]
    """
    heights = np.broadcast_to(np.asarray(other)[:, None], (np.size(other), surface.n_draw))
    return _edges(surface, axle, heights, criterion)


def _edges(surface: Surface, axle: Axle, other: Array, criterion: float) -> Array:
    """Return the edge for every other height ``(n, n_draw)`` [m]."""
    axis = surface.front if axle == "front" else surface.rear
    fine = axis[-1] - _FINE * np.arange(int((axis[-1] - axis[0]) / _FINE) + 1)
    if fine.size <= _REACH:
        raise NotCovered("The map is less than a millimetre high: it cannot show a cliff.")
    shape = (fine.size, other.size // surface.n_draw, surface.n_draw)
    moved = np.broadcast_to(fine[:, None, None], shape).reshape(-1, surface.n_draw)
    held = np.broadcast_to(other, shape).reshape(-1, surface.n_draw)
    field = AXLES.index(axle)
    one = Surface(
        front=surface.front, rear=surface.rear, nodes=surface.nodes[:, field : field + 1],
        start_front=surface.start_front, start_rear=surface.start_rear,
    )  # fmt: skip
    points = (moved, held) if axle == "front" else (held, moved)
    value = evaluate(one, *points)[0].reshape(shape)
    here, below = value[:-_REACH], value[_REACH:]
    return _first_crossing(fine[:-_REACH], here - below - criterion * 1e-3 * here)


def _first_crossing(height: Array, excess: Array) -> Array:
    """Return where ``excess`` first rises through zero on the way down, NaN if nowhere."""
    over = excess >= 0
    first = np.argmax(over, axis=0)
    before = np.maximum(first - 1, 0)
    low = np.take_along_axis(excess, first[None], axis=0)[0]
    high = np.take_along_axis(excess, before[None], axis=0)[0]
    step = np.where(first > 0, low - high, 1.0)
    share = np.where(first > 0, -high / np.where(step == 0, 1.0, step), 0.0)
    edge = height[before] + share * (height[first] - height[before])
    return np.asarray(np.where(np.any(over, axis=0), edge, np.nan))
