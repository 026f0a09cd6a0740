"""The map file that is handed over: header, device tables, a slice per attitude, method."""

import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.dataset import to_dataset
from tuftwork.aeromap.map import FIELDS, AeroMap, MapHeader
from tuftwork.aeromap.part import draws_of
from tuftwork.files.atomic import write_atomic
from tuftwork.quantity import ORIGINS, format_plain
from tuftwork.study.answers import Answers
from tuftwork.study.car.device import require_rows
from tuftwork.study.car.leverage import LEVERS, Lever, levers_of
from tuftwork.study.cliff import cliff_of

if TYPE_CHECKING:
    import xarray as xr

    from tuftwork.study.survey import Filled
    from tuftwork.study.survey_plan import Plan

_KMH = 3.6
_CROSSED = 6  # levers of parts whose cross terms are given


def full_header(answers: Answers, base: MapHeader) -> MapHeader:
    """Return a header with all that a reader of the map must know of the car."""
    project = answers.project
    tyres = [
        f"{name} {format_plain(axle.tyre_diameter.best, 'height', 'mm')} unloaded, "
        f"{format_plain(axle.tyre_rate.best, 'stiffness', 'N/mm')}"
        for name, axle in (("front", project.car.front), ("rear", project.car.rear))
        if axle is not None
    ]
    settings = [
        f"{s.name}: {', '.join(f'{k} = {v}' for k, v in s.values.items()) or 'as the parts say'}"
        + (f"; without {', '.join(s.without)}" if s.without else "")
        for s in project.states
    ]
    air = answers.job.air()
    length = project.car.wheelbase.best
    reynolds = answers.job.top_speed * length * float(air.density) / float(air.viscosity)
    cooling = "closed form streams" if project.cooling is None else "air net of the project"
    return replace(
        base,
        settings="; ".join(settings) or "one state",
        tyres="; ".join(tyres),
        cooling=cooling,
        reynolds=f"{reynolds:.3g} on the wheelbase at {answers.job.top_speed * _KMH:.0f} km/h",
        cliffs="; ".join(f"{s}: {cliff_of(answers, s).text}" for s in answers.states),
        hysteresis="; ".join(_hysteresis(answers, s) for s in answers.states),
        digest=base.digest or answers.project.about.title,
        changes=f"made on {base.day}" if base.day else "first version",
    )


def _hysteresis(answers: Answers, state: str) -> str:
    """Return whether a car comes back at other heights than it went, in words."""
    ride, keep = answers.ride(state), answers.kept(state)
    up = np.asarray(ride["ride_height_rear"])[:, keep]
    down = np.asarray(ride["falling_rear"])[:, keep]
    differs = np.mean(np.abs(up - down) > 0.5e-3, axis=1)
    if not np.any(differs > 0.05):
        return f"{state}: the same through rising and falling speed"
    at = int(np.argmax(differs))
    speed = float(np.asarray(ride["speed"])[at]) * _KMH
    return (
        f"{state}: near {speed:.0f} km/h {100 * differs[at]:.0f} % of the draws ride at other "
        "heights through falling speed"
    )


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
            made = _map_of(plan, base, filled, at, header)
            if at == 0:
                require_rows(made, answers.project)
            dataset = _with_method(to_dataset(made), plan, filled, at)
            if at == 0:
                dataset = _with_devices(dataset, answers)
            group = None if at == 0 else attitude.name.replace(" ", "_").replace("°", "")
            pressed = {"zlib": True, "complevel": 4, "shuffle": True}
            encoding = {n: pressed for n, v in dataset.data_vars.items() if v.dtype.kind in "fi"}
            dataset.to_netcdf(
                draft, engine="h5netcdf", mode="w" if at == 0 else "a", group=group,
                encoding=encoding,
            )  # fmt: skip
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(path, draft.read_bytes())


def _map_of(
    plan: "Plan", base: AeroMap, filled: "Mapping[tuple[str, int], Filled]", at: int,
    header: MapHeader,
) -> AeroMap:  # fmt: skip
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
        extrapolated=np.zeros(shape, dtype=bool), notices=tuple(notices),
        header=replace(
            header, roll=f"{np.degrees(attitude.roll):.2f}°", yaw=f"{np.degrees(attitude.yaw):.2f}°"
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
    if "side" in some[0].fields:
        for name, key, unit, words in (
            ("CyS", "side", "m2", "side force area, to the right"),
            ("CnSL", "yaw_moment", "m3", "yaw moment volume about mid wheelbase, nose right"),
        ):
            values = np.stack([f.fields[key] for f in some])
            for end, share in (("low", 0.1), ("best", 0.5), ("high", 0.9)):
                dataset[f"{name}_{end}"] = (cell, np.quantile(values, share, axis=-1), {
                    "long_name": f"{words}, {100 * share:.0f} % quantile of draws", "units": unit,
                })  # fmt: skip
    return dataset


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
