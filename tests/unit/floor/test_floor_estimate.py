"""What the floor and splitter estimates promise."""

from dataclasses import fields, replace

import numpy as np
import pytest

from tuftwork.aeromap.part import coefficients_of
from tuftwork.errors import InputError
from tuftwork.floor.estimate import (
    FloorCoefficients,
    FloorGeometry,
    FloorLoad,
    FloorOnset,
    estimate_floor,
)
from tuftwork.floor.splitter import (
    SplitterCoefficients,
    SplitterGeometry,
    estimate_splitter,
    rounded_entrance_loss,
)
from tuftwork.floor.theory import intact_share, throat_speed

ONE = np.ones(1)


def _best(table: str) -> dict[str, np.ndarray]:
    return {k: np.array([c.quantity.best]) for k, c in coefficients_of("floor", table).items()}


FLOOR = FloorCoefficients(**_best("estimate"))
SPLITTER = SplitterCoefficients(**_best("splitter"))
SHAPE = FloorGeometry(
    width=1.52 * ONE,
    diffuser_width=1.10 * ONE,
    front_station=-0.35 * ONE,
    kick_station=2.62 * ONE,
    exit_station=3.60 * ONE,
    diffuser_angle=np.radians(11) * ONE,
)
ONSET = FloorOnset(
    ride_height_front=0.05 * ONE,
    ride_height_rear=0.066 * ONE,
    wheelbase=2.62 * ONE,
    exit_pressure=-0.08 * ONE,
    head=-0.03 * ONE,
)
PLATE = SplitterGeometry(
    projection=0.085 * ONE, width=1.72 * ONE, lip_radius=0.016 * ONE, clearance=0.05 * ONE
)


def _outputs(load: FloorLoad) -> np.ndarray:
    return np.concatenate([load.downforce, load.moment, load.drag])


def _differs(first: np.ndarray, second: np.ndarray) -> bool:
    return bool(np.max(np.abs(first - second)) > 1e-9)


@pytest.mark.parametrize("name", [f.name for f in fields(FloorGeometry) if f.name != "edge_gap"])
def test_every_number_of_the_floor_moves_the_load(name: str) -> None:
    # a floor that begins late enough for its front edge to matter
    shape = replace(SHAPE, front_station=2.0 * ONE)
    changed = replace(shape, **{name: getattr(shape, name) * 1.03})
    assert _differs(
        _outputs(estimate_floor(shape, ONSET, FLOOR)),
        _outputs(estimate_floor(changed, ONSET, FLOOR)),
    )


@pytest.mark.parametrize("name", [f.name for f in fields(FloorOnset)])
def test_every_number_of_the_onset_moves_the_load(name: str) -> None:
    changed = replace(ONSET, **{name: getattr(ONSET, name) * 1.03})
    assert _differs(
        _outputs(estimate_floor(SHAPE, ONSET, FLOOR)),
        _outputs(estimate_floor(SHAPE, changed, FLOOR)),
    )


@pytest.mark.parametrize("name", [f.name for f in fields(FloorCoefficients)])
def test_every_coefficient_of_the_floor_moves_the_load(name: str) -> None:
    changed = replace(FLOOR, **{name: getattr(FLOOR, name) * 1.03 + 0.001})
    assert _differs(
        _outputs(estimate_floor(SHAPE, ONSET, FLOOR)),
        _outputs(estimate_floor(SHAPE, ONSET, changed)),
    )


def test_a_sealed_edge_carries_suction_further_forward() -> None:
    open_edge = estimate_floor(SHAPE, ONSET, FLOOR)
    sealed = estimate_floor(replace(SHAPE, edge_gap=0.01 * ONE), ONSET, FLOOR)
    assert float(sealed.pumping[0]) > float(open_edge.pumping[0])
    centre = [float((load.moment / load.downforce)[0]) for load in (sealed, open_edge)]
    assert centre[0] < centre[1]


def test_a_fully_sealed_floor_stays_finite() -> None:
    load = estimate_floor(replace(SHAPE, edge_gap=0.0 * ONE), ONSET, FLOOR)
    assert np.all(np.isfinite(_outputs(load)))


