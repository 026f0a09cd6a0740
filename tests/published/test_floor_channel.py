"""The channel solved in plan: theory, leak, internal diffusers, published regimes of one body."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tuftwork.floor import FloorClosure, FloorShape, Stand, plane_diffuser, solve_line
from tuftwork.floor.beside import body_side_pressure
from tuftwork.floor.cause import fall_cause
from tuftwork.floor.plan import solve_grid
from tuftwork.floor.plan_grid import plan_grid
from tuftwork.floor.sweep import RideSweep, has_hysteresis, ride_sweep
from tuftwork.floor.theory import compressible_recovery, cone_loss, jet_profile_factor

pytestmark = pytest.mark.published
DATA = Path(__file__).parent / "data"
HALF = 0.157  # [m] half width of the body, seen; length of the ramp 0.540 m from memory
BODY = FloorClosure(inlet_thickness=1e-3, reynolds=20 / 1.5e-5)
SIZE = {"nose": 0.0, "half_width": HALF, "low": 0.2 * HALF, "high": 0.2 * HALF + 0.324}
"""Height seen, a flat front: the shape of the nose is not printed. [m]"""
_ALONG = np.linspace(0.0, 1.315, 80)
SIDED = replace(
    BODY,
    outside=tuple(zip(_ALONG.tolist(), body_side_pressure(_ALONG, **SIZE).tolist(), strict=True)),
)
"""The same with what the body does to the air along its sides."""
BOTH = pytest.mark.parametrize(
    "closure", [BODY, SIDED], ids=["edges in still air", "with its sides"]
)


def _table(name: str) -> np.ndarray:
    path = DATA / f"floor_{name}.csv"
    return np.genfromtxt(path, delimiter=",", skip_header=4, names=True, dtype=None, encoding=None)


def _body(angle: float) -> FloorShape:
    return plane_diffuser(
        width=2 * HALF, front=0.0, kick=0.775, exit=1.315, angle=np.radians(angle)
    )


@cache
def _sweep(angle: float, closure: FloorClosure = BODY) -> RideSweep:
    stand = Stand(front=0.1, rear=0.1, wheelbase=1.0)
    heights = np.arange(0.06, 0.45, 0.01) * HALF
    return ride_sweep(_body(angle), stand, closure, heights, in_plan=False)


_IDEAL = [r for r in _table("estimate_theory") if r["effectiveness"] == 1.0]


@pytest.mark.parametrize("row", _IDEAL, ids=lambda row: str(row["id"]))
def test_sealed_channel_without_losses_gives_the_theory_of_the_diffuser(row: np.void) -> None:
    # D1, D3: the engine on a level throat and a ramp, no layer, no leak; model error 0.5 % of the
    # kink's rounding and of sixty cells
    throat, ramp = 0.05, 1.0
    top = throat * (row["area_ratio"] - 1)
    shape = FloorShape(
        width=0.4, front=-0.5, exit=ramp, profile=((-0.5, 0.0), (0.0, 0.0), (ramp, top)),
        edge_gap=0.0,
    )  # fmt: skip
    closure = FloorClosure(
        mixing=0.0, road_friction=0.0, eddy=1e-9, exit_pressure=row["base_pressure"]
    )
    grid = plan_grid(shape, Stand(front=throat, rear=throat, wheelbase=1.0), closure, None, n_y=2)
    start = (np.ones((61, 1)), np.zeros((60, 2)), np.zeros((60, 1)))
    u, _, p, count, _ = solve_grid(grid, closure, start)
    assert count >= 0
    np.testing.assert_allclose(u[5, 0], row["speed"], rtol=1e-3)
    np.testing.assert_allclose(2 * p[5, 0], row["throat_pressure"], rtol=5e-3)
    cells = np.diff(grid.x)
    on_ramp = 0.5 * (grid.x[1:] + grid.x[:-1]) > 0
    mean = float(np.sum((2 * p[:, 0] * cells)[on_ramp]) / np.sum(cells[on_ramp]))
    printed = 1 - (1 - row["base_pressure"]) * row["area_ratio"]
    assert abs(mean - printed) < 0.02 * abs(printed)


def _leaking(n_x: int, gap_factor: float = 1.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return faces, speed there and exact speed of row S1, at its printed exit pressure.

    The closed form leaves out the energy of the speed across. A hundredth of the discharge into a
    hundredth of the width is the same row of its equation with next to none of that energy.
    """
    row = _table("channel_leak").reshape(-1)[0]
    gap = gap_factor * float(row["gap"])
    shape = FloorShape(width=0.01 * row["width"], front=0.0, exit=row["length"], edge_gap=gap)
    closure = FloorClosure(
        discharge=0.01 * row["discharge"], mixing=0.0, road_friction=0.0, eddy=1e-9,
        exit_pressure=row["exit_pressure"],
    )  # fmt: skip
    stand = Stand(front=row["height"], rear=row["height"], wheelbase=1.0)
    grid = plan_grid(shape, stand, closure, None, n_x=n_x, n_y=2)
    x = np.linspace(0.0, row["length"], n_x + 1)
    grid = replace(grid, x=x)
    start = (np.full((n_x + 1, 1), 1.7), np.zeros((n_x, 2)), np.full((n_x, 1), -0.9))
    u, _, _, count, _ = solve_grid(grid, closure, start)
    assert count >= 0
    exact = np.cosh(row["rate"] * x + np.arccosh(row["entry_speed"]))
    return x, u[:, 0], exact


