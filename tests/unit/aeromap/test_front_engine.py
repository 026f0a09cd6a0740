"""A splitter with its channels solved, as a part of the car and among its neighbours."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from tests.unit.aeromap import halyard

from tuftwork.aeromap.budget import Budget, budget, car_loads
from tuftwork.aeromap.interface import PartModel, PlatformState
from tuftwork.aeromap.part import (
    ChannelSplitter,
    draws_of,
    fronted,
    inputs_of,
    part_models,
    project_inputs,
    quickened,
)
from tuftwork.aeromap.part.front_channel import angle_at, way_of
from tuftwork.aeromap.part.front_neighbour import floor_pull
from tuftwork.aeromap.part.net_way import node_pressure
from tuftwork.car import Floor, Project
from tuftwork.cooling import Surroundings, solve_cooling
from tuftwork.cooling.case import CoolingCase, cooling_quantities
from tuftwork.errors import NotCovered, UnknownName
from tuftwork.floor.front_make import strip_table
from tuftwork.floor.front_spec import FrontSpec
from tuftwork.floor.front_table import StripTable
from tuftwork.floor.theory import leaking_channel_speed
from tuftwork.quantity import draw_ensemble

HERE = halyard.platform(46.0, 58.0, 200.0)
RAMPS = {
    "inner": "0.44 m", "outer": "0.84 m", "start": "-0.74 m", "end": "-0.36 m",
    "rise": "45 mm ± 3 mm",
}  # fmt: skip
SHARED = RAMPS | {"into": "front wells"}
VENT = {"area": "0.10 m^2 ± 10 %", "leaves_by": "bonnet", "station": "0.1 m"}
DIVE = {
    "name": "dive planes", "kind": "dive plane", "reach": "120 mm", "chord": "250 mm",
    "incidence": "18 °", "station": "-0.7 m", "height": "0.35 m", "sweep": "30 °",
}  # fmt: skip


def _tree() -> dict[str, Any]:
    text = files("tuftwork.demo").joinpath("halyard.toml").read_text(encoding="utf-8")
    tree = tomllib.loads(text)
    for part in tree["parts"]:
        for key in ("channel", "footplate_depth", "stiffness"):
            part.pop(key, None)
    return tree


def _project(
    channel: Mapping[str, Any] | None, more: tuple[Any, ...] = (),
    floor: Mapping[str, Any] | None = None, **keys: Any,
) -> Project:  # fmt: skip
    tree = _tree()
    for part in tree["parts"]:
        if part["kind"] == "splitter":
            part |= ({"channel": channel} if channel else {}) | keys
        if part["kind"] == "floor":
            part |= floor or {}
    return Project.model_validate(tree | {"parts": [*tree["parts"], *more]})


@cache
def _table(spec: FrontSpec, number: int) -> StripTable:
    return strip_table(spec, spec.strips[number], gaps=4)


def _models(project: Project, state: str = "") -> tuple[PartModel, ...]:
    models = part_models(project, state)
    made = {
        m.spec.key: [_table(m.spec, k) for k in range(len(m.spec.strips))]
        for m in models
        if isinstance(m, ChannelSplitter)
    }
    return fronted(models, made)


def _splitter(models: tuple[PartModel, ...]) -> ChannelSplitter:
    return next(m for m in models if isinstance(m, ChannelSplitter))


def _best(models: tuple[PartModel, ...]) -> dict[str, np.ndarray]:
    return {name: np.array([q.best]) for name, q in inputs_of(models).items()}


def _load(project: Project, around: Mapping[str, Any] | None = None,
          place: PlatformState = HERE) -> Any:  # fmt: skip
    models = _models(project)
    told = {k: np.array([v]) for k, v in (around or {}).items()}
    return _splitter(models).load(place, _best(models), told)


def _down(load: Any) -> float:
    return float(load.downforce_front[0] + load.downforce_rear[0])


@cache
def _shared() -> Project:
    return _project({"handover": "-0.35 m", "ramps": SHARED}, footplate_depth="15 mm ± 2 mm",
                    stiffness="150 N/mm ± 20 %")  # fmt: skip


@cache
def _whole() -> Budget:
    models = _models(_shared())
    ensemble = draw_ensemble(project_inputs(_shared()), size=64)
    return budget(models, HERE, ensemble)


class TestPart:
    def test_without_its_tables_it_refuses(self) -> None:
        models = part_models(_project({"handover": "-0.35 m"}))
        with pytest.raises(NotCovered, match="Run the study"):
            _splitter(models).load(HERE, _best(models), {})

    def test_without_a_channel_the_closed_form_answers(self) -> None:
        assert not any(isinstance(m, ChannelSplitter) for m in part_models(halyard.project()))

    def test_ramps_into_the_arches_carry_most_of_its_load(self) -> None:
        plain = _load(_project({"handover": "-0.35 m"}))
        ramped = _load(_project({"handover": "-0.35 m", "ramps": RAMPS}))
        assert _down(ramped) > 1.8 * _down(plain)

    def test_lossy_air_costs_load(self) -> None:
        clean = _project({"handover": "-0.35 m", "ramps": RAMPS})
        lossy = _project({"handover": "-0.35 m", "ramps": RAMPS}, head="0.85")
        assert _down(_load(lossy)) < 0.95 * _down(_load(clean))

    def test_footplates_add_load(self) -> None:
        bare = _project({"handover": "-0.35 m", "ramps": RAMPS})
        footed = _project({"handover": "-0.35 m", "ramps": RAMPS}, footplate_depth="25 mm")
        assert _down(_load(footed)) > 1.02 * _down(_load(bare))

    def test_a_grid_of_draws_and_cells_is_one_call(self) -> None:
        models = _models(_shared())
        ensemble = draw_ensemble(project_inputs(_shared()), size=8)
        draws = draws_of(models, ensemble)
        heights = np.linspace(40.0, 60.0, 6)[:, None]
        whole = car_loads(models, halyard.platform(heights, 60.0, 200.0), draws)
        one = car_loads(models, halyard.platform(heights[2], 60.0, 200.0), draws)
        assert whole.downforce.shape == (6, 8)
        np.testing.assert_allclose(whole.downforce_front[2], one.downforce_front, rtol=1e-6)

    def test_a_soft_plate_is_drawn_to_the_road_and_says_so(self) -> None:
        soft = _project({"handover": "-0.35 m", "ramps": RAMPS}, footplate_depth="15 mm ± 2 mm",
                        stiffness="9 N/mm")  # fmt: skip
        assert any("drawn to the road" in text for text in _load(soft).notices)

    def test_every_input_of_it_moves_the_car(self) -> None:
        models = _models(_shared())
        draws = _best(models)
        idle = []
        for name in _splitter(models).inputs:
            moved = draws | {name: draws[name] * 1.05 + (0.01 if draws[name] == 0 else 0.0)}
            changes = []
            for place in (HERE, halyard.platform(40.0, 40.0, 60.0)):
                before, after = car_loads(models, place, draws), car_loads(models, place, moved)
                changes += [
                    float(np.max(np.abs(getattr(before, f) - getattr(after, f))))
                    for f in ("downforce_front", "downforce_rear", "drag")
                ]
            if max(changes) < 1e-9:
                idle.append(name)
        assert idle == []


class TestVent:
    def test_a_vent_into_suction_adds_load_to_the_middle(self) -> None:
        plain = _load(_project({"handover": "-0.35 m"}))
        wide = {"area": "0.30 m^2", "leaves_by": "bonnet"}
        vented = _load(_project({"handover": "-0.35 m", "vent": wide}))
        assert _down(vented) > 1.2 * _down(plain)

    def test_a_vent_smaller_than_the_gap_throttles_the_channel_instead(self) -> None:
        plain = _load(_project({"handover": "-0.35 m"}))
        small = {"area": "0.06 m^2", "leaves_by": "bonnet"}
        assert _down(_load(_project({"handover": "-0.35 m", "vent": small}))) < _down(plain)

    def test_shut_it_stops_the_air(self) -> None:
        open_ = _load(_project({"handover": "-0.35 m", "vent": VENT}))
        shut = _load(_project({"handover": "-0.35 m", "vent": VENT}, vent_open="1 %"))
        assert _down(shut) < _down(open_)

    def test_a_cooler_in_its_way_costs_load(self) -> None:
        cooled = VENT | {"cooler_area": "0.15 m^2", "cooler_loss": "8 ± 2"}
        free = _load(_project({"handover": "-0.35 m", "vent": VENT}))
        held = _load(_project({"handover": "-0.35 m", "vent": cooled}))
        assert _down(held) < _down(free)

    def test_its_jet_stands_in_the_budget_as_a_neighbours_share(self) -> None:
        load = _load(_project({"handover": "-0.35 m", "vent": VENT}))
        assert list(load.within) == ["splitter → body"]

    @pytest.mark.parametrize("area", [
        pytest.param("0.10 m^2", marks=pytest.mark.xfail(
            strict=True, reason="choked: the table's edge is held, load the same to the last digit"
        )),
        "0.20 m^2",
    ])  # fmt: skip
    def test_beside_a_cooler_it_meets_that_streams_flow_too(self, area: str) -> None:
        project = _project({"handover": "-0.35 m", "vent": {"area": area, "into": "front wells"}})
        pressure, flow, outlet = way_of("front wells")
        alone = _load(project, {pressure: -0.2, flow: 0.0, outlet: 0.15})
        beside = _load(project, {pressure: -0.2, flow: 0.05, outlet: 0.15})
        assert _down(beside) < _down(alone)


class TestNeighbours:
    def test_parts_and_what_they_do_to_each_other_add_up(self) -> None:
        found = _whole()
        both = found.isolated.total + found.together.total
        np.testing.assert_allclose(both, found.total.total, atol=1e-9)

    @pytest.mark.parametrize(
        "name",
        ["air through the car → splitter", "splitter → floor",
         "splitter → rear wing"],
    )  # fmt: skip
    def test_every_interaction_is_a_row_with_a_range(self, name: str) -> None:
        row = next(r for r in _whole().of_kind("interaction") if r.name == name)
        whole = row.summaries["total"]
        assert whole.low < whole.high

    def test_a_sealed_floor_pulls_at_the_plate_ahead_of_it(self) -> None:
        models = _models(_project({"handover": "-0.35 m"}, floor={"edge_gap": "12 mm"}))
        draws = draw_ensemble(inputs_of(models), size=32)
        row = next(r for r in budget(models, HERE, draws).rows if r.name == "floor → splitter")
        assert row.summaries["total"].low > 0

    def test_arches_pull_where_no_air_net_says_more(self) -> None:
        models = _models(_project({"handover": "-0.35 m", "ramps": RAMPS}))
        draws = draw_ensemble(inputs_of(models), size=32)
        row = next(r for r in budget(models, HERE, draws).rows if r.name == "wheels → splitter")
        assert row.summaries["total"].best > 0.01

    def test_the_pull_of_the_floor_is_that_of_a_leaking_channel(self) -> None:
        project = halyard.project()
        floor = next(p for p in project.parts if isinstance(p, Floor))
        reference = _splitter(_models(_project({"handover": "-0.35 m"}))).reference
        inputs, law = floor_pull(floor, reference)
        level = halyard.platform(50.0, 50.0, 200.0)
        draws = {k: np.array([q.best]) for k, q in inputs.items()}
        speed = float(np.sqrt(1 - law(level, draws)[0]))
        width, length = floor.width.best, floor.kick_station.best - floor.front_station.best
        back = float(leaking_channel_speed(length, max(speed, 1.0), 0.05, 0.05, width, 0.52))
        # carried back to the kick line it is the speed there, wherever that is above the road's
        assert speed >= 1.0
        assert back >= speed

    def test_plates_on_the_corner_meet_air_that_it_turns_up(self) -> None:
        project = _project({"handover": "-0.35 m", "ramps": RAMPS}, more=(DIVE,))
        load = _load(project)
        assert float(load.effects[angle_at("dive planes")][0]) < 0

    def test_a_rolled_floor_edge_costs_head_where_the_air_rises_too_steeply(self) -> None:
        channel = {"handover": "-0.35 m", "ramps": RAMPS}
        smooth = float(_load(_project(channel)).effects["floor_head"][0])
        edged = float(
            _load(_project(channel, floor={"edge_radius": "0.1 mm"})).effects["floor_head"][0]
        )
        assert edged < smooth

    def test_letting_the_draws_be_narrowed_hears_the_same_ways_out(self) -> None:
        models = _models(_shared())
        draws = _best(models)
        quick = quickened(models, halyard.DENSITY)
        slow_load, quick_load = (
            next(m for m in ms if m.kind == "air net").load(HERE, draws, {})
            for ms in (models, quick)
        )
        for channel in (*way_of("front wells"), "nose_flow"):
            assert float(quick_load.effects[channel][0]) == pytest.approx(
                float(slow_load.effects[channel][0]), rel=0.03, abs=1e-3
            )


class TestWaysOut:
    def test_the_pressure_of_a_node_lets_out_what_comes_in(self) -> None:
        areas, outside = [np.array([0.15]), np.array([0.06])], [np.array([-0.2]), np.array([0.1])]
        pressure, total = node_pressure(np.array([0.03]), areas, outside)
        out = sum(
            a * np.sign(pressure - p) * np.sqrt(np.abs(pressure - p))
            for a, p in zip(areas, outside, strict=True)
        )
        assert float(out[0]) == pytest.approx(0.03, abs=1e-9)
        assert float(total[0]) == pytest.approx(0.21)

    def test_it_is_that_of_the_solved_net(self) -> None:
        models = _models(_shared())
        net = next(m for m in models if m.kind == "air net")
        told = float(net.load(HERE, _best(models), {}).effects[way_of("front wells")[0]][0])
        project = _shared()
        exact = cooling_quantities(project)
        around = Surroundings(speed=np.array([200 / 3.6]), temperature=293.0, pressure=101325.0)
        case = CoolingCase.of_project(project, lambda n: np.array([exact[n].best]), around)
        air = solve_cooling(case.system, case.around).air
        assert told == pytest.approx(
            float(air.at("front wells")[0] / np.asarray(around.head)[0]), abs=0.01
        )


class TestInput:
    def test_all_faults_of_the_table_are_told_at_once(self) -> None:
        bad = {
            "handover": "-0.95 m",
            "ramps": RAMPS | {"outer": "0.95 m", "end": "-0.9 m", "start": "-1.1 m"},
        }  # fmt: skip
        with pytest.raises(ValidationError) as refused:
            _project(bad, vent_open="50 %")
        text = str(refused.value)
        for part in ("'handover' must lie behind", "vent_open", "beyond the plate's ends",
                     "must end behind", "begin ahead of the lip"):  # fmt: skip
            assert part in text

    def test_a_key_without_a_channel_is_refused(self) -> None:
        with pytest.raises(ValidationError, match="changes nothing without"):
            _project(None, footplate_depth="10 mm")

    def test_a_node_that_is_not_in_the_air_net_is_named(self) -> None:
        with pytest.raises(ValidationError, match="no node of the air net"):
            _project({"handover": "-0.35 m", "ramps": RAMPS | {"into": "front well"}})

    def test_a_coefficient_nobody_has_is_named(self) -> None:
        with pytest.raises(UnknownName, match="suction"):
            part_models(_project({"handover": "-0.35 m"}, model={"suction": "0.4"}))


class TestEdgeBehindAWing:
    BOX: Mapping[str, Any] = {
        "name": "nose section", "kind": "front section", "span": "1.5 m", "chord": "350 mm",
        "incidence": "6 ° ± 0.5 °", "station": "-0.7 m", "height": "160 mm", "elements": 2,
        "exit_pressure": "-0.3 ± 0.1",
    }  # fmt: skip

    def test_a_section_ahead_of_a_rolled_edge_costs_the_floor_head(self) -> None:
        heads = []
        for floor in ({}, {"edge_radius": "0.2 mm"}):
            models = part_models(_project(None, more=(self.BOX,), floor=floor))
            section = next(m for m in models if m.name == "nose section")
            load = section.load(HERE, _best(models), {})
            heads.append(float(load.effects["floor_head"][0]))
        assert heads[1] < heads[0] - 1e-4

    def test_without_a_rolled_edge_nothing_is_asked_for_it(self) -> None:
        models = part_models(_project(None, more=(self.BOX,)))
        assert not any("edge_upwash" in name for name in inputs_of(models))

    def test_it_stands_in_the_budget_with_a_range(self) -> None:
        models = part_models(
            _project(None, more=(self.BOX,), floor={"edge_radius": "0.5 mm ± 0.2 mm"})
        )
        ensemble = draw_ensemble(inputs_of(models), size=32)
        row = next(
            r for r in budget(models, HERE, ensemble).rows if r.name == "nose section → floor"
        )
        assert row.summaries["total"].low < row.summaries["total"].high <= 0
