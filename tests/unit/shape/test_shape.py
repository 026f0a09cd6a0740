"""Surfaces: read, mend, refuse, measure, and the generic car."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from tuftwork.errors import FileFault, InputError, UnknownName
from tuftwork.files.mesh import read_meshes
from tuftwork.shape import (
    KINDS,
    Mesh,
    block,
    check_mesh,
    drum,
    frontal_area,
    generic_car,
    impossible_numbers,
    loft,
    mend,
    reference_bluff_body,
)

BRICK = block("brick", (0.0, 0.0, 0.0), (2.0, 1.0, 0.5))


def test_volumes_and_shadows_of_simple_bodies_are_exact() -> None:
    assert BRICK.volume == pytest.approx(1.0)
    assert frontal_area([BRICK], pixel=0.005) == pytest.approx(0.5, rel=0.02)
    wheel = drum("wheel", (0.0, 0.0, 0.3), 0.3, 0.2)
    polygon = 0.5 * 64 * np.sin(2 * np.pi / 64)
    assert wheel.volume == pytest.approx(polygon * 0.3**2 * 0.2)


def test_overlapping_shadows_count_once() -> None:
    far = replace(BRICK, vertices=BRICK.vertices + np.array([5.0, 0.0, 0.0]))
    assert frontal_area([BRICK, far], pixel=0.01) == frontal_area([BRICK], pixel=0.01)


def test_the_reference_body_has_its_published_frontal_area() -> None:
    """Width 0.389 m times height 0.288 m is 0.112032 m² (arithmetic on the published size)."""
    for degrees in (0.0, 25.0, 35.0):
        body = reference_bluff_body(np.radians(degrees))
        check_mesh(body)
        assert frontal_area([body], pixel=0.001) == pytest.approx(0.112032, rel=0.01)
        assert np.ptp(body.vertices[:, 0]) == pytest.approx(1.044)


@pytest.mark.parametrize("kind", KINDS)
def test_every_generic_car_is_watertight_part_by_part(kind: str) -> None:
    parts = generic_car(kind)
    names = [p.name for p in parts]
    assert len(set(names)) == len(names)
    assert sum(n.startswith("wheel") for n in names) == 4
    for part in parts:
        check_mesh(part)
        assert np.abs(part.vertices[:, 1]).max() < 1.1


def test_every_number_of_the_generic_car_moves_something() -> None:
    base = KINDS["open-wheeler"]
    wide = {
        "skirt_height": 0.02, "splitter_length": 0.05, "wing_flap_chord": 0.1, "wing_gurney": 0.01,
        "dive_planes": 1, "diffuser_fences": 2,
    }  # fmt: skip
    counts = ("dive_planes", "diffuser_fences")
    before = np.concatenate([p.vertices for p in generic_car("open-wheeler", **wide)])
    for name in base.__dataclass_fields__:
        value = wide.get(name, getattr(base, name))
        more = value + 1 if name in counts else value * 1.05
        after = np.concatenate(
            [p.vertices for p in generic_car("open-wheeler", **(wide | {name: more}))]
        )
        moved = after.shape != before.shape or np.abs(after - before).max() > 1e-6
        assert moved, name


def test_wrong_kinds_numbers_and_sizes_are_refused() -> None:
    with pytest.raises(UnknownName, match="coupe"):
        generic_car("coup")
    with pytest.raises(UnknownName, match="wheelbase"):
        generic_car("coupe", wheelbas=2.0)
    with pytest.raises(InputError, match="above 0"):
        generic_car("coupe", wheelbase=-1.0)
    with pytest.raises(InputError, match="both axles"):
        generic_car("coupe", ride_height_front=0.0)
    with pytest.raises(InputError, match="mid wheelbase"):
        generic_car("coupe", diffuser_length=3.0)
    for name, value, words in (
        ("nose_width", -0.3, "above 0"), ("section_power", 0.0, "ellipse"),
        ("wing_chord", -0.3, "leaves the part out"), ("wing_angle", 8.0, "458.4 °"),
        ("cabin_start", 3.0, "must not lie behind cabin_top_start = 1.2 m"),
        ("track_front", 0.2, "tyre's width of 0.25 m"), ("tyre_shoulder", 0.2, "half the width"),
        ("tail_height", 0.2, "diffuser.s end at 0.22"), ("roof_height", math.nan, "a number"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=words):
            generic_car("coupe", **{name: value})
    assert len(impossible_numbers("coupe", body_width=0.0, wing_chord=-1.0, roof_width=-1.0)) == 3
    with pytest.raises(InputError, match="rings"):
        loft("nothing", np.zeros((1, 4, 3)))


def test_open_and_turned_surfaces_are_refused_with_the_place_and_mended() -> None:
    hole = replace(BRICK, faces=BRICK.faces[1:])
    with pytest.raises(InputError, match=r"3 open edges: the surface is not closed at x"):
        check_mesh(hole)
    mended, done = mend(hole)
    check_mesh(mended)
    assert any(s.startswith("A hole closed, ") and " mm at x " in s for s in done)
    turned = replace(BRICK, faces=BRICK.faces[:, ::-1].copy())
    with pytest.raises(InputError, match="inside out"):
        check_mesh(turned)
    mended, done = mend(turned)
    check_mesh(mended)
    soup = Mesh(
        name="soup",
        vertices=BRICK.triangles.reshape(-1, 3),
        faces=np.arange(3 * len(BRICK.faces)).reshape(-1, 3),
    )
    mended, done = mend(soup)
    check_mesh(mended)
    assert any("double corners" in sentence for sentence in done)
    broken = BRICK.vertices.copy()
    broken[0, 0] = np.nan
    with pytest.raises(InputError, match="must be a number"):
        check_mesh(replace(BRICK, vertices=broken))
    with pytest.raises(InputError, match="has no surface"):
        check_mesh(replace(BRICK, faces=BRICK.faces[:0]))


def test_a_small_hole_is_closed_and_a_large_one_refused_both_with_place_and_size() -> None:
    """A ball of a thousand faces: a corner's faces leave a small hole, half a side a large one."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=0.5)
    vertices = np.asarray(ball.vertices, float) + np.array([2.0, 0.0, 1.0])
    whole = Mesh(name="ball", vertices=vertices, faces=np.asarray(ball.faces, np.int64))
    corner = int(vertices[:, 0].argmax())
    some = replace(whole, faces=whole.faces[~(whole.faces == corner).any(axis=1)])
    size = np.ptp(vertices[np.unique(whole.faces[(whole.faces == corner).any(axis=1)])], axis=0)
    assert size.max() < 0.16  # a sixth of the ball: larger than what is closed
    with pytest.raises(InputError, match=r"A hole of 1\d\d × 1\d\d mm at x 2\.49.*close it"):
        check_mesh(mend(some)[0])
    finer = trimesh.creation.icosphere(subdivisions=5, radius=0.5)
    places = np.asarray(finer.vertices, float)
    kept = ~(finer.faces == int(places[:, 2].argmax())).any(axis=1)
    kept &= ~(finer.faces == int(places[:, 1].argmin())).any(axis=1)
    torn = Mesh(name="ball", vertices=places, faces=np.asarray(finer.faces[kept], np.int64))
    mended, done = mend(torn)
    check_mesh(mended)
    assert mended.volume == pytest.approx(finer.volume, rel=1e-4)
    assert any("2 holes closed, the largest" in sentence for sentence in done)
    a, b, _ = whole.faces[0]
    fin = replace(whole, faces=np.concatenate([whole.faces, [[a, b, corner]]]))
    with pytest.raises(InputError, match="More than two faces meet there"):
        check_mesh(fin)
    turned = whole.faces.copy()
    turned[5] = turned[5, ::-1]
    with pytest.raises(InputError, match="face different ways at x"):
        check_mesh(replace(whole, faces=turned))


