"""The cooling as steps: the net over all draws, what restricts it, exits compared, forecasts."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.cooling import (
    Place,
    blanking_chart,
    cooling_cost,
    cooling_loads,
    find_restriction,
    forecast_temperature,
    size_opening,
    solve_cooling,
)
from tuftwork.cooling.answer import Sized, pressure_shares
from tuftwork.cooling.case import CoolingCase, key_of, of_ensemble, worst_over_mean
from tuftwork.cooling.cost_change import load_change
from tuftwork.cooling.forecast import with_heat_scaled
from tuftwork.cooling.system import CoolingState
from tuftwork.quantity import Numeric
from tuftwork.study.cooling_stint import stint_tree
from tuftwork.study.front_air import air_fed, air_needs
from tuftwork.study.job import Job
from tuftwork.study.lap_history import duty_driven, lap_history, lap_wanted
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

AMBIENTS = np.arange(15.0, 41.0, 5.0) + 273.15  # [K]
BLANKINGS = np.array([0.0, 0.1, 0.2, 0.3, 0.4])  # [-]
_LAP_STEPS = 61  # [-]  times of a lap in a stint: about 1.6 s apart
_CHART_DRAWS = 96  # [-]  of the ensemble: risks in the chart move by a twentieth or so


def cooling_steps(job: Job) -> list[Step]:
    """Return the cooling's steps; none where the project has no cooling."""
    table = job.project.cooling
    if table is None:
        return []
    weather = job.project.weather
    inputs = {
        "table": table.model_dump_json(),
        "wheelbase": job.project.car.wheelbase.best,
        "power": str(job.project.car.power) if table.duty else "",
        "air": [str(weather.pressure), str(weather.altitude)],
        "charts": [AMBIENTS.tolist(), BLANKINGS.tolist(), _CHART_DRAWS],
    }

    def net(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        return _net_tree(_case(job, results), pulse)

    def charts(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        return _chart_tree(_case(job, results), _case(job, results, _CHART_DRAWS), pulse)

    def stint(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        return stint_tree(_case(job, results), lap_history(job.project, results, _LAP_STEPS))

    needs = ("tie", *lap_wanted(job.project)[:1], *air_needs(job.project))
    return [
        Step(name="cooling", title="Cooling: the air net and what restricts it", inputs=inputs,
             needs=needs, work=net, version=2, weight=4.0),
        Step(name="cooling charts", title="Cooling: forecast and blanking", inputs=inputs,
             needs=needs, work=charts, weight=3.0),
        Step(name="cooling stint", title="Cooling: a stint from cold", inputs=inputs,
             needs=needs, work=stint, weight=0.5),
    ]  # fmt: skip


def _case(job: Job, results: Mapping[str, Tree], most: int = 0) -> CoolingCase:
    ensemble = job.ensemble(results["tie"])
    found = duty_driven(job.project, results)
    driven = None if found is None else found[0]
    return CoolingCase.of_project(
        job.project, of_ensemble(ensemble, most), driven=driven, fed=air_fed(job, results, most)
    )


def _net_tree(case: CoolingCase, pulse: Pulse) -> Tree:
    system, around = case.system, case.around
    state = solve_cooling(system, around)
    worst = worst_over_mean(case.table, case.driven)
    hard = state if worst == 1.0 else solve_cooling(with_heat_scaled(system, worst), around)
    pulse.beat(0.1)
    tree = {
        "air": _air_tree(state),
        "hottest": _hottest(case, state),
        "worst_minute": _hottest(case, hard),
        "shares": pressure_shares(system, state),
        "loads": _loads(case, state),
        "notices": list(state.notices),
        "restrictions": {},
        "exits": {},
    }
    for circuit in case.limited:
        tree["restrictions"][circuit.name] = _restriction(case, circuit.name)
        pulse.beat(0.1 + 0.4 * len(tree["restrictions"]) / len(case.limited))
    for way in case.table.exits:
        if way.also and case.limited:
            tree["exits"][way.name] = _exit_choices(case, way.name, state, tree["restrictions"])
    return tree


def _air_tree(state: CoolingState) -> Tree:
    air = state.air
    fields = ("flow", "loss", "inlet", "outlet", "heat", "pressure", "temperature")
    return {
        "names": list(air.names),
        "nodes": list(air.nodes),
        "reversed": list(air.reversed_parts),
        **{name: getattr(air, name) for name in fields},
    }


def _hottest(case: CoolingCase, state: CoolingState) -> dict[str, np.ndarray]:
    return {
        c.name: np.array(np.broadcast_to(state.hottest(key_of(c)), (case.system.n_draw(
            case.around),)))
        for c in case.table.circuits
    }  # fmt: skip


def _loads(case: CoolingCase, state: CoolingState) -> Tree:
    loads = cooling_cost(case.system.air, state.air, case.wheelbase, wells=case.wells)
    parts = {name: [np.asarray(x) for x in rows] for name, rows in loads.parts.items()}
    return {"parts": parts, "total": [loads.CxS, loads.CzSf, loads.CzSr]}


def _restriction(case: CoolingCase, name: str) -> Tree:
    """Return what each part would gain a circuit, and the size of the one that restricts it."""
    circuit = next(c for c in case.table.circuits if c.name == name)
    found = find_restriction(case.system, case.around, case.target(circuit))
    return {
        "part": found.name,
        "kind": found.kind,
        "probability": found.probability,
        "gain": dict(found.gain),
        "sized": None if found.sized is None else _sized(found.sized),
    }


def _sized(sized: Sized) -> Tree:
    return {
        "part": sized.part, "place": sized.place, "now": sized.now,
        "needed": sized.needed if sized.is_reachable else None, "areas": sized.areas,
    }  # fmt: skip


def most_at_risk(case: CoolingCase, hottest: Mapping[str, np.ndarray]) -> str:
    """Return the limited circuit most likely to cross its limit."""
    risks = {c.name: _risk(hottest[c.name], case.target(c).limit) for c in case.limited}
    return max(risks, key=lambda name: risks[name])


def _risk(draws: np.ndarray, limit: float) -> tuple[float, float]:
    return float(np.mean(draws > limit)), float(np.median(draws)) - limit


def _exit_choices(
    case: CoolingCase, name: str, base: CoolingState, restrictions: Mapping[str, Tree]
) -> Tree:
    """Return what each place for an exit does, draw by draw against the present one."""
    way = next(e for e in case.table.exits if e.name == name)
    circuit = most_at_risk(case, _hottest(case, base))
    target = case.target(next(c for c in case.table.circuits if c.name == circuit))
    before = cooling_loads(case.system.air, base.air, case.wheelbase, wells=case.wells)
    held = restrictions[circuit]
    known = held["sized"] if held["part"] == name else None
    places: dict[str, Any] = {}
    for place in (way.at, *(p for p in way.also if p != way.at)):
        there = case.moved(name, place)
        state = solve_cooling(there.system, there.around)
        loads = cooling_loads(there.system.air, state.air, there.wheelbase, wells=there.wells)
        change = load_change(loads, before)
        places[place] = {
            "hottest": _hottest(there, state),
            "change": [change.CxS, change.CzSf, change.CzSr],
            "sized": known
            if place == way.at and known is not None
            else _sized(size_opening(there.system, there.around, target, name)),
        }
    return {"circuit": circuit, "places": places}


def _chart_tree(case: CoolingCase, thin: CoolingCase, pulse: Pulse) -> Tree:
    tree: Tree = {"ambient": AMBIENTS, "blanking": BLANKINGS, "forecast": {}, "blanked": {}}
    places = _places(case)
    for done, circuit in enumerate(case.limited):
        target = thin.target(circuit)
        ambients = AMBIENTS[target.limit > AMBIENTS]
        found = forecast_temperature(case.system, case.target(circuit), places, ambients)
        tree["forecast"][circuit.name] = {
            "ambient": ambients, "places": list(found.places), "draws": found.draws,
            "probability": found.probability,
        }  # fmt: skip
        pulse.beat((done + 0.5) / len(case.limited))
        if not circuit.coolers:  # nothing of it meets air, so there is nothing to tape
            continue
        chart = blanking_chart(
            thin.system, thin.around, target, circuit.coolers, ambients=ambients,
            blankings=BLANKINGS,
        )  # fmt: skip
        tree["blanked"][circuit.name] = {
            "ambient": ambients, "temperature": chart.temperature,
            "probability": chart.probability, "advice": chart.advice, "drag": chart.drag_area,
        }  # fmt: skip
        pulse.beat((done + 1.0) / len(case.limited))
    return tree


def _places(case: CoolingCase) -> tuple[Place, ...]:
    """Return the circuits to forecast for; the study's own speed where none is entered."""
    own = tuple(
        Place(name=p.name, speed=_speed(case, p.name), altitude=p.altitude.best,
              heat_scale=p.heat.best)
        for p in case.table.places
    )  # fmt: skip
    return own or (Place(name="the study's speed", speed=case.of("cooling.speed")),)


def _speed(case: CoolingCase, name: str) -> Numeric:
    return case.of(f"cooling.places.{name}.speed")
