"""Seconds of sections and wings; ratios are taken within one run, nothing is gated on a clock."""

import numpy as np
import pytest
from scipy.linalg import lu_factor

from tuftwork.section import (
    Condition,
    Flap,
    assemble,
    build_mesh,
    build_system,
    naca,
    polar,
    single,
)
from tuftwork.section.point import prepare, solve_point
from tuftwork.wing import (
    Wing,
    evaluate,
    linear_table,
    pair_of_plates,
    solve_wing,
    straight_wing,
    uniform_onset,
    wing_system,
    wing_table,
)

AIR = Condition(reynolds=3e6, trips=((0.05, 0.05),))


def test_polar_point_warm(benchmark) -> None:
    """Aim 25 ms at 160 panels on one core with one linear-algebra thread."""
    case = prepare(single(naca("0012")), AIR)
    start = solve_point(case, np.deg2rad(4.0)).layers
    benchmark(solve_point, case, np.deg2rad(5.0), start)


def test_point_cold(benchmark) -> None:
    """Aim 60 ms."""
    stack = single(naca("4412"))
    benchmark(lambda: solve_point(prepare(stack, AIR), np.deg2rad(5.0)))


def test_two_elements_over_the_ground_cold(benchmark) -> None:
    """Aim 1 s."""
    flap = Flap(contour=naca("4412"), chord=0.4, deflection=np.deg2rad(20.0), gap=0.018)
    stack = assemble(naca("4412"), [flap])
    benchmark.pedantic(
        lambda: solve_point(prepare(stack, AIR, height=0.4), np.deg2rad(2.0)), rounds=3
    )


def test_panels_against_a_dense_solve(benchmark) -> None:
    """Aim: three elements of 120 panels cost at most 2.5 dense solves of the same size."""
    flaps = [
        Flap(contour=naca("4412"), chord=c, deflection=np.deg2rad(d), gap=0.015)
        for c, d in ((0.35, 20.0), (0.25, 40.0))
    ]
    mesh = build_mesh(assemble(naca("4412"), flaps).elements, n_panel=120)
    benchmark(build_system, mesh)


def test_a_dense_solve_of_that_size(benchmark) -> None:
    rng = np.random.default_rng(0)
    matrix = rng.normal(size=(363, 363))
    benchmark(lu_factor, matrix)


def _wing() -> Wing:
    surfaces = (straight_wing(1.7, 0.3, 1.1), straight_wing(1.3, 0.15, 0.8, name="beam"))
    return Wing(surfaces=surfaces, plates=(pair_of_plates(0.1, 0.15), pair_of_plates(0.05, 0.05)))


def test_lattice_of_two_surfaces_with_plates_and_ground(benchmark) -> None:
    """Aim 20 ms for 2 x 40 strips."""
    benchmark(wing_system, _wing(), n_span=40, n_row=1)


def test_a_new_onset_on_the_same_geometry(benchmark) -> None:
    """Aim 1 ms."""
    system, tables = (
        wing_system(_wing(), n_span=40, n_row=1),
        {"section": linear_table(maximum=1.7)},
    )
    benchmark(solve_wing, system, tables, incidence=0.1, onset=uniform_onset(angle=-0.04))


def test_draws_by_cells(benchmark) -> None:
    """256 draws by 225 map cells in one call."""
    wing = Wing(surfaces=(straight_wing(1.7, 0.3, 1.1),))
    table = wing_table(
        wing,
        {"section": linear_table(maximum=1.7)},
        incidence=np.linspace(-0.1, 0.3, 15),
        n_span=16,
    )
    rng = np.random.default_rng(1)
    incidence, onset = rng.normal(0.1, 0.01, 256), rng.normal(-0.03, 0.01, (225, 1))
    loads = benchmark(evaluate, table, incidence=incidence, onset_angle=onset)
    assert loads.downforce_area.shape == (225, 256)


@pytest.mark.parametrize("n", [11])
def test_a_whole_polar(benchmark, n) -> None:
    stack = single(naca("4412"))
    benchmark.pedantic(lambda: polar(stack, AIR, np.deg2rad(np.arange(0.0, n))), rounds=2)
