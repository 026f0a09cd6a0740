"""The brakes as a step: energy of a lap, disc, pad and fluid over a stint, duct and kit."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.car import Project, quantities_in
from tuftwork.car.brake import BrakeDuct as DuctTable
from tuftwork.car.brake import Disc as DiscTable
from tuftwork.cooling import (
    BrakeDuct,
    BrakingCar,
    Caliper,
    Disc,
    Inlet,
    Member,
    Stop,
    Surroundings,
    brake_duct_drag,
    brake_duct_flow,
    brake_verdicts,
    disc_temperature,
    fluid_temperature,
    member_duct,
    needed_duct_flow,
    stop_energy,
)
from tuftwork.cooling.brake import bulk_rise, disc_material
from tuftwork.cooling.case import of_ensemble
from tuftwork.cooling.case_loop import Of
from tuftwork.cooling.case_opening import banded
from tuftwork.cooling.disc import BrakeTrace
from tuftwork.cooling.opening import jet_recovery_band, recovery_band
from tuftwork.errors import NotCovered
from tuftwork.quantity import Array, Numeric, Quantity
from tuftwork.study.answers import Answers
from tuftwork.study.brake_case import (
    STEPS,
    BrakingCase,
    DrivenStop,
    braking_energy,
    braking_time,
    of_chosen,
    stops_of,
)
from tuftwork.study.inputs import has_platform, state_names
from tuftwork.study.job import Job
from tuftwork.study.lap import or_refused
from tuftwork.study.lap_history import LapHistory, lap_history, lap_wanted
from tuftwork.study.standing import standing_draws
from tuftwork.study.step import Pulse, Step
from tuftwork.study.store import Tree

AXLES = ("front", "rear")
_SHOWN = 1000  # [-]  times of the stint that are kept for drawing
# the first, not those that stand for all: these are chosen for middles, and this asks nine in ten
_NEED_DRAWS = 24  # [-]  of the ensemble, for the duct's bisection
_KIT_DRAWS = 48  # [-]  that stand for all in another state's lap
CELLS = 8
_QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)


def brake_quantities(project: Project) -> dict[str, Quantity]:
    """Return every uncertain number of the brakes by name."""
    table = project.brakes
    if table is None:
        return {}
    found = {n: q for n, q in quantities_in(table, "brakes.") if not n.startswith("brakes.stops")}
    for axle in AXLES:
        disc: DiscTable | None = getattr(table, axle)
        if disc is not None and disc.duct is not None:
            own = banded(recovery_band(disc.duct.kind)).within(None, 1.0)
            found[f"brakes.{axle}.duct.recovery"] = own
            kept = jet_recovery_band("wheel-well")
            assert kept is not None
            found[f"brakes.{axle}.duct.jet_recovery"] = banded(kept).within(0.0, 1.0)
    return found


def brake_labels(project: Project) -> dict[str, str]:
    """Return what a person calls those numbers."""
    found = {}
    for name in brake_quantities(project):
        parts = name.split(".")
        owner = " ".join(parts[1:-1]) + " brake" if len(parts) > 2 else "brakes"
        found[name] = f"{owner}: {parts[-1].replace('_', ' ')}"
    return found


def brake_steps(job: Job) -> list[Step]:
    """Return the brakes' step; none where the project has no brakes."""
    project, table = job.project, job.project.brakes
    if table is None:
        return []
    tied = has_platform(project) and bool(project.parts)
    rides = tuple(f"ride {s}" for s in state_names(project)) if tied else ()
    mass = project.mass_state()

    def work(results: Mapping[str, Tree], pulse: Pulse) -> Tree:
        of = of_ensemble(job.ensemble(results["tie"]))
        loads = {r.removeprefix("ride "): _mean_load(results[r]) for r in rides}
        case = BrakingCase(table=table, of=of, mass=mass.mass.best, loads=loads,
                           laps=_laps(project, results))  # fmt: skip
        return or_refused(lambda: _brakes(case, pulse))

    inputs = {"table": table.model_dump_json(), "mass": mass.mass.best, "shown": _SHOWN}
    needs = ("tie", *rides, *lap_wanted(project))
    return [Step(name="brakes", title="Brakes over a stint", inputs=inputs, needs=needs,
                 work=work, version=4, weight=3.0)]  # fmt: skip


def _laps(project: Project, results: Mapping[str, Tree]) -> dict[str, LapHistory]:
    """Return the lap of every state that has one; none where the entered stops were measured."""
    table = project.brakes
    assert table is not None
    if any(q.origin == "measured" for stop in table.stops for q in (stop.fast, stop.slow)):
        return {}
    found = {s: lap_history(project, results, STEPS + 1, s) for s in state_names(project)}
    return {state: lap for state, lap in found.items() if lap is not None}