def test_leaking_channel_follows_the_closed_form() -> None:
    # S1: within 0.5 % at 100 cells
    _, u, exact = _leaking(100)
    np.testing.assert_allclose(u, exact, rtol=5e-3)
    np.testing.assert_allclose(u[-1], 1.885444, rtol=5e-3)


def test_leaking_channel_is_second_order() -> None:
    miss = [np.max(np.abs(u / exact - 1)) for _, u, exact in (_leaking(n) for n in (12, 24, 48))]
    order = np.log2(np.array(miss[:-1]) / miss[1:])
    assert np.all(order > 1.8)


def test_without_leak_the_speed_is_the_same_all_along() -> None:
    # S2, exact
    _, u, _ = _leaking(40, 0.0)
    np.testing.assert_allclose(u, u[0], rtol=1e-9)


def test_more_leak_at_a_fixed_exit_leaves_less_for_the_inlet() -> None:
    # S3
    inlet = [_leaking(40, f)[1][0] for f in (0.0, 0.5, 1.0, 2.0)]
    assert np.all(np.diff(inlet) < 0)


def test_speed_times_depth_is_kept_in_a_sealed_channel() -> None:
    # S4: V h constant to 1e-6 in h = h0 (1 + a x)
    shape = FloorShape(
        width=0.5, front=0.0, exit=1.0, profile=((0.0, 0.0), (1.0, 0.03)), edge_gap=0.0
    )
    closure = FloorClosure(mixing=0.0, road_friction=0.0, exit_pressure=-0.2)
    grid = plan_grid(shape, Stand(front=0.06, rear=0.06, wheelbase=1.0), closure, None, n_y=2)
    start = (np.ones((61, 1)), np.zeros((60, 2)), np.zeros((60, 1)))
    u, _, _, count, _ = solve_grid(grid, closure, start)
    assert count >= 0
    flow = (grid.depth_u * u)[:, 0]
    np.testing.assert_allclose(flow, flow[0], rtol=1e-6)


def _plane(
    length: float, total: float, blockage: float, *, ahead: float = 2.0
) -> tuple[float, float]:
    """Return recovery over the throat's dynamic pressure and greatest H of half a plane diffuser.

    The road stands for the plane of symmetry: no friction there, no leak, nothing outside. The
    layer at the inlet is such that its displacement closes ``blockage`` of half the throat at the
    throat, where the published numbers have it; ``ahead`` throat widths of level wall lead there.
    """
    width = 0.1
    h = width / 2
    rise = length * width * np.tan(np.radians(total / 2))
    ramp = ((-ahead * width, 0.0), (0.0, 0.0), (length * width, rise))
    shape = FloorShape(
        width=1.0, front=-ahead * width, exit=length * width, profile=ramp, edge_gap=0.0
    )
    thickness, found, closes = blockage * h / 1.45, None, 0.0
    for _ in range(6):
        closure = FloorClosure(
            mixing=0.0, road_friction=0.0, vortex_mixing=0.0, exit_pressure=0.0,
            inlet_thickness=thickness, reynolds=2.2e5 / width,
        )  # fmt: skip
        found = solve_line(shape, Stand(front=h, rear=h, wheelbase=1.0), closure, start=found)
        throat = int(np.argmin(np.abs(found.x + 0.5 * width)))
        closes = float(found.displacement[throat]) / h
        if abs(closes / blockage - 1) < 0.01:
            break
        thickness = max(thickness * blockage / closes, 1e-5)
    assert found is not None
    assert abs(closes / blockage - 1) < 0.03
    gained = found.pressure[-1] - found.pressure[throat]
    return float(gained / found.speed[throat] ** 2), float(found.shape_factor.max())


