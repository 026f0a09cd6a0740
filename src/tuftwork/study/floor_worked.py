"""What the page "Floor" rests on, worked out once per project and kept."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import draws_of
from tuftwork.car import Floor, Splitter
from tuftwork.errors import InputError, NotConverged
from tuftwork.floor import FloorClosure, PlanResult, Strake, solve_plan
from tuftwork.floor.cause import FallCause, fall_cause
from tuftwork.floor.device import Lip, Move, leverage, lip_effect, strake_gain
from tuftwork.floor.line import LineResult, solve_line
from tuftwork.floor.package import HardLimit, best_ramp
from tuftwork.floor.sweep import ride_sweep
from tuftwork.quantity import Array, Ensemble
from tuftwork.study.floor_case import ClosureDraws, FloorCase, closure_draws, floor_case
from tuftwork.study.floor_front import fronts
from tuftwork.study.inputs import has_platform, state_names
from tuftwork.study.job import Job, _tables, models_in
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

STEP = "floor"
_VERSION = 7
_KMH = 3.6
_DRAWS = 12  # of the sweep's range
_LEVELS = 11
_GRID = (40, 6)
_BELOW = 0.85  # [-] of the peak's height, to look at the fall from
_HIGHER = 0.008  # [m] to look down from where no peak lies in the sweep


def floor_steps(job: Job) -> list[Step]:
    """Return the step of sweeps, prices and devices; none where the project has no floor."""
    floors = [p for p in job.project.parts if isinstance(p, Floor)]
    if not floors:
        return []
    state = state_names(job.project)[0]
    rides = has_platform(job.project)

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        made: dict[str, Tree] = {}
        for k, part in enumerate(floors):
            try:
                made[part.name] = _worked(job, results, part.name, state if rides else "")
            except (NotConverged, InputError) as why:
                made[part.name] = {"refused": str(why)}
            pulse.beat((k + 1) / len(floors))
        return made

    rode = ("axes", f"map {state}", f"ride {state}") if rides else ()
    needs = ("tie", *rode, *_tables(job.project))
    inputs = {
        "floors": [
            p.model_dump_json() for p in job.project.parts if isinstance(p, Floor | Splitter)
        ],
        "speeds": [q.best for q in job.project.study.speeds],
        "plain": not rides,
    }
    return [
        Step(name=STEP, title="Floor: the channel in plan, sweep and prices", inputs=inputs,
             needs=needs, work=work, version=_VERSION, weight=3.0 * len(floors))
    ]  # fmt: skip


def _worked(job: Job, results: Mapping[str, Tree], name: str, ride: str) -> Tree:
    project = job.project
    ensemble = job.ensemble(results["tie"])
    case = floor_case(project, name)
    models = models_in(project, state_names(project)[0] if project.states else "", results)
    draws = draws_of(models, ensemble)
    heights, speed = _heights(job, results, ensemble, ride)
    platform = _platform(job, ensemble, heights, speed)
    closures = closure_draws(case, models, platform, draws)
    best = closures.best(case.spec.closure())
    shape, stand = case.spec.shape(), case.stand(*heights)
    plan = solve_plan(shape, stand, best)
    coverage = float(np.median(closures.coverage))
    sweep = _sweep(job, case, closures, heights, speed, models, draws, ensemble, plan)
    out: Tree = {
        "heights": list(heights), "speed": speed, "coverage": coverage,
        "closure": {k: float(getattr(best, k))
                    for k in ("discharge", "mixing", "exit_pressure", "head")},
        "sweep": sweep, "cause": _fall(case, best, heights, sweep),
        "packages": _package(case, best, heights),
        "fronts": fronts(
            tuple(p for p in project.parts if isinstance(p, Splitter)), case, best, heights, plan,
            0.5 * float(job.air().density) * speed**2,
        ),
        "strakes": _strakes(case, best, heights, coverage),
        "levers": _levers(case, best, heights, coverage, plan,
                          0.5 * float(job.air().density) * speed**2),
    }  # fmt: skip
    return out


def _heights(
    job: Job, results: Mapping[str, Tree], ensemble: Ensemble, ride: str
) -> tuple[tuple[float, float], float]:
    """Return ride heights and the speed the page stands at: the second highest studied."""
    speeds = sorted(q.best for q in job.project.study.speeds)
    speed = speeds[-2] if len(speeds) > 1 else speeds[-1]
    if not ride:
        mass = job.project.mass_state()
        return (mass.ride_height_front.best, mass.ride_height_rear.best), float(speed)
    tree = results[f"ride {ride}"]
    at = int(np.argmin(np.abs(np.asarray(tree["speed"]) - speed)))
    front, rear = (
        float(np.nanmedian(np.asarray(tree[f"ride_height_{a}"])[at])) for a in ("front", "rear")
    )
    return (front, rear), float(speed)


def _platform(
    job: Job, ensemble: Ensemble, heights: tuple[float, float], speed: float
) -> PlatformState:
    air = job.air(ensemble)
    return PlatformState(
        ride_height_front=np.full(ensemble.size, heights[0]),
        ride_height_rear=np.full(ensemble.size, heights[1]),
        speed=np.full(1, speed),
        density=np.asarray(air.density).reshape(-1),
        viscosity=np.asarray(air.viscosity).reshape(-1),
    )


def _sweep(
    job: Job, case: FloorCase, closures: ClosureDraws, heights: tuple[float, float], speed: float,
    models: Any, draws: Any, ensemble: Ensemble, plan: PlanResult,
) -> Tree:  # fmt: skip
    """Return load over rear ride height at the rake held: engine with range, and the budget's."""
    mass = job.project.mass_state()
    low, high = 0.62 * heights[1], max(1.25 * heights[1], mass.ride_height_rear.best + 0.012)
    levels = np.linspace(low, high, _LEVELS)
    shape, stand = case.spec.shape(), case.stand(*heights)
    base = case.spec.closure()
    found = ride_sweep(shape, stand, closures.best(base), levels, n_x=_GRID[0], n_y=_GRID[1])
    # plan of the finer grid at the page's own height sets the level
    fine = plan.downforce / float(np.interp(heights[1], found.height, found.downforce))
    coverage = float(np.median(closures.coverage))
    middle: LineResult | None = None
    ratio = np.ones((_DRAWS, found.height.size))
    lines: dict[int, LineResult] = {}
    rows = np.linspace(0, closures.coverage.size - 1, _DRAWS).astype(int)
    order = np.argsort(closures.exit_pressure)[rows]
    for k in range(found.height.size - 1, -1, -1):
        here = case.stand(heights[0] + found.height[k] - heights[1], float(found.height[k]))
        middle = solve_line(shape, here, closures.best(base), n_node=80, start=middle)
        for m, draw in enumerate(order):
            own = closures.at(base, int(draw))
            try:
                lines[m] = solve_line(shape, here, own, n_node=80, start=lines.get(m))
                gain = float(closures.coverage[draw]) / coverage
                ratio[m, k] = gain * lines[m].downforce / middle.downforce
            except NotConverged:
                ratio[m, k] = np.nan
    # the line model's answer to a draw, on the level of the plan engine; noise of twelve draws is
    # smoothed by their deviation
    spread = np.nanstd(np.log(np.maximum(ratio, 1e-3)), axis=0)
    best = fine * coverage * found.downforce
    budget = np.array([
        _budget_floor(job, case, models, draws, ensemble, (heights[0] + h - heights[1], h), speed)
        for h in found.height
    ])  # fmt: skip
    return {
        "height": found.height, "best": best, "low": best * np.exp(-1.2816 * spread),
        "high": best * np.exp(1.2816 * spread), "shape_factor": found.shape_factor,
        "centre": found.centre, "peak_height": found.peak_height, "has_peak": found.has_peak,
        "peak": fine * coverage * found.peak, "budget_low": budget[:, 0], "budget": budget[:, 1],
        "budget_high": budget[:, 2],
    }  # fmt: skip


