"""Tunnel sessions, pressures and laps as steps: their tables read and reduced."""

from collections.abc import Mapping, Sequence
from typing import Any
from zlib import crc32

import numpy as np

from tuftwork.air import air_of
from tuftwork.car.session import PressureTest, TunnelSession
from tuftwork.car.trial import TrialDay
from tuftwork.errors import FileFault, InputError, NotCovered, TuftworkError
from tuftwork.files.evidence import FOLDER
from tuftwork.files.testtable import WORD, Row, TestTable, Wanted, read_test_table
from tuftwork.quantity import Quantity
from tuftwork.study.job import Job
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree
from tuftwork.trial.compare import Difference, compare
from tuftwork.trial.pressure import READING, coefficient_of, rake_flow, total_loss
from tuftwork.trial.tunnel_case import FIELDS, TunnelCase, TunnelPoint, TunnelResult
from tuftwork.trial.tunnel_run import reduce_tunnel

_SHARED = ("dynamic pressure", "choice of wall correction", "setting of ride heights")
_USUAL_LENGTH, _USUAL_FILL = 1.7, 0.75  # [-] of wheelbase; of frontal area times length
TUNNEL_COLUMNS: Mapping[str, Wanted] = {
    "state": Wanted(holds=WORD, must=False),
    "hf": Wanted(holds="height", unit="mm"), "hr": Wanted(holds="height", unit="mm"),
    "speed": Wanted(holds="speed", unit="m/s"), "drag": Wanted(holds="force", unit="N"),
    "lift": Wanted(holds="force", unit="N"), "pitch": Wanted(holds="moment", unit="N m"),
    "sweep": Wanted(holds=WORD, must=False), "kind": Wanted(holds=WORD, must=False),
}  # fmt: skip
LAP_COLUMNS: Mapping[str, Wanted] = {
    "state": Wanted(holds=WORD), "stint": Wanted(holds=WORD),
    "time": Wanted(holds="time", unit="s"), "use": Wanted(holds="", must=False),
}  # fmt: skip
PRESSURE_COLUMNS: Mapping[str, Wanted] = {
    "state": Wanted(holds=WORD, must=False), "speed": Wanted(holds="speed", unit="km/h"),
}  # fmt: skip


def session_steps(job: Job) -> list[Step]:
    """Return a step for every tunnel session, pressure test and day with a table of laps."""
    project = job.project
    steps = [
        _step(job, f"tunnel {one.name}", f"Tunnel: {one.name}", (one.data,), _tunnel, one)
        for one in project.tunnels
    ]
    steps += [
        _step(job, f"pressures {one.name}", f"Pressures: {one.name}", (one.data,), _pressures, one)
        for one in project.pressures
    ]
    steps += [
        _step(job, f"laps {day.name}", f"Laps: {day.name}", (day.laps,), _laps, day)
        for day in project.days if day.laps
    ]  # fmt: skip
    return steps


def _step(job: Job, name: str, title: str, files: Sequence[str], made: Any, table: Any) -> Step:
    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        try:
            found: Tree = made(job, table)
        except (FileFault, NotCovered, InputError) as error:
            # a table that cannot be read must not take the rest of the study with it
            return {"refused": _said(error)}
        return found

    project = job.project
    inputs = {
        "table": table.model_dump_json(),
        "evidence": [[e.file, e.digest, job.stamp(e.file)] for e in project.evidence
                     if e.id in files],
        "car": project.car.model_dump_json(), "weather": project.weather.model_dump_json(),
        "states": [s.name for s in project.states], "draws": project.study.draws,
    }  # fmt: skip
    return Step(name=name, title=title, inputs=inputs, needs=(), work=work, weight=0.2)


def _said(error: TuftworkError) -> list[str]:
    return [str(f) for f in error.faults] if isinstance(error, FileFault) else [str(error)]


def _table(
    job: Job, evidence: str, wanted: Mapping[str, Wanted], more: Wanted | None = None
) -> TestTable:
    if job.folder is None:
        raise NotCovered("The project has no folder, so its tables cannot be read.")
    item = next(e for e in job.project.evidence if e.id == evidence)
    table = read_test_table(job.folder / FOLDER / item.file, wanted, more=more)
    states = {s.name for s in job.project.states}
    strange = sorted({str(r["state"]) for r in table.rows if r.get("state")} - states - {""})
    if strange and states:
        known = ", ".join(sorted(states))
        raise InputError("state", f"'{strange[0]}'", "", f"{item.file} names no state of the car",
                         f"Known: {known}.")  # fmt: skip
    return table


