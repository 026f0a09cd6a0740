"""The lap as steps of the study: every circuit × state on the study's own aero map, every draw.

A lap that cannot be run keeps nobody from the rest of the study: the step then holds the reason,
and the page, the command and the report say it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.car import LapCircuit
from tuftwork.errors import NotConverged, NotCovered, TuftworkError
from tuftwork.lap import (
    AeroTable,
    Case,
    Circuit,
    Lap,
    LapEnergy,
    PolarPlane,
    Surroundings,
    energy_of,
    least_time_line,
    occupancy,
    polar_plane,
    prepare,
    run_case,
)
from tuftwork.lap.draws import over_draws
from tuftwork.lap.parameter import INDEX, NAMES
from tuftwork.lap.place import corner_bounds
from tuftwork.lap.solve import gradient_of, run_kernel
from tuftwork.quantity import Array, Ensemble
from tuftwork.study.inputs import has_platform, state_names
from tuftwork.study.job import Job, _tables
from tuftwork.study.lap_car import LapCar, grip_needs, lap_car, lap_names
from tuftwork.study.lap_map import (
    aero_table,
    fields_of,
    middle_table,
    wide_map,
    wide_name,
    wide_step,
    widened,
)
from tuftwork.study.lap_road import (
    SPACING,
    circuit_driven,
    circuit_inputs,
    circuit_made,
    line_name,
    line_needs,
)
from tuftwork.study.lap_tree import occupancy_tree, plan_of, trace_tree
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

N_POINT = 600
"""Cells of a lap: differences between states are then within 0.003 s of 4,000 cells, lap time
itself is 0.07 s short of it. A test holds this to account."""

_FEWEST = 0.5  # [-] of the draws must give a lap for an answer to be given
_VERSION = 2


def lap_steps(job: Job) -> list[Step]:
    """Return one step for every circuit and state, and one for the trim table."""
    from tuftwork.study.grip import grip_steps
    from tuftwork.study.lap_device import device_steps
    from tuftwork.study.trim import trim_step

    project = job.project
    if project.lap is None or not project.parts or not has_platform(project):
        return []
    steps = grip_steps(job)
    steps += [wide_step(job, state) for state in state_names(project)]
    steps += [_line_step(job, c) for c in project.lap.circuits if c.line == "least time"]
    steps += [
        _lap_step(job, circuit, state)
        for circuit in project.lap.circuits
        for state in state_names(project)
    ]
    steps += device_steps(job)
    return steps + ([trim_step(job)] if project.lap.trim is not None else [])


def step_name(circuit: str, state: str) -> str:
    """Return the name of the step that laps a state on a circuit."""
    return f"lap {circuit}: {state}"


def lap_inputs(job: Job) -> Tree:
    """Return everything of the car that a lap depends on besides its aero."""
    names = lap_names(job.project)
    chosen = {
        name: quantity
        for name, quantity in job.quantities.items()
        if name in names or name.startswith(("car.", "mass_states.", "weather."))
    }
    lap, car = job.project.lap, job.project.car
    assert lap is not None
    return {
        "quantities": {
            name: [q.best, q.low, q.high, q.spread] for name, q in sorted(chosen.items())
        },
        "mass_state": job.project.mass_state().name,
        "driven": lap.driven,
        "aspiration": car.aspiration,
        "power": [row.model_dump_json() for row in lap.power],
        "gears": lap.gears.model_dump_json() if lap.gears is not None else "",
        "lengths": [str(lap.width), str(car.wheelbase)]
        + [str(a.track) if a else "" for a in (car.front, car.rear)],
        "roll": [str(lap.roll_angle), str(lap.roll_loss)],
        "points": N_POINT,
    }


def _lap_step(job: Job, table: LapCircuit, state: str) -> Step:
    own = job.project.state(state if job.project.states else "")

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        ensemble = job.driven(results)
        axes = results["axes"]

        def answer() -> Tree:
            circuit = circuit_driven(job.project, table, job.folder, results)
            pulse.beat(0.05)
            car = drawn_car(job, state, ensemble)
            wide = widened(axes, job.project)
            fields = {name: values[None] for name, values in fields_of(results, state).items()}
            aero = aero_table(wide, fields, car)
            pulse.beat(0.3)
            return lap_of_draws(circuit, car, aero, pulse)

        return or_refused(answer)

    inputs = {
        "circuit": circuit_inputs(job, table),
        "car": lap_inputs(job),
        "heights": [str(own.ride_height_front), str(own.ride_height_rear)],
    }
    return Step(
        name=step_name(table.name, state), title=f"Lap of {table.name}: {state}", inputs=inputs,
        needs=(*grip_needs(job.project), "axes", wide_name(state), *line_needs(table)),
        work=work, weight=2.0, version=_VERSION,
    )  # fmt: skip


def _line_step(job: Job, table: LapCircuit) -> Step:
    """Return the step that finds the quickest line of a circuit for the baseline car."""
    base = state_names(job.project)[0]
    own = job.project.state(base if job.project.states else "")

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        def answer() -> Tree:
            circuit = circuit_made(table, job.folder)
            case = middle_case(job, results, table, base, circuit)
            given = run_case(case).time
            pulse.beat(0.1)
            found = least_time_line(
                circuit, case.vehicle, case.aero, spacing=SPACING,
                air=Surroundings(density=float(case.parameters[INDEX["density"]])),
            )  # fmt: skip
            return {"offset": found.offset, "times": found.times, "given": given}

        return or_refused(answer)

    inputs = {
        "circuit": circuit_inputs(job, table), "car": lap_inputs(job),
        "heights": [str(own.ride_height_front), str(own.ride_height_rear)],
    }  # fmt: skip
    return Step(
        name=line_name(table.name), title=f"Quickest line of {table.name}", inputs=inputs,
        needs=(*grip_needs(job.project), "axes", f"map {base}", *_tables(job.project)),
        work=work, weight=8.0,
    )  # fmt: skip


def or_refused(answer: Callable[[], Tree]) -> Tree:
    """Return an answer, or the reason why there is none."""
    try:
        return answer()
    except TuftworkError as error:
        return {"refused": str(error)}


def middle_case(
    job: Job, results: Mapping[str, Tree], table: LapCircuit, state: str,
    circuit: Circuit | None = None,
) -> Case:  # fmt: skip
    """Return the lap of the car in the middle of the draws, ready to be run with changes."""
    car = drawn_car(job, state, job.driven(results))
    wide = widened(results["axes"], job.project)
    fields = {name: values[None] for name, values in wide_map(job, state, wide, results)}
    aero = middle_table(aero_table(wide, fields, car))
    if circuit is None:
        circuit = circuit_driven(job.project, table, job.folder, results)
    return prepare(circuit, car.vehicle, aero, air=car.air, n_point=N_POINT)


def lap_of_draw(
    job: Job, results: Mapping[str, Tree], table: LapCircuit, state: str, draw: int
) -> Lap:
    """Return the lap of one draw of the study, as its step ran it, with its trace."""
    car = drawn_car(job, state, job.driven(results))
    one = slice(draw, draw + 1)
    fields = {name: v[None, ..., one] for name, v in fields_of(results, state).items()}
    aero = aero_table(widened(results["axes"], job.project), fields, car)
    circuit = circuit_driven(job.project, table, job.folder, results)
    case = prepare(circuit, car.vehicle, aero, air=car.air, n_point=N_POINT)
    return run_case(replace(case, parameters=car.draws.parameters(case)[draw]))


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnLaps:
    """Many laps of one case: seconds, top speed, what each corner takes, and slopes.

    Attributes
    ----------
    time, top_speed : (n_draw,)
        NaN where a draw has no lap. [s], [m/s]
    corner_time, corner_speed : (n_corner, n_draw)
        Time of each corner with half of the straights beside it, slowest speed in it.
    slopes : (n_draw, n_parameter)
        Exact gradient of lap time; empty where not asked.
    """

    time: Array
    top_speed: Array
    corner_time: Array
    corner_speed: Array
    slopes: Array


def drawn_laps(
    case: Case, parameters: Array, *, slopes: bool = False, mix: Array | None = None
) -> DrawnLaps:
    """Return the laps of all draws; a draw whose ride heights find no balance is left out."""
    corners = case.circuit.corners
    bounds = corner_bounds(case.circuit)
    wanted = len(corners)

    def one(draw: int) -> Array:
        found = np.full(2 + 2 * wanted + (len(NAMES) if slopes else 0), np.nan)
        coefficients = case.aero.of_draw(draw)
        try:
            record = run_kernel(case, parameters[draw], coefficients, mix)
        except NotConverged:
            return found
        speed = np.sqrt(2.0 * np.asarray(record[1]))
        found[0], found[1] = record[0], speed.max()
        found[2 : 2 + wanted] = _corner_times(case, speed, bounds, float(record[0]))
        found[2 + wanted : 2 + 2 * wanted] = _corner_speeds(case, speed)
        if slopes:
            found[2 + 2 * wanted :] = gradient_of(
                case, record, parameters[draw], coefficients, case.mix if mix is None else mix
            )
        return found

    rows = np.array(over_draws(one, parameters.shape[0]))
    return DrawnLaps(
        time=rows[:, 0], top_speed=rows[:, 1], corner_time=rows[:, 2 : 2 + wanted].T,
        corner_speed=rows[:, 2 + wanted : 2 + 2 * wanted].T, slopes=rows[:, 2 + 2 * wanted :],
    )  # fmt: skip


def _corner_times(case: Case, speed: Array, bounds: Array, time: float) -> Array:
    """Return the time between the bounds of the corners' shares, all round the lap. [s]"""
    mesh = case.mesh
    elapsed = np.r_[0.0, np.cumsum(2.0 * mesh.length / (speed[1:] + speed[:-1]))]
    # inside a cell driving meets braking: what that takes off the lap is shared out evenly
    elapsed *= time / elapsed[-1]
    begin, length = mesh.station[0], case.circuit.length
    if not mesh.closed:
        at = np.interp(bounds, mesh.station, elapsed)
        return np.diff(np.r_[at, elapsed[-1]])
    at = np.interp((bounds - begin) % length, mesh.station - begin, elapsed)
    return np.asarray(np.diff(np.r_[at, at[0]]) % elapsed[-1])


