"""What the wing estimate promises."""

from dataclasses import fields, replace

import numpy as np
import pytest

from tuftwork.aeromap.part import coefficients_of
from tuftwork.errors import InputError
from tuftwork.wing.estimate import (
    WingCoefficients,
    WingGeometry,
    WingLoad,
    WingOnset,
    estimate_wing,
    finite_slope,
    ground_gain,
    induced_ground_factor,
)

ONE = np.ones(1)
BEST = {
    name: np.array([c.quantity.best]) for name, c in coefficients_of("wing", "estimate").items()
}
COEFFICIENTS = WingCoefficients(**{f.name: BEST[f.name] for f in fields(WingCoefficients)})
GEOMETRY = WingGeometry(
    span=1.7 * ONE,
    chord=0.3 * ONE,
    incidence=np.radians(8) * ONE,
    height=1.18 * ONE,
    camber=0.07 * ONE,
    thickness=0.12 * ONE,
    gurney=0.015 * ONE,
    end_plate_height=0.24 * ONE,
    elements=2,
)
ONSET = WingOnset(reynolds=1.2e6 * ONE, pressure=0.85 * ONE, angle=np.radians(-3) * ONE)


def _load() -> WingLoad:
    return estimate_wing(GEOMETRY, ONSET, COEFFICIENTS)


def _moved(load: WingLoad, other: WingLoad) -> bool:
    return bool(
        abs(load.downforce - other.downforce).max() > 1e-9
        or abs(load.drag - other.drag).max() > 1e-9
    )


@pytest.mark.parametrize("name", [f.name for f in fields(WingGeometry) if f.name != "elements"])
def test_every_number_of_the_shape_moves_the_load(name: str) -> None:
    changed = replace(GEOMETRY, **{name: getattr(GEOMETRY, name) * 1.05})
    assert _moved(_load(), estimate_wing(changed, ONSET, COEFFICIENTS))


@pytest.mark.parametrize("name", [f.name for f in fields(WingOnset)])
def test_every_number_of_the_onset_moves_the_load(name: str) -> None:
    changed = replace(ONSET, **{name: getattr(ONSET, name) * 1.05})
    assert _moved(_load(), estimate_wing(GEOMETRY, changed, COEFFICIENTS))


@pytest.mark.parametrize("name", [f.name for f in fields(WingCoefficients)])
def test_every_coefficient_moves_the_load(name: str) -> None:
    # near the stall and near the ground every coefficient has its say
    shape = replace(GEOMETRY, incidence=np.radians(22) * ONE, height=0.2 * ONE)
    changed = replace(COEFFICIENTS, **{name: getattr(COEFFICIENTS, name) * 1.05})
    before = estimate_wing(shape, ONSET, COEFFICIENTS)
    assert _moved(before, estimate_wing(shape, ONSET, changed))


def test_a_second_element_adds_downforce() -> None:
    one = estimate_wing(replace(GEOMETRY, elements=1), ONSET, COEFFICIENTS)
    assert float(one.downforce[0]) < float(_load().downforce[0])


def test_slope_tends_to_the_slender_and_to_the_endless_wing() -> None:
    np.testing.assert_allclose(finite_slope(1e-3), np.pi / 2 * 1e-3, rtol=1e-3)
    np.testing.assert_allclose(finite_slope(1e6), 2 * np.pi, rtol=1e-4)
    assert np.all(np.diff(finite_slope(np.linspace(0.1, 30, 300))) > 0)


def test_an_uncambered_wing_at_no_angle_carries_nothing() -> None:
    flat = replace(
        GEOMETRY, camber=0 * ONE, gurney=0 * ONE, incidence=0 * ONE, height=50 * ONE, elements=1
    )
    still = replace(ONSET, angle=0 * ONE)
    load = estimate_wing(flat, still, COEFFICIENTS)
    np.testing.assert_allclose(load.downforce, 0.0, atol=1e-6)
    assert float(load.drag[0]) > 0


def test_load_grows_to_the_stall_and_falls_past_it() -> None:
    angle = np.radians(np.linspace(-5, 40, 451))
    load = estimate_wing(replace(GEOMETRY, incidence=angle, elements=1), ONSET, COEFFICIENTS)
    peak = int(np.argmax(load.coefficient))
    assert np.all(np.diff(load.coefficient[:peak]) > 0)
    assert np.all(np.diff(load.coefficient[peak + 1 :]) < 0)
    assert np.all(load.margin[: peak - 40] > 0)
    assert float(load.margin[-1]) < 0


def test_drag_is_never_below_friction_and_grows_past_the_stall() -> None:
    angle = np.radians(np.linspace(10, 40, 61))
    level = replace(ONSET, angle=0 * ONE)
    load = estimate_wing(replace(GEOMETRY, incidence=angle), level, COEFFICIENTS)
    past = load.margin < -0.3
    assert past.sum() > 10
    assert np.all(np.diff(load.drag[past]) > 0)


def test_air_coming_down_takes_load_and_adds_drag_per_load() -> None:
    level = estimate_wing(GEOMETRY, replace(ONSET, angle=0 * ONE), COEFFICIENTS)
    down = _load()
    assert float(down.downforce[0]) < float(level.downforce[0])
    assert float((down.drag / down.downforce)[0]) > float((level.drag / level.downforce)[0])


def test_ground_changes_nothing_far_away() -> None:
    np.testing.assert_allclose(ground_gain(500.0), 1.0, atol=1e-4)
    np.testing.assert_allclose(induced_ground_factor(50.0), 1.0, atol=1e-6)
    assert float(induced_ground_factor(1e-9)) < 1e-5


def test_draws_broadcast() -> None:
    shape = replace(GEOMETRY, incidence=np.full((4, 1), 0.1), chord=np.linspace(0.2, 0.3, 7))
    load = estimate_wing(shape, ONSET, COEFFICIENTS)
    assert load.downforce.shape == (4, 7)


@pytest.mark.parametrize("name", ["span", "chord", "height"])
@pytest.mark.parametrize("value", [0.0, -1.0, np.nan])
def test_impossible_shapes_are_refused(name: str, value: float) -> None:
    with pytest.raises(InputError, match=name):
        estimate_wing(replace(GEOMETRY, **{name: value * ONE}), ONSET, COEFFICIENTS)


def test_impossible_reynolds_number_is_refused() -> None:
    with pytest.raises(InputError, match="Reynolds"):
        estimate_wing(GEOMETRY, replace(ONSET, reynolds=0 * ONE), COEFFICIENTS)
