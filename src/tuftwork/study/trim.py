"""The trim table as a step of the study: every setting through the part engines and the platform.

Each value of what is turned gets a map of its own; ride heights move over it. Which settings keep
the balance is decided on the car in the middle of the draws; every row shown is then run for draws
of the study's ensemble that stand for all of them (``standing.py``), differences against the
baseline taken draw by draw, and the table is in order of the downforce in the middle of those
draws. The slider runs the same draws, so that it meets the table at its rows.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.map import FIELDS, AirAt, build_map
from tuftwork.aeromap.part import draws_of
from tuftwork.car import Project, State, Trim, TrimExtra
from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.lap import (
    AeroTable,
    Case,
    Circuit,
    Lap,
    NoGo,
    Setting,
    SpecialRow,
    TrimCar,
    TrimRequest,
    TrimRow,
    TrimTable,
    prepare,
    run_case,
    trim_rows_as_text,
    trim_table,
)
from tuftwork.lap.draws import over_draws
from tuftwork.lap.trim import set_vehicle
from tuftwork.lap.value import footing_of
from tuftwork.quantity import Array, Ensemble
from tuftwork.study.inputs import state_names
from tuftwork.study.job import Job, _tables, models_in
from tuftwork.study.lap import drawn_car, lap_inputs, or_refused, step_name
from tuftwork.study.lap_car import LapCar, few, grip_needs
from tuftwork.study.lap_map import Axes, aero_table, middle_table, widened
from tuftwork.study.lap_road import circuit_driven, circuit_inputs, line_needs
from tuftwork.study.standing import left_over, said_by_all, standing_draws
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

N_DRAW = 64
"""Draws behind the trim table and its slider; chosen to stand for all of the study's."""

N_POINT = 400
"""Cells of a lap here: differences between settings are within 0.005 s of 4,000 cells."""

BASELINE = "baseline"


def trim_of(project: Project) -> Trim:
    """Return the trim asked for, refusing a project that asks for none."""
    if project.lap is None or project.lap.trim is None:
        raise InputError("trim", "missing", "", "no trim table was asked for", "Add [lap.trim].")
    return project.lap.trim


def trim_circuit(project: Project) -> str:
    """Return the name of the circuit the trim table is for."""
    assert project.lap is not None
    return trim_of(project).circuit or project.lap.circuits[0].name


def trim_step(job: Job) -> Step:
    """Return the step that makes the trim table."""
    project = job.project
    trim, base = trim_of(project), state_names(project)[0]
    assert project.lap is not None
    table = next(c for c in project.lap.circuits if c.name == trim_circuit(project))

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        def answer() -> Tree:
            chosen, left = chosen_draws(project, results)
            ensemble = few(job.driven(results), chosen)
            axes = trim_axes(results["axes"], trim, project)
            maps = trim_maps(job, trim, (ensemble, axes), results)
            pulse.beat(0.4)
            car = drawn_car(job, base, ensemble)
            circuit = circuit_driven(project, table, job.folder, results)
            found = table_of_settings(project, circuit, car, aero_of_maps(axes, maps, car))
            notices = [*car.notices, _left_words(left, chosen.size, job.project.study.draws)]
            return found | {
                "axes": axes, "maps": maps, "chosen": chosen, "left": left,
                "notices": [line for line in notices if line],
            }  # fmt: skip

        return or_refused(answer)

    inputs = {
        "trim": trim.model_dump_json(),
        "circuit": circuit_inputs(job, table),
        "car": lap_inputs(job),
        "baseline": project.state(base if project.states else "").model_dump_json(),
        "parts": [part.model_dump_json() for part in project.parts],
        "draws": [N_DRAW, N_POINT],
    }
    return Step(
        name="trim", title="Trim table", inputs=inputs, work=work,
        needs=(
            *grip_needs(project), "axes", *line_needs(table), *_tables(project),
            *(f"ride {name}" for name in state_names(project)), *_lap_names(project),
        ),
        version=3, weight=4.0,
    )  # fmt: skip


