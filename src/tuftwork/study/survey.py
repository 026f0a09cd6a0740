"""A large map of all states, with slices in roll and yaw: run in blocks that survive anything.

Every block of cells is one file, written whole or not at all; what is there is never run again, so
a survey that was stopped or killed goes on where it was. Where only a share of the cells is to be
run, rounds choose the cells at which a surrogate is least sure, most of them near the cliff, and
the surrogate answers between; its error is measured at runs it never saw.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

from tuftwork.aeromap.map import FIELDS
from tuftwork.aeromap.surrogate import NextRun, fit_surrogate, next_run, with_factor
from tuftwork.errors import Cancelled, NotCovered
from tuftwork.files import write_atomic
from tuftwork.study.answers import Answers
from tuftwork.study.executor import Cluster, Executor, Processes, executor_for
from tuftwork.study.store import Store, Tree, digest_of
from tuftwork.study.survey_error import Judged, coverage, errors_of, judged, outputs_of
from tuftwork.study.survey_plan import (
    BY_LOT,
    FEWEST,
    VERSION,
    Block,
    Cell,
    Job,
    Plan,
    Survey,
    run_block,
)

__all__ = ["Filled", "Plan", "Survey", "run_survey"]

_ROUNDS = 5  # an even net, and four that go where the surrogate is least sure
_SEED = 52
_LARGEST_BLOCK = 128  # [cells] lost at most per worker by a kill
Watch = Callable[[float, str, float | None], None]


@dataclass(kw_only=True)
class _Log:
    """What was run in this session, for progress and for the count."""

    watch: Watch
    is_cancelled: Callable[[], bool]
    total: int
    done: int
    far: Cluster | Processes | None = None
    ran: int = 0
    begun: float = 0.0

    def add(self, count: int, title: str) -> None:
        self.done += count
        self.ran += count
        spent = perf_counter() - self.begun
        left = spent * max(self.total - self.done, 0) / max(self.ran, 1)
        self.watch(min(1.0, self.done / max(self.total, 1)), title, left)
        if self.is_cancelled():
            raise Cancelled("The survey was stopped. What was run is kept; run it again to go on.")


def run_survey(
    bench: Any, survey: Survey, *, watch: Watch, scheduler: str | None = None,
    to: str | None = None, is_cancelled: Callable[[], bool] = lambda: False,
) -> dict[str, Any]:  # fmt: skip
    """Run a survey, or what is left of it, write its map file and say how good it is.

    Parameters
    ----------
    bench
        An open project.
    survey
        What is wanted.
    watch
        Told share done, what is being done, seconds left.
    scheduler
        Address of a Dask scheduler.
    to
        File; ``maps/survey-<digest>.nc`` of the project unless given.
    is_cancelled
        Asked after every block.

    Raises
    ------
    Cancelled
        When told to stop; finished blocks are kept.
    NotCovered
        If the project has no map, or a state cannot be run.
    """
    from tuftwork.study.survey_file import write_survey

    answers: Answers = bench.answers
    if not answers.has_platform:
        raise NotCovered("No map: it needs parts and both axles.")
    plan = Plan.of(answers, survey, bench.folder / "results" / "survey")
    begun = perf_counter()
    per = plan.runs_wanted
    log = _Log(
        watch=watch, is_cancelled=is_cancelled, total=per * len(plan.jobs),
        done=sum(len(plan.done(*job)) for job in plan.jobs), begun=begun,
        far=Cluster(scheduler) if scheduler else None,
    )  # fmt: skip
    was_done = log.done
    try:
        for job in plan.jobs:
            _run_job(plan, job, log)
    finally:
        if log.far is not None:
            log.far.close()
    found = judged(errors_of(plan))
    filled = {job: _between(plan, job, found.get(job)) for job in plan.jobs}
    path = Path(to) if to else bench.folder / "maps" / f"survey-{plan.digest[:8]}.nc"
    write_survey(path, answers, plan, filled)
    told = {
        "file": str(path), "digest": plan.digest, "cells": survey.nodes**2,
        "draws": plan.n_draw, "ran": log.ran, "kept": was_done, "took_s": perf_counter() - begun,
        "slices": [_line(plan, job, filled[job]) for job in plan.jobs],
        "text": _text(log, was_done, perf_counter() - begun), "held": held_text(found),
        "covered": coverage(found)[0] if found else None,
    }  # fmt: skip
    shown = told | {"file": path.name}
    write_atomic(plan.folder / "summary.json", json.dumps(shown, ensure_ascii=False).encode())
    return told


def held_text(found: Mapping[Job, Judged]) -> str:
    """Return in words how good reading between runs is."""
    share, count = coverage(found)
    if not count:
        return ""
    rms = np.sqrt(sum(j.held.rms**2 * j.held.count for j in found.values()) / count)
    return (
        f"Between runs CzS is off by {100 * rms:.2f} points (rms) at {count} cells drawn by lot; "
        f"the 80 % ranges of the reading hold {100 * share:.0f} % of the misses."
    )


def _text(log: _Log, kept: int, took: float) -> str:
    return f"{log.ran} cells run now, {kept} kept from before, {took:.1f} s."


def _run_job(plan: Plan, job: Job, log: _Log) -> None:
    """Run a state in a slice, round by round; those drawn by lot come last."""
    rounds = ["0"] if plan.survey.share >= 1 else [*map(str, range(_ROUNDS)), BY_LOT]
    for name in rounds:
        chosen = _chosen(plan, job, name)
        done = plan.done(*job)
        missing = [c for c in chosen if c not in done]
        _run_cells(plan, job, missing, log)


def _chosen(plan: Plan, job: Job, name: str) -> list[Cell]:
    """Return the cells of a round; what a round chose is written down before it is run."""
    path = plan.round_path(job, name)
    if path.is_file():
        return plan.round_cells(job, name)
    if name == BY_LOT:
        cells = _by_lot(plan, job)
    else:
        cells = _first(plan) if name == "0" else _next(plan, job, int(name))
    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(path, json.dumps(cells).encode())
    return cells


def _first(plan: Plan) -> list[Cell]:
    """Return everything, or an even net with the corners in it."""
    if plan.survey.share >= 1:
        return plan.every
    wanted = max(FEWEST, (plan.runs_wanted - plan.held_wanted) // 2)
    count = max(4, int(np.sqrt(wanted)))
    front, rear = (
        np.unique(np.round(np.linspace(0, axis.size - 1, count)).astype(int))
        for axis in (plan.front, plan.rear)
    )
    return [(int(i), int(j)) for i in front for j in rear]


def _by_lot(plan: Plan, job: Job) -> list[Cell]:
    """Return cells drawn by lot from all that were not run."""
    done = plan.done(*job)
    others = [c for c in plan.every if c not in done]
    made = np.random.default_rng([_SEED, plan.jobs.index(job)])
    count = min(plan.held_wanted, len(others))
    return [others[k] for k in sorted(made.choice(len(others), size=count, replace=False))]


def _next(plan: Plan, job: Job, number: int) -> list[Cell]:
    """Return the cells at which the surrogate is least sure, spread by repeated choice."""
    cells, fields, _ = plan.read(job)
    left = plan.runs_wanted - plan.held_wanted - len(cells)
    take = int(np.ceil(left / (_ROUNDS - number)))
    if take <= 0:
        return []
    made = fit_surrogate(plan.places(cells), outputs_of(fields))
    known = set(cells)
    others = [c for c in plan.every if c not in known]
    places = plan.places(others)
    doubt = made.deviation(places)
    step = 1.0 / max(plan.front.size, plan.rear.size)
    chosen: list[Cell] = []
    for _ in range(min(take, len(others))):
        best = int(np.argmax(doubt))
        chosen.append(others[best])
        far = np.sum((places - places[best]) ** 2, axis=1)
        # a run next door will have told most of it
        doubt = doubt * (1.0 - 0.8 * np.exp(-far / (2 * (1.5 * step) ** 2)))
        doubt[best] = -1.0
    return chosen


def _run_cells(plan: Plan, job: Job, cells: Sequence[Cell], log: _Log) -> None:
    """Run cells in blocks and keep every block as it comes."""
    if not cells:
        return
    size = int(np.clip(len(cells) // 8, 4, _LARGEST_BLOCK))
    case, at = plan.cases[job[0]], plan.survey.slices[job[1]]
    tasks = [
        Block(
            case=case, at=at, cells=tuple(some),
            heights=np.array([[plan.front[i], plan.rear[j]] for i, j in some]),
        )
        for some in (cells[k : k + size] for k in range(0, len(cells), size))
    ]  # fmt: skip
    title = f"{job[0]}, {at.name}"
    executor, first = _executor(plan, job, tasks, log, title)
    for index, tree in executor.each(run_block, tasks[first:], log.is_cancelled):
        _keep(plan, job, tree)
        log.add(len(tasks[index + first].cells), title)


def _executor(
    plan: Plan, job: Job, tasks: Sequence[Block], log: _Log, title: str
) -> tuple[Executor, int]:
    """Return where blocks are run, and how many were run here to learn how long they take."""
    if log.far is not None:
        return log.far, 0
    begun = perf_counter()
    _keep(plan, job, run_block(tasks[0]))
    log.add(len(tasks[0].cells), title)
    left = plan.runs_wanted * len(plan.jobs) - log.done
    seconds = (perf_counter() - begun) * left / len(tasks[0].cells)
    found = executor_for(None, seconds=seconds, tasks=len(tasks) - 1)
    if isinstance(found, Processes):  # they stay for the rounds and states to come
        log.far = Processes(found.workers, keeps=True)
        return log.far, 1
    return found, 1


def _keep(plan: Plan, job: Job, tree: Tree) -> None:
    if not all(np.all(np.isfinite(tree[n])) for n in FIELDS):
        bad = np.argwhere(~np.isfinite(tree["drag"]).all(axis=1))
        i, j = tree["cells"][int(bad[0, 0])] if bad.size else tree["cells"][0]
        raise NotCovered(
            f"State '{job[0]}', {plan.survey.slices[job[1]].name}: no numbers at front "
            f"{1e3 * plan.front[i]:.1f} mm, rear {1e3 * plan.rear[j]:.1f} mm."
        )
    Store(plan.place(job)).save(digest_of([VERSION, tree["cells"]]), tree)


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """A state in a slice on the whole grid.

    Attributes
    ----------
    fields
        Name → ``(n_front, n_rear, n_draw)``.
    was_run : (n_front, n_rear)
        Whether the cell was run; else it was read between runs.
    deviation : (n_front, n_rear)
        Standard deviation of CzS from reading between runs, 0 where it was run. [m²]
    judged
        How good reading between runs is, at runs drawn by lot; None where everything was run.
    next_run
        Where one run more would help most, its cell first [m²]; None where all were run.
    """

    fields: dict[str, np.ndarray]
    was_run: np.ndarray
    deviation: np.ndarray
    judged: Judged | None
    next_run: tuple[Cell, NextRun] | None
    notices: list[str]


def _between(plan: Plan, job: Job, found: Judged | None) -> Filled:
    """Return a state in a slice on the whole grid, read between runs where it was not run."""
    cells, fields, notices = plan.read(job)
    shape = (plan.front.size, plan.rear.size)
    was_run = np.zeros(shape, dtype=bool)
    rows, columns = np.array(cells).T
    was_run[rows, columns] = True
    full = {n: np.empty((*shape, plan.n_draw)) for n in fields}
    for name, values in fields.items():
        full[name][rows, columns] = values
    deviation, best = np.zeros(shape), None
    others = [c for c in plan.every if not was_run[c]]
    if others:
        made = fit_surrogate(plan.places(cells), outputs_of(fields))
        made = with_factor(made, 1.0 if found is None else found.factor)
        places = plan.places(others)
        mean = made.mean(places).reshape(len(others), -1, plan.n_draw)
        r, c = np.array(others).T
        for k, name in enumerate(fields):
            full[name][r, c] = mean[:, k]
        size = float(np.sqrt(np.mean(made.spread[-plan.n_draw :] ** 2)))
        deviation[r, c] = made.deviation(places) * size
        helps = next_run(made, places)
        scaled = replace(
            helps, there=helps.there * size, before=helps.before * size, after=helps.after * size
        )
        best = (others[helps.index], scaled)
    return Filled(
        fields=full, was_run=was_run, deviation=deviation, judged=found, next_run=best,
        notices=notices,
    )  # fmt: skip


def _line(plan: Plan, job: Job, filled: Filled) -> dict[str, Any]:
    told = filled.judged
    following, best = "all cells were run", filled.next_run
    if best is not None:
        (i, j), helps = best
        following = (
            f"hf {1e3 * plan.front[i]:.1f}, hr {1e3 * plan.rear[j]:.1f} mm: ± "
            f"{100 * helps.there:.2f} points there; over the map ± {100 * helps.before:.2f} to "
            f"{100 * helps.after:.2f}"
        )
    return {
        "state": job[0], "slice": plan.survey.slices[job[1]].name,
        "run": int(np.sum(filled.was_run)), "between": int(np.sum(~filled.was_run)),
        "held_out": 0 if told is None else told.held.count,
        "error_m2": None if told is None else told.held.rms,
        "error": "–" if told is None else f"{100 * told.held.rms:.2f} points",
        "largest_m2": None if told is None else told.held.largest,
        "covered": "–" if told is None else f"{100 * told.covered:.0f} %",
        "next": following,
        "next_mm": None if best is None else [
            round(1e3 * float(plan.front[best[0][0]]), 1),
            round(1e3 * float(plan.rear[best[0][1]]), 1),
        ],
    }  # fmt: skip
