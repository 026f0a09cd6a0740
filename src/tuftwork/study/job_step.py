"""The main job as steps: draws, tie to what was measured, map and platform path of every state.

Each step names everything it reads, so its digest changes exactly when its answer could. Results
are plain trees; :class:`Answers` turns them back into what the pages ask.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from time import perf_counter
from typing import Any

import numpy as np

from tuftwork.aeromap.budget import CarLoad, car_loads
from tuftwork.aeromap.grid import even_axis, fitted_axis
from tuftwork.aeromap.interface import PartModel, PlatformState
from tuftwork.aeromap.map import FIELDS, AirAt, build_map
from tuftwork.aeromap.part import (
    draws_of,
    inputs_of,
    part_models,
    quickened,
)
from tuftwork.aeromap.platform import suspension_of
from tuftwork.aeromap.settle import Loads
from tuftwork.aeromap.tie import Sighting, Tied, tie
from tuftwork.car import Project
from tuftwork.quantity import Ensemble, Quantity, draw_ensemble
from tuftwork.study.executor import executor_for
from tuftwork.study.flow.sighting import sighted_rows
from tuftwork.study.inputs import (
    has_platform,
    ride_height_correlations,
    state_names,
)
from tuftwork.study.job import (
    FLOOR_SWEEPS,
    Job,
    _net_text,
    _own_weather,
    _plain,
    _tables,
    models_in,
)
from tuftwork.study.reach import HEIGHT_KEYS, axis_ends, thinned
from tuftwork.study.registry import STEPS, gathered
from tuftwork.study.ride import engine_loads, ride_step_work
from tuftwork.study.step import Pulse, Step, Work
from tuftwork.study.store import Tree

_COARSE = 24  # nodes per axis of the first map, which only says where the cliff is


def job_steps(job: Job) -> list[Step]:
    """Return the steps of a project's main job, in order."""
    project = job.project
    from tuftwork.study.floor_step import floor_table_steps
    from tuftwork.study.floor_sweep import floor_sweep_steps
    from tuftwork.study.front_step import front_table_steps
    from tuftwork.study.section_step import table_steps

    steps = [*table_steps(job), *floor_table_steps(job),
             *front_table_steps(job), _draws_step(job),
             *floor_sweep_steps(job), _tie_step(job)]  # fmt: skip
    if project.parts and has_platform(project):
        steps.append(_axes_step(job))
        for state in state_names(project):
            steps += [_map_step(job, state), _ride_step(job, state)]
    for more in gathered(STEPS, job):
        steps += more
    return steps


def _draws_step(job: Job) -> Step:
    names = [name for name, quantity in job.quantities.items() if not quantity.is_exact]
    correlations = ride_height_correlations(job.quantities)
    settings = job.project.study

    from tuftwork.study.picture.shared import picture_inputs

    pictures = picture_inputs(job.quantities, job.project)

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        shared = {}
        if pictures:
            from tuftwork.study.picture.shared import shared_correlations

            shared = shared_correlations(job.quantities, job.project, job.folder)
        ensemble = draw_ensemble(
            job.quantities, size=settings.draws, seed=settings.seed,
            correlations={**shared, **correlations},
        )  # fmt: skip
        return {"names": names, "deviates": ensemble.deviates,
                "shared": [[*pair, value] for pair, value in shared.items()]}  # fmt: skip

    pairs = [[*pair, value] for pair, value in correlations.items()]
    inputs = {"names": names, "size": settings.draws, "seed": settings.seed, "pairs": pairs}
    inputs |= {"pictures": pictures} if pictures else {}
    return Step(name="draws", title="Drawing the inputs", inputs=inputs, needs=(), work=work,
                version=2)  # fmt: skip


