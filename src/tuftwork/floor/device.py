"""Small devices under a floor: a lip that is put down, and where a millimetre or a newton pays.

Signs are near certain, sizes carry a range of half. Moves are answered by the engine itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor.line import FloorClosure, solve_line
from tuftwork.floor.plan import PlanResult, solve_plan
from tuftwork.floor.shape import Block, FloorShape, Stand, Strake
from tuftwork.quantity import Array

SPREAD = 0.5  # [-] half of the range of a device's effect
_TRIES, _STEP = 12, 0.08  # of the discharge a strake's layer is found with
_BUBBLE = 8.0  # [-] length of the separation behind a lip over its height; memory, middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Lip:
    """A lip put down from the floor across some width. [m]

    ``height`` hangs into the gap at ``station``, from ``inner`` to ``outer`` on both sides.
    """

    station: float
    height: float
    inner: float = 0.0
    outer: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LipEffect:
    """What a lip changes.

    Attributes
    ----------
    downforce, low, high
        Change of CzS with range. [m²]
    front, rear
        At the axles. [m²]
    drag
        Change of CxS: pressure on the lip and lost recovery. [m²]
    flow
        Change of the flow through the exit, over what it was. [-]
    force
        On the lip per dynamic pressure, rearward. [m²]
    """

    downforce: float
    low: float
    high: float
    front: float
    rear: float
    drag: float
    flow: float
    force: float


def lip_effect(
    lip: Lip, shape: FloorShape, stand: Stand, closure: FloorClosure, *,
    base: PlanResult | None = None, n_x: int = 40, n_y: int = 6,
) -> LipEffect:  # fmt: skip
    """Return what a deployed lip does: it closes part of the gap and leaves a separated wake.

    The wake's length is eight lip heights; the loss that of a sudden opening, (1/(1−s) − 1)², at
    the closed share s. The lip's drag is the drop of pressure over it on its area.

    Raises
    ------
    InputError
        If the lip lies outside the floor or reaches the road.
    """
    half = 0.5 * shape.width if lip.outer is None else lip.outer
    gap = float(stand.plane(np.array(lip.station), np.zeros(1))[0])
    if not (shape.front <= lip.station < shape.exit and 0 <= lip.inner < half):
        raise InputError("lip", lip.station, "m", "lies outside the floor")
    if not 0 < lip.height < 0.9 * gap:
        raise InputError("lip", lip.height, "m",
                         f"must lie between 0 and nine tenths of the gap, {gap:.3f} m")  # fmt: skip
    share = lip.height / gap
    before = base or solve_plan(shape, stand, closure, n_x=n_x, n_y=n_y)
    end = min(lip.station + max(_BUBBLE * lip.height, 2 * (shape.exit - shape.front) / n_x),
              shape.exit)  # fmt: skip
    block = Block(
        start=lip.station, end=end, inner=lip.inner, outer=half, share=0.0,
        loss=float((1 / (1 - share) - 1) ** 2),
    )  # fmt: skip
    after = solve_plan(
        replace(shape, blocks=(*shape.blocks, block)), stand, closure, n_x=n_x, n_y=n_y,
        near=before,
    )  # fmt: skip
    change = after.downforce - before.downforce
    rear = (after.moment - before.moment) / stand.wheelbase
    area = 2 * (half - lip.inner) * lip.height
    # the lip stands in the mean dynamic pressure of the channel there; a plate's drag is about 1.1
    speed = float(np.nanmean(after.speed[int(np.argmin(np.abs(after.x - lip.station)))]))
    force = 1.1 * area * speed**2
    low, high = sorted(((1 - SPREAD) * change, (1 + SPREAD) * change))
    return LipEffect(
        downforce=change, low=low, high=high, front=change - rear, rear=rear,
        drag=force + after.drag - before.drag, flow=after.exit_flow / before.exit_flow - 1,
        force=force,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class StrakeGain:
    """What a pair of strakes adds.

    Attributes
    ----------
    downforce, low, high
        Change of CzS with its range of two fifths. [m²]
    held
        The same with the layer of the bare floor: an upper bound. [m²]
    flow
        Through the strake towards the middle, over the road speed. [m²]
    shape_factor
        Greatest H of the layer once it answers to the stronger suction. [-]
    """

    downforce: float
    low: float
    high: float
    held: float
    flow: float
    shape_factor: float


def strake_gain(
    strake: Strake, shape: FloorShape, stand: Stand, closure: FloorClosure, *,
    n_x: int = 40, n_y: int = 6,
) -> StrakeGain:  # fmt: skip
    """Return what a pair of strakes adds, the ramp's layer answering to the stronger suction.

    The width-averaged channel knows no strakes: its discharge is lowered until its load has grown
    as the plan's has with the layer that then comes out; the first such share below 1 is taken.
    """
    # the same rows of cells with the fence open: only the barrier differs
    idle = replace(strake, start=strake.end - 1e-4)
    open_shape = replace(shape, strakes=(*shape.strakes, idle))
    fenced = replace(shape, strakes=(*shape.strakes, strake))
    without = solve_plan(open_shape, stand, closure, n_x=n_x, n_y=n_y)
    bare = without.line
    held = solve_plan(fenced, stand, closure, n_x=n_x, n_y=n_y, layer=bare)
    best = (abs(held.downforce / without.downforce - 1), held, bare)
    high, low, line, found = 1.0, 0.0, bare, held
    for _ in range(_TRIES):
        share = 0.5 * (low + high) if low else high - _STEP
        own = replace(closure, discharge=closure.discharge * share)
        try:
            line = solve_line(shape, stand, own, start=line)
            found = solve_plan(fenced, stand, closure, n_x=n_x, n_y=n_y, layer=line, near=found)
        except NotConverged:
            break
        short = found.downforce / without.downforce - line.downforce / bare.downforce
        if abs(short) < best[0]:
            best = (abs(short), found, line)
        low, high = (low, share) if short > 0 else (share, high)
        if high - _STEP < 0.2:
            break
    _, found, line = best
    gain = found.downforce - without.downforce
    low, high = sorted((0.6 * gain, 1.4 * gain))
    return StrakeGain(
        downforce=gain, low=low, high=high, held=held.downforce - without.downforce,
        flow=found.strake_flow[-1], shape_factor=float(line.shape_factor.max()),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Something that can be moved under a floor, and the floor once it has.

    Attributes
    ----------
    name
    step
        How far it is moved. [m]
    shape, stand
        Afterwards.
    area
        Of the surface that is moved, which its actuator holds against the pressure. [m²]
    station
        Where it is. [m]
    """

    name: str
    step: float
    shape: FloorShape
    stand: Stand
    area: float
    station: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Leverage:
    """What a move is worth: change of CzS per millimetre and per newton it takes. [m²]"""

    name: str
    per_mm: float
    per_newton: float
    force: float
    front_share: float


