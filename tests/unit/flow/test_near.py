"""Gaps that no line of cells sees, and parts that no air touches, are told before a run."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.flow import Box, FlowCase, FlowPart, prepare
from tuftwork.flow.near import near_notices, near_parts
from tuftwork.flow.zones import Zone
from tuftwork.shape import Mesh, block
from tuftwork.shape.loft import loft

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


def wing(*, finer: str) -> Mesh:
    """A wedge with its tail at (0.3, 0.3), one side of it in facets a third as long."""
    x = np.linspace(0.0, 0.3, 61)
    if finer == "lower":
        side = np.column_stack([x, np.full(61, 0.3)])
        outline = np.concatenate([side, [[0.0, 0.33]]])
    else:
        side = np.column_stack([x, 0.33 - 0.1 * x])
        outline = np.concatenate([[[0.0, 0.3]], side[::-1]])
    spans = np.linspace(-0.25, 0.25, 61)
    mesh = loft("main", np.array([np.insert(outline, 1, y, axis=1) for y in spans]))
    faces = mesh.faces if mesh.volume > 0 else mesh.faces[:, ::-1]
    return Mesh(name="main", vertices=mesh.vertices, faces=faces)


@pytest.mark.parametrize("finer", ["lower", "upper"])
@pytest.mark.parametrize(("right", "up"), [(0.010, 0.006), (0.005, 0.012), (0.010, -0.010)])
def test_the_slot_behind_a_wings_tail_is_told_whichever_side_is_finer(
    finer: str, right: float, up: float
) -> None:
    """Behind a tail a corner lies behind one of its two faces: that is not inside. Exact."""
    low = 0.3 + up if up > 0 else 0.3 + up - 0.02
    flap = block("flap", (0.3 + right, -0.2, low), (0.4 + right, 0.2, low + 0.02))
    (near,) = near_parts(case_of(wing(finer=finer), flap, cell=0.01))
    assert near.gap == pytest.approx(np.hypot(right, up), rel=1e-6)


@pytest.mark.parametrize("finer", ["lower", "upper"])
def test_a_flap_whose_corner_lies_in_the_wing_meets_it(finer: str) -> None:
    flap = block("flap", (0.2, -0.2, 0.305), (0.4, 0.2, 0.34))
    assert near_parts(case_of(wing(finer=finer), flap, cell=0.01)) == ()


def test_a_parts_name_keeps_its_hyphen() -> None:
    body = Mesh(name="front-body", vertices=BODY.vertices, faces=BODY.faces)
    case = case_of(body, lip(0.04))
    assert near_notices(case, near_parts(case), [])[0].startswith("'front-body' and 'lip' stand")


def test_preparation_counts_the_lost_gap_and_names_the_cells_that_would_show_it() -> None:
    """Before, two parts seen from one cell passed for touching, and the gap for none."""
    prepared = prepare(case_of(BODY, lip(0.04)))
    assert prepared.gap_cells == 0
    assert prepared.gap_between == ("body", "lip")
    said = " ".join(prepared.notices)
    assert "'body' and 'lip' stand 40 mm apart at x" in said
    assert "0.4 cells" in said
    assert "Cells of 20 mm there, or smaller, give it the 2 that are needed" in said
    assert "of 6.66 mm the 6 that are advised" in said  # 40 mm over 6, never more
    assert "The narrowest gap holds 0 cells" in said


def test_a_part_inside_another_is_told() -> None:
    seat = block("seat", (0.3, -0.1, 0.4), (0.6, 0.1, 0.5))
    said = " ".join(prepare(case_of(BODY, seat, cell=0.05)).notices)
    assert "No air touches 'seat'" in said
    assert "No air touches 'body'" not in said


def over_the_road(low: float, size: float, zones: tuple[Zone, ...] = ()) -> FlowCase:
    body = block("body", (0.0, -0.1, low), (0.5, 0.1, low + 0.1))
    room = 0.9 if zones else 0.4
    box = Box(ahead=room, behind=room, beside=room, above=room)
    return replace(case_of(body, cell=size), box=box, zones=zones)


@pytest.mark.parametrize("gap", [0.17, 0.19999])
def test_cells_named_as_the_fewest_are_taken_and_those_advised_are_told_nothing(
    gap: float,
) -> None:
    """A block over the road, refused with cells of a tenth of a metre."""
    with pytest.raises(InputError, match="needs at least 2 cells") as told:
        prepare(over_the_road(gap, 0.1))
    assert f"{1e3 * gap:.3g} mm at x" in told.value.cure
    fewest, enough = (float(n) for n in re.findall(r" of ([\d.]+) mm", told.value.cure))
    assert fewest == pytest.approx(1e3 * gap / 2, rel=0.01)
    assert enough == pytest.approx(1e3 * gap / 6, rel=0.01)
    least = prepare(over_the_road(gap, fewest / 1e3)).notices
    assert any("narrowest gap holds 2 cells" in text for text in least)
    fine = prepare(over_the_road(gap, enough / 1e3)).notices
    assert not any("narrowest gap holds" in text for text in fine)


def test_where_the_coarser_cells_are_too_few_their_size_and_the_cure_are_told() -> None:
    """The finer box ends within a coarse cell of the block, which coarse cells see as well."""
    zone = Zone(level=1, low=(-0.05, -0.25, 0.0), high=(0.68, 0.25, 0.4))
    with pytest.raises(InputError, match="smallest gap = 1 cells") as told:
        prepare(over_the_road(0.15, 0.1, (zone,)))
    assert "150 mm at x" in told.value.cure
    assert "where cells are 100 mm" in told.value.cure
    assert "Cells of 75 mm there, or smaller, give it the 2" in told.value.cure
    prepare(over_the_road(0.15, 0.075, (zone,)))
