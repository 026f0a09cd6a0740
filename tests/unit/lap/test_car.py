"""Table, engine, axles: what the pieces of the car promise."""

import numpy as np
import pytest

from tuftwork.aeromap.map import AeroMap
from tuftwork.demo.truth import true_loads
from tuftwork.errors import InputError
from tuftwork.lap import (
    AeroTable,
    Chassis,
    Gearbox,
    constant_power,
    constant_table,
    parameters_of,
    power_from_gears,
    table_of_map,
    with_changes,
)
from tuftwork.lap.demo import halyard, halyard_aero
from tuftwork.lap.physics import DRIVE, aero_at, assemble, deflection, drive_force, grip_force
from tuftwork.lap.physics import table_at as read


def values(table: AeroTable, front: float, rear: float) -> np.ndarray:
    return np.array(
        read(table.of_draw(0), table.ride_height_front, table.ride_height_rear, 0, front, rear)
    )


def test_the_table_gives_back_its_nodes() -> None:
    table = halyard_aero()
    for i in (0, 3, 9):
        for j in (0, 8, 20):
            found = values(table, table.ride_height_front[i], table.ride_height_rear[j])
            assert found[0] == pytest.approx(table.downforce_front[0, i, j], abs=1e-12)
            assert found[3] == pytest.approx(table.downforce_rear[0, i, j], abs=1e-12)
            assert found[6] == pytest.approx(table.drag[0, i, j], abs=1e-12)


def test_slopes_are_those_of_the_surface_and_continuous_across_nodes() -> None:
    table = halyard_aero()
    step = 1e-7
    for front, rear in ((0.0441, 0.0573), (0.0503, 0.0601), (0.0711, 0.0951)):
        up, down = values(table, front, rear + step), values(table, front, rear - step)
        assert (up[3] - down[3]) / (2 * step) == pytest.approx(
            values(table, front, rear)[5], rel=1e-4
        )
    node = float(table.ride_height_rear[10])
    below, above = values(table, 0.045, node - 1e-9), values(table, 0.045, node + 1e-9)
    assert below[5] == pytest.approx(above[5], rel=1e-4)


def test_the_surface_does_not_overshoot_the_cliff() -> None:
    table = halyard_aero()
    fine = np.linspace(0.036, 0.110, 800)
    found = np.array([values(table, 0.048, r)[3] for r in fine])
    assert found.max() <= table.downforce_rear.max() + 1e-12
    assert found.min() >= table.downforce_rear.min() - 1e-12


def test_a_mix_of_states_lies_between_them() -> None:
    one, two = constant_table(0.4, 0.6, 0.8), constant_table(0.6, 1.0, 1.0)
    both = AeroTable(
        ride_height_front=one.ride_height_front, ride_height_rear=one.ride_height_rear,
        downforce_front=np.concatenate([one.downforce_front, two.downforce_front]),
        downforce_rear=np.concatenate([one.downforce_rear, two.downforce_rear]),
        drag=np.concatenate([one.drag, two.drag]), states=("low", "high"),
    )  # fmt: skip
    aero = (both.of_draw(0), both.ride_height_front, both.ride_height_rear)
    found = aero_at(aero, np.array([0.0, 1.0, 0.25]), 0.05, 0.05)
    assert found[0] == pytest.approx(0.45)
    assert found[6] == pytest.approx(0.85)


def test_millimetres_given_for_metres_are_named() -> None:
    flat = constant_table(0.4, 0.6, 0.8)
    with pytest.raises(InputError, match=r"must be below 1\. Given in mm"):
        AeroTable(
            ride_height_front=np.array([40.0, 60.0]), ride_height_rear=flat.ride_height_rear,
            downforce_front=flat.downforce_front, downforce_rear=flat.downforce_rear,
            drag=flat.drag,
        )  # fmt: skip


def test_kilowatts_given_for_watts_are_named() -> None:
    with pytest.raises(InputError, match="Multiply kW by 1000"):
        constant_power(355.0)


def test_gears_follow_the_envelope_and_stop_at_the_limiter() -> None:
    turning = np.array([200.0, 400.0, 600.0, 700.0])
    power = np.array([100e3, 220e3, 300e3, 280e3])
    box = Gearbox(ratios=(12.0, 8.0, 5.0), rolling_radius=0.325)
    curve = power_from_gears(turning, power, box)
    top = 700.0 * 0.325 / 5.0
    assert curve.power.max() <= 300e3 + 1.0
    force, _ = drive_force(
        curve.table, curve.step, parameters_of(halyard()), 0.5 * (top + 3.0) ** 2
    )
    assert force == pytest.approx(0.0, abs=1.0)
    near = np.argmin(np.abs(curve.speed - 600.0 * 0.325 / 5.0))
    assert curve.power[near] == pytest.approx(300e3, rel=0.01)


