"""The air along a blunt body: a sheet of sources against sums of points and closed forms."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.floor import FloorClosure, Stand, plane_diffuser, solve_line
from tuftwork.floor.beside import body_side_pressure

BODY = {"nose": 0.1, "half_width": 0.157, "low": 0.03, "high": 0.354}


def test_its_speed_is_that_of_many_small_sources_and_their_image() -> None:
    n = 200
    y = (np.arange(n) + 0.5) / n * 2 * 0.157 - 0.157
    z = 0.03 + (np.arange(n) + 0.5) / n * 0.324
    yy, zz = np.meshgrid(y, z)
    each = 2 * 0.157 * 0.324 / n**2
    for x in (0.15, 0.3, 0.9):
        d, more = x - 0.1, 0.0
        for sign in (1, -1):
            r2 = d**2 + (yy - 0.157) ** 2 + (sign * zz - 0.03) ** 2
            more += float(np.sum(each * d / (4 * np.pi * r2**1.5)))
        found = float(body_side_pressure(np.array(x), **BODY))
        assert found == pytest.approx(1 - (1 + more) ** 2, rel=2e-3)


def test_far_behind_it_is_that_of_one_source_of_twice_the_frontal_area() -> None:
    far, area = 5.0, 2 * 2 * 0.157 * 0.324
    found = float(body_side_pressure(np.array(0.1 + far), **BODY))
    assert found == pytest.approx(-2 * area / (4 * np.pi * far**2), rel=0.02)


def test_ahead_of_the_nose_the_air_is_held_up_and_behind_it_runs_faster() -> None:
    x = np.array([-0.5, 0.0, 0.2, 0.5, 1.0])
    found = body_side_pressure(x, **BODY)
    assert np.all(found[:2] > 0)
    assert np.all(found[2:] < 0)
    assert np.all(np.diff(found[2:]) > 0)


def test_a_thinner_body_does_less() -> None:
    thin, thick = (
        float(body_side_pressure(np.array(0.3), **(BODY | {"high": h}))) for h in (0.1, 0.354)
    )
    assert thick < thin < 0


def test_a_floor_whose_edges_meet_it_carries_more_and_farther_forward() -> None:
    floor = plane_diffuser(width=0.314, front=0.0, kick=0.775, exit=1.315, angle=np.radians(10))
    stand = Stand(front=0.04, rear=0.04, wheelbase=1.0)
    x = np.linspace(0.0, 1.315, 40)
    beside = body_side_pressure(x, **(BODY | {"nose": 0.0}))
    sides = tuple(zip(x.tolist(), beside.tolist(), strict=True))
    still, own = (solve_line(floor, stand, FloorClosure(outside=o)) for o in ((), sides))
    assert own.downforce > 1.05 * still.downforce
    assert own.moment / own.downforce < still.moment / still.downforce - 0.02


@pytest.mark.parametrize("change", [{"half_width": 0.0}, {"high": 0.02}, {"low": -0.01}])
def test_a_size_without_meaning_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(InputError):
        body_side_pressure(np.array(0.3), **(BODY | change))
