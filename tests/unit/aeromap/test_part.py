"""What the models of a project's parts promise."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from tests.unit.aeromap import halyard

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import CHANNELS, PartModel
from tuftwork.aeromap.part import (
    PART_MODELS,
    coefficients_of,
    draws_of,
    inputs_of,
    part_models,
    project_inputs,
)
from tuftwork.aeromap.part.cooling import exit_speed_ratio, stream_forces
from tuftwork.car import PART_KINDS, Project
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import draw_ensemble, exact

HERE = halyard.platform(47.0, 62.0, 190.0)


def _project(parts: list[dict[str, Any]], **more: Any) -> Project:
    whole = halyard.project().model_dump(include={"form"})
    base = halyard.project()
    return Project.model_validate(
        {
            **whole,
            "about": base.about,
            "car": base.car,
            "mass_states": base.mass_states,
            "weather": base.weather,
            "study": base.study,
            "parts": parts,
            **more,
        }
    )


def _wing(**changes: Any) -> dict[str, Any]:
    return {
        "name": "rear wing", "kind": "wing", "span": "1.7 m", "chord": "300 mm",
        "incidence": "8 °", "station": "2.96 m", "height": "1.18 m",
    } | changes  # fmt: skip


def _at(draws: Mapping[str, np.ndarray], name: str, factor: float) -> dict[str, np.ndarray]:
    moved = dict(draws)
    moved[name] = moved[name] * factor + (0.01 if np.all(moved[name] == 0) else 0.0)
    return moved


def _best(models: tuple[PartModel, ...]) -> dict[str, np.ndarray]:
    return {name: np.array([q.best]) for name, q in inputs_of(models).items()}


def test_every_kind_of_part_has_a_model() -> None:
    assert set(PART_MODELS) == set(PART_KINDS)


def test_models_satisfy_the_interface() -> None:
    for model in part_models(halyard.project()):
        found: PartModel = model
        draws = draws_of([model], halyard.prior())
        load = found.load(HERE, draws, {})
        assert set(load.effects) <= set(CHANNELS)
        assert load.downforce_front.shape == load.drag.shape
        assert all(source.key for source in found.sources)


@pytest.mark.parametrize("name", sorted(inputs_of(part_models(halyard.project()))))
def test_every_input_moves_the_car(name: str) -> None:
    models = part_models(halyard.project())
    # air that leaves level pushes nothing, wherever it leaves
    draws = _best(models) | {"front coolers.exit_angle": np.array([0.2])}
    moved_somewhere = False
    # low down, past the stall, and with the air as the demo has it
    for place, more in ((halyard.platform(47, 58, 190), 1.0), (halyard.platform(20, 30, 190), 2.6)):
        here = _at(draws, "rear wing.incidence", more)
        before = car_loads(models, place, here)
        after = car_loads(models, place, _at(here, name, 1.05))
        for field in ("downforce_front", "downforce_rear", "drag"):
            change = np.abs(getattr(before, field) - getattr(after, field))
            moved_somewhere |= bool(np.max(change) > 1e-9)
    assert moved_somewhere


@pytest.mark.parametrize("channel", sorted(CHANNELS))
def test_every_channel_is_heard_by_some_part(channel: str) -> None:
    models = part_models(halyard.project())
    draws = _best(models)
    heard = 0
    for model in models:
        still = model.load(HERE, draws, {})
        told = model.load(HERE, draws, {channel: np.array([-0.05])})
        heard += bool(np.max(np.abs(still.downforce_rear - told.downforce_rear)) > 1e-9)
    assert heard == 1


def test_wing_load_stands_behind_the_axle_and_lifts_the_front() -> None:
    models = part_models(_project([_wing()]))
    load = models[0].load(HERE, _best(models), {})
    total = load.downforce_front + load.downforce_rear
    arm = 2.96 / 2.62
    # the drag's moment about the ground adds to the rear what it takes from the front
    assert float(load.downforce_rear[0]) > arm * float(total[0])
    lever = load.downforce_rear - arm * total
    np.testing.assert_allclose(lever, load.drag * 1.18 / 2.62, rtol=0.02)


def test_a_state_changes_only_what_it_sets() -> None:
    base = part_models(halyard.project())
    more = part_models(halyard.project(), "more wing")
    before, after = inputs_of(base), inputs_of(more)
    assert {n for n in before if before[n] != after[n]} == {"rear wing.incidence"}


def test_two_states_differ_draw_by_draw_only_in_what_was_changed() -> None:
    base = draws_of(part_models(halyard.project()), halyard.prior())
    more = draws_of(part_models(halyard.project(), "more wing"), halyard.prior())
    step = more["rear wing.incidence"] - base["rear wing.incidence"]
    np.testing.assert_allclose(step, np.radians(4.0), atol=1e-9)
    np.testing.assert_array_equal(base["floor.width"], more["floor.width"])


def test_draws_are_the_ensemble_s_own() -> None:
    draws = draws_of(part_models(halyard.project()), halyard.prior())
    for name in ("floor.width", "floor.model.peak_height", "car.wheelbase"):
        np.testing.assert_allclose(draws[name], halyard.prior().of(name), rtol=1e-12)


def test_an_input_given_a_range_by_another_state_gets_draws() -> None:
    parts = [_wing(incidence="8 °")]
    states = [{"name": "base"}, {"name": "more", "set": {"rear wing.incidence": "12 ° ± 0.5 °"}}]
    inputs = project_inputs(_project(parts, states=states))
    assert not inputs["rear wing.incidence"].is_exact


def test_parts_come_in_the_order_in_which_they_act() -> None:
    names = [m.name for m in part_models(halyard.project())]
    assert names.index("body") < names.index("rear wing") < names.index("floor")
    assert names.index("splitter") < names.index("floor")


def test_a_front_wing_speaks_to_the_rear_wing() -> None:
    front = _wing(name="front wing", station="-0.9 m", height="90 mm", chord="250 mm")
    models = part_models(_project([_wing(), front]))
    assert [m.name for m in models] == ["front wing", "rear wing"]
    draws = _best(models)
    effects = models[0].load(HERE, draws, {}).effects
    assert float(effects["rear_wing_pressure"][0]) < 0
    alone = models[1].load(HERE, draws, {})
    behind = models[1].load(HERE, draws, effects)
    assert float(behind.downforce_rear[0]) != float(alone.downforce_rear[0])


def test_a_front_wing_gains_as_it_comes_down() -> None:
    front = _wing(name="front wing", station="-0.9 m", height="90 mm", chord="250 mm")
    models = part_models(_project([front]))
    draws = _best(models)
    low, high = (models[0].load(halyard.platform(h, 71, 190), draws, {}) for h in (48.0, 58.0))
    assert float((low.downforce_front + low.downforce_rear)[0]) > float(
        (high.downforce_front + high.downforce_rear)[0]
    )


def test_own_coefficients_replace_the_engine_s() -> None:
    models = part_models(_project([_wing(model={"planform": "0.90 ± 0.01"})]))
    assert models[0].inputs["rear wing.model.planform"].best == pytest.approx(0.90)
    assert "project" in models[0].inputs["rear wing.model.planform"].place


def test_an_unknown_coefficient_lists_the_known_ones() -> None:
    with pytest.raises(UnknownName, match="planform"):
        part_models(_project([_wing(model={"planfrom": "0.9"})]))


def test_an_unreadable_coefficient_is_refused_with_its_path() -> None:
    with pytest.raises(InputError, match=r"rear wing\.model\.planform"):
        part_models(_project([_wing(model={"planform": "much"})]))


@pytest.mark.parametrize("name", ["gurney", "end_plate", "element_gain", "wake"])
def test_a_coefficient_that_changes_nothing_is_refused(name: str) -> None:
    # one element, no gurney, no end plates, at the rear
    value = coefficients_of("wing", "estimate")[name].quantity.best
    with pytest.raises(InputError, match="changes nothing"):
        part_models(_project([_wing(model={name: f"{value}"})]))


def test_what_nobody_hears_is_no_input() -> None:
    alone = inputs_of(part_models(_project([_wing()])))
    assert "rear wing.model.lower_pressure" not in alone
    whole = inputs_of(part_models(halyard.project()))
    assert "rear wing.model.lower_pressure" in whole
    parts = [p for p in halyard.project().parts if p.kind not in ("wing", "floor")]
    deaf = part_models(halyard.project().model_copy(update={"parts": tuple(parts), "states": ()}))
    for name in ("splitter.model.wake", "air through the car.model.mixing", "body.model.roof_wake"):
        assert name in whole
        assert name not in inputs_of(deaf)
    assert np.isfinite(car_loads(deaf, HERE, _best(deaf)).drag).all()


def test_a_lump_with_load_needs_its_axle() -> None:
    lump = {"name": "box", "kind": "lump", "downforce": "0.2", "drag": "0.1"}
    with pytest.raises(InputError, match="front_share"):
        part_models(_project([lump]))
    assert part_models(_project([lump | {"downforce": "0"}]))


def test_a_lump_takes_no_engine_coefficients() -> None:
    lump = {"name": "box", "kind": "lump", "downforce": "0", "drag": "0.1"}
    with pytest.raises(InputError, match="no engine coefficients"):
        part_models(_project([lump | {"model": {"roof_wake": "-0.1"}}]))


def test_a_project_without_parts_is_refused() -> None:
    with pytest.raises(InputError, match="at least one part"):
        part_models(_project([]))


def test_every_coefficient_names_a_source_and_has_a_range() -> None:
    tables = (
        ("wing", "estimate"), ("floor", "estimate"), ("floor", "splitter"),
        ("aeromap.part", "body"), ("aeromap.part", "cooling"), ("wing", "engine"),
        ("aeromap.part", "front_section"), ("aeromap.part", "beam_wing"),
        ("aeromap.part", "dive_plane"),
    )  # fmt: skip
    for room, table in tables:
        for name, found in coefficients_of(room, table).items():
            assert found.source, name
            assert not found.quantity.is_exact, name
            assert len(found.meaning) > 10, name


def test_a_stream_that_leaves_as_fast_as_it_came_costs_nothing() -> None:
    drag, downforce = stream_forces(0.03, 1.0, 0.0)
    assert float(drag) == pytest.approx(0.0, abs=1e-15)
    assert float(downforce) == pytest.approx(0.0, abs=1e-15)


def test_a_stream_that_is_stopped_costs_its_momentum() -> None:
    # ram drag: m V over q is 2 A_c r
    drag, _ = stream_forces(0.03, 0.0, 0.0)
    assert float(drag) == pytest.approx(0.06)


def test_a_stream_turned_upward_pushes_down() -> None:
    drag, downforce = stream_forces(0.03, 0.6, np.pi / 2)
    assert float(drag) == pytest.approx(0.06)
    assert float(downforce) == pytest.approx(0.036)


def test_continuity_gives_the_exit_speed() -> None:
    assert float(exit_speed_ratio(0.3, 0.06, 0.1, 1.1)) == pytest.approx(0.55)


def test_an_exit_far_too_small_is_refused() -> None:
    part = {
        "name": "cooler", "kind": "cooling", "core_area": "0.3 m^2", "exit_area": "0.01 m^2",
        "core_speed": "0.2", "exit_station": "0.3 m", "exit_angle": "0 °", "height": "0.3 m",
    }  # fmt: skip
    with pytest.raises(InputError, match="exit_area"):
        part_models(_project([part]))


def test_a_floor_that_would_reach_into_the_road_rests_on_it() -> None:
    """A map's corner, nose high and tail low, puts a kick line behind the axle below ground."""
    floor = {
        "name": "floor", "kind": "floor", "width": "1.4 m", "front_station": "-0.3 m",
        "kick_station": "2.75 m", "exit_station": "3.4 m", "diffuser_angle": "9 °",
    }  # fmt: skip
    models = part_models(_project([floor]))
    corner = halyard.platform(110.0, 3.0, 190.0)  # 2.3 mm under the road at 2.75 m
    load = models[0].load(corner, _best(models), {})
    assert np.isfinite(load.downforce_front + load.downforce_rear).all()


def test_exact_inputs_need_no_column() -> None:
    models = part_models(_project([_wing()]))
    inputs = {
        name: exact(q.best, q.dimension, unit=q.unit) for name, q in inputs_of(models).items()
    }
    ensemble = draw_ensemble(inputs, size=8)
    frozen = tuple(replace(m, inputs=inputs) for m in models)  # type: ignore[type-var]
    assert all(np.ptp(d) == 0 for d in draws_of(frozen, ensemble).values())
