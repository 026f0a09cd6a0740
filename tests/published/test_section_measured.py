"""Single sections against measurements.

[ladson1988], [abbott1959], [mccroskey1987], [gregory1970], [coles1979], [mcghee1973].

Budgets: reading error plus the stated model error of an integral method (slope 3 %, cd 8 to 20 %,
clmax 0.10 to 0.12, stall angle 1.5 deg, pressure 8 % of the peak and 0.06 elsewhere).
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tuftwork.section import (
    Condition,
    Contour,
    Polar,
    analyse,
    check_contour,
    naca,
    polar,
    single,
    with_device,
)

DATA = Path(__file__).parent / "data"
SMOOTH = 0.0007  # low-turbulence tunnel, natural transition with n = 9


def _ls1() -> Contour:
    g = np.loadtxt(DATA / "mcghee1973_ls1_0413_ordinates.csv", delimiter=",", skiprows=5)
    return check_contour(
        np.r_[g[::-1, 0], g[1:, 0]], np.r_[g[::-1, 1], g[1:, 2]], name="LS(1)-0413"
    )


@cache
def _polar(name: str, reynolds: float, trips: tuple | None = None, turbulence: float = SMOOTH,
           first: int = -2, last: int = 19, step: int = 1) -> Polar:  # fmt: skip
    section = _ls1() if name == "LS1" else naca(name)
    condition = Condition(reynolds=reynolds, turbulence=turbulence, trips=trips)
    return polar(single(section), condition, np.deg2rad(np.arange(first, last + 1, step)))


def _at(p: Polar, alpha: float, what: str = "lift") -> float:
    return float(np.interp(alpha, np.rad2deg(p.alpha), getattr(p, what)))


def _ladson() -> Polar:
    return _polar("0012", 6e6, ((0.05, 0.05),))


def test_0012_tripped_lift_slope_and_drag() -> None:
    # S1: slope 0.1085/deg 3 %; cd(0) 0.0081 8 %, cd(10) 0.0117 12 %, cd(15) 0.0179 20 %
    p = _ladson()
    assert (_at(p, 8.0) - _at(p, 0.0)) / 8.0 == pytest.approx(0.1085, rel=0.03)
    for alpha, drag, share in ((0.0, 0.0081, 0.08), (10.0, 0.0117, 0.12), (15.0, 0.0179, 0.20)):
        assert _at(p, alpha, "drag") == pytest.approx(drag, rel=share)


def test_0012_tripped_points_one_by_one() -> None:
    # S1, ladson1988_0012.csv between 2 and 15 deg: cl rms 5 %, cd rms 8 %
    rows = [r.split(",") for r in (DATA / "ladson1988_0012.csv").read_text().splitlines()[5:]]
    t = np.array([[float(v) for v in r[1:]] for r in rows])
    t = t[(t[:, 0] > 2.0) & (t[:, 0] < 15.0)]
    p = _ladson()
    lift = np.array([_at(p, a) for a in t[:, 0]]) / t[:, 1] - 1.0
    drag = np.array([_at(p, a, "drag") for a in t[:, 0]]) / t[:, 2] - 1.0
    assert np.sqrt(np.mean(lift**2)) < 0.05
    assert np.sqrt(np.mean(drag**2)) < 0.08


def test_0012_tripped_maximum_lift() -> None:
    # S1: clmax 1.61 to 1.635 at 17.1 deg; +-0.10, +-1.5 deg
    top, at = _ladson().maximum
    assert top == pytest.approx(1.62, abs=0.10)
    assert np.rad2deg(at) == pytest.approx(17.1, abs=1.5)


def test_0012_stalls_abruptly_at_18_degrees() -> None:
    # S1: cl falls to 1.0-1.19 at 18.1 deg: the nose criterion must flag it
    p = _ladson()
    assert _at(p, 18.0, "nose_suction") > 1.0


def test_0012_smooth_drag_and_maximum_lift() -> None:
    # S2: cd_min 0.0058-0.0060, cd(0.66) 0.0078, cd(0.88) 0.0092, 12 %; cl(10.2) 1.12; clmax 0.10
    p = _polar("0012", 6e6)
    assert float(p.drag.min()) == pytest.approx(0.0059, rel=0.12)
    for lift, drag in ((0.66, 0.0078), (0.88, 0.0092)):
        assert np.interp(lift, p.lift[2:17], p.drag[2:17]) == pytest.approx(drag, rel=0.12)
    assert _at(p, 10.2) == pytest.approx(1.12, abs=0.04)
    assert p.maximum[0] == pytest.approx(1.596, abs=0.10)


@pytest.mark.xfail(strict=True, reason="drag miss at cl 1.08: -14 % against 12 %")
def test_0012_smooth_drag_at_high_lift() -> None:
    # S2: cd(1.08) 0.0113
    p = _polar("0012", 6e6)
    assert np.interp(1.08, p.lift[2:17], p.drag[2:17]) == pytest.approx(0.0113, rel=0.12)


@pytest.mark.parametrize(
    ("reynolds", "slope"),
    [
        pytest.param(5e5, 0.1010, marks=pytest.mark.xfail(strict=True, reason="miss: +6.6 %")),
        pytest.param(1e6, 0.1025, marks=pytest.mark.xfail(strict=True, reason="miss: +6.5 %")),
        pytest.param(3e6, 0.1048, marks=pytest.mark.xfail(strict=True, reason="miss: +5.6 %")),
    ],
)
def test_lift_slope_over_reynolds_number(reynolds, slope) -> None:
    # S3 [mccroskey1987]: (0.1025 + 0.00485 log10(Re/1e6)) per degree, 3 %
    p = _polar("0012", reynolds, ((0.05, 0.05),), SMOOTH, -4, 4, 4)
    assert (_at(p, 4.0) - _at(p, -4.0)) / 8.0 == pytest.approx(slope, rel=0.03)


def test_0012_pressure_at_ten_degrees() -> None:
    # S4 [gregory1970]: peak -5.24 8 %; elsewhere 0.06 plus 0.05 reading
    t = np.loadtxt(DATA / "gregory1970_0012_pressure.csv", delimiter=",", skiprows=5)
    p = analyse(single(naca("0012")), Condition(reynolds=2.9e6, turbulence=SMOOTH), np.deg2rad(10))
    nose = int(np.argmin(p.x[0]))
    x, cp = p.x[0][: nose + 1][::-1], p.pressure[0][: nose + 1][::-1]
    assert p.pressure[0].min() == pytest.approx(-5.24, rel=0.08)
    for at, value in ((0.098, -1.95), (0.288, -1.01), (0.638, -0.34), (1.0, 0.124)):
        assert np.interp(at, x, cp) == pytest.approx(value, abs=0.11)
    assert t[t[:, 0] == 10.0].shape[0] > 10


def test_0012_suction_peak_at_fifteen_degrees() -> None:
    # S4: -10.2, 8 %
    p = analyse(single(naca("0012")), Condition(reynolds=2.9e6, turbulence=SMOOTH), np.deg2rad(15))
    assert p.pressure[0].min() == pytest.approx(-10.2, rel=0.08)


@cache
def _coles():
    condition = Condition(reynolds=1.52e6, turbulence=SMOOTH, trips=((0.025, 0.103),))
    return analyse(single(naca("4412")), condition, np.deg2rad(13.87))


def test_4412_near_maximum_lift() -> None:
    # S5 [coles1979]: cl 1.67 +- 0.12 integrated, separation between 0.75 and 0.92
    p = _coles()
    upper = next(ln for ln in p.lines if ln.side == "upper")
    assert p.lift == pytest.approx(1.67, abs=0.12)
    assert 0.75 < upper.separation < 0.92


@pytest.mark.xfail(strict=True, reason="suction peak miss: -6.84 against -6.2, 10.3 % of 10 %")
def test_4412_suction_peak() -> None:
    # S5: -6.2 at the nose; 8 % and 2 % reading
    assert _coles().pressure[0].min() == pytest.approx(-6.2, rel=0.10)


@pytest.mark.xfail(strict=True, reason="base pressure miss: -0.06 against -0.40 +- 0.15")
def test_4412_base_pressure() -> None:
    # S5: flat -0.40 +- 0.01 from x = 0.89 to the edge
    p = _coles()
    assert p.pressure[0][0] == pytest.approx(-0.40, abs=0.15)


def _wentz() -> Polar:
    return _polar("LS1", 2.2e6, ((0.05, 0.10),), SMOOTH, -2, 18)


def test_ls1_0413_at_zero_incidence() -> None:
    # S6: cl(0) 0.45-0.47 +- 0.05
    assert _at(_wentz(), 0.0) == pytest.approx(0.46, abs=0.05)


@pytest.mark.xfail(strict=True, reason="maximum lift miss: 1.83 against 1.68 +- 0.12")
def test_ls1_0413_maximum_lift() -> None:
    # S6: clmax 1.67-1.69 +- 0.12
    assert _wentz().maximum[0] == pytest.approx(1.68, abs=0.12)


def test_ls1_0413_pessimistic_constants_bracket_the_maximum() -> None:
    # S6: the band between the two constant sets reaches down to the measured maximum
    condition = Condition(
        reynolds=2.2e6, turbulence=SMOOTH, trips=((0.05, 0.10),), constants="pessimistic"
    )
    low = polar(single(_ls1()), condition, np.deg2rad(np.arange(2, 19, 2))).maximum[0]
    assert low < _wentz().maximum[0]
    assert low == pytest.approx(1.68, abs=0.12)


@pytest.mark.xfail(strict=True, reason="lift slope miss: 0.114 against 0.1055 per degree, +8 %")
def test_ls1_0413_lift_slope() -> None:
    # S6: 0.105-0.106 per degree between -2 and 6 deg, 3 %
    p = _wentz()
    assert (_at(p, 6.0) - _at(p, -2.0)) / 8.0 == pytest.approx(0.1055, rel=0.03)


HANDBOOK = [  # S7, NACA Rep. 824 at Re 9e6, smooth: memory; +-0.05 on clmax, +-0.2 deg, 0.008 in Cm
    ("0009", 0.0, 0.0, 0.109, 1.32),
    ("2412", -2.0, -0.047, 0.105, 1.68),
    ("4412", -3.8, -0.093, 0.105, 1.67),
    ("23012", -1.4, -0.014, 0.107, 1.79),
]


@pytest.mark.parametrize(("code", "zero", "moment", "slope", "top"), HANDBOOK)
def test_handbook_zero_lift_angle_moment_and_slope(code, zero, moment, slope, top) -> None:
    # budget: slope 6 % (1 % recalled, 5 % model), zero lift 0.5 deg, Cm 0.012
    p = _polar(code, 9e6, None, SMOOTH, -6, 20, 2)
    a0 = float(np.interp(0.0, p.lift[:6], np.rad2deg(p.alpha[:6])))
    assert a0 == pytest.approx(zero, abs=0.5)
    assert _at(p, a0, "moment") == pytest.approx(moment, abs=0.012)
    assert (_at(p, 6.0) - _at(p, 0.0)) / 6.0 == pytest.approx(slope, rel=0.06)


@pytest.mark.parametrize(
    ("code", "zero", "moment", "slope", "top"),
    [
        HANDBOOK[0],
        pytest.param(*HANDBOOK[1], marks=pytest.mark.xfail(strict=True, reason="miss: +0.18")),
        pytest.param(*HANDBOOK[2], marks=pytest.mark.xfail(strict=True, reason="miss: +0.22")),
        HANDBOOK[3],
    ],
)
def test_handbook_maximum_lift(code, zero, moment, slope, top) -> None:
    # S7: +-0.05 reading plus 0.05 model
    assert _polar(code, 9e6, None, SMOOTH, -6, 20, 2).maximum[0] == pytest.approx(top, abs=0.10)


def test_thin_sections_stall_at_the_nose_before_thick_ones() -> None:
    # S7: order of sections 0006 < 0009 < 0012, values 0.92, 1.32 (memory, +-0.10)
    tops = [
        _polar("0006", 9e6, None, SMOOTH, -2, 12, 2).maximum[0],
        _polar("0009", 9e6, None, SMOOTH, -6, 20, 2).maximum[0],
        _polar("0012", 6e6).maximum[0],
    ]
    assert tops[0] < tops[1] < tops[2]
    assert tops[0] == pytest.approx(0.92, abs=0.10)


def test_roughness_costs_maximum_lift_and_drag() -> None:
    # S7: standard roughness at 6e6 loses 15-35 % of clmax (0012, 4412 and 23012 mean, memory) and
    # brings cd_min to 0.0095-0.0100, 15 %; test of the trend and of the drag
    p = polar(
        single(naca("4412")),
        Condition(reynolds=6e6, roughness=0.3),
        np.deg2rad(np.arange(-2, 20, 2)),
    )
    clean = _polar("4412", 9e6, None, SMOOTH, -6, 20, 2)
    assert 0.65 < p.maximum[0] / clean.maximum[0] < 0.95
    assert float(np.nanmin(p.drag)) == pytest.approx(0.00975, rel=0.15)


@pytest.mark.xfail(strict=True, reason="drag miss of a section without thickness: -8 % against 5 %")
def test_drag_of_a_vanishing_section_is_that_of_two_plate_sides() -> None:
    # S8: both sides of a turbulent plate at 1e6, 2 CF = 0.0088 [schlichting1979]; 3 % for the
    # bookkeeping at the end of the wake, 2 % for the line through three thicknesses
    condition = Condition(reynolds=1e6, turbulence=SMOOTH, trips=((0.01, 0.01),))
    thick = (0.04, 0.06, 0.08)
    drag = [analyse(single(naca(f"00{100 * t:02.0f}")), condition, 0.0).drag for t in thick]
    assert np.polyval(np.polyfit(thick, drag, 1), 0.0) == pytest.approx(0.0088, rel=0.05)


def test_a_gurney_of_two_per_cent_stays_within_what_is_quoted() -> None:
    # G5: up to 30 % of lift near 2 % of the chord, drag at low lift at most three times (seen on a
    # tertiary page, weak: bounds only, 5 % of reserve)
    clean = polar(
        single(naca("4412")), Condition(reynolds=1e6), np.deg2rad(np.arange(-4, 17, 2)), n_panel=100
    )
    tab = with_device(clean, 0.02)
    assert 1.05 < tab.maximum[0] / clean.maximum[0] < 1.35
    assert 1.0 < np.nanmin(tab.drag) / np.nanmin(clean.drag) < 3.0
