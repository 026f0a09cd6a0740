"""The real shape of an under-floor, and the gap it leaves over the road in plan.

Stations run rearward from the front axle line; y to the right; heights of the underside are given
over the reference plane, whose height over the road the ride heights set.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array

_ROUNDING = 0.4  # [-] half length of a kink's rounding over the gap there
_STEEPEST = np.radians(80.0)  # [rad] beyond it a ramp is a step to the equations

Profile = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """A tunnel, tray, step or diffuser: a strip of the floor with its own underside. [m]

    Attributes
    ----------
    inner, outer
        Between which distances from the middle it lies; both sides of the car.
    profile
        Stations and heights of the underside over the reference plane, straight between them.
    has_walls
        Whether walls reach down to the reference plane at its sides.
    """

    inner: float
    outer: float
    profile: Profile
    has_walls: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Strake:
    """A fence from one station to another at one distance from the middle, both sides. [m]

    ``gap`` is what it leaves to the road at rest on the reference plane, over the ride height.
    """

    start: float
    end: float
    offset: float
    gap: float = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """What stands in the channel: a wheel, a suspension arm, both sides of the car. [m]

    ``share`` of the gap is closed; ``loss`` of dynamic pressure is lost in passing it [-].
    """

    start: float
    end: float
    inner: float
    outer: float
    share: float = 0.0
    loss: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorShape:
    """An under-floor. [m]

    Attributes
    ----------
    width
        Between its side edges.
    front, exit
        Stations of its leading and trailing edge.
    profile
        Stations and heights of the underside over the reference plane, where no strip lies.
    strips, strakes, blocks
        What differs, what stands in it.
    edge_gap
        Gap under the side edges; None: the reference plane's height less ``skirt``.
    skirt
        What hangs below the reference plane along the side edges.
    tail
        Station behind which only the strip nearest the middle goes on, None: the full width does.
    """

    width: float
    front: float
    exit: float
    profile: Profile = ()
    strips: tuple[Strip, ...] = ()
    strakes: tuple[Strake, ...] = ()
    blocks: tuple[Block, ...] = ()
    edge_gap: float | None = None
    skirt: float = 0.0
    tail: float | None = None

    def edge(self, plane: Array) -> Array:
        """Return the gap under the side edges where the reference plane has a height [m]."""
        if self.edge_gap is not None:
            return np.full_like(plane, self.edge_gap)
        return np.maximum(plane - self.skirt, 0.0)

    @property
    def tail_half(self) -> float:
        """Half the width behind ``tail``. [m]"""
        inner = [s.outer for s in self.strips if s.inner <= 1e-9]
        return min(inner) if self.tail is not None and inner else 0.5 * self.width


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """How the floor stands over the road. ``roll`` lowers the right side. [m], [rad]"""

    front: float
    rear: float
    wheelbase: float
    roll: float = 0.0

    def plane(self, x: Array, y: Array) -> Array:
        """Return the reference plane's height over the road [m]."""
        slope = (self.rear - self.front) / self.wheelbase
        return np.asarray(self.front + slope * np.asarray(x) - np.tan(self.roll) * y)


def plane_diffuser(
    *,
    width: float,
    front: float,
    kick: float,
    exit: float,
    angle: float,
    diffuser_width: float | None = None,
    edge_gap: float | None = None,
) -> FloorShape:
    """Return a flat floor with one plane diffuser between side plates."""
    ramp = ((front, 0.0), (kick, 0.0), (exit, (exit - kick) * np.tan(angle)))
    if diffuser_width is None or diffuser_width >= width - 1e-6:
        return FloorShape(width=width, front=front, exit=exit, profile=ramp, edge_gap=edge_gap)
    strip = Strip(inner=0.0, outer=0.5 * diffuser_width, profile=ramp)
    return FloorShape(
        width=width, front=front, exit=exit, profile=((front, 0.0), (exit, 0.0)),
        strips=(strip,), edge_gap=edge_gap, tail=kick,
    )  # fmt: skip


def rise(profile: Profile, x: Array, rounding: float) -> Array:
    """Return an underside's height over the reference plane, its kinks rounded [m]."""
    if not profile:
        return np.zeros_like(x)
    xs, zs = np.array(profile, float).T
    if xs.size == 1:
        return np.full_like(x, zs[0])
    slopes = np.diff(zs) / np.diff(xs)
    out = zs[0] + slopes[0] * (x - xs[0])
    for station, change in zip(xs[1:-1], np.diff(slopes), strict=True):
        d = x - station
        s = max(rounding, 1e-9)
        arc = np.where(np.abs(d) < s, np.square(d + s) / (4 * s), np.maximum(d, 0.0))
        out = out + change * arc
    # ahead of its first point and behind its last an underside stays level
    return np.asarray(np.where(x < xs[0], zs[0], np.where(x > xs[-1], zs[-1], out)))