def leverage(
    moves: Sequence[Move], shape: FloorShape, stand: Stand, closure: FloorClosure, *,
    pressure: float, n_x: int = 40, n_y: int = 6, base: PlanResult | None = None,
) -> tuple[Leverage, ...]:  # fmt: skip
    """Return moves by what they are worth per millimetre, dearest first; unsolvable ones left out.

    Parameters
    ----------
    moves
        Candidates.
    shape, stand, closure
        The floor as it is.
    pressure
        Dynamic pressure of the road speed, for the force in newtons. [Pa]
    """
    before = base or solve_plan(shape, stand, closure, n_x=n_x, n_y=n_y)
    rows = []
    for move in moves:
        try:
            after = solve_plan(move.shape, move.stand, closure, n_x=n_x, n_y=n_y, near=before)
        except NotConverged:
            continue
        gain = after.downforce - before.downforce
        rear = (after.moment - before.moment) / stand.wheelbase
        near = before.pressure[int(np.argmin(np.abs(before.x - move.station)))]
        force = abs(float(np.nanmean(near))) * move.area * pressure
        rows.append(
            Leverage(
                name=move.name, per_mm=gain / (1e3 * move.step),
                per_newton=gain / max(force, 1e-6), force=force,
                front_share=1 - rear / gain if abs(gain) > 1e-9 else 0.5,
            )
        )  # fmt: skip
    return tuple(sorted(rows, key=lambda r: -abs(r.per_mm)))


def footprint(result: PlanResult) -> Array:
    """Return CzS per length of the floor along the car [m], ``(nx,)``."""
    wide = np.gradient(result.y)
    return np.asarray(-np.nansum(result.pressure * wide[None, :], axis=1))
