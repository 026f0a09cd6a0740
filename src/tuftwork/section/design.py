"""Design help: handles, scores, sweeps on all cores, tolerance tables."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from typing import Literal, get_args

import numpy as np

from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.section.condition import Condition
from tuftwork.section.increment import edge_layer, gurney
from tuftwork.section.point import SectionPoint, prepare, solve_point
from tuftwork.section.polar import analyse
from tuftwork.section.shape import Contour
from tuftwork.section.stack import Flap, Stack, assemble

Handle = Literal["incidence", "gap", "overlap", "deflection", "chord", "gurney"]

# Least slot that works, over the total chord; below it wake and layers merge and the flap loses
# its fresh start. Optimum gaps printed: 1.25 % [noyes1935], 1.27 % for the 30P30N rig.
LEAST_GAP = 0.008
# Widest slot that still feeds the flap; from there it works as a wing of its own (common practice).
MOST_GAP = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A section by its handles; flap values per flap, the gurney on the last element.

    ``incidence`` [rad], ``gurney`` [chord], ``height`` of the lowest point or None. [chord]
    """

    main: Contour
    flaps: tuple[Flap, ...] = ()
    incidence: float = 0.0
    gurney: float = 0.0
    height: float | None = None

    def stack(self) -> Stack:
        """Elements in place."""
        return assemble(self.main, self.flaps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A design at its condition; nan and a reason where it has no answer.

    ``value`` is lift minus ``price`` times drag; ``slot_margin`` the least of gap over layers.
    """

    design: Design
    lift: float
    drag: float
    moment: float
    value: float
    nose_suction: float
    slot_margin: float
    reason: str = ""


def slot_notices(design: Design) -> tuple[str, ...]:
    """Return what to say of gaps outside the published band."""
    found = []
    for k, flap in enumerate(design.flaps, 1):
        if flap.gap < LEAST_GAP:
            found.append(
                f"flap {k}: {_narrow(flap.gap)}: merging of wake and layer is not computed, the "
                "lift shown is too high"
            )
        elif flap.gap > MOST_GAP:
            found.append(
                f"flap {k}: gap {100 * flap.gap:.2f} % above the usual most of "
                f"{100 * MOST_GAP:.0f} %: the flap loses the jet of the slot"
            )
    return tuple(found)


def set_handle(design: Design, handle: Handle, value: float, *, flap: int = 0) -> Design:
    """Return the design with one handle moved. [rad] or [chord]"""
    if handle not in get_args(Handle):
        raise UnknownName("handle", handle, get_args(Handle))
    if handle in ("incidence", "gurney"):
        return replace(design, **{handle: value})  # type: ignore[arg-type]
    if not flap < len(design.flaps):
        raise InputError("flap", flap, "", f"the design has {len(design.flaps)} flaps")
    flaps = list(design.flaps)
    flaps[flap] = replace(flaps[flap], **{handle: value})  # type: ignore[arg-type]
    return replace(design, flaps=tuple(flaps))


def get_handle(design: Design, handle: Handle, *, flap: int = 0) -> float:
    """Return the present value of a handle. [rad] or [chord]"""
    if handle not in get_args(Handle):
        raise UnknownName("handle", handle, get_args(Handle))
    owner = design if handle in ("incidence", "gurney") else design.flaps[flap]
    return float(getattr(owner, handle))


def score(design: Design, condition: Condition, *, price: float = 0.0, n_panel: int = 90) -> Score:
    """Return one design's loads; what fails is a reason, not an exception.

    Parameters
    ----------
    design, condition
        Section and air.
    price
        Lift worth giving up per unit of drag. [-]
    n_panel
        Panels per element.
    """
    return scored(design, condition, price=price, n_panel=n_panel)[0]


def scored(
    design: Design,
    condition: Condition,
    *,
    price: float = 0.0,
    n_panel: int = 90,
    near: SectionPoint | None = None,
) -> tuple[Score, SectionPoint | None]:
    """Return a score with its point, sought from a neighbour's layers first where one is given."""
    try:
        p = _point(design, condition, n_panel, near)
    except (InputError, NotConverged) as why:
        nan = float("nan")
        least = min((f.gap for f in design.flaps), default=1.0)
        text = f"{_narrow(least)}; {why}" if least < LEAST_GAP else str(why)
        bad = Score(
            design=design, lift=nan, drag=nan, moment=nan, value=nan, nose_suction=nan,
            slot_margin=nan, reason=text,
        )  # fmt: skip
        return bad, None
    return _scored(design, p, price), p


def _point(
    design: Design, condition: Condition, n_panel: int, near: SectionPoint | None
) -> SectionPoint:
    stack = design.stack()
    if near is not None:
        try:
            ready = prepare(stack, condition, height=design.height, n_panel=n_panel)
            point = solve_point(ready, design.incidence, near.layers)
            if not point.is_settled:
                return point
        except (NotConverged, ValueError):
            pass
    return analyse(stack, condition, design.incidence, height=design.height, n_panel=n_panel)


def _narrow(gap: float) -> str:
    return f"gap {100 * gap:.2f} % below the published least of {100 * LEAST_GAP:.1f} %"


def _scored(design: Design, p: SectionPoint, price: float) -> Score:
    lift, drag, moment = p.lift, p.drag, p.moment
    if design.gurney > 0.0:
        inc = gurney(design.gurney, layer=edge_layer(p))
        lift, drag = lift + float(inc.lift), drag + float(inc.drag)
        moment += float(inc.moment)
    margin = min((s.gap / s.layers for s in p.slots), default=float("inf"))
    least = min((f.gap for f in design.flaps), default=1.0)
    reason = ""
    if least < LEAST_GAP:
        reason = _narrow(least)
    elif margin < 1.0:
        reason = "layers fill a slot"
    elif p.nose_suction > 1.0:
        reason = "nose suction beyond its limit"
    elif p.is_separated:
        reason = "separated: trend only"
    return Score(
        design=design,
        lift=lift,
        drag=drag,
        moment=moment,
        value=lift - price * drag,
        nose_suction=p.nose_suction,
        slot_margin=margin,
        reason=reason,
    )


@dataclass(frozen=True, slots=True)
class _Task:
    condition: Condition
    price: float
    n_panel: int

    def __call__(self, design: Design) -> Score:
        return score(design, self.condition, price=self.price, n_panel=self.n_panel)


def sweep(
    designs: Sequence[Design],
    condition: Condition,
    *,
    price: float = 0.0,
    n_panel: int = 90,
    n_worker: int | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> list[Score]:
    """Return scores of many designs, one process per core with one linear-algebra thread each."""
    task = _Task(condition, price, n_panel)
    count = n_worker or os.cpu_count() or 1
    total = len(designs)
    out: list[Score] = []
    if count == 1 or total < 4:
        for k, d in enumerate(designs):
            out.append(task(d))
            if on_progress:
                on_progress(k + 1, total)
        return out
    # threads of the linear algebra library inside workers would only get in each other's way
    kept = {k: os.environ.get(k) for k in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")}
    os.environ.update(dict.fromkeys(kept, "1"))
    try:
        with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
            for k, result in enumerate(pool.map(task, designs, chunksize=4)):
                out.append(result)
                if on_progress:
                    on_progress(k + 1, total)
    finally:
        for key, old in kept.items():
            if old is None:
                os.environ.pop(key, None)
            else:
                os.environ[key] = old
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What a build error costs: change of lift and drag for ``error`` either way.

    ``error`` is in the handle's unit [rad] or [chord]; ``lift_cost`` and ``drag_cost`` are the
    worse of the two directions, nan where a direction has no answer. [-]
    """

    handle: Handle
    flap: int
    error: float
    lift_cost: float
    drag_cost: float
    note: str


def tolerance_table(
    design: Design,
    condition: Condition,
    errors: Sequence[tuple[Handle, int, float]],
    *,
    n_panel: int = 110,
) -> list[Tolerance]:
    """Return what each build error costs, one row per (handle, flap, error).

    For example ``("gap", 0, 0.001)``: 0.3 mm of slot gap on a 300 mm chord.
    """
    ref = score(design, condition, n_panel=n_panel)
    if np.isnan(ref.lift):
        raise NotConverged(f"the design itself has no answer: {ref.reason}")
    out = []
    for handle, flap, error in errors:
        at = get_handle(design, handle, flap=flap)
        pair = [
            score(set_handle(design, handle, at + s * error, flap=flap), condition, n_panel=n_panel)
            for s in (-1.0, 1.0)
        ]
        lift = [p.lift - ref.lift for p in pair]
        drag = [p.drag - ref.drag for p in pair]
        failed = [p.reason for p in pair if np.isnan(p.lift)]
        out.append(
            Tolerance(
                handle=handle,
                flap=flap,
                error=error,
                lift_cost=float("nan") if failed else min(lift),
                drag_cost=float("nan") if failed else max(drag),
                note="; ".join(failed or sorted({p.reason for p in pair if p.reason})),
            )
        )
    return out
