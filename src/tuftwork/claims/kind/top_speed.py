"""A top speed: the power at the wheels meets drag and rolling."""

from collections.abc import Callable
from dataclasses import replace
from math import log, sqrt

from scipy.special import ndtr

from tuftwork.car import TopSpeedClaim
from tuftwork.claims.belief import At, Belief, Equation, Statement, predicted
from tuftwork.claims.case import Case, Expectation, Reading, held_against
from tuftwork.claims.convert import GRAVITY, drag_area_for, top_speed
from tuftwork.claims.finding import Figure
from tuftwork.claims.frame import Frame, ranged, relative_sd
from tuftwork.claims.table import bound
from tuftwork.claims.word import plain
from tuftwork.quantity import Z80, Quantity, exact

_MILE = 1.609344
_HORSE = 1.01387  # [-]  mechanical over metric horsepower
_SHORT = log(1.6)  # [-]  a car held back by its gears or the straight reaches 60 to 100 %


def top_speed_case(claim: TopSpeedClaim, frame: Frame) -> Case:
    """Return a claimed top speed as equations."""
    speed = ranged(claim.speed, "top speed")
    reach, uses = _reach(claim, frame)
    implied = _drag_area(claim, frame, speed)
    drag_name = frame.drag()
    line, drag = bound("top speed"), bound("car drag")
    checks = (
        held_against("top speed of any car", speed, line.least, line.most, line.source),
        held_against("CxS of any car", implied, drag.least, drag.most, drag.source),
    )
    return Case(
        statement=_statement(claim, speed, reach, uses),
        expectations=(
            Expectation(
                label="top speed", predict=reach, uses=uses, dimension="speed", unit="km/h"
            ),
            Expectation(
                label="CxS",
                predict=lambda at: at(drag_name),
                uses=(drag_name,),
                dimension="area",
                unit="m²",
            ),
        ),
        equation="P η = ½ ρ (CxS + c CzS) V³ + c m g V",
        working=_working(claim, frame, speed, implied),
        implied=(Figure(label="CxS", quantity=implied),),
        bounds=checks,
        readings=tuple(_readings(claim, frame, speed, reach, uses)),
        question="with which power, gearing and length of straight was it reached, and which way "
        "did the wind blow",
    )


def _power(claim: TopSpeedClaim, at: At) -> float:
    return at("power") if claim.power is None else claim.power.best


def _reach(
    claim: TopSpeedClaim, frame: Frame, factor: float = 1.0, driveline: bool = True
) -> tuple[Callable[[At], float], tuple[str, ...]]:
    """Return the top speed as a function of the unknowns; ``factor`` is on the power."""
    drag, load = frame.drag(), frame.axle("car", claim.speed.best)

    def reach(at: At) -> float:
        power = factor * _power(claim, at) * (at("driveline") if driveline else 1.0)
        rolling = at("rolling")
        return top_speed(power, at(drag), rolling * load(at), rolling * at("mass") * GRAVITY,
                         at("air"))  # fmt: skip

    uses = ["driveline"] if driveline else []
    uses += ["power"] if claim.power is None else []
    return reach, (*uses, "rolling", "mass", "air", drag, *load.uses)


def _statement(
    claim: TopSpeedClaim,
    speed: Quantity,
    reach: Callable[[At], float],
    uses: tuple[str, ...],
) -> Statement:
    sd = relative_sd(speed)
    if claim.power is not None and not claim.power.is_exact:
        sd = sqrt(sd**2 + (relative_sd(claim.power) / 3) ** 2)
    equation = Equation(predict=reach, uses=uses, observed=speed.best, sd=sd)
    return Statement(id=claim.id, equations=(equation,), is_claim=True)


def _drag_area(claim: TopSpeedClaim, frame: Frame, speed: Quantity) -> Quantity:
    """Return the CxS the claim needs, with the ranges of power, driveline and air."""
    drag, load = frame.drag(), frame.axle("car", speed.best)

    def needed(at: At) -> float:
        power, rolling = _power(claim, at) * at("driveline"), at("rolling")
        return drag_area_for(power, speed.best, rolling * load(at),
                             rolling * at("mass") * GRAVITY, at("air"))  # fmt: skip

    uses = ("driveline", "rolling", "mass", "air", drag, *load.uses)
    uses = (*uses, "power") if claim.power is None else uses
    best, sd = predicted(frame.prior, needed, uses)
    arm = Z80 * sqrt(sd**2 + (3 * relative_sd(speed) * best) ** 2)
    return Quantity(best=best, low=best - arm, high=best + arm, unit="m²", dimension="area",
                    origin="claimed")  # fmt: skip


