"""The project's cooling tables as a system the room can solve, with draws from the one ensemble."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.air import standard_air
from tuftwork.car import Project, Table, quantities_in
from tuftwork.car.air import CoolingExit, Core, Fins
from tuftwork.car.cooling import Circuit, Cooling
from tuftwork.cooling import AirNet, CoolingSystem, HotStream, Surroundings, Target
from tuftwork.cooling import Core as SolvedCore
from tuftwork.cooling.answer import replaced
from tuftwork.cooling.case_loop import Of, loop_of, plant_heat, plates_of
from tuftwork.cooling.case_opening import SPOILING, banded, opening_defaults, spoils, widens_to
from tuftwork.cooling.core import (
    MakerTable,
    TubeBank,
    core_from_surface,
    core_from_table,
    fit_loss,
    liquid_side_conductance,
)
from tuftwork.cooling.cost import WheelWell
from tuftwork.cooling.duct import bend_loss
from tuftwork.cooling.element import Cooler, Duct, Element, Exit, Fan, Feed, Inlet, Leak
from tuftwork.cooling.heat import Duty, engine_split
from tuftwork.cooling.opening import discharge_band, pressure_band, recovery_band, surface_gain_band
from tuftwork.cooling.surface import LouvredSurface
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.quantity import Ensemble, Numeric, Quantity

_STANDARD = 101325.0  # [Pa]
_LOUVRES = 0.5  # [rad]  usual angle of blades on an upper surface, common practice
_UPWARD = ("bonnet", "bonnet-front", "cowl", "roof-front")
_FINS = {
    "louvre_angle": 0.4712, "louvre_pitch": 1.2e-3, "louvre_length": 6.8e-3, "fin_pitch": 1.4e-3,
    "fin_length": 8.0e-3, "fin_thickness": 0.08e-3, "tube_pitch": 10e-3, "tube_height": 2e-3,
}  # fmt: skip
"""A common louvred fin: θ [rad], lengths [m]. Common practice, no source."""


def cooling_of(project: Project) -> Cooling:
    """Return the cooling tables, or say what is missing.

    Raises
    ------
    NotCovered
        If the project has none.
    """
    if project.cooling is None:
        raise NotCovered(
            "No cooling yet. Add [cooling] with its circuits, inlets, cores and exits to "
            "project.toml."
        )
    return project.cooling


def cooling_quantities(project: Project) -> dict[str, Quantity]:
    """Return every uncertain number of the cooling by name, defaults of kinds and places too."""
    table = project.cooling
    if table is None:
        return {}
    found = dict(quantities_in(table, "cooling."))
    for inlet in table.inlets:
        if inlet.recovery is None:
            recovery = banded(recovery_band(inlet.kind)).within(None, 1.0)
            found[f"cooling.inlets.{inlet.name}.recovery"] = recovery
    found |= opening_defaults(table)
    known = {s.name: s for s in table.surfaces}
    for way in table.exits:
        if way.discharge is None:
            found[f"cooling.exits.{way.name}.discharge"] = _discharge(way.at)
        own = known.get(way.at)
        if way.end == OUTSIDE:
            found[f"cooling.exits.{way.name}.surface_gain"] = banded(surface_gain_band(way.at))
        if way.end == OUTSIDE and way.pressure is None and (own is None or own.pressure is None):
            found[f"cooling.exits.{way.name}.pressure"] = banded(pressure_band(way.at))
        for place in way.also:
            found.setdefault(f"cooling.surfaces.{place}.pressure", banded(pressure_band(place)))
            found[f"cooling.surfaces.{place}.discharge"] = _discharge(place)
            found[f"cooling.surfaces.{place}.surface_gain"] = banded(surface_gain_band(place))
    if table.duty is not None and table.duty.engine is not None:
        for name, band in engine_split(table.duty.engine).items():
            if any(circuit.carries == name for circuit in table.circuits):
                # heat cannot turn round, and the oil's band is wide
                found[f"cooling.duty.{name}"] = replace(banded(band), spread="log")
    return found


def net_quantities(project: Project) -> dict[str, Quantity]:
    """Return the uncertain numbers on which the air through the car depends, whatever day it is.

    A loop's flow and how well its cores give heat move its temperature, not the heat the air takes.
    """
    table = cooling_of(project)
    heads = [f"cooling.{kind}." for kind in ("inlets", "cores", "ducts", "exits", "leaks", "fans",
                                             "wells")]  # fmt: skip
    heads += [f"cooling.surfaces.{way.at}.pressure" for way in table.exits]
    idle: set[str] = set()
    for circuit in table.circuits:
        key = f"cooling.circuits.{circuit.name}"
        if circuit.kind == "liquid":
            heads.append(f"{key}.heat")
            idle |= {f"cooling.cores.{name}.heat_factor" for name in circuit.coolers}
        else:
            heads += [f"{key}.flow", f"{key}.temperature"]
        if circuit.heat is None and circuit.carries:
            heads += ["cooling.duty.lap_mean", f"cooling.duty.{circuit.carries}"]
    found = {
        name: quantity
        for name, quantity in cooling_quantities(project).items()
        if name.startswith(tuple(heads)) and name not in idle and not quantity.is_exact
    }
    power = project.car.power
    if "cooling.duty.lap_mean" in heads and power is not None and not power.is_exact:
        found["car.power"] = power
    return found


def cooling_labels(project: Project) -> dict[str, str]:
    """Return what a person calls those numbers."""
    labels = {}
    for name in cooling_quantities(project):
        parts = name.split(".")
        owner = parts[2] if len(parts) > 3 else parts[1] if len(parts) > 2 else "cooling"
        labels[name] = f"{owner}: {parts[-1].replace('_', ' ')}"
    return labels


def _discharge(place: str) -> Quantity:
    return banded(discharge_band(place)).within(0.0, 1.0)


def of_ensemble(ensemble: Ensemble, most: int = 0) -> Of:
    """Return the look-up of inputs in an ensemble, the first ``most`` draws where given."""

    def of(name: str) -> Numeric:
        if name not in ensemble.columns:
            if name not in ensemble.quantities:
                raise UnknownName("input", name, ensemble.quantities)
            return ensemble.quantities[name].best
        draws = ensemble.of(name)
        return draws[:most] if most else draws

    return of


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolingCase:
    """A car's cooling on its hot day.

    Attributes
    ----------
    table
        As the project says it.
    of
        Look-up of inputs.
    system, around
        The air net with its circuits, and the air it meets.
    wheelbase
        [m]
    driven
        Duty of the lap, where there is one.
    """

    table: Cooling
    of: Of
    system: CoolingSystem
    around: Surroundings
    wheelbase: float
    driven: Duty | None = None

    @classmethod
    def of_project(
        cls, project: Project, of: Of, around: Surroundings | None = None,
        driven: Duty | None = None, fed: Mapping[str, Numeric] | None = None,
    ) -> "CoolingCase":  # fmt: skip
        """Return the case of a project, on its hot day or in the air given.

        ``driven`` is the duty of a lap; without it the entered one counts. ``fed`` is air from
        elsewhere by node: volume flow over the car's speed. [m²]
        """
        table = cooling_of(project)
        around = around or _hot_day(project, table, of)
        system = _system(project, table, of, driven)
        if fed:
            own = tuple(
                Feed(name="splitter's air" if len(fed) == 1 else f"splitter's air, {n}", end=n,
                     flow_area=q)
                for n, q in fed.items()
            )  # fmt: skip
            system = replace(system, air=AirNet(elements=(*system.air.elements, *own)))
        return cls(table=table, of=of, system=system, around=around,
                   wheelbase=project.car.wheelbase.best, driven=driven)  # fmt: skip

    @property
    def limited(self) -> tuple[Circuit, ...]:
        """Circuits that have a limit."""
        return tuple(c for c in self.table.circuits if c.limit is not None)

    def target(self, circuit: Circuit) -> Target:
        """Return what a circuit must stay below."""
        assert circuit.limit is not None
        return Target(
            loop=key_of(circuit), limit=circuit.limit.best, probability=self.table.risk.best
        )

    @property
    def wells(self) -> tuple[WheelWell, ...]:
        """Wheel wells whose pressure lifts the car."""
        return tuple(
            WheelWell(
                node=w.name,
                plan_area=self.of(f"cooling.wells.{w.name}.plan_area"),
                x=w.station.best - 0.5 * self.wheelbase,
            )
            for w in self.table.wells
        )

    def known(self, place: str) -> Table | None:
        """Return what the project knows of a place."""
        return next((s for s in self.table.surfaces if s.name == place), None)

    def moved(self, name: str, place: str) -> "CoolingCase":
        """Return the case with an exit at another place, with that place's draws."""
        part = self.system.air.part(name)
        if not isinstance(part, Exit):
            raise InputError("exit", name, "", "is not an exit")
        if place == part.place:
            return self
        key = f"cooling.surfaces.{place}"
        gone = replace(
            part, end=OUTSIDE, place=place, pressure=self.of(f"{key}.pressure"),
            discharge=_held(self.of(f"{key}.discharge"), 0.2, 0.98),
            angle=_LOUVRES if place in _UPWARD else 0.0,
            surface_gain=self.of(f"{key}.surface_gain"),
            recovery=_held(self.of(f"{key}.recovery"), 0.0, 1.0) if place in SPOILING else 1.0,
        )  # fmt: skip
        return replace(self, system=replaced(self.system, gone))