_D10 = [r for r in _table("channel_internal") if r["quantity"] == "recovery"]
_D12 = [r for r in _table("channel_internal") if r["quantity"] == "best_angle"]


def _thin(row: np.void) -> object:
    marks = (
        [pytest.mark.xfail(strict=True, reason="peak recovery 0.810 against 0.86: miss 0.010")]
        if row["blockage"] < 0.03
        else []
    )
    return pytest.param(row, marks=marks, id=f"blockage {row['blockage']}")


@pytest.mark.parametrize("row", [_thin(r) for r in _D10])
def test_peak_recovery_of_plane_diffusers_over_inlet_blockage(row: np.void) -> None:
    # D10 (memory, medium): nothing in the layer's closure was fitted to it. The throat is square:
    # each of its four walls closes a quarter of what is closed, the two that diverge half of it.
    # The layers of the level walls, which would take some more, are not in a mean over the width.
    # One width of wall leads to the throat: over two a layer closes more than the thinnest printed
    best = max(
        _plane(row["length"], a, 0.5 * row["blockage"], ahead=1.0)[0]
        for a in np.arange(4.0, 12.1, 0.5)
    )
    assert abs(best - row["value"]) <= row["band"]


@pytest.mark.parametrize("row", _D12, ids=lambda r: f"length {r['length']}")
def test_total_angle_of_best_recovery(row: np.void) -> None:
    # D12 (memory, high): two dimensions, both layers on the walls that diverge
    angles = np.arange(4.0, 14.0, 0.5)
    found = [_plane(row["length"], a, row["blockage"])[0] for a in angles]
    assert abs(angles[int(np.argmax(found))] - row["value"]) <= row["band"]


def test_regimes_of_plane_diffusers_come_in_order() -> None:
    # D13: recovery peaks near the onset of separation and falls with it; D15: both ends of a
    # published sweep, 4 to 24 degrees at length 15, are told apart
    shape = [_plane(15.0, a, 0.027) for a in (4.0, 8.0, 12.0, 16.0, 24.0)]
    recovery, greatest = np.array(shape).T
    assert greatest[0] < 2.4
    assert greatest[-1] > 3.0
    assert np.all(np.diff(greatest) > 0)
    peak = int(np.argmax(recovery))
    assert 0 < peak < 3
    assert greatest[peak - 1] < 3.0


def test_longer_diffusers_stall_at_less_angle() -> None:
    # D14, sign
    def stall(length: float) -> float:
        return next(a for a in np.arange(4.0, 20.0, 0.5) if _plane(length, a, 0.03)[1] > 3)

    angles = [stall(n) for n in (5.0, 10.0, 15.0, 20.0)]
    assert np.all(np.diff(angles) < 0)


@pytest.mark.parametrize("ratio", [1.5, 2.0, 3.0])
def test_recovery_has_no_step_at_a_critical_mach_number(ratio: float) -> None:
    # D16 (seen, quality only): from Mach 0.2 to 1 no collapse. The engine holds density; isentropic
    # air says what that leaves out: nothing jumps, and at 0.3 it is below 4 %
    mach = np.linspace(0.2, 0.99, 200)
    recovery = compressible_recovery(mach, ratio)
    step = np.diff(recovery) / recovery[:-1]
    assert np.all(np.abs(step) < 2e-3)
    assert np.all(recovery > 0.9 * recovery[0])
    without_density = 1 - 1 / ratio**2
    np.testing.assert_allclose(compressible_recovery(0.3, ratio), without_density, rtol=0.04)
    np.testing.assert_allclose(compressible_recovery(0.01, ratio), without_density, rtol=1e-4)