def _best(quantity: Quantity | None, usual: float) -> float:
    return usual if quantity is None else quantity.best


def case_of(job: Job, one: TunnelSession) -> TunnelCase:
    """Return a session's model and working section.

    Raises
    ------
    NotCovered
        If the project states no frontal area.
    """
    project, car = job.project, job.project.car
    if car.frontal_area is None:
        raise NotCovered("Wall corrections need the frontal area: fill in car.frontal_area.")
    scale, wheelbase = one.scale.best, car.wheelbase.best
    length = _best(one.length, _USUAL_LENGTH * wheelbase)
    road = job.air()
    air = air_of(temperature=_best(one.temperature, float(road.temperature)),
                 pressure=_best(one.pressure, float(road.pressure)))  # fmt: skip
    solid = _USUAL_FILL * car.frontal_area.best * length * scale**3
    return TunnelCase(
        scale=scale, wheelbase=wheelbase, frontal_area=car.frontal_area.best, length=length,
        section_height=one.section_height.best, section_width=one.section_width.best,
        volume=_best(one.volume, solid), density=float(air.density),
        viscosity=float(air.viscosity / air.density), is_open=one.jet == "open",
        has_belt=one.ground == "moving belt", centre_x=_best(one.centre_x, 0.0),
        centre_z=_best(one.centre_z, 0.0), pressure_gradient=_best(one.pressure_gradient, 0.0),
        interference_drag=_best(one.interference_drag, 0.0),
        interference_lift=_best(one.interference_lift, 0.0), layer=_best(one.layer, 0.0),
        correction=one.correction, road_speed=max(s.best for s in project.study.speeds),
        road_viscosity=float(road.viscosity / road.density),
    )  # fmt: skip


def _tunnel(job: Job, one: TunnelSession) -> Tree:
    base = job.project.state().name
    rows = _table(job, one.data, TUNNEL_COLUMNS).rows
    points = [
        TunnelPoint(
            state=str(r.get("state") or base), height_front=_f(r, "hf"), height_rear=_f(r, "hr"),
            speed=_f(r, "speed"), drag=_f(r, "drag"), lift=_f(r, "lift"), pitch=_f(r, "pitch"),
            sweep=str(r.get("sweep", "")), is_tare=str(r.get("kind", "")) == "tare",
        )
        for r in rows
    ]  # fmt: skip
    case = case_of(job, one)
    result = reduce_tunnel(points, case)
    return _tunnel_tree(result, one, case, job.project.study.draws, len(points))


def _f(row: Row, key: str) -> float:
    return float(row[key])


def _tunnel_tree(
    result: TunnelResult, one: TunnelSession, case: TunnelCase, draws: int, count: int
) -> Tree:
    """Return a session as a plain tree; what is shared by all rows is drawn once for all."""
    from scipy.stats import t

    noise = np.random.default_rng(crc32(one.name.encode()))
    dof = max(result.dof, 1)
    shared = {name: noise.standard_normal(draws) for name in _SHARED}
    rows = []
    for row in result.rows:
        made = {}
        for name in FIELDS:
            value = np.full(draws, getattr(row, name))
            for line, sizes in row.lines.items():
                own = noise.standard_normal(draws)
                if line == "repeats":
                    own = t.ppf(np.clip(noise.uniform(size=draws), 1e-6, 1 - 1e-6), dof)
                value = value + sizes[name] * shared.get(line, own)
            made[name] = value
        rows.append({
            "state": row.state, "height_front": np.full(draws, row.height_front),
            "height_rear": np.full(draws, row.height_rear), "speed": row.speed,
            "count": row.count, "gap": row.gap if np.isfinite(row.gap) else None, **made,
            "lines": {k: dict(v) for k, v in row.lines.items()},
        })  # fmt: skip
    return {
        "rows": rows, "scatter": dict(result.scatter), "dof": result.dof, "points": count,
        "methods": [dict(m) for m in result.methods], "reynolds": list(result.reynolds),
        "sweeps": {s: [g.at, g.largest, g.noise, g.is_hysteresis]
                   for s, g in result.sweeps.items()},
        "notices": list(result.notices), "correction": case.correction,
        "blockage": case.frontal_area * case.scale**2 / case.section_area, "scale": case.scale,
    }  # fmt: skip


