"""The map file that is handed over: header, device tables, a slice per attitude, method."""

import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.dataset import WHOLE, to_dataset, whole_checksum
from tuftwork.aeromap.map import FIELDS, AeroMap, MapHeader
from tuftwork.aeromap.part import draws_of
from tuftwork.files.atomic import write_atomic
from tuftwork.quantity import ORIGINS
from tuftwork.study.answers import Answers
from tuftwork.study.car.device import require_rows
from tuftwork.study.car.leverage import LEVERS, Lever, levers_of
from tuftwork.study.reach import beyond_tables
from tuftwork.study.survey_header import SOURCES, full_header, outside_of, source_of

if TYPE_CHECKING:
    import xarray as xr

    from tuftwork.study.survey import Filled
    from tuftwork.study.survey_plan import Plan, Slice

_KMH = 3.6
_BLANKED = np.array([0.0, 0.1, 0.2, 0.3, 0.4])  # [-] steps of tape over the coolers
_CROSSED = 6  # levers of parts whose cross terms are given
_BESIDE = (
    ("CyS", "side", "m2", "side force area, to the right"),
    ("CnSL", "yaw_moment", "m3", "yaw moment volume about mid wheelbase, nose right"),
    ("cooling_flow", "mass_flow", "kg s-1",
     "mass flow of the air taken in for cooling, at this speed and density"),
)  # fmt: skip
"""Fields beside those of every map: name, field of a block, unit, meaning."""


def write_survey(
    path: Path, answers: Answers, plan: "Plan", filled: "Mapping[tuple[str, int], Filled]"
) -> None:
    """Write a survey as one netCDF file, whole or not at all.

    The straight slice stands at the root, in the form of every map; other attitudes are groups.

    Raises
    ------
    NotCovered
        If a position or failure of a device has no rows, or incomplete ones.
    """
    base = answers.aero_map()
    header = full_header(answers, base.header)
    with tempfile.TemporaryDirectory() as place:
        draft = Path(place) / "survey.nc"
        for at, attitude in enumerate(plan.survey.slices):
            made = _map_of(plan, answers, filled, at, header)
            if at == 0:
                require_rows(made, answers.project)
            dataset = _with_method(to_dataset(made), plan, filled, at)
            dataset["source"] = (("state", "hf", "hr"), _sources(plan, answers), {
                "long_name": "where the cell's numbers come from",
                "flag_values": np.arange(len(SOURCES), dtype=np.int8),
                "flag_meanings": " ".join(SOURCES),
            })  # fmt: skip
            if at == 0:
                dataset = _with_blanking(_with_devices(dataset, answers), answers)
                dataset.attrs["slices"] = ", ".join(map(group_of, plan.survey.slices[1:]))
            dataset.attrs[WHOLE] = whole_checksum(dataset)
            group = None if at == 0 else group_of(attitude)
            pressed = {"zlib": True, "complevel": 4, "shuffle": True}
            encoding = {n: pressed for n, v in dataset.data_vars.items() if v.dtype.kind in "fi"}
            dataset.to_netcdf(
                draft, engine="h5netcdf", mode="w" if at == 0 else "a", group=group,
                encoding=encoding,
            )  # fmt: skip
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(path, draft.read_bytes())


def group_of(attitude: "Slice") -> str:
    """Return the name of a slice's group in the file: ``roll_1.0``, ``120_km_h``."""
    return attitude.name.replace(" ", "_").replace("°", "").replace(",", "").replace("/", "_")


def _sources(plan: "Plan", answers: Answers) -> np.ndarray:
    cells = np.ones((plan.front.size, plan.rear.size), dtype=np.int8)
    return np.stack([source_of(answers, s) * cells for s in plan.cases])


def _map_of(
    plan: "Plan", answers: Answers, filled: "Mapping[tuple[str, int], Filled]", at: int,
    header: MapHeader,
) -> AeroMap:  # fmt: skip
    base = answers.aero_map()
    states = tuple(plan.cases)
    some = [filled[s, at] for s in states]
    attitude = plan.survey.slices[at]
    shape = (len(states), plan.front.size, plan.rear.size)
    notices = dict.fromkeys(n for f in some for n in f.notices)
    stacked = [np.stack([f.fields[name] for f in some]) for name in FIELDS]
    return replace(
        base, front=plan.front, rear=plan.rear, states=states,
        downforce_front=stacked[0], downforce_rear=stacked[1], drag=stacked[2],
        origin=np.full(shape, ORIGINS.index("computed")), valid=np.ones(shape, dtype=bool),
        extrapolated=np.stack([
            outside_of(answers, plan.rear)
            | beyond_tables(answers.models(s), plan.front, plan.rear)
            for s in states
        ]),
        notices=tuple(notices),
        air=replace(base.air, speed=attitude.speed or base.air.speed),
        header=replace(
            header, roll=f"{np.degrees(attitude.roll):.2f}°",
            yaw=f"{np.degrees(attitude.yaw):.2f}°",
            steer=f"{np.degrees(attitude.steer):.2f}°" if attitude.steer else header.steer,
            reynolds=header.reynolds if attitude.speed is None else _reynolds(answers, attitude),
        ),
    )  # fmt: skip


