"""Every equilibrium of springs and air, and the one a car comes to."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import root

from tuftwork.aeromap.equilibrium import Equilibria, follow_path, solve_equilibria
from tuftwork.aeromap.interpolate import Surface, evaluate, evaluate_with_slopes, surface_of
from tuftwork.aeromap.platform import AxleRates, AxleSpring, Suspension, axle_spring
from tuftwork.errors import InputError, NotConverged, NotCovered

RHO = 1.18
FRONT = np.linspace(0.020, 0.062, 13)
REAR = np.linspace(0.025, 0.078, 14)
STIFF = 1e9  # [N/m] a tyre that does not give: the wheel rate alone is the axle's


def axle(
    height: float, rate: float, n: int = 1, *, stops: np.ndarray | None = None, growth: float = 0.0
) -> AxleSpring:
    """An axle of ``rate`` (both wheels) with stops ``(n, k, 2)`` of gap and rate."""
    given = np.zeros((n, 0, 2)) if stops is None else stops
    flat = np.zeros(n)
    rates = AxleRates(
        wheel_rate=flat + rate / 2, tyre_rate=flat + STIFF, stop_gap=given[..., 0],
        stop_rate=given[..., 1],
    )  # fmt: skip
    return axle_spring(
        rates, ride_height=flat + height, growth=flat + growth, static_load=flat + 6e3
    )


def car(front: AxleSpring, rear: AxleSpring) -> Suspension:
    return Suspension(front=front, rear=rear, inputs={})


def surface(
    front: Callable[..., np.ndarray], rear: Callable[..., np.ndarray], n_front: int = 41
) -> Surface:
    x, y = np.linspace(FRONT[0], FRONT[-1], n_front), np.linspace(REAR[0], REAR[-1], n_front)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    fields = np.stack([f(gx, gy) + 0 * gx for f in (front, rear, lambda a, b: 0.9 + 0 * a)])
    return surface_of(x, y, fields[..., None])


def residual(
    made: Surface, cars: Suspension, h: np.ndarray, speed: float, rho: float = RHO
) -> np.ndarray:
    """Spring less air at points ``(2, n_point, n_draw)``."""
    air = evaluate(made, h[0], h[1])[:2] * 0.5 * rho * speed**2
    rise = [a.ride_height + a.growth * speed**2 for a in (cars.front, cars.rear)]
    spring = [a.force(r - x) for a, r, x in zip((cars.front, cars.rear), rise, h, strict=True)]
    return np.stack(spring) - air


def test_constant_areas_sink_the_axles_by_load_over_rate() -> None:
    made = surface(lambda x, y: 0.5, lambda x, y: 0.8)
    cars = car(axle(0.058, 110e3, growth=2e-7), axle(0.071, 120e3))
    speed = np.array([0.0, 30.0, 60.0])
    found = solve_equilibria(made, cars, speed=speed, density=RHO)
    q = 0.5 * RHO * speed**2
    np.testing.assert_array_equal(found.count, 1)
    k_front = cars.front.rate[0, 0]
    np.testing.assert_allclose(
        found.ride_height_front[0, :, 0], 0.058 + 2e-7 * speed**2 - 0.5 * q / k_front, rtol=1e-9
    )
    np.testing.assert_allclose(found.margin, 1.0, atol=1e-9)


def test_linear_air_gives_the_closed_form_and_its_divergence_margin() -> None:
    # CzS_i = c_i + Σ A_ij (h_j − h_0j), the typical section's divergence problem:
    # (K + q A) z = q c with z = h_0 − h, and margin = least eigenvalue of I + q K⁻¹ A
    c, a = np.array([0.3, 0.4]), np.array([[-8.0, 2.0], [1.5, -10.0]])
    at_rest = np.array([0.058, 0.071])
    made = surface(
        lambda x, y: c[0] + a[0, 0] * (x - at_rest[0]) + a[0, 1] * (y - at_rest[1]),
        lambda x, y: c[1] + a[1, 0] * (x - at_rest[0]) + a[1, 1] * (y - at_rest[1]),
        9,
    )
    cars = car(axle(0.058, 110e3), axle(0.071, 120e3))
    k = np.diag([cars.front.rate[0, 0], cars.rear.rate[0, 0]])
    speed = np.array([20.0, 40.0, 60.0])
    found = solve_equilibria(made, cars, speed=speed, density=RHO)
    for s, q in enumerate(0.5 * RHO * speed**2):
        sunk = np.linalg.solve(k + q * a, q * c)
        got = found.ride_height_front[0, s, 0], found.ride_height_rear[0, s, 0]
        np.testing.assert_allclose(got, at_rest - sunk, rtol=1e-9)
        margin = np.min(np.linalg.eigvals(np.eye(2) + q * np.linalg.solve(k, a)).real)
        assert found.margin[0, s, 0] == pytest.approx(margin, abs=1e-9)


def s_shaped(height: float, steep: float, drop: float) -> Callable[[np.ndarray], np.ndarray]:
    """A load that jumps up by ``drop`` on coming lower: suction that suddenly grips."""
    return lambda y: 0.35 + drop / (1 + np.exp((y - height) / steep))


def test_three_equilibria_are_found_the_middle_one_not_stable() -> None:
    # rear sinks q CzS / k: at 45 m/s 3.5 mm per 0.35 m², 13 mm with the grip; edge at 63 mm
    grip = s_shaped(0.063, 0.8e-3, 1.0)
    made = surface(lambda x, y: 0.4, lambda x, y: grip(y))
    cars = car(axle(0.058, 110e3), axle(0.071, 120e3))
    found = solve_equilibria(made, cars, speed=np.array([10.0, 45.0, 68.0]), density=RHO)
    np.testing.assert_array_equal(found.count[:, 0], [1, 3, 1])
    np.testing.assert_array_equal(found.stable[:, 1, 0], [True, False, True])
    assert np.isnan(found.ride_height_rear[1, 0, 0])


def test_nine_equilibria_where_each_axle_has_three() -> None:
    front, rear = s_shaped(0.051, 0.7e-3, 1.0), s_shaped(0.063, 0.7e-3, 1.0)
    made = surface(lambda x, y: front(x), lambda x, y: rear(y))
    cars = car(axle(0.058, 120e3), axle(0.071, 120e3))
    found = solve_equilibria(made, cars, speed=np.array([45.0]), density=RHO)
    assert found.count[0, 0] == 9
    assert found.stable.sum() == 4


def roots_by_dense_search(
    made: Surface, cars: Suspension, speed: float, n: int = 260
) -> list[np.ndarray]:
    """All roots of draw 0 by scanning a fine grid and polishing every candidate with scipy."""
    x = np.linspace(made.front[0], made.front[-1], n)
    y = np.linspace(made.rear[0], made.rear[-1], n)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    both = residual(made, cars, np.stack([gx.ravel()[:, None], gy.ravel()[:, None]]), speed)
    both = both.reshape(2, n, n)
    corners = np.stack([both[:, :-1, :-1], both[:, 1:, :-1], both[:, :-1, 1:], both[:, 1:, 1:]])
    mixed = np.all((corners.min(0) <= 0) & (corners.max(0) >= 0), axis=0)

    def at(h: np.ndarray) -> np.ndarray:
        inside = np.clip(h, [x[0], y[0]], [x[-1], y[-1]])
        return residual(made, cars, inside[:, None, None], speed)[:, 0, 0]

    found: list[np.ndarray] = []
    for i, j in np.argwhere(mixed):
        start = np.array([x[i : i + 2].mean(), y[j : j + 2].mean()])
        answer = root(at, start, tol=1e-13).x
        inside = x[0] <= answer[0] <= x[-1] and y[0] <= answer[1] <= y[-1]
        new = all(np.max(np.abs(answer - old)) > 1e-7 for old in found)
        if inside and new and np.max(np.abs(at(answer))) < 1e-4:
            found.append(answer)
    return found


@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_a_dense_search_on_rough_maps_with_stops(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(0.8, 0.28, size=(3, FRONT.size, REAR.size, 1))
    made = surface_of(FRONT, REAR, values)
    stops = np.stack([rng.uniform(0, 0.02, (1, 2)), rng.uniform(5e4, 2e5, (1, 2))], axis=-1)
    cars = car(
        axle(0.058, 80e3, stops=stops, growth=1e-7), axle(0.071, 85e3, stops=stops[:, ::-1].copy())
    )
    speeds = np.array([25.0, 50.0, 70.0])
    found = solve_equilibria(made, cars, speed=speeds, density=RHO)
    for s, speed in enumerate(speeds):
        ours = _points(found, s)
        theirs = roots_by_dense_search(made, cars, speed)
        for other in theirs:
            assert np.min(np.max(np.abs(ours - other), axis=1)) < 1e-8, (speed, other)
        assert len(ours) >= len(theirs)  # the dense search may overlook a close pair
        if len(ours):
            gap = residual(made, cars, ours.T[:, :, None], speed)
            assert np.max(np.abs(gap)) < 1e-6


def _points(found: Equilibria, s: int, d: int = 0) -> np.ndarray:
    n = found.count[s, d]
    return np.stack([found.ride_height_front[:n, s, d], found.ride_height_rear[:n, s, d]], axis=1)


def test_the_number_of_equilibria_inside_the_map_is_odd() -> None:
    # all roots inside, spring stronger than air at the edge: the degree is one
    rng = np.random.default_rng(5)
    n = 64
    values = rng.normal(0.45, 0.2, size=(3, FRONT.size, REAR.size, n))
    made = surface_of(FRONT, REAR, values)
    cars = car(axle(0.045, 110e3, n), axle(0.055, 110e3, n))
    found = solve_equilibria(made, cars, speed=np.array([30.0, 45.0]), density=RHO)
    assert set(np.unique(found.count)) <= {1, 3, 5, 7, 9}
    assert np.any(found.count > 1)


def test_rising_and_falling_speed_part_where_the_branch_folds() -> None:
    grip = s_shaped(0.063, 0.8e-3, 1.0)
    made = surface(lambda x, y: 0.4, lambda x, y: grip(y))
    cars = car(axle(0.058, 110e3), axle(0.071, 120e3))
    speed = np.arange(2.0, 69.0, 2.0)
    up, down = follow_path(made, cars, speed=speed, density=RHO)
    apart = np.abs(up.ride_height_rear - down.ride_height_rear)[:, 0] > 1e-4
    assert apart.any()
    assert np.all(up.ride_height_rear >= down.ride_height_rear - 1e-12)
    assert np.all(up.count[apart] == 3)
    assert up.jumped.sum() == 1
    assert down.jumped.sum() == 1
    assert speed[np.argmax(up.jumped)] > speed[apart].max() - 1e-9
    assert np.all(up.margin > 0)
    assert np.all(down.margin > 0)


def test_the_path_balances_springs_and_air_at_every_speed_and_draw() -> None:
    rng = np.random.default_rng(9)
    n = 40
    x, y = np.meshgrid(FRONT, REAR, indexing="ij")
    cliff = rng.normal(0.060, 0.001, n)
    rear = 0.65 + 0.3 / (1 + np.exp(-(y[..., None] - cliff) / 2e-3))
    front = (0.7 - 6 * (x - 0.05))[..., None] * rng.normal(1, 0.05, n)
    made = surface_of(FRONT, REAR, np.stack([front, rear, 0 * rear + 0.9]))
    stops = np.stack([rng.uniform(0.005, 0.02, (n, 1)), rng.uniform(5e4, 2e5, (n, 1))], axis=-1)
    cars = car(axle(0.058, 110e3, n, stops=stops), axle(0.071, 120e3, n))
    rho = rng.uniform(1.1, 1.25, n)
    speed = np.array([65.0, 20.0, 50.0])  # in any order
    up, down = follow_path(made, cars, speed=speed, density=rho)
    for path in (up, down):
        np.testing.assert_array_equal(path.speed, speed)
        for s, v in enumerate(speed):
            h = np.stack([path.ride_height_front[s : s + 1], path.ride_height_rear[s : s + 1]])
            assert np.max(np.abs(residual(made, cars, h, v, rho))) < 1e-6
        q = 0.5 * rho * speed[:, None] ** 2
        np.testing.assert_allclose(path.load_rear, q * path.downforce_rear)
        assert np.all(path.covered)


def test_margin_is_the_slope_of_the_residual_over_the_springs() -> None:
    rng = np.random.default_rng(2)
    made = surface_of(FRONT, REAR, rng.normal(0.7, 0.1, size=(3, FRONT.size, REAR.size, 1)))
    cars = car(axle(0.055, 110e3), axle(0.068, 120e3))
    found = solve_equilibria(made, cars, speed=np.array([55.0]), density=RHO)
    h = _points(found, 0)
    _, dx, dy = evaluate_with_slopes(made, h[:, 0], h[:, 1])
    q = 0.5 * RHO * 55.0**2
    k = np.array([cars.front.rate[0, 0], cars.rear.rate[0, 0]])
    for m in range(len(h)):
        a = np.array([[dx[i, m, 0], dy[i, m, 0]] for i in (0, 1)])
        eigen = np.linalg.eigvals(np.eye(2) + q * a / k[:, None])
        assert found.margin[m, 0, 0] == pytest.approx(np.min(eigen.real), abs=1e-6)


DEMO = np.array([  # km/h, hf, hr [mm], CzSf, CzSr: the demo scenario's truth (invented car)
    [140, 53.0, 63.7, 0.639, 0.987],
    [180, 49.2, 59.3, 0.673, 0.956],
    [200, 47.2, 58.0, 0.673, 0.858],
    [220, 44.9, 57.0, 0.675, 0.765],
    [240, 42.1, 55.7, 0.687, 0.702],
])  # fmt: skip


def test_finds_the_ride_heights_of_the_demo_within_their_rounding() -> None:
    up_front, up_rear = DEMO[::-1, 1] * 1e-3, DEMO[::-1, 2] * 1e-3
    front = PchipInterpolator(np.r_[0.034, up_front, 0.060], np.r_[0.71, DEMO[::-1, 3], 0.58])
    rear = PchipInterpolator(np.r_[0.050, up_rear, 0.073], np.r_[0.55, DEMO[::-1, 4], 0.95])
    x, y = np.linspace(0.034, 0.060, 60), np.linspace(0.050, 0.073, 60)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    made = surface_of(x, y, np.stack([front(gx), rear(gy), 0 * gx + 0.9])[..., None])
    one = np.ones(1)
    halyard = [
        axle_spring(
            AxleRates(
                wheel_rate=wheel * one, tyre_rate=265e3 * one, stop_gap=np.zeros((1, 0)),
                stop_rate=np.zeros((1, 0)),
            ),
            ride_height=height * one, growth=0 * one, static_load=6e3 * one,
        )
        for wheel, height in ((72e3, 0.058), (78e3, 0.071))
    ]  # fmt: skip
    speed = DEMO[:, 0] / 3.6
    up, down = follow_path(made, car(*halyard), speed=speed, density=1.18)
    # budget: half a digit of the printed height, and half a digit of CzS through q/k
    half_height, half_area = 0.05, 0.0005
    for found, printed, spring in (
        (up.ride_height_front, DEMO[:, 1], halyard[0]),
        (up.ride_height_rear, DEMO[:, 2], halyard[1]),
    ):  # fmt: skip
        budget = half_height + half_area * 0.5 * 1.18 * speed**2 / spring.rate[0, 0] * 1e3
        assert np.all(np.abs(found[:, 0] * 1e3 - printed) <= budget)
    np.testing.assert_array_equal(up.count, 1)
    np.testing.assert_allclose(up.ride_height_rear, down.ride_height_rear, atol=1e-9)


def test_a_car_that_leaves_the_map_is_refused_or_marked() -> None:
    made = surface(lambda x, y: 0.5, lambda x, y: 3.0)
    cars = car(axle(0.058, 110e3), axle(0.071, 120e3))
    speed = np.array([20.0, 75.0])
    with pytest.raises(NotCovered, match="1 of 1 draws leave the map"):
        follow_path(made, cars, speed=speed, density=RHO)
    up, _ = follow_path(made, cars, speed=speed, density=RHO, partial=True)
    assert not up.covered[0]
    assert np.isfinite(up.ride_height_rear[0, 0])
    assert np.isnan(up.ride_height_rear[1, 0])


def test_a_car_at_rest_outside_the_map_is_refused() -> None:
    made = surface(lambda x, y: 0.5, lambda x, y: 0.5)
    with pytest.raises(NotCovered):
        follow_path(
            made, car(axle(0.090, 110e3), axle(0.071, 120e3)), speed=np.array([20.0]), density=RHO
        )


@pytest.mark.parametrize("partial", [False, True])
def test_a_car_with_nothing_but_unstable_ride_heights_does_not_converge(partial: bool) -> None:
    # I + q K⁻¹ A = ((−½, 1), (−1, −½)) at q1: a spiral outward, though det is above zero; no load
    # at rest heights, so that the equilibrium itself never leaves the map
    cars = car(axle(0.045, 110e3), axle(0.055, 110e3))
    gain = cars.front.rate[0, 0] / (0.5 * RHO * 40.0**2)
    made = surface(
        lambda x, y: gain * (-1.5 * (x - 0.045) + (y - 0.055)),
        lambda x, y: gain * (-(x - 0.045) - 1.5 * (y - 0.055)),
        9,
    )
    slow, _ = follow_path(made, cars, speed=np.array([30.0]), density=RHO)
    assert slow.margin[0, 0] == pytest.approx(1 - 1.5 * (30 / 40) ** 2, abs=1e-9)
    with pytest.raises(NotConverged, match="no stable ride height"):
        follow_path(made, cars, speed=np.array([40.0]), density=RHO, partial=partial)


def test_agreement_along_a_whole_line_is_refused_as_not_converged() -> None:
    cars = car(axle(0.058, 110e3), axle(0.071, 120e3))
    k, q = cars.rear.rate[0, 0], 0.5 * RHO * 50.0**2
    made = surface(lambda x, y: 0.3, lambda x, y: k * (0.071 - y) / q, 9)
    with pytest.raises(NotConverged, match="whole line"):
        solve_equilibria(made, cars, speed=np.array([50.0]), density=RHO)


def test_lift_beyond_the_weight_is_refused() -> None:
    made = surface(lambda x, y: -2.5, lambda x, y: 0.5)
    light = car(axle(0.040, 1100e3), axle(0.060, 120e3))
    with pytest.raises(NotCovered, match="leaves the ground"):
        follow_path(made, light, speed=np.array([70.0]), density=RHO)


def test_impossible_inputs_are_refused() -> None:
    made = surface(lambda x, y: 0.5, lambda x, y: 0.5, 9)
    cars = car(axle(0.058, 110e3), axle(0.071, 120e3))
    good = {"speed": np.array([20.0]), "density": RHO}
    for bad in ({"speed": np.array([-1.0])}, {"speed": np.array([np.nan])}, {"density": 0.0}):
        with pytest.raises(InputError):
            solve_equilibria(made, cars, **{**good, **bad})
    with pytest.raises(InputError, match="draws"):
        solve_equilibria(made, car(axle(0.058, 1e5, 2), axle(0.071, 1e5, 2)), **good)
