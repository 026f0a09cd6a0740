"""Gaps that no line of cells sees, and parts that no air touches, are told before a run."""

import numpy as np
import pytest

from tuftwork.flow import Box, FlowCase, FlowPart, prepare
from tuftwork.flow.near import near_parts
from tuftwork.shape import Mesh, block

BOX = Box(ahead=0.9, behind=1.2, beside=0.9, above=0.9)
BODY = block("body", (0.0, -0.3, 0.3), (1.2, 0.3, 0.6))


def case_of(*meshes: Mesh, cell: float = 0.1) -> FlowCase:
    parts = tuple(FlowPart(name=m.name, vertices=m.vertices, faces=m.faces) for m in meshes)
    return FlowCase(parts=parts, speed=30.0, cell=cell, box=BOX)


def lip(gap: float) -> Mesh:
    return block("lip", (0.2, -0.25, 0.6 + gap), (0.9, 0.25, 0.75 + gap))


@pytest.mark.parametrize("gap", [0.005, 0.04, 0.11, 0.17])
def test_a_gap_narrower_than_two_cells_is_told_with_its_millimetres_and_place(gap: float) -> None:
    """Plates at a known distance: exact."""
    (near,) = near_parts(case_of(BODY, lip(gap)))
    assert near.gap == pytest.approx(gap, rel=1e-9)
    assert near.between == ("body", "lip")
    x, y, z = near.at
    assert 0.2 <= x <= 0.9
    assert abs(y) <= 0.25
    assert z == pytest.approx(0.6 + gap / 2)


@pytest.mark.parametrize("gap", [0.0, -0.05, -0.12, 0.21, 0.6])
def test_parts_that_meet_or_stand_two_cells_apart_are_not_told(gap: float) -> None:
    assert near_parts(case_of(BODY, lip(gap))) == ()


def test_the_distance_of_an_edge_to_a_slope_is_the_one_of_geometry() -> None:
    """A corner of a turned block over a plane: half its diagonal less than its middle."""
    turned = block("lip", (-0.1, -0.25, -0.1), (0.1, 0.25, 0.1))
    c = np.sqrt(0.5)
    spin = np.array([[c, 0, c], [0, 1, 0], [-c, 0, c]])
    places = turned.vertices @ spin.T + [0.6, 0.0, 0.6 + 0.1 * np.sqrt(2) + 0.03]
    (near,) = near_parts(case_of(BODY, Mesh(name="lip", vertices=places, faces=turned.faces)))
    assert near.gap == pytest.approx(0.03, rel=1e-6)
    assert near.at[0] == pytest.approx(0.6, abs=1e-6)


def test_preparation_counts_the_lost_gap_and_names_the_cells_that_would_show_it() -> None:
    """Before, two parts seen from one cell passed for touching, and the gap for none."""
    prepared = prepare(case_of(BODY, lip(0.04)))
    assert prepared.gap_cells == 0
    assert prepared.gap_between == ("body", "lip")
    said = " ".join(prepared.notices)
    assert "'body' and 'lip' stand 40 mm apart at x" in said
    assert "0.4 cells" in said
    assert "Cells of 10 mm there would show it" in said
    assert "The narrowest gap holds 0 cells" in said


def test_a_part_inside_another_is_told() -> None:
    seat = block("seat", (0.3, -0.1, 0.4), (0.6, 0.1, 0.5))
    said = " ".join(prepare(case_of(BODY, seat, cell=0.05)).notices)
    assert "No air touches 'seat'" in said
    assert "No air touches 'body'" not in said
