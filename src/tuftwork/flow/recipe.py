"""The physics of one cell, written once as straight-line statements for every back end.

Each statement is (kind, name, expression). Expressions use only ``+ - * / < >``, names, decimal
numbers and sqrt, exp, log, max2, min2, so the same text is valid Python and valid C.
``python_lines`` and ``c_lines`` spell it for the two dialects; neither back end has physics of its
own. Walls are in ``wall_recipe``.

References
----------
[geier2015] collision in cumulants.
"""

import re
from dataclasses import dataclass
from itertools import permutations
from typing import Literal

from tuftwork.flow.lattice import N_VELOCITY, VELOCITY

Kind = Literal["let", "set", "if", "else", "end"]


@dataclass(frozen=True, slots=True)
class Line:
    """One statement: ``let`` names a value, ``set`` changes one, ``if``/``else``/``end`` nest."""

    kind: Kind
    name: str = ""
    text: str = ""


def signed_sum(terms: list[tuple[float, str]]) -> str:
    """Signed sum of names with coefficients ±1."""
    text = "".join(f" {'+' if c > 0 else '-'} {name}" for c, name in terms)
    return text[3:] if text.startswith(" + ") else text.strip()


def _raw(power: tuple[int, ...]) -> str:
    """Sum of populations times powers of the lattice velocity."""
    terms = []
    for i, e in enumerate(VELOCITY):
        c = float(e[0] ** power[0] * e[1] ** power[1] * e[2] ** power[2])
        if c:
            terms.append((c, f"f{i}"))
    return signed_sum(terms)


def moments() -> list[Line]:
    """Density, velocity and the departure of the second central moments from equilibrium."""
    out = [Line("let", "d", _raw((0, 0, 0))), Line("let", "rho", "1.0 + d")]
    out.append(Line("let", "ir", "1.0 / rho"))
    for axis, name in enumerate("uvw"):
        power = tuple(int(axis == a) for a in range(3))
        out.append(Line("let", name, f"({_raw(power)} + 0.5 * F{'xyz'[axis]}) * ir"))
    for a, b in ("xx", "yy", "zz", "xy", "xz", "yz"):
        p = ["xyz".index(a), "xyz".index(b)]
        power = (p.count(0), p.count(1), p.count(2))
        ua, ub = "uvw"[p[0]], "uvw"[p[1]]
        drift = f"rho * {ua} * {ub} - 0.5 * (F{a} * {ub} + F{b} * {ua})"
        trace = " - d * THIRD" if a == b else ""
        out.append(Line("let", f"p{a}{b}", f"{_raw(power)} - ({drift}){trace}"))
    return out


def relax() -> list[Line]:
    """Relax the second cumulants; all higher ones are set to equilibrium [geier2015]."""
    return [
        Line("let", "tr", "pxx + pyy + pzz"),
        Line("let", "dxu", "-0.5 * ir * (om * (2.0 * pxx - pyy - pzz) + tr)"),
        Line("let", "dyv", "dxu + 1.5 * om * ir * (pxx - pyy)"),
        Line("let", "dzw", "dxu + 1.5 * om * ir * (pxx - pzz)"),
        Line("let", "cx", "u * u * dxu"),
        Line("let", "cy", "v * v * dyv"),
        Line("let", "cz", "w * w * dzw"),
        Line("let", "ts", "-1.5 * rho * (cx + cy + cz)"),
        Line("let", "hw", "3.0 * rho * (1.0 - 0.5 * om)"),
        Line("let", "kw", "1.0 - om"),
        Line("let", "d1", "kw * (pxx - pyy) - hw * (cx - cy)"),
        Line("let", "d2", "kw * (pxx - pzz) - hw * (cx - cz)"),
        Line("let", "qxx", "(ts + d1 + d2) * THIRD"),
        Line("let", "qyy", "qxx - d1"),
        Line("let", "qzz", "qxx - d2"),
        Line("let", "qxy", "kw * pxy"),
        Line("let", "qxz", "kw * pxz"),
        Line("let", "qyz", "kw * pyz"),
    ]