def _laps(job: Job, day: TrialDay) -> Tree:
    """Return every other state's lap time less the baseline's, stints random, wear taken out."""
    base = job.project.state().name
    rows = [r for r in _table(job, day.laps, LAP_COLUMNS).rows if r.get("use") != 0.0]
    found = []
    for state in dict.fromkeys(str(r["state"]) for r in rows):
        if state == base:
            continue
        own = [r for r in rows if r["state"] in (base, state)]
        gain = lap_difference(own, state)
        found.append({
            "state": state, "against": base, "size": gain.size, "low": gain.range80()[0],
            "high": gain.range80()[1], "uncertainty": gain.uncertainty, "dof": gain.dof,
            "drift": gain.drift, "method": gain.method, "laps": len(own),
            "stints": len({r["stint"] for r in own}),
        })  # fmt: skip
    if not found:
        raise NotCovered("The table of laps holds one state only: nothing to compare.")
    return {"rows": found, "laps": len(rows)}


def lap_difference(rows: Sequence[Row], state: str) -> Difference:
    """Return a state's lap time less the baseline's; wear counts the laps of a stint."""
    place: dict[str, int] = {}
    order = []
    for r in rows:
        stint = str(r["stint"])
        order.append(float(place.get(stint, 0)))
        place[stint] = place.get(stint, 0) + 1
    return compare([_f(r, "time") for r in rows], [r["state"] == state for r in rows],
                   order=order, block=[str(r["stint"]) for r in rows])  # fmt: skip


def _pressures(job: Job, one: PressureTest) -> Tree:
    """Return the coefficient of every tap and the flow of every rake, state by state."""
    base = job.project.state().name
    table = _table(job, one.data, PRESSURE_COLUMNS, more=Wanted(holds="pressure", unit="Pa"))
    for tap in one.taps:
        if tap.name not in table.rows[0]:
            raise InputError("tap", f"'{tap.name}'", "", "has no column in the table",
                             f"Columns: {', '.join(table.rows[0])}.")  # fmt: skip
    density = float(job.air().density)
    doubt = _best(one.doubt, READING)
    rows, ducts = [], []
    for state in dict.fromkeys(str(r.get("state") or base) for r in table.rows):
        own = [r for r in table.rows if str(r.get("state") or base) == state]
        speed = np.array([_f(r, "speed") for r in own])
        q = 0.5 * density * speed**2
        for tap in one.taps:
            read = np.array([_f(r, tap.name) for r in own])
            function = total_loss if tap.kind in ("total", "duct total") else coefficient_of
            found = function(read, q, doubt=doubt)
            rows.append({"tap": tap.name, "kind": tap.kind, "at": tap.at, "state": state,
                         "value": found.value, "doubt": found.uncertainty, "count": found.count,
                         "hypothesis": tap.hypothesis})  # fmt: skip
        ducts += _ducts(one, own, state, (density, float(np.sqrt(np.mean(speed**2))), doubt))
    return {"rows": rows, "ducts": ducts, "notices": []}


def _ducts(
    one: PressureTest, rows: Sequence[Row], state: str, air: tuple[float, float, float]
) -> list[Tree]:
    """Return the flow of every duct that has a rake and a static hole."""
    density, speed, doubt = air
    found = []
    for duct in dict.fromkeys(t.duct for t in one.taps if t.duct):
        tubes = [t for t in one.taps if t.duct == duct and t.kind == "duct total"]
        holes = [t for t in one.taps if t.duct == duct and t.kind == "duct static"]
        if len(tubes) < 2 or not holes or any(t.area is None for t in tubes):
            raise InputError("duct", f"'{duct}'", "", "a rake needs a static hole and two tubes or "
                             "more, each with its area")  # fmt: skip
        mean = {t.name: float(np.mean([_f(r, t.name) for r in rows])) for t in (*tubes, *holes)}
        flow = rake_flow(
            np.array([mean[t.name] for t in tubes]),
            float(np.mean([mean[t.name] for t in holes])),
            [t.area.best for t in tubes if t.area is not None],
            density=density, speed=speed, doubt=doubt,
        )  # fmt: skip
        found.append({
            "duct": duct, "state": state, "speed": speed, "tubes": len(tubes), "flow": flow.flow,
            "doubt": flow.uncertainty, "mean_speed": flow.mean_speed, "area": flow.area_flow,
            "unevenness": flow.unevenness, "backward": flow.backward, "density": density,
        })  # fmt: skip
    return found


def draws_about(value: float, doubt: float, size: int, name: str) -> np.ndarray:
    """Return draws of a measured value that nothing else shares."""
    noise = np.random.default_rng(crc32(name.encode()))
    return np.asarray(value + doubt * noise.standard_normal(size))
