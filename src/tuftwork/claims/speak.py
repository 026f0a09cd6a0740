"""The sentences: why a verdict was reached, and what to ask whoever made the claim."""

from collections.abc import Sequence

from tuftwork.claims.case import Case
from tuftwork.claims.finding import ClaimFinding, Figure, Slip, Verdict
from tuftwork.claims.word import figure, short
from tuftwork.quantity import format_quantity


def because(
    case: Case,
    verdict: Verdict,
    expected: Sequence[Figure],
    conflicts: Sequence[Sequence[str]],
    assumption: str,
    possible: bool,
) -> str:
    """Return the reason for a verdict in a sentence."""
    said = case.implied[-1] if not possible else case.implied[0]
    implied = f"{said.label} {short(said.quantity)}"
    if not possible:
        broken = next(b for b in case.bounds if not b.is_met)
        most = figure(broken.most, broken.quantity.dimension, broken.quantity.unit)
        least = figure(broken.least, broken.quantity.dimension, broken.quantity.unit)
        over = broken.quantity.best > broken.most
        limit = f"at most {most}" if over else f"at least {least}"
        found = f"{broken.label} {short(broken.quantity)}"
        return f"Impossible on its own: {found}, {limit} ({broken.source})."
    seen = "; ".join(f"{f.label} {format_quantity(f.quantity)}" for f in expected)
    if verdict == "contradicts":
        # a computed set names "computed"; a set of claims names only claims
        sets = " and ".join(" + ".join(c) for c in conflicts)
        held = f"; evidence says {seen}" if seen else ""
        with_sets = f" Cannot all be true: {sets}." if sets else ""
        return f"It says {implied}{held}.{with_sets}"
    if verdict == "needs an assumption":
        return f"It says {implied}; evidence says {seen}. Holds with {assumption}."
    if verdict == "consistent":
        return f"It says {implied}; evidence says {seen}."
    missing = f" {case.missing}" if case.missing else ""
    return f"It says {implied}: possible on its own; nothing at hand can check it.{missing}"


def ask(
    claim: object,
    case: Case,
    verdict: Verdict,
    slips: Sequence[Slip],
    expected: Sequence[Figure],
    possible: bool,
) -> str:
    """Return one sentence ready to send to whoever made the claim."""
    said = f"You say \u201c{_cut(claim.said)}\u201d"  # type: ignore[attr-defined]
    if verdict == "consistent":
        return f"{said}, which agrees with what we have: {case.question}?"
    if not possible:
        broken = next(b for b in case.bounds if not b.is_met)
        most = figure(broken.most, broken.quantity.dimension, broken.quantity.unit)
        reason = f"that means {broken.label} of {short(broken.quantity)}, where {most} is the most"
    elif expected:
        seen = " and ".join(f"{f.label} of {short(f.quantity)}" for f in expected)
        reason = f"that means {case.implied[0].label} of {short(case.implied[0].quantity)}, where we find {seen}"  # noqa: E501  # fmt: skip
    else:
        reason = f"that means {case.implied[0].label} of {short(case.implied[0].quantity)}"
    named = [slip.label for slip in slips if slip.name != "none of these"][:2]
    could = f"; could it be that {' or that '.join(named)}" if named else ""
    joint = ", and " if could else "; "
    return f"{said}: {reason}{could}{joint}{case.question}?"


def together_text(findings: Sequence[ClaimFinding], conflicts: Sequence[Sequence[str]]) -> str:
    """Return what the set of claims amounts to."""
    if not findings:
        return "No claims."
    counts: dict[Verdict, int] = {}
    for finding in findings:
        counts[finding.verdict] = counts.get(finding.verdict, 0) + 1
    words = {"contradicts": "contradict what is known", "needs an assumption":
             "need an assumption", "consistent": "agree with it", "unknown":
             "cannot be checked yet"}  # fmt: skip
    one = {"contradicts": "contradicts what is known", "needs an assumption":
           "needs an assumption", "consistent": "agrees with it"}  # fmt: skip
    told = [
        f"{counts[v]} {one.get(v, words[v]) if counts[v] == 1 else words[v]}"
        for v in words
        if v in counts
    ]
    text = f"Of {len(findings)} claims {', '.join(told)}."
    between = [c for c in conflicts if len(c) > 1 and set(c) <= {f.id for f in findings}]
    if between:
        text += " Against each other: " + "; ".join(" and ".join(c) for c in between) + "."
    return text


def _cut(text: str) -> str:
    return text.strip().lstrip(".… ").rstrip(".")
