"""Loads by pressure on the piece of surface of each wall cell, against what it has to give."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.flow.brick import FINER, WIDE, prepared_brick

from tuftwork.flow import FlowCase, FlowPart, FlowResult, Prepared, StopRule, prepare, run
from tuftwork.flow.facing import exchanged, said_of_books
from tuftwork.flow.surface_map import boxes_of, places_of
from tuftwork.flow.through import Opening
from tuftwork.shape import block
from tuftwork.shape.mesh import Mesh


@pytest.fixture(scope="module", params=["one box", "finer cells"])
def prepared(request: pytest.FixtureRequest) -> Prepared:
    return prepared_brick(zones=FINER if request.param == "finer cells" else (), cell=0.05)


@pytest.fixture(scope="module")
def result(prepared: Prepared) -> FlowResult:
    return run(prepared, rule=StopRule(error=1e-9, settle=0.5, longest=1.5))


def facing_of(prepared: Prepared, part: int) -> tuple[np.ndarray, np.ndarray]:
    """Places (n, 3) in metres and pieces of surface (n, 3) in square metres of a part's cells."""
    place, area = [], []
    for box in boxes_of(prepared):
        walls = box.setup.walls
        own = walls.counted() == part
        place.append(places_of(box)[own])
        area.append(walls.facing.T[own] * box.case.cell**2)
    return np.concatenate(place), np.concatenate(area)


def test_the_pieces_of_a_closed_part_add_up_to_nothing(prepared: Prepared) -> None:
    _, area = facing_of(prepared, 1)
    np.testing.assert_allclose(area.sum(axis=0), 0.0, atol=1e-6)
    # and those that look one way to the face
    assert area[:, 0].clip(0).sum() == pytest.approx(0.3 * 0.3, rel=0.02)


@pytest.mark.parametrize("slope", [(2.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.5)])
def test_a_pressure_that_grows_evenly_pushes_by_slope_times_volume(
    prepared: Prepared, slope: tuple[float, float, float]
) -> None:
    # Archimedes; the pressure is taken where the cells' feet lie, half a cell from the edges
    place, area = facing_of(prepared, 1)
    found = -(place @ np.array(slope)) @ area
    np.testing.assert_allclose(found, -0.5 * 0.3 * 0.3 * np.array(slope), rtol=0.1, atol=1e-3)


def test_loads_are_pressure_on_the_pieces_and_friction(result: FlowResult) -> None:
    total = np.zeros(3)
    for box in (result, *result.boxes):
        walls, rows = box.prepared.setup.walls, box.wall_rows
        own = walls.counted() == 1
        load = rows[4:7] - rows[3] / 3.0 * walls.facing
        np.testing.assert_allclose(rows[:3, own], load[:, own], atol=1e-9)
        total += load[:, own].sum(axis=1) * box.prepared.area_per_force
    (part,) = result.parts
    assert part.drag_area == pytest.approx(total[0], rel=1e-6)
    assert part.downforce_area == pytest.approx(-total[2], rel=1e-6, abs=1e-9)


def test_both_books_are_told(result: FlowResult) -> None:
    (text,) = said_of_books(result)
    drag, _, lift = exchanged(result)
    assert f"are {drag:.3g} and {-lift:.3g} m²" in text
    assert f"friction {result.drag_area.mean:.3g} and {result.downforce_area.mean:.3g} m²" in text
    # on a coarse brick both say the same within what the gap can be
    assert drag == pytest.approx(result.drag_area.mean, rel=0.5)


def part(mesh: Mesh) -> FlowPart:
    return FlowPart(name=mesh.name, vertices=mesh.vertices, faces=mesh.faces)


def test_what_lies_inside_another_part_is_not_pushed() -> None:
    # a post that goes 0.1 m deep into a block: what is left of it ends where the block begins
    low = block("block", (0.0, -0.2, 0.1), (0.5, 0.2, 0.4))
    post = block("post", (0.2, -0.1, 0.3), (0.3, 0.1, 0.6))
    case = FlowCase(parts=(part(low), part(post)), speed=30.0, cell=0.025, box=WIDE)
    _, area = facing_of(prepare(case), 2)
    seen = np.abs(area).sum(axis=0)
    # sides from 0.4 to 0.6 m, both ways, and the top; the foot inside the block is hidden
    np.testing.assert_allclose(seen, [2 * 0.2 * 0.2, 2 * 0.1 * 0.2, 0.1 * 0.2], rtol=0.15)
    assert area[:, 2].sum() == pytest.approx(0.1 * 0.2, rel=0.05)


def test_a_plate_is_pushed_from_both_sides() -> None:
    corner = np.array([[0.0, -0.2, 0.3], [0.4, -0.2, 0.3], [0.4, 0.2, 0.3], [0.0, 0.2, 0.3]])
    plate = FlowPart(
        name="plate", vertices=corner, faces=np.array([[0, 1, 2], [0, 2, 3]]), is_closed=False
    )
    case = FlowCase(parts=(plate,), speed=30.0, cell=0.04, box=WIDE)
    _, area = facing_of(prepare(case), 1)
    np.testing.assert_allclose(area.sum(axis=0), 0.0, atol=1e-6)
    assert area[:, 2].clip(0).sum() == pytest.approx(0.4 * 0.4, rel=1e-3)


def test_openings_are_pieces_of_the_surface_like_any_other() -> None:
    openings = tuple(
        Opening(name=kind, part="brick", kind=kind, low=(x - 0.01, -0.1, 0.25),
                high=(x + 0.01, 0.1, 0.45), facing=(way, 0.0, 0.0), mass_flow=0.5)
        for kind, x, way in (("inlet", 0.0, -1.0), ("outlet", 0.5, 1.0))
    )  # fmt: skip
    whole = prepared_brick(cell=0.05)
    opened = prepare(replace(whole.case, openings=openings))
    assert {s.name for s in opened.setup.walls.surfaces} >= {"inlet", "outlet"}
    (_, one), (_, two) = facing_of(whole, 1), facing_of(opened, 1)
    np.testing.assert_allclose(two.sum(axis=0), 0.0, atol=1e-6)
    assert np.abs(two).sum() == pytest.approx(np.abs(one).sum(), rel=1e-6)


def test_no_slip_keeps_the_momentum_that_links_exchange() -> None:
    case = replace(prepared_brick().case, wall="no slip", viscosity=0.5)
    ready = prepare(case)
    assert ready.setup.walls.facing is None
    found = run(ready, rule=StopRule(error=1e-9, settle=0.2, longest=2.2))
    np.testing.assert_array_equal(found.wall_rows[:3], found.wall_rows[10:13])
    assert said_of_books(found) == []
