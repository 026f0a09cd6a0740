"""What may be put under a car: kick line, ramp and the hard points over it, and what each costs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure, LineResult, solve_line
from tuftwork.floor.shape import FloorShape, Stand
from tuftwork.quantity import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class HardLimit:
    """What a ramp must stay under: a station and a height over the reference plane. [m]"""

    name: str
    station: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceRow:
    """What one hard point costs.

    Attributes
    ----------
    name
    gain
        CzS won if it stood higher by ``moved``; zero where it does not bind. [m²]
    free
        CzS won if it were not there. [m²]
    binds
        Whether the best ramp touches it.
    """

    name: str
    gain: float
    free: float
    binds: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """The best ramp under some hard points.

    Attributes
    ----------
    kick, angle
        Of the best ramp. [m], [rad]
    downforce, present
        CzS of it and of the ramp as it is. [m²]
    area_ratio
        Gap at the exit over that at the kick line. [-]
    prices
        One a hard point, dearest first.
    kicks, angles, loads
        What was searched, ``(n_kick, n_angle)``. [m], [rad], [m²]
    moved
        What the hard points were raised by. [m]
    """

    kick: float
    angle: float
    downforce: float
    present: float
    area_ratio: float
    prices: tuple[PriceRow, ...]
    kicks: Array
    angles: Array
    loads: Array
    moved: float


def area_ratio(kick_gap: float, exit_gap: float) -> float:
    """Return exit gap over throat gap [-].

    Raises
    ------
    InputError
        If a gap is not above 0.
    """
    if not (kick_gap > 0 and exit_gap > 0):
        raise InputError("gap", min(kick_gap, exit_gap), "m", "must be above 0")
    return exit_gap / kick_gap


def best_ramp(
    make: Callable[[float, float], FloorShape],
    stand: Stand,
    closure: FloorClosure,
    hard: Sequence[HardLimit],
    *,
    kick: tuple[float, float],
    exit: float,
    present: tuple[float, float],
    angle: tuple[float, float] = (np.radians(3.0), np.radians(22.0)),
    highest: float | None = None,
    moved: float = 0.030,
    count: tuple[int, int] = (5, 9),
) -> Package:
    """Return the plane ramp of most downforce under hard points, and what each of them costs.

    Parameters
    ----------
    make
        Kick station and angle → floor.
    stand, closure
        How it stands, what the equations leave open.
    hard
        What the ramp must stay under.
    kick, exit, angle
        Stations and angles searched. [m], [m], [rad]
    present
        Kick and angle now. [m], [rad]
    highest
        Of the exit over the reference plane: a rule. [m]
    moved
        What each hard point is raised by for its price. [m]

    Raises
    ------
    NotConverged
        If too few ramps have an answer.
    InputError
        If no ramp fits under the hard points.
    """
    kicks = np.linspace(*kick, count[0])
    angles = np.linspace(*angle, count[1])
    loads = np.full((kicks.size, angles.size), np.nan)
    for i, k in enumerate(kicks):
        near: LineResult | None = None
        for j, a in enumerate(angles):
            try:
                near = solve_line(make(float(k), float(a)), stand, closure, start=near, n_node=80)
            except NotConverged:
                near = None
                continue
            loads[i, j] = near.downforce
    if np.isnan(loads).sum() > 0.2 * loads.size:
        raise NotConverged("the search for a ramp: too few ramps have an answer")
    filled = np.where(np.isnan(loads), np.nanmin(loads), loads)
    surface = RectBivariateSpline(kicks, angles, filled, kx=min(3, kicks.size - 1), ky=3)
    fine_k, fine_a = np.linspace(*kick, 61), np.linspace(*angle, 115)
    values = surface(fine_k, fine_a)

    def best(limits: Sequence[HardLimit]) -> tuple[float, int, int]:
        fits = _fits(fine_k, fine_a, limits, exit, highest)
        if not fits.any():
            raise InputError("hard points", len(limits), "", "leave no room for any ramp")
        at = np.unravel_index(int(np.argmax(np.where(fits, values, -np.inf))), values.shape)
        return float(values[at]), int(at[0]), int(at[1])

    top, i, j = best(hard)
    rows = []
    for h in hard:
        rest = [o for o in hard if o is not h]
        raised = HardLimit(name=h.name, station=h.station, height=h.height + moved)
        gain, free = best([*rest, raised])[0] - top, best(rest)[0] - top
        room = h.height - max(h.station - fine_k[i], 0.0) * np.tan(fine_a[j])
        rows.append(PriceRow(name=h.name, gain=gain, free=free, binds=bool(room < 0.004)))
    rows.sort(key=lambda r: -r.gain)
    near_gap = float(stand.plane(np.array(fine_k[i]), np.zeros(1))[0])
    far_gap = float(stand.plane(np.array(exit), np.zeros(1))[0])
    far_gap += (exit - fine_k[i]) * np.tan(fine_a[j])
    own = float(surface(np.clip(present[0], *kick), np.clip(present[1], *angle))[0, 0])
    return Package(
        kick=float(fine_k[i]), angle=float(fine_a[j]), downforce=top, present=own,
        area_ratio=area_ratio(near_gap, far_gap), prices=tuple(rows), kicks=kicks, angles=angles,
        loads=filled, moved=moved,
    )  # fmt: skip


def _fits(
    kicks: Array, angles: Array, hard: Sequence[HardLimit], exit: float, highest: float | None
) -> NDArray[np.bool_]:
    rise = np.tan(angles)[None, :]
    fits = np.ones((kicks.size, angles.size), dtype=bool)
    for h in hard:
        if h.station > exit:
            continue
        fits &= np.maximum(h.station - kicks, 0.0)[:, None] * rise <= h.height + 1e-9
    if highest is not None:
        fits &= (exit - kicks)[:, None] * rise <= highest + 1e-9
    return fits