def _lap_names(project: Project) -> list[str]:
    """Return the steps that lap the states on the table's circuit."""
    return [step_name(trim_circuit(project), name) for name in state_names(project)]


def chosen_draws(project: Project, results: Mapping[str, Tree]) -> tuple[Array, dict[str, float]]:
    """Return the draws that stand for all, and how far their middles are from those of all.

    What is left is the largest over the states: of CzS at the studied speeds [m²], and of the lap
    against the baseline. [s]
    """
    states, laps = state_names(project), _lap_names(project)
    chosen = standing_draws(said_by_all(results, states, laps), N_DRAW)
    loads, seconds = [0.0], [0.0]
    base = np.asarray(results[laps[0]].get("time", np.nan))
    for state, lap in zip(states, laps, strict=True):
        ride = results[f"ride {state}"]
        whole = np.asarray(ride["downforce_front"]) + np.asarray(ride["downforce_rear"])
        loads += [left_over(row, chosen) for row in whole]
        if state != states[0] and "refused" not in results[lap] and base.ndim:
            seconds.append(left_over(np.asarray(results[lap]["time"]) - base, chosen))
    return chosen, {"downforce": max(loads), "lap_change": max(seconds)}


def _left_words(left: Mapping[str, float], some: int, size: int) -> str:
    """Return in words how well the chosen draws stand for all; nothing where they are all."""
    if some == size:
        return ""
    return (
        f"{some} of {size} draws stand for all: for the states of the study their middles are "
        f"within {left['downforce']:.3f}\u202fm² of CzS and {left['lap_change']:.3f}\u202fs a lap "
        "of those of all draws"
    )


def trim_axes(axes: Tree, trim: Trim, project: Project) -> Axes:
    """Return the map's axes with nodes added where the trim's ride heights reach beyond them."""
    asked: dict[str, list[float]] = {}
    for axle in ("front", "rear"):
        key = f"ride_height_{axle}"
        asked[axle] = [q.best for q in getattr(trim, key)]
        own = [getattr(row, key) for row in trim.extra]
        asked[axle] += [q.best for q in own if q is not None]
    return widened(axes, project, asked)


def map_names(trim: Trim) -> tuple[str, ...]:
    """Return the names of the maps: baseline, every value, every row outside the dry order."""
    return (BASELINE, *trim.values, *(f"extra: {row.name}" for row in trim.extra))


def trim_maps(
    job: Job, trim: Trim, over: tuple[Ensemble, Mapping[str, Array]], results: Mapping[str, Tree]
) -> dict[str, Array]:
    """Return the maps of all values, by field ``(n_map, n_front, n_rear, n_draw)``. [m²]"""
    project, (ensemble, axes) = job.project, over
    base = project.state(state_names(project)[0] if project.states else "")
    changed: Sequence[Mapping[str, str | float]] = [
        {}, *({trim.vary: value} for value in trim.values), *(row.values for row in trim.extra)
    ]  # fmt: skip
    air = job.air()
    at = AirAt(speed=job.top_speed, density=float(air.density), viscosity=float(air.viscosity))
    made = []
    for index, change in enumerate(changed):
        state = State(name=f"trim {index}", values={**base.values, **change})
        altered = project.model_copy(update={"states": (*project.states, state)})
        models = models_in(altered, state.name, results)
        draws = draws_of(models, ensemble)

        def load(platform: PlatformState, models=models, draws=draws):  # type: ignore[no-untyped-def]
            return car_loads(models, platform, draws)

        found = build_map({"one": load}, front=axes["front"], rear=axes["rear"], air=at)
        made.append([getattr(found, name)[0] for name in FIELDS])
    return {name: np.stack([row[i] for row in made]) for i, name in enumerate(FIELDS)}


