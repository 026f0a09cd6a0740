"""Laps of a car whose devices move: by their schedule, held in a position, or failed.

Every position and every failure is a state of the car, so its lap with the device held there is one
of the study's laps already; the step here runs the schedule, every draw switching where it wants.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.car import Device, LapCircuit, Project
from tuftwork.car import Schedule as ScheduleTable
from tuftwork.errors import NotConverged, NotCovered
from tuftwork.lap import Case, Rule, Schedule, prepare, run_case
from tuftwork.lap.draws import over_draws
from tuftwork.lap.record import Record
from tuftwork.lap.schedule import Timing, follow
from tuftwork.lap.solve import run_kernel
from tuftwork.quantity import Array
from tuftwork.study.inputs import state_names
from tuftwork.study.job import Job
from tuftwork.study.lap import N_POINT, drawn_car, lap_inputs, or_refused
from tuftwork.study.lap_answer import Laps
from tuftwork.study.lap_car import grip_needs
from tuftwork.study.lap_map import aero_table, fields_of, middle_table, wide_name, widened
from tuftwork.study.lap_road import circuit_driven, circuit_inputs, line_needs
from tuftwork.study.lap_tree import trace_back, trace_tree
from tuftwork.study.number import json_ready
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

Page = dict[str, Any]
_FEWEST = 0.5  # [-] of the draws must settle for an answer to be given


def schedule_name(circuit: str, schedule: str) -> str:
    """Return the name of the step that laps a circuit by a schedule."""
    return f"lap {circuit} by {schedule}"


def schedule_of(table: ScheduleTable, device: Device) -> Schedule:
    """Return the lap's schedule of the project's."""
    keys = ("speed_above", "speed_below", "side_above", "side_below")
    rules = tuple(
        Rule(
            state=rule.position, braking=rule.braking,
            **{k: q.best for k in keys if (q := getattr(rule, k)) is not None},
        )
        for rule in table.rules
    )  # fmt: skip
    return Schedule(rules=rules, rest=device.positions[0], transition=device.travel.best)


def device_steps(job: Job) -> list[Step]:
    """Return one step for every circuit and schedule."""
    project = job.project
    if project.lap is None:
        return []
    known = state_names(project)
    return [
        _schedule_step(job, circuit, schedule)
        for circuit in project.lap.circuits
        for schedule in project.schedules
        if {*project.device(schedule.device).positions} <= {*known}
    ]


def _schedule_step(job: Job, circuit: LapCircuit, table: ScheduleTable) -> Step:
    project = job.project
    device = project.device(table.device)

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        def answer() -> Tree:
            rest = device.positions[0]
            ensemble = job.driven(results)
            car = drawn_car(job, rest, ensemble)
            wide = widened(results["axes"], project)
            maps = [fields_of(results, state) for state in device.positions]
            pulse.beat(0.3)
            fields = {name: np.stack([m[name] for m in maps]) for name in maps[0]}
            aero = aero_table(wide, fields, car, states=device.positions)
            road = circuit_driven(project, circuit, job.folder, results)
            case = prepare(road, car.vehicle, aero, air=car.air, n_point=N_POINT)
            middle = prepare(road, car.vehicle, middle_table(aero), air=car.air, n_point=N_POINT)
            return _laps(case, middle, car.draws.parameters(case), schedule_of(table, device))

        return or_refused(answer)

    inputs = {
        "circuit": circuit_inputs(job, circuit), "car": lap_inputs(job),
        "schedule": table.model_dump_json(), "device": device.model_dump_json(),
        "heights": str(project.state(device.positions[0]).ride_height_front)
        + str(project.state(device.positions[0]).ride_height_rear),
    }  # fmt: skip
    return Step(
        name=schedule_name(circuit.name, table.name),
        title=f"Lap of {circuit.name}: {table.name}", inputs=inputs, work=work, weight=4.0,
        needs=(*grip_needs(project), "axes", *(wide_name(s) for s in device.positions),
               *line_needs(circuit)),
    )  # fmt: skip


def _laps(case: Case, middle: Case, parameters: Array, schedule: Schedule) -> Tree:
    """Return laps of all draws by a schedule, and the trace of the middle car."""
    timing = Timing(mesh=case.mesh, states=case.aero.states)
    one = run_case(middle, schedule=schedule)
    _, mix = follow(schedule, timing, _solver(middle, middle.parameters, 0))
    first = np.where(mix[:, 2] > 0.0, mix[:, 1], mix[:, 0]).astype(np.int64)

    def run(draw: int) -> tuple[float, float]:
        try:
            record, _ = follow(schedule, timing, _solver(case, parameters[draw], draw), first)
        except NotConverged:
            return np.nan, np.nan
        return float(record[0]), float(np.sqrt(2.0 * np.max(record[1])))

    rows = np.array(over_draws(run, parameters.shape[0]))
    lost = int(np.sum(~np.isfinite(rows[:, 0])))
    if lost > (1 - _FEWEST) * rows.shape[0]:
        raise NotCovered(f"{lost} of {rows.shape[0]} draws have no lap that settles by this rule")
    trace = one.trace
    share = np.round(trace.state_share, 6)
    total = float(trace.duration.sum())
    held = {
        name: float(trace.duration[share == index].sum()) / total
        for index, name in enumerate(case.aero.states)
    }
    return {
        "time": rows[:, 0], "top_speed": rows[:, 1], "lost": lost, "held": held,
        "moves": int(np.sum(np.diff(np.round(share).astype(int)) != 0)),
        "trace": trace_tree(trace), "middle": one.time, "notices": list(one.notices),
    }  # fmt: skip


def _solver(case: Case, parameters: Array, draw: int) -> Any:
    coefficients = case.aero.of_draw(draw)

    def solve(mix: Array) -> Record:
        return run_kernel(case, parameters, coefficients, mix)

    return solve


def device_page(laps: Laps) -> list[Page]:
    """Return what every schedule is worth, and what is lost when its device stops or breaks."""
    project = laps.answers.project
    pages: list[Page] = []
    for table in project.schedules:
        found = laps.answers.results.get(schedule_name(laps.circuit, table.name))
        if found is None:
            continue
        device = project.device(table.device)
        head: Page = {"name": table.name, "device": device.name, "refused": ""}
        if "refused" in found:
            pages.append({**head, "refused": found["refused"], "rows": []})
            continue
        pages.append({**head, **_one_page(laps, table.name, device, found)})
    return pages


def _one_page(laps: Laps, name: str, device: Device, found: Tree) -> Page:
    rest = device.positions[0]
    own = np.asarray(found["time"], dtype=float)
    others = tuple(s for s in (*device.positions, *device.failures) if s != rest)
    time = laps.number(
        f"schedule/{name}/time", rest, own, title=f"Lap time, '{name}'", others=others
    )
    rows: list[Page] = []
    for kind, states in (("held", device.positions), ("failed", device.failures)):
        for state in states:
            try:
                seconds = laps.draws(state) - own
            except NotCovered as error:
                rows.append({"state": state, "kind": kind, "refused": str(error)})
                continue
            worth = laps.worth(state, seconds)
            lost = laps.number(
                f"schedule/{name}/{kind}/{state}", rest, seconds, others=others,
                title=f"Lap time: '{device.name}' {kind} in '{state}' less '{name}'",
                decision="Whether the device pays, and whether to park when it stops.",
            )  # fmt: skip
            rows.append(
                {"state": state, "kind": kind, "refused": "", "verdict": worth.verdict,
                 "change": lost | {"noise": worth.noise}, "share": found["held"].get(state)}
            )  # fmt: skip
    trace = trace_back(found["trace"])
    notices = list(found["notices"])
    if found["lost"]:
        notices.append(f"{found['lost']} of {own.size} draws do not settle and are left out")
    if _heights_differ(laps.answers.project, device):
        notices.append(
            f"ride heights at rest are those of '{rest}': a device does not move springs"
        )
    return {
        "time": time, "rows": rows, "moves": found["moves"], "travel": device.travel.best,
        "positions": list(device.positions), "notices": notices,
        "trace": json_ready(
            {"station": np.round(trace.station, 2), "speed_kmh": np.round(3.6 * trace.speed, 2),
             "position": np.round(trace.state_share, 3)}
        ),
    }  # fmt: skip


def _heights_differ(project: Project, device: Device) -> bool:
    keys = ("ride_height_front", "ride_height_rear")
    found = {tuple(str(getattr(project.state(s), k)) for k in keys) for s in device.positions}
    return len(found) > 1
