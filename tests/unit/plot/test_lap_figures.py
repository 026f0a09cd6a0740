"""Figures of the lap: axes out, labels with units, nothing shown."""

import numpy as np
import pytest
from matplotlib.axes import Axes

from tuftwork.errors import UnknownName
from tuftwork.lap import (
    margins,
    occupancy,
    polar_plane,
    prepare,
    run_case,
    value_of_units,
    worth_by_corner,
)
from tuftwork.lap.demo import brackenholt, halyard, halyard_aero
from tuftwork.plot import lap as figures

CASE = prepare(brackenholt(), halyard(), halyard_aero(), n_point=400)
LAP = run_case(CASE)


@pytest.mark.filterwarnings("ignore:.*font.*")
def test_every_figure_gives_axes_with_units() -> None:
    made: list[Axes] = [
        figures.speed_trace({"as run": LAP}),
        figures.limit_strip(LAP),
        figures.worth_bars(value_of_units(CASE)),
        figures.equal_lap_lines(polar_plane(CASE, n=3)),
        figures.occupancy_on_map(occupancy(LAP, CASE.aero), CASE.aero),
        figures.margin_bars(margins(LAP.trace)),
    ]
    for ax in made:
        assert "[" in ax.get_xlabel()


def test_the_plan_holds_the_whole_lap() -> None:
    ax = figures.track_plan(LAP, by="front margin")
    (line,) = ax.collections
    assert np.size(line.get_array()) == LAP.trace.speed.size
    with pytest.raises(UnknownName, match="speed"):
        figures.track_plan(LAP, by="sped")


def test_corner_bars_add_up_to_the_change() -> None:
    other = run_case(prepare(brackenholt(), halyard(), halyard_aero(12.0), n_point=400))
    corners = worth_by_corner(LAP, other)
    ax = figures.corner_bars(corners)
    assert sum(p.get_height() for p in ax.patches) == pytest.approx(sum(c.seconds for c in corners))