def test_isentropic_air_agrees_with_a_library() -> None:
    # fluids: total pressure of a stream from its temperatures
    from fluids.compressible import P_stagnation, T_stagnation_ideal

    mach, area_ratio, warm = 0.7, 2.0, 300.0
    speed = mach * np.sqrt(1.4 * 287.05 * warm)
    total = T_stagnation_ideal(T=warm, V=speed, Cp=1.4 * 287.05 / 0.4)
    still = P_stagnation(P=1e5, T=warm, Tst=total, k=1.4)
    gained = float(compressible_recovery(mach, area_ratio)) * (still - 1e5)
    # behind: the same mass through twice the area at the pressure found
    p = 1e5 + gained
    cold = total * (p / still) ** (0.4 / 1.4)
    behind = np.sqrt(2 * (1.4 * 287.05 / 0.4) * (total - cold))
    np.testing.assert_allclose(p / cold * behind * area_ratio, 1e5 / warm * speed, rtol=1e-6)


def test_separated_core_keeps_its_momentum() -> None:
    # D17, exact
    np.testing.assert_allclose(jet_profile_factor(1.7), 1.7**2, rtol=1e-9)


@pytest.mark.parametrize(("angle", "crane"), [(10.0, 0.0567), (20.0, 0.1129)])
def test_losses_of_cones_against_a_library_of_published_formulae(
    angle: float, crane: float
) -> None:
    # D18, D19: printed to 1e-3; the other correlations' spread is the model error of any of them
    from fluids.fittings import diffuser_conical

    own = float(cone_loss(2.0, np.radians(angle)))
    assert abs(own - crane) < 1e-3
    spread = [
        diffuser_conical(Di1=0.1, Di2=0.1 * np.sqrt(2), angle=angle, Re=1e6, fd=0.0, method=method)
        for method in ("Crane", "Idelchik", "Rennels")
    ]
    assert min(spread) - 1e-3 <= own <= max(spread) + 1e-3


_WORDS = {"regime_rising": "rising", "regime_peak": "near the peak", "regime_fallen": "fallen"}


def _regime(row: np.void) -> object:
    marks = (
        [pytest.mark.xfail(strict=True, reason="0.90 of the peak against 0.97 and more: miss 0.07")]
        if row["quantity"] == "regime_peak"
        else []
    )
    return pytest.param(row, marks=marks, id=f"height {row['at']}")


@pytest.mark.parametrize(
    "row", [_regime(r) for r in _table("channel_regimes") if r["quantity"] in _WORDS]
)
@BOTH
def test_published_heights_lie_in_their_regimes(row: np.void, closure: FloorClosure) -> None:
    # D30 (seen) at heights from memory (D34)
    sweep = ride_sweep(
        _body(17.0), Stand(front=0.1, rear=0.1, wheelbase=1.0), closure,
        np.concatenate([np.arange(0.06, 0.5, 0.02), [0.6, 0.764, 0.9]]) * HALF, in_plan=False,
    )  # fmt: skip
    assert sweep.regime(float(row["at"]) * HALF) == _WORDS[str(row["quantity"])]


@BOTH
def test_peak_of_the_17_degree_body_lies_where_it_is_remembered(closure: FloorClosure) -> None:
    # D33 (memory, low): nobody told the engine
    row = next(r for r in _table("channel_regimes") if r["quantity"] == "peak_17")
    assert abs(_sweep(17.0, closure).peak_height / HALF - row["value"]) <= row["band"]


@BOTH
def test_steeper_ramps_peak_higher_up(closure: FloorClosure) -> None:
    # trend seen in the abstract of Senior and Zhang 2001
    peaks = [_sweep(a, closure).peak_height for a in (5.0, 10.0, 13.0, 15.0, 17.0, 20.0)]
    assert np.all(np.diff(peaks) > 0)


@pytest.mark.parametrize("angle", [10.0, 13.0, 15.0, 17.0, 20.0])
@BOTH
def test_one_maximum_for_ten_degrees_and_more(angle: float, closure: FloorClosure) -> None:
    # D38 (seen)
    sweep = _sweep(angle, closure)
    assert sweep.has_peak
    assert np.sum(np.diff(np.sign(np.diff(sweep.downforce))) < 0) == 1


