"""Seconds a lap: judged by what the project's own laps say of that circuit, where there are any."""

import numpy as np

from tuftwork.car import LapGainClaim
from tuftwork.claims.belief import At, Equation, Statement
from tuftwork.claims.case import Case, Expectation, held_against
from tuftwork.claims.evidence import of_unknown, sd_of
from tuftwork.claims.finding import Figure, Lapped
from tuftwork.claims.frame import Frame, gained_name, product, ranged, worth_name
from tuftwork.claims.table import bound
from tuftwork.quantity import Quantity


def lap_case(claim: LapGainClaim, frame: Frame) -> Case:
    """Return a claimed lap-time gain as the downforce it would take, and what judges it.

    A gain of a state is held against that state's own laps; a gain with the downforce it is said
    to come from against the worth of a point. One that names neither is taken of the one state
    there is besides the baseline; where there are more, or none, it is held against what a car can
    have, and what is missing is said.
    """
    gain, lap = ranged(claim.gain, "lap gain"), claim.lap_time
    relative = product(((gain, 1), (lap, -1)), unit="%", dimension="share")
    own = _lapped(claim, frame)
    worth, source = _worth(own)
    area = product(((relative, 1), (worth, -1)), unit="m²", dimension="area")
    line, band = bound("lap gain"), bound("car downforce")
    checks = [held_against("CzS it would take", area, 0.0, band.most, band.source)]
    state = _state(claim, own, frame)
    statement, expectations = _judged(claim, own, gain, state)
    if statement is None:  # else the study's own laps judge it, which know this car
        checks.insert(0, held_against("relative gain of one kit", relative, line.least, line.most,
                                      line.source))  # fmt: skip
    working = [
        f"Δt / t = {gain.best:g} s / {lap.best:g} s = {100 * relative.best:.2f} %",
        f"s = {100 * worth.best:.2f} % per m² of CzS ({source})",
        f"ΔCzS = {area.best:.2f} m², were it all downforce",
    ]
    if own is not None and not claim.circuit:
        working.append(f"no circuit was named: {own.circuit} is taken")
    if state != claim.state:
        working.append(f"no state was named: '{state}' is taken, the only one besides the baseline")
    said, took = (
        Figure(label=label, quantity=q)
        for label, q in (("gain", gain), ("CzS it would take", area))
    )
    return Case(
        statement=statement,
        expectations=expectations,
        equation="Δt / t = s · ΔCzS",
        working=tuple(working),
        implied=(said, took) if statement is not None else (took,),
        bounds=tuple(checks),
        readings=(),
        question="on which circuit, with which tyres, by how many laps each way, and did anything "
        "else change",
        missing="" if statement is not None else _missing(claim, own, frame),
    )  # fmt: skip


def _lapped(claim: LapGainClaim, frame: Frame) -> Lapped | None:
    """Return the project's laps of the claim's circuit, of the first where it names none."""
    named = [row for row in frame.lapped if claim.circuit in ("", row.circuit)]
    return named[0] if named else None


def _worth(own: Lapped | None) -> tuple[Quantity, str]:
    """Return the share of a lap that one m² of CzS is worth, and where that is from."""
    if own is None:
        value = bound("lap value")
        return Quantity(best=value.usual, low=value.usual / value.factor,
                        high=value.usual * value.factor, unit="", dimension="ratio",
                        spread="log"), value.source  # fmt: skip
    share = np.asarray(own.worth) / np.asarray(own.lap_time)
    low, best, high = (float(v) for v in np.quantile(share, (0.1, 0.5, 0.9)))
    least = 0.05 * best  # a draw that gains nothing takes endless downforce
    return Quantity(best=best, low=max(low, least), high=high, unit="", dimension="ratio",
                    spread="log"), f"this study, a point of CzS at {own.circuit}"  # fmt: skip


def _state(claim: LapGainClaim, own: Lapped | None, frame: Frame) -> str:
    """Return the state whose laps judge: the claim's, or the only one besides the baseline."""
    others = [state.name for state in frame.project.states[1:]]
    if claim.state or claim.downforce is not None or own is None or len(others) != 1:
        return claim.state
    return others[0] if others[0] in own.gained else ""


def _missing(claim: LapGainClaim, own: Lapped | None, frame: Frame) -> str:
    """Return what to give so that the claim can be checked here."""
    cause = "'state' (with the change made under [[states]]) or 'downforce'"
    if own is None:
        if frame.project.lap is None:
            return f"To check it, describe circuit and tyres in [lap], and give the claim {cause}."
        where = f" of {claim.circuit}" if claim.circuit else ""
        return f"No lap{where} could be run: 'tuftwork lap' says why."
    if claim.state:
        return f"There is no gain of '{claim.state}' to hold it against: name the changed state."
    if not own.gained:
        return f"It does not say of what: give the claim {cause}."
    told = []
    for state, seconds in own.gained.items():
        low, middle, high = (f"{v:+.2f}" for v in np.quantile(seconds, (0.1, 0.5, 0.9)))
        told.append(f"'{state}' ({middle} s, {low} to {high})".replace("-", "\u2212"))
    return (
        f"It does not say of what: give the claim 'state', one of those whose laps at "
        f"{own.circuit} gain {', '.join(told)}, or 'downforce', the CzS it is said to come from."
    )


def _judged(
    claim: LapGainClaim, own: Lapped | None, gain: Quantity, state: str
) -> tuple[Statement | None, tuple[Expectation, ...]]:
    """Return the claim as an equation in what the laps know; nothing where they know nothing."""
    if own is None:
        return None, ()
    share = float(np.median(own.lap_time)) / claim.lap_time.best  # to the lap the study drives
    if state and state in own.gained:
        name = gained_name(own.circuit, state)
        predict, label = of_unknown(name), f"gain of '{state}' at {own.circuit}"
    elif claim.downforce is not None:
        name, area = worth_name(own.circuit), claim.downforce.best

        def predict(at: At) -> float:
            return area * at(name)

        label = f"gain of {area:.2f} m² of CzS at {own.circuit}"
    else:
        return None, ()
    equation = Equation(predict=predict, uses=(name,), observed=share * gain.best,
                        sd=share * sd_of(gain), is_relative=False)  # fmt: skip
    expectation = Expectation(
        label=label, predict=predict, uses=(name,), dimension="time", unit="s"
    )
    return Statement(id=claim.id, equations=(equation,), is_claim=True), (expectation,)
