"""Wings by the lattice: geometry checks, coupling, tables, induced flow, service loads."""

import numpy as np
import pytest

from tuftwork.errors import InputError, UnknownName
from tuftwork.wing import (
    EndPlate,
    Onset,
    Surface,
    Wing,
    angle_along_edge,
    evaluate,
    induced_velocity,
    linear_table,
    mount_factor,
    pair_of_plates,
    service_load,
    solve_wing,
    straight_wing,
    uniform_onset,
    wing_system,
    wing_table,
)

TABLES = {"section": linear_table(maximum=1.6, drag=0.01)}


def _wing(**more) -> Wing:
    return Wing(surfaces=(straight_wing(1.7, 0.3, 1.1),), **more)


def _solve(wing: Wing, incidence=0.12, **more):
    return solve_wing(wing_system(wing, n_span=20), TABLES, incidence=incidence, **more)


def test_the_load_is_symmetric_on_a_symmetric_wing() -> None:
    r = _solve(_wing())
    np.testing.assert_allclose(r.lift, r.lift[::-1], rtol=1e-9)
    assert r.tip_vortex[0, 0] == pytest.approx(r.tip_vortex[0, 1])


def test_more_strips_change_little() -> None:
    few, many = (
        solve_wing(wing_system(_wing(), n_span=n), TABLES, incidence=0.12).downforce_area
        for n in (16, 48)
    )
    assert few == pytest.approx(many, rel=5e-3)


def test_plates_and_ground_raise_the_downforce() -> None:
    bare = _solve(_wing()).downforce_area
    plated = _solve(_wing(plates=(pair_of_plates(0.1, 0.15),))).downforce_area
    low = Wing(surfaces=(straight_wing(1.7, 0.3, 0.12),))
    assert plated > bare
    assert _solve(low).downforce_area > bare


def test_speed_squared_and_angle_of_the_onset() -> None:
    straight = _solve(_wing())
    slow = _solve(_wing(), onset=uniform_onset(speed=0.9))
    turned = _solve(_wing(), incidence=0.17, onset=uniform_onset(angle=-0.05))
    assert slow.downforce_area == pytest.approx(0.81 * straight.downforce_area, rel=1e-6)
    assert turned.downforce_area == pytest.approx(straight.downforce_area * np.cos(0.05), rel=1e-6)
    # air that takes incidence away turns the load rearward
    assert turned.onset_area == pytest.approx(straight.downforce_area * np.sin(0.05), rel=1e-6)


def test_an_onset_along_the_span_moves_the_load_outboard() -> None:
    dip = Onset(y=np.array([-0.9, 0.0, 0.9]), angle=np.array([0.0, -0.1, 0.0]), speed=np.ones(3))
    r, plain = _solve(_wing(), onset=dip), _solve(_wing())
    middle, tip = np.abs(r.y) < 0.2, np.abs(r.y) > 0.6
    assert (r.lift - plain.lift)[middle].mean() < (r.lift - plain.lift)[tip].mean()


def test_two_surfaces_act_on_each_other() -> None:
    upper, lower = straight_wing(1.5, 0.25, 1.1), straight_wing(1.3, 0.15, 0.85, x=0.1, name="beam")
    both = _solve(Wing(surfaces=(upper, lower)))
    alone = (
        _solve(Wing(surfaces=(upper,))).downforce_area
        + _solve(Wing(surfaces=(lower,))).downforce_area
    )
    assert both.downforce_area < alone


def test_past_stall_is_flagged() -> None:
    r = _solve(_wing(), incidence=0.45)
    assert r.is_stalled
    assert r.lift.max() < 1.75
    assert "one of several" in r.notices[0]


def test_the_wash_behind_a_downforce_wing_goes_up() -> None:
    r = _solve(_wing())
    behind = induced_velocity(r, np.array([[3.0, 0.0, 1.1], [3.0, 0.0, 0.0]]))
    assert behind[0, 2] > 0.02
    assert abs(behind[1, 2]) < 1e-12  # no flow through the road


