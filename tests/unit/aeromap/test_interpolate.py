"""Reading a map between its nodes."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from tuftwork.aeromap.interpolate import evaluate, evaluate_with_slopes, surface_of
from tuftwork.errors import InputError, NotCovered, UnknownName

RNG = np.random.default_rng(11)
X = 0.03 + 0.04 * np.linspace(0, 1, 12) ** 1.4
Y = 0.035 + 0.05 * np.linspace(0, 1, 14) ** 0.8
GRID = np.meshgrid(X, Y, indexing="ij")


def fields(n_draw: int = 3, n_field: int = 2) -> np.ndarray:
    return RNG.normal(size=(n_field, X.size, Y.size, n_draw))


def points(n: int = 400) -> tuple[np.ndarray, np.ndarray]:
    return RNG.uniform(X[0], X[-1], n), RNG.uniform(Y[0], Y[-1], n)


@pytest.mark.parametrize("method", ["smooth", "bilinear"])
def test_nodes_give_back_their_values(method: str) -> None:
    values = fields()
    read = evaluate(surface_of(X, Y, values), GRID[0].ravel(), GRID[1].ravel(), method=method)
    np.testing.assert_allclose(read, values.reshape(2, -1, 3), atol=1e-13)


def test_bilinear_agrees_with_a_general_library() -> None:
    values, (px, py) = fields(), points()
    ours = evaluate(surface_of(X, Y, values), px, py, method="bilinear")
    theirs = RegularGridInterpolator((X, Y), np.moveaxis(values, 0, 2))(np.stack([px, py], 1))
    np.testing.assert_allclose(ours, np.moveaxis(theirs, 1, 0), atol=1e-12)


def test_planes_and_products_are_read_exactly() -> None:
    x, y = GRID
    plane = (2 + 30 * x - 50 * y + 400 * x * y)[None, :, :, None]
    px, py = points()
    surface = surface_of(X, Y, plane)
    exact = 2 + 30 * px - 50 * py + 400 * px * py
    np.testing.assert_allclose(evaluate(surface, px, py)[0, :, 0], exact, rtol=1e-12)


def test_error_falls_with_the_third_power_on_a_smooth_rising_field() -> None:
    def worst(n: int) -> float:
        x, y = np.linspace(0.03, 0.07, n), np.linspace(0.03, 0.09, n)
        gx, gy = np.meshgrid(x, y, indexing="ij")
        rising = np.exp(20 * gx + 15 * gy)[None, :, :, None]
        px, py = RNG.uniform(0.03, 0.07, 4000), RNG.uniform(0.03, 0.09, 4000)
        read = evaluate(surface_of(x, y, rising), px, py)[0, :, 0]
        return float(np.max(np.abs(read - np.exp(20 * px + 15 * py))))

    assert np.log2(worst(9) / worst(17)) > 2.5


def test_no_patch_leaves_the_range_of_its_corners() -> None:
    values = fields(20)
    surface = surface_of(X, Y, values)
    for i in range(0, X.size - 1, 3):
        for j in range(Y.size - 1):
            px, py = np.meshgrid(
                np.linspace(X[i], X[i + 1], 9), np.linspace(Y[j], Y[j + 1], 9), indexing="ij"
            )
            read = evaluate(surface, px.ravel(), py.ravel())
            corners = values[:, i : i + 2, j : j + 2].reshape(2, 4, 20)
            assert np.all(read <= corners.max(axis=1)[:, None] + 1e-12)
            assert np.all(read >= corners.min(axis=1)[:, None] - 1e-12)


def test_stays_monotone_through_a_cliff_where_a_free_cubic_rings() -> None:
    # data of Fritsch & Carlson 1980 (radiochemical, nine points); from memory, a property check
    x = np.array([7.99, 8.09, 8.19, 8.7, 9.2, 10.0, 12.0, 15.0, 20.0])
    f = np.array(
        [0.0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994]
    )
    values = np.repeat(f[None, :, None, None], 2, axis=2)
    fine = np.linspace(7.99, 20.0, 3000)
    read = evaluate(surface_of(x, np.array([1.0, 2.0]), values), fine, np.full(3000, 1.3))[0, :, 0]
    assert np.all(np.diff(read) >= -1e-15)
    free = RegularGridInterpolator((x,), f, method="cubic")(fine[:, None])
    assert np.any(np.diff(free) < -1e-6)


def test_slopes_are_the_derivatives_and_continuous_across_cells() -> None:
    surface = surface_of(X, Y, fields())
    px, py = points(200)
    px, py = np.clip(px, X[0] + 1e-6, X[-1] - 1e-6), np.clip(py, Y[0] + 1e-6, Y[-1] - 1e-6)
    _, over_x, over_y = evaluate_with_slopes(surface, px, py)
    h = 1e-8
    for slope, dx, dy in ((over_x, h, 0.0), (over_y, 0.0, h)):
        up, down = evaluate(surface, px + dx, py + dy), evaluate(surface, px - dx, py - dy)
        np.testing.assert_allclose(slope, (up - down) / (2 * h), rtol=2e-4, atol=2e-2)
    for node in X[1:-1]:
        left = evaluate_with_slopes(surface, np.full(50, node - 1e-12), py[:50])
        right = evaluate_with_slopes(surface, np.full(50, node + 1e-12), py[:50])
        for a, b in zip(left, right, strict=True):
            np.testing.assert_allclose(a, b, rtol=1e-6, atol=1e-5)


def test_each_draw_can_be_read_at_its_own_point() -> None:
    surface = surface_of(X, Y, fields(4))
    px, py = RNG.uniform(X[0], X[-1], (30, 4)), RNG.uniform(Y[0], Y[-1], (30, 4))
    own = evaluate(surface, px, py)
    for d in range(4):
        shared = evaluate(surface, px[:, d].copy(), py[:, d].copy())
        np.testing.assert_array_equal(own[:, :, d], shared[:, :, d])


def test_many_points_on_threads_give_what_few_points_give() -> None:
    surface = surface_of(X, Y, fields(5))
    px, py = points(20_000)
    many = evaluate(surface, px, py)
    np.testing.assert_array_equal(many[:, 777:790], evaluate(surface, px[777:790], py[777:790]))


@pytest.mark.parametrize("n", [2, 3])
def test_the_smallest_maps_work(n: int) -> None:
    x = np.linspace(0.03, 0.05, n)
    values = RNG.normal(size=(1, n, n, 1))
    middle = evaluate(surface_of(x, x, values), np.array([0.04]), np.array([0.04]))
    assert values.min() <= middle[0, 0, 0] <= values.max()


def test_a_point_outside_is_refused_with_its_place() -> None:
    surface = surface_of(X, Y, fields())
    with pytest.raises(NotCovered, match=r"front 10\.0 mm"):
        evaluate(surface, np.array([0.05, 0.010]), np.array([0.05, 0.05]))
    with pytest.raises(NotCovered):
        evaluate(surface, np.array([np.nan]), np.array([0.05]))


def test_a_map_with_holes_is_refused() -> None:
    values = fields()
    values[0, 3, 4, 0] = np.nan
    with pytest.raises(NotCovered, match="1 of 168 cells"):
        surface_of(X, Y, values)


def test_axes_that_do_not_rise_and_unknown_methods_are_refused() -> None:
    with pytest.raises(InputError, match="front axis"):
        surface_of(X[::-1].copy(), Y, fields())
    with pytest.raises(UnknownName, match="smooth"):
        evaluate(surface_of(X, Y, fields()), *points(), method="smoth")
    with pytest.raises(InputError, match="shape"):
        evaluate(surface_of(X, Y, fields()), np.full((4, 2), 0.05), np.full((4, 2), 0.05))
