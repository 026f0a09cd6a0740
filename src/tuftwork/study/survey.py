"""A large map of all states, with slices in roll and yaw: run in blocks that survive anything.

Every block of cells is one file, written whole or not at all; what is there is never run again, so
a survey that was stopped or killed goes on where it was. Where only a share of the cells is to be
run, rounds choose the cells at which a surrogate is least sure, most of them near the cliff, and
the surrogate answers between; its error is measured at runs it never saw.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

from tuftwork.aeromap.attitude import LARGEST_ROLL, LARGEST_YAW, attitude_draws
from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.grid import fitted_axis
from tuftwork.aeromap.interface import Field, PartModel, PlatformState
from tuftwork.aeromap.map import FIELDS, AirAt
from tuftwork.aeromap.part import draws_of, inputs_of
from tuftwork.aeromap.surrogate import HeldOut, fit_surrogate, held_out_error
from tuftwork.car import Project
from tuftwork.errors import Cancelled, InputError, NotCovered
from tuftwork.quantity import Ensemble, Quantity, parse_quantity
from tuftwork.study.answers import Answers
from tuftwork.study.executor import executor_for
from tuftwork.study.job import _plain, _tables, models_in
from tuftwork.study.store import Store, Tree, digest_of

VERSION = 1
_ROUNDS = 5
_HELD = 0.12  # [-] of the runs, held out to measure the surrogate
_SEED = 52
_LARGEST_BLOCK = 128  # [cells] lost at most per worker by a kill
_FEWEST, _MOST = 36, 10_000  # [cells]
Watch = Callable[[float, str, float | None], None]
Cell = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """An attitude of the car; both angles in [rad]."""

    roll: float = 0.0
    yaw: float = 0.0

    @property
    def name(self) -> str:
        """``straight``, ``roll 1.0°``, ``yaw 3.0°``."""
        said = [
            f"{word} {np.degrees(angle):.1f}°"
            for word, angle in (("roll", self.roll), ("yaw", self.yaw))
            if angle
        ]
        return ", ".join(said) or "straight"


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What is wanted.

    Attributes
    ----------
    nodes
        Ride heights per axis.
    share
        Of the cells that is run; the rest is read off a surrogate. [-]
    slices
        Straight first.
    """

    nodes: int
    share: float = 1.0
    slices: tuple[Slice, ...] = (Slice(),)

    @classmethod
    def of(cls, *, cells: int, share: float = 1.0, roll: str = "", yaw: str = "") -> "Survey":
        """Return the survey that a person asks for.

        Raises
        ------
        InputError
            If cells, share or an angle cannot be.
        """
        if not _FEWEST <= cells <= _MOST:
            raise InputError("cells", cells, "", f"must lie between {_FEWEST} and {_MOST}")
        if not 0.05 <= share <= 1:
            raise InputError("share", share, "", "must lie between 0.05 and 1")
        slices = [Slice()]
        slices += [Slice(roll=a) for a in _angles("roll", roll, LARGEST_ROLL)]
        slices += [Slice(yaw=a) for a in _angles("yaw", yaw, LARGEST_YAW)]
        return cls(nodes=int(np.ceil(np.sqrt(cells))), share=share, slices=tuple(slices))


def _angles(name: str, text: str, most: float) -> list[float]:
    found = []
    for word in filter(None, (w.strip() for w in text.split(","))):
        angle = parse_quantity(word, "angle").best
        if not 0 < abs(angle) <= most:
            limit = f"must lie within {np.degrees(most):.0f}, and not be 0"
            raise InputError(name, float(np.degrees(angle)), "°", limit)
        found.append(float(angle))
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Case:
    """One state, ready to be run at any ride heights; equal where its digest is."""

    digest: str
    project: Project
    state: str
    tables: dict[str, Tree]
    quantities: dict[str, Quantity]
    names: tuple[str, ...]
    deviates: np.ndarray
    air: AirAt

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Case) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """Cells of one state in one slice."""

    case: _Case
    at: Slice
    cells: tuple[Cell, ...]
    heights: np.ndarray


@lru_cache(maxsize=4)
def _models_of(case: _Case) -> tuple[tuple[PartModel, ...], Mapping[str, Field]]:
    """Return models and draws of a state; built once per process, nets and tables in them."""
    ensemble = Ensemble(
        quantities=case.quantities, deviates=case.deviates,
        columns={name: i for i, name in enumerate(case.names)},
    )  # fmt: skip
    models = models_in(case.project, case.state, case.tables)
    return models, {**draws_of(models, ensemble), **attitude_draws(ensemble.size)}


