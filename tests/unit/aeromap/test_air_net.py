"""The solved air net as a part of the budget: what cooling adds, and its quick stand-in."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.aeromap.interface import CHANNELS, PlatformState
from tuftwork.aeromap.part import NetCooling, inputs_of, part_models, quickened
from tuftwork.aeromap.part.response import response_of
from tuftwork.car import Project
from tuftwork.cooling import Surroundings, cooling_cost, solve_cooling, stream_drag
from tuftwork.cooling.case import CoolingCase, air_pressure, cooling_quantities
from tuftwork.errors import InputError
from tuftwork.quantity import draw_ensemble
from tuftwork.study import Bench


@pytest.fixture(scope="module")
def project(halyard: Bench) -> Project:
    return halyard.answers.project


@pytest.fixture(scope="module")
def net(project: Project) -> NetCooling:
    (found,) = (m for m in part_models(project) if isinstance(m, NetCooling))
    return found


def _air(speed: float | np.ndarray) -> PlatformState:
    one = np.ones(1)
    return PlatformState(
        ride_height_front=0.05 * one, ride_height_rear=0.06 * one,
        speed=np.asarray(speed, dtype=float).reshape(-1, 1) if np.ndim(speed) else speed * one,
        density=1.18 * one, viscosity=1.8e-5 * one,
    )  # fmt: skip


def _draws(net: NetCooling, size: int = 64, seed: int = 3) -> dict[str, np.ndarray]:
    ensemble = draw_ensemble(net.inputs, size=size, seed=seed)
    return {name: ensemble.of(name) for name in net.inputs}


def test_its_drag_is_the_sum_of_the_streams_in_either_form(
    project: Project, net: NetCooling
) -> None:
    draws = _draws(net)
    exact = cooling_quantities(project)
    pressure = air_pressure(project)
    around = Surroundings(speed=np.full(64, 55.0), temperature=298.15, pressure=pressure)
    case = CoolingCase.of_project(
        project, lambda name: draws[name] if name in draws else exact[name].best, around
    )
    air = solve_cooling(case.system, around).air
    cost = cooling_cost(case.system.air, air, case.wheelbase, wells=case.wells)
    streams = [
        stream_drag(case.system.air, air, name.removeprefix("stream, "))
        for name in cost.parts if name.startswith("stream")
    ]  # fmt: skip
    for stream in streams:
        np.testing.assert_allclose(stream.loss_drag, stream.momentum_drag, rtol=1e-7, atol=1e-6)
        assert np.all(stream.momentum_drag <= stream.ram_drag + 1e-9)
    place = replace(_air(55.0), density=np.array([pressure / (287.053 * 298.15)]))
    np.testing.assert_allclose(net.load(place, draws, {}).drag, cost.CxS, rtol=1e-6)


def test_air_that_leaves_brings_out_what_came_in(halyard: Bench, project: Project) -> None:
    air = halyard.answers.results["cooling"]["air"]
    flow = dict(zip(air["names"], np.asarray(air["flow"]), strict=True))
    came = flow["nose"] + flow["corner inlets"]
    left = flow["wheel openings"] + flow["corner outlets"] + flow["wells, below"]
    np.testing.assert_allclose(left, came, rtol=1e-7)


def test_every_uncertain_input_moves_it(net: NetCooling) -> None:
    best = {name: np.array([q.best]) for name, q in net.inputs.items()}
    here = net.load(_air(55.0), best, {})
    for name in net.inputs:
        moved = dict(best)
        moved[name] = moved[name] * 1.05 + (0.01 if moved[name][0] == 0 else 0.0)
        there = net.load(_air(55.0), moved, {})
        changes = [
            there.downforce_front - here.downforce_front, there.drag - here.drag,
            *(there.effects[c] - here.effects[c] for c in CHANNELS if c in here.effects),
        ]  # fmt: skip
        assert max(float(np.abs(c).max()) for c in changes) > 1e-9, name


def test_many_speeds_in_one_call_are_the_speeds_one_by_one(net: NetCooling) -> None:
    draws = _draws(net, size=8)
    together = net.load(_air(np.array([40.0, 60.0])), draws, {})
    for row, speed in enumerate((40.0, 60.0)):
        alone = net.load(_air(speed), draws, {})
        np.testing.assert_allclose(together.drag[row], alone.drag, rtol=1e-9)
        np.testing.assert_allclose(together.downforce_front[row], alone.downforce_front, rtol=1e-9)


def test_the_quick_stand_in_misses_less_than_a_point(net: NetCooling) -> None:
    (quick,) = quickened((net,), 1.18)
    assert len(inputs_of([quick])) < len(net.inputs)
    draws = _draws(net, size=256, seed=11)
    exact, near = (m.load(_air(55.0), draws, {}) for m in (net, quick))
    for name in ("downforce_front", "downforce_rear", "drag"):
        miss = getattr(near, name) - getattr(exact, name)
        assert float(np.sqrt(np.mean(miss**2))) < 0.01, name  # a point: half of what a tie allows
        assert abs(float(np.mean(miss))) < 0.003, name


def test_a_response_surface_is_exact_for_a_second_order_law() -> None:
    rng = np.random.default_rng(4)
    a, b, idle = rng.normal(2.0, 0.3, 200), rng.normal(-1.0, 0.2, 200), rng.normal(0, 1e-6, 200)
    law = a**2 - 3 * a * b + 2 * b
    found = response_of(
        {"a": a, "b": b, "idle": idle}, np.array([20.0, 60.0]), np.stack([law[None], 2 * law[None]])
    )
    assert found.names == ("a", "b")
    got = found.at(np.stack([a, b]), np.array([40.0]))
    np.testing.assert_allclose(got[0], 1.5 * law, rtol=1e-9)


def test_a_net_needs_its_tables(project: Project) -> None:
    bare = project.model_copy(update={"cooling": None})
    with pytest.raises(InputError, match=r"\[cooling\]"):
        part_models(bare)


def test_the_budget_holds_the_net(halyard: Bench) -> None:
    rows = {r["name"]: r for r in halyard.page("budget", speed="220")["rows"]}
    drag = rows["air through the car"]["drag"]
    shown = {r["kind"]: r for r in halyard.page("cooling")["loads"]}
    assert drag["best"] == pytest.approx(shown["total"]["drag"]["best"], rel=0.15)
    # usual share of cooling in the drag of a car, 5 to 10 % (memory of Hucho), CxS near 0.9 m²
    assert 0.02 < drag["best"] < 0.11


def test_air_taken_in_is_what_its_inlets_pass(project: Project, net: NetCooling) -> None:
    draws = _draws(net, 32)
    load = net.load(_air(55.0), draws, {})
    exact = cooling_quantities(project)
    around = Surroundings(
        speed=np.full(32, 55.0), temperature=air_pressure(project) / (287.05 * 1.18),
        pressure=air_pressure(project),
    )  # fmt: skip
    case = CoolingCase.of_project(
        project, lambda name: draws[name] if name in draws else exact[name].best, around
    )
    air = solve_cooling(case.system, around).air
    # what comes in goes out: the sum over all that ends outside, a leak that runs inward against it
    assert load.mass_flow is not None
    outside = {case.system.air.part(n).start for n in ("nose", "corner inlets")}
    ways = [n for n in air.names if case.system.air.part(n).end in outside]
    out = np.sum([air.of(n) for n in ways], axis=0)
    np.testing.assert_allclose(load.mass_flow, out, rtol=1e-3)
