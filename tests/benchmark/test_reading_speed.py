"""Seconds to solve a picture, from nothing and beside the last answer, and to measure on it."""

from dataclasses import replace
from typing import Any

import numpy as np
from tests.unit.reading.rehearsal import shot

from tuftwork.reading import measure, solve_scene


def test_solve_a_picture_from_nothing(benchmark: Any) -> None:
    taken = shot(np.random.default_rng(3), "three-quarter")
    solution = benchmark(solve_scene, taken.scene)
    assert solution.excess < 2.0


def test_solve_again_after_a_mark_moved(benchmark: Any) -> None:
    taken = shot(np.random.default_rng(3), "three-quarter")
    first = solve_scene(taken.scene)
    sighting = taken.scene.sightings[0]
    moved = replace(sighting, at=(sighting.at[0] + 1.0, sighting.at[1]))
    scene = replace(taken.scene, sightings=(moved, *taken.scene.sightings[1:]))
    solution = benchmark(solve_scene, scene, first.theta)
    assert solution.excess < 2.0


def test_measure_a_net_area(benchmark: Any) -> None:
    taken = shot(np.random.default_rng(4), "side")
    solution = solve_scene(taken.scene)
    found = benchmark(measure, solution, taken.asks["net area"])
    assert found.low < found.best < found.high