def run_block(task: Any) -> Tree:
    """Run one block; works wherever the executor puts it."""
    models, draws = _models_of(task.case)
    air = task.case.air
    one = np.ones((1, 1))
    platform = PlatformState(
        ride_height_front=task.heights[:, :1], ride_height_rear=task.heights[:, 1:],
        speed=air.speed * one, density=air.density * one, viscosity=air.viscosity * one,
        roll=task.at.roll * one, yaw=task.at.yaw * one,
    )  # fmt: skip
    found = car_loads(models, platform, draws)
    shape = (len(task.cells), task.case.deviates.shape[0])
    tree = {n: np.broadcast_to(getattr(found, n), shape).copy() for n in FIELDS}
    if found.side is not None and found.yaw_moment is not None:
        tree |= {
            "side": np.broadcast_to(found.side, shape).copy(),
            "yaw_moment": np.broadcast_to(found.yaw_moment, shape).copy(),
        }
    return tree | {"cells": np.array(task.cells), "notices": list(found.notices)}


@dataclass(kw_only=True)
class _Log:
    """What was run in this session, for progress and for the count."""

    watch: Watch
    is_cancelled: Callable[[], bool]
    total: int
    done: int
    ran: int = 0
    begun: float = 0.0

    def add(self, count: int, title: str) -> None:
        self.done += count
        self.ran += count
        spent = perf_counter() - self.begun
        left = spent * (self.total - self.done) / max(self.ran, 1)
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
    )  # fmt: skip
    was_done = log.done
    for job in plan.jobs:
        _run_job(plan, job, log, scheduler)
    answers_by_job = {job: _between(plan, job) for job in plan.jobs}
    path = Path(to) if to else bench.folder / "maps" / f"survey-{plan.digest[:8]}.nc"
    write_survey(path, answers, plan, answers_by_job)
    return {
        "file": str(path), "digest": plan.digest, "cells": survey.nodes**2,
        "draws": plan.n_draw, "ran": log.ran, "kept": was_done, "took_s": perf_counter() - begun,
        "slices": [_line(plan, job, answers_by_job[job]) for job in plan.jobs],
        "text": _text(log, was_done, perf_counter() - begun),
    }  # fmt: skip


def _text(log: _Log, kept: int, took: float) -> str:
    return f"{log.ran} cells run now, {kept} kept from before, {took:.1f} s."


