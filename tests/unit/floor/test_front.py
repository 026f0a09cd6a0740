"""The channels under a splitter: table, settling of flow and droop, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.floor.front_make import outputs_of, solve_strip, strip_table
from tuftwork.floor.front_spec import FOOTED, WALLED, FrontSpec, FrontStrip
from tuftwork.floor.front_table import (
    MOST_BEND,
    FrontLoads,
    FrontState,
    StripState,
    StripTable,
    evaluate,
)
from tuftwork.floor.line import FloorClosure
from tuftwork.floor.nose import FrontFloor, FrontFlow, edge_tolerance, solve_front

ONE = np.ones(1)
RAMPS = FrontStrip(name="ramps", width=0.8, end=-0.36, ramp=-0.74, rise=0.045, sides=FOOTED)
MIDDLE = FrontStrip(name="middle", width=0.9, end=-0.35, sides=WALLED)
SPEC = FrontSpec(
    lip=-0.98, projection=0.085, strips=(MIDDLE, RAMPS), bends=True, gap=(0.015, 0.09),
    reynolds=3.6e6,
)  # fmt: skip


@pytest.fixture(scope="module")
def tables() -> tuple[StripTable, ...]:
    return tuple(strip_table(SPEC, strip, gaps=6) for strip in SPEC.strips)


def _front(gap: float = 0.05, **changes: float) -> FrontState:
    given = {
        "gap": gap, "slope": 0.004, "head": 1.0, "upper": 0.08, "softness": 0.0,
        "projection": 0.085, "lip_radius": 0.016, "onset": 0.05, "tolerance": 0.5, "gain": 1.0,
    } | changes  # fmt: skip
    return FrontState(**{k: v * ONE for k, v in given.items()})


def _strip(width: float, **changes: float) -> StripState:
    given = {
        "width": width, "pressure": -0.1, "beside": 0.0, "outlet": 1e9, "share": 1.0, "leak": 0.0,
        "mixing": 0.8, "rise": 1.0,
    } | changes  # fmt: skip
    return StripState(**{k: v * ONE for k, v in given.items()})


def _settled(
    tables: tuple[StripTable, ...], front: FrontState, bend: float = -1.0, **ramps: float
) -> FrontLoads:
    strips = (_strip(0.9), _strip(0.8, **({"leak": 0.5} | ramps)))
    return evaluate(tables, (0.0, 0.045), front, strips, bend=bend)


def _under(found: FrontLoads) -> float:
    return float(sum(s.under[0] for s in found.strips))


class TestTable:
    @pytest.mark.parametrize("gap", [0.022, 0.041, 0.08])
    def test_it_gives_what_the_engine_gives(
        self, tables: tuple[StripTable, ...], gap: float
    ) -> None:
        found = _settled(tables, _front(gap), pressure=-0.3)
        point = np.array([0.004, 0.0, np.log(1.3), 1.0, np.sqrt(0.5), 0.8, found.loss[0], 1.0])
        true = solve_strip(SPEC, RAMPS, gap, point, n_node=120)
        strip = found.strips[1]
        room = 2 * tables[1].error
        assert float(strip.under[0]) == pytest.approx(true.downforce, rel=room)
        centre = true.moment / true.downforce - SPEC.lip
        assert float(strip.centre[0]) == pytest.approx(centre, abs=0.02)
        assert float(strip.flow[0]) == pytest.approx(true.flow[-1], rel=room)
        assert float(strip.head[0]) == pytest.approx(true.head[-1], abs=0.1)
        assert float(strip.drag[0]) == pytest.approx(true.drag, abs=0.05 * true.downforce)

    def test_its_error_is_measured_and_small(self, tables: tuple[StripTable, ...]) -> None:
        for table in tables:
            assert 0 < table.error < 0.12
            assert table.scale == pytest.approx(1.0, abs=0.05)

    def test_a_round_trip_through_a_store_changes_nothing(
        self, tables: tuple[StripTable, ...]
    ) -> None:
        again = StripTable.of(tables[1].tree())
        np.testing.assert_array_equal(again.terms, tables[1].terms)
        assert again.length == tables[1].length

    def test_grids_are_answered_like_single_states(self, tables: tuple[StripTable, ...]) -> None:
        gaps = np.linspace(0.03, 0.07, 5)[:, None] * np.ones((5, 3))
        whole = _settled(tables, replace(_front(), gap=gaps))
        one = _settled(tables, _front(float(gaps[2, 1])))
        assert whole.droop.shape == (5, 3)
        assert float(whole.strips[1].under[2, 1]) == pytest.approx(float(one.strips[1].under[0]))

    def test_beyond_its_clearances_it_says_so(self, tables: tuple[StripTable, ...]) -> None:
        assert bool(_settled(tables, _front(0.2)).is_outside[0])
        assert not bool(_settled(tables, _front(0.05)).is_outside[0])

    def test_beyond_its_rakes_it_says_so(self, tables: tuple[StripTable, ...]) -> None:
        held = 1.25 * float(tables[0].half[0])  # half widths that the design reaches
        for slope, is_outside in ((0.99 * held, False), (1.01 * held, True), (-1.01 * held, True)):
            assert bool(_settled(tables, _front(slope=slope)).is_outside[0]) is is_outside

    def test_outputs_are_those_of_the_channel(self) -> None:
        point = np.array([0.0, 0.0, np.log(1.2), 1.0, 0.0, 0.8, 0.0, 1.0])
        line = solve_strip(SPEC, MIDDLE, 0.05, point)
        out = outputs_of(SPEC, MIDDLE, line, 0.05, 1.0)
        length = MIDDLE.end - SPEC.lip
        load = MIDDLE.width * length * (np.exp(out[0]) - 1.0)
        assert load == pytest.approx(line.downforce, rel=1e-6)


class TestSharing:
    def test_the_pressure_it_hands_over_at_is_that_of_both_flows(
        self, tables: tuple[StripTable, ...]
    ) -> None:
        found = _settled(tables, _front(), pressure=-0.2, beside=0.035, outlet=0.2, share=0.7)
        flow = 0.7 * float(found.strips[1].flow[0])
        expected = -0.2 + (2 * 0.035 * flow + flow**2) / 0.2**2
        assert float(found.strips[1].pressure[0]) == pytest.approx(expected, abs=1e-4)

    def test_others_in_the_same_way_out_cost_load(self, tables: tuple[StripTable, ...]) -> None:
        alone = _settled(tables, _front(), pressure=-0.2, beside=0.0, outlet=0.2)
        shared = _settled(tables, _front(), pressure=-0.2, beside=0.05, outlet=0.2)
        assert _under(shared) < _under(alone)

    def test_a_narrow_way_out_stops_the_flow(self, tables: tuple[StripTable, ...]) -> None:
        wide = _settled(tables, _front(), outlet=0.5)
        narrow = _settled(tables, _front(), outlet=0.02)
        assert float(narrow.strips[1].flow[0]) < 0.6 * float(wide.strips[1].flow[0])


class TestSides:
    def test_footplates_that_close_the_sides_add_load(self, tables: tuple[StripTable, ...]) -> None:
        loads = [_under(_settled(tables, _front(), leak=leak)) for leak in (0.9, 0.5, 0.1)]
        assert loads[0] < loads[1] < loads[2]


class TestBending:
    def test_droop_carries_the_load_that_made_it(self, tables: tuple[StripTable, ...]) -> None:
        soft = 2200.0 / 120e3
        found = _settled(tables, _front(softness=soft))
        plate = 0.08 + sum(float(s.plate[0]) for s in found.strips)
        assert float(found.droop[0]) == pytest.approx(soft * plate, rel=1e-3)
        assert not bool(found.is_drawn[0])

    def test_a_rigid_plate_does_not_droop(self, tables: tuple[StripTable, ...]) -> None:
        assert float(_settled(tables, _front()).droop[0]) == 0.0

    def test_a_plate_too_soft_is_drawn_to_the_road_and_says_so(
        self, tables: tuple[StripTable, ...]
    ) -> None:
        found = _settled(tables, _front(0.04, softness=2200.0 / 8e3))
        assert bool(found.is_drawn[0])
        assert float(found.droop[0]) == pytest.approx(MOST_BEND * 0.04)

    def test_it_is_drawn_where_no_droop_carries_its_load(
        self, tables: tuple[StripTable, ...]
    ) -> None:
        # the softness at which the greatest droop still held is passed, from imposed bends alone
        bends = np.linspace(0.02, MOST_BEND, 40)
        held = []
        for bend in bends:
            found = _settled(tables, _front(0.05), bend=float(bend))
            plate = 0.08 + sum(float(s.plate[0]) for s in found.strips)
            held.append(bend * 0.05 / plate)
        limit = max(held)
        assert not bool(_settled(tables, _front(0.05, softness=0.95 * limit)).is_drawn[0])
        assert bool(_settled(tables, _front(0.05, softness=1.05 * limit)).is_drawn[0])

    def test_one_channel_bends_like_the_direct_solution(self) -> None:
        floor = FrontFloor(
            width=1.7, lip=-0.9, handover=-0.3, projection=0.1, lip_radius=0.01, stiffness=60e3
        )
        flow = FrontFlow(clearance=0.05, pitch=0.0, pressure=2200.0, handover_pressure=-0.3)
        load = solve_front(floor, flow, FloorClosure())
        assert load.droop == pytest.approx(load.plate * 2200.0 / 60e3, rel=1e-3)
        assert load.plate < load.downforce


class TestEdge:
    def test_a_sharp_lip_loses_half_and_a_round_one_little(
        self, tables: tuple[StripTable, ...]
    ) -> None:
        sharp = _settled(tables, _front(lip_radius=1e-6))
        round_ = _settled(tables, _front(lip_radius=0.03))
        assert float(sharp.loss[0]) == pytest.approx(0.5, abs=1e-3)
        assert float(round_.loss[0]) < 0.1
        assert _under(round_) > _under(sharp)

    def test_steep_air_separates_the_edge(self, tables: tuple[StripTable, ...]) -> None:
        held = _settled(tables, _front(onset=0.1, tolerance=0.2))
        gone = _settled(tables, _front(onset=0.3, tolerance=0.2))
        assert float(held.separated[0]) < 0.1 < 0.9 < float(gone.separated[0])
        assert float(gone.loss[0]) > float(held.loss[0])

    def test_lossy_air_lowers_what_an_edge_bears(self) -> None:
        clean, lossy = edge_tolerance(0.012, 0.5), edge_tolerance(0.012, 0.5, head=0.7)
        assert float(lossy / clean) == pytest.approx(np.sqrt(0.7))


def test_a_ramp_past_vertical_is_named() -> None:
    steep = replace(RAMPS, ramp=-0.37, rise=0.9)
    with pytest.raises(InputError, match="too steep"):
        solve_strip(SPEC, steep, 0.05, np.array([0, 0, 0.1, 1.0, 0.5, 0.8, 0.1, 1.0]))
