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


_PAIR_SUMS = (
    ("sxy", "s7 + s13"), ("sxz", "s9 + s11"), ("syz", "s15 + s17"),
    ("ca", "s19 + s21"), ("cb", "s23 + s25"), ("cc", "ca + cb"),
    ("cd", "s19 - s21"), ("ce", "s23 - s25"),
    ("oa", "o19 + o21"), ("ob", "o23 + o25"), ("oc", "o19 - o21"), ("od", "o23 - o25"),
    ("rxx", "s1 + sxy + sxz + cc"), ("ryy", "s3 + sxy + syz + cc"), ("rzz", "s5 + sxz + syz + cc"),
    ("d", "rxx + s3 + s5 + syz + f0"),
)  # fmt: skip
"""Partial sums that several moments share, of the even and odd parts of opposite populations."""
_FIRST = {
    "x": "o1 + o7 + o13 + o9 + o11 + oa + ob",
    "y": "o3 + o7 - o13 + o15 + o17 + oa - ob",
    "z": "o5 + o9 - o11 + o15 - o17 + oc + od",
}
_SECOND = {
    "xx": "rxx", "yy": "ryy", "zz": "rzz",
    "xy": "s7 - s13 + ca - cb", "xz": "s9 - s11 + cd + ce", "yz": "s15 - s17 + cd - ce",
}  # fmt: skip


def moments(*, force: bool = True, unit: str = "1.0") -> list[Line]:
    """Density, velocity and the departure of the second central moments from equilibrium.

    Parameters
    ----------
    force
        Whether there is a body force ``F``; without one its terms are left out.
    unit
        The reference density in the unit of the populations.
    """
    out = []
    for i in range(1, N_VELOCITY, 2):
        out.append(Line("let", f"s{i}", f"f{i} + f{i + 1}"))
        out.append(Line("let", f"o{i}", f"f{i} - f{i + 1}"))
    out += [Line("let", name, text) for name, text in _PAIR_SUMS]
    out += [Line("let", "rho", f"{unit} + d"), Line("let", "ir", "1.0 / rho")]
    for name, axis in zip("uvw", "xyz", strict=True):
        half = f" + 0.5 * F{axis}" if force else ""
        out.append(Line("let", name, f"({_FIRST[axis]}{half}) * ir"))
    out += [Line("let", f"r{c}", f"rho * {c}") for c in "uvw"]
    out.append(Line("let", "d3", "d * THIRD"))
    for axes, text in _SECOND.items():
        a, b = axes[0], axes[1]
        ua, ub = ("uvw"["xyz".index(c)] for c in (a, b))
        pull = f" + 0.5 * (F{a} * {ub} + F{b} * {ua})" if force else ""
        trace = " - d3" if a == b else ""
        out.append(Line("let", f"p{a}{b}", f"{text} - r{ua} * {ub}{pull}{trace}"))
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


def closure(*, force: bool = True) -> list[Line]:
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
    out.append(Line("let", "k000", "d"))
    if not force:
        return out
    out += [Line("let", f"k{_order(c)}", f"0.5 * F{c}") for c in "xyz"]
    for a, b in permutations("xyz", 2):
        out.append(Line("let", f"k{_order(a + b + b)}", f"0.5 * F{a} * THIRD"))
    for a in "xyz":
        b, c = (x for x in "xyz" if x != a)
        out.append(Line("let", f"k{_order(a + b + b + c + c)}", f"0.5 * F{a} * NINTH"))
    return out


def _pair(a: str, b: str) -> str:
    return "".join(sorted(a + b))


def _order(letters: str) -> str:
    return "".join(str(letters.count(c)) for c in "xyz")


