"""Circuits: closure, smoothing, corners, files, and what is refused."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.errors import FileFault, InputError, NotConverged
from tuftwork.files.circuit import read_circuit
from tuftwork.lap import (
    Piece,
    circuit_from_drawing,
    circuit_from_laps,
    circuit_from_line,
    circuit_from_radii,
    find_corners,
    least_curvature_line,
    solve_lap,
)
from tuftwork.lap.demo import brackenholt, halyard, halyard_aero


def ring(n: int = 240, a: float = 220.0, b: float = 140.0) -> np.ndarray:
    t = np.linspace(0.0, 2 * np.pi, n, endpoint=False)
    return np.stack([a * np.cos(t), b * np.sin(t) + 25.0 * np.sin(2 * t)], axis=1)


def test_the_demo_circuit_is_what_the_scenario_says() -> None:
    c = brackenholt()
    assert c.length == pytest.approx(4160.0, abs=1e-6)
    assert len(c.corners) == 12
    assert sorted(k.radius for k in c.corners if k.corner_class == "fast") == [190.0, 215.0, 250.0]
    assert np.hypot(c.x[-1] - c.x[0], c.y[-1] - c.y[0]) < 1e-6
    assert c.turns == pytest.approx(-1.0, abs=1e-9)
    ends = np.array([k.end for k in c.corners])
    starts = np.array([k.start for k in c.corners])
    gaps = np.r_[starts[0] + c.length - ends[-1], starts[1:] - ends[:-1]]
    assert gaps.max() == pytest.approx(690.0, abs=1e-6)


def test_corners_are_found_where_they_were_laid() -> None:
    c = brackenholt()
    found = find_corners(c)
    assert len(found) == 12
    for a, b in zip(found, c.corners, strict=True):
        assert a.direction == b.direction
        assert a.radius == pytest.approx(b.radius, rel=0.02)
        assert b.start - 10 < a.apex < b.end + 10


def test_closing_changes_as_little_as_it_can() -> None:
    square = [Piece(length=200.0), Piece(radius=40.0, angle=np.pi / 2)] * 4
    assert circuit_from_radii("square", square).notices == ()
    bent = [Piece(length=190.0), Piece(radius=40.0, angle=1.5), *square[2:]]
    made = circuit_from_radii("bent", bent)
    assert np.hypot(made.x[-1] - made.x[0], made.y[-1] - made.y[0]) < 1e-6
    assert "closing the loop changed" in made.notices[0]
    assert "driven as" not in made.notices[0]  # a slip of the tape


def test_pieces_that_do_not_meet_are_told_by_name_with_both_sizes() -> None:
    """A square whose last straight was entered at twice its length: 400 m for 200 m."""
    square = [Piece(length=200.0), Piece(radius=40.0, angle=np.pi / 2, name="Gate")] * 4
    wrong = [*square[:6], Piece(length=400.0), Piece(radius=40.0, angle=np.pi / 2, name="Mere")]
    text = circuit_from_radii("wrong", wrong).notices[0]
    told = text.split(": ", 1)[1]
    assert told.startswith("straight before Mere 400 m, driven as 2")  # the slip comes first
    assert "straight before Gate 200 m, driven as 2" in told
    assert "do not meet" in text


def test_what_cannot_close_says_so() -> None:
    with pytest.raises((NotConverged, InputError)):
        circuit_from_radii("line", [Piece(length=500.0), Piece(radius=40.0, angle=0.3)])


def test_smoothing_finds_the_radius_under_noise() -> None:
    rng = np.random.default_rng(5)
    t = np.linspace(0.0, 2 * np.pi, 250, endpoint=False)
    circle = 200.0 * np.stack([np.cos(t), np.sin(t)], axis=1)
    noisy = circle + rng.normal(0.0, 0.25, circle.shape)
    rough = circuit_from_line("rough", noisy)
    smooth = circuit_from_line("smooth", noisy, smoothing=20.0)
    assert any("noisy" in n for n in rough.notices)
    assert smooth.length == pytest.approx(2 * np.pi * 200.0, rel=2e-3)
    assert np.std(smooth.curvature) < 0.1 * np.std(rough.curvature)
    assert np.mean(smooth.curvature) == pytest.approx(1 / 200.0, rel=5e-3)


def test_laps_logged_by_satellite_average_to_the_line() -> None:
    rng = np.random.default_rng(7)
    true = ring(600)
    lat0, lon0 = 50.0, 6.0
    per_degree = np.pi / 180 * 6_371_008.8

    def logged() -> np.ndarray:
        walk = true + rng.normal(0.0, 0.4, 2) + rng.normal(0.0, 0.15, true.shape)
        lat = lat0 + walk[:, 1] / per_degree
        return np.stack([lat, lon0 + walk[:, 0] / per_degree / np.cos(np.radians(lat0))], axis=1)

    made = circuit_from_laps("logged", [logged() for _ in range(5)])
    exact = circuit_from_line("exact", true)
    assert made.length == pytest.approx(exact.length, rel=3e-3)
    assert np.abs(made.curvature).max() == pytest.approx(np.abs(exact.curvature).max(), rel=0.06)
    assert "mean of 5 laps" in made.notices[0]


def test_a_drawing_gives_the_same_shape() -> None:
    pixels = ring(60) * [1.0, -1.0] / 0.5
    made = circuit_from_drawing("drawn", pixels, 0.5)
    assert made.length == pytest.approx(circuit_from_line("exact", ring(600)).length, rel=0.01)
    assert made.turns == pytest.approx(1.0, abs=1e-3)


def test_the_least_curvature_line_is_quicker_and_stays_on_the_road() -> None:
    widths = np.full((240, 2), 6.0)
    centre = circuit_from_line("road", ring(), widths=widths)
    line = least_curvature_line(centre)
    assert np.sum(line.curvature**2) * 0.5 < np.sum(centre.curvature**2) * 0.5
    assert line.width_left.min() > 0.9
    assert line.width_right.min() > 0.9
    quick, slow = (
        solve_lap(c, halyard(), halyard_aero(), n_point=800).time for c in (line, centre)
    )
    assert quick < slow


def test_a_hill_costs_time_uphill() -> None:
    height = 12.0 * np.sin(np.linspace(0, 2 * np.pi, 240, endpoint=False))
    flat, hilly = (
        circuit_from_line("flat", ring()),
        circuit_from_line("hilly", ring(), height=height),
    )
    assert np.abs(hilly.grade).max() > 0.02
    times = [solve_lap(c, halyard(), halyard_aero(), n_point=800).time for c in (flat, hilly)]
    assert times[0] != times[1]


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (ring()[:150], "end does not meet the start"),
        (ring() * 1e-3, "Given in km"),
        (np.where(np.arange(240)[:, None] == 7, np.nan, ring()), "row 7 is not a number"),
        (ring()[np.r_[0:100, 160:100:-1, 161:240]], "crosses itself|tighter|does not meet"),
    ],
)
def test_a_faulty_line_is_named(points: np.ndarray, words: str) -> None:
    with pytest.raises(InputError, match=words):
        circuit_from_line("faulty", points)


def test_a_curvature_spike_is_named() -> None:
    points = ring()
    points[50] += [0.0, 9.0]
    with pytest.raises(InputError, match=r"spike|crosses"):
        circuit_from_line("spiked", points)


def test_a_file_is_read_and_its_faults_are_listed(tmp_path: Path) -> None:
    good = tmp_path / "ring.csv"
    rows = [f"{x:.3f},{y:.3f},5.0,4.5" for x, y in ring()]
    good.write_text("# x_m,y_m,w_tr_right_m,w_tr_left_m\n" + "\n".join(rows), encoding="utf-8")
    made = read_circuit(good)
    assert made.name == "ring"
    assert made.width_right.max() == pytest.approx(5.0)
    bad = tmp_path / "bad.csv"
    bad.write_text("x,y\n1,2\n3,four\n5\n", encoding="utf-8")
    with pytest.raises(FileFault) as caught:
        read_circuit(bad)
    assert [f.line for f in caught.value.faults] == [3, 4]
