"""What a point is worth here: seconds per unit of everything, with ranges and a verdict."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.lap.circuit import Circuit
from tuftwork.lap.draws import Draws, lap_slopes, lap_times
from tuftwork.lap.parameter import INDEX, N_PARAMETER
from tuftwork.lap.record import LapTrace
from tuftwork.lap.solve import Case, prepare, run_case
from tuftwork.lap.table import AeroTable
from tuftwork.lap.vehicle import Surroundings, Vehicle
from tuftwork.quantity import Array

Verdict = Literal["quicker", "slower", "below noise", "sign unknown"]
POINT = 0.01  # [m²]  one point

_LOW, _HIGH = 10.0, 90.0  # percentiles of the 80 % range


@dataclass(frozen=True, slots=True, kw_only=True)
class DriverScatter:
    """How well this driver repeats: standard deviation of clean laps [s], laps a side averaged."""

    deviation: float = 0.15
    laps: int = 5

    def __post_init__(self) -> None:
        if not self.deviation >= 0.0 or self.laps < 1:
            raise InputError("deviation", self.deviation, "s", "needs 0 or more, and a lap or more")

    @property
    def noise(self) -> float:
        """Half-width of the 80 % range of a difference of two means of this many laps. [s]"""
        return 1.2816 * self.deviation * float(np.sqrt(2.0 / self.laps))


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """Seconds for one change: best value, 80 % range, chance of being quicker, verdict."""

    name: str
    best: float
    low: float
    high: float
    chance_quicker: float
    verdict: Verdict
    noise: float


def worth_of(name: str, seconds: Array, driver: DriverScatter) -> Worth:
    """Return the worth of a change from its seconds draw by draw.

    Parameters
    ----------
    name : ()
        What was changed. [-]
    seconds : (n_draw,)
        Change of lap time, negative is quicker. [s]
    driver : ()
        The driver's scatter. [-]

    Returns
    -------
    worth : ()
        Below noise if the best value is smaller than the driver's scatter can show. [s]
    """
    best = float(np.median(seconds))
    low, high = (float(v) for v in np.percentile(seconds, [_LOW, _HIGH]))
    verdict: Verdict = "quicker" if best < 0.0 else "slower"
    if low < 0.0 < high:
        verdict = "sign unknown"
    if abs(best) < driver.noise:
        verdict = "below noise"
    return Worth(
        name=name, best=best, low=low, high=high, chance_quicker=float(np.mean(seconds < 0.0)),
        verdict=verdict, noise=driver.noise,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Footing:
    """Where the car stands on this lap: downforce [m²] and front share [-] in its fast corners."""

    downforce: float
    front_share: float


def footing_of(trace: LapTrace) -> Footing:
    """Return downforce and front share averaged over the fastest third of cornering time.

    Parameters
    ----------
    trace : ()
        A solved lap. [-]

    Returns
    -------
    footing : ()
        Downforce area [m²] and front share [-].
    """
    corner = np.abs(trace.ay) > 3.0
    if not np.any(corner):
        corner = np.ones_like(corner)
    fast = corner & (trace.speed >= np.quantile(trace.speed[corner], 0.67))
    w = trace.duration[fast]
    front = float(np.average(trace.downforce_front[fast], weights=w))
    rear = float(np.average(trace.downforce_rear[fast], weights=w))
    total = front + rear
    return Footing(downforce=total, front_share=front / total if abs(total) > 1e-9 else 0.5)


def _direction(**steps: float) -> Array:
    """Return a parameter step."""
    out = np.zeros(N_PARAMETER)
    for name, step in steps.items():
        out[INDEX[name]] = step
    return out


UNITS: dict[str, Callable[[Footing], Array]] = {
    "one point of CzS": lambda f: _direction(
        downforce_added_front=POINT * f.front_share,
        downforce_added_rear=POINT * (1.0 - f.front_share),
    ),
    "one point of CzS, front": lambda f: _direction(downforce_added_front=POINT),
    "one point of CzS, rear": lambda f: _direction(downforce_added_rear=POINT),
    "one point of CxS": lambda f: _direction(drag_added=POINT),
    "1 % of balance forward": lambda f: _direction(
        downforce_added_front=0.01 * f.downforce, downforce_added_rear=-0.01 * f.downforce
    ),
    "1 kg": lambda f: _direction(mass=1.0),
    "1 % of power": lambda f: _direction(power_scale=0.01),
    "1 % of grip": lambda f: _direction(margin_front=-0.01, margin_rear=-0.01),
    "1 mm of CG height": lambda f: _direction(cg_height=1e-3),
    "1 mm of front ride height": lambda f: _direction(ride_height_front=1e-3),
    "1 mm of rear ride height": lambda f: _direction(ride_height_rear=1e-3),
}
"""One unit of everything that can be traded, as a step of the parameters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueTable:
    """Seconds per unit on one circuit, with lap time [s] and its range."""

    circuit: str
    lap_time: float
    lap_low: float
    lap_high: float
    footing: Footing
    worth: tuple[Worth, ...]

    def of(self, name: str) -> Worth:
        """Return the worth of one unit."""
        for item in self.worth:
            if item.name == name:
                return item
        raise UnknownName("unit", name, [w.name for w in self.worth])