def _with_method(
    dataset: "xr.Dataset", plan: "Plan", filled: "Mapping[tuple[str, int], Filled]", at: int
) -> "xr.Dataset":
    """Add how each cell was made, what reading between runs may be off, side force and moment."""
    cell = ("state", "hf", "hr")
    some = [filled[s, at] for s in plan.cases]
    dataset["method"] = (cell, np.stack([(~f.was_run).astype(np.int8) for f in some]), {
        "long_name": "how the cell was made", "flag_values": np.array([0, 1], dtype=np.int8),
        "flag_meanings": "run read_between_runs",
    })  # fmt: skip
    dataset["CzS_between"] = (cell, np.stack([f.deviation for f in some]), {
        "long_name": "standard deviation of CzS from reading between runs", "units": "m2",
    })  # fmt: skip
    shape = (*some[0].was_run.shape, plan.n_draw)
    for name, key, unit, words in _BESIDE:
        # a car that runs straight in still air has no side force, one without coolers no flow
        values = np.stack([f.fields.get(key, np.zeros(shape)) for f in some])
        for end, share in (("low", 0.1), ("best", 0.5), ("high", 0.9)):
            dataset[f"{name}_{end}"] = (cell, np.quantile(values, share, axis=-1), {
                "long_name": f"{words}, {100 * share:.0f} % quantile of draws", "units": unit,
            })  # fmt: skip
        dataset[f"{name}_uncertainty"] = (cell, np.std(values, axis=-1), {
            "long_name": f"standard uncertainty of the {words}", "units": unit,
            "cell_methods": "draw: standard_deviation",
        })  # fmt: skip
    return _with_error(dataset, some)


def _with_error(dataset: "xr.Dataset", some: "list[Filled]") -> "xr.Dataset":
    """Add how good reading between runs is, and where one run more would help most."""
    nan = float("nan")
    for name, unit, words, values in (
        ("held_out_error", "m2", "rms miss of CzS at runs drawn by lot that the reading never saw",
         [nan if f.judged is None else f.judged.held.rms for f in some]),
        ("held_out_covered", "1", "share of these misses in the reading's 80 % range",
         [nan if f.judged is None else f.judged.covered for f in some]),
        ("held_out_count", "1", "runs drawn by lot",
         [0 if f.judged is None else f.judged.held.count for f in some]),
        ("next_hf", "m", "front ride height at which one run more would help most",
         [nan if f.next_run is None else dataset["hf"].to_numpy()[f.next_run[0][0]] for f in some]),
        ("next_hr", "m", "rear ride height at which one run more would help most",
         [nan if f.next_run is None else dataset["hr"].to_numpy()[f.next_run[0][1]] for f in some]),
    ):  # fmt: skip
        dataset[name] = ("state", np.array(values), {"long_name": words, "units": unit})
    return dataset


def _with_blanking(dataset: "xr.Dataset", answers: Answers) -> "xr.Dataset":
    """Add what covering the coolers costs and gains, step by step, at unchanged ride heights."""
    state = answers.states[0]
    speed = answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]
    models, platform = answers.models(state), answers.platform(state, speed)
    draws = draws_of(models, answers.ensemble)
    faces = [f"{m.name}.core_area" for m in models if f"{m.name}.core_area" in draws]
    if not faces:
        return _with_net_blanking(dataset, answers)
    found = {name: np.zeros((_BLANKED.size, 3)) for name in ("CzS", "CzSf", "CxS", "cooling_flow")}
    for k, covered in enumerate(_BLANKED):
        changed = dict(draws) | {face: draws[face] * (1 - covered) for face in faces}
        load = car_loads(models, platform, changed)
        none = np.zeros_like(load.drag)
        for name, values in (
            ("CzS", load.downforce), ("CzSf", load.downforce_front), ("CxS", load.drag),
            ("cooling_flow", none if load.mass_flow is None else load.mass_flow + none),
        ):  # fmt: skip
            found[name][k] = np.quantile(values, (0.1, 0.5, 0.9))
    dataset = dataset.assign_coords(blanked=("blanked", _BLANKED, {
        "long_name": "share of every cooler's face that is covered", "units": "1"}))  # fmt: skip
    for name, values in found.items():
        dataset[f"blanked_{name}"] = (("blanked", "end"), values, {
            "long_name": f"{name} with the coolers' faces covered, at unchanged ride heights",
            "units": "kg s-1" if name == "cooling_flow" else "m2", "at": answers.at(state, speed),
        })  # fmt: skip
    return dataset


