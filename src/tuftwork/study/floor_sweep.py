"""A measured or 3-D ride-height sweep that ties what a floor's channel leaves open.

The floor's own model answers the sweep: table, empirical fall, neighbours. Every input of it moves
by a Gaussian update in its deviate, most of all edge loss, discharge, base pressure and coverage;
of a whole car's sweep the rest of the car takes its share by its own ranges.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy.linalg import block_diag

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import Field, PartModel, PlatformState
from tuftwork.aeromap.part import ChannelFloor, inputs_of, part_models
from tuftwork.aeromap.tie import KnownBefore
from tuftwork.car import Floor, Project
from tuftwork.errors import FileFault, InputError, NotConverged, NotCovered
from tuftwork.floor.calibrate import gaussian_update, root_mean_miss
from tuftwork.quantity import Array, Ensemble, values_at
from tuftwork.study.floor_sweep_table import FloorSweep, read_sweep
from tuftwork.study.inputs import state_names
from tuftwork.study.job import FLOOR_SWEEPS, Job, _plain, _tables, models_in
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

OPEN = {"mixing": "edge loss", "discharge": "edge discharge", "base_pressure": "base pressure",
        "coverage": "load over a clean plate's"}  # fmt: skip
"""Coefficients that a sweep ties, and what a person calls them."""
_MODEL = 0.03  # [-] standard deviation of what the channel cannot follow, over the load
_STEP = 0.15  # [-] of a deviate, for slopes
_SEEN = 1e-4  # [-] of a deviate
_VERSION = 1


def floor_sweep_steps(job: Job) -> list[Step]:
    """Return the step that ties floors to their sweeps; none where no floor names one."""
    floors = swept(job.project)
    if not floors:
        return []
    base = state_names(job.project)[0] if job.project.states else ""

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        ensemble = job.ensemble(results["draws"])
        models = models_in(job.project, base, results)
        made: dict[str, Tree] = {}
        for k, part in enumerate(floors):
            try:
                made[part.name] = _tied(job, part, models, ensemble)
            except (FileFault, InputError, NotConverged, NotCovered) as why:
                # a table that cannot be used must not take the rest of the study with it
                said = [str(f) for f in why.faults] if isinstance(why, FileFault) else [str(why)]
                made[part.name] = {"refused": said}
            pulse.beat((k + 1) / len(floors))
        known = known_of(made)
        moved = {} if known is None else {"deviates": _moved(ensemble, known)}
        return {"floors": made, "moved": moved}

    wanted = {p.channel.sweep for p in floors if p.channel is not None}
    inputs = {
        "floors": [p.model_dump_json() for p in floors],
        "evidence": [[e.file, e.digest, job.stamp(e.file)] for e in job.project.evidence
                     if e.id in wanted],
        "quantities": _plain(inputs_of(part_models(job.project, base))),
        "mass": job.project.mass_state().model_dump_json(),
        "top": job.top_speed,
    }  # fmt: skip
    return [
        Step(name=FLOOR_SWEEPS, title="Floor: tied to its ride-height sweep", inputs=inputs,
             needs=("draws", *_tables(job.project)), work=work, version=_VERSION, weight=0.5)
    ]  # fmt: skip


def swept(project: Project) -> tuple[Floor, ...]:
    """Return the floors that name a sweep."""
    return tuple(
        p for p in project.parts
        if isinstance(p, Floor) and p.channel is not None and p.channel.sweep
    )  # fmt: skip


def known_of(floors: Mapping[str, Tree]) -> KnownBefore | None:
    """Return what the sweeps say of the inputs' deviates; None where none could be used."""
    good = [tree for tree in floors.values() if "refused" not in tree]
    if not good:
        return None
    return KnownBefore(
        names=tuple(name for tree in good for name in tree["names"]),
        mean=np.concatenate([np.asarray(tree["mean"]) for tree in good]),
        covariance=block_diag(*[np.asarray(tree["covariance"]) for tree in good]),
    )