def closure() -> list[Line]:
    """Central moments after collision, of a normal distribution with the relaxed second moments."""
    out = [Line("let", f"a{c}", f"q{c}{c} * ir") for c in "xyz"]
    out += [Line("let", f"h{ab}", f"q{ab} * ir") for ab in ("xy", "xz", "yz")]
    for c in "xyz":
        out.append(Line("let", f"k{_order(c * 2)}", f"q{c}{c} + d * THIRD"))
    for a, b in ("xy", "xz", "yz"):
        out.append(Line("let", f"k{_order(a + b)}", f"q{a}{b}"))
        text = f"(q{a}{a} + q{b}{b}) * THIRD + q{a}{a} * a{b} + 2.0 * q{a}{b} * h{a}{b} + d * NINTH"
        out.append(Line("let", f"k{_order(a + a + b + b)}", text))
    for a, b, c in (("x", "y", "z"), ("y", "x", "z"), ("z", "x", "y")):
        bc, ab, ac = (_pair(b, c), _pair(a, b), _pair(a, c))
        text = f"(THIRD + a{a}) * q{bc} + 2.0 * q{ab} * h{ac}"
        out.append(Line("let", f"k{_order(a + a + b + c)}", text))
    out.append(
        Line(
            "let",
            "k222",
            "(qxx + qyy + qzz) * NINTH + (qxx * ay + qxx * az + qyy * az) * THIRD + qxx * ay * az"
            " + 2.0 * ((THIRD + ax) * qyz * hyz + (THIRD + ay) * qxz * hxz"
            " + (THIRD + az) * qxy * hxy)"
            " + 8.0 * qxy * hxz * hyz + d * THIRD * NINTH",
        )
    )
    out += [Line("let", f"k{_order(c)}", f"0.5 * F{c}") for c in "xyz"]
    for a, b in permutations("xyz", 2):
        out.append(Line("let", f"k{_order(a + b + b)}", f"0.5 * F{a} * THIRD"))
    for a in "xyz":
        b, c = (x for x in "xyz" if x != a)
        out.append(Line("let", f"k{_order(a + b + b + c + c)}", f"0.5 * F{a} * NINTH"))
    out.append(Line("let", "k000", "d"))
    return out


def _pair(a: str, b: str) -> str:
    return "".join(sorted(a + b))


def _order(letters: str) -> str:
    return "".join(str(letters.count(c)) for c in "xyz")


def _back_one_axis(stem: str, names: list[str], ground: str, speed: str) -> list[Line]:
    """Three populations on one axis from the three central moments along it ('' is zero)."""
    k0, k1, k2 = names
    total = f"({k0} + {ground})" if ground and k0 else (k0 or ground)
    sq = f"{speed}{speed}"
    if not (k0 or k1 or k2 or ground):
        return []
    mid = [k0] if k0 else []
    text = mid[0] if mid else "0.0"
    if total:
        text += f" - {total} * {sq}"
    if k1:
        text += f" - 2.0 * {speed} * {k1}"
    if k2:
        text += f" - {k2}"
    out = [Line("let", f"{stem}m", text.replace("0.0 - ", "-", 1))]
    for sign, tail in (("+", "n"), ("-", "l")):
        parts = []
        if total:
            parts.append(f"{total} * ({sq} {sign} {speed})")
        if k1:
            parts.append(f"{k1} * (2.0 * {speed} {sign} 1.0)")
        if k2:
            parts.append(k2)
        out.append(Line("let", f"{stem}{tail}", f"0.5 * ({' + '.join(parts)})"))
    return out


_GROUND = {0: "1.0", 1: "", 2: "THIRD"}
TAIL = {-1: "l", 0: "m", 1: "n"}
_AXIS_WEIGHT = {-1: "SIXTH", 0: "TWOTHIRD", 1: "SIXTH"}


