"""Circuits of the project as loops: heat of what the duty describes, exchangers between loops."""

from collections.abc import Callable, Mapping

import numpy as np

from tuftwork.car import Project
from tuftwork.car.cooling import Circuit, Cooling
from tuftwork.cooling.coolant import liquid_state
from tuftwork.cooling.exchanger import transfer_units
from tuftwork.cooling.heat import Duty, ElectricDrive, PowerPlant, engine_split, heat_loads
from tuftwork.cooling.loop import Loop, simple_loop
from tuftwork.errors import InputError
from tuftwork.quantity import Numeric

Of = Callable[[str], Numeric]
"""Name of an input → its draws, or its value where it has no range. [SI]"""


def plates_of(circuit: Circuit, table: Cooling) -> dict[str, Numeric]:
    """Return the liquid-to-liquid coolers a circuit has a side of: name → conductance [W/K]."""
    found: dict[str, Numeric] = {}
    by_name = {c.name: c for c in table.circuits}
    for hot in table.circuits:
        if hot.exchanger is None or circuit.name not in (hot.name, hot.exchanger.to):
            continue
        cold = by_name[hot.exchanger.to]
        carried = sorted(
            c.flow.best * float(liquid_state(c.fluid, 363.15).specific_heat) for c in (hot, cold)
        )
        eps = hot.exchanger.heat.best / (carried[0] * hot.exchanger.inlet_difference.best)
        if not eps < 0.98:
            raise InputError(
                f"circuit {hot.name}: exchanger.heat", hot.exchanger.heat.best, "W",
                "exceeds what the smaller flow can carry at this difference",
                "Check the flow, the heat and the difference of the inlets.",
            )  # fmt: skip
        units = transfer_units(eps, carried[0] / carried[1], "counterflow")
        found[exchanger_name(hot)] = float(np.asarray(units)) * carried[0]
    return found


def exchanger_name(circuit: Circuit) -> str:
    """Return what a circuit's liquid-to-liquid cooler is called."""
    assert circuit.exchanger is not None
    return f"{circuit.name} to {circuit.exchanger.to}"


def loop_of(
    circuit: Circuit, of: Of, plant: Mapping[str, Numeric], plates: Mapping[str, Numeric]
) -> Loop:
    """Return a circuit as a loop: its entered heat, or the duty's, its coolers, its exchangers."""
    key = f"cooling.circuits.{circuit.name}"
    if circuit.heat is not None:
        heat = of(f"{key}.heat")
    else:
        assert circuit.carries is not None
        if circuit.carries not in plant:
            raise InputError(
                f"circuit {circuit.name}", circuit.carries, "", "nothing makes this heat",
                "Give 'heat', or [cooling.duty] with 'engine' or 'wheel_power'.",
            )  # fmt: skip
        heat = plant[circuit.carries]
    thermostat = None
    if circuit.opens is not None and circuit.fully_open is not None:
        thermostat = (circuit.opens.best, circuit.fully_open.best)
    return simple_loop(circuit.name, circuit.coolers, heat=heat, flow=of(f"{key}.flow"),
                       fluid=circuit.fluid, thermostat=thermostat, plates=plates)  # fmt: skip


def plant_heat(
    project: Project, table: Cooling, of: Of, driven: Duty | None = None
) -> Mapping[str, Numeric]:
    """Return the lap-mean heat of what the duty describes, by circuit [W].

    A lap that was ``driven`` gives the share of full load; the entered one keeps its range.
    """
    duty = table.duty
    wanted = {c.carries for c in table.circuits if c.heat is None and c.carries}
    if duty is None or not wanted:
        return {}
    entered = Duty(lap_mean=duty.lap_mean.best, worst_minute=duty.worst_minute.best)
    share = driven or entered
    mean = of("cooling.duty.lap_mean") * np.asarray(share.lap_mean / entered.lap_mean)
    heats: dict[str, Numeric] = {}
    if duty.engine is not None:
        if project.car.power is None:
            raise InputError("car.power", "missing", "", "the engine's heat follows its power")
        power = of("car.power")
        for name in engine_split(duty.engine):
            if name in wanted:
                heats[name] = np.asarray(power * of(f"cooling.duty.{name}") * mean)
    if duty.wheel_power is not None:
        given = {k: getattr(duty, k) for k in ("pack_current", "pack_resistance")}
        drive = ElectricDrive(
            wheel_power=duty.wheel_power.best,
            **{k: q.best for k, q in given.items() if q is not None},
        )
        loads = heat_loads(PowerPlant(electric=drive), share).lap_mean
        for name, heat in loads.items():
            heats[name] = heats.get(name, 0.0) + np.asarray(heat)
    return heats