def test_the_bump_stop_stiffens_the_axle_smoothly() -> None:
    soft, _ = deflection(1000.0, 100e3, 0.02, 400e3, 1.0, 400e3)
    assert soft == pytest.approx(0.01, abs=1e-5)
    hard, slope = deflection(6000.0, 100e3, 0.02, 400e3, 1.0, 400e3)
    assert hard == pytest.approx(0.02 + 4000.0 / 400e3, abs=1e-5)
    assert slope == pytest.approx(1 / 400e3, rel=1e-3)


@pytest.mark.parametrize(("use", "left"), [(0.5, 0.866025), (0.8, 0.6), (0.95, 0.31225)])
def test_the_ellipse_leaves_what_it_should(use: float, left: float) -> None:
    force, _, _, _ = grip_force(True, 0.5, 1.0, 1000.0, 1000.0, 1000.0 * use, 1000.0 * use)
    assert force == pytest.approx(2000.0 * left, rel=1e-5)


def test_axle_loads_on_a_slope_are_the_textbook_s() -> None:
    # 3220 lb, 44 ft/s in 200 ft up a 10 % grade, CG 24 in, axles 60 in either side:
    # 1441 and 1763 lb (Meriam and Kraige, Dynamics, sample 6/1, p. 422; seen in a transcription)
    pound, foot = 4.4482216, 0.3048
    grade = np.arctan(0.10)
    car = halyard()
    from dataclasses import replace

    chassis = Chassis(
        mass=3220.0 * pound / 9.81456, weight_front=0.5, cg_height=2.0 * foot,
        wheelbase=10.0 * foot, track_front=1.6, track_rear=1.6,
    )  # fmt: skip
    p = with_changes(parameters_of(replace(car, chassis=chassis)), {"gravity": 32.2 * foot})
    flat = constant_table(0.0, 0.0, 0.0)
    aero = (flat.of_draw(0), flat.ride_height_front, flat.ride_height_rear)
    road = (0.0, 0.0, 1.0, float(np.sin(grade)), float(np.cos(grade)), 0.0)
    power = car.power
    by = assemble(
        DRIVE, 1.0, 4.84 * foot, 0.05, 0.06, road, np.zeros(3), p, car.flags, aero, power.table,
        power.step,
    )[3]  # fmt: skip
    assert by[0] / pound == pytest.approx(1441.0, abs=1.5)
    assert by[1] / pound == pytest.approx(1763.0, abs=1.5)


def test_a_map_becomes_a_table_with_its_draws_first() -> None:
    front, rear = np.array([0.04, 0.05, 0.06]), np.array([0.05, 0.06, 0.07, 0.08])
    shape = (1, 3, 4, 5)
    rng = np.random.default_rng(0)
    fields = {
        n: 0.8 + 0.1 * rng.random(shape) for n in ("downforce_front", "downforce_rear", "drag")
    }
    made = AeroMap.__new__(AeroMap)
    stand = {"front": front, "rear": rear, "states": ("fixed",), "valid": np.ones(shape[:3], bool)}
    for name, value in {**stand, **fields}.items():
        object.__setattr__(made, name, value)
    table = table_of_map(made)
    assert table.n_draw == 5
    assert table.downforce_rear[4, 0, 1, 2] == fields["downforce_rear"][0, 1, 2, 4]
    object.__setattr__(made, "valid", np.zeros(shape[:3], bool))
    with pytest.raises(InputError, match="hold no number"):
        table_of_map(made)


def test_the_demo_aero_is_the_demo_s_truth() -> None:
    for wing in (8.0, 12.0):
        table = halyard_aero(wing)
        for i, front in enumerate(table.ride_height_front):
            for j, rear in enumerate(table.ride_height_rear):
                true = true_loads(float(front), float(rear), float(np.radians(wing)))
                assert table.downforce_front[0, i, j] == pytest.approx(true.front, abs=1e-9)
                assert table.downforce_rear[0, i, j] == pytest.approx(true.rear, abs=1e-9)
                assert table.drag[0, i, j] == pytest.approx(true.drag, abs=1e-9)
