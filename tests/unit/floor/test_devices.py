"""Promises of sweeps, calibration, packaging, front floor, vortices, lips and the table."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor import FloorClosure, FloorShape, Stand, Strake, plane_diffuser
from tuftwork.floor.calibrate import MeasuredSweep, calibrate
from tuftwork.floor.device import Lip, Move, footprint, leverage, lip_effect, strake_gain
from tuftwork.floor.nose import FrontFloor, FrontFlow, edge_tolerance, solve_front, upwash_behind
from tuftwork.floor.package import HardLimit, area_ratio, best_ramp
from tuftwork.floor.plan import solve_plan
from tuftwork.floor.sweep import ride_sweep, two_state_path
from tuftwork.floor.table import FloorTable, closure_at, evaluate
from tuftwork.floor.table_make import TableSize, floor_table
from tuftwork.floor.vortex import Fence, benefit_window, fence_strength, vortex_trail

STAND = Stand(front=0.05, rear=0.06, wheelbase=2.6)
CLOSURE = FloorClosure(exit_pressure=-0.3, reynolds=4e6)
LENGTHS = {"width": 1.5, "front": -0.3, "kick": 2.6, "exit": 3.5, "angle": np.radians(10)}


def car(**moved: float) -> FloorShape:
    return plane_diffuser(**{**LENGTHS, **moved})


def test_one_sweep_ties_the_closures_to_within_a_tenth() -> None:
    truth = replace(CLOSURE, discharge=0.62, mixing=0.95, exit_pressure=-0.26)
    heights = np.array([0.05, 0.06, 0.075, 0.09])
    made = ride_sweep(car(), STAND, truth, heights, in_plan=False).downforce
    measured = MeasuredSweep(height=heights, downforce=made, deviation=0.02 * made)
    found = calibrate(measured, car(), STAND, CLOSURE)
    before = np.sqrt(np.mean(np.square(found.before / made - 1)))
    assert before > 0.1
    assert found.miss < 0.05
    assert np.all(found.deviation < [0.094, 0.195, 0.06])


def test_a_calibration_needs_two_heights() -> None:
    one = MeasuredSweep(height=np.ones(1), downforce=np.ones(1), deviation=np.ones(1))
    with pytest.raises(InputError, match="two or more"):
        calibrate(one, car(), STAND, CLOSURE)


def test_two_states_remember_how_they_were_reached() -> None:
    heights = np.array([60.0, 50.0, 40.0, 50.0, 60.0])
    load = two_state_path(heights, np.full(5, 2.0), np.full(5, 1.0), falls_at=45.0, returns_at=55.0)
    assert load.tolist() == [2.0, 2.0, 1.0, 1.0, 2.0]
    with pytest.raises(InputError):
        two_state_path(heights, load, load, falls_at=45.0, returns_at=40.0)


def test_a_hard_point_that_binds_has_a_price_and_others_have_none() -> None:
    hard = [
        HardLimit(name="manifold", station=3.0, height=0.05),
        HardLimit(name="far above", station=3.2, height=0.5),
    ]
    found = best_ramp(
        lambda kick, angle: car(kick=kick, angle=angle), STAND, CLOSURE, hard, kick=(2.6, 2.9),
        exit=3.5, present=(2.6, np.radians(7)), count=(3, 6),
    )  # fmt: skip
    prices = {p.name: p for p in found.prices}
    assert prices["manifold"].gain > 0
    assert prices["manifold"].free >= prices["manifold"].gain
    assert prices["far above"].gain == 0
    assert (3.0 - found.kick) * np.tan(found.angle) <= 0.05 + 1e-9
    with pytest.raises(InputError, match="leave no room"):
        best_ramp(
            lambda kick, angle: car(kick=kick, angle=angle), STAND, CLOSURE,
            [HardLimit(name="wall", station=3.4, height=0.0)], kick=(2.6, 2.9), exit=3.5,
            present=(2.6, 0.1), count=(2, 4),
        )  # fmt: skip


def test_area_ratio_wants_gaps() -> None:
    assert area_ratio(0.05, 0.2) == pytest.approx(4.0)
    with pytest.raises(InputError):
        area_ratio(0.0, 0.2)


FRONT = FrontFloor(width=1.7, lip=-0.98, handover=-0.35, projection=0.085, lip_radius=0.016)
FLOW = FrontFlow(clearance=0.05, pitch=0.0, pressure=2200.0, handover_pressure=-0.4)


def test_a_softer_splitter_droops_and_carries_more_until_it_is_drawn_down() -> None:
    rigid = solve_front(FRONT, FLOW, CLOSURE)
    soft = solve_front(replace(FRONT, stiffness=1e5), FLOW, CLOSURE)
    assert rigid.droop == 0
    assert 0 < soft.droop < 0.02
    assert soft.under > rigid.under
    # the fixed point holds: load over stiffness is the droop
    np.testing.assert_allclose(soft.plate * FLOW.pressure / 1e5, soft.droop, rtol=1e-3)
    with pytest.raises(NotConverged, match="draws it to the road"):
        solve_front(replace(FRONT, stiffness=8e3), FLOW, CLOSURE)


def test_a_sharp_lip_loses_and_a_low_one_fills_its_gap() -> None:
    sharp = solve_front(replace(FRONT, lip_radius=0.001), FLOW, CLOSURE)
    low = solve_front(FRONT, replace(FLOW, clearance=0.012), CLOSURE)
    base = solve_front(FRONT, FLOW, CLOSURE)
    assert sharp.inlet_loss > base.inlet_loss
    assert low.choke > base.choke
    with pytest.raises(InputError):
        solve_front(replace(FRONT, stiffness=-1.0), FLOW, CLOSURE)


def test_upwash_fades_with_distance_and_edges_bear_less_when_sharp() -> None:
    near, far = (upwash_behind(0.3, 1.7, d, 0.05) for d in (0.2, 0.8))
    assert near > far > 0
    sharp, round_ = edge_tolerance(np.array([0.001, 0.01]), 0.3)
    assert sharp < round_
    assert edge_tolerance(0.01, 0.3, head=0.6) < round_


def test_a_fence_sheds_more_with_angle_and_washes_the_way_it_points() -> None:
    fence = Fence(height=0.03, length=0.4, angle=np.radians(8))
    assert fence_strength(replace(fence, angle=np.radians(12))) > fence_strength(fence) > 0
    out = vortex_trail(fence, gap=0.03, depth=0.08, length=1.0)
    inward = vortex_trail(replace(fence, angle=-fence.angle), gap=0.03, depth=0.08, length=1.0)
    assert (out.washes, inward.washes) == ("out", "in")
    np.testing.assert_allclose(out.downforce, inward.downforce, rtol=1e-12)
    assert out.low < out.downforce < out.high
    assert np.all(np.diff(out.core) > 0)
    steep = vortex_trail(replace(fence, angle=np.radians(25)), gap=0.01, depth=0.05, length=1.0)
    assert steep.breaks_at == 0.0
    low, high = benefit_window(fence, np.linspace(0.02, 0.3, 60), length=1.0)
    assert 0.03 < low < high
    with pytest.raises(InputError):
        vortex_trail(fence, gap=0.09, depth=0.08, length=1.0)


def test_a_lip_put_down_takes_load_and_flow_and_adds_drag() -> None:
    found = lip_effect(Lip(station=0.2, height=0.02), car(), STAND, CLOSURE)
    assert found.downforce < 0
    assert found.flow < 0
    assert found.force > 0
    assert found.low < found.downforce < found.high
    with pytest.raises(InputError, match="outside"):
        lip_effect(Lip(station=9.0, height=0.02), car(), STAND, CLOSURE)
    with pytest.raises(InputError, match="tenths"):
        lip_effect(Lip(station=0.2, height=0.06), car(), STAND, CLOSURE)


def test_sealing_the_edges_pays_more_a_millimetre_than_raising_the_exit() -> None:
    step = 0.004
    moves = [
        Move(name="seal", step=step, shape=replace(car(), edge_gap=0.05 - step), stand=STAND,
             area=0.1, station=2.0),
        Move(name="exit", step=step, stand=STAND, area=0.7, station=3.0,
             shape=replace(car(angle=LENGTHS["angle"] + step / 0.9), edge_gap=0.05)),
    ]  # fmt: skip
    rows = leverage(moves, replace(car(), edge_gap=0.05), STAND, CLOSURE, pressure=2000.0)
    assert [r.name for r in rows] == ["seal", "exit"]
    assert rows[0].per_newton == pytest.approx(1e3 * step * rows[0].per_mm / rows[0].force)


def test_strakes_add_load_and_a_layer_that_answers_takes_some_back() -> None:
    strake = Strake(start=2.6, end=3.5, offset=0.4, gap=0.4)
    found = strake_gain(strake, car(), STAND, CLOSURE)
    assert 0 < found.downforce <= found.held * 1.02
    tight = strake_gain(replace(strake, gap=0.1), car(), STAND, CLOSURE)
    assert tight.flow < found.flow


def test_footprint_adds_up_to_the_load() -> None:
    plan = solve_plan(car(), STAND, CLOSURE)
    total = np.sum(footprint(plan) * np.gradient(plan.x))
    np.testing.assert_allclose(total, plan.downforce, rtol=0.05)


@pytest.fixture(scope="module")
def table() -> FloorTable:
    return floor_table(
        car(), CLOSURE, front=(0.03, 0.07), rear=(0.04, 0.09), wheelbase=2.6,
        lengths=("angle", "width"),
        moved=lambda name, step: (car(**{name: LENGTHS[name] + step}), CLOSURE),
        size=TableSize(front=3, rear=4, design=18, trials=6),
    )  # fmt: skip


def test_a_table_answers_like_the_engine_within_its_measured_error(table: FloorTable) -> None:
    assert 0 < table.error < 0.15
    own = closure_at(np.array([0.3, -0.2, 0.4, 0.1]), CLOSURE)
    plan = solve_plan(car(), STAND, own)
    found = evaluate(
        table, front=np.array([STAND.front]), rear=np.array([STAND.rear]),
        exit_pressure=np.array([own.exit_pressure]), discharge=np.array([own.discharge]),
        mixing=np.array([own.mixing]), head=np.array([own.head]),
    )  # fmt: skip
    # three times the 80 % half-range: about 99.99 % of a normal spread
    assert abs(np.log(found.downforce[0] / plan.downforce)) < 3 * table.error
    assert abs(found.centre[0] - plan.centre) < 0.15


def test_a_table_keeps_shapes_marks_its_edge_and_survives_a_store(table: FloorTable) -> None:
    again = FloorTable.of(table.tree())
    given = {
        "front": np.full((4, 1), 0.05), "rear": np.array([[0.02], [0.05], [0.08], [0.2]]),
        "exit_pressure": np.full(6, -0.3), "discharge": np.full(6, 0.5),
        "mixing": np.full(6, 0.5), "head": np.ones(6),
    }  # fmt: skip
    one, two = evaluate(table, **given), evaluate(again, **given)
    np.testing.assert_array_equal(one.downforce, two.downforce)
    assert one.downforce.shape == (4, 6)
    assert one.is_outside[:, 0].tolist() == [True, False, False, True]
    steeper = evaluate(table, **given, lengths={"angle": np.full(6, 0.02)})
    assert np.all(steeper.downforce != one.downforce)
