"""A large map laid out: axes, cases, slices, and the blocks of it that lie on disk."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.aeromap.attitude import LARGEST_ROLL, LARGEST_YAW, attitude_draws
from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.grid import fitted_axis
from tuftwork.aeromap.interface import Field, PartModel, PlatformState
from tuftwork.aeromap.map import FIELDS, AirAt
from tuftwork.aeromap.part import draws_of, inputs_of
from tuftwork.aeromap.steer import LARGEST_STEER
from tuftwork.car import Project
from tuftwork.errors import InputError
from tuftwork.quantity import Ensemble, Quantity, parse_quantity
from tuftwork.study.answers import Answers
from tuftwork.study.job import _plain, _tables, models_in
from tuftwork.study.store import Store, Tree, digest_of

VERSION = 2
FEWEST, MOST = 36, 10_000
"""Cells a survey may have."""
HELD = 0.15  # [-] of the runs, drawn by lot: they measure the surrogate before they help it
_FEWEST_HELD = 8
BY_LOT = "by-lot"
"""Name of the last round."""
_FASTEST = 150.0  # [m/s]
_KMH = 3.6
Cell = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """An attitude of the car, angles in [rad]; its air speed [m/s], that of the map where None."""

    roll: float = 0.0
    yaw: float = 0.0
    steer: float = 0.0
    speed: float | None = None

    @property
    def name(self) -> str:
        """``straight``, ``roll 1.0°``, ``yaw 3.0°``, ``steer 4.0°``, ``120 km/h``."""
        angles = (("roll", self.roll), ("yaw", self.yaw), ("steer", self.steer))
        said = [f"{word} {np.degrees(angle):.1f}°" for word, angle in angles if angle]
        said += [] if self.speed is None else [f"{self.speed * _KMH:.0f} km/h"]
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
    def of(
        cls, *, cells: int, share: float = 1.0, roll: str = "", yaw: str = "", steer: str = "",
        speed: str = "",
    ) -> "Survey":  # fmt: skip
        """Return the survey that a person asks for.

        Parameters
        ----------
        cells
            Of a state in a slice.
        share
            Of them that is run. [-]
        roll, yaw, steer, speed
            Slices beside the straight one, with units and commas: ``1 °, 2 °``.

        Raises
        ------
        InputError
            If cells, share, an angle or a speed cannot be.
        """
        if not FEWEST <= cells <= MOST:
            raise InputError("cells", cells, "", f"must lie between {FEWEST} and {MOST}")
        if not 0.05 <= share <= 1:
            raise InputError("share", share, "", "must lie between 0.05 and 1")
        slices = [Slice()]
        slices += [Slice(roll=a) for a in _angles("roll", roll, LARGEST_ROLL)]
        slices += [Slice(yaw=a) for a in _angles("yaw", yaw, LARGEST_YAW)]
        slices += [Slice(steer=a) for a in _angles("steer", steer, LARGEST_STEER)]
        slices += [Slice(speed=v) for v in _speeds(speed)]
        return cls(nodes=int(np.ceil(np.sqrt(cells))), share=share, slices=tuple(slices))


def _words(text: str) -> list[str]:
    return list(filter(None, (w.strip() for w in text.split(","))))


def _speeds(text: str) -> list[float]:
    found = [float(parse_quantity(word, "speed").best) for word in _words(text)]
    for speed in found:
        if not 0 < speed <= _FASTEST:
            limit = f"must lie above 0, up to {_FASTEST * _KMH:.0f} km/h"
            raise InputError("speed", speed * _KMH, "km/h", limit)
    return found


def _angles(name: str, text: str, most: float) -> list[float]:
    found = []
    for word in _words(text):
        angle = parse_quantity(word, "angle").best
        if not 0 < abs(angle) <= most:
            limit = f"must lie within {np.degrees(most):.0f}, and not be 0"
            raise InputError(name, float(np.degrees(angle)), "°", limit)
        found.append(float(angle))
    return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
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
        return isinstance(other, Case) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Cells of one state in one slice."""

    case: Case
    at: Slice
    cells: tuple[Cell, ...]
    heights: np.ndarray


@lru_cache(maxsize=4)
def _models_of(case: Case) -> tuple[tuple[PartModel, ...], Mapping[str, Field]]:
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
        speed=(task.at.speed or air.speed) * one, density=air.density * one,
        viscosity=air.viscosity * one, roll=task.at.roll * one, yaw=task.at.yaw * one,
        steer=task.at.steer * one,
    )  # fmt: skip
    found = car_loads(models, platform, draws)
    shape = (len(task.cells), task.case.deviates.shape[0])
    tree = {n: np.broadcast_to(getattr(found, n), shape).copy() for n in FIELDS}
    more = {n: getattr(found, n) for n in ("side", "yaw_moment", "mass_flow")}
    tree |= {n: np.broadcast_to(v, shape).copy() for n, v in more.items() if v is not None}
    return tree | {"cells": np.array(task.cells), "notices": list(found.notices)}


Job = tuple[str, int]


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A survey laid out: axes, cases, folder; the folder's name is the digest of all it reads."""

    survey: Survey
    front: np.ndarray
    rear: np.ndarray
    cases: Mapping[str, Case]
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
            cases[state] = Case(
                digest=digest_of(read), project=job.project, state=own,
                tables={k: answers.results[k] for k in _tables(job.project)},
                quantities=dict(job.quantities), names=tuple(answers.ensemble.columns),
                deviates=answers.ensemble.deviates, air=air,
            )  # fmt: skip
        slices = [[s.roll, s.yaw, s.steer, s.speed] for s in survey.slices]
        digest = digest_of([*axes, slices, survey.share, {s: c.digest for s, c in cases.items()}])
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
        """Cells that are run per state and slice, those that measure the surrogate among them."""
        return int(np.ceil(self.survey.share * self.front.size * self.rear.size))

    @property
    def held_wanted(self) -> int:
        """Cells drawn by lot that measure the surrogate; none where everything is run."""
        least = max(_FEWEST_HELD, int(np.ceil(HELD * self.runs_wanted)))
        return 0 if self.survey.share >= 1 else least

    def place(self, job: Job) -> Path:
        """Return the folder of a state in a slice."""
        return self.folder / f"{list(self.cases).index(job[0])}-{job[1]}"

    def round_path(self, job: Job, name: str) -> Path:
        """Return the file in which a round's choice is written down."""
        return self.place(job) / f"round-{name}.json"

    def round_cells(self, job: Job, name: str) -> list[Cell]:
        """Return the cells that a round chose; none where it was not reached."""
        path = self.round_path(job, name)
        if not path.is_file():
            return []
        return [(int(i), int(j)) for i, j in json.loads(path.read_text("utf-8"))]

    def by_lot(self, job: Job) -> list[Cell]:
        """Return the cells that were drawn by lot."""
        return self.round_cells(job, BY_LOT)

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
        return np.asarray(np.asarray(cells, dtype=float).reshape(-1, 2) / size)
