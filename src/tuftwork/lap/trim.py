"""The trim table: settings that keep the balance, in order of downforce, for one circuit."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuftwork.errors import InputError, NotCovered
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.solve import Lap, prepare, run_case
from tuftwork.lap.table import AeroTable
from tuftwork.lap.value import footing_of
from tuftwork.lap.vehicle import Surroundings, Vehicle

CAUTION = (
    "Proposal from a desk estimate. Closed course only, one small step at a time, "
    "from slow to fast; the driver may refuse any setting."
)

RowKind = Literal["dry", "wet", "damage", "stuck", "active"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One way the car can be set.

    Attributes
    ----------
    name
        Short name, as the mechanic says it.
    values
        What is turned to what, with its unit: (("wing", "11 deg"), …).
    ride_height_front, ride_height_rear
        Static, in the stated mass state; None keeps the car's own. [m]
    state
        Device state of the aero table; None for the first.
    """

    name: str
    values: tuple[tuple[str, str], ...]
    ride_height_front: float | None = None
    ride_height_rear: float | None = None
    state: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoGo:
    """Static ride heights not to be run: rear below, front below. [m]"""

    rear_below: float | None = None
    front_below: float | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimRequest:
    """What the table is for.

    Attributes
    ----------
    front_share, band
        Front share wanted in the fast corners and how far it may be off. [-]
    corners
        Two named corners whose speeds are shown.
    no_go
        Ride heights not to be run.
    blanking
        Air temperature from [K] and the blanking step for it, coldest first.
    """

    front_share: float
    band: float = 0.005
    corners: tuple[str, str] = ("", "")
    no_go: NoGo | None = None
    blanking: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimRow:
    """One row: a setting and what to expect of it.

    Attributes
    ----------
    downforce [m²], front_share [-]
        In the fast corners, ride heights settled.
    lap_change [s], top_speed [m/s], corner_change [m/s]
        Against the reference setting; slowest speed at the two named corners.
    ride_height_front, ride_height_rear [m]
        Static, in ``mass_state``; ``ride_height_fast`` is what they become in fast corners.
    warning
        Why not to run it; empty if there is no reason.
    """

    kind: RowKind
    setting: Setting
    downforce: float
    front_share: float
    lap_change: float
    top_speed: float
    corner_change: tuple[float, float]
    ride_height_front: float
    ride_height_rear: float
    ride_height_fast: tuple[float, float]
    extrapolated: float
    warning: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimTable:
    """The page the driver holds."""

    circuit: str
    mass_state: str
    front_share: float
    band: float
    corners: tuple[str, str]
    rows: tuple[TrimRow, ...]
    left_out: tuple[TrimRow, ...]
    special: tuple[TrimRow, ...]
    first_step: str
    blanking: tuple[tuple[float, str], ...]
    no_go: NoGo | None
    caution: str = CAUTION


@dataclass(frozen=True, slots=True, kw_only=True)
class SpecialRow:
    """A row outside the dry order: wet, damage or a stuck device.

    Attributes
    ----------
    kind, setting
        What it is.
    aero
        Its own aero table; None for the setting's.
    grip_scale
        Grip against the dry: about 0.7 in the wet, common practice. [-]
    note
        What it feels like and when to park.
    """

    kind: RowKind
    setting: Setting
    aero: AeroTable | None = None
    grip_scale: float = 1.0
    note: str = ""


AeroOf = Callable[[Setting], AeroTable]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrimCar:
    """The car, its aero for any setting, and the air. ``reference`` is what runs now."""

    vehicle: Vehicle
    aero_of: AeroOf
    reference: Setting
    air: Surroundings | None = None


