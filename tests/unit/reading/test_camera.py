"""Cameras from marks: what fixes them, what is refused, what would help."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.reading.rehearsal import HEIGHT, PRIORS, WIDTH, shot

from tuftwork.errors import InputError
from tuftwork.reading import (
    Ask,
    Camera,
    Length,
    Parallel,
    Picture,
    Plane,
    Point,
    Scene,
    Sighting,
    Trace,
    circle_poses,
    measure,
    on_plane,
    project,
    section_coordinates,
    solve_scene,
    tied,
    wheel_points,
)
from tuftwork.reading.begin import looking_at
from tuftwork.reading.camera import straightened
from tuftwork.reading.scene import Dimension

MIDDLE = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
LENS = Camera(focal=3000.0, distortion=-0.06, centre=MIDDLE, turn=np.zeros(3), shift=np.zeros(3))


def camera_at(azimuth: float, elevation: float, distance: float, focal: float = 3000.0) -> Camera:
    return Camera.of_vector(
        looking_at(
            np.array([1.3, 0, 0.4]),
            np.radians(azimuth),
            np.radians(elevation),
            distance,
            focal,
            MIDDLE,
        )
    )


def exact_scene(**views: Camera) -> tuple[Scene, dict[str, np.ndarray]]:
    """Return pictures of wheels and two free points, without a click off its mark."""
    dimensions = {n: replace(d, spread=0.0) for n, d in PRIORS.items()}
    points = {n: replace(p, loose=0.0) for n, p in wheel_points().items()}
    where = {n: np.array([t.at(dimensions) for t in p.tie if t]) for n, p in points.items()}
    points |= {"mirror left": Point(), "mirror right": Point(mirror_of="mirror left")}
    where["mirror left"] = np.array([0.55, -0.98, 0.95])
    where["mirror right"] = where["mirror left"] * [1, -1, 1]
    pictures, sightings = {}, []
    for name, camera in views.items():
        pictures[name] = Picture(
            width=WIDTH, height=HEIGHT, focal=camera.focal, focal_spread=0.05, centre_spread=1e-6
        )
        for point, place in where.items():
            at = project(camera, place[None])[0]
            if np.all(at > 0) and np.all(at < [WIDTH - 1, HEIGHT - 1]):
                sightings.append(Sighting(picture=name, point=point, at=tuple(at)))
    scene = Scene(
        dimensions=dimensions, points=points, pictures=pictures, sightings=tuple(sightings)
    )
    return scene, where


def test_exact_marks_give_back_cameras_and_shared_points() -> None:
    one, two = camera_at(130, 12, 6.0), camera_at(60, 8, 7.0)
    scene, where = exact_scene(P1=one, P2=two)
    solution = solve_scene(scene)
    np.testing.assert_allclose(solution.camera("P1").place(), one.place(), atol=1e-5)
    np.testing.assert_allclose(solution.camera("P2").vector(), two.vector(), atol=1e-4)
    np.testing.assert_allclose(solution.point("mirror left"), where["mirror left"], atol=1e-5)


def test_symmetry_places_a_point_seen_in_one_picture_only() -> None:
    scene, where = exact_scene(P1=camera_at(175, 15, 6.0))
    assert {s.point for s in scene.sightings} >= {"mirror left", "mirror right"}
    found = solve_scene(scene).point("mirror left")
    np.testing.assert_allclose(found, where["mirror left"], atol=1e-4)


def test_a_point_seen_once_and_on_no_plane_is_refused() -> None:
    scene, _ = exact_scene(P1=camera_at(130, 12, 6.0))
    kept = tuple(s for s in scene.sightings if s.point != "mirror right")
    with pytest.raises(InputError, match="seen once"):
        solve_scene(replace(scene, sightings=kept))


def test_a_ray_through_a_pixel_meets_the_plane_where_the_point_was() -> None:
    camera = replace(camera_at(130, 12, 6.0), distortion=-0.06)
    points = np.array([[0.0, 0.9, 0.1], [2.6, 0.9, 0.9], [1.0, 0.9, 0.5]])
    back = on_plane(
        camera, project(camera, points), np.array([0, 0.9, 0.0]), np.array([0, 1.0, 0.0])
    )
    np.testing.assert_allclose(back, points, atol=1e-9)


def test_a_wheel_gives_its_plane_and_scale() -> None:
    rng = np.random.default_rng(3)
    for _ in range(5):
        normal = rng.normal(size=3)
        centre = np.array([0.3, -0.2, 4.0])
        normal = -normal * np.sign(normal @ centre) / np.linalg.norm(normal)
        side = np.cross(normal, [1.0, 0, 0])
        side /= np.linalg.norm(side)
        around = np.linspace(0, 6, 9)[:, None]
        ring = centre + 0.325 * (np.cos(around) * side + np.sin(around) * np.cross(normal, side))
        poses = circle_poses(project(LENS, ring), LENS, 0.325)
        gaps = [np.linalg.norm(c - centre) + np.linalg.norm(n - normal) for c, n in poses]
        assert min(gaps) < 1e-9


def test_one_wheel_a_contact_and_parallel_lines_are_enough() -> None:
    camera = camera_at(70, 10, 4.2, 3200.0)
    dimensions = {n: replace(d, spread=0.001) for n, d in PRIORS.items()}
    points = wheel_points()
    hub = np.array([0, 0.93, 0.318])
    around = np.radians([0, 45, 90, 135, 180, 225])
    ring = hub + 0.325 * np.stack([np.cos(around), 0 * around, np.sin(around)], axis=1)
    from tuftwork.reading import Rim

    edges = [np.array([[0.2, 0.9, z], [0.8, 0.9, z]]) for z in (0.3, 0.7)]
    scene = Scene(
        dimensions=dimensions, points=points,
        pictures={"P": Picture(width=WIDTH, height=HEIGHT, focal=3200.0, focal_spread=0.03)},
        sightings=(
            Sighting(picture="P", point="hub front right", at=tuple(project(camera, hub[None])[0])),
        ),
        rims=(Rim(picture="P", centre="hub front right", radius=tied(("tyre front", 1.0)),
                  at=tuple(map(tuple, project(camera, ring)))),),
        parallels=tuple(
            Parallel(picture="P", axis=0, at=tuple(map(tuple, project(camera, e)))) for e in edges
        ),
    )  # fmt: skip
    found = solve_scene(scene)
    np.testing.assert_allclose(found.camera("P").place(), camera.place(), atol=0.03)


def test_marks_on_one_line_are_refused() -> None:
    scene, _ = exact_scene(P1=camera_at(90, 5, 8.0))
    line = ("ground front right", "ground rear right", "ground front left", "ground rear left")
    at = {name: (500.0 + 700 * k, 1800.0) for k, name in enumerate(line)}
    marks = tuple(Sighting(picture="P1", point=n, at=p) for n, p in at.items())
    with pytest.raises(InputError, match="on one line"):
        solve_scene(replace(scene, sightings=marks))


def test_too_few_marks_say_what_to_mark() -> None:
    scene, _ = exact_scene(P1=camera_at(90, 5, 8.0))
    with pytest.raises(InputError, match="Mark at least four"):
        solve_scene(replace(scene, sightings=scene.sightings[:2]))


def test_a_mark_outside_the_picture_is_refused() -> None:
    scene, _ = exact_scene(P1=camera_at(90, 5, 8.0))
    outside = Sighting(picture="P1", point="hub front right", at=(-40.0, 100.0))
    with pytest.raises(InputError, match="outside picture P1"):
        replace(scene, sightings=(*scene.sightings, outside))


def test_contradictory_lengths_are_named() -> None:
    scene, _ = exact_scene(P1=camera_at(130, 12, 6.0), P2=camera_at(60, 8, 7.0))
    wrong = Length(
        first="hub front right", second="hub rear right", best=2.9, spread=0.002,
        label="length between the hubs",
    )  # fmt: skip
    loose = {**scene.dimensions, "wheelbase": Dimension(best=2.62, spread=0.002, label="wheelbase")}
    with pytest.raises(InputError, match=r"contradict.*(hubs|wheelbase)"):
        solve_scene(replace(scene, dimensions=loose, lengths=(wrong,)))


def test_a_weak_set_up_says_so_and_names_the_mark_that_helps() -> None:
    taken = shot(np.random.default_rng(7), "three-quarter")
    kept = ("hub front right", "top front right", "ground front right", "hub front left")
    few = [s for s in taken.scene.sightings if s.point in kept]
    lens = replace(taken.scene.pictures["P"], focal_spread=0.6)
    weak = solve_scene(replace(taken.scene, sightings=tuple(few), rims=(), pictures={"P": lens}))
    assert any("weak set-up" in n for n in weak.notices)
    hint = weak.hint("P")
    assert hint is not None
    assert hint.left < 0.7
    added = next(s for s in taken.scene.sightings if s.point == hint.mark) if any(
        s.point == hint.mark for s in taken.scene.sightings) else None  # fmt: skip
    if added is not None:
        better = solve_scene(replace(weak.scene, sightings=(*weak.scene.sightings, added)))
        assert better.strength("P") < 0.85 * weak.strength("P")


def test_larger_clicks_make_wider_ranges_and_shares_add_up() -> None:
    taken = shot(np.random.default_rng(5), "side")
    ask = taken.asks["distance"]
    fine = measure(solve_scene(taken.scene), ask)
    coarse_picture = replace(taken.scene.pictures["P"], click=4.5)
    coarse = measure(solve_scene(replace(taken.scene, pictures={"P": coarse_picture})), ask)
    assert coarse.high - coarse.low > 1.8 * (fine.high - fine.low)
    assert sum(s for _, s in fine.shares) == pytest.approx(1.0, abs=0.05)
    assert fine.shares[0][0] == "clicks on chord"


def test_a_plane_seen_edge_on_is_refused() -> None:
    scene, _ = exact_scene(P1=camera_at(90, 0.0, 8.0))
    solution = solve_scene(replace(scene, sightings=tuple(
        s for s in scene.sightings if "mirror" not in s.point)))  # fmt: skip
    level = Plane(axis=2, at=tied(constant=float(solution.camera("P1").place()[2])))
    trace = Trace(name="edge", picture="P1", at=((900.0, 1300.0), (1500.0, 1300.0)), plane=level)
    with pytest.raises(InputError, match="edge-on"):
        measure(solution, Ask(kind="distance", traces=(trace,)))


def test_straightening_undoes_the_lens() -> None:
    flat = np.array([[0.4, 0.3], [-0.5, 0.1], [0.0, 0.0]])
    bent = flat * (1 - 0.06 * np.sum(flat**2, axis=1, keepdims=True)) * 3000.0 + MIDDLE
    np.testing.assert_allclose(straightened(LENS, bent), flat, atol=1e-12)


def test_a_traced_section_is_put_on_its_chord() -> None:
    x = np.concatenate([np.linspace(1, 0, 20), np.linspace(0, 1, 20)[1:-1]])
    y = np.concatenate([0.1 * np.sqrt(x[:20]) * (1 - x[:20]), -0.04 * x[20:] * (1 - x[20:])])
    turn = np.radians(9)
    away = np.stack([2.8 + 0.3 * (x * np.cos(turn) - y * np.sin(turn)), 0 * x,
                     1.1 + 0.3 * (x * np.sin(turn) + y * np.cos(turn))], axis=1)  # fmt: skip
    found = section_coordinates(away)
    assert found[0] == pytest.approx([1.0, 0.0], abs=1e-9)
    np.testing.assert_allclose(found[:20, 1], y[:20], atol=2e-3)