def _tie_step(job: Job) -> Step:
    project = job.project
    flown = sighted_rows(project, job.folder)
    rows = (*project.measured, *flown)
    tied = bool(rows and project.parts and project.study.tie_to_measured)
    states = sorted({row.state for row in rows}) if tied else []
    from tuftwork.study.floor_sweep import known_of, swept

    sweeps = (FLOOR_SWEEPS,) if swept(project) else ()

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        before = results[FLOOR_SWEEPS] if sweeps else {"floors": {}, "moved": {}}
        drawn = {**results["draws"], **before["moved"]}
        prior = job.ensemble(drawn)
        if not tied:
            return {**drawn, "rows": [], "narrowed": [], "notices": []}
        air = job.air()
        models = {
            state: quickened(models_in(project, state, results), float(air.density))
            for state in states
        }
        sightings = [
            Sighting(
                measured=row,
                models=models[row.state],
                density=float(air.density),
                viscosity=float(air.viscosity),
            )
            for row in rows
        ]
        pulse.beat(0.1)
        found = tie(sightings, prior, known=known_of(before["floors"]))
        return {**drawn, "deviates": found.ensemble.deviates, **_tie_tables(found)}

    quantities = {
        state: _plain(inputs_of(part_models(project, state))) for state in states
    }  # the part's own sizes that are exact change the answer as well as its ranges
    inputs = {
        "tied": tied,
        "quantities": quantities,
        "measured": [row.model_dump_json() for row in rows] if tied else [],
        "weather": _plain(_own_weather(job)),
        "net": _net_text(project),
    }
    return Step(
        name="tie", title="Letting what was measured narrow the draws", inputs=inputs,
        needs=("draws", *sweeps, *(_tables(project) if tied else ())), work=work,
        weight=8.0 if tied else 0.1,
    )  # fmt: skip


def _axes_step(job: Job) -> Step:
    project = job.project
    heights = {n: q for n, q in job.quantities.items() if n.rpartition(".")[2] in HEIGHT_KEYS}

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        ensemble = thinned(job.ensemble(results["tie"]), 64)
        load = _load_function(models_in(project, "", results), ensemble)
        ends = axis_ends(project, job.quantities, ensemble, load, _air_at(job))
        coarse = build_map(
            {"baseline": load},
            front=even_axis(*ends["front"], _COARSE),
            rear=even_axis(*ends["rear"], _COARSE),
            air=_air_at(job),
        )
        count = project.study.map_points
        return {axle: fitted_axis(coarse, axle, count) for axle in ("front", "rear")}

    inputs = {
        "baseline": _plain(inputs_of(part_models(project))),
        "springs": _plain({n: q for n, q in job.quantities.items() if n.startswith("car.")}),
        "heights": _plain(heights),
        "mass": _plain({n: q for n, q in job.quantities.items() if n.startswith("mass_states.")}),
        "weather": _plain(_own_weather(job)),
        "points": project.study.map_points,
        "top": job.top_speed,
    }
    return Step(
        name="axes", title="Placing the map's nodes", inputs=inputs,
        needs=("tie", *_tables(project)), work=work,
    )  # fmt: skip