def test_far_tails_of_every_coefficient_stay_finite_and_bounded() -> None:
    for name, best in _best("estimate").items():
        quantity = coefficients_of("floor", "estimate")[name].quantity
        tail = np.array([quantity.at(-4.5), quantity.at(4.5)])
        load = estimate_floor(SHAPE, ONSET, replace(FLOOR, **{name: tail}))
        assert np.all(np.isfinite(_outputs(load))), name
        assert np.all(np.abs(load.downforce) < 8), name
        assert best.shape == (1,)


def test_suction_at_the_exit_and_full_head_both_help() -> None:
    still = replace(ONSET, exit_pressure=0 * ONE, head=0 * ONE)
    base = float(estimate_floor(SHAPE, still, FLOOR).downforce[0])
    with_wing = replace(still, exit_pressure=-0.1 * ONE)
    with_loss = replace(still, head=-0.1 * ONE)
    assert float(estimate_floor(SHAPE, with_wing, FLOOR).downforce[0]) > base
    assert float(estimate_floor(SHAPE, with_loss, FLOOR).downforce[0]) < base


def test_edge_loss_only_ever_slows_the_throat() -> None:
    loss = np.linspace(0, 1, 11)
    speed = throat_speed(3.0, -0.2, 0.7, loss)
    assert np.all(np.diff(speed) < 0)
    # what is left of the head, less the kinetic part, is the pressure the exit condition asks for
    pressure = 1 - loss * (speed - 1) ** 2 - speed**2
    recovery = 0.7 * (1 - 1 / 9)
    np.testing.assert_allclose(pressure + recovery * speed**2, -0.2, atol=1e-12)


def test_the_fall_is_where_and_as_steep_as_asked() -> None:
    height = np.linspace(0.02, 0.2, 1801)
    for peak, width in ((0.06, 0.02), (0.10, 0.05)):
        share = intact_share(height, peak, width)
        assert np.all(np.diff(share) >= 0)
        np.testing.assert_allclose(np.interp(peak, height, share), 0.9, atol=0.001)
        half = float(np.interp(0.5, share, height))
        np.testing.assert_allclose(half, peak * (1 - 2.2 * width), rtol=2e-3)


@pytest.mark.parametrize("peak", [0.14, 0.20, 0.28])
@pytest.mark.parametrize("width", [0.012, 0.025, 0.05])
def test_load_rises_peaks_and_falls_around_the_height_asked_for(peak: float, width: float) -> None:
    own = replace(FLOOR, peak_height=peak * ONE, fall_width=width * ONE)
    rear = np.linspace(0.02, 0.2, 1801)
    ride = replace(ONSET, ride_height_rear=rear, ride_height_front=rear)
    load = estimate_floor(SHAPE, ride, own).downforce
    asked = peak * 1.10 / 2 * 11 / 17
    found = rear[int(np.argmax(load))]
    # the greatest load never lies below the height asked for, and within 15 % above it
    assert asked * 0.99 <= found <= asked * 1.15
    assert load[0] < 0.75 * load.max()
    assert load[-1] < load.max()


def test_raising_the_rear_moves_the_load_of_the_flat_forward() -> None:
    low = estimate_floor(SHAPE, replace(ONSET, ride_height_rear=0.075 * ONE), FLOOR)
    high = estimate_floor(SHAPE, replace(ONSET, ride_height_rear=0.090 * ONE), FLOOR)
    assert float(high.ground[0]) > float(low.ground[0]) > 0


def test_no_ramp_and_no_base_suction_carries_nothing() -> None:
    flat = replace(SHAPE, diffuser_angle=0 * ONE)
    level = replace(
        ONSET, ride_height_rear=ONSET.ride_height_front, exit_pressure=0 * ONE, head=0 * ONE
    )
    own = replace(FLOOR, base_pressure=0 * ONE)
    load = estimate_floor(flat, level, own)
    np.testing.assert_allclose(load.downforce, 0.0, atol=1e-9)


def test_floor_answers_for_a_grid_and_draws_at_once() -> None:
    ride = replace(
        ONSET,
        ride_height_front=np.full((3, 1, 1), 0.05),
        ride_height_rear=np.linspace(0.05, 0.08, 4)[:, None],
        wheelbase=np.full(5, 2.62),
    )
    assert estimate_floor(SHAPE, ride, FLOOR).downforce.shape == (3, 4, 5)