def aero_of_maps(axes: Tree, maps: Tree, car: LapCar) -> AeroTable:
    """Return the maps as one table, a block each, every draw."""
    count = np.asarray(maps[FIELDS[0]]).shape[0]
    fields = {name: np.asarray(maps[name]) for name in FIELDS}
    return aero_table(axes, fields, car, states=tuple(str(i) for i in range(count)))


def settings_of(trim: Trim, car: LapCar) -> list[Setting]:
    """Return every setting that could be run, by name as the mechanic says it."""
    springs = car.vehicle.suspension
    fronts = [q.best for q in trim.ride_height_front] or [springs.ride_height_front]
    rears = [q.best for q in trim.ride_height_rear] or [springs.ride_height_rear]
    part = trim.vary.rpartition(".")[0]
    return [
        Setting(
            name=f"{part} {trim.values[i]}, {1e3 * front:.0f} / {1e3 * rear:.0f} mm",
            values=((trim.vary, trim.values[i]),),
            ride_height_front=front, ride_height_rear=rear, state=str(1 + i),
        )
        for i, front, rear in product(range(len(trim.values)), fronts, rears)
    ]  # fmt: skip


def _special(trim: Trim, row: TrimExtra, index: int) -> SpecialRow:
    return SpecialRow(
        kind=row.kind,
        setting=Setting(
            name=row.name,
            values=tuple((key, str(value)) for key, value in row.values.items()),
            ride_height_front=row.ride_height_front.best if row.ride_height_front else None,
            ride_height_rear=row.ride_height_rear.best if row.ride_height_rear else None,
            state=str(1 + len(trim.values) + index),
        ),
        grip_scale=row.grip.best,
        note=row.note,
    )


def table_of_settings(project: Project, circuit: Circuit, car: LapCar, aero: AeroTable) -> Tree:
    """Return the trim table with the draws of every row shown."""
    trim = trim_of(project)
    middle = middle_table(aero)
    reference = Setting(name=state_names(project)[0], values=(), state="0")
    special = [_special(trim, row, i) for i, row in enumerate(trim.extra)]
    known = [c.name for c in circuit.corners]
    for name in trim.corners:
        if name not in known:
            raise UnknownName("trim corners", name, known)
    table = trim_table(
        circuit,
        TrimCar(vehicle=car.vehicle, aero_of=lambda _: middle, reference=reference, air=car.air),
        settings_of(trim, car),
        _request(trim),
        special=special, n_point=N_POINT,
    )  # fmt: skip
    runner = SettingRuns(circuit=circuit, car=car, aero=aero, corners=trim.corners)
    base = runner.run(reference)
    grips = {row.setting.name: row.grip_scale for row in special}
    drawn = {row.setting.name: runner.run(row.setting) for row in table.rows}
    table = replace(table, rows=tuple(sorted(
        table.rows, key=lambda row: -_median(drawn[row.setting.name]["downforce"])
    )))  # fmt: skip
    rows = [row_tree(row, "kept", base, drawn[row.setting.name]) for row in table.rows]
    rows += [
        row_tree(row, "special", base, runner.run(row.setting, grips.get(row.setting.name, 1.0)))
        for row in table.special
    ]
    rows += [row_tree(row, "left out", {}, {}) for row in table.left_out]
    return {"rows": rows, "text": trim_rows_as_text(table), "base": base, **_head(table)}


def _median(draws: Array) -> float:
    """Return the middle of the draws that have a lap; below all where none has."""
    there = draws[np.isfinite(draws)]
    return float(np.median(there)) if there.size else -np.inf


def _request(trim: Trim) -> TrimRequest:
    def height(name: str) -> float | None:
        quantity = getattr(trim, name)
        return quantity.best if quantity is not None else None

    no_go = None
    if trim.rear_below is not None or trim.front_below is not None:
        no_go = NoGo(
            rear_below=height("rear_below"), front_below=height("front_below"), reason=trim.reason
        )
    return TrimRequest(
        front_share=trim.front_share.best, band=trim.band.best, corners=trim.corners, no_go=no_go,
        blanking=tuple((row.above.best, row.step) for row in trim.blanking),
    )  # fmt: skip


