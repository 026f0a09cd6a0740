"""What one looks at in a run: planes, equal surfaces, streamlines, axle loads, and its judge."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.flow import Box, FlowCase, FlowPart, FlowResult, StopRule, fields, prepare, run
from tuftwork.flow.bias import comparisons, stated_bias
from tuftwork.flow.judge import forecast, prepared_or_faults
from tuftwork.flow.level import equal_surface
from tuftwork.flow.look import (
    car_loads,
    load_rows,
    part_axle_loads,
    plane,
    seeds_ahead,
    streamlines,
    vortex_surface,
)
from tuftwork.flow.output import surface_values, vortex_strength
from tuftwork.shape import Mesh, block

BRICK = block("brick", (0.0, -0.15, 0.15), (0.5, 0.15, 0.40))
BOX = Box(ahead=0.5, behind=0.8, beside=0.5, above=0.6)


def part(mesh: Mesh, **more: object) -> FlowPart:
    return FlowPart(name=mesh.name, vertices=mesh.vertices, faces=mesh.faces, **more)


def small_case(**more: object) -> FlowCase:
    wanted = {"parts": (part(BRICK),), "speed": 30.0, "cell": 0.05, "box": BOX} | more
    return FlowCase(**wanted)


@pytest.fixture(scope="module")
def result() -> FlowResult:
    return run(prepare(small_case()), rule=StopRule(error=1e-9, settle=1.0, longest=2.5))


def test_a_surface_of_equal_value_is_closed_and_has_the_area_of_its_sphere() -> None:
    z, y, x = np.mgrid[0:40, 0:40, 0:40]
    distance = np.sqrt((x - 19.3) ** 2 + (y - 20.1) ** 2 + (z - 19.7) ** 2)
    vertices, faces = equal_surface(distance, 12.0)
    corner = vertices[faces]
    area = (
        np.linalg.norm(
            np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1
        ).sum()
        / 2
    )
    assert area == pytest.approx(4 * np.pi * 12.0**2, rel=0.01)
    edges = np.sort(np.concatenate([faces[:, [a, (a + 1) % 3]] for a in range(3)]), axis=1)
    _, count = np.unique(edges, axis=0, return_counts=True)
    assert set(count) == {2}
    # linear along edges of up to √3 cells: off by the curvature, 3 / (8 · 12) cells at most
    reach = np.linalg.norm(vertices - [19.3, 20.1, 19.7], axis=1)
    np.testing.assert_allclose(reach, 12.0, atol=0.032)
    assert len(equal_surface(distance, 99.0)[1]) == 0


def test_a_plane_says_what_the_field_says(result: FlowResult) -> None:
    found = fields(result)
    shape = result.prepared.setup.shape
    middle = plane(result, "y", 0.0)
    layer = round(-result.prepared.origin[1] / 0.05)
    np.testing.assert_allclose(
        middle.pressure_coefficient, found["pressure_coefficient"][:, layer, :]
    )
    assert middle.speed.shape == (shape[2], shape[0])
    half = plane(result, "x", result.prepared.origin[0] + 0.05 * 3.5)
    loss = found["total_pressure_loss"]
    kept = np.isfinite(half.total_pressure_loss)
    between = 0.5 * (loss[:, :, 3] + loss[:, :, 4])
    np.testing.assert_allclose(half.total_pressure_loss[kept], between[kept], atol=5e-3)
    with pytest.raises(InputError, match="must lie in the box"):
        plane(result, "z", 99.0)


def test_axle_loads_carry_force_and_moment_of_the_whole_car(result: FlowResult) -> None:
    rows = load_rows(result, wheelbase=0.4)
    np.testing.assert_allclose(rows["front"] + rows["rear"], rows["downforce"], atol=1e-12)
    # moments about the front contact patch: the rear axle's load times the wheelbase
    np.testing.assert_allclose(
        0.4 * rows["rear"], rows["pitch"] + 0.2 * rows["downforce"], atol=1e-12
    )
    np.testing.assert_allclose(rows["downforce"], -result.series[:, 1, 2], atol=1e-12)
    loads = car_loads(result, wheelbase=0.4, settle=1.0)
    front, rear = part_axle_loads(result, wheelbase=0.4)
    assert loads.drag.mean == pytest.approx(result.drag_area.mean, rel=0.05)
    assert front.sum() == pytest.approx(loads.front.mean, abs=0.02)
    assert rear.sum() == pytest.approx(loads.rear.mean, abs=0.02)
    # drag acts above the road, so it lifts the front and presses the rear
    lifted = 0.275 * loads.drag.mean / 0.4
    assert loads.rear.mean - loads.front.mean > lifted


def test_streamlines_go_downstream_around_the_brick(result: FlowResult) -> None:
    lines = streamlines(result, seeds_ahead(result, across=3, up=3), longest=3.0)
    assert len(lines.start) > 4
    low, high = BRICK.vertices.min(axis=0), BRICK.vertices.max(axis=0)
    inside = ((lines.points > low + 0.03) & (lines.points < high - 0.03)).all(axis=1)
    assert not inside.any()
    for first, last in zip(lines.start[:-1], lines.start[1:], strict=True):
        assert lines.points[last - 1, 0] > lines.points[first, 0]
    assert np.all(lines.speed > 0)


def test_vortices_are_where_q_is(result: FlowResult) -> None:
    found = vortex_surface(result, 0.5)
    assert len(found.faces) > 10
    strength = vortex_strength(result)
    at = np.round((found.vertices - result.prepared.origin) / 0.05).astype(int)
    near = strength[at[:, 2], at[:, 1], at[:, 0]]
    # a vertex lies between two centres, one above and one below the level
    assert 0.0 < np.median(near) < 3.0
    assert found.colour.min() > -0.5


def test_a_forecast_tells_every_fault_at_once() -> None:
    hole = FlowPart(name="holed", vertices=BRICK.vertices, faces=BRICK.faces[2:])
    sunk = part(block("sunk", (0.0, 0.3, -0.1), (0.5, 0.5, 0.2)))
    inside_out = replace(part(block("turned", (0, -0.6, 0.2), (0.5, -0.4, 0.4))))
    inside_out = replace(inside_out, faces=inside_out.faces[:, ::-1].copy())
    tight = replace(BOX, ahead=0.1)
    seen = forecast(small_case(parts=(hole, sunk, inside_out), box=tight), lengths=3.0, free=1e4)
    said = "\n".join(str(f) for f in seen.faults)
    assert len(seen.faults) == 4
    for text in ("open edges", "below the road", "inside out", "at least 4 cells"):
        assert text in said
    assert prepared_or_faults(small_case(), seen)[0] is None


def test_a_forecast_refuses_what_does_not_fit_and_says_what_would() -> None:
    seen = forecast(small_case(cell=0.02), lengths=3.0, free=3e7)
    assert [f.name for f in seen.faults] == ["memory"]
    fits = float(seen.faults[0].cure.split()[2])
    again = forecast(small_case(cell=fits), lengths=3.0, free=3e7)
    assert not [f for f in again.faults if f.name == "memory"]
    fine = forecast(small_case(), lengths=3.0, free=1e10)
    assert fine.faults == ()
    prepared, faults = prepared_or_faults(small_case(), fine)
    assert faults == ()
    assert prepared is not None
    assert prepared.setup.n_cell == fine.n_cell
    assert fine.cells_per_length == pytest.approx(10.0)
    assert fine.road_cells == pytest.approx(3.0)
    half = forecast(small_case(), lengths=3.0, backend="cuda", precision="float16", free=1e10)
    double = forecast(small_case(), lengths=3.0, precision="float64", free=1e10)
    assert half.memory < 0.5 * double.memory
    assert fine.memory < 0.75 * double.memory
    assert fine.seconds < double.seconds


def test_the_stated_bias_holds_what_was_seen_and_never_moves_the_value() -> None:
    for cells in (40.0, 104.0, 150.0, 400.0):
        bias = stated_bias(cells)
        assert bias.low <= 1.0 <= bias.high
        ratio = np.array([row.measured / row.computed for row in bias.rows])
        held = np.mean((ratio >= bias.low) & (ratio <= bias.high))
        assert held >= 0.7
        assert "not been compared" in bias.text
        assert "measured 0.89 to 1.21 times the computed" in bias.text
    assert stated_bias(280.0).rows == stated_bias(300.0).rows
    assert stated_bias(150.0).rows != stated_bias(300.0).rows
    assert stated_bias(150.0).drag(1.0) == (stated_bias(150.0).low, stated_bias(150.0).high)
    # little lift: 1.6 of the drag; much of it: half of itself
    assert stated_bias(300.0).downforce_half_range(0.1, 1.0) == pytest.approx(1.6)
    assert stated_bias(300.0).downforce_half_range(6.0, 1.0) == pytest.approx(3.0)
    coarse, coarser = stated_bias(60.0), stated_bias(30.0)
    assert coarser.high > coarse.high
    assert coarser.low < coarse.low
    assert "widened 4.3 times" in coarser.text
    assert len(comparisons()) >= 11
    with pytest.raises(InputError, match="above 0"):
        stated_bias(0.0)


def _one_force(result: FlowResult, force: list[float], at: list[float]) -> FlowResult:
    """Give a run one steady force at a place in car axes, as its engine would have summed it."""
    arm = (np.array(at) - result.prepared.origin) / result.prepared.case.cell
    row = np.concatenate([force, np.cross(arm, force)])
    series = np.zeros_like(result.series)
    series[:, 1] = row
    return replace(result, series=series)


def test_moments_have_the_senses_of_the_standard(result: FlowResult) -> None:
    # SAE J1594:2010 (rationale, seen): turning x rearward and z up changed the axes only, not the
    # positive senses of roll and yaw: right side down, nose to the right
    def moments(force: list[float], at: list[float]) -> dict[str, float]:
        rows = load_rows(_one_force(result, force, at), wheelbase=0.4)
        return {key: float(rows[key][0]) for key in ("roll", "pitch", "yaw")}

    load_on_the_right = moments([0.0, 0.0, -1.0], [0.2, 0.3, 0.0])
    assert load_on_the_right == pytest.approx({"roll": 0.3, "pitch": 0.0, "yaw": 0.0}, abs=1e-12)
    drag_on_the_right = moments([1.0, 0.0, 0.0], [0.2, 0.3, 0.0])
    assert drag_on_the_right == pytest.approx({"roll": 0.0, "pitch": 0.0, "yaw": 0.3}, abs=1e-12)
    side_at_the_nose = moments([0.0, 1.0, 0.0], [0.0, 0.0, 0.5])
    assert side_at_the_nose == pytest.approx({"roll": 0.5, "pitch": 0.0, "yaw": 0.2}, abs=1e-12)
    drag_high_up = moments([1.0, 0.0, 0.0], [0.2, 0.0, 0.5])
    assert drag_high_up == pytest.approx({"roll": 0.0, "pitch": 0.5, "yaw": 0.0}, abs=1e-12)


def test_whole_axles_and_parts_are_means_over_the_same_time(result: FlowResult) -> None:
    loads = car_loads(result, wheelbase=0.4, settle=1.0)
    front, rear = part_axle_loads(result, wheelbase=0.4)
    assert front.sum() == pytest.approx(loads.front.mean, abs=1e-9)
    assert rear.sum() == pytest.approx(loads.rear.mean, abs=1e-9)
    assert sum(p.drag_area for p in result.parts) == pytest.approx(loads.drag.mean, abs=1e-9)
    assert loads.front.mean + loads.rear.mean == pytest.approx(loads.downforce.mean, abs=1e-12)
    half = 0.5 * 0.4 * (loads.rear.mean - loads.front.mean)
    assert half == pytest.approx(loads.pitch.mean, abs=1e-12)
    # what the start-up moved the mean by is in its error
    assert loads.downforce.error >= abs(loads.downforce.mean - result.downforce_area.mean) - 1e-12


def test_a_box_that_is_refused_as_too_narrow_still_tells_its_blockage() -> None:
    seen = forecast(small_case(box=replace(BOX, beside=0.2, above=0.2)), lengths=3.0)
    (fault,) = seen.faults
    assert "fill more than 15 %" in str(fault)
    assert seen.frontal_area == pytest.approx(0.3 * 0.25, rel=0.05)
    assert f"{100 * seen.blockage:.1f} %" in str(fault)


def test_settling_that_ends_between_two_samples_begins_all_means_with_the_next_one() -> None:
    first = run(prepare(small_case()), rule=StopRule(error=1e-9, settle=0.5, longest=1.6))
    settle = 0.5 + 0.6 * first.travel / len(first.series)
    found = run(prepare(small_case()), rule=StopRule(error=1e-9, settle=settle, longest=1.6))
    loads = car_loads(found, wheelbase=0.4, settle=settle)
    assert sum(p.drag_area for p in found.parts) == pytest.approx(loads.drag.mean, abs=1e-9)


def test_both_sides_of_a_part_thinner_than_a_cell_show_their_own_pressure() -> None:
    flat = block("plate", (0.0, -0.3, -0.01), (0.6, 0.3, 0.01))
    cos, sin = np.cos(0.2), np.sin(0.2)
    turn = np.array([[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]])
    plate = replace(flat, vertices=flat.vertices @ turn + [0.0, 0.0, 0.5])
    box = Box(ahead=0.6, behind=0.8, beside=0.5, above=0.5)
    case = small_case(parts=(part(plate),), box=box)
    found = run(prepare(case), rule=StopRule(error=1e-9, settle=1.0, longest=2.5))
    vertices, faces, values = surface_values(found, 0)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    pressure = values["pressure_coefficient"][faces].mean(axis=1)
    pushed = -0.5 * (pressure[:, None] * np.cross(b - a, c - a)).sum(axis=0)
    # twelve cells along the chord leave a quarter for the suction at the edge; the values of both
    # sides mixed gave a quarter of the load
    assert -pushed[2] == pytest.approx(found.parts[0].downforce_area, rel=0.3)
    assert pushed[0] == pytest.approx(-pushed[2] * np.tan(0.2), rel=0.25)  # normal to the plate
