"""Boxes of finer cells: what is kept, what is counted where, what is refused."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.flow.case import Box, FlowCase, FlowPart
from tuftwork.flow.judge import forecast
from tuftwork.flow.look import plane
from tuftwork.flow.nest import Nest
from tuftwork.flow.nest_engine import NestedEngine
from tuftwork.flow.nest_text import TARGET, cpu_source
from tuftwork.flow.output import surface_values
from tuftwork.flow.part_load import bands
from tuftwork.flow.prepare import prepare
from tuftwork.flow.run import run
from tuftwork.flow.setup import Setup, plain_box
from tuftwork.flow.stop import StopRule
from tuftwork.flow.zones import Zone, zones_round
from tuftwork.shape.loft import block

STREAM = (0.08, 0.03, -0.02)


def box(shape: tuple[int, int, int], level: int) -> Setup:
    return Setup(shape=shape, viscosity=1e-3 * 2**level, mark=plain_box(shape), stream=STREAM)


def three_levels() -> list[Nest]:
    """A box of 8 cells a side in one of 12 in one of 20, each with half the cell."""
    return [
        Nest(setup=box((20, 20, 20), 0)),
        Nest(setup=box((28, 28, 28), 1), level=1, parent=0, at=(3, 3, 3)),
        Nest(setup=box((20, 20, 20), 2), level=2, parent=1, at=(8, 8, 8)),
    ]


def test_the_generated_coupling_still_says_what_its_text_says() -> None:
    assert TARGET.read_text(encoding="utf-8") == cpu_source()


def test_a_uniform_flow_passes_every_edge_unchanged(backend: tuple[str, str]) -> None:
    engine = NestedEngine(three_levels(), *backend)
    engine.start_uniform()
    engine.advance(4)
    bound = {"float64": 1e-14, "float32": 1e-6, "float16": 1e-3}[engine.precision]
    for inner, seen in zip(engine.engines, engine.shown(), strict=True):
        own = inner.setup.mark != 1
        speed = seen.last.velocity[:, own] - np.array(STREAM)[:, None]
        assert np.abs(speed).max() < bound
        assert np.abs(seen.last.density[own] - 1).max() < bound


def test_a_saved_state_goes_on_alike(backend: tuple[str, str]) -> None:
    one, two = (NestedEngine(three_levels(), *backend) for _ in range(2))
    rng = np.random.default_rng(2)
    one.start(1 + 0.01 * rng.random((20, 20, 20)), 0.05 * rng.standard_normal((3, 20, 20, 20)))
    one.advance(2)
    two.restore({name: np.array(value) for name, value in one.state().items()})
    for engine in (one, two):
        engine.advance(1)
    for a, b in zip(one.shown(), two.shown(), strict=True):
        np.testing.assert_array_equal(a.last.velocity, b.last.velocity)
    assert one.step == two.step == 6


@pytest.mark.parametrize(
    ("at", "text"), [((0, 3, 3), "needs 4 coarser cells"), ((3, 8, 3), "needs 4 coarser cells")]
)
def test_a_box_that_sticks_out_is_refused(at: tuple[int, int, int], text: str) -> None:
    outer, inner, _ = three_levels()
    with pytest.raises(InputError, match=text):
        NestedEngine([outer, replace(inner, at=at)])


def test_boxes_that_meet_are_refused() -> None:
    outer = Nest(setup=box((40, 20, 20), 0))
    inner = Nest(setup=box((16, 16, 16), 1), level=1, parent=0, at=(4, 5, 5))
    with pytest.raises(InputError, match="meets box 1"):
        NestedEngine([outer, inner, replace(inner, at=(14, 5, 5))])


@pytest.fixture(scope="module")
def brick() -> FlowCase:
    """A brick that crosses the upper face of its box of finer cells."""
    mesh = block("brick", (0.0, -0.1, 0.1), (0.4, 0.1, 0.3))
    part = FlowPart(name="brick", vertices=mesh.vertices, faces=mesh.faces)
    zone = Zone(level=1, low=(-0.1, -0.2, 0.0), high=(0.5, 0.2, 0.2))
    air = Box(ahead=0.4, behind=0.8, beside=0.5, above=0.5)
    return FlowCase(parts=(part,), speed=30.0, cell=0.05, box=air, zones=(zone,))


def test_loads_planes_and_surfaces_come_from_all_boxes(brick: FlowCase) -> None:
    prepared = prepare(brick)
    assert len(prepared.boxes) == 1
    walls = [p.setup.walls.cell.size for p in (prepared, *prepared.boxes)]
    assert min(walls) > 0
    result = run(prepared, rule=StopRule(settle=0.5, longest=1.5))
    drag = result.series[-40:, 1, 0].mean()  # one length is 80 steps
    assert result.parts[0].drag_area == pytest.approx(drag, rel=0.02)
    _, by_band, lift = bands(result, width=0.1)
    assert by_band.sum() == pytest.approx(result.parts[0].drag_area, rel=1e-6)
    assert lift.sum() == pytest.approx(result.parts[0].downforce_area, rel=1e-6)
    seen = plane(result, "y", 0.0)
    assert np.diff(seen.across)[0] == pytest.approx(0.025)
    air = np.isfinite(seen.speed)
    inside = (seen.across > 0.03) & (seen.across < 0.37)
    layer = np.abs(seen.up - 0.2).argmin()
    assert not air[layer, inside].any()
    above = seen.up > 0.4
    assert air[above].all()
    _, _, values = surface_values(result, 0)
    pressure = values["pressure_coefficient"]
    assert np.isfinite(pressure).all()
    assert 0.8 < pressure.max() < 1.3


def test_zones_round_the_parts_nest_and_their_cost_is_told(brick: FlowCase) -> None:
    zones = zones_round(brick.parts, brick.box, levels=2)
    for outer, inner in pairwise(zones):
        assert all(a < b for a, b in zip(outer.low[:2], inner.low[:2], strict=True))
        assert all(a > b for a, b in zip(outer.high, inner.high, strict=True))
    assert {z.low[2] for z in zones} == {0.0}
    case = replace(brick, cell=0.04, zones=zones)
    seen = forecast(case, lengths=2.0, free=1e12)
    assert not seen.faults
    assert [cost.cell for cost in seen.levels] == [0.04, 0.02, 0.01]
    assert sum(cost.n_cell for cost in seen.levels) == seen.n_cell
    assert sum(cost.memory for cost in seen.levels) == pytest.approx(seen.memory)
    prepared = prepare(case)
    assert prepared.n_cell == seen.n_cell
    assert case.finest == 0.01


def test_a_zone_that_does_not_fit_is_refused_with_its_place(brick: FlowCase) -> None:
    wide = Zone(level=1, low=(-0.1, -0.55, 0.0), high=(0.5, 0.55, 0.2))
    seen = forecast(replace(brick, zones=(wide,)), lengths=2.0, free=1e12)
    assert any("zone on level 1" in str(fault) for fault in seen.faults)
    with pytest.raises(InputError, match="low must lie below high"):
        Zone(level=1, low=(0.0, 0.0, 0.0), high=(1.0, 0.0, 1.0))
