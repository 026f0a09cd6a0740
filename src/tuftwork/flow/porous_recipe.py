"""What a core or a fan does to the air in a cell, as statements in the manner of ``recipe``.

The force of a step depends on the speed of that very step, so that no resistance, however strong,
turns the air round: along the axis the speed solves a quadratic, across it it is damped.
"""

from tuftwork.flow.lattice import VELOCITY
from tuftwork.flow.recipe import Line, signed_sum


def _sum(axis: int | None) -> str:
    """Sum of populations, or of their momentum along an axis."""
    terms = [
        (1.0 if axis is None else float(e[axis]), f"f{i}")
        for i, e in enumerate(VELOCITY)
        if axis is None or e[axis]
    ]
    return signed_sum(terms)


def resist() -> list[Line]:
    """Add the force of the core to ``F``; ``R`` is what the core feels.

    With the constant force F₀ alone the air would move at j; F = 2ρ (v − j) makes it move at v,
    where v·a along the axis solves v + ½ fill (linear v + square v|v| − lift) = j·a and the rest
    is j over 1 + ½ fill across.
    """
    out = [Line("let", f"R{c}", "0.0") for c in "xyz"]
    out += [
        Line("if", "", "fill > 0.0"),
        Line("let", "held", f"1.0 + ({_sum(None)})"),
        Line("let", "ih", "1.0 / held"),
    ]
    for n, c in enumerate("xyz"):
        out.append(Line("let", f"j{c}", f"({_sum(n)} + 0.5 * F{c}) * ih"))
    out += [
        Line("let", "ja", "jx * wayx + jy * wayy + jz * wayz"),
        Line("let", "sa", "ja + 0.5 * fill * lift"),
        Line("let", "half", "1.0 + 0.5 * fill * linear"),
        Line("let", "root", "sqrt(half * half + 2.0 * fill * square * max2(sa, -sa))"),
        Line("let", "va", "2.0 * sa / (half + root)"),
        Line("let", "keep", "1.0 / (1.0 + 0.5 * fill * across)"),
        Line("let", "more", "va - keep * ja"),
    ]
    for c in "xyz":
        out.append(Line("set", f"R{c}", f"2.0 * held * ((1.0 - keep) * j{c} - more * way{c})"))
        out.append(Line("set", f"F{c}", f"F{c} - R{c}"))
    return [*out, Line("end")]


CORE = ("wayx", "wayy", "wayz", "linear", "square", "lift", "across")
"""Names of the core table's columns in the statements; see ``setup.Core``."""
