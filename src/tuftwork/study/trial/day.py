"""One test day as a step: its log read, faults found, passes reduced with and without cures."""

from collections.abc import Mapping
from typing import Any
from zlib import crc32

import numpy as np

from tuftwork.car import MassState, Project
from tuftwork.car.trial import TrialDay
from tuftwork.errors import FileFault, InputError, NotCovered, TuftworkError
from tuftwork.files.evidence import FOLDER
from tuftwork.quantity import Ensemble, Quantity, parse_quantity, values_at
from tuftwork.study.job import Job
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree
from tuftwork.study.trial.paired_day import paired_tree
from tuftwork.trial.cure import Cure, with_cures
from tuftwork.trial.fault import Hypothesis, Suspects, find_faults, in_order
from tuftwork.trial.log import Log
from tuftwork.trial.passes import PassTable, Run, find_passes
from tuftwork.trial.reduction import Reduction, reduce_passes, uncertainty_budget
from tuftwork.trial.setup import MassLoads, Setup, with_cured_doubt

_USUAL_CG = 0.45  # [m] where the project states none; only load transfer under acceleration sees it
ROTATING = "3 % ± 1 %"


def trial_steps(job: Job) -> list[Step]:
    """Return a step for every test day, tunnel session and pressure test of the project."""
    from tuftwork.study.trial.session import session_steps

    return [*(_day_step(job, day) for day in job.project.days), *session_steps(job)]


def _day_step(job: Job, day: TrialDay) -> Step:
    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        try:
            return day_tree(job, day, job.ensemble(results["tie"]), pulse)
        except (FileFault, NotCovered, InputError) as error:
            # a log that cannot be read must not take the rest of the study with it
            return {"refused": _said(error)}

    project = job.project
    inputs = {
        "day": day.model_dump_json(),
        "evidence": {e.id: [e.file, e.digest, job.stamp(e.file)] for e in project.evidence
                     if e.id in (*day.logs, *day.coast_downs)},
        "masses": [m.model_dump_json() for m in project.mass_states],
        "car": project.car.model_dump_json(),
        "weather": project.weather.model_dump_json(),
    }  # fmt: skip
    return Step(name=f"day {day.name}", title=f"Test day: {day.name}", inputs=inputs,
                needs=("tie",), work=work, weight=2.0)  # fmt: skip


def _said(error: TuftworkError) -> list[str]:
    return [str(f) for f in error.faults] if isinstance(error, FileFault) else [str(error)]


def read_day(job: Job, day: TrialDay, *, coast: bool = False) -> Any:
    """Return what the files of a day hold, as one log.

    Raises
    ------
    FileFault
        With the line of everything that cannot be read.
    NotCovered
        If the project has no folder to read from.
    """
    from tuftwork.files.log import LogWish, merged, read_log

    if job.folder is None:
        raise NotCovered("The project has no folder, so its logs cannot be read.")
    items = {e.id: e.file for e in job.project.evidence}
    read = []
    for name in day.coast_downs if coast else day.logs:
        wish = LogWish(keep_partial=day.keep_partial) if coast else LogWish(
            roles=_only(day.roles, job, name), units=_only(day.units, job, name),
            keep_partial=day.keep_partial,
        )  # fmt: skip
        read.append(read_log(job.folder / FOLDER / items[name], wish))
    return merged(read)


def _only(said: Mapping[str, str], job: Job, name: str) -> dict[str, str]:
    """Return what was said of the columns of one file; the others belong to other files."""
    from tuftwork.files.log import column_names

    if not said:
        return {}
    item = next(e.file for e in job.project.evidence if e.id == name)
    assert job.folder is not None
    there = column_names(job.folder / FOLDER / item)
    return {column: text for column, text in said.items() if column in there}


def cures_of(day: TrialDay) -> list[Cure]:
    """Return the cures somebody accepted."""
    return [
        Cure(kind=c.kind, role=c.role, size=c.size, other=c.other, because=c.because,
             doubt=c.doubt, known_load=c.known_load)
        for c in day.cures
    ]  # fmt: skip


def runs_of(project: Project, day: TrialDay) -> list[Run]:
    """Return which state was driven when."""
    base = project.state().name
    return [Run(state=r.state or base, start=r.start.best, end=r.end.best) for r in day.runs]


