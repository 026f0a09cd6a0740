"""The channels under a splitter, its rolled edge and its upwash, against closed forms.

No published series of a splitter's load with its geometry was found: the level stands against the
exact plate above a wall in the limit in which a channel has an answer, against nothing measured.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from tuftwork.floor.front_make import solve_strip
from tuftwork.floor.front_spec import OPEN, WALLED, FrontSpec, FrontStrip
from tuftwork.floor.line import LineResult
from tuftwork.floor.nose import edge_tolerance
from tuftwork.wing.horseshoe import horseshoe_angle

pytestmark = pytest.mark.published
DATA = Path(__file__).parent / "data"


def _row(name: str) -> dict[str, float]:
    table = np.genfromtxt(
        DATA / "floor_front_theory.csv", delimiter=",", skip_header=4, names=True, dtype=None,
        encoding=None,
    )  # fmt: skip
    row = next(r for r in table if r["id"] == name)
    return {k: float(row[k]) for k in ("area_ratio", "base_pressure", "value")}


def _plate_slope(height: float) -> float:
    """Return the lift slope of a plate above a wall, height at mid-chord over chord [1/rad]."""
    table = np.genfromtxt(DATA / "wallplate_linear.csv", delimiter=",", skip_header=4, names=True)
    return float(2 * np.pi * np.interp(height, table["h_c"], table["CLa_ratio"]))


def _walled(ratio: float, base: float, *, gap: float = 0.3, length: float = 1.6) -> LineResult:
    """A sealed channel large enough for its layers to be thin, without loss at the lip."""
    rise = gap * (ratio - 1)
    strip = FrontStrip(
        name="middle", width=1.0, end=length, ramp=0.3 if rise > 0 else None, rise=rise,
        sides=WALLED,
    )  # fmt: skip
    spec = FrontSpec(
        lip=0.0, projection=0.1, strips=(strip,), bends=False, gap=(0.1, 0.5), reynolds=4e7
    )
    point = np.array([0.0, 0.0, np.log(1 - base), 1.0, 0.0, 0.0, 0.0, 1.0])
    return solve_strip(spec, strip, gap, point, n_node=160)


class TestChannel:
    def test_throat_pressure_follows_the_area_ratio(self) -> None:
        # D3, ideal: the layers of floor and road take some of the recovery (effectiveness some 0.9)
        row = _row("D3")
        found = _walled(row["area_ratio"], row["base_pressure"])
        throat = float(np.interp(0.2, found.x, found.pressure))
        ideal = 1 - (1 - row["base_pressure"]) * row["area_ratio"] ** 2
        assert ideal == pytest.approx(row["value"], abs=1e-9)
        assert row["value"] - 0.02 < throat < row["value"] + 0.12 * abs(1 - row["value"])

    def test_without_a_ramp_it_has_the_pressure_it_hands_over_at(self) -> None:
        # D5
        row = _row("D5")
        found = _walled(row["area_ratio"], row["base_pressure"])
        np.testing.assert_allclose(found.pressure, row["value"], atol=0.02)

    def test_its_flow_is_the_same_all_along_where_it_is_sealed(self) -> None:
        # S2, S4
        found = _walled(1.4, -0.1)
        np.testing.assert_allclose(found.flow, found.flow[0], rtol=1e-6)

    def test_more_leak_leaves_less_suction_and_less_flow_in(self) -> None:
        # S3
        strip = FrontStrip(name="middle", width=1.4, end=0.6, ramp=0.25, rise=0.05, sides=OPEN)
        spec = FrontSpec(
            lip=0.0, projection=0.1, strips=(strip,), bends=False, gap=(0.02, 0.1), reynolds=4e6
        )
        loads, inlets = [], []
        for leak in (0.02, 0.1, 0.3, 0.6):
            point = np.array([0.0, 0.0, np.log(1.2), 1.0, np.sqrt(leak), 0.8, 0.05, 1.0])
            found = solve_strip(spec, strip, 0.05, point, n_node=60)
            loads.append(found.downforce)
            inlets.append(float(found.flow[0]))
        assert np.all(np.diff(loads) < 0)
        assert np.all(np.diff(inlets) < 0)

    def test_load_peaks_and_falls_as_the_lip_comes_down(self) -> None:
        # W1e, W1f by analogy with a wing over a moving road: a maximum, no rise without end
        strip = FrontStrip(name="ramps", width=0.8, end=0.62, ramp=0.25, rise=0.05, sides=OPEN)
        spec = FrontSpec(
            lip=0.0, projection=0.1, strips=(strip,), bends=False, gap=(0.008, 0.1), reynolds=4e6
        )
        gaps, loads, near = np.geomspace(0.1, 0.010, 12), [], None
        for gap in gaps:
            point = np.array([0.0, 0.0, np.log(1.2), 1.0, np.sqrt(0.6), 0.8, 0.05, 1.0])
            near = solve_strip(spec, strip, float(gap), point, n_node=60, near=near)
            loads.append(near.downforce)
        k = int(np.argmax(loads))
        assert 0 < k < len(loads) - 1
        assert loads[-1] < 0.9 * loads[k]
        assert loads[0] < 0.9 * loads[k]


class TestPlate:
    """A bare inclined plate: the channel under it against the exact flow round all of it.

    The channel ends at the outside's pressure and has no upper side; both are small only where the
    plate is close to the wall against its length, where the load goes to α c/h.
    """

    @staticmethod
    def _share(height: float) -> float:
        """Return the channel's load over the exact plate's, at mid-chord height over chord."""
        chord, angle = 6.0, np.radians(0.25)
        loads = []
        for slope in (-angle, angle):
            strip = FrontStrip(name="middle", width=1.0, end=chord, sides=WALLED)
            spec = FrontSpec(lip=0.0, projection=0.1, strips=(strip,), bends=False,
                             gap=(0.1, 2.0), reynolds=4e7)  # fmt: skip
            # the gap is that at the hinge
            gap = height * chord - slope * (0.5 * chord - 0.1)
            point = np.array([slope, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0])
            loads.append(solve_strip(spec, strip, gap, point, n_node=160).downforce / chord)
        return float((loads[1] - loads[0]) / (2 * angle) / _plate_slope(height))

    def test_it_carries_most_of_the_exact_load_close_to_the_wall_and_never_more(self) -> None:
        shares = [self._share(h) for h in (0.05, 0.10, 0.15, 0.20)]
        assert np.all(np.diff(shares) < 0)
        assert 0.5 < shares[0] < 1.0

    @pytest.mark.parametrize("height", [0.05, 0.10])
    def test_its_slope_is_that_of_continuity(self, height: float) -> None:
        # α c/h of a channel without loss; layers of plate and road take some of it
        assert self._share(height) * _plate_slope(height) == pytest.approx(1 / height, rel=0.12)


class TestEdge:
    @pytest.mark.parametrize("thick", [0.02, 0.06, 0.12])
    def test_what_a_rolled_edge_bears_is_that_of_an_ellipse(self, thick: float) -> None:
        """Exact flow round an ellipse at the angle told: greatest Cp at the nose near the limit.

        Kutta's condition at the rear end of the major axis; nose radius t²c/2. Status: computed.
        """
        limit, radius = 4.0, 0.5 * thick**2
        angle = float(edge_tolerance(radius, 1.0, limit=limit))
        t = np.linspace(-0.6, 0.6, 4001)
        a, b = 0.5, 0.5 * thick
        # circle plane: speed 2 (sin(t - α) + sin α) R over the map's own stretch, t about the nose
        round_ = np.pi + t
        speed = (a + b) * np.abs(np.sin(round_ - angle) + np.sin(angle))
        speed /= np.sqrt(a**2 * np.sin(round_) ** 2 + b**2 * np.cos(round_) ** 2)
        lowest = float(np.min(1 - speed**2))
        # a parabola's nose, which is exact for thin sections; thickness speeds all up by 1 + t
        added = (1 + limit) * ((1 + thick) ** 2 - 1)
        assert lowest == pytest.approx(-limit, abs=added + 0.05)

    def test_it_grows_with_the_root_of_the_radius(self) -> None:
        assert float(edge_tolerance(0.02, 0.5) / edge_tolerance(0.005, 0.5)) == pytest.approx(2.0)


class TestUpwash:
    def test_a_pair_of_vortices_far_behind(self) -> None:
        # C_L 1, aspect ratio 6, span 1: rolled up to π/4 of the span
        load, span = 1 / 6, np.pi / 4
        found = horseshoe_angle(load, span, behind=1e4, above=50.0, height=50.0)
        # the same lift in a narrower pair
        printed = _row("rolled")["value"] / (np.pi * 6)
        assert float(found) == pytest.approx(printed, rel=0.005)

    def test_it_is_the_integral_of_biot_and_savart(self) -> None:
        x, y, z, height, half = 0.7, 0.3, 0.25, 0.06, 0.85

        def law(a: np.ndarray, along: np.ndarray) -> float:
            r = np.array([x, y, z]) - a
            return float(np.cross(along, r)[2] / np.linalg.norm(r) ** 3 / (4 * np.pi))

        total = 0.0
        for level, sign in ((height, 1.0), (-height, -1.0)):
            bound = quad(
                lambda s, h=level: law(np.array([0, s, h]), np.array([0.0, -1.0, 0.0])), -half, half
            )[0]
            legs = [
                -side * quad(
                    lambda s, h=level, e=side: law(
                        np.array([s, e * half, h]), np.array([1.0, 0.0, 0.0])
                    ), 0, np.inf,
                )[0]
                for side in (-1.0, 1.0)
            ]  # fmt: skip
            total += sign * (bound + sum(legs))
        strength = 0.5 / (2 * 2 * half)
        found = horseshoe_angle(0.5, 2 * half, behind=x, above=z, height=height, aside=y)
        assert float(found) == pytest.approx(abs(total) * strength, rel=1e-6)

    def test_a_wide_plate_is_a_vortex_and_its_image(self) -> None:
        # plane flow: Γ/2π (1/d - d/(d² + 4h²)) at the plate's own height
        d, h, span = 0.5, 0.05, 4e3
        found = horseshoe_angle(0.4 * span, span, behind=d, above=h, height=h)
        plane = 0.2 / (2 * np.pi) * (1 / d - d / (d**2 + 4 * h**2))
        assert float(found) == pytest.approx(plane, rel=2e-3)

    def test_the_road_takes_most_of_it_close_to_the_ground(self) -> None:
        near = horseshoe_angle(0.5, 1.7, behind=0.6, above=0.05, height=0.05)
        free = horseshoe_angle(0.5, 1.7, behind=0.6, above=50.05, height=50.05)
        assert 0 < float(near) < 0.1 * float(free)