def _times(*factors: str) -> str:
    if "" in factors:
        return ""
    kept = [f for f in factors if f != "1.0"]
    return " * ".join(kept) or "1.0"


def transform_back() -> list[Line]:
    """Central moments to populations ``g0`` … ``g26``, one axis after the other."""
    known = {line.name for line in closure()}
    out = [Line("let", f"{s}{s}", f"{s} * {s}") for s in "uvw"]
    have: set[str] = set(known)

    def name(text: str) -> str:
        return text if text in have else ""

    for b in range(3):
        for c in range(3):
            lines = _back_one_axis(
                f"x{b}{c}",
                [name(f"k{a}{b}{c}") for a in range(3)],
                _times(_GROUND[b], _GROUND[c]),
                "u",
            )
            out += lines
            have |= {line.name for line in lines}
    for i in (-1, 0, 1):
        for c in range(3):
            lines = _back_one_axis(
                f"y{TAIL[i]}{c}",
                [name(f"x{b}{c}{TAIL[i]}") for b in range(3)],
                _times(_AXIS_WEIGHT[i], _GROUND[c]),
                "v",
            )
            out += lines
            have |= {line.name for line in lines}
    index = {tuple(int(x) for x in e): n for n, e in enumerate(VELOCITY)}
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            lines = _back_one_axis(
                "z",
                [name(f"y{TAIL[i]}{c}{TAIL[j]}") for c in range(3)],
                _times(_AXIS_WEIGHT[i], _AXIS_WEIGHT[j]),
                "w",
            )
            for line, k in zip(lines, (0, 1, -1), strict=True):
                out.append(Line("let", f"g{index[i, j, k]}", line.text))
    return out


def absorb() -> list[Line]:
    """Pull the populations towards the free stream ``G`` by the share ``sigma`` (1: prescribed)."""
    out = [Line("if", "", "sigma > 0.0")]
    out += [Line("set", f"g{i}", f"g{i} + sigma * (G[{i}] - g{i})") for i in range(N_VELOCITY)]
    return [*out, Line("end")]


def collision() -> list[Line]:
    """From populations ``f0`` … ``f26`` before collision to ``g0`` … ``g26`` after it."""
    return [*moments(), *relax(), *closure(), *transform_back()]


def along(e: tuple[int, ...], vector: str) -> str:
    """Dot product of a lattice velocity with ``vector`` (names vector + x, y, z)."""
    return "(" + signed_sum([(float(c), f"{vector}{'xyz'[a]}") for a, c in enumerate(e) if c]) + ")"


_NUMBER = re.compile(r"(?<![\w.])(\d+\.\d*(?:e-?\d+)?|\d+e-?\d+)(?![\w.])")


def python_lines(lines: list[Line], indent: int) -> list[str]:
    """Spell the statements in Python, nested from ``indent``."""
    out: list[str] = []
    for line in lines:
        pad = "    " * indent
        if line.kind in ("let", "set"):
            out.append(f"{pad}{line.name} = {line.text}")
        elif line.kind == "if":
            out.append(f"{pad}if {line.text}:")
            indent += 1
        elif line.kind == "else":
            out.append(f"{'    ' * (indent - 1)}else:")
        else:
            indent -= 1
    return out


def c_lines(lines: list[Line]) -> list[str]:
    """Spell the statements in C with single-precision literals."""
    out: list[str] = []
    for line in lines:
        text = _NUMBER.sub(r"\1f", line.text)
        if line.kind == "let":
            out.append(f"float {line.name} = {text};")
        elif line.kind == "set":
            out.append(f"{line.name} = {text};")
        elif line.kind == "if":
            out.append(f"if ({text}) {{")
        elif line.kind == "else":
            out.append("} else {")
        else:
            out.append("}")
    return out