def test_the_wash_far_behind_matches_the_induced_drag() -> None:
    # momentum: D = integral of half the far wash times the load
    r = _solve(Wing(surfaces=(straight_wing(1.7, 0.3, 50.0),)))
    points = np.column_stack([np.full(r.y.size, 400.0), r.y, r.z])
    wash = induced_velocity(r, points)[:, 2]
    load = r.lift * r.chord * r.width
    assert 0.5 * (wash * load).sum() == pytest.approx(r.induced_area, rel=0.02)


def test_an_edge_behind_knows_its_angle_and_tolerance() -> None:
    r = _solve(Wing(surfaces=(straight_wing(1.7, 0.3, 0.25),)))
    line = np.column_stack([np.full(9, 1.2), np.linspace(-0.6, 0.6, 9), np.full(9, 0.08)])
    edge = angle_along_edge(r, line, tolerance=np.deg2rad(6.0))
    assert (edge.low < edge.angle).all()
    assert (edge.angle < edge.high).all()
    assert not angle_along_edge(r, line, tolerance=1e-4).is_within.any()


def test_the_hinge_moment_changes_sign_through_the_centre_of_load() -> None:
    r = _solve(_wing())
    at = service_load(r, 1000.0, hinge_x=r.x_centre, lever=0.1)
    ahead, behind = (service_load(r, 1000.0, hinge_x=r.x_centre + d) for d in (-0.05, 0.05))
    assert at.hinge_moment == pytest.approx(0.0, abs=1e-9 * at.downforce + 1e-6)
    assert ahead.hinge_moment < 0.0 < behind.hinge_moment
    assert at.downforce == pytest.approx(1000.0 * r.downforce_area, rel=1e-6)
    assert at.drag == pytest.approx(1000.0 * r.drag_area, rel=1e-6)


def test_top_mounts_keep_more_than_bottom_mounts() -> None:
    assert mount_factor("top")[0] > mount_factor("bottom")[0]


def test_the_table_gives_back_the_wing() -> None:
    table = wing_table(
        _wing(), TABLES, incidence=np.linspace(-0.05, 0.3, 15), height=np.linspace(-0.1, 0.1, 3),
        n_span=20,
    )  # fmt: skip
    got = evaluate(table, incidence=np.array([0.06, 0.12]), onset_angle=0.0)
    for k, a in enumerate((0.06, 0.12)):
        direct = _solve(_wing(), incidence=a)
        assert got.downforce_area[k] == pytest.approx(direct.downforce_area, rel=0.01)
        assert got.drag_area[k] == pytest.approx(direct.drag_area, rel=0.02)
    assert not got.is_outside.any()


def test_the_table_takes_draws_by_cells_at_once() -> None:
    table = wing_table(_wing(), TABLES, incidence=np.linspace(-0.1, 0.3, 9), n_span=12)
    rng = np.random.default_rng(1)
    loads = evaluate(
        table, incidence=rng.normal(0.1, 0.01, 256), onset_angle=rng.normal(-0.03, 0.01, (225, 1)),
        onset_speed=rng.uniform(0.9, 1.0, (225, 1)),
    )  # fmt: skip
    assert loads.downforce_area.shape == (225, 256)
    assert evaluate(table, incidence=0.5).is_outside


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: straight_wing(-1.0, 0.3, 1.0), "span"),
        (lambda: straight_wing(1.0, -0.3, 1.0), "chord"),
        (lambda: straight_wing(1.0, 0.3, -0.1), "above the road"),
        (lambda: EndPlate(side=2, above=0.1, below=0.1), "side"),
        (lambda: uniform_onset(speed=0.0), "speed"),
        (lambda: Wing(surfaces=()), "surfaces"),
        (lambda: Wing(surfaces=(straight_wing(1.0, 0.3, 0.1),), plates=(pair_of_plates(0.1, 0.2),)),
         "reaches the road"),
        (lambda: Surface(y=np.array([0.0, 0.0]), x_nose=np.zeros(2), z=np.ones(2), chord=np.ones(2),
                         twist=np.zeros(2)), "increase"),
    ],
)  # fmt: skip
def test_impossible_wings_are_refused(make, message) -> None:
    with pytest.raises(InputError, match=message):
        make()


def test_an_unknown_section_lists_the_known() -> None:
    with pytest.raises(UnknownName, match="Known: section"):
        solve_wing(
            wing_system(Wing(surfaces=(straight_wing(1.0, 0.3, 1.0, section="sektion"),))), TABLES
        )
