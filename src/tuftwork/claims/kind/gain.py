"""Gains of downforce or drag in per cent, from a part or of a state against another."""

from math import hypot

from tuftwork.car import GainClaim
from tuftwork.claims.belief import At, Equation, Statement
from tuftwork.claims.case import Case, Expectation, Reading, held_against
from tuftwork.claims.convert import share_of_gain
from tuftwork.claims.evidence import sd_of
from tuftwork.claims.finding import Figure
from tuftwork.claims.frame import Frame, part_bound, ranged
from tuftwork.claims.kind.change import change_case, middle_speed
from tuftwork.claims.table import bound
from tuftwork.claims.word import plain
from tuftwork.quantity import Quantity, exact

_WHOLE = -0.995
"""A loss is not carried further than this: of everything it has no share. [-]"""


def gain_case(claim: GainClaim, frame: Frame) -> Case:
    """Return a claimed gain as equations: a part's share of the load is g / (1 + g)."""
    if claim.state:
        return change_case(claim, frame)
    assert claim.gain is not None  # a force is only claimed of a state
    gain = ranged(claim.gain, "gain")
    line = bound("gain")
    checks = [held_against("gain from one part", gain, line.least, line.most, line.source)]
    speed = middle_speed(frame)
    share = share_of_gain(gain.best)
    shown = plain(speed, "speed", "km/h")
    working = [
        f"g = {100 * gain.best:.1f} %",
        f"share of the load with the part: g / (1 + g) = {100 * share:.1f} %",
    ]
    statement: Statement | None = None
    expectations: tuple[Expectation, ...] = ()
    if claim.part and claim.direction == "downforce" and gain.best != 0:
        statement = _statement(claim, frame, gain, speed, share)
        expectations = (_expectation(claim, frame, speed),)
        part = frame.project.part(claim.part)
        _, usual, _, most, source = part_bound(part, frame.project.car.frontal_area.best)
        working.append(
            f"{claim.part}: CzS usually {usual:.2f} m², at most {most:.2f} m² ({source})"
        )
        total = frame.prior.best("area")
        working.append(f"taken at {shown}, because no speed was named; frontal area {total:.2f} m²")
    return Case(
        statement=statement,
        expectations=expectations,
        equation="CzS of the part = g / (1 + g) · CzS of the car",
        working=tuple(working),
        implied=(Figure(label="share of the load", quantity=_as_share(gain)),),
        bounds=tuple(checks),
        readings=tuple(_readings(claim, frame, gain, speed, share)) if statement else (),
        question="per cent of what: of the car's load or the part's own, at which speed, ride "
        "heights and angle, and how was it measured",
    )


def _as_share(gain: Quantity) -> Quantity:
    ends = [share_of_gain(max(g, _WHOLE)) for g in (gain.low, gain.high)]
    return Quantity(best=share_of_gain(gain.best), low=ends[0], high=ends[1], unit="%",
                    dimension="share", origin="claimed")  # fmt: skip


def _statement(
    claim: GainClaim, frame: Frame, gain: Quantity, speed: float, share: float
) -> Statement:
    part, curve = f"part@{claim.part}", frame.axle("car", speed)

    def predict(at: At) -> float:
        return at(part) - share * curve(at)

    # d(g/(1+g)) = dg/(1+g)², on a car of the size at hand
    size = 1.6
    sd = hypot(sd_of(gain) / (1 + gain.best) ** 2 * size, 0.02)
    equation = Equation(predict=predict, uses=(part, *curve.uses), observed=0.0, sd=sd,
                        is_relative=False)  # fmt: skip
    return Statement(id=claim.id, equations=(equation,), is_claim=True)


def _expectation(claim: GainClaim, frame: Frame, speed: float) -> Expectation:
    part, curve = f"part@{claim.part}", frame.axle("car", speed)

    def predict(at: At) -> float:
        rest = curve(at) - at(part)
        return at(part) / rest if abs(rest) > 0.02 else 50.0

    return Expectation(label=f"gain from the {claim.part}", predict=predict,
                       uses=(part, *curve.uses), dimension="share", unit="%")  # fmt: skip


def _readings(
    claim: GainClaim, frame: Frame, gain: Quantity, speed: float, share: float
) -> list[Reading]:
    """Return the reading that the gain is of the part's own load, which says nothing of the car."""
    part = f"part@{claim.part}"
    usual = frame.prior.best(part)
    own = share * usual
    curve = frame.axle("car", speed)

    def predict(at: At) -> float:
        return share * at(part) - own

    equation = Equation(predict=predict, uses=(part, *curve.uses), observed=0.0,
                        sd=max(0.1 * abs(own), 1e-3), is_relative=False)  # fmt: skip
    held = Statement(id=claim.id, equations=(equation,), is_claim=True)
    shown = exact(own, "area", unit="m²", origin="claimed")
    label = "it is of the part's own load, not of the car's"
    return [
        Reading(name="share of the part", label=label, text=f"{100 * gain.best:.0f} % {label}",
                statements=(held,), figure=Figure(label="gain", quantity=shown)),
    ]  # fmt: skip