def braking_case(answers: Answers, most: int = 0) -> BrakingCase:
    """Return what the brakes stand on, with ``most`` draws that stand for all, or all of them."""
    table = answers.project.brakes
    assert table is not None
    loads = {s: _mean_load(answers.ride(s)) for s in answers.states} if answers.has_platform else {}
    case = BrakingCase(table=table, of=of_ensemble(answers.ensemble),
                       mass=answers.project.mass_state().mass.best, loads=loads,
                       laps=_laps(answers.project, answers.results))  # fmt: skip
    if not 0 < most < answers.ensemble.size:
        return case
    axles = answers.results["brakes"]["axles"].values()
    return of_chosen(case, standing_draws(np.vstack([_said(tree) for tree in axles]), most))


def _mean_load(ride: Tree) -> tuple[float, float]:
    """Return CzS and CxS of a state, median over draws and the studied speeds [m²]."""
    total = np.asarray(ride["downforce_front"]) + np.asarray(ride["downforce_rear"])
    return float(np.nanmedian(total)), float(np.nanmedian(np.asarray(ride["drag"])))


def _brakes(case: BrakingCase, pulse: Pulse) -> Tree:
    table, lap = case.table, case.lap
    energy, power = braking_energy(case)
    tree: Tree = {
        "source": "" if lap is None else lap.source,
        "lap_time": case.lap_time,
        "energy": energy,
        "power": power,
        "stops": [_stop(case, case.car(), stop) for stop in case.stops]
        if lap is None
        else [_driven(case, stop) for stop in stops_of(lap)],
        "axles": {},
        "kits": [],
    }
    there = [a for a in AXLES if getattr(table, a) is not None]
    for done, axle in enumerate(there):
        tree["axles"][axle] = _axle(case, axle)
        pulse.beat((done + 1) / (len(there) + 1))
    tree["kits"] = _kits(case, tree["axles"].get("front"))
    return tree


def _driven(case: BrakingCase, stop: DrivenStop) -> Tree:
    """Return what one stop of the lap gives the discs."""
    kinetic = 0.5 * case.mass * (stop.fast**2 - stop.slow**2)
    share = np.asarray(case.of("brakes.front_share"))
    assert case.lap is not None
    energy = stop.energy * case.spread(share, case.lap)
    row: dict[str, Any] = {
        "fast": stop.fast, "slow": stop.slow, "energy": energy,
        "by_drag": np.asarray(max(0.0, 1.0 - stop.energy / kinetic)),
        "duration": np.asarray(stop.duration), "distance": np.asarray(stop.distance),
    }  # fmt: skip
    for axle in AXLES:
        disc = getattr(case.table, axle)
        if disc is not None:
            heat = disc_material(disc.material)[1]
            joules = 0.5 * energy * (share if axle == "front" else 1.0 - share)
            row[f"rise_{axle}"] = bulk_rise(joules, disc.mass.best, heat)
    return row


def _stop(case: BrakingCase, car: BrakingCar, stop: Stop) -> Tree:
    """Return what one stop gives the discs."""
    done = stop_energy(car, stop)
    row: dict[str, Any] = {
        "fast": stop.fast, "slow": stop.slow, "energy": np.asarray(done.by_brakes),
        "by_drag": np.asarray(done.by_drag / done.kinetic),
        "duration": np.asarray(done.duration), "distance": np.asarray(done.distance),
    }  # fmt: skip
    for axle in AXLES:
        disc = getattr(case.table, axle)
        if disc is not None:
            heat = disc_material(disc.material)[1]
            joules = done.front_disc if axle == "front" else done.rear_disc
            row[f"rise_{axle}"] = bulk_rise(joules, disc.mass.best, heat)
    return row


def disc_of(table: DiscTable, of: Of, axle: str) -> Disc:
    """Return an axle's disc with its draws."""
    key = f"brakes.{axle}"
    vanes = {} if table.is_vented else {"vane_flow_area": 0.0}
    return Disc(
        mass=of(f"{key}.mass"), diameter=table.diameter.best,
        inner_diameter=table.inner_diameter.best, material=table.material,
        vane_area=table.vane_area.best if table.is_vented else 0.0,
        convection_scale=of(f"{key}.convection"), **vanes,
    )  # fmt: skip


def duct_of(table: DuctTable, of: Of, axle: str, scale: float = 1.0) -> BrakeDuct:
    """Return an axle's duct with its draws, every area multiplied by ``scale``."""
    key = f"brakes.{axle}.duct"
    side = scale**0.5
    member = Member(
        width=table.width.best * side, height=table.height.best * side,
        length=table.length.best, bends=tuple(b.best for b in table.bends),
    )  # fmt: skip
    recovery = np.minimum(of(f"{key}.recovery"), 1.0)
    return BrakeDuct(
        inlet=Inlet(name="mouth", end="mouth", area=scale * of(f"{key}.area"), kind=table.kind,
                    recovery=recovery),
        ducts=(member_duct(member, "duct", "mouth", "eye"),),
        outlet_area=scale * of(f"{key}.eye_area"), outlet_pressure=of(f"{key}.eye_pressure"),
    )  # fmt: skip