def key_of(circuit: Circuit) -> str:
    """Return the name under which the solver knows a circuit's temperature."""
    return circuit.coolers[0] if circuit.kind == "gas" else circuit.name


def worst_over_mean(table: Cooling, driven: Duty | None = None) -> float:
    """Return heat of the worst minute over a lap's mean, driven or entered; 1 for neither."""
    if driven is not None:
        return float(driven.worst_minute) / max(float(driven.lap_mean), 1e-6)
    if table.duty is None:
        return 1.0
    return table.duty.worst_minute.best / table.duty.lap_mean.best


def _hot_day(project: Project, table: Cooling, of: Of) -> Surroundings:
    return Surroundings(
        speed=of("cooling.speed"),
        temperature=of("cooling.temperature"),
        pressure=air_pressure(project),
        humidity=0.0 if table.humidity is None else _held(of("cooling.humidity"), 0.0, 1.0),
    )


def air_pressure(project: Project) -> float:
    """Return the pressure of the air where the car runs [Pa]."""
    weather = project.weather
    if weather.pressure is not None:
        return weather.pressure.best
    return float(standard_air(weather.altitude.best).pressure) if weather.altitude else _STANDARD


def _system(project: Project, table: Cooling, of: Of, driven: Duty | None) -> CoolingSystem:
    by_core = {name: c for c in table.circuits for name in c.coolers}
    parts: list[Element] = [_inlet(i.name, table, of) for i in table.inlets]
    for core in table.cores:
        made = _core(core, of, by_core.get(core.name))
        parts.append(Cooler(name=core.name, start=core.start, end=core.end, core=made))
    parts += [_duct(d.name, table, of) for d in table.ducts]
    parts += [_exit(way, table, of, project.car.wheelbase.best) for way in table.exits]
    for leak in table.leaks:
        key = f"cooling.leaks.{leak.name}"
        parts.append(Leak(name=leak.name, start=leak.start, end=leak.end, area=of(f"{key}.area"),
                          pressure=of(f"{key}.pressure")))  # fmt: skip
    for fan in table.fans:
        parts.append(Fan(
            name=fan.name, start=fan.start, end=fan.end,
            volume_flow=tuple(p.flow.best for p in fan.curve),
            rise=tuple(p.rise.best for p in fan.curve),
            running=of(f"cooling.fans.{fan.name}.running"),
        ))  # fmt: skip
    plant = plant_heat(project, table, of, driven)
    loops = tuple(
        loop_of(c, of, plant, plates_of(c, table)) for c in table.circuits if c.kind == "liquid"
    )
    streams = tuple(
        HotStream(cooler=c.coolers[0], mass_flow=of(f"cooling.circuits.{c.name}.flow"),
                  temperature=of(f"cooling.circuits.{c.name}.temperature"))
        for c in table.circuits if c.kind == "gas"
    )  # fmt: skip
    return CoolingSystem(air=AirNet(elements=tuple(parts)), loops=loops, streams=streams)