@pytest.mark.parametrize(
    ("field", "value", "name"),
    [
        ("ride_height_rear", -0.01, "ride height at the kick line"),
        ("ride_height_rear", np.nan, "ride height at the kick line"),
    ],
)
def test_a_floor_on_the_road_is_refused(field: str, value: float, name: str) -> None:
    with pytest.raises(InputError, match=name):
        estimate_floor(SHAPE, replace(ONSET, **{field: value * ONE}), FLOOR)


@pytest.mark.parametrize(
    ("field", "value", "name"),
    [
        ("width", 0.0, "width"),
        ("diffuser_width", -1.0, "diffuser width"),
        ("front_station", 3.0, "kick station"),
        ("exit_station", 2.0, "exit station"),
    ],
)
def test_impossible_floors_are_refused(field: str, value: float, name: str) -> None:
    with pytest.raises(InputError, match=name):
        estimate_floor(replace(SHAPE, **{field: value * ONE}), ONSET, FLOOR)


@pytest.mark.parametrize("name", [f.name for f in fields(SplitterGeometry)])
def test_every_number_of_the_splitter_moves_the_load(name: str) -> None:
    before = estimate_splitter(PLATE, SPLITTER)
    after = estimate_splitter(replace(PLATE, **{name: getattr(PLATE, name) * 1.05}), SPLITTER)
    assert _differs(before.downforce, after.downforce)


@pytest.mark.parametrize("name", [f.name for f in fields(SplitterCoefficients)])
def test_every_coefficient_of_the_splitter_moves_something(name: str) -> None:
    before = estimate_splitter(PLATE, SPLITTER)
    changed = replace(SPLITTER, **{name: getattr(SPLITTER, name) * 1.05})
    after = estimate_splitter(PLATE, changed)
    assert any(
        _differs(getattr(before, f), getattr(after, f))
        for f in ("upper", "under", "moment", "drag", "head")
    )


def test_a_longer_splitter_gains_less_and_less_from_above() -> None:
    length = np.linspace(0.02, 1.0, 50)
    upper = estimate_splitter(replace(PLATE, projection=length), SPLITTER).upper
    assert np.all(np.diff(upper) > 0)
    assert np.all(np.diff(upper, 2) < 0)
    np.testing.assert_allclose(
        upper[0], 1.72 * SPLITTER.upper_pressure[0] * 0.02, rtol=0.05
    )  # a short plate feels the foot of the nose only


def test_a_round_lip_beats_a_sharp_one() -> None:
    radius = np.linspace(0, 0.03, 31)
    load = estimate_splitter(replace(PLATE, lip_radius=radius), SPLITTER)
    assert np.all(np.diff(load.under) > 0)
    assert np.all(np.diff(load.head) > 0)
    np.testing.assert_allclose(rounded_entrance_loss(0.0), 0.5, atol=1e-12)


def test_a_splitter_gains_as_it_comes_down_and_then_chokes() -> None:
    height = np.linspace(0.004, 0.2, 400)
    load = estimate_splitter(replace(PLATE, clearance=height), SPLITTER)
    peak = int(np.argmax(load.under))
    assert 0 < peak < 399
    assert np.all(np.diff(load.under[peak + 1 :]) < 0)
    assert load.under[0] < 0.7 * load.under[peak]
    assert 0.7 < float(load.choke[peak]) < 1.3


def test_splitter_load_acts_between_lip_and_end_of_the_suction() -> None:
    load = estimate_splitter(PLATE, SPLITTER)
    centre = float((load.moment / load.downforce)[0])
    assert 0 < centre < 0.085 + float(SPLITTER.reach[0])


@pytest.mark.parametrize("name", ["clearance", "width", "projection", "lip radius"])
def test_impossible_splitters_are_refused(name: str) -> None:
    with pytest.raises(InputError, match=name):
        estimate_splitter(replace(PLATE, **{name.replace(" ", "_"): -0.01 * ONE}), SPLITTER)
