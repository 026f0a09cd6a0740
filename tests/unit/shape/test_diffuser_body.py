"""The diffuser body of the literature."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.shape import check_mesh, diffuser_bluff_body
from tuftwork.shape.diffuser_body import HEIGHT, KICK, LENGTH, PLATE


@pytest.mark.parametrize("angle", [5.0, 10.0, 17.0, 20.0])
def test_the_diffuser_body_is_closed_and_lacks_the_ramps_wedge(angle: float) -> None:
    body = diffuser_bluff_body(np.radians(angle), 0.03)
    level = diffuser_bluff_body(1e-6, 0.03)
    check_mesh(body, closed=True)
    wedge = 0.5 * (LENGTH - KICK) ** 2 * np.tan(np.radians(angle)) * (0.314 - 2 * PLATE)
    assert level.volume - body.volume == pytest.approx(wedge, rel=1e-4)


def test_the_diffuser_body_stands_at_its_ride_height() -> None:
    body = diffuser_bluff_body(np.radians(17.0), 0.05)
    np.testing.assert_allclose(body.vertices.min(axis=0), [0.0, -0.157, 0.05], atol=1e-12)
    np.testing.assert_allclose(
        body.vertices.max(axis=0), [LENGTH, 0.157, 0.05 + HEIGHT], atol=1e-12
    )


def test_a_ramp_that_leaves_no_base_is_refused() -> None:
    with pytest.raises(InputError, match="angle"):
        diffuser_bluff_body(np.radians(35.0), 0.03)
    with pytest.raises(InputError, match="ride_height"):
        diffuser_bluff_body(np.radians(10.0), 0.0)