def _corner_speeds(case: Case, speed: Array) -> Array:
    """Return the slowest speed of every corner. [m/s]"""
    station, length = case.mesh.station, case.circuit.length
    start = case.circuit.station[0]
    place = (station - start) % length + start if case.mesh.closed else station
    return np.array(
        [
            speed[(place >= c.start) & (place <= c.end)].min(initial=np.inf)
            for c in case.circuit.corners
        ]
    )


def lap_of_draws(circuit: Circuit, car: LapCar, aero: AeroTable, pulse: Pulse) -> Tree:
    """Return a step's result: laps of all draws, and the trace of the middle car."""
    case = prepare(circuit, car.vehicle, aero, air=car.air, n_point=N_POINT)
    laps = drawn_laps(case, car.draws.parameters(case), slopes=True)
    lost = int(np.sum(~np.isfinite(laps.time)))
    if lost > (1 - _FEWEST) * laps.time.size:
        raise NotCovered(
            f"{lost} of {laps.time.size} draws have no lap: their ride heights find no balance. "
            "Raise the car or stiffen it."
        )
    pulse.beat(0.9)
    table = middle_table(aero)
    one = prepare(circuit, car.vehicle, table, air=car.air, n_point=N_POINT)
    middle = run_case(one)
    energy = energy_of(one, middle)
    spent = occupancy(middle, table)
    plane = polar_plane(one)
    notices = [*circuit.notices, *car.notices, *middle.notices]
    if lost:
        notices.append(
            f"{lost} of {laps.time.size} draws have no lap (ride heights find no balance) and are "
            "left out"
        )
    return {
        "time": laps.time, "top_speed": laps.top_speed, "corner_time": laps.corner_time,
        "corner_speed": laps.corner_speed, "slopes": laps.slopes,
        "corners": [
            {"name": c.name, "class": c.corner_class, "start": c.start, "apex": c.apex,
             "end": c.end, "radius": c.radius}
            for c in circuit.corners
        ],
        "length": circuit.length, "plan": plan_of(circuit),
        "middle": middle.time, "outside": middle.extrapolated,
        "near_cliff": spent.near_cliff, "occupancy": occupancy_tree(spent, table),
        "plane": {name: getattr(plane, name) for name in PolarPlane.__dataclass_fields__},
        "energy": {name: getattr(energy, name) for name in LapEnergy.__dataclass_fields__},
        "trace": trace_tree(middle.trace), "notices": notices,
    }  # fmt: skip


def drawn_car(job: Job, state: str, ensemble: Ensemble) -> LapCar:
    """Return the car of a state with an ensemble's draws."""
    air, engine = job.air(ensemble), job.engine(ensemble)
    return lap_car(job.project, state, job.quantities, ensemble, air.density, engine)
