"""A stint from cold and the soak after it: how far each loop warms on the move and at rest."""

from typing import Any

import numpy as np

from tuftwork.car.cooling import Circuit
from tuftwork.cooling import HotEngine, Stint, ThermalMass, heat_up, soak
from tuftwork.cooling.case import CoolingCase
from tuftwork.cooling.coolant import boiling_temperature, liquid_state
from tuftwork.cooling.transient import HeatUp
from tuftwork.quantity import Array, Numeric, Quantity, format_plain
from tuftwork.study.cooling_tell import Teller, certain
from tuftwork.study.lap_history import LapHistory
from tuftwork.study.store import Tree

_ALUMINIUM = 900.0  # [J/(kg K)]  incropera2007, table A.1
_WARM = 363.15  # [K]  at which a liquid's heat capacity is taken
_STEP = 2.0  # [s]
_SHOWN = 300  # [-]  times kept for drawing
_QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)
_KELVIN = 273.15
_NAMES = ("low", "low_half", "best", "high_half", "high")


def stint_tree(case: CoolingCase, lap: LapHistory | None) -> Tree:
    """Return the stint's result; empty where the project asks for none."""
    table = case.table.stint
    if table is None:
        return {}
    stint = _stint(case, lap)
    loops = [c for c in case.table.circuits if c.kind == "liquid"]
    start = None if table.start is None else case.of("cooling.stint.start")
    masses = {
        c.name: ThermalMass(capacity=_liquid(case, c) + _metal(case, c), start=start) for c in loops
    }
    around = case.around
    warmed = heat_up(
        case.system, stint, masses, temperature=around.temperature, pressure=around.pressure
    )
    tree: Tree = {
        "source": "" if lap is None else lap.source,
        "minutes": float(stint.time[-1]) / 60.0,
        "boils": _boils(case),
        "loops": {},
    }
    for circuit in loops:
        found = warmed[circuit.name]
        last = found.temperature[-1]
        bay, over = case.of("cooling.stint.bay"), case.of("cooling.stint.metal_over")
        engine = HotEngine(
            metal_capacity=_metal(case, circuit), coolant_capacity=_liquid(case, circuit),
            metal=last + over, coolant=last,
        )  # fmt: skip
        rest = soak(engine, bay, table.soak.best)
        tree["loops"][circuit.name] = {
            "stint": _drawn(found), "peak": found.peak, "last": last,
            "soak": _drawn(rest), "soak_peak": rest.peak,
            "over_after": _over_after(found, circuit),
        }  # fmt: skip
    return tree


def _stint(case: CoolingCase, lap: LapHistory | None) -> Stint:
    """Return speed and share of heat over all laps; steady where no lap was run."""
    assert case.table.stint is not None
    laps = case.table.stint.laps
    if lap is None:
        time = np.arange(0.0, laps * 100.0 + _STEP, _STEP)
        speed = np.full(len(time), case.table.speed.best)
        return Stint(time=time, speed=speed, heat_share=np.ones(len(time)))
    heat = lap.drive[1:] / lap.drive[1:].mean()
    time = np.concatenate([lap.time[1:] + k * lap.lap_time for k in range(laps)])
    return Stint(
        time=np.r_[0.0, time], speed=np.r_[lap.speed[1], np.tile(lap.speed[1:], laps)],
        heat_share=np.r_[heat[0], np.tile(heat, laps)],
    )  # fmt: skip


def _liquid(case: CoolingCase, circuit: Circuit) -> Array:
    mass = case.of(f"cooling.circuits.{circuit.name}.liquid_mass")
    return np.asarray(mass * liquid_state(circuit.fluid, _WARM).specific_heat)


def _metal(case: CoolingCase, circuit: Circuit) -> Array:
    return np.asarray(case.of(f"cooling.circuits.{circuit.name}.metal_mass") * _ALUMINIUM)


def _boils(case: CoolingCase) -> Numeric | None:
    table = case.table.stint
    assert table is not None
    if table.cap is None:
        return None
    cap = np.asarray(case.of("cooling.stint.cap"))
    return float(np.median(boiling_temperature(cap, case.around.pressure)))


def _drawn(found: HeatUp) -> Tree:
    every = max(1, len(found.time) // _SHOWN)
    curves = np.quantile(found.temperature[::every], _QUANTILES, axis=1) - _KELVIN
    return {"time": found.time[::every], "curves": curves}


def _over_after(found: HeatUp, circuit: Circuit) -> float | None:
    """Return when half of the draws have crossed the limit [s]; None where they never do."""
    if circuit.limit is None:
        return None
    over = np.median(found.temperature, axis=1) > circuit.limit.best
    return float(found.time[int(np.argmax(over))]) if over.any() else None


def stint_page(tell: Teller, tree: Tree) -> dict[str, Any] | None:
    """Return the stint's part of the page; None where the project asks for none."""
    table = tell.table.stint
    if table is None or not tree:
        return None
    boils = tree["boils"]
    laps = f"{table.laps} laps" if tree["source"] else f"{tree['minutes']:.0f} minutes"
    how = tree["source"] or f"steady {tell.at}; no lap was run"
    return {
        "text": f"{laps} from cold, then the engine off: {how}.",
        "boils_c": None if boils is None else round(boils - _KELVIN, 1),
        "cap": None
        if table.cap is None
        else format_plain(table.cap.best, "pressure", "bar", digits=1),
        "rows": [_row(tell, name, found, boils) for name, found in tree["loops"].items()],
    }


def _row(tell: Teller, name: str, found: Tree, boils: float | None) -> dict[str, Any]:
    circuit = next(c for c in tell.table.circuits if c.name == name)
    limit: Quantity | None = circuit.limit
    peak, rest = np.asarray(found["peak"]), np.asarray(found["soak_peak"])
    after = found["over_after"]
    return {
        "circuit": name,
        "limit_c": None if limit is None else limit.best - _KELVIN,
        "peak": tell.number(f"stint/{name}/peak", peak, "temperature", f"{name}: stint's highest"),
        "over": None if limit is None else certain(float(np.mean(peak > limit.best)), "share"),
        "over_after_min": None if after is None else round(after / 60.0, 1),
        "rest": tell.number(
            f"stint/{name}/rest", rest, "temperature", f"{name}: highest after stopping"
        ),
        "boiling": None if boils is None else certain(float(np.mean(rest > boils)), "share"),
        "trace": _trace(found["stint"]),
        "soak": _trace(found["soak"]),
    }


def _trace(drawn: Tree) -> dict[str, Any]:
    curves = np.asarray(drawn["curves"])
    minutes = (np.asarray(drawn["time"]) / 60.0).round(2).tolist()
    return {"time_min": minutes} | {
        name: row.round(1).tolist() for name, row in zip(_NAMES, curves, strict=True)
    }
