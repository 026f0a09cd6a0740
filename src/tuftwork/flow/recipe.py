"""The physics of one cell, written once as straight-line statements for every back end.

Each statement is (kind, name, expression). Expressions use only ``+ - * / < >``, names, decimal
numbers and sqrt, exp, log, max2, min2, so the same text is valid Python and valid C.
``python_lines`` and ``c_lines`` spell it for the two dialects; neither back end has physics of its
own.

References
----------
[geier2015] collision in cumulants; [bouzidi2001] interpolated bounce-back; [reichardt1951] law.
"""

import re
from dataclasses import dataclass
from itertools import permutations
from typing import Literal

from tuftwork.flow.lattice import N_VELOCITY, OPPOSITE, VELOCITY, WEIGHT

REST_SHARE = 0.28
"""Share of the logarithmic step of speed at which the spring of the wall cell rests, set on a
column of air between two walls so that it loses the momentum that the law says. [-]"""
Kind = Literal["let", "set", "if", "else", "end"]


@dataclass(frozen=True, slots=True)
class Line:
    """One statement: ``let`` names a value, ``set`` changes one, ``if``/``else``/``end`` nest."""

    kind: Kind
    name: str = ""
    text: str = ""


def _sum(terms: list[tuple[float, str]]) -> str:
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
    return _sum(terms)


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
_TAIL = {-1: "l", 0: "m", 1: "n"}
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
                f"y{_TAIL[i]}{c}",
                [name(f"x{b}{c}{_TAIL[i]}") for b in range(3)],
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
                [name(f"y{_TAIL[i]}{c}{_TAIL[j]}") for c in range(3)],
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


def _along(e: tuple[int, ...], vector: str) -> str:
    """Dot product of a lattice velocity with ``vector`` (names vector + x, y, z)."""
    return "(" + _sum([(float(c), f"{vector}{'xyz'[a]}") for a, c in enumerate(e) if c]) + ")"


def wall_collision() -> list[Line]:
    """Collide a cell beside a wall: the law gives its friction velocity and eddy viscosity.

    Between the wall and the next cell momentum travels by turbulence that the cells do not hold:
    the viscosity κ u_τ (2y + 1), so that its mean with the next cell's is that of the logarithmic
    layer half way between the two.
    """
    return [
        *moments(),
        Line("let", "un", "(u - vx) * nx + (v - vy) * ny + (w - vz) * nz"),
        Line("let", "tx", "u - vx - un * nx"),
        Line("let", "ty", "v - vy - un * ny"),
        Line("let", "tz", "w - vz - un * nz"),
        Line("let", "ut", "sqrt(tx * tx + ty * ty + tz * tz) + 1e-12"),
        Line("let", "us", "0.0"),
        Line("let", "om", "1.0 / (3.0 * nu + 0.5)"),
        Line("if", "", "wall_law > 0.0"),
        *wall_law(),
        Line("set", "om", "1.0 / (3.0 * (nu + 0.41 * us * (2.0 * max2(y, 0.5) + 1.0)) + 0.5)"),
        Line("end"),
        *relax(),
        *closure(),
        *transform_back(),
    ]


def wall_factors() -> list[Line]:
    """Factors of the equilibrium at the wall's velocity: ``ex`` + l, m, n for −1, 0, +1 on x."""
    out = []
    for a in "xyz":
        out += [
            Line("let", f"e{a}l", f"SIXTH + 0.5 * b{a} * (b{a} - 1.0)"),
            Line("let", f"e{a}m", f"TWOTHIRD - b{a} * b{a}"),
            Line("let", f"e{a}n", f"SIXTH + 0.5 * b{a} * (b{a} + 1.0)"),
        ]
    return out


def _wall_kick(i: int) -> str:
    """Difference of the equilibria along a link and against it, at the wall's velocity."""
    one, two = (
        " * ".join(f"e{a}{_TAIL[int(c)]}" for a, c in zip("xyz", VELOCITY[n], strict=True))
        for n in (i, int(OPPOSITE[i]))
    )
    return f"rho * ({one} - {two})"


