"""The mixing layer: which cells it takes, and that it leaves everything else as it was."""

import numpy as np

from tuftwork.flow.layer import add_layer
from tuftwork.flow.setup import WALL, Surface
from tuftwork.flow.walls import staircase


def floor(has_wall_law: bool) -> tuple[np.ndarray, object]:
    removed = np.zeros((12, 4, 6), np.uint8)
    removed[0] = 1
    surfaces = [Surface(name="none"), Surface(name="floor", has_wall_law=has_wall_law)]
    return staircase(removed, removed.copy(), surfaces)


def test_cells_within_the_depth_of_a_wall_with_the_law_join_without_cuts() -> None:
    mark, links = floor(True)
    before = links.cell.size
    out, joined = add_layer(mark, links, 4)
    added = joined.geometry[3] < 0
    # the box is periodic: both sides of the floor have cells at 1.5, 2.5 and 3.5 cells from it
    assert added.sum() == 2 * 3 * 4 * 6
    assert set(np.round(-joined.geometry[3, added], 3)) == {1.5, 2.5, 3.5}
    assert not joined.cut[:, added].any()
    assert np.all(np.diff(joined.cell) > 0)
    assert joined.surfaces[1].row()[0] == 4.0
    assert (out == WALL).sum() == before + added.sum()


def test_without_the_law_or_without_depth_nothing_changes() -> None:
    for law, depth in ((False, 4), (True, 0)):
        mark, links = floor(law)
        out, same = add_layer(mark, links, depth)
        assert out is mark
        assert same is links
