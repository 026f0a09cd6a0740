"""Vortices from strakes and edges under a floor: strength, way, core, breakdown, suction.

Strength by the leading-edge-suction analogy on a slender fence, doubled by its image in the floor;
the way between floor and road by images; a core that grows with an eddy viscosity proportional to
the circulation. Honest to ±40 % in load, signs near certain.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

SPREAD = 0.4  # [-] half of the range of every load here
_BREAKDOWN = 0.6  # [-] Γ/(2π r_c u) at which a core breaks down; memory, low
_GROWTH = 2e-3  # [-] eddy viscosity of the core over its circulation; memory, low


def potential_constant(aspect: Numeric, *, n: tuple[int, int] = (16, 20)) -> Array:
    """Return Kp of a flat delta wing: slope of its attached lift, by a vortex lattice [-].

    Two lattices of ``n`` rows are extrapolated to none; slender deltas tend to πA/2.
    """
    values = np.atleast_1d(np.asarray(aspect, float))
    if not np.all(values > 0):
        raise InputError("aspect ratio", float(values.min()), "", "must be above 0")
    out = []
    for a in values:
        coarse, fine = (_delta_slope(float(a), m) for m in n)
        out.append(fine + (fine - coarse) * n[0] / (n[1] - n[0]))
    return np.asarray(out).reshape(np.shape(aspect))


def vortex_constant(potential: Numeric, aspect: Numeric) -> Array:
    """Return Kv = (Kp − Kp² Ki)/cos Λ of a flat delta, Ki = 1/(πA) [-].

    References
    ----------
    [polhamus1966]
    """
    kp, a = np.asarray(potential, float), np.asarray(aspect, float)
    cosine = 1 / np.sqrt(1 + np.square(4 / a))
    return np.asarray((kp - kp**2 / (np.pi * a)) / cosine)


def suction_lift(potential: Numeric, vortex: Numeric, angle: Numeric) -> Array:
    """Return CL = Kp sin α cos² α + Kv cos α sin² α of a sharp edge; valid to some 20° [-].

    References
    ----------
    [polhamus1966]
    """
    s, c = np.sin(angle), np.cos(angle)
    return np.asarray(np.asarray(potential) * s * c**2 + np.asarray(vortex) * c * s**2)


def slender_constants(aspect: Numeric) -> tuple[Array, Array]:
    """Return Kp and Kv of a slender delta: πA/2 and π sqrt(1 + A²/16) [-]."""
    a = np.asarray(aspect, float)
    return np.asarray(np.pi * a / 2), np.asarray(np.pi * np.sqrt(1 + a**2 / 16))


def _delta_slope(aspect: float, n: int) -> float:
    """Return dCL/dα of a flat delta by horseshoes, ``n`` along the half span, 1.2 n along it."""
    rows = max(6, int(0.75 * n))
    root, half = 2 / aspect, 0.5  # span 1
    edges = half * np.sin(np.linspace(0, np.pi / 2, n + 1))
    edges[-1] = half
    y0, y1 = edges[:-1], edges[1:]
    ym = 0.5 * (y0 + y1)

    def at(y: Array, share: Array) -> Array:
        nose = root * y / half
        return nose + share * (root - nose)

    k = np.arange(rows)[:, None]
    xa, xb = at(y0[None, :], (k + 0.25) / rows), at(y1[None, :], (k + 0.25) / rows)
    xc, yc = at(ym[None, :], (k + 0.75) / rows).ravel(), np.tile(ym, rows)
    a = np.stack([xa.ravel(), np.tile(y0, rows)], 1)
    b = np.stack([xb.ravel(), np.tile(y1, rows)], 1)
    w = _horseshoe(xc, yc, a, b) + _horseshoe(xc, yc, b * [1, -1], a * [1, -1])
    circulation = np.linalg.solve(w, -np.ones(xc.size))
    lift = 2 * np.sum(circulation * np.tile(y1 - y0, rows)) * 2
    return float(abs(lift) / (0.5 * root))


def _horseshoe(x: Array, y: Array, a: Array, b: Array) -> Array:
    """Return downwash of flat horseshoes per circulation, legs to the rear, (point, vortex)."""
    xa, ya = x[:, None] - a[None, :, 0], y[:, None] - a[None, :, 1]
    xb, yb = x[:, None] - b[None, :, 0], y[:, None] - b[None, :, 1]
    ra, rb = np.hypot(xa, ya), np.hypot(xb, yb)
    dx, dy = (b - a)[None, :, 0], (b - a)[None, :, 1]
    cross = xa * yb - xb * ya
    bound = np.divide(
        (dx * xa + dy * ya) / ra - (dx * xb + dy * yb) / rb, cross,
        out=np.zeros_like(cross), where=np.abs(cross) > 1e-12,
    )  # fmt: skip
    legs = -(1 + xa / ra) / ya + (1 + xb / rb) / yb
    return np.asarray((bound + legs) / (4 * np.pi))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fence:
    """A strake's free edge. [m], [rad]

    Attributes
    ----------
    height, length
        Of the fence.
    angle
        Between it and the flow that meets it; outboard at its front positive: it washes out.
    """

    height: float
    length: float
    angle: float


@dataclass(frozen=True, slots=True, kw_only=True)
class VortexTrail:
    """A strake's vortex along its way; arrays ``(n,)``.

    Attributes
    ----------
    x
        Behind the strake's end. [m]
    y
        To the side of where it was shed, outwards positive. [m]
    core
        Radius. [m]
    suction
        CzS per length on the floor over it. [m]
    strength
        Γ over the road speed. [m]
    breaks_at
        Where its core breaks down, None where it holds. [m]
    downforce, whole
        CzS of its footprint, the road's image included; the same if nothing broke down. [m²]
    low, high
        Range of that. [m²]
    washes
        ``"out"`` or ``"in"``.
    """

    x: Array
    y: Array
    core: Array
    suction: Array
    strength: float
    breaks_at: float | None
    downforce: float
    whole: float
    low: float
    high: float
    washes: str


def fence_strength(fence: Fence, *, speed: float = 1.0, gap: float | None = None) -> float:
    """Return Γ/U of the vortex a fence sheds [m].

    The fence and its image in the floor are a slender wing of span 2 h; its normal force of both
    kinds, N = q S (Kp sin cos + Kv sin²), sheds Γ = N/(ρ u b) over the vortices' span b = π h/2.
    Near the road the gap under it jets and the strength rises by (1 + (h/4 gap)²), less than half.
    """
    _check(fence)
    aspect = 2 * 2 * fence.height / fence.length
    kp, kv = slender_constants(aspect)
    s, c = np.sin(abs(fence.angle)), np.cos(fence.angle)
    normal = 0.5 * speed**2 * 2 * fence.height * fence.length / 2 * (kp * s * c + kv * s**2)
    gain = 1.0 if gap is None else 1 + 0.5 * np.tanh((fence.height / (4 * max(gap, 1e-6))) ** 2)
    return float(gain * normal / (speed * np.pi * fence.height / 2) * np.sign(fence.angle))


def breakdown_angle(height: Numeric, clearance: Numeric) -> Array:
    """Return the angle of a fence at which its vortex breaks down over it [rad].

    Falls as the road comes near: what the jet under the edge adds to the swirl takes from the
    angle. 25° in the free (memory, low); sign only.
    """
    ratio = np.asarray(height, float) / (4 * np.maximum(np.asarray(clearance, float), 1e-6))
    return np.asarray(np.radians(25.0) / (1 + 0.5 * np.tanh(ratio**2)))


def vortex_trail(
    fence: Fence,
    *,
    gap: float,
    depth: float,
    length: float,
    speed: Array | float = 1.0,
    n: int = 80,
    shed_over: float = 0.0,
) -> VortexTrail:
    """Return a strake's vortex under a floor.

    Parameters
    ----------
    fence
        Its free edge.
    gap
        Between its edge and the road. [m]
    depth
        Of the channel, floor to road. [m]
    length
        Of floor behind the strake. [m]
    speed
        Of the channel over the road speed, one or ``(n,)``. [-]
    shed_over
        Length over which it is shed, beside the strake, before it goes its way. [m]

    Raises
    ------
    InputError
        If a size is not above 0 or the fence does not fit into the channel.
    """
    _check(fence)
    if not (gap > 0 and depth > gap and length > 0):
        raise InputError("gap", gap, "m", f"must lie between 0 and the channel's {depth:g} m")
    u = np.broadcast_to(np.asarray(speed, float), (n,))
    x = np.linspace(0.0, length, n)
    strength = fence_strength(fence, speed=float(u[0]), gap=gap)
    grown = strength * (np.minimum(x / shed_over, 1.0) if shed_over > 0 else np.ones(n))
    size = np.abs(grown)
    # between two plates at heights 0 and D a vortex at z drifts by Γ/(4D) cot(πz/D)
    z = gap
    drift = strength / (4 * depth) / np.tan(np.pi * z / depth) * (x[1:] > shed_over)
    y = np.concatenate([[0.0], np.cumsum(np.diff(x) * drift / u[1:])])
    start = 0.15 * fence.height
    core = np.sqrt(start**2 + 4 * _GROWTH * size * x / u)
    swirl = size / (2 * np.pi * core * u)
    over = np.abs(fence.angle) > breakdown_angle(fence.height, gap)
    slowed = np.maximum(u[0] / u, 1.0)
    broken = np.flatnonzero(swirl * slowed > _BREAKDOWN)
    breaks = 0.0 if over else (float(x[broken[0]]) if broken.size else None)
    far = np.maximum(depth - z, core)
    # suction over a vortex at distance d below a wall: half of the square of its speed there,
    # integrated across, is Γ²/(4π d)
    suction = grown**2 / (2 * np.pi * far)
    whole = float(np.trapezoid(suction, x))
    if breaks is not None:
        suction = np.where(x >= breaks, 0.3 * suction, suction)
    total = float(np.trapezoid(suction, x))
    return VortexTrail(
        x=x, y=y, core=core, suction=suction, strength=float(strength), breaks_at=breaks,
        downforce=total, whole=whole, low=(1 - SPREAD) * total, high=(1 + SPREAD) * total,
        washes="out" if fence.angle > 0 else "in",
    )  # fmt: skip


def benefit_window(
    fence: Fence, depths: Array, *, length: float, speed: float = 1.0
) -> tuple[float, float]:
    """Return lowest and highest channel depth at which a fence gives half its best load [m].

    The fence hangs from the floor: the gap under it is depth less its height.
    """
    gains = np.array([
        vortex_trail(fence, gap=d - fence.height, depth=d, length=length, speed=speed).downforce
        if d > 1.05 * fence.height else 0.0
        for d in depths
    ])  # fmt: skip
    if not gains.max() > 0:
        raise InputError("depths", float(depths.max()), "m", "are all below the fence's height")
    good = depths[gains >= 0.5 * gains.max()]
    return float(good.min()), float(good.max())


def _check(fence: Fence) -> None:
    if not (fence.height > 0 and fence.length > 0):
        raise InputError("fence", fence.height, "m", "height and length must be above 0")
    if not abs(fence.angle) < np.radians(45.0):
        raise InputError("fence angle", np.degrees(fence.angle), "°", "must lie within ±45")
