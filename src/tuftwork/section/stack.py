"""Several elements as one section: gap, overlap and deflection as handles."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tuftwork.errors import InputError
from tuftwork.quantity import Array
from tuftwork.section.shape import Contour, check_contour, fit_spline, mirror, transform

_LEAST_GAP = 1e-3  # of the reference chord; nearer surfaces are outside what panels resolve


@dataclass(frozen=True, slots=True, kw_only=True)
class Flap:
    """One element behind another.

    Attributes
    ----------
    contour
        Section of the flap, any size.
    chord
        Chord of the flap over the chord of the main element. [-]
    deflection
        Angle to the main element's chord line, trailing edge away from the suction side. [rad]
    gap
        Shortest distance from the trailing edge in front to the flap, over the total chord. [-]
    overlap
        How far the flap's nose reaches ahead of that trailing edge, over the total chord. [-]
    """

    contour: Contour
    chord: float
    deflection: float
    gap: float = 0.015
    overlap: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Elements in place, suction side up, lengths over the total chord.

    The total chord runs from the first nose to the last trailing edge.
    Lift of a stack is positive towards its suction side: for a wing carried upside down over
    the road that is downforce.
    """

    elements: tuple[Contour, ...]
    name: str = "section"
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """What a slot measures, over the total chord: gap, overlap and where it is narrowest."""

    gap: float
    overlap: float
    place: tuple[float, float]


def single(contour: Contour) -> Stack:
    """Return a one-element stack of unit chord, nose at the origin, chord line level."""
    checked = check_contour(contour.x, contour.y, name=contour.name)
    unit = _unit(checked)
    return Stack(elements=(unit,), name=contour.name, notices=contour.notices + checked.notices)


def _unit(contour: Contour) -> Contour:
    """Nose at the origin, trailing edge at (1, 0).

    The nose is the drawn origin where the outline passes through it near its foremost point, so
    that incidence counts from the chord line the section was published with.
    """
    path = fit_spline(contour)
    px, py = path.at(np.array([path.nose]))
    nose = (float(px[0]), float(py[0]))
    tail = contour.trailing_edge
    size = float(np.hypot(tail[0] - nose[0], tail[1] - nose[1]))
    is_drawn = float(np.hypot(contour.x, contour.y).min()) < 2e-4 * size
    if is_drawn and float(np.hypot(nose[0], nose[1])) < 0.01 * size:
        nose = (0.0, 0.0)
    dx, dy = tail[0] - nose[0], tail[1] - nose[1]
    moved = transform(contour, shift=(-nose[0], -nose[1]))
    return transform(moved, scale=1.0 / float(np.hypot(dx, dy)), turn=-float(np.arctan2(dy, dx)))


def assemble(main: Contour, flaps: Sequence[Flap], *, name: str = "") -> Stack:
    """Return main element and flaps in place.

    Each flap is turned by its deflection, set to its overlap and then moved square to the main
    chord until its gap is met.

    Raises
    ------
    InputError
        If a gap is below 0.1 % of the chord, if elements touch, or a flap cannot be placed.
    """
    checked = check_contour(main.x, main.y, name=main.name)
    if not flaps:
        return single(checked)
    _check_flaps(flaps)
    first = _unit(checked)
    ready = [_ready(flap) for flap in flaps]
    total = 1.0
    placed: list[Contour] = []
    for _ in range(6):  # gap and overlap are shares of the total chord, which they change
        placed = [first]
        for flap, one in zip(flaps, ready, strict=True):
            placed.append(_place(placed[-1], flap, one, total))
        tail = placed[-1].trailing_edge
        new = float(np.hypot(*tail))
        if abs(new - total) < 1e-10:
            break
        total = new
    scaled = tuple(transform(c, scale=1.0 / total) for c in placed)
    stack = Stack(
        elements=scaled,
        name=name or " + ".join(c.name for c in scaled),
        notices=checked.notices,
    )
    check_stack(stack)
    return stack


def _check_flaps(flaps: Sequence[Flap]) -> None:
    for k, flap in enumerate(flaps, start=1):
        if not flap.gap >= _LEAST_GAP:
            raise InputError(
                f"flap {k} gap",
                100.0 * flap.gap,
                "% of the chord",
                f"must be at least {100 * _LEAST_GAP:g}",
                "A closed slot is one element.",
            )
        if not 0.02 <= flap.chord <= 2.0:
            raise InputError(f"flap {k} chord", flap.chord, "main chords", "must be 0.02 to 2")
        if not abs(flap.deflection) < np.deg2rad(80.0):
            raise InputError(
                f"flap {k} deflection", np.rad2deg(flap.deflection), "deg", "must be within 80"
            )
        if not abs(flap.overlap) < 0.5:
            raise InputError(f"flap {k} overlap", flap.overlap, "chord", "must be within 0.5")