def _axle(case: BrakingCase, axle: str) -> Tree:
    table: DiscTable = getattr(case.table, axle)
    disc, trace = disc_of(table, case.of, axle), case.trace(axle)
    air = case.of("brakes.temperature")
    speed = float(np.mean(trace.speed))
    options: dict[str, Numeric] = {"no duct": 0.0}
    if table.duct is not None:
        around = Surroundings(speed=speed, temperature=air)
        options["duct"] = brake_duct_flow(duct_of(table.duct, case.of, axle), around)
    drags: dict[str, Numeric] = dict.fromkeys(options, 0.0)
    if table.duct is not None:
        made, kept = duct_of(table.duct, case.of, axle), case.of(f"brakes.{axle}.duct.jet_recovery")
        drags["duct"] = 2.0 * brake_duct_drag(made, around, np.clip(kept, 0.0, 1.0))
    tree: Tree = {"options": {}, "material": table.material, "mean_speed": speed}
    for name, flow in options.items():
        tree["options"][name] = _stint(case, table, disc, trace, flow)
        tree["options"][name]["drag"] = np.asarray(drags[name], dtype=float)
    tree["need"] = _need(case, axle, tree)
    return tree


def _stint(
    case: BrakingCase, table: DiscTable, disc: Disc, trace: BrakeTrace, flow: Numeric
) -> Tree:  # fmt: skip
    air = case.of("brakes.temperature")
    history = disc_temperature(
        disc, trace, air, duct_flow=flow, n_lap=case.table.laps, n_cell=CELLS
    )
    fluid = fluid_temperature(history, air, Caliper())
    verdicts = brake_verdicts(
        history, fluid, disc=table.material, pad=table.pad, grade=case.table.fluid,
        is_wet=case.table.is_wet,
    )  # fmt: skip
    every = max(1, len(history.time) // _SHOWN)
    return {
        "flow": np.asarray(flow, dtype=float),
        "time": history.time[::every],
        "surface": np.quantile(history.surface[::every], _QUANTILES, axis=1),
        "peak_surface": history.peak_surface,
        "peak_mean": history.peak_mean,
        "lap_mean": history.lap_mean,
        "peak_fluid": fluid.max(axis=0),
        "windows": [
            {
                "part": v.window.part, "low": v.window.low, "high": v.window.high,
                "peak": v.window.peak, "over": v.probability_over, "under": v.probability_under,
                "verdict": v.verdict, "working": v.working, "hottest": v.peak,
            }
            for v in verdicts
        ],
    }  # fmt: skip


def _need(case: BrakingCase, axle: str, tree: Tree) -> Tree:
    """Return the duct air and area that hold the surface below the disc's peak window."""
    table: DiscTable = getattr(case.table, axle)
    limit = tree["options"]["no duct"]["windows"][0]["peak"]
    few = of_chosen(case, np.arange(min(_NEED_DRAWS, _said(tree).shape[1])))
    thin, trace = few.of, few.trace(axle)
    try:
        flow = needed_duct_flow(
            disc_of(table, thin, axle), trace, thin("brakes.temperature"), limit
        )
    except NotCovered as error:
        return {"limit": limit, "flow": None, "area": None, "text": str(error)}
    needed = float(np.quantile(flow, 0.9))
    area = drag = None
    if table.duct is not None:
        own = tree["options"]["duct"]
        factor = needed / float(np.median(own["flow"]))
        area, drag = table.duct.area.best * factor, factor * own["drag"]
    return {"limit": limit, "flow": needed, "area": area, "drag": drag, "text": ""}


def _said(tree: Tree) -> Array:
    """Return what every draw said of a disc, ``(n_feature, n_draw)``. [K], [kg/s]"""
    keys = ("peak_surface", "lap_mean", "flow")
    rows = [np.atleast_1d(option[key]) for option in tree["options"].values() for key in keys]
    return np.stack(np.broadcast_arrays(*rows))


def _kits(case: BrakingCase, front: Tree | None) -> list[Tree]:
    """Return what each other state does to the front brakes: more grip, more power."""
    names = list(case.loads)
    if len(names) < 2 or case.table.front is None or front is None:
        return []
    few = of_chosen(case, standing_draws(_said(front), _KIT_DRAWS))
    thin = few.of
    disc = disc_of(case.table.front, thin, "front")
    flow: Numeric = 0.0
    rows = []
    for name in names:
        if case.laps and name not in case.laps:
            continue  # no lap of this state: nothing to compare with
        trace = few.trace("front", name)
        if case.table.front.duct is not None:
            around = Surroundings(
                speed=float(np.mean(trace.speed)), temperature=thin("brakes.temperature")
            )
            flow = brake_duct_flow(duct_of(case.table.front.duct, thin, "front"), around)
        peak = disc_temperature(
            disc, trace, thin("brakes.temperature"), duct_flow=flow, n_lap=case.table.laps,
            n_cell=CELLS,
        ).peak_surface  # fmt: skip
        # a tenth of a per cent between states is less than a few draws scatter: the middle of all
        energy = float(np.median(braking_energy(case, name)[0]))
        time = braking_time(few, name)
        rows.append({
            "state": name, "energy": energy, "braking_time": time, "power": energy / time,
            "peak": peak,
        })  # fmt: skip
    return rows
