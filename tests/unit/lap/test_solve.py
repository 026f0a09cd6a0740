"""What the lap promises: exact slopes, order, symmetry, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap import (
    NAMES,
    Brakes,
    Case,
    Draws,
    PowerCurve,
    Rule,
    Schedule,
    constant_power,
    in_mass_state,
    lap_slopes,
    lap_times,
    power_over_speed,
    prepare,
    reverse,
    run_case,
    solve_lap,
    start_at,
)
from tuftwork.lap.demo import brackenholt, halyard, halyard_aero
from tuftwork.lap.parameter import INDEX, N_PARAMETER
from tuftwork.lap.table import AeroTable

TRACK = brackenholt()


@pytest.fixture(scope="module")
def case() -> Case:
    return prepare(TRACK, halyard(), halyard_aero(), n_point=2000)


@pytest.fixture(scope="module")
def four_wheel_case() -> Case:
    """A car whose every parameter matters: four-wheel drive, bump stops, brakes that run out."""
    car = halyard()
    s = replace(
        car.suspension, bump_travel_front=0.006, bump_rate_front=250e3, bump_travel_rear=0.007,
        bump_rate_rear=250e3, second_travel_front=0.009, second_rate_front=420e3,
        second_travel_rear=0.010, second_rate_rear=460e3, tyre_growth_front=4e-7,
        tyre_growth_rear=6e-7,
    )  # fmt: skip
    car = replace(
        car, drive_share_front=0.3, suspension=s, brakes=Brakes(share_front=0.62, force=16e3)
    )
    return prepare(TRACK, car, halyard_aero(), n_point=1500)


@pytest.mark.parametrize("name", NAMES)
def test_every_slope_is_exact_and_moves_something(four_wheel_case: Case, name: str) -> None:
    _, slope = lap_slopes(four_wheel_case)
    i = INDEX[name]
    step = max(abs(float(four_wheel_case.parameters[i])), 1e-2) * 2e-6
    offset = np.zeros((2, N_PARAMETER))
    offset[:, i] = [step, -step]
    up, down = lap_times(four_wheel_case, Draws(n_draw=2), offset=offset)
    central = float((up - down) / (2 * step))
    assert central != 0.0, f"{name} changes nothing"
    # lap times repeat to about 1e-11 s, which is the floor of the central difference
    assert float(slope[0, i]) == pytest.approx(central, rel=2e-3, abs=3e-11 / step)


def test_slopes_of_the_rear_driven_car_are_exact_too(case: Case) -> None:
    _, slope = lap_slopes(case)
    for name in ("mass", "grip_front", "grip_rear", "ride_height_rear", "drag_added", "cg_height"):
        i = INDEX[name]
        step = max(abs(float(case.parameters[i])), 1e-2) * 2e-6
        offset = np.zeros((2, N_PARAMETER))
        offset[:, i] = [step, -step]
        up, down = lap_times(case, Draws(n_draw=2), offset=offset)
        assert float(slope[0, i]) == pytest.approx((up - down) / (2 * step), rel=1e-3), name


def test_lap_time_converges_at_better_than_first_order() -> None:
    times = [
        solve_lap(TRACK, halyard(), halyard_aero(), n_point=n).time
        for n in (1000, 2000, 4000, 16000)
    ]
    errors = [abs(t - times[-1]) for t in times[:-1]]
    order = np.log2(errors[0] / errors[2]) / 2.0
    assert order > 1.5
    assert errors[1] < 0.02


def test_differences_are_good_to_a_hundredth_on_the_usual_grid() -> None:
    def change(n: int) -> float:
        base = solve_lap(TRACK, halyard(), halyard_aero(8.0), n_point=n).time
        return solve_lap(TRACK, halyard(), halyard_aero(12.0), n_point=n).time - base

    assert change(2000) == pytest.approx(change(12000), abs=0.01)


def test_lap_time_does_not_depend_on_the_start_line(case: Case) -> None:
    base = run_case(case).time
    moved = solve_lap(start_at(TRACK, 1234.5), halyard(), halyard_aero(), n_point=2000).time
    assert moved == pytest.approx(base, rel=5e-4)


def test_a_mirrored_circuit_takes_the_same_time(case: Case) -> None:
    mirrored = replace(TRACK, curvature=-TRACK.curvature, corners=())
    assert solve_lap(mirrored, halyard(), halyard_aero(), n_point=2000).time == run_case(case).time


def test_a_car_equal_in_both_directions_laps_equally_both_ways() -> None:
    # no drag, no rolling, engine never the limit: driving and braking are mirror images
    car = replace(
        halyard(), power=constant_power(50e6), drive_share_front=None, brakes=Brakes(),
        chassis=replace(halyard().chassis, rolling_resistance=0.0, cg_height=0.0),
    )  # fmt: skip
    flat = AeroTable(
        ride_height_front=np.array([0.0, 0.2]), ride_height_rear=np.array([0.0, 0.2]),
        downforce_front=np.full((1, 2, 2), 0.6), downforce_rear=np.full((1, 2, 2), 0.8),
        drag=np.zeros((1, 2, 2)),
    )  # fmt: skip
    one = solve_lap(TRACK, car, flat, n_point=3000).time
    other = solve_lap(reverse(TRACK), car, flat, n_point=3000).time
    assert other == pytest.approx(one, rel=5e-4)


def test_a_real_car_does_not_lap_equally_both_ways() -> None:
    # corners that open and corners that close change places: that is the car, not the arithmetic
    times = [
        solve_lap(c, halyard(), halyard_aero(), n_point=n).time
        for n in (3000, 6000) for c in (TRACK, reverse(TRACK))
    ]  # fmt: skip
    coarse, fine = times[0] - times[1], times[2] - times[3]
    assert abs(fine) > 5e-4 * times[2]
    assert coarse == pytest.approx(fine, abs=0.02)


def test_the_demo_story_holds(case: Case) -> None:
    base = run_case(case).time
    assert base == pytest.approx(97.36, abs=0.05)  # the scenario's lap as run

    def change(wing: float, front: float, rear: float) -> float:
        car = halyard(ride_height_front=front, ride_height_rear=rear)
        return solve_lap(TRACK, car, halyard_aero(wing), n_point=2000).time - base

    more_wing = change(12.0, 0.058, 0.071)
    rear_first = change(8.0, 0.058, 0.082)
    both = change(11.0, 0.053, 0.084)
    assert both < rear_first < 0.0
    assert both < more_wing - 0.1  # wing first leaves most of the gain on the table


def test_sensitivities_near_the_good_setup_lie_in_the_scenario_s_bands() -> None:
    good = prepare(
        TRACK, halyard(ride_height_front=0.054, ride_height_rear=0.084), halyard_aero(12)
    )
    lap = run_case(good, gradient=True)
    g = lap.gradient
    assert 10 * g["mass"] == pytest.approx(0.12, rel=0.3)
    assert 0.01 * g["power_scale"] == pytest.approx(-0.11, rel=0.3)
    assert 0.05 * g["drag_added"] == pytest.approx(0.095, rel=0.3)
    points = 0.04 * g["downforce_added_front"] + 0.06 * g["downforce_added_rear"]
    assert points == pytest.approx(-0.16, rel=0.3)


def test_no_axle_uses_more_grip_than_it_has(case: Case) -> None:
    trace = run_case(case).trace
    assert float(trace.use_front.max()) < 1.03
    assert float(trace.use_rear.max()) < 1.03


def test_a_power_curve_that_ends_early_is_named() -> None:
    speed = np.linspace(5.0, 55.0, 20)
    short: PowerCurve = power_over_speed(speed, np.full(20, 355e3))
    with pytest.raises(InputError, match=r"power = 55 m/s: curve ends, but the car reaches 6\d"):
        solve_lap(TRACK, replace(halyard(), power=short), halyard_aero(), n_point=600)


def test_a_map_that_does_not_cover_the_ride_heights_is_named() -> None:
    full = halyard_aero()
    keep = full.ride_height_rear > 0.055
    cut = AeroTable(
        ride_height_front=full.ride_height_front, ride_height_rear=full.ride_height_rear[keep],
        downforce_front=full.downforce_front[..., keep],
        downforce_rear=full.downforce_rear[..., keep], drag=full.drag[..., keep],
    )  # fmt: skip
    lap = solve_lap(TRACK, halyard(), cut, n_point=600)
    assert lap.extrapolated > 0.0
    assert any("outside the aero table" in n for n in lap.notices)


def test_a_road_narrower_than_the_car_is_refused() -> None:
    narrow = replace(TRACK, width_left=TRACK.width_left * 0.1, width_right=TRACK.width_right * 0.1)
    with pytest.raises(InputError, match="narrower than the car"):
        solve_lap(narrow, halyard(), halyard_aero())


def test_springs_too_soft_for_the_aero_are_named() -> None:
    car = halyard()
    soft = replace(car.suspension, axle_rate_front=4e3, axle_rate_rear=4e3)
    steep = halyard_aero()
    fields = {n: getattr(steep, n) * 30 for n in ("downforce_front", "downforce_rear")}
    with pytest.raises(NotConverged, match="ride heights find no balance"):
        solve_lap(TRACK, replace(car, suspension=soft), replace(steep, **fields), n_point=400)


@pytest.mark.parametrize(
    ("field", "value"), [("mass", 0.0), ("weight_front", 47.5), ("mass", float("nan"))]
)
def test_an_impossible_car_is_refused(field: str, value: float) -> None:
    with pytest.raises(InputError, match=field):
        replace(halyard(), chassis=replace(halyard().chassis, **{field: value}))


def two_state() -> AeroTable:
    high, low = halyard_aero(12.0), halyard_aero(2.0)
    return replace(
        high,
        downforce_front=np.concatenate([high.downforce_front, low.downforce_front]),
        downforce_rear=np.concatenate([high.downforce_rear, low.downforce_rear]),
        drag=np.concatenate([high.drag, low.drag]),
        states=("up", "flat"),
    )


def test_a_device_that_flattens_on_straights_is_quicker_than_either_state() -> None:
    aero = two_state()
    rules = Schedule(
        rules=(Rule(state="flat", speed_above=45.0, side_below=4.0, braking=False),), rest="up"
    )
    up = solve_lap(TRACK, halyard(), aero, state="up", n_point=1500).time
    flat = solve_lap(TRACK, halyard(), aero, state="flat", n_point=1500).time
    moving = solve_lap(TRACK, halyard(), aero, schedule=rules, n_point=1500)
    assert moving.time < min(up, flat)
    slow = replace(rules, transition=1.5)
    assert moving.time < solve_lap(TRACK, halyard(), aero, schedule=slow, n_point=1500).time
    stuck = solve_lap(TRACK, halyard(), aero, schedule=replace(rules, stuck="flat"), n_point=1500)
    assert stuck.time == pytest.approx(flat)
    states = moving.trace.state_share
    assert set(np.unique(states)) == {0.0, 1.0}


def test_burning_fuel_raises_the_car_and_saves_time(case: Case) -> None:
    light = in_mass_state(halyard(), added=-30.0, at_front=0.4, name="driver, dry")
    assert light.suspension.ride_height_rear > halyard().suspension.ride_height_rear
    assert solve_lap(TRACK, light, halyard_aero(), n_point=2000).time < run_case(case).time


def test_a_gradient_per_draw_cancels_what_is_common(case: Case) -> None:
    rng = np.random.default_rng(1)
    draws = Draws(n_draw=6, shifts={"grip_front": 0.03 * rng.standard_normal(6)})
    time, slope = lap_slopes(case, draws)
    assert time.shape == (6,)
    assert np.std(time) > 10 * np.std(slope[:, INDEX["drag_added"]] * 0.01)


def test_cars_of_every_kind_lap_within_their_grip_and_with_exact_slopes() -> None:
    rng = np.random.default_rng(4)
    for drive, brake in ((0.0, None), (1.0, 0.62), (0.4, None), (None, 0.6)):
        car = halyard()
        chassis = replace(
            car.chassis,
            mass=float(rng.uniform(600, 1600)),
            weight_front=float(rng.uniform(0.4, 0.6)),
        )
        car = replace(
            car, chassis=chassis, drive_share_front=drive, brakes=Brakes(share_front=brake)
        )
        case = prepare(TRACK, car, halyard_aero(10.0), n_point=800)
        trace = run_case(case).trace
        assert float(max(trace.use_front.max(), trace.use_rear.max())) < 1.06
        _, slope = lap_slopes(case)
        # the front-driven car's lap time has steps of about 6e-6 s: a wide step sees past them
        step = float(case.parameters[0]) * 1e-4
        offset = np.zeros((2, N_PARAMETER))
        offset[:, 0] = [step, -step]
        up, down = lap_times(case, Draws(n_draw=2), offset=offset)
        assert float(slope[0, 0]) == pytest.approx((up - down) / (2 * step), rel=1e-2)
