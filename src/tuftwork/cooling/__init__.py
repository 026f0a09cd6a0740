"""Heat, cores, ducts, the air net, coolant loops, brakes, and what they cost."""

from tuftwork.cooling.answer import (
    ExitChoice,
    Restriction,
    Sized,
    Target,
    compare_exits,
    find_restriction,
    moved,
    size_opening,
)
from tuftwork.cooling.band import Band, relative_draws
from tuftwork.cooling.brake import (
    BrakingCar,
    Stop,
    brake_window,
    lap_energy,
    needed_duct,
    stop_energy,
)
from tuftwork.cooling.brake_answer import (
    BrakeDuct,
    Caliper,
    KitEffect,
    brake_duct_drag,
    brake_duct_flow,
    brake_verdicts,
    fluid_temperature,
    kit_effect,
    needed_duct_flow,
)
from tuftwork.cooling.coolant import boiling_temperature, liquid_state
from tuftwork.cooling.core import (
    Core,
    MakerTable,
    TubeBank,
    core_from_surface,
    core_from_table,
    core_from_two_points,
    liquid_side_conductance,
    with_liquid_side,
)
from tuftwork.cooling.cost import AxleLoads, StreamDrag, WheelWell, cooling_loads, stream_drag
from tuftwork.cooling.cost_change import cooling_cost
from tuftwork.cooling.disc import BrakeTrace, Disc, DiscHistory, disc_temperature, lap_trace
from tuftwork.cooling.duct import Member
from tuftwork.cooling.element import Cooler, Duct, Exit, Fan, Feed, Inlet, Leak, member_duct
from tuftwork.cooling.exchanger import effectiveness, transfer_units
from tuftwork.cooling.forecast import (
    BlankingChart,
    Forecast,
    Place,
    blanking_chart,
    forecast_temperature,
)
from tuftwork.cooling.heat import ChargeAir, Duty, ElectricDrive, HeatLoads, PowerPlant, heat_loads
from tuftwork.cooling.loop import Loop, simple_loop
from tuftwork.cooling.loop_part import CoreSide, HeatSource, Pipe, PlateSide, Pump, Thermostat
from tuftwork.cooling.net import AirNet, net_faults
from tuftwork.cooling.network import AirFlow, solve_air
from tuftwork.cooling.surface import LouvredSurface, PlainSurface
from tuftwork.cooling.surroundings import Surroundings
from tuftwork.cooling.system import (
    CoolingState,
    CoolingSystem,
    FixedHeat,
    HotStream,
    solve_cooling,
)
from tuftwork.cooling.transient import HotEngine, Stint, ThermalMass, heat_up, soak

__all__ = [
    "AirFlow", "AirNet", "AxleLoads", "Band", "BlankingChart", "BrakeDuct", "BrakeTrace",
    "BrakingCar", "Caliper", "ChargeAir", "Cooler", "CoolingState", "CoolingSystem", "Core",
    "CoreSide", "Disc", "DiscHistory", "Duct", "Duty", "ElectricDrive", "Exit", "ExitChoice",
    "Fan", "Feed", "FixedHeat", "Forecast", "HeatLoads", "HeatSource", "HotEngine", "HotStream",
    "Inlet",
    "KitEffect", "Leak", "Loop", "LouvredSurface", "MakerTable", "Member", "Pipe", "Place",
    "PlainSurface", "PlateSide", "PowerPlant", "Pump", "Restriction", "Sized", "Stint", "Stop",
    "StreamDrag",
    "Surroundings", "Target", "ThermalMass", "Thermostat", "TubeBank", "WheelWell",
    "blanking_chart", "boiling_temperature", "brake_duct_drag", "brake_duct_flow", "brake_verdicts",
    "brake_window",
    "compare_exits", "cooling_cost", "cooling_loads", "core_from_surface", "core_from_table",
    "core_from_two_points", "disc_temperature", "effectiveness", "find_restriction",
    "fluid_temperature", "forecast_temperature", "heat_loads", "heat_up", "kit_effect",
    "lap_energy", "lap_trace", "liquid_side_conductance", "liquid_state", "member_duct", "moved",
    "needed_duct", "needed_duct_flow", "net_faults", "relative_draws", "simple_loop",
    "size_opening", "soak", "solve_air", "solve_cooling", "stop_energy", "stream_drag",
    "transfer_units", "with_liquid_side",
]  # fmt: skip
