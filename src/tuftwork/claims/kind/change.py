"""Gains of a state against another: what a device, a setting or a part is said to bring."""

from math import hypot

import numpy as np

from tuftwork.car import GainClaim
from tuftwork.claims.belief import At, Equation, Statement
from tuftwork.claims.case import Case, Expectation, held_against
from tuftwork.claims.convert import area_of_force
from tuftwork.claims.evidence import sd_of
from tuftwork.claims.finding import Figure
from tuftwork.claims.frame import Frame, product, ranged
from tuftwork.claims.own import change_of
from tuftwork.claims.table import bound
from tuftwork.claims.word import plain
from tuftwork.quantity import Quantity

_ROUND = 0.002  # [m²]: a fifth of a point, less than anybody claims


def change_case(claim: GainClaim, frame: Frame) -> Case:
    """Return a claimed gain of a state as an equation between its loads and the other's."""
    against = frame.state(claim.against)
    speed = claim.speed.best if claim.speed is not None else middle_speed(frame)
    if claim.direction == "downforce":
        rise, uses = change_of(frame, claim.state, against, speed)
        base = frame.axle("car", speed, against)
        base_uses = base.uses
    else:
        name, before = frame.drag(claim.state), frame.drag(against)
        uses, base_uses = (name, before), (before,)

        def rise(at: At) -> float:
            return at(name) - at(before)

        def base(at: At) -> float:  # type: ignore[misc]
            return at(before)

    area = "CzS" if claim.direction == "downforce" else "CxS"
    shown = plain(speed, "speed", "km/h")
    label = f"{area} of '{claim.state}' less '{against}' at {shown}"
    expectation = Expectation(label=label, predict=rise, uses=uses, dimension="area", unit="m²")
    if claim.gain is not None:
        gain = ranged(claim.gain, "gain")
        equation = _of_share(gain, rise, base, (*uses, *base_uses))
        implied = Figure(label=f"gain in {area}", quantity=gain)
        line = bound("gain")
        check = held_against("gain", gain, line.least, line.most, line.source)
        working = f"{area} of '{claim.state}' = (1 + g) · {area} of '{against}', g = {100 * gain.best:.1f} %"  # noqa: E501
    else:
        assert claim.force is not None
        said = _area_said(claim, frame, speed)
        equation = Equation(predict=rise, uses=uses, observed=said.best, sd=sd_of(said),
                            is_relative=False)  # fmt: skip
        implied = Figure(label=f"{area} gained", quantity=said)
        line = bound("car downforce" if area == "CzS" else "car drag")
        check = held_against(f"{area} gained", said, -line.most, line.most, line.source)
        working = f"F / (½ ρ V²) = {said.best:.3f} m² at {shown}"
    return Case(
        statement=Statement(id=claim.id, equations=(equation,), is_claim=True),
        expectations=(expectation,),
        equation=f"{area} of the state − {area} of the other = what is claimed",
        working=(working, "held against the study's own difference, draw by draw"),
        implied=(implied,),
        bounds=(check,),
        readings=(),
        question="against which setting, at which speed and ride heights, and measured how",
    )


def middle_speed(frame: Frame) -> float:
    """Return the speed at which a gain without one is taken: the middle of the study's [m/s]."""
    speeds = sorted(v.best for v in frame.project.study.speeds)
    return speeds[len(speeds) // 2]


def _of_share(gain: Quantity, rise, base, uses: tuple[str, ...]) -> Equation:  # type: ignore[no-untyped-def]
    def predict(at: At) -> float:
        return float(rise(at) - gain.best * base(at))

    size = 1.6  # [m²] a car of the size at hand
    sd = hypot(sd_of(gain) * size, _ROUND)
    return Equation(predict=predict, uses=uses, observed=0.0, sd=sd, is_relative=False)


def _area_said(claim: GainClaim, frame: Frame, speed: float) -> Quantity:
    """Return the area a claimed force means in the claims' air, with the ranges of both."""
    assert claim.force is not None
    assert claim.speed is not None
    force, fast = ranged(claim.force, "gain"), ranged(claim.speed, "speed")
    air = frame.prior.quantity("air")
    size = (
        product(((force, 1), (fast, -2), (air, -1)), unit="m²", dimension="area", factor=2.0)
        if force.best > 0
        else None
    )
    best = area_of_force(force.best, speed, air.best)
    arm = (
        (size.high / size.best - 1) * abs(best)
        if size is not None
        else float(np.hypot(0.15, 0.05) * abs(best))
    )
    return Quantity(best=best, low=best - arm, high=best + arm, unit="m²", dimension="area",
                    origin="claimed")  # fmt: skip