def _fall(
    case: FloorCase, closure: FloorClosure, heights: tuple[float, float], sweep: Tree
) -> Tree:
    """Return what takes the load below the engine's own peak, or below the page's height."""
    now = heights[1]
    high = float(sweep["peak_height"]) if sweep["has_peak"] else now + _HIGHER
    low = max(_BELOW * high, float(np.min(sweep["height"])))
    stands = [case.stand(heights[0] + h - now, h) for h in (high, low)]
    try:
        found = fall_cause(case.spec.shape(), stands[0], stands[1], closure)
    except (NotConverged, InputError) as why:
        return {"refused": str(why)}
    return _readings(found) | {"heights": [high, low]}


def _readings(found: FallCause) -> Tree:
    return {
        "higher": found.higher, "lower": found.lower, "throat": list(found.throat),
        "flow": list(found.flow), "cause": found.cause or "",
        "stalled_from": float("nan") if found.stalled_from is None else found.stalled_from,
        "readings": [
            {"reading": r.reading, "returned": r.returned, "higher": r.higher, "lower": r.lower}
            for r in found.readings
        ],
    }  # fmt: skip


def _budget_floor(
    job: Job, case: FloorCase, models: Any, draws: Any, ensemble: Ensemble,
    heights: tuple[float, float], speed: float,
) -> Array:  # fmt: skip
    """Return the 80 % range and median of the floor's CzS in the budget's own model."""
    platform = _platform(job, ensemble, heights, speed)
    around: dict[str, Any] = {}
    for model in models:
        load = model.load(platform, draws, around)
        if model.name == case.part.name:
            total = load.downforce_front + load.downforce_rear
            return np.quantile(np.ravel(total), [0.1, 0.5, 0.9])
        for channel, effect in load.effects.items():
            around[channel] = around[channel] + effect if channel in around else effect
    return np.full(3, np.nan)