def value_of_units(
    case: Case, draws: Draws | None = None, *, driver: DriverScatter | None = None
) -> ValueTable:
    """Return seconds per unit of everything on this circuit, with ranges from the draws.

    Parameters
    ----------
    case : ()
        Circuit, car and aero. [-]
    draws : ()
        What is uncertain. [-]
    driver : ()
        The driver's scatter, for the verdict. [-]

    Returns
    -------
    table : ()
        Worth of every entry of ``UNITS``, from the exact gradient of every draw. [s]

    Notes
    -----
    One unit of grip is taken as margin the driver does not leave, 1 % of both axles.
    Slopes, not steps: for a change of many units use :func:`compare_packages`.
    """
    driver = driver or DriverScatter()
    time, gradient = lap_slopes(case, draws)
    footing = footing_of(run_case(case).trace)
    worth = tuple(worth_of(name, gradient @ make(footing), driver) for name, make in UNITS.items())
    low, high = (float(v) for v in np.percentile(time, [_LOW, _HIGH]))
    return ValueTable(
        circuit=case.circuit.name, lap_time=float(np.median(time)), lap_low=low, lap_high=high,
        footing=footing, worth=worth,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """A car as it could be run: vehicle, aero, device state."""

    name: str
    vehicle: Vehicle
    aero: AeroTable
    state: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageResult:
    """One package on one circuit: lap time, top speed [m/s] and worth against the first package."""

    circuit: str
    package: str
    lap_time: float
    top_speed: float
    worth: Worth


def compare_packages(
    circuits: Sequence[Circuit], packages: Sequence[Package], draws: Draws | None = None, *,
    air: Surroundings | None = None, driver: DriverScatter | None = None, n_point: int = 1500,
) -> tuple[PackageResult, ...]:  # fmt: skip
    """Return which package is quicker where, differences taken draw by draw.

    Parameters
    ----------
    circuits : (n_circuit,)
        Where. [-]
    packages : (n_package,)
        The first is what the others are compared with. [-]
    draws : ()
        What is uncertain; shared by all packages. [-]
    air, driver, n_point : ()
        Air of the day, scatter of the driver, cells of a lap. [-]

    Returns
    -------
    results : (n_circuit * n_package,)
        Circuit by circuit, in the order given. [s]

    Raises
    ------
    InputError
        If there are fewer than two packages or no circuit.
    """
    if len(packages) < 2 or not circuits:
        raise InputError("packages", len(packages), "", "needs two or more, and a circuit")
    driver = driver or DriverScatter()
    out = []
    for circuit in circuits:
        base: Array | None = None
        for package in packages:
            case = prepare(
                circuit, package.vehicle, package.aero, air=air, state=package.state,
                n_point=n_point,
            )  # fmt: skip
            time = lap_times(case, draws)
            base = time if base is None else base
            out.append(
                PackageResult(
                    circuit=circuit.name, package=package.name, lap_time=float(np.median(time)),
                    top_speed=run_case(case).top_speed,
                    worth=worth_of(package.name, time - base, driver),
                )
            )  # fmt: skip
    return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class PolarPlane:
    """Lap time over drag and downforce at a fixed front share.

    Attributes
    ----------
    drag, downforce : (n_drag,), (n_downforce,)
        Added to the car's own. [m²]
    time : (n_drag, n_downforce)
        Lap time. [s]
    exchange : ()
        Drag one point of downforce may cost at equal lap time, at the car's own place. [-]
    here : (2,)
        The car's own CxS and CzS in its fast corners. [m²]
    """

    drag: Array
    downforce: Array
    time: Array
    exchange: float
    here: tuple[float, float]


def polar_plane(
    case: Case, *, drag_span: float = 0.10, downforce_span: float = 0.30, n: int = 7
) -> PolarPlane:
    """Return lap time over the drag-downforce plane, for lines of equal lap time.

    Parameters
    ----------
    case : ()
        Circuit, car and aero. [-]
    drag_span, downforce_span : ()
        How far to either side. [m²]
    n : ()
        Points along each axis. [-]

    Returns
    -------
    plane : ()
        Lap times and the exchange rate. [s]
    """
    if n < 3:
        raise InputError("n", n, "", "must be at least 3")
    trace = run_case(case).trace
    footing = footing_of(trace)
    drag = np.linspace(-drag_span, drag_span, n)
    downforce = np.linspace(-downforce_span, downforce_span, n)
    steps = np.array(
        [
            _direction(
                drag_added=x, downforce_added_front=z * footing.front_share,
                downforce_added_rear=z * (1.0 - footing.front_share),
            )
            for x in drag for z in downforce
        ]
    )  # fmt: skip
    time = lap_times(case, Draws(n_draw=n * n), offset=steps).reshape(n, n)
    _, slope = lap_slopes(case)
    per_drag = float(slope[0, INDEX["drag_added"]])
    unit = UNITS["one point of CzS"](footing) / POINT
    corner = np.abs(trace.ay) > 3.0
    own = (
        float(np.average(trace.drag[corner], weights=trace.duration[corner]))
        if corner.any()
        else 0.0
    )
    return PolarPlane(
        drag=drag, downforce=downforce, time=time, exchange=-float(slope[0] @ unit) / per_drag,
        here=(own, footing.downforce),
    )  # fmt: skip
