"""Where a car's downforce and drag come from: parts alone, what they do to each other, the sum.

Parts act on each other in one direction (``part_models`` puts them in that order), so the loads of
the whole car need one pass. An interaction is the change of one part's load when one neighbour's
effect is added to those already there; parts and interactions therefore add up to the total
exactly, draw by draw.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuftwork.aeromap.attitude import attitude_load, require_known
from tuftwork.aeromap.car_load import CarLoad, car_loads
from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part import draws_of
from tuftwork.aeromap.part.neighbour import Neighbour
from tuftwork.car import Measured
from tuftwork.quantity import (
    Draws,
    Ensemble,
    Influence,
    Quantity,
    Summary,
    influences,
    summarise,
    values_at,
)

__all__ = ["SMALL_SHARE", "Budget", "BudgetRow", "CarLoad", "RowKind", "budget", "car_loads"]

RowKind = Literal["part", "interaction", "total", "measured", "difference"]
SMALL_SHARE = 0.01
"""What a small interaction stays under, of the whole car's larger force [-]: one point in a
hundred is below what a track day can tell apart."""
_SEED = 41
"""Of the draws of measured numbers, which are no inputs of the ensemble."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """One line of the budget.

    Attributes
    ----------
    name, kind
        What it is about; for an interaction ``"rear wing → floor"``.
    front, rear, drag : (n_draw,)
        CzSf, CzSr, CxS. [m²]
    dominates
        Inputs behind the range of the row's downforce, largest share first.
    note
        Channel of an interaction, evidence of a measurement, notices of a part.
    """

    name: str
    kind: RowKind
    front: Draws
    rear: Draws
    drag: Draws
    dominates: tuple[Influence, ...] = ()
    note: str = ""

    @property
    def total(self) -> Draws:
        """CzS. [m²]"""
        return np.asarray(self.front + self.rear)

    @property
    def summaries(self) -> dict[str, Summary]:
        """Best value and ranges of ``front``, ``rear``, ``total`` and ``drag``. [m²]"""
        return {
            "front": summarise(self.front),
            "rear": summarise(self.rear),
            "total": summarise(self.total),
            "drag": summarise(self.drag),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The table: parts, interactions, total; measured and difference where there is one."""

    rows: tuple[BudgetRow, ...]
    platform: PlatformState
    notices: tuple[str, ...]

    @property
    def total(self) -> BudgetRow:
        """The row of the whole car."""
        return next(row for row in self.rows if row.kind == "total")

    @property
    def isolated(self) -> BudgetRow:
        """The sum of the parts as if each stood alone."""
        return self._summed("parts alone", self.of_kind("part"))

    @property
    def together(self) -> BudgetRow:
        """The sum of what parts do to each other."""
        return self._summed("between parts", self.of_kind("interaction"))

    @property
    def small_bound(self) -> float:
        """What every force of a small interaction stays under. [m²]"""
        whole = self.total.summaries
        return SMALL_SHARE * max(abs(whole[f].best) for f in ("total", "drag"))

    @property
    def small(self) -> tuple[BudgetRow, ...]:
        """Interactions too small to read one by one; none where fewer than two are.

        Of each the 80 % ranges of CzSf, CzSr, CzS and CxS lie within :attr:`small_bound`.
        """
        bound = self.small_bound
        found = tuple(
            row
            for row in self.of_kind("interaction")
            if all(max(abs(s.low), abs(s.high)) < bound for s in row.summaries.values())
        )
        return found if len(found) > 1 else ()

    @property
    def others(self) -> BudgetRow | None:
        """The sum of the small interactions, draw by draw; None where there are none."""
        rows = self.small
        if not rows:
            return None
        return self._summed(f"other interactions ({len(rows)})", rows, kind="interaction")

    @property
    def gathered(self) -> tuple[BudgetRow, ...]:
        """The rows with the small interactions as one, which stands last among interactions."""
        others, small = self.others, {row.name for row in self.small}
        if others is None:
            return self.rows
        kept = [r for r in self.rows if r.kind != "interaction" or r.name not in small]
        at = next(i for i, r in enumerate(kept) if r.kind not in ("part", "interaction"))
        return (*kept[:at], others, *kept[at:])

    def _summed(self, name: str, rows: "Sequence[BudgetRow]", kind: RowKind = "total") -> BudgetRow:
        none = np.zeros_like(self.total.front)
        front, rear, drag = (
            np.asarray(sum((getattr(r, f) for r in rows), none)) for f in ("front", "rear", "drag")
        )
        return BudgetRow(name=name, kind=kind, front=front, rear=rear, drag=drag)

    def of_kind(self, kind: RowKind) -> tuple[BudgetRow, ...]:
        """Return the rows of one kind."""
        return tuple(row for row in self.rows if row.kind == kind)


