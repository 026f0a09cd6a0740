"""The physics of a cell beside a wall, as statements in the manner of ``recipe``.

References
----------
[bouzidi2001] interpolated bounce-back; [kadanoff1989] momentum that turns round from step to step.
"""

from collections.abc import Sequence

from tuftwork.flow.lattice import N_VELOCITY, OPPOSITE, VELOCITY, WEIGHT
from tuftwork.flow.law_recipe import law_here, wall_law
from tuftwork.flow.recipe import (
    TAIL,
    Line,
    along,
    closure,
    moments,
    relax,
    transform_back,
)
from tuftwork.flow.setup import SHEAR_ONLY

REST_SHARE = 0.28
"""Share of the logarithmic step of speed at which the spring of the wall cell rests, set on a
column of air between two walls so that it loses the momentum that the law says. [-]"""
LAYER_SHARE = 0.45
"""The same share where a layer with the wall's mixing length lies on the wall cells, set on
such a column. [-]"""
RENEW = 0.2
"""Share of what is known of air that gathers along the wall that a pair of steps renews. [-]"""
MADE = 4.0 / 9.0
"""Air that a cell makes where air gathers along its wall, per 6 w min(½, q) of a cut link. What a
link meets lies along the wall from the cell, where the air's speed differs: sent back at the speed
of the cell, 6 w min(½, q) e·S e is missing, a sixth of the rate at which air gathers at a flat
wall, whose links sum to half: ⅓. Air is made alike in all directions, so the stress by which the
rate is known lacks up to a third: with ⅓, 4/9 and ⅔ a drum of 28 cells radius has its air 3.6, 3.2
and 2.5 % fast, about 2 % of which are the box's, and a cylinder of 30 cells −0.004, −0.012 and
−0.027 of drag at half speed. 4/9 is a choice between. [-]"""
GROUND = (
    "bendxx", "bendyy", "bendzz", "bendxy", "bendxz", "bendyz", "smooth",
    "facex", "facey", "facez", "faced",
)  # fmt: skip
"""What a wall cell knows of its wall beside normal and distance: how it bends and whether it is
smooth, the piece of surface that the cell stands for, and whether its load is pressure on that."""
RECORDED = (
    "Fxw + faced * (Fxp - Fxw)", "Fyw + faced * (Fyp - Fyw)", "Fzw + faced * (Fzp - Fzw)", "dwall",
    *(f"shear * t{a} / ut" for a in "xyz"), "Rx", "Ry", "Rz", "Fxw", "Fyw", "Fzw", "gather",
)  # fmt: skip
"""The wall rows: load, density at the wall, friction, force on a core, momentum exchanged, and how
air gathers along the wall; one more holds what is known of the last, slowly renewed."""
KEPT = len(RECORDED)
"""Number of the row that holds it; three more hold the swing of momentum beside an opening."""
STILL = 0.1
"""Share that a step takes back of the swing of momentum beside an opening. With 0.025 and 0.1 the
air before an inlet came to the same to the third digit. [-]"""
SLACK = 2.0
"""A cell of the layer mixes by no more than this times what its own shear calls for: in a layer on
the law that is 1, and a bound of 1 would lose in eddies that come and go. With 1, 2 and no bound on
the amount, only on the sign, a section in a slice lifted the same to 0.1 %. [-]"""