def _with_net_blanking(dataset: "xr.Dataset", answers: Answers) -> "xr.Dataset":
    """Add the drag of an air net by covered share, circuit by circuit, on the mildest day."""
    charts = answers.results.get("cooling charts", {}).get("blanked", {})
    if not charts:
        return dataset
    covered = np.asarray(answers.results["cooling charts"]["blanking"], dtype=float)
    dataset = dataset.assign_coords(
        circuit=("circuit", np.array(list(charts), dtype=object)),
        blanked=("blanked", covered, {
            "long_name": "share of the circuit's coolers' faces that is covered", "units": "1"}),
    )  # fmt: skip
    dataset["blanked_CxS"] = (
        ("circuit", "blanked"), np.stack([np.asarray(c["drag"])[0] for c in charts.values()]),
        {"long_name": "drag area of the air net with a circuit's coolers covered", "units": "m2"},
    )  # fmt: skip
    return dataset


def _reynolds(answers: Answers, attitude: "Slice") -> str:
    air, speed = answers.job.air(), attitude.speed or answers.job.top_speed
    number = speed * answers.project.car.wheelbase.best * float(air.density) / float(air.viscosity)
    return f"{number:.3g} on the wheelbase at {speed * _KMH:.0f} km/h"


def _with_devices(dataset: "xr.Dataset", answers: Answers) -> "xr.Dataset":
    """Add the device tables: change per step with the platform settled and held, cross terms."""
    state = answers.states[0]
    speed = answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]
    levers = levers_of(answers, state, speed)
    at = answers.at(state, speed)

    def rows(pick: Any) -> np.ndarray:
        return np.array([[np.quantile(pick(v), q) for q in (0.1, 0.5, 0.9)] for v in levers])

    def held(lever: Lever) -> np.ndarray:
        return lever.held if lever.held is not None else np.full(lever.total.shape, np.nan)

    dataset = dataset.assign_coords(
        lever=("lever", np.array([v.name for v in levers], dtype=object)),
        end=("end", np.array(["low", "best", "high"], dtype=object)),
    )
    dataset["lever_step"] = ("lever", np.array([v.step for v in levers], dtype=object))
    for name, pick, unit, words in (
        ("lever_CzS", lambda v: v.total, "m2", "change of CzS per step, platform settled"),
        ("lever_CzSf", lambda v: v.front, "m2", "change of CzSf per step, platform settled"),
        ("lever_CxS", lambda v: v.drag, "m2", "change of CxS per step, platform settled"),
        ("lever_CzS_held", held, "m2", "change of CzS per step at unchanged ride heights"),
    ):
        dataset[name] = (("lever", "end"), rows(pick), {
            "long_name": words, "units": unit, "at": at,
        })  # fmt: skip
    names, cross = _cross_terms(answers, state, speed)
    if len(names) > 1:
        dataset = dataset.assign_coords(
            crossed=("crossed", np.array(names, dtype=object)),
            crossed_with=("crossed_with", np.array(names, dtype=object)),
        )
        dataset["cross_CzS"] = (("crossed", "crossed_with"), cross, {
            "long_name": "CzS of two steps together less that of each, at unchanged ride heights",
            "units": "m2", "at": at,
        })  # fmt: skip
    return dataset


def _cross_terms(answers: Answers, state: str, speed: float) -> tuple[list[str], np.ndarray]:
    """Return how far steps of two devices do not add up, medians of the draws [m²]."""
    models, platform = answers.models(state), answers.platform(state, speed)
    draws = draws_of(models, answers.ensemble)
    paths = [
        (f"{part.name}.{key}", step)
        for part in answers.project.parts
        for key, step, _ in LEVERS.get(part.kind, ())[:2]
        if f"{part.name}.{key}" in draws
    ][:_CROSSED]

    def total(*moved: tuple[str, float]) -> np.ndarray:
        changed = dict(draws)
        for path, step in moved:
            changed[path] = changed[path] + step
        return np.asarray(car_loads(models, platform, changed).downforce)

    base = total()
    alone = {path: total((path, step)) for path, step in paths}
    cross = np.zeros((len(paths), len(paths)))
    for i, (one, step) in enumerate(paths):
        for j, (two, other) in enumerate(paths[:i]):
            both = total((one, step), (two, other)) - alone[one] - alone[two] + base
            cross[i, j] = cross[j, i] = float(np.median(both))
    return [path for path, _ in paths], cross