def _working(
    claim: TopSpeedClaim, frame: Frame, speed: Quantity, implied: Quantity
) -> tuple[str, ...]:
    get = frame.prior.best
    power = _power(claim, get)
    wheels = power * get("driveline")
    rolling = get("rolling") * get("mass") * GRAVITY
    v = speed.best
    return (
        f"V = {plain(v, 'speed', speed.unit)} = {v:.2f} m/s",
        f"P η = {plain(power, 'power', 'kW')} · {get('driveline'):.3f}"
        f" = {plain(wheels, 'power', 'kW')} at the wheels",
        f"rolling: c m g V = {get('rolling'):.4f} · {get('mass'):.0f} kg · g · V"
        f" = {plain(rolling * v, 'power', 'kW')}, and more with downforce",
        f"½ ρ V³ = {0.5 * get('air') * v**3 / 1e3:.1f} kW per m²",
        f"CxS it needs = {implied.best:.2f} m²",
    )


def _readings(
    claim: TopSpeedClaim,
    frame: Frame,
    speed: Quantity,
    reach: Callable[[At], float],
    uses: tuple[str, ...],
) -> list[Reading]:
    miles = speed.unit == "mph"
    factor, word = (1 / _MILE, "km/h") if miles else (_MILE, "mph")
    other = replace(speed, best=speed.best * factor, low=speed.low * factor,
                    high=speed.high * factor, unit=word)  # fmt: skip
    found = [
        _reading(claim, frame, f"speed in {word}", f"the speed is in {word}", other,
                 _statement(claim, other, reach, uses)),
    ]  # fmt: skip
    for name, label, on_power, driveline in (
        ("power at the wheels", "the power is at the wheels already", 1.0, False),
        ("power in the other horsepower", "the power is in the other horsepower",
         _HORSE, True),
    ):  # fmt: skip
        if name.endswith("horsepower") and _power_unit(claim, frame) not in ("hp", "PS"):
            continue
        changed, names = _reach(claim, frame, on_power, driveline)
        held = _statement(claim, speed, changed, names)
        found.append(_reading(claim, frame, name, label, speed, held))
    label = "gearing, revs or the length of the straight end it, not drag"
    found.append(
        Reading(
            name="limited otherwise",
            label=label,
            text=f"{plain(speed.best, 'speed', speed.unit)}, {label}",
            density=_held_back(speed, reach, uses),
        )
    )
    return found


def _power_unit(claim: TopSpeedClaim, frame: Frame) -> str:
    given = claim.power or frame.project.car.power
    return given.unit if given is not None else ""


def _held_back(
    speed: Quantity, reach: Callable[[At], float], uses: tuple[str, ...]
) -> Callable[[Belief], float]:
    """Return the density of a speed that anything but drag ended: even, below what drag allows."""

    def density(belief: Belief) -> float:
        best, sd = predicted(belief, reach, uses)
        width = sqrt((sd / best) ** 2 + relative_sd(speed) ** 2)
        below = float(ndtr(log(best / speed.best) / width))
        inside = float(ndtr((_SHORT - log(best / speed.best)) / width))
        return log(max(below * inside / _SHORT, 1e-300))

    return density


def _reading(
    claim: TopSpeedClaim,
    frame: Frame,
    name: str,
    label: str,
    speed: Quantity,
    statement: Statement,
) -> Reading:
    implied = _drag_area(claim, frame, speed).best
    line = bound("car drag")
    shown = exact(implied, "area", unit="m²", origin="claimed")
    return Reading(
        name=name, label=label,
        text=f"{plain(speed.best, 'speed', speed.unit)}, {label}",
        statements=(statement,),
        figure=Figure(label="CxS", quantity=shown),
        is_possible=line.least <= implied <= line.most,
    )  # fmt: skip
