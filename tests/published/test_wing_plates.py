"""Sharp swept plates and vented sections against print: [polhamus1966], [smith1975], Bernoulli.

Values of sharp deltas are from memory of the printed charts, 3 % on constants and 8 % on lift.
"""

import numpy as np
import pytest

from tuftwork.aeromap.part.wing_role import vent_gain
from tuftwork.wing.dive_plane import plate_slope, sharp_plate, vortex_share


def _delta(ratio: float) -> tuple[float, float]:
    """Slope and vortex constant of a delta wing of this aspect ratio."""
    sweep = np.arctan(4.0 / ratio)
    slope = float(plate_slope(ratio, np.arctan(0.5 * np.tan(sweep))))
    return slope, float(vortex_share(ratio, slope, sweep))


@pytest.mark.parametrize("ratio", [0.02, 0.05])
def test_slender_plates_have_the_slope_of_slender_bodies(ratio) -> None:
    # pi A / 2 as A goes to nought, closed form for unswept edges; 1 %
    assert float(plate_slope(ratio, 0.0)) == pytest.approx(0.5 * np.pi * ratio, rel=0.01)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 1.5, 2.0])
def test_the_vortex_constant_of_sharp_deltas(ratio) -> None:
    # [polhamus1966]: K_v close to pi, 3.1 to 3.3 between A 0.5 and 2 (memory), 5 %
    assert _delta(ratio)[1] == pytest.approx(3.2, rel=0.05)


@pytest.mark.parametrize(
    ("ratio", "angle", "lift"), [(1.0, 20.0, 0.75), (1.456, 10.0, 0.38), (1.456, 20.0, 0.91)]
)
def test_lift_of_sharp_deltas(ratio, angle, lift) -> None:
    # measured, A = 1 and the 70 degree delta, memory of the charts: 10 %
    load = sharp_plate(ratio, np.deg2rad(angle), np.arctan(4.0 / ratio))
    assert float(load.lift) == pytest.approx(lift, rel=0.10)


def test_a_sharp_edge_has_no_suction() -> None:
    # drag due to lift is C tan(alpha), exactly; friction is what is left at no angle
    angle = np.deg2rad(15.0)
    load = sharp_plate(1.5, angle, np.deg2rad(60.0))
    still = sharp_plate(1.5, 0.0, np.deg2rad(60.0))
    assert float(load.drag - still.drag) == pytest.approx(float(load.lift) * np.tan(angle))


@pytest.mark.parametrize(("throat", "exit_pressure"), [(2.0, -0.3), (1.5, -0.6), (3.0, 0.05)])
def test_a_closed_duct_to_an_exit_is_bernoulli(throat, exit_pressure) -> None:
    # a duct whose throat runs ``throat`` times as fast as its end, a plate at rest above it: with
    # its end at pressure C_e the suction is 1 - (1 - C_e) throat^2, closed form. At C_t = 0 its
    # coefficient is throat^2 - 1, all of it suction
    free = throat**2 - 1.0
    gain = vent_gain(
        free, exit_pressure, vented=1.0, edge_pressure=0.0, suction_share=1.0, confined=1.0
    )
    assert free + float(gain) == pytest.approx((1.0 - exit_pressure) * throat**2 - 1.0)