def _map_step(job: Job, state: str) -> Step:
    project = job.project

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        ensemble, axes = job.ensemble(results["tie"]), results["axes"]
        chunks = np.array_split(np.arange(ensemble.size), max(1, ensemble.size // 64))
        tasks = [
            _MapTask(
                project=project,
                state=state,
                tables={k: results[k] for k in _tables(project)},
                quantities=dict(job.quantities),
                names=tuple(ensemble.columns),
                deviates=ensemble.deviates[chunk],
                axes=(axes["front"], axes["rear"]),
                air=_air_at(job),
            )
            for chunk in chunks
        ]
        found: dict[int, Tree] = {}
        begun = perf_counter()
        found[0] = map_chunk(tasks[0])
        seconds = (perf_counter() - begun) * len(tasks)
        executor = executor_for(job.scheduler, seconds=seconds, tasks=len(tasks) - 1)
        for index, answer in executor.each(map_chunk, tasks[1:]):
            found[index + 1] = answer
            pulse.beat(len(found) / len(tasks))
        order = sorted(found)
        joined = {f: np.concatenate([found[i][f] for i in order], axis=-1) for f in FIELDS}
        return {**joined, "notices": found[0]["notices"]}

    inputs = {
        "quantities": _plain(inputs_of(part_models(project, state))),
        "weather": _plain(_own_weather(job)),
        "top": job.top_speed,
    }
    return Step(
        name=f"map {state}", title=f"Aero map: {state}", inputs=inputs,
        needs=("tie", "axes", *_tables(project)), work=work, weight=2.0,
    )  # fmt: skip


def _ride_step(job: Job, state: str) -> Step:
    project = job.project
    speeds = [q.best for q in project.study.speeds]
    quantities = {
        name: job.quantities[name] for name in job.quantities if not name.startswith("states.")
    }
    own = project.state(state)
    inputs = {
        "springs": _plain({n: q for n, q in quantities.items() if n.startswith(("car.", "mass"))}),
        "heights": [str(own.ride_height_front), str(own.ride_height_rear)],
        "stops": [str(a.stops) if a else "" for a in (project.car.front, project.car.rear)],
        "mass_state": project.mass_state().name,
        "weather": _plain(_own_weather(job)),
        "speeds": speeds,
    }

    def springs(ensemble: Ensemble) -> Any:
        draws = {name: ensemble.of(name) for name in job.quantities}
        return suspension_of(project, "", state, draws)

    def engines(results: Mapping[str, Tree], ensemble: Ensemble, speed: float) -> Loads:
        return engine_loads(models_in(project, state, results), ensemble, job.air(ensemble), speed)

    work: Work = ride_step_work(
        map_name=f"map {state}", speeds=speeds, ensemble=job.ensemble, air=job.air,
        springs=springs, engines=engines,
    )  # fmt: skip
    return Step(
        name=f"ride {state}", title=f"Platform loop: {state}", inputs=inputs, version=2,
        needs=("tie", "axes", f"map {state}", *_tables(project)), work=work, weight=3.0,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _MapTask:
    """A share of one state's map: some of its draws."""

    project: Project
    state: str
    tables: dict[str, Tree]
    quantities: dict[str, Quantity]
    names: tuple[str, ...]
    deviates: np.ndarray
    axes: tuple[np.ndarray, np.ndarray]
    air: AirAt


def map_chunk(task: Any) -> Tree:
    """Compute one share of a map; runs wherever the executor puts it."""
    ensemble = Ensemble(
        quantities=task.quantities,
        deviates=task.deviates,
        columns={name: i for i, name in enumerate(task.names)},
    )
    load = _load_function(models_in(task.project, task.state, task.tables), ensemble)
    made = build_map({"state": load}, front=task.axes[0], rear=task.axes[1], air=task.air)
    return {name: getattr(made, name)[0] for name in FIELDS} | {"notices": list(made.notices)}


def _load_function(
    models: Sequence[PartModel], ensemble: Ensemble
) -> Callable[[PlatformState], CarLoad]:
    draws = draws_of(models, ensemble)

    def load(platform: PlatformState) -> CarLoad:
        return car_loads(models, platform, draws)

    return load


def _air_at(job: Job) -> AirAt:
    air = job.air()
    return AirAt(speed=job.top_speed, density=float(air.density), viscosity=float(air.viscosity))


def _tie_tables(tied: Tied) -> Tree:
    def ends(summary: Any) -> list[float]:
        return [summary.best, summary.low, summary.high, summary.low_half, summary.high_half]

    return {
        "rows": [
            {
                "id": row.id,
                "quantity": row.quantity,
                "prior": ends(row.prior),
                "posterior": ends(row.posterior),
                "miss": row.miss,
            }
            for row in tied.rows
        ],
        "narrowed": [
            {"name": i.name, "prior": ends(i.prior), "posterior": ends(i.posterior),
             "narrowed": i.narrowed}
            for i in tied.inputs
        ],
        "notices": list(tied.notices),
    }  # fmt: skip
