"""A project with what every step of its study shares, and the models of its parts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import PartModel
from tuftwork.aeromap.part import equipped, floored, fronted, part_models
from tuftwork.air import Air, air_of, power_left
from tuftwork.car import Floor, Project, Splitter, WingPart
from tuftwork.files.evidence import FOLDER
from tuftwork.floor.front_table import front_tables
from tuftwork.floor.table import FloorTable
from tuftwork.quantity import Array, Ensemble, Quantity
from tuftwork.study.inputs import study_quantities
from tuftwork.study.names import FLOOR_SWEEPS, FLOOR_TABLES, FRONT_TABLES, GRIP, TABLES
from tuftwork.study.store import Tree
from tuftwork.wing.bank import WingBank

__all__ = ["FLOOR_SWEEPS", "FLOOR_TABLES", "FRONT_TABLES", "GRIP", "TABLES", "Job", "models_in"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A project with what every step shares."""

    project: Project
    quantities: Mapping[str, Quantity]
    scheduler: str | None = None
    folder: Path | None = None

    @classmethod
    def of(
        cls, project: Project, scheduler: str | None = None, folder: Path | None = None
    ) -> "Job":
        """Return the job of a project; steps that read evidence find it in ``folder``."""
        quantities = study_quantities(project)
        return cls(project=project, quantities=quantities, scheduler=scheduler, folder=folder)

    @property
    def top_speed(self) -> float:
        """Fastest speed answers are given at [m/s]."""
        return max(q.best for q in self.project.study.speeds)

    def ensemble(self, draws: Tree) -> Ensemble:
        """Return the ensemble of a result of step ``draws`` or ``tie``."""
        columns = {name: i for i, name in enumerate(draws["names"])}
        return Ensemble(quantities=self.quantities, deviates=draws["deviates"], columns=columns)

    def driven(self, results: Mapping[str, Tree]) -> Ensemble:
        """Return the draws after everything measured: loads, then circles for the tyres."""
        tied = self.ensemble(results["tie"])
        moved = results.get(GRIP, {}).get("moved")
        if not moved:
            return tied
        deviates = tied.deviates.copy()
        deviates[:, [tied.columns[n] for n in moved["names"]]] = moved["deviates"]
        return replace(tied, deviates=deviates)

    def stamp(self, name: str) -> list[int]:
        """Return size and time of a file of the evidence, nothing where there is none."""
        path = self.folder / FOLDER / name if self.folder and name else None
        if path is None or not path.is_file():
            return []
        status = path.stat()
        return [status.st_size, status.st_mtime_ns]

    def air(self, ensemble: Ensemble | None = None) -> Air:
        """Return the study's air, for every draw or at best values."""
        values: dict[str, Any] = {}
        for key in ("temperature", "pressure", "altitude", "humidity"):
            own = getattr(self.project.weather, key)
            if own is not None:
                values[key] = own.best if ensemble is None else ensemble.of(f"weather.{key}")
        return air_of(**values)

    def engine(self, ensemble: Ensemble) -> Array:
        """Return the power the engine makes in the study's air over its rated power [-]."""
        if self.project.car.aspiration != "atmospheric":
            return np.ones(ensemble.size)
        return np.broadcast_to(power_left(self.air(ensemble)), (ensemble.size,))


def models_in(project: Project, state: str, results: Mapping[str, Tree]) -> tuple[PartModel, ...]:
    """Return the models of a state, those of wings with a section with their tables."""
    banks = {key: WingBank.of(tree) for key, tree in results.get(TABLES, {}).items()}
    floors = {key: FloorTable.of(tree) for key, tree in results.get(FLOOR_TABLES, {}).items()}
    fronts = front_tables(results.get(FRONT_TABLES, {}))
    return fronted(floored(equipped(part_models(project, state), banks), floors), fronts)


def _tables(project: Project) -> tuple[str, ...]:
    """Return the step of the tables as a need, where the project has one."""
    wanted = {
        TABLES: any(isinstance(p, WingPart) and p.section is not None for p in project.parts),
        FLOOR_TABLES: any(isinstance(p, Floor) and p.channel is not None for p in project.parts),
        FRONT_TABLES: any(isinstance(p, Splitter) and p.channel for p in project.parts),
    }
    return tuple(name for name, is_there in wanted.items() if is_there)


def _net_text(project: Project) -> str:
    """Return the air net's tables where a part takes its load from them; every load needs them."""
    if project.cooling is None or not any(part.kind == "air net" for part in project.parts):
        return ""
    idle = {"speed", "temperature", "humidity", "risk", "places", "stint"}
    return project.cooling.model_dump_json(exclude=idle)


def _own_weather(job: Job) -> dict[str, Quantity]:
    return {n: q for n, q in job.quantities.items() if n.startswith("weather.")}


def _plain(quantities: Mapping[str, Quantity]) -> Tree:
    """Return what of some quantities an answer depends on, for a digest."""
    return {name: [q.best, q.low, q.high, q.spread] for name, q in sorted(quantities.items())}
