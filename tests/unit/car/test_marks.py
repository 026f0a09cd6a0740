"""A mark is one point, an edge or an outline; one point may be written without a list round it."""

import pytest
from pydantic import ValidationError

from tuftwork.car.reading import Photo


def test_one_point_is_written_with_or_without_a_list_round_it() -> None:
    bare, listed = (
        Photo.model_validate({"id": "P1", "evidence": "E1", "marks": {"hub front right": mark}})
        for mark in ([2113.0, 1157.9], [[2113.0, 1157.9]])
    )
    assert bare.marks == listed.marks == {"hub front right": [(2113.0, 1157.9)]}


def test_an_edge_stays_an_edge_and_three_numbers_are_no_point() -> None:
    edge = Photo.model_validate(
        {"id": "P1", "evidence": "E1", "marks": {"chord": [[1, 2], [3, 4]]}}
    )
    assert edge.marks["chord"] == [(1.0, 2.0), (3.0, 4.0)]
    with pytest.raises(ValidationError):
        Photo.model_validate({"id": "P1", "evidence": "E1", "marks": {"hub": [1.0, 2.0, 3.0]}})