def trim_table(
    circuit: Circuit, car: TrimCar, settings: Sequence[Setting], request: TrimRequest, *,
    special: Sequence[SpecialRow] = (), n_point: int = 1200,
) -> TrimTable:  # fmt: skip
    """Return settings that keep the front share within a band, in order of downforce.

    Parameters
    ----------
    circuit, car : ()
        Where, and with what; the car gives aero for any setting. [-]
    settings : (n_setting,)
        What could be run. [-]
    request : ()
        Balance wanted, named corners, no-go heights, blanking. [-]
    special : (n_special,)
        Wet, damage and stuck-device rows. [-]
    n_point : ()
        Cells of a lap. [-]

    Returns
    -------
    table : ()
        Rows within the band; the others stand in ``left_out`` with the reason.

    Raises
    ------
    InputError
        If no setting is given or a named corner is not on the circuit.
    NotCovered
        If no setting keeps the front share within the band.
    """
    if not settings:
        raise InputError("settings", 0, "", "needs at least one")
    named = [circuit.corner(name) for name in request.corners if name]
    if len(named) != 2:
        raise InputError("corners", str(request.corners), "", "name two corners of the circuit")
    spans = [(c.start, c.end) for c in named]

    def solve(setting: Setting, aero: AeroTable | None, grip: float) -> Lap:
        vehicle = set_vehicle(car.vehicle, setting, grip)
        table = aero or car.aero_of(setting)
        case = prepare(circuit, vehicle, table, air=car.air, state=setting.state, n_point=n_point)
        return run_case(case)

    base = solve(car.reference, None, 1.0)

    def row(kind: RowKind, setting: Setting, lap: Lap, note: str) -> TrimRow:
        vehicle = set_vehicle(car.vehicle, setting, 1.0).suspension
        footing = footing_of(lap.trace)
        speeds = [_slowest(lap, *span) - _slowest(base, *span) for span in spans]
        return TrimRow(
            kind=kind, setting=setting, downforce=footing.downforce,
            front_share=footing.front_share, lap_change=lap.time - base.time,
            top_speed=lap.top_speed, corner_change=(speeds[0], speeds[1]),
            ride_height_front=vehicle.ride_height_front,
            ride_height_rear=vehicle.ride_height_rear, ride_height_fast=_settled(lap),
            extrapolated=lap.extrapolated, warning=_warn(vehicle, lap, request, note),
        )  # fmt: skip

    rows = [row("dry", s, solve(s, None, 1.0), "") for s in settings]
    rows.sort(key=lambda r: -r.downforce)
    slack = request.band + 1e-12
    kept = tuple(r for r in rows if abs(r.front_share - request.front_share) <= slack)
    left = tuple(r for r in rows if abs(r.front_share - request.front_share) > slack)
    if not kept:
        near = min(left, key=lambda r: abs(r.front_share - request.front_share))
        raise NotCovered(
            f"no setting keeps the front share at {100 * request.front_share:.1f} % ± "
            f"{100 * request.band:.1f} %; "
            f"nearest is '{near.setting.name}' with {100 * near.front_share:.1f} %. What is turned "
            f"reaches {100 * min(r.front_share for r in left):.1f} to "
            f"{100 * max(r.front_share for r in left):.1f} %: set front_share there, widen the "
            "band, or give more values and ride heights"
        )
    extra = tuple(
        row(s.kind, s.setting, solve(s.setting, s.aero, s.grip_scale), s.note) for s in special
    )
    return TrimTable(
        circuit=circuit.name, mass_state=car.vehicle.chassis.mass_state,
        front_share=request.front_share, band=request.band, corners=request.corners, rows=kept,
        left_out=left, special=extra, first_step=_first_step(kept, left, request),
        blanking=request.blanking, no_go=request.no_go,
    )  # fmt: skip


def set_vehicle(vehicle: Vehicle, setting: Setting, grip_scale: float) -> Vehicle:
    """Return the car at a setting's ride heights and grip."""
    from dataclasses import replace

    s = vehicle.suspension
    front, rear = setting.ride_height_front, setting.ride_height_rear
    return replace(
        vehicle,
        suspension=replace(
            s,
            ride_height_front=s.ride_height_front if front is None else front,
            ride_height_rear=s.ride_height_rear if rear is None else rear,
        ),
        tyre_front=replace(vehicle.tyre_front, grip=vehicle.tyre_front.grip * grip_scale),
        tyre_rear=replace(vehicle.tyre_rear, grip=vehicle.tyre_rear.grip * grip_scale),
    )


