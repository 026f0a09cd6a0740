"""Kit parts of the generic car, and setting it down at other ride heights."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.shape import KINDS, at_ride_heights, check_mesh, generic_car

KIT = {
    "dive_planes": 2, "wing_flap_chord": 0.12, "wing_gurney": 0.015, "diffuser_fences": 4,
    "skirt_height": 0.02,
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_every_kit_part_of_every_kind_is_closed_and_in_place(kind: str) -> None:
    parts = {m.name: m for m in generic_car(kind, **KIT)}
    for mesh in parts.values():
        check_mesh(mesh)
    assert {"rear wing flap", "rear wing gurney", "diffuser fence 4", "skirt left"} <= set(parts)
    assert {"dive plane 2 left", "dive plane 2 right"} <= set(parts)
    top = parts["rear wing"].vertices[:, 2].max()
    assert parts["rear wing gurney"].vertices[:, 2].max() > top
    assert parts["diffuser fence 1"].vertices[:, 2].min() > 0.01
    left, right = (parts[f"dive plane 1 {s}"].vertices[:, 1] for s in ("left", "right"))
    np.testing.assert_allclose(np.sort(left), np.sort(-right))


def test_a_plain_kind_has_no_kit() -> None:
    names = {m.name for m in generic_car("coupe")}
    assert not [n for n in names if "dive" in n or "flap" in n or "fence" in n]


def test_kit_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(InputError, match="whole number from 0 to 3"):
        generic_car("coupe", dive_planes=1.5)
    with pytest.raises(InputError, match="from 0 to 8"):
        generic_car("coupe", diffuser_fences=20)


def test_ride_heights_move_the_axle_lines_and_leave_the_wheels() -> None:
    meshes = generic_car("coupe")
    wheels = tuple(m.name for m in meshes if m.name.startswith("wheel"))
    moved = at_ride_heights(
        meshes, wheelbase=2.6, change_front=-0.02, change_rear=0.01, left_alone=wheels
    )
    for before, after in zip(meshes, moved, strict=True):
        rise = after.vertices[:, 2] - before.vertices[:, 2]
        wanted = 0.0 if before.name in wheels else -0.02 + 0.03 / 2.6 * before.vertices[:, 0]
        np.testing.assert_allclose(rise, wanted, atol=1e-12)
        check_mesh(after)
    with pytest.raises(InputError, match=r"0\.1"):
        at_ride_heights(meshes, wheelbase=2.6, change_front=0.3, change_rear=0.0)