def _package(case: FloorCase, closure: FloorClosure, heights: tuple[float, float]) -> Tree:
    """Return the best ramp under the hard points, with their prices."""
    part, spec = case.part, case.spec
    hard = [
        HardLimit(name=h.name, station=h.station.best, height=h.height.best)
        for h in part.hard_points
    ]
    first = part.kick_limit.best if part.kick_limit is not None else spec.kick_station
    last = max(first + 0.05, spec.kick_station + 0.35 * (spec.exit_station - spec.kick_station))
    try:
        found = best_ramp(
            lambda k, a: case.moved(kick_station=k, diffuser_angle=a),
            case.stand(*heights), closure, hard, kick=(first, last), exit=spec.exit_station,
            present=(spec.kick_station, spec.diffuser_angle),
            highest=part.exit_limit.best if part.exit_limit is not None else None,
        )  # fmt: skip
    except (NotConverged, InputError) as why:
        return {"refused": str(why)}
    return {
        "kick": found.kick, "angle": found.angle, "downforce": found.downforce,
        "present": found.present, "area_ratio": found.area_ratio, "moved": found.moved,
        "prices": [{"name": p.name, "gain": p.gain, "free": p.free, "binds": p.binds}
                   for p in found.prices],
    }  # fmt: skip


def _strakes(
    case: FloorCase, closure: FloorClosure, heights: tuple[float, float], coverage: float
) -> list[Tree]:
    """Return what a pair of strakes at some places would add; the layer answers to it."""
    spec, stand = case.spec, case.stand(*heights)
    shape = spec.shape()
    half = 0.5 * spec.diffuser_width
    rows = []
    start = max(spec.front_station, spec.kick_station - 0.05)
    for share, gap in ((0.33, 0.5), (0.67, 0.5), (0.67, 0.8)):
        fence = Strake(start=start, end=spec.exit_station, offset=share * half, gap=gap)
        try:
            found = strake_gain(fence, shape, stand, closure, n_x=_GRID[0], n_y=_GRID[1])
        except NotConverged:
            continue
        rows.append({
            "offset": share * half, "start": start, "gap": gap,
            "gain": coverage * found.downforce, "held": coverage * found.held,
            "shape_factor": found.shape_factor, "flow": found.flow,
        })  # fmt: skip
    return rows


def _levers(
    case: FloorCase, closure: FloorClosure, heights: tuple[float, float], coverage: float,
    plan: PlanResult, pressure: float,
) -> list[Tree]:  # fmt: skip
    """Return what moves are worth per millimetre and per newton, and a lip put down."""
    spec, stand = case.spec, case.stand(*heights)
    shape = spec.shape()
    base = solve_plan(shape, stand, closure, n_x=_GRID[0], n_y=_GRID[1])
    step, ramp = 0.004, spec.exit_station - spec.kick_station
    moves = [
        Move(name="side edges lower", step=step, stand=stand, station=spec.kick_station,
             shape=replace(shape, skirt=step) if spec.edge_gap is None
             else replace(shape, edge_gap=max(spec.edge_gap - step, 0.0)),
             area=2 * 0.02 * (shape.exit - shape.front)),
        Move(name="whole floor lower", step=step, shape=shape, station=spec.kick_station,
             stand=case.stand(heights[0] - step, heights[1] - step),
             area=spec.width * (spec.exit_station - spec.front_station)),
        Move(name="rear ride height lower", step=step, shape=shape, station=spec.kick_station,
             stand=case.stand(heights[0], heights[1] - step), area=spec.width * ramp),
        Move(name="diffuser exit higher", step=step, stand=stand,
             shape=case.moved(diffuser_angle=spec.diffuser_angle + step / ramp),
             area=0.5 * spec.diffuser_width * ramp,
             station=spec.kick_station + 0.5 * ramp),
    ]  # fmt: skip
    rows: list[Tree] = [
        {"name": r.name, "per_mm": coverage * r.per_mm, "per_newton": coverage * r.per_newton,
         "force": r.force, "front_share": float(np.clip(r.front_share, -9, 9))}
        for r in leverage(moves, shape, stand, closure, pressure=pressure, n_x=_GRID[0],
                          n_y=_GRID[1], base=base)
    ]  # fmt: skip
    station = spec.front_station + 0.15 * (spec.kick_station - spec.front_station)
    height = 0.35 * float(stand.plane(np.array(station), np.zeros(1))[0])
    try:
        lip = lip_effect(Lip(station=station, height=height), shape, stand, closure, base=base,
                         n_x=_GRID[0], n_y=_GRID[1])  # fmt: skip
    except (NotConverged, InputError):
        return rows
    rows.append({
        "name": f"lip of {1e3 * height:.0f} mm put down at station {station:.2f} m",
        "per_mm": coverage * lip.downforce / (1e3 * height),
        "per_newton": coverage * lip.downforce / max(lip.force * pressure, 1e-6),
        "force": lip.force * pressure,
        "front_share": float(np.clip(lip.front / lip.downforce, -9, 9)) if lip.downforce else 0.5,
    })  # fmt: skip
    return rows