def gap_at(shape: FloorShape, stand: Stand, x: Array, y: Array) -> Array:
    """Return the gap between underside and road [m] at stations and distances from the middle."""
    xs, ys = np.asarray(x, float), np.asarray(y, float)
    try:
        kept = _gap_kept(shape, stand, xs.shape, ys.shape, xs.tobytes(), ys.tobytes())
    except TypeError:  # a shape put together from lists has no hash
        return _gap(shape, stand, xs, ys)
    return kept.copy()


@lru_cache(maxsize=512)
def _gap_kept(
    shape: FloorShape, stand: Stand, x_shape: tuple[int, ...], y_shape: tuple[int, ...],
    x: bytes, y: bytes,
) -> Array:  # fmt: skip
    """Return a gap once worked out: tables ask for the same one with every closure."""
    return _gap(shape, stand, np.frombuffer(x).reshape(x_shape), np.frombuffer(y).reshape(y_shape))


def _gap(shape: FloorShape, stand: Stand, x: Array, y: Array) -> Array:
    x, y = np.broadcast_arrays(x, y)
    plane = stand.plane(x, y)
    rounding = _ROUNDING * float(np.min(plane))
    out = plane + rise(shape.profile, x, rounding)
    for strip in shape.strips:
        inside = (np.abs(y) >= strip.inner) & (np.abs(y) <= strip.outer)
        out = np.where(inside, plane + rise(strip.profile, x, rounding), out)
    return np.asarray(out)


def kinks(shape: FloorShape) -> tuple[float, ...]:
    """Return the stations of all kinks behind the leading edge, in order [m]."""
    found: set[float] = set()
    for profile in (shape.profile, *(s.profile for s in shape.strips)):
        found |= {x for x, _ in profile[1:-1]}
    return tuple(sorted(x for x in found if shape.front < x < shape.exit))


def check_shape(shape: FloorShape, stand: Stand, *, n_x: int = 60, n_y: int = 10) -> None:
    """Refuse a floor the equations cannot stand on, naming the place.

    Raises
    ------
    InputError
        If it touches the road, a ramp is past vertical, a strake lies outside, stations are
        crossed, or the grid is too coarse for the gap.
    """
    if not shape.exit > shape.front:
        raise InputError("exit", shape.exit, "m", "lies ahead of the floor's leading edge",
                         "Stations run rearward.")  # fmt: skip
    if not shape.width > 0:
        raise InputError("width", shape.width, "m", "must be above 0")
    for profile in (shape.profile, *(s.profile for s in shape.strips)):
        _check_profile(profile)
    for k, strake in enumerate(shape.strakes, 1):
        inside = shape.front <= strake.start < strake.end <= shape.exit
        if not (inside and 0.0 <= strake.offset < 0.5 * shape.width):
            raise InputError(
                f"strake {k}", f"{strake.start:g} to {strake.end:g} at {strake.offset:g}", "m",
                "lies outside the floor", f"The floor reaches from {shape.front:g} to "
                f"{shape.exit:g} and {0.5 * shape.width:g} m to each side.",
            )  # fmt: skip
        if not 0.0 <= strake.gap <= 1.0:
            raise InputError(f"strake {k} gap", strake.gap, "", "must lie between 0 and 1")
    x = np.linspace(shape.front, shape.exit, 161)[:, None]
    y = _walls(shape)[None, :]
    gap = gap_at(shape, stand, x, y)
    i, j = np.unravel_index(int(np.argmin(gap)), gap.shape)
    least = float(gap[i, j])
    place = f"at station {x[i, 0]:.2f} m, {y[0, j]:.2f} m from the middle"
    if not least > 0:
        raise InputError("gap under the floor", least, "m", f"touches the road {place}",
                         "Raise the car or shorten what hangs down.")  # fmt: skip
    step = (shape.exit - shape.front) / n_x
    if not least > 0.02 * step:
        raise InputError("gap under the floor", least, "m",
                         f"the grid's step of {step:.3f} m is too coarse for it {place}",
                         "Take more cells along the floor.")  # fmt: skip
    if n_y < 1:
        raise InputError("n_y", n_y, "cells", "must be 1 or more")


def _walls(shape: FloorShape) -> Array:
    """Return offsets at both sides of every wall, and of the edges: straight between them [m]."""
    half, aside = 0.5 * shape.width, 1e-6
    sides = [w for strip in shape.strips for w in (strip.inner, strip.outer)]
    found = {0.0, half, *(w + d for w in sides for d in (-aside, aside) if 0 <= w + d <= half)}
    right = np.array(sorted(found))
    return np.concatenate([-right[:0:-1], right])


def _check_profile(profile: Profile) -> None:
    for (x0, z0), (x1, z1) in pairwise(profile):
        if not x1 > x0:
            raise InputError("ramp", f"from station {x0:g} m to {x1:g} m", "",
                             "is vertical or past it", "Stations run rearward.")  # fmt: skip
        if abs(np.arctan2(z1 - z0, x1 - x0)) > _STEEPEST:
            raise InputError(
                "ramp", np.degrees(np.arctan2(z1 - z0, x1 - x0)), "°",
                f"too steep at station {x0:g} m", "Enter a step as two strips.",
            )  # fmt: skip
