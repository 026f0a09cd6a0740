"""Promises of the readings of a fall, and of the vortices that strakes shed."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.floor import FloorClosure, Stand, Strake, plane_diffuser, solve_plan
from tuftwork.floor.cause import fall_cause
from tuftwork.floor.trail import strake_trails
from tuftwork.floor.vortex import Fence, vortex_trail

CAR = plane_diffuser(
    width=1.5, front=-0.35, kick=2.6, exit=3.6, angle=np.radians(11), diffuser_width=1.1
)
CLOSURE = FloorClosure(exit_pressure=-0.36, discharge=0.52)
STRAKE = Strake(start=2.6, end=3.3, offset=0.3, gap=0.5)


def level(height: float) -> Stand:
    return Stand(front=height, rear=height, wheelbase=2.6)


def test_a_ramp_that_loses_its_layer_is_named() -> None:
    found = fall_cause(CAR, level(0.058), level(0.04), CLOSURE)
    assert found.cause == "stall"
    assert found.lower < found.higher
    assert found.stalled_from is not None
    assert found.of("stall").lower > found.of("stall").higher
    assert found.of("choking").returned < 0.1 * found.of("stall").returned


def test_a_long_sealed_floor_with_hardly_a_ramp_chokes() -> None:
    # the other answer must be possible: layers of four metres meet in a gap of a few millimetres
    plate = plane_diffuser(
        width=1.5, front=0.0, kick=4.0, exit=4.5, angle=np.radians(3), edge_gap=5e-4
    )
    found = fall_cause(plate, level(0.012), level(0.006), FloorClosure())
    assert found.cause == "choking"
    assert found.of("choking").lower > 0.5


def test_a_load_that_rises_has_no_cause_of_a_fall() -> None:
    found = fall_cause(CAR, level(0.09), level(0.08), CLOSURE)
    assert found.lower > found.higher
    assert found.cause is None


def test_readings_come_in_order_and_strakes_add_one() -> None:
    bare = fall_cause(CAR, level(0.058), level(0.045), CLOSURE)
    fenced = fall_cause(replace(CAR, strakes=(STRAKE,)), level(0.058), level(0.045), CLOSURE)
    assert {r.reading for r in bare.readings} == {"stall", "burst", "choking", "leak"}
    assert "strake burst" in {r.reading for r in fenced.readings}
    returned = [r.returned for r in fenced.readings]
    assert returned == sorted(returned, reverse=True)


def test_air_that_leaks_in_meets_a_strake_from_outboard_and_washes_in() -> None:
    shape = replace(CAR, strakes=(STRAKE,))
    found = strake_trails(shape, level(0.06), solve_plan(shape, level(0.06), CLOSURE))[0]
    assert found.angle < 0
    assert found.trail is not None
    assert found.trail.washes == "in"
    assert found.trail.low < found.trail.downforce <= found.trail.whole
    # beside the strake it goes along with it; behind, the images carry it
    assert np.all(found.trail.y[found.trail.x <= 0.7] == 0.0)
    assert found.trail.y[-1] != 0.0
    assert 0.05 < found.height < 0.2


def test_toe_adds_to_what_the_air_does() -> None:
    shape = replace(CAR, strakes=(STRAKE,))
    plan = solve_plan(shape, level(0.06), CLOSURE)
    plain, out = (strake_trails(shape, level(0.06), plan, toe=t)[0] for t in (0.0, 0.2))
    assert out.angle == pytest.approx(plain.angle + 0.2)
    assert out.trail is not None
    assert out.trail.washes == "out"


def test_a_strake_too_short_for_the_grid_is_refused() -> None:
    short = replace(STRAKE, start=2.601, end=2.602)
    shape = replace(CAR, strakes=(short,))
    plan = solve_plan(shape, level(0.06), CLOSURE)
    with pytest.raises(InputError, match="shorter than a cell"):
        strake_trails(shape, level(0.06), plan)


def test_a_vortex_shed_along_a_fence_is_weaker_than_one_shed_at_once() -> None:
    fence = Fence(height=0.04, length=0.5, angle=np.radians(9))
    at_once = vortex_trail(fence, gap=0.03, depth=0.08, length=1.0)
    along = vortex_trail(fence, gap=0.03, depth=0.08, length=1.0, shed_over=0.5)
    assert along.whole < at_once.whole
    np.testing.assert_allclose(along.suction[0], 0.0, atol=1e-15)