def wall_collision() -> list[Line]:
    """Collide a cell beside a wall: the law gives its friction velocity and eddy viscosity.

    Between the wall and the next cell momentum travels by turbulence that the cells do not hold:
    the viscosity κ u_τ (2y + 1), so that its mean with the next cell's is that of the logarithmic
    layer half way between the two.
    Where only the shear is mixed it is the one whose harmonic mean with the next cell's gives the
    first step of the law, and cells of the layer hold all stresses but the shear along the wall
    with the air's own viscosity; that they mix by no more than their own shear calls for.
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
        Line("let", "less", "0.0"),
        Line("if", "", "wall_law > 0.0"),
        *wall_law(),
        Line("if", "", "wall_law < 0.75"),
        Line("set", "us", "0.0"),
        Line("end"),
        Line("let", "mixing", "2.0 * max2(y, 0.5) + 1.0"),
        # cells of the layer: the mixing length of the wall, damped at it, fading outwards
        Line("if", "", "y < 0.0"),
        Line("let", "damp", "1.0 - exp(-0.03846153846153846 * yn * us)"),
        Line("set", "mixing", "far * damp * damp"),
        Line("if", "", f"wall_law > {SHEAR_ONLY}"),
        Line("set", "mixing", "nu * (1.0 / slope - 1.0) / (0.41 * us)"),
        Line("end"),
        Line("set", "mixing", "mixing * min2(1.0, max2(0.0, (deep - far) / (deep - 1.0)))"),
        Line("else"),
        *_first_step(),
        Line("end"),
        Line("let", "air", "om"),
        Line("let", "eddy", "0.41 * us * mixing"),
        *_held_down(),
        Line("set", "om", "1.0 / (3.0 * (nu + eddy) + 0.5)"),
        # eddies that are held by the cells must live: only the shear along the wall is mixed
        Line("if", "", f"wall_law > {SHEAR_ONLY}"),
        Line("if", "", "y < 0.0"),
        Line("set", "less", "air - om"),
        Line("set", "om", "air"),
        Line("end"),
        Line("end"),
        Line("end"),
        # beside an opening the stress is let go: with the air's own viscosity it would ring
        Line("if", "", "wall_law < 0.0"),
        Line("set", "om", "1.8"),
        Line("end"),
        *relax(),
        *_shear_mixed(),
        *closure(),
        *transform_back(),
    ]


def _held_down() -> list[Line]:
    """Hold the viscosity of a cell of the layer to ``SLACK`` times (κ y)² times its own shear.

    The shear is what its stress before collision says, with the viscosity that is to be found, so
    this solves a quadratic. Where the speed falls outwards, as that of any flow round a bulging
    wall does without friction, there is no layer and nothing is mixed.
    """
    root = "sqrt(own * own + 12.0 * reach * reach * shear_rate) - own"
    return [
        Line("if", "", f"wall_law > {SHEAR_ONLY}"),
        Line("if", "", "y < 0.0"),
        Line("let", "ax", "pxx * nx + pxy * ny + pxz * nz"),
        Line("let", "ay", "pxy * nx + pyy * ny + pyz * nz"),
        Line("let", "az", "pxz * nx + pyz * ny + pzz * nz"),
        Line("let", "shear_rate", "max2(0.0, -3.0 * ir * (ax * tx + ay * ty + az * tz) / ut)"),
        Line("let", "own", "3.0 * nu + 0.5"),
        Line("let", "reach", "0.41 * far"),
        Line("set", "eddy", f"min2(eddy, {SLACK / 6} * ({root}))"),
        Line("end"),
        Line("end"),
    ]


def _first_step() -> list[Line]:
    """Mixing of a wall cell with which the step of speed to the next cell is that of the law.

    In steady flow along a wall the step is half the stress times the sum of both cells' fluidities.
    """
    return [
        Line("if", "", f"wall_law > {SHEAR_ONLY}"),
        Line("set", "yp", "(max2(y, 0.5) + 1.0) * us / nu"),
        *law_here(),
        Line("let", "step", "law - ut / us"),
        Line("set", "mixing", "nu * (1.0 / (2.0 * step * nu / us - slope) - 1.0) / (0.41 * us)"),
        Line("end"),
    ]


def _shear_mixed() -> list[Line]:
    """Relax the shear across the normal by ``less`` less than the other stresses."""
    out = [
        Line("let", "pnx", "pxx * nx + pxy * ny + pxz * nz"),
        Line("let", "pny", "pxy * nx + pyy * ny + pyz * nz"),
        Line("let", "pnz", "pxz * nx + pyz * ny + pzz * nz"),
        Line("let", "pnn", "pnx * nx + pny * ny + pnz * nz"),
    ]
    out += [Line("let", f"m{a}", f"less * (pn{a} - pnn * n{a})") for a in "xyz"]
    for a, b in ("xx", "yy", "zz", "xy", "xz", "yz"):
        out.append(Line("set", f"q{a}{b}", f"q{a}{b} + m{a} * n{b} + m{b} * n{a}"))
    return out


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
        " * ".join(f"e{a}{TAIL[int(c)]}" for a, c in zip("xyz", VELOCITY[n], strict=True))
        for n in (i, int(OPPOSITE[i]))
    )
    return f"rho * ({one} - {two})"


def _bent(axis: str, vector: Sequence[str] = ("tx", "ty", "tz")) -> str:
    """Take the bend of the wall along a vector, the tangential velocity unless told."""
    names = [f"bend{''.join(sorted(axis + b))}" for b in "xyz"]
    return " + ".join(f"{name} * {v}" for name, v in zip(names, vector, strict=True))


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
        Line("let", "stay", "0.0"),
        Line("let", "gather", "0.0"),
        Line("let", "known", "0.0"),
        Line("let", "made", "0.0"),
        *[Line("let", f"str{a}", "0.0") for a in "xyz"],
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
            Line("let", "et", f"{along(e, 't')} * it"),
            Line("set", "area", f"area - {six} * {along(e, 'n')}"),
            Line("set", "grip", f"grip + {six} * et * et"),
            Line("end"),
        ]
    return [
        *out,
        Line("set", "shear", "rho * us * us * max2(area, 0.0)"),
        # a cell with few links can hold little along the wall: it is let off
        Line("set", "pull", "shear * grip / (grip * grip + 1e-4) * it"),
        Line("let", "wide", "max2(y, 0.5)"),
        Line("let", "share", f"{REST_SHARE}"),
        Line("if", "", "wall_law > 1.5"),
        Line("set", "share", f"{LAYER_SHARE}"),
        Line("end"),
        Line("let", "jump", "us * 2.4390243902439024 * log(1.0 + 1.0 / wide)"),
        # at rest at the strain that carries the law's stress
        Line("if", "", f"wall_law > {SHEAR_ONLY}"),
        Line("set", "share", "1.0"),
        Line("set", "jump", "3.0 * us * us / (1.0 / om - 0.5)"),
        Line("end"),
        Line("set", "jump", "share * rho * jump * it"),
        # air that turns along a bent wall without friction is strained by -2 K u
        *[Line("set", f"str{a}", f"jump * t{a} - 2.0 * rho * ({_bent(a)})") for a in "xyz"],
        Line("set", "stay", "1.0 - 1.0 / om"),
        # less the divergence along the wall, by the stress before collision, times the density
        Line("set", "gather", "1.5 * om * (tr - pnn) + kw * tr"),
        Line("set", "known", "kept + renew * (lately - kept)"),
        Line("set", "made", f"{MADE:.17g} * smooth * known"),
        Line("end"),
        *_still(),
        *wall_factors(),
    ]


def _still() -> list[Line]:
    """Take back the momentum that turns round from step to step beside an opening.

    What goes one cell a step and turns round each step is kept by every collision and by every
    link that sends back (the staggered invariants of [kadanoff1989]); a stream into an opening
    feeds it without end.
    So the second step of a pair lets through more by a share of what momentum has changed by since
    the first, and the next step as much less: what passes in both is what is told.
    """
    pairs = tuple(zip("xyz", "uvw", strict=True))
    return [
        *[Line("let", f"{name}{a}", "0.0") for name in ("swing", "pulse") for a in "xyz"],
        Line("let", "passed", "0.0"),
        Line("if", "", "wall_law < 0.0"),
        Line("if", "", "later > 0.5"),
        *[Line("set", f"swing{a}", f"{STILL} * (rho * {speed} - kept{a})") for a, speed in pairs],
        *[Line("set", f"pulse{a}", f"swing{a}") for a in "xyz"],
        Line("else"),
        *[Line("set", f"pulse{a}", f"0.0 - kept{a}") for a in "xyz"],
        *[Line("set", f"swing{a}", f"rho * {speed}") for a, speed in pairs],
        Line("end"),
        Line("end"),
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


def loads() -> list[Line]:
    """Find the pressure at the wall, and the load by it on the cell's piece of surface.

    From the cell to the wall the pressure falls by ρ u K u y, as it must for air that turns.
    At an opening it is the momentum handed over across the face less ρ times the speed squared,
    and what passes hands over its own momentum too: its mass times the speed it is told to have.
    """
    turning = " + ".join(
        f"{speed} * ({_bent(a, 'uvw')})" for a, speed in zip("xyz", "uvw", strict=True)
    )
    after = " + ".join(f"q{''.join(sorted(a + b))} * n{a} * n{b}" for a in "xyz" for b in "xyz")
    return [
        Line("let", "dwall", f"d - 3.0 * rho * max2(y, -y) * ({turning})"),
        # beside an opening the air is stiff, and presses by its stress too
        Line("if", "", "wall_law < 0.0"),
        Line("set", "dwall", f"d + 1.5 * (pnn + {after})"),
        Line("end"),
        *[Line("let", f"F{a}p", f"shear * t{a} / ut - THIRD * dwall * face{a}") for a in "xyz"],
        Line("if", "", "wall_law < 0.0"),
        *[Line("set", f"F{a}p", f"F{a}p + passed * v{a} / rho") for a in "xyz"],
        Line("end"),
    ]


def link(i: int) -> list[Line]:
    """Send back the population ``r`` along a cut link ``i`` and add its momentum to the load."""
    e = tuple(int(x) for x in VELOCITY[i])
    six = f"{6 * WEIGHT[i]:.17g}"
    return [
        Line("let", "kick", _wall_kick(i)),
        Line("if", "", f"sid{i} != side"),
        # a surface that moves otherwise sends back at its own speed, without slip
        Line("let", "push", f"other({i})"),
        Line("let", "apart", f"push - {along(e, 'v')}"),
        Line("if", "", "max2(apart, -apart) > 1e-6"),
        Line("set", "kick", f"{six} * rho * push"),
        Line("end"),
        Line("else"),
        # without slip: at the speed where the link meets the surface, not at the cell's foot
        Line("if", "", "turns > 0.0"),
        Line("set", "kick", f"kick + {six} * rho * (other({i}) - {along(e, 'v')})"),
        Line("end"),
        Line("end"),
        *_sent_back(i, "r"),
        # before collision and after it in the shares that the interpolation takes
        Line("let", "held", f"{along(e, 'str')} * (stay - max2(0.0, 0.5 - q{i}))"),
        Line("let", "turn", f"{along(e, 't')} * pull - {along(e, 'n')} * held"),
        # it comes at the speed of the air along the wall
        Line("set", "turn", f"turn + min2(0.5, q{i}) * made * (1.0 - 3.0 * ({along(e, 'b')}))"),
        Line("set", "r", f"r + {six} * turn"),
        # an opening lets through the momentum it is told to, so that what goes in comes out
        Line("if", "", f"kind({i}) < 0.0"),
        Line("let", "flux", f"other({i})"),
        Line("set", "r", f"g{i} - {six} * (flux + {along(e, 'pulse')})"),
        Line("set", "passed", f"passed + {six} * flux"),
        Line("end"),
        Line("if", "", f"sid{i} > 0"),
        *[
            Line("set", f"F{'xyz'[a]}w", f"F{'xyz'[a]}w {'+' if c > 0 else '-'} (g{i} + r)")
            for a, c in enumerate(e)
            if c
        ],
        Line("end"),
    ]