def budget(
    models: Sequence[PartModel],
    platform: PlatformState,
    ensemble: Ensemble,
    *,
    measured: Measured | None = None,
) -> Budget:
    """Return the budget of a car at one speed and one pair of ride heights.

    Parameters
    ----------
    models
        As for :func:`car_loads`.
    platform
        One state; every field broadcasts to ``(n_draw,)``.
    ensemble
        The inputs' draws.
    measured
        What was measured in this state, if anything.

    Returns
    -------
    budget
        Rows in the order parts, interactions, total, measured, difference.
    """
    draws = draws_of(models, ensemble)
    require_known(platform, draws)
    size = ensemble.size
    parts, interactions, notices = _rows(models, platform, draws, ensemble)
    everything = [*parts, *interactions]
    total = _row(
        "whole car", "total", ensemble,
        sum((r.front for r in everything), np.zeros(size)),
        sum((r.rear for r in everything), np.zeros(size)),
        sum((r.drag for r in everything), np.zeros(size)),
    )  # fmt: skip
    rows = [*everything, total]
    if measured is not None:
        seen = _measured_row(measured, size)
        rows += [seen, _difference_row(seen, total, ensemble)]
    return Budget(rows=tuple(rows), platform=platform, notices=notices)


def _rows(
    models: Sequence[PartModel],
    platform: PlatformState,
    draws: Mapping[str, Field],
    ensemble: Ensemble,
) -> tuple[list[BudgetRow], list[BudgetRow], tuple[str, ...]]:
    """Return part rows, interaction rows and notices."""
    parts: list[BudgetRow] = []
    pairs: dict[str, _Pair] = {}
    notices: list[str] = []
    emitted: list[tuple[str, Mapping[str, Field]]] = []
    for model in models:
        if isinstance(model, Neighbour):
            placed = attitude_load(model, platform, draws, {})
            _add(pairs, model.name, _three(placed), model.about, ensemble.size)
            emitted.append((model.source, placed.effects))
            continue
        alone = attitude_load(model, platform, draws, {})
        before = alone
        around: dict[str, Field] = {}
        for source, effects in emitted:
            for channel, effect in effects.items():
                around[channel] = around[channel] + effect if channel in around else effect
            after = attitude_load(model, platform, draws, around)
            change = _change(before, after, ensemble.size)
            for name, share in _more_within(before, after, ensemble.size).items():
                _add(pairs, name, share, "", ensemble.size)
                change = tuple(c - s for c, s in zip(change, share, strict=True))
            before = after
            if max(float(np.max(np.abs(c))) for c in change) > 1e-12:
                hears = getattr(model, "hears", ())
                heard = [c for c in effects if not hears or c in hears] or list(effects)
                channels = ", ".join(c.replace("_", " ") for c in heard)
                _add(pairs, f"{source} → {model.name}", change, channels, ensemble.size)
        emitted.append((model.name, before.effects))
        notices += before.notices
        own = [_flat(f, ensemble.size) for f in _three(alone)]
        for name, fields in alone.within.items():
            _add(pairs, name, fields, "", ensemble.size)
            own = [o - _flat(f, ensemble.size) for o, f in zip(own, fields, strict=True)]
        note = " ".join(before.notices)
        parts.append(_row(model.name, "part", ensemble, own[0], own[1], own[2], note))
    interactions = [
        _row(name, "interaction", ensemble, *pair.fields, ", ".join(pair.notes))
        for name, pair in pairs.items()
    ]
    return parts, interactions, tuple(notices)