def slip() -> list[Line]:
    """How a wall with the law sends back: free slip, less the stress of the law.

    Sent back at the tangential velocity of the cell, the populations hand over the shear stress
    that the cell itself holds, which for small viscosity is of the wrong sign and large: a spring
    that pulls the cell to the speed of the next one, and undoes the law.
    So the spring is set to rest at the step of speed that the logarithmic layer has between the
    two cells; what is handed over then is the stress of the law.
    """
    out = [
        Line("let", "shear", "0.0"),
        *[Line("let", f"b{a}", f"v{a}") for a in "xyz"],
        Line("let", "pull", "0.0"),
        Line("let", "rest", "0.0"),
        Line("let", "late", "0.0"),
        # where the stream is prescribed, what came in from outside the box means nothing
        Line("if", "", "wall_law * (1.0 - sigma) > 0.0"),
        *[Line("set", f"b{a}", f"v{a} + t{a}") for a in "xyz"],
        Line("let", "area", "0.0"),
        Line("let", "grip", "0.0"),
        Line("let", "it", "1.0 / ut"),
    ]
    for i in range(1, N_VELOCITY):
        e, six = tuple(int(x) for x in VELOCITY[i]), f"{6 * WEIGHT[i]:.17g}"
        out += [
            Line("if", "", f"q{i} > 0.0"),
            Line("let", "et", f"{_along(e, 't')} * it"),
            Line("set", "area", f"area - {six} * {_along(e, 'n')}"),
            Line("set", "grip", f"grip + {six} * et * et"),
            Line("end"),
        ]
    return [
        *out,
        Line("set", "shear", "rho * us * us * max2(area, 0.0)"),
        # a cell with few links can hold little along the wall: it is let off
        Line("set", "pull", "shear * grip / (grip * grip + 1e-4) * it"),
        Line("let", "wide", "max2(y, 0.5)"),
        Line("let", "jump", "us * 2.4390243902439024 * log(1.0 + 1.0 / wide)"),
        Line("set", "rest", f"{REST_SHARE} * rho * jump * it * (1.0 - 1.0 / om)"),
        Line("set", "late", f"-{REST_SHARE} * rho * jump * it / om - rest"),
        Line("end"),
        *wall_factors(),
    ]


def _sent_back(i: int, name: str) -> list[Line]:
    """Send population ``i`` back by interpolation, less the wall's ``kick``.

    For q < ½ the population that will arrive next from behind is taken as the one that arrived
    last, which makes the rule local.
    """
    o = int(OPPOSITE[i])
    return [
        Line("let", "h", f"2.0 * q{i}"),
        Line("let", name, "0.0"),
        Line("if", "", "h < 1.0"),
        Line("set", name, f"h * g{i} + (1.0 - h) * f{i} - kick"),
        Line("else"),
        Line("set", name, f"(g{i} + (h - 1.0) * g{o} - kick) / h"),
        Line("end"),
    ]


def wall_law() -> list[Line]:
    """Friction velocity ``us`` from ``ut`` at ``y``: power-law start, Newton on [reichardt1951]."""
    out = [
        Line("let", "yn", "max2(y, 0.5) / nu"),
        Line("let", "rey", "max2(ut * yn, 1e-12)"),
        Line("let", "up", "sqrt(rey)"),
        Line("if", "", "rey > 139.5"),
        Line("set", "up", "6.372 * sqrt(sqrt(sqrt(rey)))"),
        Line("end"),
        Line("set", "us", "ut / up"),
        Line("let", "yp", "0.0"),
        Line("let", "e1", "0.0"),
        Line("let", "e2", "0.0"),
        Line("let", "law", "0.0"),
        Line("let", "slope", "0.0"),
    ]
    for _ in range(4):
        out += [
            Line("set", "yp", "yn * us"),
            Line("set", "e1", "exp(-yp * 0.09090909090909091)"),
            Line("set", "e2", "exp(-yp * 0.3333333333333333)"),
            Line(
                "set",
                "law",
                "log(1.0 + 0.41 * yp) * 2.4390243902439024"
                " + 7.8 * (1.0 - e1 - yp * 0.09090909090909091 * e2)",
            ),
            Line(
                "set",
                "slope",
                "1.0 / (1.0 + 0.41 * yp) + 7.8 * 0.09090909090909091"
                " * (e1 - e2 + yp * 0.3333333333333333 * e2)",
            ),
            Line("set", "us", "us + (ut / us - law) / (ut / (us * us) + slope * yn)"),
        ]
    return out


def link(i: int) -> list[Line]:
    """Send back the population ``r`` along a cut link ``i`` and add its momentum to the load."""
    e = tuple(int(x) for x in VELOCITY[i])
    six = f"{6 * WEIGHT[i]:.17g}"
    return [
        Line("let", "kick", _wall_kick(i)),
        Line("if", "", f"sid{i} != side"),
        # a surface that moves otherwise sends back at its own speed, without slip
        Line("let", "push", f"other({i})"),
        Line("let", "apart", f"push - {_along(e, 'v')}"),
        Line("if", "", "max2(apart, -apart) > 1e-6"),
        Line("set", "kick", f"{six} * rho * push"),
        Line("end"),
        Line("end"),
        *_sent_back(i, "r"),
        # before collision and after it in the shares that the interpolation takes
        Line("let", "held", f"rest + max2(0.0, 0.5 - q{i}) * late"),
        Line("let", "turn", f"{_along(e, 't')} * (pull - {_along(e, 'n')} * held)"),
        Line("set", "r", f"r + {six} * turn"),
        Line("if", "", f"sid{i} > 0"),
        *[
            Line("set", f"F{'xyz'[a]}w", f"F{'xyz'[a]}w {'+' if c > 0 else '-'} (g{i} + r)")
            for a, c in enumerate(e)
            if c
        ],
        Line("end"),
    ]


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