def _head(table: TrimTable) -> Tree:
    no_go = table.no_go
    return {
        "circuit": table.circuit, "mass_state": table.mass_state,
        "front_share": table.front_share, "band": table.band, "corners": list(table.corners),
        "first_step": table.first_step, "caution": table.caution,
        "blanking": [[above, step] for above, step in table.blanking],
        "no_go": None if no_go is None else {
            "rear_below": no_go.rear_below, "front_below": no_go.front_below,
            "reason": no_go.reason,
        },
    }  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingRuns:
    """Runs one setting for every draw."""

    circuit: Circuit
    car: LapCar
    aero: AeroTable
    corners: tuple[str, str]

    def run(
        self, setting: Setting, grip: float = 1.0, mix: Array | None = None
    ) -> dict[str, Array]:
        """Return what a setting does, draw by draw; NaN where a draw has no lap.

        ``mix`` blends two blocks of the table (from, to, share).
        """
        case = self._case(setting, grip, mix)
        parameters = self.car.draws.parameters(case)
        spans = [self.circuit.corner(name) for name in self.corners if name]

        def one(draw: int) -> list[float]:
            try:
                lap = run_case(replace(case, parameters=parameters[draw]), draw=draw)
            except NotConverged:
                return [np.nan] * (4 + len(spans))
            trace, stand = lap.trace, footing_of(lap.trace)
            inside = [(trace.station >= c.start) & (trace.station <= c.end) for c in spans]
            return [
                lap.time, lap.top_speed, stand.downforce, stand.front_share,
                *(float(trace.speed[here].min()) for here in inside),
            ]  # fmt: skip

        rows = np.array(over_draws(one, parameters.shape[0]))
        names = ("time", "top_speed", "downforce", "front_share", "first", "second")
        return {name: rows[:, i] for i, name in enumerate(names[: rows.shape[1]])}

    def of_middle(self) -> "SettingRuns":
        """Return these runs for the car in the middle of the draws."""
        return replace(self, aero=middle_table(self.aero))

    def lap(self, setting: Setting, mix: Array) -> Lap:
        """Return the lap of a setting with the parameters' middle values, first block of draws."""
        return run_case(self._case(setting, 1.0, mix))

    def _case(self, setting: Setting, grip: float, mix: Array | None) -> Case:
        vehicle = set_vehicle(self.car.vehicle, setting, grip)
        case = prepare(
            self.circuit, vehicle, self.aero, air=self.car.air, state=setting.state,
            n_point=N_POINT,
        )  # fmt: skip
        if mix is None:
            return case
        return replace(case, mix=np.tile(mix, (case.mix.shape[0], 1)))


def row_tree(
    row: TrimRow, group: str, base: Mapping[str, Array], drawn: Mapping[str, Array]
) -> Tree:
    """Return a row as a plain tree: best values, and draws of what is shown with a range."""
    tree = {
        "group": group, "kind": row.kind, "name": row.setting.name,
        "values": dict(row.setting.values), "downforce": row.downforce,
        "front_share": row.front_share, "lap_change": row.lap_change,
        "top_speed": row.top_speed, "corner_change": list(row.corner_change),
        "ride_height_front": row.ride_height_front, "ride_height_rear": row.ride_height_rear,
        "ride_height_fast": list(row.ride_height_fast), "extrapolated": row.extrapolated,
        "warning": row.warning, "draws": {},
    }  # fmt: skip
    if drawn:
        change = {"lap_change": drawn["time"] - base["time"]}
        for key in ("first", "second"):
            change[key] = drawn[key] - base[key]
        kept = {key: drawn[key] for key in ("top_speed", "downforce", "front_share")}
        tree["draws"] = {**kept, **change}
    return tree
