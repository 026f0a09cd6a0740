"""One lap: the quasi-steady solution, its record, and its exact gradient."""

from dataclasses import dataclass, field

import numpy as np

from tuftwork.errors import InputError, NotConverged, NotCovered
from tuftwork.lap import adjoint, passes
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.mesh import Mesh, mesh_of
from tuftwork.lap.parameter import NAMES
from tuftwork.lap.record import LapTrace, Record, trace_of
from tuftwork.lap.schedule import Schedule, Timing, follow
from tuftwork.lap.table import AeroTable
from tuftwork.lap.vehicle import Surroundings, Vehicle, parameters_of, with_changes
from tuftwork.quantity import Array

N_POINT = 2000
"""Cells of a lap unless asked otherwise: differences are then good to well under 0.01 s."""

CEILING = 0.5 * 120.0**2  # [m²/s²]  no speed beyond 120 m/s is looked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Lap:
    """One solved lap.

    Attributes
    ----------
    time : ()
        Lap time. [s]
    trace : ()
        Speed, accelerations, ride heights, loads and limits along the lap.
    gradient : (n_parameter,)
        Exact slope of lap time with every parameter, by name [s per unit]; empty unless asked.
    extrapolated : ()
        Share of the lap time spent outside the aero table. [-]
    notices
        What the solver had to say.
    """

    time: float
    trace: LapTrace
    circuit: Circuit
    gradient: dict[str, float] = field(default_factory=dict)
    extrapolated: float = 0.0
    notices: tuple[str, ...] = ()

    @property
    def top_speed(self) -> float:
        """Highest speed of the lap. [m/s]"""
        return float(self.trace.speed.max())


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A lap ready for the kernels: mesh, parameters, coefficients. Cheap to run again and again."""

    circuit: Circuit
    mesh: Mesh
    vehicle: Vehicle
    aero: AeroTable
    parameters: Array
    mix: Array
    first: float
    last: float
    ceiling: float

    def grid(self, mix: Array | None = None) -> tuple[Array, Array, Array, Array]:
        """Return the arrays the kernels walk along."""
        m = self.mesh
        return m.length, m.cell_road, m.node_road, self.mix if mix is None else mix


def prepare(
    circuit: Circuit,
    vehicle: Vehicle,
    aero: AeroTable,
    *,
    air: Surroundings | None = None,
    state: str | None = None,
    n_point: int = N_POINT,
) -> Case:
    """Return a case from circuit, car, aero and air.

    Parameters
    ----------
    circuit, vehicle, aero, air : ()
        What is driven, by what, in what. [-]
    state : ()
        Device state held all lap; None for the first. [-]
    n_point : ()
        Cells aimed at. [-]

    Returns
    -------
    case : ()
        For :func:`run_case` and :func:`lap_times`. [-]

    Raises
    ------
    InputError
        If the road is narrower than the car or a state is not in the table.
    """
    room = circuit.width_left + circuit.width_right
    if float(room.min()) < vehicle.width:
        where = float(circuit.station[int(np.argmin(room))])
        raise InputError(
            "width", float(room.min()), "m", f"narrower than the car at {where:.0f} m",
            "Feet given, or half-widths missing?",
        )  # fmt: skip
    index = 0
    if state is not None:
        if state not in aero.states:
            raise InputError("state", state, "", f"not in the table: {', '.join(aero.states)}")
        index = aero.states.index(state)
    mesh = mesh_of(circuit, n_point)
    p = with_changes(
        parameters_of(vehicle, air),
        {"roll_loss_front": aero.roll_loss_front, "roll_loss_rear": aero.roll_loss_rear},
    )
    mix = np.zeros((mesh.length.size, 3))
    mix[:, :2] = index
    return Case(
        circuit=circuit, mesh=mesh, vehicle=vehicle, aero=aero, parameters=p, mix=mix,
        first=CEILING, last=CEILING, ceiling=CEILING,
    )  # fmt: skip


def run_kernel(
    case: Case, parameters: Array, coefficients: Array, mix: Array | None = None
) -> Record:
    """Return the kernels' record of one lap, or raise what went wrong by name."""
    a = case.aero
    aero = (coefficients, a.ride_height_front, a.ride_height_rear)
    power = case.vehicle.power
    first = case.first
    for _ in range(30):
        record = passes.run(
            case.grid(mix), case.mesh.closed, first, case.last, case.ceiling, parameters,
            case.vehicle.flags, aero, power.table, power.step,
        )  # fmt: skip
        fault, where = record[7], record[8]
        if fault:
            _raise(case, int(fault), int(where))
        energy, kind = record[1], record[2]
        if not case.mesh.closed or kind[0] == passes.CAPPED:
            return tuple(record)
        if abs(energy[-1] - energy[0]) < 1e-10 * energy[0]:
            return tuple(record)
        first = float(energy[-1])  # grip never limits at the start: go round until it repeats
    raise NotConverged(
        "speed at the start line does not repeat after 30 laps: is anything here a corner?"
    )


def _raise(case: Case, fault: int, cell: int) -> None:
    """Raise the fault of a run with its place."""
    station = float(case.mesh.station[cell] % case.circuit.length)
    if fault == passes.GONE:
        raise NotConverged(
            f"the car cannot keep moving at {station:.0f} m: power or grip does not carry it there"
        )
    raise NotConverged(
        f"ride heights find no balance at {station:.0f} m: axle rates too soft for this aero table"
    )