Job = tuple[str, int]


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A survey laid out: axes, cases, folder; the folder's name is the digest of all it reads."""

    survey: Survey
    front: np.ndarray
    rear: np.ndarray
    cases: Mapping[str, _Case]
    folder: Path
    digest: str

    @classmethod
    def of(cls, answers: Answers, survey: Survey, folder: Path) -> "Plan":
        """Return the plan of a survey of a finished study."""
        coarse = answers.aero_map()
        axes = [fitted_axis(coarse, axle, survey.nodes) for axle in ("front", "rear")]
        job = answers.job
        air = coarse.air
        cases = {}
        for state in answers.states:
            own = state if job.project.states else ""
            read = [
                _plain(inputs_of(answers.models(state))), answers.ensemble.deviates,
                [air.speed, air.density, air.viscosity], VERSION,
            ]  # fmt: skip
            cases[state] = _Case(
                digest=digest_of(read), project=job.project, state=own,
                tables={k: answers.results[k] for k in _tables(job.project)},
                quantities=dict(job.quantities), names=tuple(answers.ensemble.columns),
                deviates=answers.ensemble.deviates, air=air,
            )  # fmt: skip
        slices = [[s.roll, s.yaw] for s in survey.slices]
        digest = digest_of(
            [*axes, slices, survey.share, {s: c.digest for s, c in cases.items()}]
        )
        return cls(
            survey=survey, front=axes[0], rear=axes[1], cases=cases, digest=digest,
            folder=folder / digest[:16],
        )  # fmt: skip

    @property
    def jobs(self) -> list[Job]:
        """Every state in every slice."""
        return [(s, k) for s in self.cases for k in range(len(self.survey.slices))]

    @property
    def n_draw(self) -> int:
        """Number of draws."""
        return int(next(iter(self.cases.values())).deviates.shape[0])

    @property
    def every(self) -> list[Cell]:
        """All cells, row by row."""
        return [(i, j) for i in range(self.front.size) for j in range(self.rear.size)]

    @property
    def runs_wanted(self) -> int:
        """Cells that are run per state and slice."""
        return int(np.ceil(self.survey.share * self.front.size * self.rear.size))

    def place(self, job: Job) -> Path:
        """Return the folder of a state in a slice."""
        return self.folder / f"{list(self.cases).index(job[0])}-{job[1]}"

    def done(self, state: str, at: int) -> dict[Cell, tuple[str, int]]:
        """Return cells that lie on disk → file and row."""
        store = Store(self.place((state, at)))
        found: dict[Cell, tuple[str, int]] = {}
        for path in sorted(store.folder.glob("*/*.npz")):
            tree = store.load(path.stem)  # a damaged block is dropped and run again
            for row, cell in enumerate(tree["cells"] if tree is not None else ()):
                found[int(cell[0]), int(cell[1])] = (path.stem, row)
        return found

    def read(self, job: Job) -> tuple[list[Cell], dict[str, np.ndarray], list[str]]:
        """Return every cell that was run, its fields ``(n_cell, n_draw)`` and notices."""
        store = Store(self.place(job))
        cells: list[Cell] = []
        parts: dict[str, list[np.ndarray]] = {}
        notices: dict[str, None] = {}
        for path in sorted(store.folder.glob("*/*.npz")):
            tree = store.load(path.stem)
            if tree is None:
                continue
            cells += [(int(c[0]), int(c[1])) for c in tree["cells"]]
            notices |= dict.fromkeys(tree["notices"])
            for name, value in tree.items():
                if name not in ("cells", "notices"):
                    parts.setdefault(name, []).append(value)
        return cells, {n: np.concatenate(v) for n, v in parts.items()}, list(notices)

    def places(self, cells: Sequence[Cell]) -> np.ndarray:
        """Return cells as shares of the axes in nodes, ``(n, 2)`` [-]."""
        size = np.array([self.front.size - 1, self.rear.size - 1], dtype=float)
        return np.asarray(cells, dtype=float).reshape(-1, 2) / size


def _run_job(plan: Plan, job: Job, log: _Log, scheduler: str | None) -> None:
    """Run a state in a slice, round by round."""
    rounds = 1 if plan.survey.share >= 1 else _ROUNDS
    for number in range(rounds):
        chosen = _chosen(plan, job, number, rounds)
        done = plan.done(*job)
        missing = [c for c in chosen if c not in done]
        _run_cells(plan, job, missing, log, scheduler)


def _chosen(plan: Plan, job: Job, number: int, rounds: int) -> list[Cell]:
    """Return the cells of a round; what a round chose is written down before it is run."""
    path = plan.place(job) / f"round-{number}.json"
    if path.is_file():
        return [(int(i), int(j)) for i, j in json.loads(path.read_text("utf-8"))]
    cells = _first(plan) if number == 0 else _next(plan, job, number, rounds)
    from tuftwork.files import write_atomic

    path.parent.mkdir(parents=True, exist_ok=True)
    write_atomic(path, json.dumps(cells).encode())
    return cells