def day_tree(job: Job, day: TrialDay, ensemble: Ensemble, pulse: Pulse) -> Tree:
    """Return everything a day says, as a plain tree."""
    project = job.project
    read = read_day(job, day)
    pulse.beat(0.2)
    setup, notices = day_setup(job, day, ensemble)
    suspects = suspects_of(project, day, setup)
    accepted = cures_of(day)
    found = find_faults(read.log, suspects)
    pulse.beat(0.5)
    cured = with_cures(read.log, accepted)
    remaining = found if not accepted else find_faults(cured, suspects)
    proposed = [c for h in in_order(remaining) if h.is_fault for c in h.cures]
    versions = {
        "as read": (read.log, []),
        "accepted": (cured, accepted),
        "all cures": (with_cures(cured, proposed), [*accepted, *proposed]),
    }
    tables = {name: _table(log, project, suspects) for name, (log, _) in versions.items()}
    seed = crc32(day.name.encode())
    reduced = {}
    for name, (_, cures) in versions.items():
        own = with_cured_doubt(setup, cures, size=ensemble.size, seed=seed)
        reduced[name] = (reduce_passes(tables[name], own, seed=seed), own)
    pulse.beat(0.9)
    last = "all cures"
    return {
        "notices": [*read.notices, *notices],
        "columns": [[c.name, c.unit, c.role, c.is_guess] for c in read.columns],
        "rows": read.rows,
        "span": [float(read.log.base.time[0]), float(read.log.base.time[-1])],
        "faults": [fault_tree(h, accepted) for h in found],
        "remaining": [fault_tree(h, accepted) for h in remaining if h.is_fault],
        "passes": [_pass_tree(p) for p in tables[last].passes],
        "results": {name: _results_tree(r) for name, (r, _) in reduced.items()},
        "scatter": list(reduced[last][0].scatter),
        "budgets": _budgets(tables[last], *reduced[last]),
        "paired": {
            name: paired_tree(tables[name], own, project.state().name, runs_of(project, day))
            for name, (_, own) in reduced.items()
        },
        "coast": _coast_tree(job, day, setup, _load_area(reduced[last][0], project)),
        "done": list(versions["accepted"][0].done),
        "mass_state": mass_of(project, day).name,
    }


def _table(log: Log, project: Project, suspects: Suspects) -> PassTable:
    from dataclasses import replace

    table = find_passes(log, suspects.runs, suspects.gates)
    if suspects.runs:
        return table
    base = project.state().name
    return replace(table, passes=tuple(replace(p, state=base) for p in table.passes))


def mass_of(project: Project, day: TrialDay) -> MassState:
    """Return the mass state a day was driven in."""
    return project.mass_state(day.mass_state)


def suspects_of(project: Project, day: TrialDay, setup: Setup) -> Suspects:
    """Return what the fault finder is told."""
    own = mass_of(project, day)
    loads = {m.name: MassLoads.of(m.name, m.mass.best, m.front_weight.best)
             for m in project.mass_states}  # fmt: skip
    race = loads.pop(own.name)
    return Suspects(setup=setup, race=race, others=tuple(loads.values()),
                    runs=runs_of(project, day))  # fmt: skip


def day_setup(job: Job, day: TrialDay, ensemble: Ensemble) -> tuple[Setup, list[str]]:
    """Return the car as draws of the study's ensemble; what only this day has is drawn beside it.

    Raises
    ------
    NotCovered
        If the project describes no axles.
    """
    project = job.project
    car, mass = project.car, mass_of(project, day)
    if car.front is None or car.rear is None:
        raise NotCovered("Loads from pots need springs: fill in [car.front] and [car.rear].")
    own = np.random.default_rng(crc32(f"{day.name} sheet".encode()))

    def draws(name: str, quantity: Quantity) -> np.ndarray:
        if name in ensemble.quantities:
            return ensemble.of(name)
        return values_at(quantity, own.standard_normal(ensemble.size))

    notices = []
    values: dict[str, Any] = {}
    for axle, table in (("front", car.front), ("rear", car.rear)):
        for key in ("wheel_rate", "tyre_rate"):
            values[f"{key}_{axle}"] = draws(f"car.{axle}.{key}", getattr(table, key))
        ratio: Quantity = getattr(day, f"pot_ratio_{axle}")
        values[f"pot_ratio_{axle}"] = values_at(ratio, own.standard_normal(ensemble.size))
        rest = getattr(mass, f"ride_height_{axle}")
        values[f"rest_{axle}"] = draws(f"mass_states.{mass.name}.ride_height_{axle}", rest)
    height = mass.cg_height
    if height is None:
        notices.append("No height of the centre of gravity: 0.45 m is taken for load transfer.")
        values["cg_height"] = np.full(ensemble.size, _USUAL_CG)
    else:
        values["cg_height"] = values_at(height, own.standard_normal(ensemble.size))
    density = np.asarray(job.air(ensemble).density, dtype=float).reshape(-1)
    return Setup(
        **values,
        mass=draws(f"mass_states.{mass.name}.mass", mass.mass),
        wheelbase=draws("car.wheelbase", car.wheelbase),
        density=np.broadcast_to(density, ensemble.size).copy(),
    ), notices