def run_case(
    case: Case,
    *,
    changes: dict[str, float] | None = None,
    draw: int = 0,
    schedule: Schedule | None = None,
    gradient: bool = False,
) -> Lap:
    """Solve a prepared lap, with some parameters changed.

    Parameters
    ----------
    case : ()
        From :func:`prepare`. [-]
    changes : (n_change,)
        Parameters set to other values. [SI]
    draw : ()
        Which draw of the aero table. [-]
    schedule : ()
        When devices move; None holds the case's state. [-]
    gradient : ()
        Whether the exact gradient is wanted. With a schedule it holds the switching places. [-]

    Returns
    -------
    lap : ()
        Time, trace and, if asked, gradient. [-]

    Raises
    ------
    NotConverged, NotCovered, InputError
        If a point does not converge; if the power curve ends below the speed met.
    """
    p = with_changes(case.parameters, changes or {})
    coef = case.aero.of_draw(draw)
    mix = case.mix

    def record_for(mix_now: Array) -> Record:
        return run_kernel(case, p, coef, mix_now)

    if schedule is None:
        record = record_for(mix)
    else:
        timing = Timing(mesh=case.mesh, states=case.aero.states)
        record, mix = follow(schedule, timing, record_for)
    time = float(record[0])
    trace = trace_of(case, record, p, coef, mix)
    notices, share = _remarks(case, trace)
    slopes: dict[str, float] = {}
    if gradient:
        slopes = dict(zip(NAMES, gradient_of(case, record, p, coef, mix).tolist(), strict=True))
    return Lap(
        time=time, trace=trace, circuit=case.circuit, gradient=slopes, extrapolated=share,
        notices=notices,
    )  # fmt: skip


def gradient_of(
    case: Case, record: Record, parameters: Array, coefficients: Array, mix: Array
) -> Array:
    """Return d(time)/d(parameter) of a kernel record, (n_parameter,)."""
    return slopes_of(case, record, parameters, coefficients, mix)[0]


def slopes_of(
    case: Case, record: Record, parameters: Array, coefficients: Array, mix: Array
) -> tuple[Array, Array, Array, Array]:
    """Return slopes of time with parameters, curvature of cells and nodes, and cell lengths."""
    a, power = case.aero, case.vehicle.power
    if case.mesh.closed and record[2][0] != passes.CAPPED:
        raise NotCovered("no gradient where grip never limits: nothing on this circuit is a corner")
    found = adjoint.gradient(
        case.grid(mix), record, parameters, case.vehicle.flags,
        (coefficients, a.ride_height_front, a.ride_height_rear), power.table, power.step,
    )  # fmt: skip
    return found[0], found[1], found[2], found[3]


def _remarks(case: Case, trace: LapTrace) -> tuple[tuple[str, ...], float]:
    """Return notices about what the lap met, and the share of time outside the table."""
    power = case.vehicle.power
    if power.ends_at is not None and float(trace.speed.max()) > power.ends_at + 0.01:
        raise InputError(
            "power", power.ends_at, "m/s",
            f"curve ends, but the car reaches {trace.speed.max():.1f} m/s",
            "Give power up to the limiter.",
        )  # fmt: skip
    notices = []
    share = float(trace.duration[trace.outside].sum() / trace.duration.sum())
    if share > 0.0:
        much = "under 1\u202f%" if share < 0.01 else f"{100 * share:.0f}\u202f%"
        notices.append(f"{much} of the lap time is outside the aero table (extrapolated)")
    if np.any(trace.load_front < 0.0) or np.any(trace.load_rear < 0.0):
        notices.append("an axle lifts off somewhere on this lap")
    for axle, tyre, load in (
        ("front", case.vehicle.tyre_front, trace.load_front),
        ("rear", case.vehicle.tyre_rear, trace.load_rear),
    ):
        k = tyre.load_loss
        if k > 0.0 and 0.5 * float(load.max()) > 0.5 * (1.0 / k + tyre.wheel_load):
            notices.append(f"{axle} tyres are loaded past where straight-line friction holds")
    if float(np.max(trace.use_front)) > 1.05 or float(np.max(trace.use_rear)) > 1.05:
        notices.append(
            "grip demand exceeds supply somewhere: too few points in a tightening corner"
        )
    return tuple(notices), share


def solve_lap(
    circuit: Circuit,
    vehicle: Vehicle,
    aero: AeroTable,
    *,
    air: Surroundings | None = None,
    state: str | None = None,
    schedule: Schedule | None = None,
    n_point: int = N_POINT,
    gradient: bool = False,
) -> Lap:
    """Solve one quasi-steady lap.

    m dv/dt = F - D - R - m g sin θ with F limited by engine, axle grip (Fx/Cx)² + (Fy/Cy)² ≤ 1 and
    brakes; ride heights solved together with the loads at every point.

    Parameters
    ----------
    circuit, vehicle, aero, air : ()
        What is driven, by what, in what air. [-]
    state, schedule : ()
        Device state held all lap, or the rules by which devices move. [-]
    n_point : ()
        Number of cells. [-]
    gradient : ()
        Whether the exact gradient is wanted. [-]

    Returns
    -------
    lap : ()
        Lap time [s], trace, gradient.

    Raises
    ------
    NotConverged, NotCovered, InputError
        As :func:`run_case`.

    Notes
    -----
    Not for transients (a car that has not settled), kerbs, tyre temperature or wear, or a driver's
    line: the line given is driven.

    References
    ----------
    [milliken1995] for the axle-pair model; [brayshaw2005] for the quasi-steady lap.
    """
    case = prepare(circuit, vehicle, aero, air=air, state=state, n_point=n_point)
    return run_case(case, schedule=schedule, gradient=gradient)
