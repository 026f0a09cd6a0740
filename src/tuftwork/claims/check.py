"""The check of claims: each alone, then all together with the evidence."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from tuftwork.car import Project
from tuftwork.claims.belief import SOURCE, Belief, Statement, linearised, misfit, predicted, update
from tuftwork.claims.case import Case, Expectation
from tuftwork.claims.conflict import DOUBT, REFUSED, Tester, smallest_conflicts
from tuftwork.claims.convert import SOURCE as _AXES
from tuftwork.claims.evidence import evidence_of
from tuftwork.claims.finding import (
    Changed,
    ClaimFinding,
    ClaimsReport,
    Computed,
    Figure,
    Lapped,
    Slip,
    Together,
    UnknownFinding,
    Verdict,
)
from tuftwork.claims.frame import KNOTS, Frame, frame_of
from tuftwork.claims.kind.registry import CASES
from tuftwork.claims.own import own_statements
from tuftwork.claims.slip import likely_slips
from tuftwork.claims.speak import ask, because, together_text
from tuftwork.claims.word import plain, short
from tuftwork.quantity import Z80, Quantity

_INFORMED = 0.5
"""Evidence says something of a claim if it halves the range of what the claim is about. [-]"""
_SHOWN_KNOTS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """What every claim is held against."""

    frame: Frame
    evidence: tuple[Statement, ...]
    believed: Belief
    tester: Tester
    places: dict[str, int]


def check_claims(
    project: Project,
    *,
    computed: Sequence[Computed] = (),
    changed: Sequence[Changed] = (),
    lapped: Sequence[Lapped] = (),
    air: Quantity | None = None,
) -> ClaimsReport:
    """Return the verdict on every claim, alone and together with the evidence.

    Each claim becomes equations in unknowns that all claims and all evidence share: CzS of the
    axles over speed and state, CxS, frontal area, power, driveline, rolling resistance, mass,
    density, parts, openings. Alone it must stay within what its kind of thing can do. Then the
    evidence is believed (a Gaussian update), and the claim's distance from it decides; for one
    that contradicts, the smallest set of statements that cannot all be true is looked for, and
    every likely slip is put through the same equations.

    Parameters
    ----------
    project
        With its claims, measured rows and openings.
    computed
        The study's own results, before measurements narrowed them; without them parts are held
        only against what is usual.
    changed, lapped
        The study's own differences between states, and its laps: what claims of a gain and of
        lap time are judged by.
    air
        Density in which the claims are taken to have been made; 1.225 kg/m³ ± 4 % unless given.

    Returns
    -------
    report
        One finding a claim, in the project's order.

    Raises
    ------
    NotConverged
        If the evidence cannot be believed together.

    References
    ----------
    [tarantola2005] section 3.2; [saeJ1594].
    """
    frame = frame_of(project, computed=computed, air=air, lapped=lapped)
    evidence = (*evidence_of(project, frame, computed), *own_statements(frame, changed, lapped))
    believed = update(frame.prior, evidence)
    cases = [CASES[claim.kind](claim, frame) for claim in project.claims]
    claims = [case.statement for case in cases if case.statement is not None]
    statements = [*evidence, *claims]
    setting = _Setting(
        frame=frame,
        evidence=evidence,
        believed=believed,
        tester=Tester(frame.prior, statements, believed),
        places={s.id: i for i, s in enumerate(statements) if s.is_claim},
    )
    findings = tuple(
        _finding(claim, case, setting) for claim, case in zip(project.claims, cases, strict=True)
    )
    return ClaimsReport(
        claims=findings,
        together=_together(project, findings),
        unknowns=_unknowns(setting),
        sources=(SOURCE, _AXES),
        notices=(*frame.notices, *_speed_notices(project), *_evidence_notices(setting)),
    )


def _finding(claim: object, case: Case, setting: _Setting) -> ClaimFinding:
    possible = all(bound.is_met for bound in case.bounds)
    is_informed = _is_informed(case, setting)
    measure = misfit(setting.believed, [case.statement]) if case.statement else None
    conflicts: tuple[tuple[str, ...], ...] = ()
    if case.statement is not None and possible:
        conflicts = smallest_conflicts(setting.tester, setting.places[case.statement.id])
    verdict, assumption = _verdict(case, setting, conflicts, possible, is_informed)
    slips: tuple[Slip, ...] = ()
    if verdict in ("contradicts", "needs an assumption"):
        slips = likely_slips(case, setting.believed, may_hold=verdict != "contradicts")
    expected = tuple(_expected(e, setting.believed) for e in case.expectations) if is_informed else ()  # noqa: E501  # fmt: skip
    return ClaimFinding(
        id=claim.id,  # type: ignore[attr-defined]
        kind=claim.kind,  # type: ignore[attr-defined]
        said=claim.said,  # type: ignore[attr-defined]
        by=claim.by,  # type: ignore[attr-defined]
        verdict=verdict,
        because=because(case, verdict, expected, conflicts, assumption, possible),
        equation=case.equation,
        working=case.working,
        implied=case.implied,
        expected=expected,
        bounds=case.bounds,
        distance=sqrt(measure.squared / measure.n_equation) if measure and is_informed else None,
        conflicts=conflicts if possible else ((claim.id,),),  # type: ignore[attr-defined]
        assumption=assumption,
        slips=slips,
        ask=ask(claim, case, verdict, slips, expected, possible),
    )


def _verdict(
    case: Case,
    setting: _Setting,
    conflicts: tuple[tuple[str, ...], ...],
    possible: bool,
    is_informed: bool,
) -> tuple[Verdict, str]:
    """Return the verdict, and the assumption it needs where it needs one."""
    if not possible:
        return "contradicts", ""
    if case.statement is None:
        return "unknown", ""
    probability = misfit(setting.believed, [case.statement]).probability
    if (is_informed and probability < REFUSED) or conflicts:
        return "contradicts", ""
    if not is_informed:
        return "unknown", ""
    if probability < DOUBT:
        return "needs an assumption", _assumption(case.statement, setting)
    return "consistent", ""


def _is_informed(case: Case, setting: _Setting) -> bool:
    """Whether the evidence narrows what the claim is about, or parts were computed."""
    if case.statement is None or not case.expectations:
        return False
    for expectation in case.expectations:
        before = predicted(setting.frame.prior, expectation.predict, expectation.uses)[1]
        best, after = predicted(setting.believed, expectation.predict, expectation.uses)
        parts = [u for u in expectation.uses if u.startswith("part@")]
        known = [setting.frame.prior.unknowns[setting.frame.prior.index[p]].origin == "computed"
                 for p in parts]  # fmt: skip
        # a narrow prior, such as a top speed from known power, needs no evidence to be narrow
        is_narrow = after < 0.12 * abs(best) and not parts
        if not (after < _INFORMED * before or is_narrow or (parts and all(known))):
            return False
    return True


def _assumption(statement: Statement, setting: _Setting) -> str:
    """Return which assumed or assumed-like unknown has to move most for the claim to hold."""
    after = update(setting.believed, [statement])
    before = setting.believed
    best, moved = "", 0.0
    names = dict.fromkeys(name for e in statement.equations for name in e.uses)
    for name in names:
        unknown = before.unknowns[before.index[name]]
        at = before.index[name]
        shift = abs(float(after.mean[at] - before.mean[at])) / sqrt(
            float(before.covariance[at, at])
        )
        if shift > moved:
            moved, best = shift, name
            shown = after.quantity(name)
    if not best:
        return ""
    unknown = before.unknowns[before.index[best]]
    now = plain(before.best(best), unknown.dimension, unknown.unit)
    then = plain(shown.best, unknown.dimension, unknown.unit)
    return f"{unknown.label} of {then} instead of {now}"


def _expected(expectation: Expectation, belief: Belief) -> Figure:
    best, sd = predicted(belief, expectation.predict, expectation.uses)
    quantity = Quantity(
        best=best, low=best - Z80 * sd, high=best + Z80 * sd, unit=expectation.unit,
        dimension=expectation.dimension, origin="computed",
    )  # fmt: skip
    return Figure(label=expectation.label, quantity=quantity)


def _together(project: Project, findings: Sequence[ClaimFinding]) -> Together:
    sets: dict[frozenset[str], tuple[str, ...]] = {}
    for finding in findings:
        for conflict in finding.conflicts:
            sets.setdefault(frozenset(conflict), conflict)
    verdicts = {finding.verdict for finding in findings}
    verdict: Verdict = "unknown"
    for word in ("contradicts", "needs an assumption", "consistent"):
        if word in verdicts:
            verdict = word
            break
    conflicts = tuple(sets.values())
    text = " ".join([together_text(findings, conflicts), *_trend(project, findings)])
    return Together(verdict=verdict, conflicts=conflicts, text=text)


def _trend(project: Project, findings: Sequence[ClaimFinding]) -> list[str]:
    """Say how the claimed CzS moves with speed, and how the evidence's does."""
    rows = [
        (claim.speed.best, finding)
        for claim, finding in zip(project.claims, findings, strict=True)
        if claim.kind == "force" and claim.on == "car" and claim.direction == "downforce"
        and finding.expected
    ]  # fmt: skip
    rows.sort(key=lambda row: row[0])
    if len({speed for speed, _ in rows}) < 2:
        return []
    first, last = rows[0][1], rows[-1][1]
    speeds = " to ".join(plain(row[0], "speed", "km/h") for row in (rows[0], rows[-1]))
    claimed = [f.implied[0].quantity for f in (first, last)]
    found = [f.expected[0].quantity for f in (first, last)]
    return [
        f"From {speeds} the claimed CzS goes {short(claimed[0])} to {short(claimed[1])}, "
        f"the evidence's {short(found[0])} to {short(found[1])}."
    ]