def fault_tree(h: Hypothesis, accepted: list[Cure]) -> Tree:
    """Return a hypothesis as a plain tree; ``taken`` where each of its cures was accepted."""
    known = {(c.kind, c.role, c.other) for c in accepted}
    taken = bool(h.cures) and all((c.kind, c.role, c.other) in known for c in h.cures)
    return {
        "kind": h.kind, "title": h.title, "evidence": list(h.evidence), "size": h.size,
        "low": h.low, "high": h.high, "unit": h.unit, "strength": h.strength,
        "is_fault": h.is_fault, "worth": h.worth, "taken": taken,
        "changes": {axle: list(pair) for axle, pair in (h.changes or {}).items()},
        "cures": [
            {"kind": c.kind, "role": c.role, "size": c.size, "other": c.other,
             "because": c.because, "doubt": c.doubt, "known_load": c.known_load,
             "words": c.words()}
            for c in h.cures
        ],
    }  # fmt: skip


def _pass_tree(one: Any) -> Tree:
    return {"state": one.state, "speed": one.speed, "nominal": one.nominal, "way": one.way,
            "start": one.start, "end": one.end, "lines": list(one.lines)}  # fmt: skip


def _results_tree(reduction: Reduction) -> list[Tree]:
    return [
        {
            "state": r.state, "speed": r.speed, "passes": list(r.passes),
            "both_ways": r.both_ways, "front": r.front, "rear": r.rear,
            "height_front": r.height_front, "height_rear": r.height_rear,
            "standard_error": list(r.standard_error), "dof": r.dof,
        }
        for r in reduction.results
    ]  # fmt: skip


def _budgets(table: PassTable, reduction: Reduction, setup: Setup) -> list[Tree]:
    """Return the uncertainty budget at each state's fastest speed."""
    found = []
    for state in dict.fromkeys(r.state for r in reduction.results):
        result = max((r for r in reduction.results if r.state == state), key=lambda r: r.speed)
        lines = uncertainty_budget(table, setup, result)
        found.append({"state": state, "speed": result.speed,
                      "lines": [[x.name, x.front, x.rear] for x in lines]})  # fmt: skip
    return found


def _load_area(reduction: Reduction, project: Project) -> float:
    """Return the baseline's mean CzS over the speeds it was driven at. [m²]"""
    base = project.state().name
    rows = [float(np.median(r.total)) for r in reduction.results if r.state == base]
    return float(np.mean(rows)) if rows else 0.0


def _coast_tree(job: Job, day: TrialDay, setup: Setup, load_area: float) -> Tree | None:
    """Return what the coast-downs of a day say, None where there were none.

    Tyres roll under weight and downforce alike, so the square term holds CxS + Crr CzS.
    """
    if not day.coast_downs:
        return None
    from tuftwork.trial.coastdown import effective_mass
    from tuftwork.trial.coastfit import fit_coastdown
    from tuftwork.trial.coastlog import coast_runs
    from tuftwork.trial.roadload import judge_runs

    runs = coast_runs(read_day(job, day, coast=True).log)
    rotating = day.rotating or parse_quantity(ROTATING, "share")
    mass = effective_mass(setup.mass, rotating.best)
    best = float(np.median(mass))
    fit = fit_coastdown(runs, best)
    noise = np.random.default_rng(crc32(f"{day.name} coast".encode()))
    size = np.asarray(setup.density).size
    spin = values_at(rotating, noise.standard_normal(size))
    weight = np.asarray(setup.mass) * (1 + spin) / best
    area, doubt = fit.drag_area(float(np.median(setup.density)))
    thicker = np.median(setup.density) / np.asarray(setup.density)
    square = (area + doubt * noise.standard_normal(size)) * weight * thicker
    own = job.project.car.rolling_resistance or parse_quantity("0.012..0.018", "ratio")
    tyres = values_at(own, noise.standard_normal(size)) * load_area
    rolling, u_rolling = float(fit.resistance.constant), float(np.sqrt(fit.covariance[0, 0]))
    return {
        "runs": len(runs), "drag": square - tyres, "tyres": float(np.median(tyres)),
        "rolling": (rolling + u_rolling * noise.standard_normal(size)) * weight,
        "wind": fit.wind, "grade": fit.grade, "split": fit.split, "scatter": fit.scatter,
        "dof": fit.dof, "notices": list(fit.notices),
        "from": float(max(r.speed[0] for r in runs)), "to": float(min(r.speed[-1] for r in runs)),
        "standards": [
            [j.name, list(j.short_of)]
            for j in judge_runs(
                min(sum(r.way > 0 for r in runs), sum(r.way < 0 for r in runs)), wind=fit.wind,
                grade=fit.grade, from_speed=float(min(r.speed[0] for r in runs)),
                to_speed=float(max(r.speed[-1] for r in runs)),
            )
        ],
    }  # fmt: skip