def _slowest(lap: Lap, start: float, end: float) -> float:
    """Return the slowest speed between two stations. [m/s]"""
    inside = (lap.trace.station >= start) & (lap.trace.station <= end)
    return float(lap.trace.speed[inside].min())


def _settled(lap: Lap) -> tuple[float, float]:
    """Return mean ride heights in the fastest third of cornering time. [m]"""
    t = lap.trace
    corner = np.abs(t.ay) > 3.0
    fast = corner & (t.speed >= np.quantile(t.speed[corner], 0.67))
    w = t.duration[fast]
    return (
        float(np.average(t.ride_height_front[fast], weights=w)),
        float(np.average(t.ride_height_rear[fast], weights=w)),
    )


def _warn(suspension: object, lap: Lap, request: TrimRequest, note: str) -> str:
    """Return why a row should not be run, and its note."""
    words = []
    no_go = request.no_go
    if no_go is not None:
        rear = suspension.ride_height_rear  # type: ignore[attr-defined]
        front = suspension.ride_height_front  # type: ignore[attr-defined]
        if no_go.rear_below is not None and rear < no_go.rear_below:
            words.append(f"no-go: rear below {no_go.rear_below * 1e3:.0f} mm, {no_go.reason}")
        if no_go.front_below is not None and front < no_go.front_below:
            words.append(f"no-go: front below {no_go.front_below * 1e3:.0f} mm, {no_go.reason}")
    if lap.extrapolated > 0.02:
        words.append(f"{100 * lap.extrapolated:.0f} % of the lap outside the aero table")
    if note:
        words.append(note)
    return "; ".join(words)


def _first_step(kept: Sequence[TrimRow], left: Sequence[TrimRow], request: TrimRequest) -> str:
    """Return what to do first when the car is loose in fast corners."""
    everything = [*kept, *left]
    here = min(kept, key=lambda r: r.lap_change)
    safer = [
        r for r in everything
        if not r.warning and r.front_share < here.front_share - 0.25 * request.band
    ]  # fmt: skip
    if not safer:
        return "No setting in the list moves balance rearward: ask before changing anything."
    step = min(safer, key=lambda r: here.front_share - r.front_share)
    return (
        f"If loose in fast corners do this first: from {here.setting.name}, the quickest here, to "
        f"{step.setting.name} (front share {100 * here.front_share:.1f} % to "
        f"{100 * step.front_share:.1f} %)."
    )


def trim_rows_as_text(table: TrimTable) -> list[dict[str, str]]:
    """Return the table's rows as plain words and numbers with units, for a file or a page.

    Parameters
    ----------
    table : ()
        From :func:`trim_table`. [-]

    Returns
    -------
    rows : (n_row,)
        One dictionary a row; keys carry the units. [-]
    """
    out = []
    first, second = table.corners
    for r in (*table.rows, *table.special):
        line = {"kind": r.kind, "setting": r.setting.name}
        line |= dict(r.setting.values)
        line |= {
            "CzS fast [m²]": f"{r.downforce:.2f}",
            "front share [%]": f"{100 * r.front_share:.1f}",
            "lap [s]": f"{r.lap_change:+.2f}",
            "top speed [km/h]": f"{3.6 * r.top_speed:.0f}",
            f"{first} [km/h]": f"{3.6 * r.corner_change[0]:+.1f}",
            f"{second} [km/h]": f"{3.6 * r.corner_change[1]:+.1f}",
            "hf static [mm]": f"{1e3 * r.ride_height_front:.0f}",
            "hr static [mm]": f"{1e3 * r.ride_height_rear:.0f}",
            "hf fast [mm]": f"{1e3 * r.ride_height_fast[0]:.0f}",
            "hr fast [mm]": f"{1e3 * r.ride_height_fast[1]:.0f}",
            "mind": r.warning,
        }
        out.append(line)
    return out