def _inlet(name: str, table: Cooling, of: Of) -> Inlet:
    inlet = next(i for i in table.inlets if i.name == name)
    key, face = f"cooling.inlets.{name}", widens_to(inlet, table)
    return Inlet(
        name=name, end=inlet.end, area=of(f"{key}.area"), kind=inlet.kind,
        recovery=_held(of(f"{key}.recovery"), -1.5, 1.0),
        loss=0.0 if inlet.loss is None else of(f"{key}.loss"), height=inlet.height.best,
        widens_to=face, widening=0.0 if face is None else _held(of(f"{key}.widening"), 0.0, 1.2),
    )  # fmt: skip


def _duct(name: str, table: Cooling, of: Of) -> Duct:
    duct = next(d for d in table.ducts if d.name == name)
    key = f"cooling.ducts.{name}"
    radius = 0.0 if duct.bend_radius is None else duct.bend_radius.best
    loss = sum(bend_loss(angle.best, radius) for angle in duct.bends)
    return Duct(
        name=name, start=duct.start, end=duct.end, area=of(f"{key}.area"),
        loss=loss + (0.0 if duct.loss is None else of(f"{key}.loss")),
        length=0.0 if duct.length is None else of(f"{key}.length"),
        hydraulic_diameter=(
            None if duct.hydraulic_diameter is None else of(f"{key}.hydraulic_diameter")
        ),
    )  # fmt: skip


