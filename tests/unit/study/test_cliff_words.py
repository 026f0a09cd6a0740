"""What is said of the cliff is no surer than the draws are."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from tuftwork.study.answers import Answers
from tuftwork.study.cliff import _words

SPEEDS = [120 / 3.6, 200 / 3.6]


def words(best: float, spread: float) -> str:
    """Return the words for draws so many mm above the edge at the faster speed."""
    z = np.linspace(-2.0, 2.0, 101)
    rows = np.stack([best + 20.0 + spread * z, best + spread * z]) / 1e3
    return _words(cast("Answers", SimpleNamespace(speeds=SPEEDS)), rows)


def test_it_stays_above_only_where_the_whole_range_does() -> None:
    assert words(20.0, 5.0).startswith("The rear stays above its cliff; nearest at 200 km/h, 20.0")


@pytest.mark.parametrize("best", [8.0, -5.0])
def test_a_range_over_the_edge_is_not_known(best: float) -> None:
    said = words(best, 10.0)
    assert said.startswith("Whether the rear stays above its cliff is not known")
    assert "stays above its cliff; nearest" not in said
    assert "minus is past it" in said


def test_a_range_past_the_edge_has_passed_it() -> None:
    assert "rides 30.0 mm past it" in words(-30.0, 5.0)