@dataclass(frozen=True, slots=True)
class _Ready:
    """A flap at its size and deflection, nose anywhere; many points along its outline."""

    contour: Contour
    x: Array
    y: Array


def _ready(flap: Flap) -> _Ready:
    checked = check_contour(flap.contour.x, flap.contour.y, name=flap.contour.name)
    turned = transform(_unit(checked), scale=flap.chord, turn=-flap.deflection)
    return _Ready(turned, *_fine(turned))


def _place(front: Contour, flap: Flap, ready: _Ready, total: float) -> Contour:
    """Set the overlap, then come up from far below until the gap is met under the lip."""
    tail = front.trailing_edge
    dx = tail[0] - flap.overlap * total - float(ready.contour.x.min())
    want = flap.gap * total
    square = want**2 - (ready.x + dx - tail[0]) ** 2
    near = square >= 0.0
    # each point meets the gap at a drop of its own; coming from below, the largest is met first
    drop = float((ready.y[near] + np.sqrt(square[near])).max()) if near.any() else np.inf
    if not -0.5 * flap.chord <= drop < 1.2 * flap.chord + want:
        raise InputError(
            flap.contour.name,
            100.0 * flap.gap,
            "% gap",
            "cannot be met with this overlap",
            "Reduce the distance between trailing edge and flap nose.",
        )
    return transform(ready.contour, shift=(dx, tail[1] - drop))


def _fine(contour: Contour) -> tuple[Array, Array]:
    path = fit_spline(contour)
    total = float(np.hypot(np.diff(contour.x), np.diff(contour.y)).sum())
    return path.at(np.linspace(0.0, total, 1201))


def measure_slot(front: Contour, rear: Contour, *, chord: float = 1.0) -> Slot:
    """Return gap and overlap between two elements as they stand.

    The gap is the shortest distance from the front element's trailing edge (the nearer corner of
    a blunt one) to the rear element; the overlap runs along x.
    """
    x, y = _fine(rear)
    best = (np.inf, 0.0, 0.0)
    for i in (0, -1):
        d = np.hypot(x - front.x[i], y - front.y[i])
        k = int(np.argmin(d))
        if d[k] < best[0]:
            best = (float(d[k]), float(x[k]), float(y[k]))
    overlap = max(float(front.x[0]), float(front.x[-1])) - float(x.min())
    return Slot(gap=best[0] / chord, overlap=overlap / chord, place=(best[1], best[2]))


def check_stack(stack: Stack) -> None:
    """Refuse elements that touch or cross, with the place named."""
    for i, one in enumerate(stack.elements):
        for j in range(i + 1, len(stack.elements)):
            two = stack.elements[j]
            gap = np.hypot(one.x[:, None] - two.x[None, :], one.y[:, None] - two.y[None, :])
            k = int(np.argmin(gap))
            a, b = divmod(k, two.x.size)
            inside = _inside(one, two.x, two.y) | (
                np.zeros(two.x.size, bool) if gap.min() > 0 else True
            )
            within = _inside(two, one.x, one.y)
            if gap.min() < 0.25 * _LEAST_GAP or inside.any() or within.any():
                raise InputError(
                    stack.name,
                    f"elements {i + 1} and {j + 1} near ({one.x[a]:.4g}, {one.y[a]:.4g})",
                    "",
                    "touch or cross",
                    "Open the slot or change the overlap.",
                )
            del b


def _inside(contour: Contour, px: Array, py: Array) -> NDArray[np.bool_]:
    """Even-odd test of points in a closed outline."""
    x, y = contour.x, contour.y
    x2, y2 = np.roll(x, -1), np.roll(y, -1)
    straddles = (y[None, :] > py[:, None]) != (y2[None, :] > py[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (x2 - x)[None, :] * (py[:, None] - y[None, :]) / (y2 - y)[None, :] + x[None, :]
    return np.asarray((straddles & (px[:, None] < at)).sum(axis=1) % 2 == 1)


def over_ground(
    stack: Stack, alpha: float, height: float, *, is_inverted: bool = True
) -> tuple[Contour, ...]:
    """Return the elements at incidence above a ground at y = 0.

    Parameters
    ----------
    stack
        Elements, suction side up.
    alpha
        Incidence towards more lift of the stack. [rad]
    height
        Height of the lowest point over the total chord. [-]
    is_inverted
        True: suction side towards the road (a downforce wing).
    """
    if not height > 0.0:
        raise InputError(
            "height", height, "chord", "must be above 0", "Raise the section off the road."
        )
    turned = [transform(c, turn=-alpha) for c in stack.elements]
    if is_inverted:
        turned = [mirror(c) for c in turned]
    low = min(float(_fine(c)[1].min()) for c in turned)
    return tuple(transform(c, shift=(0.0, height - low)) for c in turned)