def _more_within(before: PartLoad, after: PartLoad, size: int) -> dict[str, tuple[Draws, ...]]:
    """Return by how much what neighbours have a part in has changed."""
    none = (np.zeros(1),) * 3
    return {
        name: tuple(
            _flat(a, size) - _flat(b, size)
            for a, b in zip(
                after.within.get(name, none), before.within.get(name, none), strict=True
            )
        )
        for name in {**before.within, **after.within}
    }


@dataclass(slots=True)
class _Pair:
    """What one part does to another, summed over the ways in which it does."""

    fields: tuple[Draws, Draws, Draws]
    notes: list[str]


def _add(pairs: dict[str, _Pair], name: str, change: Sequence[Field], note: str, size: int) -> None:
    """Add a change to its pair; one that is nothing anywhere makes no row."""
    flat = [_flat(field, size) for field in change]
    if name not in pairs:
        if max(float(np.max(np.abs(f))) for f in flat) <= 1e-12:
            return
        pairs[name] = _Pair(fields=(flat[0], flat[1], flat[2]), notes=[note] if note else [])
        return
    kept = pairs[name]
    kept.fields = (kept.fields[0] + flat[0], kept.fields[1] + flat[1], kept.fields[2] + flat[2])
    if note and note not in kept.notes:
        kept.notes.append(note)


def _row(
    name: str,
    kind: RowKind,
    ensemble: Ensemble,
    front: Draws,
    rear: Draws,
    drag: Draws,
    note: str = "",
) -> BudgetRow:
    return BudgetRow(
        name=name, kind=kind, front=front, rear=rear, drag=drag,
        dominates=influences(ensemble, front + rear), note=note,
    )  # fmt: skip


def _measured_row(measured: Measured, size: int) -> BudgetRow:
    """Return what was measured, with draws of its range that are no part of the ensemble."""
    from scipy.stats import norm

    rng = np.random.default_rng(_SEED)
    # deviates that fill their range evenly, in random order
    even = norm.ppf((np.arange(size) + 0.5) / size)

    def drawn(quantity: Quantity | None) -> Draws:
        if quantity is None:
            return np.zeros(size)
        return values_at(quantity, rng.permutation(even))

    where = f"{measured.id}" + (f", evidence {measured.evidence}" if measured.evidence else "")
    return BudgetRow(
        name="measured",
        kind="measured",
        front=drawn(measured.downforce_front),
        rear=drawn(measured.downforce_rear),
        drag=drawn(measured.drag),
        note=where if measured.drag is not None else f"{where}; no drag was measured",
    )


def _difference_row(seen: BudgetRow, total: BudgetRow, ensemble: Ensemble) -> BudgetRow:
    """Return measured minus total."""
    has_drag = float(np.max(np.abs(seen.drag))) > 0
    return BudgetRow(
        name="measured less total",
        kind="difference",
        front=seen.front - total.front,
        rear=seen.rear - total.rear,
        drag=seen.drag - total.drag if has_drag else np.zeros_like(seen.drag),
        dominates=influences(ensemble, seen.total - total.total),
        note="" if has_drag else "no drag was measured",
    )


def _change(before: PartLoad, after: PartLoad, size: int) -> tuple[Draws, Draws, Draws]:
    front, rear, drag = (
        _flat(b - a, size) for a, b in zip(_three(before), _three(after), strict=True)
    )
    return front, rear, drag


def _three(load: PartLoad) -> tuple[Field, Field, Field]:
    return load.downforce_front, load.downforce_rear, load.drag


def _flat(field: Field, size: int) -> Draws:
    return np.broadcast_to(field, (size,)).astype(float)
