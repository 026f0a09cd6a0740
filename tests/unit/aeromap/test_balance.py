"""Balance and loads on the path, stiffness of the air, distance to the cliff."""

import numpy as np
import pytest

from tuftwork.aeromap.balance import balance_of, cliff_line, front_share
from tuftwork.aeromap.equilibrium import PlatformPath, follow_path
from tuftwork.aeromap.interpolate import Surface, surface_of
from tuftwork.aeromap.platform import AxleRates, Suspension, axle_spring
from tuftwork.errors import InputError

N = 4
FRONT, REAR = np.linspace(0.030, 0.062, 17), np.linspace(0.045, 0.075, 61)
SPEED = np.array([30.0, 50.0, 60.0])


def car() -> Suspension:
    flat = np.zeros(N)
    rates = AxleRates(
        wheel_rate=flat + 75e3, tyre_rate=flat + 265e3, stop_gap=np.zeros((N, 0)),
        stop_rate=np.zeros((N, 0)),
    )  # fmt: skip
    front, rear = (
        axle_spring(rates, ride_height=flat + h, growth=flat, static_load=flat + 6e3)
        for h in (0.058, 0.071)
    )
    return Suspension(front=front, rear=rear, inputs={})


def ramp(edge: float = 0.062, slope: float = 60.0) -> Surface:
    """Rear load that falls at ``slope`` [m²/m] below ``edge``, and not at all above."""
    x, y = np.meshgrid(FRONT, REAR, indexing="ij")
    rear = 1.0 - slope * np.maximum(0, edge - y)
    fields = np.stack([0.6 - 4 * (x - 0.05), rear, 0.9 + 0 * x])
    return surface_of(FRONT, REAR, np.repeat(fields[..., None], N, axis=3))


def path_on(surface: Surface) -> PlatformPath:
    return follow_path(surface, car(), speed=SPEED, density=np.linspace(1.1, 1.2, N))[0]


def test_loads_in_newtons_and_kilograms_follow_from_areas_and_pressure() -> None:
    surface = ramp()
    path = path_on(surface)
    found = balance_of(path, surface)
    q = 0.5 * np.linspace(1.1, 1.2, N) * SPEED[:, None] ** 2
    np.testing.assert_allclose(found.load, q * found.downforce)
    np.testing.assert_allclose(found.mass_front + found.mass_rear, found.load / 9.80665)
    np.testing.assert_allclose(found.front_share, front_share(path))
    np.testing.assert_allclose(found.load_front / found.load, found.front_share)


def test_stiffness_is_pressure_times_slope_for_each_axle_and_height() -> None:
    surface = ramp(edge=0.050)
    found = balance_of(path_on(surface), surface)
    q = found.load / found.downforce
    np.testing.assert_allclose(found.stiffness[0, 0], -4 * q, rtol=1e-9)
    np.testing.assert_allclose(found.stiffness[0, 1], 0, atol=1e-6)
    np.testing.assert_allclose(found.stiffness[1], 0, atol=1e-6)


@pytest.mark.parametrize("edge", [0.060, 0.065])
def test_the_cliff_begins_where_a_millimetre_takes_two_per_cent(edge: float) -> None:
    # below the edge the loss over a millimetre is 0.06 m²; it is 0.02 m² of 1 m² a third down
    surface = ramp(edge)
    line = cliff_line(surface, "rear", FRONT)
    np.testing.assert_allclose(line, edge + 1e-3 - 1e-3 / 3, atol=0.15e-3)


def test_distance_to_the_cliff_changes_sign_on_it() -> None:
    surface = ramp(0.064)
    path = path_on(surface)
    found = balance_of(path, surface)
    line = cliff_line(surface, "rear", np.array([0.05]))
    np.testing.assert_allclose(found.to_cliff_rear, path.ride_height_rear - line, atol=1e-9)
    assert np.all(found.to_cliff_rear[0] > 0)
    assert np.all(found.to_cliff_rear[-1] < 0)


def test_a_map_without_a_cliff_has_no_distance_to_it() -> None:
    surface = ramp(slope=5.0)
    found = balance_of(path_on(surface), surface)
    assert np.all(np.isnan(found.to_cliff_rear))
    assert np.all(np.isnan(found.to_cliff_front))


def test_a_gentler_criterion_puts_the_edge_higher_up() -> None:
    surface = ramp()
    strict = cliff_line(surface, "rear", FRONT, criterion=40.0)
    gentle = cliff_line(surface, "rear", FRONT, criterion=10.0)
    assert np.all(gentle > strict)


def test_an_impossible_criterion_is_refused() -> None:
    surface = ramp()
    with pytest.raises(InputError, match="criterion"):
        balance_of(path_on(surface), surface, criterion=0.0)
