"""Circuits, the car, the quasi-steady lap and what aero is worth on it."""

from tuftwork.lap.balance import (
    Gate,
    Hypothesis,
    MarginCell,
    Remark,
    aero_gate,
    axle_loads,
    hypotheses,
    margins,
    phases_of,
)
from tuftwork.lap.build import Piece, circuit_from_radii
from tuftwork.lap.circuit import Circuit, Corner, find_corners, reverse, start_at
from tuftwork.lap.line import circuit_from_drawing, circuit_from_laps, circuit_from_line
from tuftwork.lap.parameter import NAMES, PARAMETERS
from tuftwork.lap.path import least_curvature_line
from tuftwork.lap.power import (
    Gearbox,
    PowerCurve,
    constant_power,
    power_from_gears,
    power_over_speed,
)
from tuftwork.lap.record import LIMITS, LapTrace
from tuftwork.lap.schedule import Rule, Schedule
from tuftwork.lap.solve import (
    Case,
    Lap,
    corner_speed,
    prepare,
    run_case,
    solve_lap,
    solve_sprint,
    terminal_speed,
)
from tuftwork.lap.table import AeroTable, constant_table
from tuftwork.lap.tyre import fit_grip_to_corners, fit_tyre, magic_formula, skid_pad_grip
from tuftwork.lap.vehicle import (
    Brakes,
    Chassis,
    Surroundings,
    Suspension,
    Tyre,
    Vehicle,
    in_mass_state,
    parameters_of,
    with_changes,
)
