"""The line within the road: exact slopes, gains that are gains, and what is refused."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap import (
    Circuit,
    circuit_from_line,
    circuit_from_radii,
    least_curvature_line,
    least_time_line,
    prepare,
    solve_lap,
)
from tuftwork.lap.build import Piece
from tuftwork.lap.demo import halyard, halyard_aero
from tuftwork.lap.path import room_on
from tuftwork.lap.quickest import _lap


def bean(half_width: float = 6.0) -> Circuit:
    t = np.linspace(0.0, 2 * np.pi, 240, endpoint=False)
    points = np.stack([220.0 * np.cos(t), 140.0 * np.sin(t) + 45.0 * np.sin(2 * t)], axis=1)
    return circuit_from_line("bean", points, widths=np.full((240, 2), half_width))


def test_slopes_with_the_line_are_those_of_the_lap() -> None:
    room = room_on(bean(), 1.9, 6.0)
    case = prepare(bean(), halyard(), halyard_aero(), n_point=200)
    rng = np.random.default_rng(3)
    n = room.at.size
    waves = 2 * np.pi * np.arange(n) / n
    offset = 1.5 * np.sin(3.0 * waves + 0.4) + 0.8 * np.cos(7.0 * waves)
    _, slope, _ = _lap(room, case, offset)
    for _ in range(3):
        way = np.convolve(rng.standard_normal(n), np.ones(15) / 15.0, "same")
        step = 1e-6
        up, down = (_lap(room, case, offset + s * way)[0] for s in (step, -step))
        assert float(slope @ way) == pytest.approx((up - down) / (2 * step), rel=1e-3)


@pytest.fixture(scope="module")
def lines() -> tuple[Circuit, Circuit, Circuit]:
    found = least_time_line(bean(), halyard(), halyard_aero(), spacing=8.0)
    assert found.times[-1] < found.times[0]
    return bean(), least_curvature_line(bean()), found.circuit


def test_the_quickest_line_beats_least_curvature_and_that_beats_the_line_given(
    lines: tuple[Circuit, Circuit, Circuit],
) -> None:
    given, bent, quick = (solve_lap(c, halyard(), halyard_aero(), n_point=3000).time for c in lines)
    assert quick < bent - 0.05
    assert bent < given - 0.05


def test_the_quickest_line_stays_on_the_road_and_keeps_its_corners(
    lines: tuple[Circuit, Circuit, Circuit],
) -> None:
    given, _, quick = lines
    assert quick.width_left.min() > 0.9
    assert quick.width_right.min() > 0.9
    assert [c.name for c in quick.corners] == [c.name for c in given.corners]
    for before, after in zip(given.corners, quick.corners, strict=True):
        assert after.start < after.apex < after.end
        assert after.apex / quick.length == pytest.approx(before.apex / given.length, abs=0.03)
    assert "quickest line" in quick.notices[0]


def test_a_road_as_wide_as_the_car_leaves_the_line_where_it_is() -> None:
    car = halyard()
    road = bean(0.5 * car.width + 1e-9)
    found = least_time_line(road, car, halyard_aero(), spacing=8.0)
    assert np.abs(found.offset).max() < 1e-3
    before, after = (
        solve_lap(c, car, halyard_aero(), n_point=2000).time for c in (road, found.circuit)
    )
    assert after == pytest.approx(before, rel=2e-3)


def test_what_no_line_can_be_found_on_is_named() -> None:
    with pytest.raises(InputError, match="narrower than the car"):
        least_time_line(bean(0.8), halyard(), halyard_aero())
    sprint = circuit_from_radii("straight", [Piece(length=400.0)], closed=False)
    with pytest.raises(InputError, match="is open"):
        least_time_line(sprint, halyard(), halyard_aero())
    with pytest.raises(InputError, match="spacing"):
        least_time_line(bean(), halyard(), halyard_aero(), spacing=0.0)
    with pytest.raises(InputError, match="rounds"):
        least_time_line(bean(), halyard(), halyard_aero(), rounds=0)
    with pytest.raises(NotConverged, match="still gains after 15 steps"):
        least_time_line(bean(), halyard(), halyard_aero(), rounds=15)
    bad = replace(bean(), width_left=np.full_like(bean().width_left, np.nan))
    with pytest.raises(InputError, match="width"):
        least_time_line(bad, halyard(), halyard_aero())