def test_bodies_that_meet_face_on_face_become_one_and_a_sheet_stays_open() -> None:
    """Solids that touch, saved as one part: the wall between them bounds nothing."""
    ahead, behind = (block("part", (x, 0.0, 0.0), (x + 1.0, 1.0, 1.0)) for x in (0.0, 1.0))
    vertices = np.concatenate([ahead.vertices, behind.vertices])
    faces = np.concatenate([ahead.faces, behind.faces + len(ahead.vertices)])
    mended, done = mend(Mesh(name="part", vertices=vertices, faces=faces))
    check_mesh(mended)
    assert mended.volume == pytest.approx(2.0)
    assert any("inner walls dropped" in text for text in done)
    quad = Mesh(name="sheet", vertices=np.array([[0.0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]),
                faces=np.array([[0, 1, 2], [0, 2, 3], [2, 1, 0], [3, 2, 0]]))  # fmt: skip
    with pytest.raises(InputError, match="open edges"):
        check_mesh(mend(quad)[0])
    with pytest.raises(InputError, match="no thickness: name the part among 'plates'"):
        check_mesh(replace(quad, faces=quad.faces[[0, 2]]))


def test_a_turned_face_is_told_beside_a_closed_hole_too() -> None:
    faces = BRICK.faces[1:].copy()
    faces[4] = faces[4, ::-1]
    mended, done = mend(replace(BRICK, faces=faces))
    check_mesh(mended)
    assert mended.volume == pytest.approx(BRICK.volume, rel=1e-9)
    assert any(sentence.startswith("Faces turned") for sentence in done)
    _, done = mend(replace(BRICK, faces=BRICK.faces[1:]))
    assert not any(sentence.startswith("Faces turned") for sentence in done)


@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "glb"])
def test_files_of_each_kind_are_read_with_their_unit(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"part.{kind}"
    body = trimesh.Trimesh(vertices=BRICK.vertices * 1000, faces=BRICK.faces, process=False)
    body.export(path)
    (read,) = read_meshes(path, unit=0.001)
    mended, _ = mend(read)
    check_mesh(mended)
    assert mended.volume == pytest.approx(1.0, rel=1e-5)


def test_small_holes_that_touch_in_a_corner_are_closed_one_by_one() -> None:
    ball = trimesh.creation.icosphere(subdivisions=3)
    whole = Mesh(name="ball", vertices=np.asarray(ball.vertices), faces=np.asarray(ball.faces))
    corner = int(whole.faces[0, 0])
    round_it = np.flatnonzero((whole.faces == corner).any(axis=1))
    shared = [len(set(whole.faces[n]) & set(whole.faces[round_it[0]])) for n in round_it]
    apart = round_it[np.flatnonzero(np.array(shared) == 1)[0]]  # the corner and nothing else
    holed = replace(whole, faces=np.delete(whole.faces, [round_it[0], apart], axis=0))
    mended, done = mend(holed)
    check_mesh(mended)
    assert len(mended.faces) == len(whole.faces)
    assert mended.volume == pytest.approx(whole.volume, rel=1e-9)
    assert any("2 holes closed" in sentence for sentence in done)


@pytest.mark.parametrize(("key", "material"), [("o", ""), ("g", ""), ("o", "usemtl red\n")])
def test_objects_or_groups_of_an_obj_file_are_parts(
    key: str, material: str, tmp_path: Path
) -> None:
    lines, count = ["mtllib none.mtl\n"], 1
    for name, x in (("body", 0.0), ("wheel left", 3.0), ("wheel right", 6.0)):
        body = block(name, (x, 0.0, 0.0), (x + 1.0, 1.0, 1.0))
        lines.append(f"{key} {name}\n{material}")
        lines += [f"v {a} {b} {c}\n" for a, b, c in body.vertices]
        lines += ["f {} {} {}\n".format(*(face + count)) for face in body.faces]
        count += len(body.vertices)
    path = tmp_path / "car.obj"
    path.write_text("".join(lines), encoding="utf-8")
    read = read_meshes(path)
    assert [m.name for m in read] == ["body", "wheel left", "wheel right"]
    assert [m.vertices[:, 0].min() for m in read] == [0.0, 3.0, 6.0]
    assert all(mend(m)[0].volume == pytest.approx(1.0) for m in read)


def test_one_surface_that_is_drawn_at_several_places_is_as_many_parts(tmp_path: Path) -> None:
    """Binary glTF keeps one wheel and four places for it."""
    scene = trimesh.Scene()
    wheel = drum("wheel", (0.0, 0.0, 0.3), 0.3, 0.2, 0.03)
    body = trimesh.Trimesh(vertices=wheel.vertices, faces=wheel.faces, process=False)
    places = {"wheel left": 0.0, "wheel right": 2.0}
    for name, at in places.items():
        place = trimesh.transformations.translation_matrix([at, 0, 0])
        scene.graph.update(frame_to=name, matrix=place, geometry="wheel")
    scene.geometry["wheel"] = body
    path = tmp_path / "car.glb"
    path.write_bytes(scene.export(file_type="glb"))
    found = {mesh.name: mesh.vertices[:, 0] for mesh in read_meshes(path, up="z")}
    assert found.keys() == places.keys()
    for name, at in places.items():
        assert 0.5 * (found[name].min() + found[name].max()) == pytest.approx(at, abs=1e-6)


def test_a_file_whose_y_is_up_is_set_upright(tmp_path: Path) -> None:
    path = tmp_path / "part.glb"
    # glTF 2.0, section 3.4 (seen): right-handed, +Y up. A fin: long in x, high in y, thick in z
    fin = block("fin", (0.0, 0.0, 0.1), (2.0, 1.0, 0.3))
    trimesh.Trimesh(fin.vertices, fin.faces, process=False).export(path)
    (read,) = read_meshes(path, up="y")
    assert read.vertices.min(axis=0) == pytest.approx([0.0, -0.3, 0.0], abs=1e-6)
    assert read.vertices.max(axis=0) == pytest.approx([2.0, -0.1, 1.0], abs=1e-6)
    assert mend(read)[0].volume == pytest.approx(0.4, rel=1e-5)


def test_files_that_are_no_surfaces_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match="not a surface file"):
        read_meshes(tmp_path / "car.step")
    with pytest.raises(FileFault, match="no such file"):
        read_meshes(tmp_path / "car.stl")
    bad = tmp_path / "bad.glb"
    bad.write_bytes(b"not a scene at all")
    with pytest.raises(FileFault):
        read_meshes(bad)