def _unknowns(setting: _Setting) -> tuple[UnknownFinding, ...]:
    """Return the unknowns a reader asks for: not every knot, and no opening without evidence."""
    found = []
    knots = np.unique(np.linspace(1, KNOTS.size - 3, _SHOWN_KNOTS).astype(int))
    shown = {str(k) for k in knots}
    for unknown in setting.frame.prior.unknowns:
        name = unknown.name
        if name.startswith(("front@", "rear@")) and name.rsplit("@", 1)[1] not in shown:
            continue
        found.append(
            UnknownFinding(
                name=name,
                label=unknown.label,
                prior=setting.frame.prior.quantity(name, unknown.origin),
                quantity=setting.believed.quantity(name),
            )
        )
    return tuple(found)


def _speed_notices(project: Project) -> list[str]:
    """Say where a claim's speed lies beyond the speeds at which CzS is an unknown."""
    low, high = float(KNOTS[0]), float(KNOTS[-1])
    return [
        f"{claim.id}: {plain(claim.speed.best, 'speed', 'km/h')} lies beyond "
        f"{plain(low, 'speed', 'km/h')} to {plain(high, 'speed', 'km/h')}; CzS is taken as there"
        for claim in project.claims
        if claim.kind in ("force", "balance") and claim.speed is not None
        and not low <= claim.speed.best <= high
    ]  # fmt: skip


def _evidence_notices(setting: _Setting) -> list[str]:
    """Say where the evidence contradicts itself."""
    tester = setting.tester
    count = len(setting.evidence)
    if count < 2:
        return []
    if tester.probability(list(range(count))) >= REFUSED:
        return []
    difference, _ = linearised(setting.believed, list(setting.evidence), setting.believed.mean)
    worst, start, at = "", 0, 0.0
    for statement in setting.evidence:
        rows = difference[start : start + len(statement.equations)]
        start += len(statement.equations)
        size = float(np.max(np.abs(rows) / [e.sd for e in statement.equations]))
        if size > at:
            worst, at = statement.id, size
    return [f"the evidence does not agree with itself within its ranges; {worst} lies farthest off"]
