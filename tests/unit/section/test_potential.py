"""Invariants of the panel method."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.section import (
    Contour,
    Flap,
    assemble,
    build_mesh,
    build_system,
    influence,
    mirror,
    naca,
    over_ground,
    single,
    solve_potential,
)
from tuftwork.section.shape import transform


def _flow(contours, alpha=0.0, n=150, **more):
    return solve_potential(build_system(build_mesh(contours, n_panel=n, **more)), alpha)


@pytest.mark.parametrize("code", ["0012", "4412", "23015"])
def test_no_drag_and_lift_of_the_circulation_in_free_air(code) -> None:
    # I1, I3
    flow = _flow([naca(code)], 0.1)
    assert abs(flow.drag) < 2e-3 * flow.lift
    assert flow.lift == pytest.approx(2.0 * flow.circulation[0], rel=3e-3)


def test_elements_pull_on_each_other_but_not_on_the_whole() -> None:
    # I2
    stack = assemble(naca("4412"), [Flap(contour=naca("4412"), chord=0.4, deflection=0.4)])
    flow = _flow(stack.elements, 0.05)
    assert abs(flow.drag) < 2e-3 * flow.lift
    assert abs(flow.element_drag[0]) > 0.05 * flow.lift


def test_a_mirrored_section_mirrors_its_loads() -> None:
    # I5
    a, b = _flow([naca("4412")], 0.08), _flow([mirror(naca("4412"))], -0.08)
    assert b.lift == pytest.approx(-a.lift, abs=1e-10)
    np.testing.assert_allclose(b.pressure[::-1], a.pressure, atol=1e-9)


def test_scaling_changes_no_coefficient() -> None:
    # I7
    a, b = _flow([naca("4412")], 0.08), _flow([transform(naca("4412"), scale=0.27)], 0.08)
    assert b.lift == pytest.approx(a.lift, abs=1e-10)


def test_the_error_falls_with_the_square_of_the_panels() -> None:
    # I8 with the extrapolated value of check E7
    miss = [
        abs(solve_potential(build_system(build_mesh([naca("0012", n_point=801)], n_panel=n)),
                            np.deg2rad(10.0), chord=1.0).circulation[0] * 2 - 1.201440)
        for n in (40, 80, 160)
    ]  # fmt: skip
    assert miss[0] / miss[1] > 2.0
    assert miss[1] / miss[2] > 1.8


def test_far_above_the_ground_the_wall_hardly_acts() -> None:
    # I6: the wall adds about -CL^2/(4 pi h) + CL/(16 h^2)
    far = _flow([naca("4412")], 0.0)
    near = _flow(over_ground(single(naca("4412")), 0.0, 4.0, is_inverted=False), is_grounded=True)
    expected = -(far.lift**2) / (16 * np.pi) + far.lift / 256
    assert near.lift - far.lift == pytest.approx(expected, rel=0.25)


def test_the_image_is_the_mirrored_section() -> None:
    placed = over_ground(single(naca("4412")), 0.05, 0.2)
    by_image = _flow(placed, is_grounded=True)
    below = Contour(x=placed[0].x[::-1].copy(), y=-placed[0].y[::-1])
    explicit = _flow([placed[0], below])
    assert by_image.lift == pytest.approx(explicit.element_lift[0], abs=1e-8)


def test_fluxes_of_a_source_panel_sum_to_nothing_round_a_closed_outline() -> None:
    x, y = naca("4412").x[::4].copy(), naca("4412").y[::4].copy()
    x[-1], y[-1] = x[0], y[0]
    ax, ay = np.append(x[:-1], 1.02), np.append(y[:-1], 0.0)
    bx, by = np.append(x[1:], 1.10), np.append(y[1:], -0.01)
    flux = influence.source_fluxes(x, y, ax, ay, bx, by, False)
    np.testing.assert_allclose(flux.sum(axis=0), 0.0, atol=1e-9)


def test_an_element_in_the_ground_is_refused() -> None:
    with pytest.raises(InputError, match="must be above the ground"):
        build_mesh([naca("4412")], is_grounded=True)


def test_incidence_above_a_ground_is_refused() -> None:
    placed = over_ground(single(naca("4412")), 0.0, 0.5)
    with pytest.raises(InputError, match="Turn the section"):
        _flow(placed, 0.1, is_grounded=True)
