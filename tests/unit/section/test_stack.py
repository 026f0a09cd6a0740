"""Elements in place: handles come out as they went in; what touches is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tuftwork.errors import InputError
from tuftwork.section import Flap, Stack, assemble, measure_slot, naca, over_ground, single
from tuftwork.section.shape import transform
from tuftwork.section.stack import check_stack


def _flap(**more) -> Flap:
    base = {
        "contour": naca("4412"),
        "chord": 0.4,
        "deflection": 0.35,
        "gap": 0.015,
        "overlap": 0.005,
    }
    return Flap(**(base | more))


@settings(max_examples=8, deadline=None)
@given(
    gap=st.floats(0.008, 0.04),
    overlap=st.floats(-0.004, 0.02),
    turn=st.floats(0.1, 0.6),
    chord=st.floats(0.2, 0.6),
)
def test_gap_and_overlap_come_out_as_set(gap, overlap, turn, chord) -> None:
    stack = assemble(naca("4412"), [_flap(gap=gap, overlap=overlap, deflection=turn, chord=chord)])
    slot = measure_slot(*stack.elements)
    assert slot.gap == pytest.approx(gap, rel=0.01)
    assert slot.overlap == pytest.approx(overlap, abs=3e-4)


def test_the_total_chord_is_one() -> None:
    stack = assemble(naca("4412"), [_flap(), _flap(chord=0.25, deflection=0.6)])
    tail = stack.elements[-1].trailing_edge
    assert np.hypot(*tail) == pytest.approx(1.0, abs=1e-6)
    assert len(stack.elements) == 3


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"gap": 0.0}, "flap 1 gap = 0 % of the chord"),
        ({"chord": 5.0}, "flap 1 chord"),
        ({"deflection": 1.5}, "flap 1 deflection"),
        ({"overlap": 0.7}, "flap 1 overlap"),
        ({"overlap": -0.3}, "cannot be met"),
    ],
)
def test_impossible_handles_are_named(change, message) -> None:
    with pytest.raises(InputError, match=message):
        assemble(naca("4412"), [_flap(**change)])


def test_the_lowest_point_is_at_the_height() -> None:
    placed = over_ground(single(naca("4412")), 0.1, 0.15)
    assert min(c.y.min() for c in placed) == pytest.approx(0.15, abs=1e-4)


@pytest.mark.parametrize("height", [0.0, -0.1])
def test_a_section_below_the_road_is_refused(height) -> None:
    with pytest.raises(InputError, match="height"):
        over_ground(single(naca("4412")), 0.0, height)


def test_elements_that_touch_name_the_place() -> None:
    one = single(naca("4412")).elements[0]
    crossing = Stack(elements=(one, transform(one, shift=(0.5, 0.0))))
    with pytest.raises(InputError, match=r"elements 1 and 2 near .* touch or cross"):
        check_stack(crossing)
