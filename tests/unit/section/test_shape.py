"""Contours: checks with the place named, reported shape, spline and spacing."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.section import check_contour, describe, mirror, naca, thicken_edge
from tuftwork.section.shape import fit_spline, panel_nodes


def test_four_digits_say_camber_place_and_thickness() -> None:
    d = describe(naca("4412", n_point=401))
    assert d.thickness == pytest.approx(0.12, abs=2e-3)
    assert d.camber == pytest.approx(0.04, abs=2.5e-3)
    assert d.camber_at == pytest.approx(0.40, abs=0.03)
    assert d.chord == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("code", ["0006", "0012", "0018"])
def test_nose_radius_is_that_of_the_digits(code) -> None:
    # r = 1.1019 t^2 of the four-digit thickness law
    t = int(code[2:]) / 100.0
    assert describe(naca(code, n_point=801)).nose_radius == pytest.approx(1.1019 * t**2, rel=0.06)


@pytest.mark.parametrize("code", ["44x2", "441", "99912", "4400"])
def test_digits_that_name_no_section_are_refused(code) -> None:
    with pytest.raises(InputError, match="code"):
        naca(code)


def test_an_open_edge_is_reported() -> None:
    assert describe(naca("0012", is_closed=False)).edge_thickness == pytest.approx(
        0.00252, rel=0.02
    )
    assert describe(thicken_edge(naca("0012"), 0.01)).edge_thickness == pytest.approx(
        0.01, rel=1e-2
    )


def test_clockwise_order_is_turned_round_with_a_notice() -> None:
    c = naca("2412")
    again = check_contour(c.x[::-1], c.y[::-1])
    np.testing.assert_allclose(again.x, c.x)
    assert "order reversed" in again.notices[0]


def test_a_repeated_point_is_dropped_with_a_notice() -> None:
    c = naca("2412")
    again = check_contour(np.insert(c.x, 30, c.x[30]), np.insert(c.y, 30, c.y[30]))
    assert again.x.size == c.x.size
    assert "repeated point" in again.notices[0]


def test_twenty_points_are_too_few() -> None:
    t = np.linspace(0, 2 * np.pi, 20)
    with pytest.raises(InputError, match="20 points: must be at least 21"):
        check_contour(np.cos(t), 0.1 * np.sin(t))


def test_an_open_contour_names_its_ends() -> None:
    c = naca("2412")
    with pytest.raises(InputError, match=r"end points .* open"):
        check_contour(c.x[:-60], c.y[:-60])


def test_a_crossing_names_its_segments() -> None:
    c = naca("2412")
    y = c.y.copy()
    y[40:60] -= 0.2
    with pytest.raises(InputError, match=r"segments \d+ and \d+ near"):
        check_contour(c.x, y)


def test_numbers_that_are_none_are_named() -> None:
    c = naca("2412")
    x = c.x.copy()
    x[12] = np.nan
    with pytest.raises(InputError, match="point 13: is not a finite number"):
        check_contour(x, c.y)


def test_a_kink_shows_in_the_smoothness() -> None:
    c = naca("0012", n_point=161)
    y = c.y.copy()
    y[30] += 0.004
    rough = check_contour(c.x, y)
    assert describe(rough).smoothness > 5 * describe(c).smoothness
    assert describe(rough).roughest_at[0] == pytest.approx(c.x[30], abs=0.03)


def test_mirroring_twice_changes_nothing() -> None:
    c = naca("4412")
    twice = mirror(mirror(c))
    np.testing.assert_allclose(twice.y, c.y)


def test_nodes_lie_on_the_spline_and_are_fine_at_the_nose() -> None:
    c = naca("4412")
    x, y = panel_nodes(c, 120)
    assert x.size == 121
    step = np.hypot(np.diff(x), np.diff(y))
    assert step.min() == pytest.approx(step[58:62].min())
    assert fit_spline(c).nose > 0.9


@pytest.mark.parametrize("first", [40, 80, 110])
def test_an_outline_that_starts_elsewhere_is_turned_to_its_trailing_edge(first) -> None:
    good = naca("4412", n_point=161)
    x, y = (np.roll(v[:-1], -first) for v in (good.x, good.y))
    mended = check_contour(np.append(x, x[0]), np.append(y, y[0]))
    np.testing.assert_allclose(mended.x, good.x, atol=1e-12)
    np.testing.assert_allclose(mended.y, good.y, atol=1e-12)
    assert "its trailing edge" in mended.notices[-1]


def test_a_blunt_outline_that_starts_at_its_nose_keeps_its_edge_open() -> None:
    good = thicken_edge(naca("0012", n_point=161), 0.02)
    x, y = (np.roll(v, -80) for v in (good.x, good.y))
    mended = check_contour(np.append(x, x[0]), np.append(y, y[0]))
    assert mended.edge_gap == pytest.approx(0.02, rel=0.01)
    np.testing.assert_allclose(mended.x, good.x, atol=1e-12)


def test_both_sides_from_nose_to_tail_are_refused() -> None:
    good = naca("4412")
    k = int(np.argmin(good.x))
    with pytest.raises(InputError, match="open by more than a tenth"):
        check_contour(
            np.r_[good.x[: k + 1][::-1], good.x[k + 1 :]],
            np.r_[good.y[: k + 1][::-1], good.y[k + 1 :]],
        )
