"""A front share of the downforce: CzSf / (CzSf + CzSr), at a speed or at all of them."""

from collections.abc import Callable, Sequence
from math import hypot, log

import numpy as np

from tuftwork.car import BalanceClaim
from tuftwork.claims.belief import At, Belief, Equation, Statement, misfit
from tuftwork.claims.case import Case, Expectation, Reading, held_against
from tuftwork.claims.convert import front_share
from tuftwork.claims.evidence import sd_of
from tuftwork.claims.finding import Figure
from tuftwork.claims.frame import Frame, ranged
from tuftwork.claims.table import bound
from tuftwork.claims.word import plain
from tuftwork.quantity import Quantity, exact

_OWN = 0.003  # [-]  of a share at one speed, beside what all speeds have in common
_MADE_UP = 0.4  # [-]  a share made up lies anywhere in such a width


def balance_case(claim: BalanceClaim, frame: Frame) -> Case:
    """Return a claimed balance as equations."""
    share = ranged(claim.front, "share")
    speeds = _speeds(claim, frame)
    line = bound("front share")
    check = held_against("front share", share, line.least, line.most, line.source)
    shown = [plain(v, "speed", "km/h") for v in speeds]
    held = "at every speed of the study" if claim.constant else f"at {shown[0]}"
    unsaid = claim.speed is None and not claim.constant
    return Case(
        statement=_statement(claim, frame, share, speeds),
        expectations=tuple(_expectation(frame, v) for v in _ends(speeds)),
        equation="%F = CzSf / (CzSf + CzSr)",
        working=(
            f"%F = {100 * share.best:.1f} % {held}" + (", no speed was named" if unsaid else ""),
            "equations at " + ", ".join(shown),
            *_in_newtons(frame, share, speeds),
        ),
        implied=(Figure(label="front share", quantity=share),),
        bounds=(check,),
        readings=tuple(_readings(claim, frame, share, speeds)),
        question="at which speeds and ride heights was it measured, and was it more than one speed",
        scale=1 / _MADE_UP,
    )


def _speeds(claim: BalanceClaim, frame: Frame) -> tuple[float, ...]:
    """Return the speeds at which the claim is taken to hold [m/s]."""
    study = tuple(v.best for v in frame.project.study.speeds)
    if claim.speed is not None and not claim.constant:
        return (claim.speed.best,)
    if claim.constant:
        return study
    return (study[len(study) // 2],)


def _ends(speeds: Sequence[float]) -> tuple[float, ...]:
    return tuple(dict.fromkeys((min(speeds), max(speeds))))


def _share(frame: Frame, speed: float) -> tuple[Callable[[At], float], tuple[str, ...]]:
    front, rear = frame.axle("front", speed), frame.axle("rear", speed)

    def share(at: At) -> float:
        ahead, behind = front(at), rear(at)
        # a car that makes next to nothing has no balance; the floor keeps the slope finite
        if abs(ahead + behind) < 0.02:
            behind = 0.02 - ahead
        return front_share(ahead, behind)

    return share, (*front.uses, *rear.uses)


def _expectation(frame: Frame, speed: float) -> Expectation:
    share, uses = _share(frame, speed)
    label = f"front share at {plain(speed, 'speed', 'km/h')}"
    return Expectation(label=label, predict=share, uses=uses, dimension="share", unit="%")


def _statement(
    claim: BalanceClaim, frame: Frame, share: Quantity, speeds: Sequence[float]
) -> Statement:
    sd = sd_of(share)
    equations = []
    for speed in speeds:
        predict, uses = _share(frame, speed)
        equations.append(Equation(predict=predict, uses=uses, observed=share.best,
                                  sd=hypot(sd, _OWN), is_relative=False))  # fmt: skip
    count = len(equations)
    # the figure is one figure: its rounding is common to all speeds
    covariance = sd**2 * np.ones((count, count)) + _OWN**2 * np.eye(count)
    return Statement(id=claim.id, equations=tuple(equations), is_claim=True, covariance=covariance)


def _in_newtons(frame: Frame, share: Quantity, speeds: Sequence[float]) -> list[str]:
    rows = [row for row in frame.project.measured if not row.state
            or row.state == frame.state()]  # fmt: skip
    lines = []
    for row in rows[:1] + rows[-1:] if len(rows) > 1 else rows:
        total = row.downforce_front.best + row.downforce_rear.best
        if total:
            lines.append(f"{row.id} at {plain(row.speed.best, 'speed', 'km/h')}: "
                         f"{row.downforce_front.best:.3f} / {total:.3f} = "
                         f"{100 * row.downforce_front.best / total:.1f} %")  # fmt: skip
    return lines


def _readings(
    claim: BalanceClaim, frame: Frame, share: Quantity, speeds: Sequence[float]
) -> list[Reading]:
    swapped = exact(1 - share.best, "share", unit="%", origin="claimed")
    line = bound("front share")
    other = Quantity(best=1 - share.best, low=1 - share.high, high=1 - share.low, unit="%",
                     dimension="share", origin="claimed")  # fmt: skip
    found = [
        Reading(
            name="ends swapped", label="it is the rear's share",
            text=f"{100 * (1 - share.best):.0f} % front",
            statements=(_statement(claim, frame, other, speeds),),
            figure=Figure(label="front share", quantity=swapped),
            is_possible=line.least <= 1 - share.best <= line.most,
        ),
        Reading(
            name="weight share", label="it is the share of the weight, not of the downforce",
            text=f"{100 * share.best:.0f} % of the weight in front",
            density=_of_weight(frame, share),
        ),
    ]  # fmt: skip
    if claim.constant:
        study = _speeds(claim, frame)
        grid = np.linspace(min(study), max(study), 9)
        singles = tuple(_statement(claim, frame, share, (float(v),)) for v in grid)
        found.append(
            Reading(
                name="at one speed",
                label="it holds at one speed only",
                text=f"{100 * share.best:.0f} % at one speed between "
                f"{plain(min(study), 'speed', 'km/h')} and "
                f"{plain(max(study), 'speed', 'km/h')}",
                density=_anywhere(singles),
                figure=None,
            )
        )
    return found


def _anywhere(singles: Sequence[Statement]) -> Callable[[Belief], float]:
    """Return the density of the figure holding at one speed nobody named."""

    def density(belief: Belief) -> float:
        found = [misfit(belief, [s]).density for s in singles]
        return float(np.logaddexp.reduce(found)) - log(len(found))

    return density


def _of_weight(frame: Frame, share: Quantity) -> Callable[[Belief], float]:
    weight = frame.project.mass_state().front_weight
    sd = hypot(sd_of(share), sd_of(weight))

    def density(belief: Belief) -> float:
        distance = (share.best - weight.best) / sd
        return -0.5 * distance**2 - log(sd) - 0.919

    return density