def test_a_quarter_is_lost_at_half_the_peaks_height() -> None:
    # D30: the regime of low downforce, size from memory; a steady symmetric channel has no jump
    assert _sweep(17.0).share_left(0.5) <= 0.75


@pytest.mark.xfail(strict=True, reason="the floor alone, with its sides: 0.225 lost, miss 0.025")
def test_a_quarter_is_lost_with_the_air_along_the_sides_too() -> None:
    # D30: what the sides add hardly changes with height, so a smaller share is lost
    assert _sweep(17.0, SIDED).share_left(0.5) <= 0.75


@BOTH
def test_the_force_falls_by_separation_and_burst_not_by_choking(closure: FloorClosure) -> None:
    # D32 (seen in the abstracts of 2001 and 2003): vortex breakdown and separation, which starts at
    # the diffuser's inlet with a loss of suction in its first half
    high, low = (Stand(front=h * HALF, rear=h * HALF, wheelbase=1.0) for h in (0.23, 0.064))
    found = fall_cause(_body(17.0), high, low, closure)
    assert found.cause in ("stall", "burst")
    assert found.of("burst").returned > found.of("choking").returned
    assert found.stalled_from is not None
    assert found.stalled_from < 0.775 + 0.5 * 0.540


@BOTH
def test_best_angle_of_one_channel(closure: FloorClosure) -> None:
    # D35 (memory, medium), at the height where the 17 degree body peaks
    angles = np.arange(5.0, 24.0, 1.0)
    stand = Stand(front=0.2 * HALF, rear=0.2 * HALF, wheelbase=1.0)
    found = [solve_line(_body(a), stand, closure).downforce for a in angles]
    assert abs(angles[int(np.argmax(found))] - 13.0) <= 2.0


@pytest.mark.xfail(strict=True, reason="best area ratio 5.6 against 1.5 to 2.2: miss 3.4")
def test_best_area_ratio_of_a_plane_diffuser() -> None:
    # D36 (memory, low), measured on a body of another family: its ramp is short and its edges are
    # open. On this body the ramp alone has two fifths of the length
    height = 0.2 * HALF
    angles = np.arange(1.0, 24.0, 1.0)
    stand = Stand(front=height, rear=height, wheelbase=1.0)
    found = [solve_line(_body(a), stand, BODY).downforce for a in angles]
    best = np.radians(angles[int(np.argmax(found))])
    assert 1.5 <= 1 + 0.540 * np.tan(best) / height <= 2.2


def test_sealing_skirts_are_the_best_of_a_set_of_road_cars() -> None:
    # D39 (seen, the order): flat floor, 7 degree ramp, the same with sealing skirts, rising; the
    # printed -0.887 belongs to a whole car whose shape the abstract does not give
    height = 0.15
    stand = Stand(front=height, rear=height, wheelbase=2.7)
    size = {"width": 1.6, "front": -0.8, "kick": 2.7, "exit": 3.5}
    own = FloorClosure(reynolds=30 / 1.5e-5)
    flat, ramp, skirts = (
        solve_line(plane_diffuser(**size, angle=np.radians(a), edge_gap=gap), stand, own).downforce
        for a, gap in ((0.01, None), (7.0, None), (7.0, 0.03))
    )
    assert flat < ramp < skirts


def test_which_ramps_have_hysteresis() -> None:
    # D31 (seen): a table, labelled empirical; the engine itself is single-valued
    for row in _table("channel_regimes"):
        if row["quantity"] == "hysteresis":
            assert has_hysteresis(np.radians(row["at"])) is bool(row["value"])
    assert has_hysteresis(np.radians(12.0)) is None


@BOTH
def test_a_wing_over_the_exit_raises_the_load(closure: FloorClosure) -> None:
    # lower base pressure pumps harder: sign, high confidence
    stand = Stand(front=0.2 * HALF, rear=0.2 * HALF, wheelbase=1.0)
    low = solve_line(_body(17.0), stand, replace(closure, exit_pressure=-0.4)).downforce
    assert low > 1.1 * solve_line(_body(17.0), stand, closure).downforce
