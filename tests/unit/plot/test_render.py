"""The software painter: the nearest surface wins, places project where they should."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.plot.flow import (
    PRESSURE,
    band_view,
    instants_view,
    plane_view,
    pressure_map,
    pressure_view,
)
from tuftwork.plot.render import Canvas, View, paint_surface, seen_line
from tuftwork.plot.style import LIGHT
from tuftwork.shape import block, generic_car

SIDE = View(azimuth=np.pi / 2, elevation=0.0, low=(0, -1, 0), high=(4, 1, 2), width=400)


def paint(view: View, meshes: list) -> Canvas:
    canvas = Canvas.empty(view)
    for value, mesh in enumerate(meshes):
        paint_surface(
            canvas, view, mesh.vertices, mesh.faces, np.full(len(mesh.vertices), float(value))
        )
    return canvas


def test_the_nearer_of_two_blocks_hides_the_other_whatever_the_order() -> None:
    near = block("near", (1.0, -0.9, 0.5), (3.0, -0.5, 1.5))
    far = block("far", (0.5, 0.4, 0.2), (3.5, 0.8, 1.8))
    one, two = paint(SIDE, [near, far]), paint(SIDE, [far, near])
    column, row, _ = SIDE.project(np.array([[2.0, 0.0, 1.0], [0.7, 0.0, 1.0]]))
    at = [(int(r), int(c)) for r, c in zip(row, column, strict=True)]
    assert (one.value[at[0]], one.value[at[1]]) == (0, 1)
    assert (two.value[at[0]], two.value[at[1]]) == (1, 0)
    np.testing.assert_array_equal(one.near, two.near)


def test_a_block_covers_its_own_area_in_pixels() -> None:
    canvas = paint(SIDE, [block("b", (1.0, -0.5, 0.5), (3.0, 0.5, 1.5))])
    _, scale, _ = SIDE.frame()
    assert np.isfinite(canvas.near).sum() == pytest.approx(2.0 * 1.0 * scale**2, rel=0.02)


def test_values_are_carried_linearly_over_a_triangle() -> None:
    canvas = Canvas.empty(SIDE)
    vertices = np.array([[0.5, 0.0, 0.2], [3.5, 0.0, 0.2], [0.5, 0.0, 1.8]])
    paint_surface(canvas, SIDE, vertices, np.array([[0, 1, 2]]), vertices[:, 0])
    column, row, _ = SIDE.project(np.array([[1.5, 0.0, 0.6]]))
    assert canvas.value[int(row[0]), int(column[0])] == pytest.approx(1.5, abs=0.02)


def test_a_line_behind_the_car_is_hidden_and_one_before_it_is_seen() -> None:
    canvas = paint(SIDE, [block("b", (1.0, -0.5, 0.5), (3.0, 0.5, 1.5))])
    along = np.array([[x, 0.8, 1.0] for x in (0.5, 2.0, 3.5)])
    behind, _ = seen_line(canvas, SIDE, along, 0.01)
    before, _ = seen_line(canvas, SIDE, along * [1, -1, 1], 0.01)
    assert list(np.isnan(behind)) == [False, True, False]
    assert not np.isnan(before).any()


def test_a_flat_view_is_refused() -> None:
    with pytest.raises(InputError, match="enclose a volume"):
        View(azimuth=0.0, elevation=0.0, low=(0, 0, 0), high=(0, 0, 0)).frame()


def test_pressure_has_the_paper_at_zero() -> None:
    share = -PRESSURE[0] / (PRESSURE[1] - PRESSURE[0])
    colour = np.array(pressure_map(LIGHT)(share)[:3])
    paper = np.array([int(LIGHT.paper[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    np.testing.assert_allclose(colour, paper, atol=0.03)


def test_figures_carry_their_scale_and_say_the_plane() -> None:
    car = generic_car("coupe")[0]
    tree = {"vertices": car.vertices, "faces": car.faces, "pressure": car.vertices[:, 2] - 0.5}
    axes = pressure_view(tree, azimuth=0.6, elevation=0.3, pixels=300)
    figure = axes.get_figure()
    assert any("Cp" in a.get_ylabel() for a in figure.axes)
    plane = {"name": "middle", "axis": "y", "at": 0.0, "across": np.arange(5.0),
             "up": np.arange(3.0), "loss": np.full((3, 5), 0.2)}  # fmt: skip
    found = plane_view(plane, "loss")
    assert "y = 0.00 m" in found.get_title(loc="left")
    rms = tree | {"pressure_rms": np.full(len(car.vertices), 0.03)}
    swings = pressure_view(rms, azimuth=0.6, elevation=0.3, pixels=300, field="pressure_rms")
    scale = next(a for a in swings.get_figure().axes if "rms" in a.get_ylabel())
    assert scale.get_ylim() == (0.0, 0.05)  # the next round number above all values
    assert "largest 0.03" in scale.get_ylabel()
    later = plane | {"name": "2.00 car lengths", "loss": np.full((3, 5), 0.4)}
    strip = instants_view([plane, later], "loss")
    shown = [a.collections[0].get_array().mean() for a in strip.axes[:2]]
    assert shown == pytest.approx([0.2, 0.4])
    assert [a.get_title(loc="left") for a in strip.axes[:2]] == ["middle", "2.00 car lengths"]
    assert strip.axes[0].collections[0].get_clim() == strip.axes[1].collections[0].get_clim()
    bands = {"start": np.arange(4.0), "width": 1.0, "drag": np.ones((2, 4)),
             "downforce": np.ones((2, 4))}  # fmt: skip
    assert band_view(bands).get_ylabel() == "m² per metre"