def _moved(ensemble: Ensemble, known: KnownBefore) -> Array:
    names = list(ensemble.columns)
    columns = list(ensemble.columns.values())
    out = ensemble.deviates.copy()
    out[:, columns] = known.moved(names, ensemble.deviates[:, columns])
    return out


def _tied(job: Job, part: Floor, models: Sequence[PartModel], ensemble: Ensemble) -> Tree:
    assert part.channel is not None
    own = next(m for m in models if m.name == part.name)
    assert isinstance(own, ChannelFloor)
    sweep, of = read_sweep(job, part, own), part.channel.sweep_of
    inputs = inputs_of(models)
    fixed = {f"{part.name}.model.coverage"} if of == "floor alone" else set()
    names = [n for n in inputs if n in ensemble.columns and n not in fixed]
    if not {f"{part.name}.model.{n}" for n in OPEN} & set(names):
        raise InputError(f"{part.name}.channel.sweep", f"'{part.channel.sweep}'", "",
                         "ties nothing: edge loss, discharge and base pressure are exact",
                         "Give them ranges.")  # fmt: skip
    answer = _answer(models, part.name, of, _platform(job, sweep))
    middle = {n: values_at(q, np.zeros(1)) for n, q in inputs.items()}

    def loads(deviates: Array) -> Array:
        return answer(middle | {n: values_at(inputs[n], deviates[:, k])
                                for k, n in enumerate(names)})  # fmt: skip

    noise = np.square(sweep.deviation) + np.square(_MODEL * sweep.downforce)
    found = gaussian_update(
        loads, sweep.downforce, np.diag(noise), mean=np.zeros(len(names)),
        spread=np.ones(len(names)), step=np.full(len(names), _STEP),
    )  # fmt: skip
    # what the sweep says nothing of stays as it was drawn
    told = (np.abs(found.mean) > _SEEN) | (np.diag(found.covariance) < 1 - _SEEN)
    return {
        "names": [n for n, yes in zip(names, told, strict=True) if yes],
        "mean": found.mean[told], "covariance": found.covariance[np.ix_(told, told)],
        "of": of, "evidence": part.channel.sweep, "front": sweep.front, "rear": sweep.rear,
        "measured": sweep.downforce, "deviation": sweep.deviation, "before": found.before,
        "after": found.after, "miss_before": root_mean_miss(found.before, sweep.downforce),
        "miss": root_mean_miss(found.after, sweep.downforce),
    }  # fmt: skip


def _platform(job: Job, sweep: FloorSweep) -> PlatformState:
    air = job.air()
    return PlatformState(
        ride_height_front=sweep.front[:, None], ride_height_rear=sweep.rear[:, None],
        speed=np.full((1, 1), job.top_speed), density=np.full((1, 1), float(air.density)),
        viscosity=np.full((1, 1), float(air.viscosity)),
    )  # fmt: skip


def _answer(
    models: Sequence[PartModel], floor: str, of: str, platform: PlatformState
) -> Callable[[Mapping[str, Field]], Array]:
    """Return what the models say of the sweep, ``(n, n_draw)``, for draws of all inputs."""
    place = next(k for k, m in enumerate(models) if m.name == floor)

    def answer(draws: Mapping[str, Field]) -> Array:
        size = (platform.ride_height_rear.shape[0], max(np.size(v) for v in draws.values()))
        if of == "car":
            return np.broadcast_to(car_loads(models, platform, draws).downforce, size)
        around: dict[str, Any] = {}
        if of == "floor alone":
            draws = {**draws, f"{floor}.model.coverage": np.ones(1)}
        else:
            for model in models[:place]:
                for channel, effect in model.load(platform, draws, around).effects.items():
                    around[channel] = around[channel] + effect if channel in around else effect
        load = models[place].load(platform, draws, around)
        return np.broadcast_to(load.downforce_front + load.downforce_rear, size)

    return answer