def _exit(way: CoolingExit, table: Cooling, of: Of, wheelbase: float) -> Exit:
    key = f"cooling.exits.{way.name}"
    at = next((s for s in table.surfaces if s.name == way.at), None)
    pressure: Numeric | None = None
    if way.end == OUTSIDE:
        shared = way.pressure is None and at is not None and at.pressure is not None
        pressure = of(f"cooling.surfaces.{way.at}.pressure" if shared else f"{key}.pressure")
    is_spoilt = way.recovery is not None or spoils(way, table)
    return Exit(
        name=way.name, start=way.start, end=way.end, net_area=of(f"{key}.area"), place=way.at,
        pressure=pressure, discharge=_held(of(f"{key}.discharge"), 0.2, 0.98),
        angle=way.angle.best, x=way.station.best - 0.5 * wheelbase, height=way.height.best,
        surface_gain=of(f"{key}.surface_gain") if way.end == OUTSIDE else None,
        recovery=_held(of(f"{key}.recovery"), 0.0, 1.0) if is_spoilt else 1.0,
    )  # fmt: skip


def _core(core: Core, of: Of, circuit: Circuit | None) -> SolvedCore:
    key = f"cooling.cores.{core.name}"
    face = core.count * np.asarray(of(f"{key}.width")) * np.asarray(of(f"{key}.height"))
    speeds = [row.speed.best for row in core.rows]
    losses = [row.loss.best for row in core.rows]
    heats = [row.heat.best for row in core.rows if row.heat is not None]
    if heats:
        assert core.test is not None
        made = core_from_table(MakerTable(
            velocity=tuple(speeds), loss=tuple(losses), heat=tuple(heats),
            inlet_difference=core.test.inlet_difference.best, liquid=core.test.fluid,
            liquid_flow=core.test.liquid_flow.best,
            face_area=core.count * core.width.best * core.height.best,
        ))  # fmt: skip
        made = replace(made, face_area=face)
    else:
        made = core_from_surface(_surface(core.fins, core.depth.best), face)
        if core.rows:
            a, b = fit_loss(np.array(speeds), np.array(losses))
            made = replace(made, linear_loss=a, square_loss=b)
    if core.tubes is not None and circuit is not None and circuit.kind == "liquid":
        bank = TubeBank(
            n_tube=core.tubes.count, width=core.tubes.width.best, height=core.tubes.height.best,
            length=core.tubes.length.best,
        )  # fmt: skip
        side = liquid_side_conductance(bank, circuit.fluid, circuit.flow.best, 368.15)
        made = replace(
            made, liquid_conductance=float(np.asarray(side)), liquid_flow=circuit.flow.best
        )
    return replace(
        made, layback=core.layback.best, loss_scale=of(f"{key}.loss_factor"),
        conductance_scale=of(f"{key}.heat_factor"),
    )  # fmt: skip


def _surface(fins: Fins | None, depth: float) -> LouvredSurface:
    sizes = dict(_FINS)
    if fins is not None:
        sizes = {name: getattr(fins, name).best for name in _FINS}
    return LouvredSurface(tube_depth=depth, **sizes)


def _held(value: Numeric, low: float, high: float) -> Numeric:
    """Return draws held at physical limits."""
    return np.clip(value, low, high) if isinstance(value, np.ndarray) else min(
        max(float(value), low), high
    )  # fmt: skip
