"""What was measured narrows what is possible: draws are moved to where they agree with the rows.

Prior: the ensemble's deviates, standard normal. Likelihood: measured loads at measured ride
heights with their ranges, plus a structural discrepancy no engine of this kind is free of, part of
it common to all rows, so that many rows never make the answer surer than the engines deserve. The
posterior is sampled by tempered sequential Monte Carlo (``temper.py``): unlike a Gaussian update
it can move a cliff, and ranges keep their signs because only deviates move.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.sighting import KnownBefore, Problem, Sighting, sightings_of
from tuftwork.aeromap.temper import SOURCES as SAMPLER_SOURCES
from tuftwork.aeromap.temper import Matrix, Sampler, tempered
from tuftwork.errors import InputError
from tuftwork.quantity import Ensemble, Quantity, Source, Summary, summarise, values_at

__all__ = [
    "KnownBefore",
    "Sighting",
    "TieSettings",
    "Tied",
    "TiedInput",
    "TiedRow",
    "sightings_of",
    "tie",
]

SOURCES = (
    *SAMPLER_SOURCES,
    Source(key="kennedy2001", place="discrepancy of the model", status="memory"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TieSettings:
    """How hard rows pull, and how the sampler works.

    Attributes
    ----------
    discrepancy
        Standard deviation of what the engines cannot follow, over the rows' mean CzS (each axle's
        load) or CxS (drag). [-]
    common
        Share of its variance that all rows have in common. [-]
    pool
        Draws that work; the ensemble's own number is picked from them at the end.
    moves
        Pairs of Metropolis steps at each level; three times as many at the last.
    seed
        Of the sampler.
    """

    discrepancy: float = 0.02
    common: float = 0.5
    pool: int = 1024
    moves: int = 10
    seed: int = 20260


@dataclass(frozen=True, slots=True, kw_only=True)
class TiedInput:
    """An input before and after; ``narrowed`` is the posterior 80 % width over the prior's [-]."""

    name: str
    prior: Summary
    posterior: Summary
    narrowed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TiedRow:
    """A measured number, and what the car's models said before and after.

    ``miss`` is measured less posterior best, over the standard deviation of the row (measurement
    and discrepancy together). [-]
    """

    id: str
    quantity: str
    measured: Quantity
    prior: Summary
    posterior: Summary
    miss: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tied:
    """The ensemble after what was measured.

    Attributes
    ----------
    ensemble
        Same inputs, same columns; only inputs of the models moved.
    inputs
        Most narrowed first.
    rows
        In the order given: front, rear and, where measured, drag.
    levels
        Steps in which the likelihood was let in.
    notices
        Rows that the models cannot meet; inputs pushed far outside their stated range.
    """

    ensemble: Ensemble
    inputs: tuple[TiedInput, ...]
    rows: tuple[TiedRow, ...]
    levels: int
    notices: tuple[str, ...]


def tie(
    sightings: Sequence[Sighting], ensemble: Ensemble, settings: TieSettings | None = None,
    known: KnownBefore | None = None,
) -> Tied:  # fmt: skip
    """Return the ensemble narrowed by what was measured.

    Parameters
    ----------
    sightings
        Measured rows with the models of their states.
    ensemble
        Prior draws of every input (``project_inputs``).
    settings
        Discrepancy and sampler.
    known
        What another measurement has said of some inputs; ``ensemble`` holds it already.

    Returns
    -------
    tied
        Posterior ensemble, tables and notices.

    Raises
    ------
    InputError
        If there is no row, a row repeats an id, or the discrepancy is not above zero.
    NotConverged
        If the sampler's steps are refused throughout.

    Notes
    -----
    Ride heights are taken as uncertain too: their ranges enter as unknowns of their own. Not for
    rows that were not measured in the state they claim (those show as misses), nor for ensembles
    drawn with correlated inputs: the prior is taken as independent.

    References
    ----------
    [delmoral2006], [kennedy2001]
    """
    chosen = settings or TieSettings()
    if not sightings:
        raise InputError("measured rows", 0, "", "at least one is needed to tie the models")
    if not chosen.discrepancy > 0:
        raise InputError("discrepancy", chosen.discrepancy, "", "must be above 0")
    problem = replace(
        Problem.of(tuple(sightings), ensemble, chosen.discrepancy, chosen.common), known=known
    )
    prior = problem.start(max(chosen.pool, ensemble.size), chosen.seed)
    posterior, levels = tempered(
        Sampler(whitened=problem.whitened, moves=chosen.moves), prior, chosen.seed
    )
    pick = np.random.default_rng(chosen.seed + 1).permutation(posterior.shape[0])[: ensemble.size]
    deviates = ensemble.deviates.copy()
    deviates[:, problem.columns] = problem.placed(posterior[pick])
    tied = replace(ensemble, deviates=deviates)
    rows = _rows_table(problem, prior, posterior)
    inputs = _inputs_table(problem, ensemble, posterior)
    return Tied(
        ensemble=tied, inputs=inputs, rows=rows, levels=levels, notices=_notices(rows, inputs)
    )


def _rows_table(problem: Problem, prior: Matrix, posterior: Matrix) -> tuple[TiedRow, ...]:
    """Return measured, prior and posterior for every measured number."""
    before, after = problem.predict(prior), problem.predict(posterior)
    rows = []
    for i, (name, quantity, measured) in enumerate(problem.labels):
        now = summarise(after[i])
        rows.append(
            TiedRow(
                id=name,
                quantity=quantity,
                measured=measured,
                prior=summarise(before[i]),
                posterior=now,
                miss=float((measured.best - now.best) / problem.deviation[i]),
            )
        )
    return tuple(rows)


def _inputs_table(problem: Problem, ensemble: Ensemble, posterior: Matrix) -> tuple[TiedInput, ...]:
    """Return inputs before and after, the most narrowed first."""
    names = {column: name for name, column in ensemble.columns.items()}
    found = []
    placed = problem.placed(posterior)
    for place, column in enumerate(problem.columns):
        quantity = ensemble.quantities[names[column]]
        before = summarise(values_at(quantity, ensemble.deviates[:, column]))
        after = summarise(values_at(quantity, placed[:, place]))
        narrowed = (after.high - after.low) / (before.high - before.low)
        found.append(
            TiedInput(name=names[column], prior=before, posterior=after, narrowed=float(narrowed))
        )
    return tuple(sorted(found, key=lambda i: i.narrowed))


def _notices(rows: Sequence[TiedRow], inputs: Sequence[TiedInput]) -> tuple[str, ...]:
    """Return what a reader must know before trusting the tied ensemble."""
    notices = [
        f"{row.id}, {row.quantity}: the models miss what was measured by "
        f"{abs(row.miss):.1f} standard deviations."
        for row in rows
        if abs(row.miss) > 2
    ]
    for found in inputs:
        if not found.prior.low <= found.posterior.best <= found.prior.high:
            notices.append(f"{found.name}: was moved outside the range it was given.")
    return tuple(notices)
