"""Camera geometry against OpenCV (general library) and [hartley2004] (from memory, by section).

OpenCV's values are computed by OpenCV while the test runs. The textbook's equations are written
here in their own form, status: memory of the named sections; numbers are worked by hand.
"""

import cv2
import numpy as np
import pytest

from tuftwork.reading import (
    Camera,
    Picture,
    Point,
    Scene,
    Sighting,
    cross_ratio,
    focal_from_square,
    height_from_reference,
    project,
    solve_scene,
    tied,
    vanishing_point,
)

RNG = np.random.default_rng(4)
SHARP = 1e-6  # the budget: exact data, double precision


def random_camera() -> Camera:
    return Camera(
        focal=RNG.uniform(800, 5000), distortion=RNG.uniform(-0.1, 0.05),
        centre=RNG.uniform(600, 2000, 2), turn=RNG.normal(0, 0.6, 3),
        shift=np.array([*RNG.normal(0, 0.4, 2), RNG.uniform(4, 12)]),
    )  # fmt: skip


@pytest.mark.parametrize("number", range(6))
def test_projection_is_that_of_opencv(number: int) -> None:
    camera, points = random_camera(), RNG.uniform(-1, 1, (20, 3))
    expected, _ = cv2.projectPoints(
        points, camera.turn, camera.shift, camera.matrix(),
        np.array([camera.distortion, 0.0, 0.0, 0.0]),
    )  # fmt: skip
    np.testing.assert_allclose(project(camera, points), expected[:, 0], rtol=0, atol=SHARP)


def test_pose_is_that_of_opencv_on_exact_marks() -> None:
    camera = Camera(
        focal=2600.0, distortion=0.0, centre=np.array([1999.5, 1333.0]),
        turn=np.array([1.2, -0.4, 0.3]), shift=np.array([-0.4, 0.3, 7.0]),
    )  # fmt: skip
    places = np.random.default_rng(9).uniform(-1, 1, (8, 3))
    marks = project(camera, places)
    ok, turn, shift = cv2.solvePnP(places, marks, camera.matrix(), None, flags=cv2.SOLVEPNP_SQPNP)
    assert ok
    points = {
        f"p{i}": Point(tie=tuple(tied(constant=float(c)) for c in p)) for i, p in enumerate(places)
    }
    picture = Picture(
        width=4000, height=2667, focal=2600.0, focal_spread=1e-6, distortion_spread=1e-6,
        centre_spread=1e-7,
    )  # fmt: skip
    scene = Scene(
        dimensions={}, points=points, pictures={"P": picture},
        sightings=tuple(
            Sighting(picture="P", point=f"p{i}", at=tuple(m)) for i, m in enumerate(marks)
        ),
    )  # fmt: skip
    found = solve_scene(scene).camera("P")
    np.testing.assert_allclose(found.turn, turn.ravel(), rtol=0, atol=SHARP)
    np.testing.assert_allclose(found.shift, shift.ravel(), rtol=0, atol=SHARP)


def test_cross_ratio_survives_a_projective_map_and_has_its_textbook_value() -> None:
    """[hartley2004] section 2.5: invariant under every projective map of the line."""
    places = np.array([0.0, 1.0, 2.0, 3.0])
    # |ab||cd| / |ac||bd| of four even steps: 1·1 / (2·2) = 1/4, by hand
    assert cross_ratio(*places) == pytest.approx(0.25, abs=1e-12)
    mapped = (3.0 * places + 2.0) / (0.4 * places + 5.0)
    assert cross_ratio(*mapped) == pytest.approx(0.25, abs=1e-12)


def test_vanishing_point_of_evenly_spaced_points_as_in_the_textbook() -> None:
    """[hartley2004] section 2.5, example on the vanishing point from a known length ratio a : b.

    Intervals a = b in space seen as 0, 2, 3 on a line: the map x = 6t/(t + 2)·… by hand:
    H = [[h, 0], [g, 1]], h/(g + 1) = 2, 2h/(2g + 1) = 3 → g = 1/2, h = 3; vanishing at h/g = 6.
    """
    gone = 6.0
    direct = cross_ratio(0.0, 2.0, 3.0, gone)
    at_infinity = 0.5  # limit of |ab||cd| / (|ac||bd|) with d → ∞: |ab| / |ac| = 1/2
    assert direct == pytest.approx(at_infinity, abs=1e-12)
    camera = np.array([[3.0, 0.0], [0.5, 1.0]])
    line = [(camera @ [t, 1.0])[0] / (camera @ [t, 1.0])[1] for t in (0.0, 1.0, 2.0)]
    assert line == pytest.approx([0.0, 2.0, 3.0])


def test_vanishing_points_are_images_of_directions() -> None:
    """[hartley2004] section 8.6: v = K R d; section 8.8: v1ᵀ ω v2 = 0 for square directions."""
    camera = Camera(
        focal=2600.0, distortion=0.0, centre=np.array([2000.0, 1300.0]),
        turn=np.array([1.3, -0.5, 0.4]), shift=np.array([-0.4, 0.3, 7.0]),
    )  # fmt: skip
    gone = []
    for axis in (0, 1):
        way = np.eye(3)[axis]
        starts = np.array([[0, 0, 0], [0.3, 0.5, 0.4], [1.0, 0.2, 0.9]])
        segments = np.array([project(camera, np.array([s, s + 1.5 * way])) for s in starts])
        found = vanishing_point(segments)
        expected = camera.matrix() @ camera.rotation() @ way
        np.testing.assert_allclose(found[:2] / found[2], expected[:2] / expected[2], rtol=1e-7)
        gone.append(found)
    assert focal_from_square(*gone, camera.centre) == pytest.approx(2600.0, rel=1e-7)


def test_heights_from_one_picture_and_one_known_height() -> None:
    """[criminisi2000] and [hartley2004] section 8.7: heights over a ground plane."""
    camera = Camera(
        focal=2600.0, distortion=0.0, centre=np.array([2000.0, 1300.0]),
        turn=np.array([1.3, -0.5, 0.4]), shift=np.array([-0.4, 0.3, 7.0]),
    )  # fmt: skip
    frame = camera.matrix() @ camera.rotation()
    vertical, horizon = frame[:, 2], np.cross(frame[:, 0], frame[:, 1])
    feet = np.array([[0.0, 0, 0], [1.5, 0.8, 0]])
    base = project(camera, feet)
    top = project(camera, feet + np.array([[0, 0, 1.2], [0, 0, 0.65]]))
    found = height_from_reference(base[1], top[1], base[0], top[0], vertical, horizon)
    assert found == pytest.approx(0.65 / 1.2, rel=1e-9)
