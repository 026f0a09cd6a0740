"""A wing is proven for the fastest its car goes, not for the fastest speed somebody studied."""

import numpy as np
import pytest

from tuftwork.study import Bench
from tuftwork.study.fastest import fastest, level_speed


def test_level_speed_is_the_cube_root_where_nothing_rolls() -> None:
    power, area = np.array([180e3, 90e3]), np.array([0.72, 0.9])
    closed = (2 * power / (1.18 * area)) ** (1 / 3)
    np.testing.assert_allclose(level_speed(power, area, np.zeros(2), 1.18), closed, rtol=1e-9)


def test_level_speed_leaves_no_power_over() -> None:
    """P = ½ρ CxS V³ + R V at what is returned, by hand."""
    v = float(level_speed(np.array(180.4e3), np.array(0.719), np.array(124.3), 1.167))
    assert 0.5 * 1.167 * 0.719 * v**3 + 124.3 * v == pytest.approx(180.4e3, rel=1e-9)
    assert 3.6 * v == pytest.approx(267.0, abs=0.1)


def test_the_demo_car_goes_faster_than_it_was_studied(halyard: Bench) -> None:
    """About 295 km/h on its power (demo story), studied to 240: the proof load is for the first."""
    answers = halyard.answers
    most = fastest(answers, "as raced")
    assert 3.6 * answers.job.top_speed == pytest.approx(240.0)
    assert 285.0 < 3.6 * most.speed < 315.0
    page = halyard.page("sections")
    rows = {row["key"]: row for row in page["loads"]}
    force, studied = rows["force"]["number"]["best"], page["speed_kmh"] / 3.6
    assert rows["proof"]["number"]["best"] == pytest.approx(
        1.5 * force * (most.speed / studied) ** 2, rel=1e-3
    )
    assert f"{3.6 * most.speed:.0f}\u202fkm/h" in rows["top"]["label"]


def test_more_drag_makes_it_slower(halyard: Bench) -> None:
    answers = halyard.answers
    assert fastest(answers, "more wing").speed < fastest(answers, "as raced").speed


def test_a_car_without_power_says_that_its_top_speed_is_not_known(student: Bench) -> None:
    answers = student.answers
    most = fastest(answers, answers.states[0])
    assert answers.project.car.power is None
    assert most.speed == answers.job.top_speed
    assert "top speed is not known" in most.notice
    assert most.notice in student.page("sections")["notices"]
