"""Where on the lap, and where on the map: corner by corner, ride height by ride height."""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.physics import table_at
from tuftwork.lap.record import LapTrace
from tuftwork.lap.solve import Case, Lap
from tuftwork.lap.table import AeroTable
from tuftwork.quantity import Array

PEAK_SLIP = 0.10  # [-]  slip at peak grip, common practice; only scales the tyre figure


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerWorth:
    """Seconds gained or lost around one corner, and its slowest speed before and after. [s, m/s]"""

    name: str
    corner_class: str
    seconds: float
    speed_before: float
    speed_after: float


def clock(lap: Lap) -> tuple[Array, Array]:
    """Return station and elapsed time at the ends of the cells of a lap. [m, s]"""
    t = lap.trace
    half = 0.5 * t.speed * t.duration
    return (
        np.r_[t.station[0] - half[0], t.station + half],
        np.r_[0.0, np.cumsum(t.duration)],
    )


def worth_by_corner(before: Lap, after: Lap) -> tuple[CornerWorth, ...]:
    """Return where two laps differ: each corner with half of the straights beside it.

    Parameters
    ----------
    before, after : ()
        Laps of one circuit. [-]

    Returns
    -------
    corners : (n_corner,)
        Seconds add up to the difference of the laps. [s]

    Raises
    ------
    InputError
        If the laps are of different circuits or the circuit has no corners.
    """
    if before.circuit.name != after.circuit.name or not before.circuit.corners:
        raise InputError("laps", after.circuit.name, "", "must be of one circuit with corners")
    corners = before.circuit.corners
    bounds = corner_bounds(before.circuit)
    out = []
    parts = []
    for lap in (before, after):
        s, t = clock(lap)
        total = t[-1]
        # a bound before the start line belongs to the lap's end
        at = np.array([np.interp(b % lap.circuit.length, s, t) for b in bounds])
        parts.append(np.diff(np.r_[at, at[0] + total]) % total)
    for i, corner in enumerate(corners):
        speeds = [_slowest(lap.trace, corner.start, corner.end) for lap in (before, after)]
        out.append(
            CornerWorth(
                name=corner.name, corner_class=corner.corner_class,
                seconds=float(parts[1][i] - parts[0][i]),
                speed_before=speeds[0], speed_after=speeds[1],
            )
        )  # fmt: skip
    return tuple(out)


def corner_bounds(circuit: Circuit) -> Array:
    """Return where each corner's share of the lap begins, wrapped before the start if need be.

    Parameters
    ----------
    circuit : ()
        With its corners. [-]

    Returns
    -------
    bounds : (n_corner,)
        Half way along the straight before each corner. [m]
    """
    if not circuit.corners:
        return np.zeros(0)
    starts = np.array([c.start for c in circuit.corners])
    ends = np.array([c.end for c in circuit.corners])
    before = np.r_[ends[-1] - circuit.length, ends[:-1]]
    return np.asarray(0.5 * (before + starts))


def _slowest(trace: LapTrace, start: float, end: float) -> float:
    """Return the slowest speed between two stations. [m/s]"""
    inside = (trace.station >= start) & (trace.station <= end)
    return float(trace.speed[inside].min()) if np.any(inside) else float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Occupancy:
    """Where on the map the lap is spent.

    Attributes
    ----------
    edges_front, edges_rear, edges_speed
        Bin edges. [m, m, m/s]
    seconds : (n_front, n_rear, n_speed)
        Time in each bin. [s]
    near_cliff : ()
        Share of the lap where rear downforce falls with rear ride height faster than ``slope``.
    slope : ()
        Threshold on dCzSr/dhr. [m²/m]
    outside : ()
        Share of the lap outside the table.
    """

    edges_front: Array
    edges_rear: Array
    edges_speed: Array
    seconds: Array
    near_cliff: float
    slope: float
    outside: float


def occupancy(
    lap: Lap, aero: AeroTable, *, state: int = 0, slope: float = 30.0, n_bin: int = 12
) -> Occupancy:
    """Return how long the lap stays where on the map, and how much of it near the cliff.

    Parameters
    ----------
    lap, aero : ()
        A solved lap and its table. [-]
    state : ()
        Block of the table the cliff is looked for in. [-]
    slope : ()
        dCzSr/dhr from which a place counts as the cliff: 3 points a mm. [m²/m]
    n_bin : ()
        Bins along each ride height. [-]

    Returns
    -------
    occupancy : ()
        Seconds per bin and shares. [s]
    """
    t = lap.trace
    edges = [
        np.linspace(values.min() - 1e-6, values.max() + 1e-6, n + 1)
        for values, n in (
            (t.ride_height_front, n_bin), (t.ride_height_rear, n_bin), (t.speed, 6)
        )
    ]  # fmt: skip
    seconds, _ = np.histogramdd(
        np.stack([t.ride_height_front, t.ride_height_rear, t.speed], axis=1),
        bins=edges, weights=t.duration,
    )  # fmt: skip
    coef = aero.of_draw(0)
    steep = np.array(
        [
            table_at(coef, aero.ride_height_front, aero.ride_height_rear, state, f, r)[5] > slope
            for f, r in zip(t.ride_height_front, t.ride_height_rear, strict=True)
        ]
    )
    total = t.duration.sum()
    return Occupancy(
        edges_front=edges[0], edges_rear=edges[1], edges_speed=edges[2], seconds=seconds,
        near_cliff=float(t.duration[steep].sum() / total), slope=slope,
        outside=float(t.duration[t.outside].sum() / total),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class LapEnergy:
    """Energy of one lap. [J]

    Attributes
    ----------
    engine, brakes, drag
        Work out of the engine, into the brakes, against the air.
    tyre_front, tyre_rear
        Sliding work at the contact patches, force times slip speed with slip in proportion to
        grip used; good for ratios, not for absolute wear.
    """

    engine: float
    brakes: float
    drag: float
    tyre_front: float
    tyre_rear: float


def energy_of(case: Case, lap: Lap) -> LapEnergy:
    """Return the energy side of a lap: fuel, brakes, air, tyres.

    Parameters
    ----------
    case, lap : ()
        The case and its lap. [-]

    Returns
    -------
    energy : ()
        Work over one lap. [J]
    """
    t, v = lap.trace, case.vehicle
    ds = t.speed * t.duration
    rho = float(case.parameters[37])
    force = t.drive_force
    side = v.chassis.mass * np.abs(t.ay)
    front = v.drive_share_front if v.drive_share_front is not None else 0.5
    brake = v.brakes.share_front if v.brakes.share_front is not None else 0.5
    share = np.where(force > 0.0, front, brake)
    wf = v.chassis.weight_front
    slide_f = np.hypot(share * force, wf * side) * PEAK_SLIP * t.use_front
    slide_r = np.hypot((1 - share) * force, (1 - wf) * side) * PEAK_SLIP * t.use_rear
    return LapEnergy(
        engine=float(np.sum(np.maximum(force, 0.0) * ds) / v.driveline_efficiency),
        brakes=float(-np.sum(np.minimum(force, 0.0) * ds)),
        drag=float(np.sum(0.5 * rho * t.speed**2 * t.drag * ds)),
        tyre_front=float(np.sum(slide_f * ds)),
        tyre_rear=float(np.sum(slide_r * ds)),
    )  # fmt: skip