def _first(plan: Plan) -> list[Cell]:
    """Return everything, or an even net with the corners in it."""
    if plan.survey.share >= 1:
        return plan.every
    wanted = max(_FEWEST, plan.runs_wanted // 2)
    count = max(4, int(np.sqrt(wanted)))
    front, rear = (
        np.unique(np.round(np.linspace(0, axis.size - 1, count)).astype(int))
        for axis in (plan.front, plan.rear)
    )
    return [(int(i), int(j)) for i in front for j in rear]


def _next(plan: Plan, job: Job, number: int, rounds: int) -> list[Cell]:
    """Return the cells at which the surrogate is least sure, spread by repeated choice."""
    cells, fields, _ = plan.read(job)
    left = plan.runs_wanted - len(cells)
    take = int(np.ceil(left / (rounds - number)))
    if take <= 0:
        return []
    made = fit_surrogate(plan.places(cells), _outputs(fields))
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


def _outputs(fields: Mapping[str, np.ndarray]) -> np.ndarray:
    return np.concatenate([fields[n] for n in FIELDS], axis=1)


def _run_cells(
    plan: Plan, job: Job, cells: Sequence[Cell], log: _Log, scheduler: str | None
) -> None:
    """Run cells in blocks and keep every block as it comes."""
    if not cells:
        return
    size = int(np.clip(len(cells) // 8, 4, _LARGEST_BLOCK))
    case, at = plan.cases[job[0]], plan.survey.slices[job[1]]
    tasks = [
        _Block(
            case=case, at=at, cells=tuple(some),
            heights=np.array([[plan.front[i], plan.rear[j]] for i, j in some]),
        )
        for some in (cells[k : k + size] for k in range(0, len(cells), size))
    ]  # fmt: skip
    title = f"{job[0]}, {at.name}"
    begun = perf_counter()
    _keep(plan, job, run_block(tasks[0]))
    log.add(len(tasks[0].cells), title)
    seconds = (perf_counter() - begun) * len(tasks)
    executor = executor_for(scheduler, seconds=seconds, tasks=len(tasks) - 1)
    for index, tree in executor.each(run_block, tasks[1:], log.is_cancelled):
        _keep(plan, job, tree)
        log.add(len(tasks[index + 1].cells), title)


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
    error
        At runs the surrogate never saw; None where there are too few.
    next_cell
        Where the next run would help most, and its deviation [m²]; None where all were run.
    """

    fields: dict[str, np.ndarray]
    was_run: np.ndarray
    deviation: np.ndarray
    error: HeldOut | None
    next_cell: tuple[Cell, float] | None
    notices: list[str]


def _between(plan: Plan, job: Job) -> Filled:
    """Return a state in a slice on the whole grid, read between runs where it was not run."""
    cells, fields, notices = plan.read(job)
    shape = (plan.front.size, plan.rear.size)
    was_run = np.zeros(shape, dtype=bool)
    rows, columns = np.array(cells).T
    was_run[rows, columns] = True
    total = fields[FIELDS[0]] + fields[FIELDS[1]]
    error = _error(plan.places(cells), total)
    full = {n: np.empty((*shape, plan.n_draw)) for n in fields}
    for name, values in fields.items():
        full[name][rows, columns] = values
    deviation, best = np.zeros(shape), None
    others = [c for c in plan.every if not was_run[c]]
    if others:
        made = fit_surrogate(plan.places(cells), np.concatenate(list(fields.values()), axis=1))
        places = plan.places(others)
        mean = made.mean(places).reshape(len(others), len(fields), plan.n_draw)
        r, c = np.array(others).T
        for k, name in enumerate(fields):
            full[name][r, c] = mean[:, k]
        spread = made.spread.reshape(len(fields), plan.n_draw)[:2]
        size = float(np.sqrt(np.mean(np.sum(spread**2, axis=0))))
        deviation[r, c] = made.deviation(places) * size
        worst = int(np.argmax(deviation[r, c]))
        best = (others[worst], float(deviation[others[worst]]))
    return Filled(
        fields=full, was_run=was_run, deviation=deviation, error=error, next_cell=best,
        notices=notices,
    )  # fmt: skip


def _error(places: np.ndarray, total: np.ndarray) -> HeldOut | None:
    """Return the surrogate's error at runs held out, the map's rim apart."""
    inner = np.all((places > 0) & (places < 1), axis=1)
    candidates = np.flatnonzero(inner)
    count = int(_HELD * len(places))
    if count < 3 or len(places) - count < 12 or candidates.size < count:
        return None
    held = np.zeros(len(places), dtype=bool)
    held[np.random.default_rng(_SEED).choice(candidates, size=count, replace=False)] = True
    return held_out_error(places, total, held)


def _line(plan: Plan, job: Job, filled: Filled) -> dict[str, Any]:
    error = filled.error
    following = "all cells were run"
    if filled.next_cell is not None:
        (i, j), size = filled.next_cell
        following = (
            f"hf {1e3 * plan.front[i]:.1f}, hr {1e3 * plan.rear[j]:.1f} mm: ± {100 * size:.1f} points"
        )
    return {
        "state": job[0], "slice": plan.survey.slices[job[1]].name,
        "run": int(np.sum(filled.was_run)), "between": int(np.sum(~filled.was_run)),
        "held_out": 0 if error is None else error.count,
        "error_m2": None if error is None else error.rms,
        "error": "–" if error is None else f"{100 * error.rms:.2f} points",
        "largest_m2": None if error is None else error.largest,
        "covered": "–" if error is None else f"{100 * error.covered:.0f} %",
        "next": following,
    }  # fmt: skip