def _back_one_axis(stem: str, names: list[str], ground: str, speed: str) -> list[Line]:
    """Three populations on one axis from the three central moments along it ('' is zero).

    The two that move share half the even part and differ by the odd one.
    """
    k0, k1, k2 = names
    out, total = [], k0 or ground
    if not (k0 or k1 or k2 or ground):
        return []
    if k0 and ground:
        total = f"t{stem}"
        out.append(Line("let", total, f"{k0} + {ground}"))
    even, odd = [k2] if k2 else [], [k1] if k1 else []
    if k1:
        even.append(f"d{speed} * {k1}")
    if total:
        even.append(f"{total} * {speed}{speed}")
        odd.append(f"{total} * {speed}")
    return [
        *out,
        Line("let", f"e{stem}", " + ".join(even)),
        Line("let", f"o{stem}", f"0.5 * ({' + '.join(odd)})"),
        Line("let", f"{stem}m", f"{k0} - e{stem}" if k0 else f"-e{stem}"),
        Line("let", f"{stem}n", f"0.5 * e{stem} + o{stem}"),
        Line("let", f"{stem}l", f"0.5 * e{stem} - o{stem}"),
    ]


_GROUND = {0: "1.0", 1: "", 2: "THIRD"}
TAIL = {-1: "l", 0: "m", 1: "n"}
_AXIS_WEIGHT = {-1: "SIXTH", 0: "TWOTHIRD", 1: "SIXTH"}


def _times(*factors: str) -> str:
    if "" in factors:
        return ""
    kept = [f for f in factors if f != "1.0"]
    return " * ".join(kept) or "1.0"


def transform_back(*, force: bool = True, unit: str = "1.0") -> list[Line]:
    """Central moments to populations ``g0`` … ``g26``, one axis after the other.

    ``force`` and ``unit`` are those of ``moments`` and ``closure``.
    """
    have = {line.name for line in closure(force=force)}
    out = [Line("let", f"{s}{s}", f"{s} * {s}") for s in "uvw"]
    out += [Line("let", f"d{s}", f"2.0 * {s}") for s in "uvw"]

    def axis(stem: str, names: list[str], ground: str, speed: str) -> list[Line]:
        known = [n if n in have else "" for n in names]
        lines = _back_one_axis(stem, known, _times(unit, ground) if ground else "", speed)
        have.update(line.name for line in lines)
        return lines

    for b in range(3):
        for c in range(3):
            names = [f"k{a}{b}{c}" for a in range(3)]
            out += axis(f"x{b}{c}", names, _times(_GROUND[b], _GROUND[c]), "u")
    for i in (-1, 0, 1):
        for c in range(3):
            names = [f"x{b}{c}{TAIL[i]}" for b in range(3)]
            out += axis(f"y{TAIL[i]}{c}", names, _times(_AXIS_WEIGHT[i], _GROUND[c]), "v")
    index = {tuple(int(x) for x in e): n for n, e in enumerate(VELOCITY)}
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            stem, ground = f"z{TAIL[i]}{TAIL[j]}", _times(_AXIS_WEIGHT[i], _AXIS_WEIGHT[j])
            lines = axis(stem, [f"y{TAIL[i]}{c}{TAIL[j]}" for c in range(3)], ground, "w")
            to = {stem + TAIL[k]: f"g{index[i, j, k]}" for k in (-1, 0, 1)}
            out += [Line("let", to.get(x.name, x.name), x.text) for x in lines]
    return out


def absorb() -> list[Line]:
    """Pull the populations towards the free stream ``G`` by the share ``sigma`` (1: prescribed)."""
    out = [Line("if", "", "sigma > 0.0")]
    out += [Line("set", f"g{i}", f"g{i} + sigma * (G[{i}] - g{i})") for i in range(N_VELOCITY)]
    return [*out, Line("end")]


def collision(*, force: bool = True, unit: str = "1.0") -> list[Line]:
    """From populations ``f0`` … ``f26`` before collision to ``g0`` … ``g26`` after it.

    ``force`` and ``unit`` are those of ``moments``.
    """
    return [
        *moments(force=force, unit=unit),
        *relax(),
        *closure(force=force),
        *transform_back(force=force, unit=unit),
    ]


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
