"""Promises of the channel solved in plan: order, conservation, bounds, refusals, robustness."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tuftwork.errors import InputError, NotConverged
from tuftwork.floor import (
    Block,
    FloorClosure,
    FloorShape,
    Stand,
    Strake,
    Strip,
    check_shape,
    gap_at,
    plane_diffuser,
    solve_line,
    solve_plan,
)
from tuftwork.floor.plan import solve_grid
from tuftwork.floor.plan_grid import PlanGrid, plan_grid
from tuftwork.floor.potential import potential_downforce

HALF = 0.157
STAND = Stand(front=0.04, rear=0.04, wheelbase=1.0)
CLOSURE = FloorClosure(inlet_thickness=1e-3, reynolds=1.3e6)


def body(angle: float = 12.0, **more: float) -> FloorShape:
    given = {"width": 2 * HALF, "front": 0.0, "kick": 0.775, "exit": 1.315} | more
    return plane_diffuser(angle=np.radians(angle), **given)


# fields of a manufactured solution: walls at the sides, ends where the ends' equations hold


def _growth(x: np.ndarray) -> np.ndarray:
    return np.asarray(10 * x**3 - 15 * x**4 + 6 * x**5)


def _depth(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.asarray(0.2 + 0.05 * x * (1 - x) + 0.02 * np.cos(np.pi * y) * x)


def _u(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    bump = 64 * x**3 * (1 - x) ** 3
    return np.asarray(1.3 + 0.3 * _growth(x) + 0.15 * np.cos(np.pi * y) * bump)


def _v(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.asarray(0.15 * np.sin(np.pi * x) ** 4 * np.sin(np.pi * y))


def _p(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    ends = (0.5 - 0.5 * 1.3**2) * (1 - _growth(x)) - 0.3 * _growth(x)
    return np.asarray(ends + 0.1 * np.cos(np.pi * y) * np.sin(np.pi * x) ** 4)


Field = Callable[[np.ndarray, np.ndarray], np.ndarray]
_E = 1e-4


def _along(f: Field) -> Field:
    return lambda x, y: np.asarray((f(x + _E, y) - f(x - _E, y)) / (2 * _E))


def _across(f: Field) -> Field:
    return lambda x, y: np.asarray((f(x, y + _E) - f(x, y - _E)) / (2 * _E))


def _curved(f: Field) -> Field:
    def second(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        around = f(x + _E, y) + f(x - _E, y) + f(x, y + _E) + f(x, y - _E)
        return np.asarray((around - 4 * f(x, y)) / _E**2)

    return second


def _manufactured(
    n: int, eddy: float = 0.3, friction: float = 0.003, narrowing: float = 1.0
) -> np.ndarray:
    """Return root mean square errors of u, v, p on n cells along, rows narrowing to one side."""
    xf, yf = np.linspace(0, 1, n + 1), 1 - np.linspace(1, 0, n // 2 + 1) ** narrowing
    xc, yc = 0.5 * (xf[1:] + xf[:-1]), 0.5 * (yf[1:] + yf[:-1])
    at_u, at_v, at_p = (np.meshgrid(a, b, indexing="ij") for a, b in ((xf, yc), (xc, yf), (xc, yc)))
    force = np.zeros((3, n + 1, yf.size))
    for k, (own, place, slope) in enumerate(((_u, at_u, _along(_p)), (_v, at_v, _across(_p)))):
        x, y = place
        speed, slip = _u(x, y), _u(x, y) - 1
        viscous = eddy * _depth(x, y) * np.sqrt(speed**2 + 1e-3) * _curved(own)(x, y)
        rub = np.sqrt(slip**2 + 1e-6) * slip if k == 0 else (
            np.sqrt(slip**2 + _v(x, y) ** 2 + 1e-6) * _v(x, y))  # fmt: skip
        value = speed * _along(own)(x, y) + _v(x, y) * _across(own)(x, y) + slope(x, y)
        value = value - viscous + 0.5 * friction * rub / _depth(x, y)
        force[k, : value.shape[0], : value.shape[1]] = value
    x, y = at_p
    spread = _along(lambda a, b: _depth(a, b) * _u(a, b))(x, y)
    force[2, :n, : yc.size] = spread + _across(lambda a, b: _depth(a, b) * _v(a, b))(x, y)
    barrier = np.full((n, yf.size), -1.0)
    barrier[:, [0, -1]] = 0.0
    nothing = np.zeros((n, yc.size))
    grid = PlanGrid(
        x=xf, y=yf, depth_u=_depth(*at_u), depth_v=_depth(*at_v), gap=_depth(*at_p),
        barrier=barrier, active=np.ones_like(nothing, dtype=bool), outside=nothing, loss=nothing,
        left=nothing[:, 0].copy(), right=nothing[:, 0].copy(), is_half=False,
    )  # fmt: skip
    closure = FloorClosure(exit_pressure=-0.6, eddy=eddy, road_friction=friction)
    u, v, p, count, _ = solve_grid(grid, closure, (_u(*at_u), _v(*at_v), _p(*at_p)), body=force)
    assert count >= 0
    pairs = ((u, _u(*at_u)), (v, _v(*at_v)), (p, _p(*at_p)))
    return np.array([np.sqrt(np.mean(np.square(a - b))) for a, b in pairs])


@pytest.mark.parametrize("narrowing", [1.0, 1.5])
def test_manufactured_solution_shows_second_order(narrowing: float) -> None:
    miss = np.array([_manufactured(n, narrowing=narrowing) for n in (10, 20, 40)])
    order = np.log2(miss[:-1] / miss[1:])
    assert np.all(order > 1.75)


def test_the_load_hardly_moves_with_the_mesh() -> None:
    # leaked air is carried in by its own speed, so that the edge's row may be as narrow as it likes
    for angle, height in ((10.0, 0.2), (17.0, 0.25)):
        stand = Stand(front=height * HALF, rear=height * HALF, wheelbase=1.0)
        line = solve_line(body(angle), stand, CLOSURE)
        coarse, fine = (
            solve_plan(body(angle), stand, CLOSURE, layer=line, n_x=x, n_y=y).downforce
            for x, y in ((60, 10), (120, 40))
        )
        assert abs(coarse / fine - 1) < 0.01


FLAT = ((-0.35, 0.0), (3.6, 0.0))
RAMP = ((-0.35, 0.0), (2.62, 0.0), (3.6, 0.19))
CAR = Stand(front=0.045, rear=0.06, wheelbase=2.62)


def car_floor(kind: str) -> FloorShape:
    """Floors of a car whose depth steps across the width."""
    strips = {
        "tail": Strip(inner=0.0, outer=0.55, profile=RAMP),
        "ramp beside a flat": Strip(inner=0.0, outer=0.55, profile=RAMP),
        "tunnels": Strip(inner=0.25, outer=0.55, profile=((-0.35, 0.0), (2.0, 0.0), (3.6, 0.22))),
        "plank": Strip(inner=0.0, outer=0.15, profile=FLAT),
    }
    raised = ((-0.35, 0.05), (2.62, 0.05), (3.6, 0.24))
    return FloorShape(
        width=1.52, front=-0.35, exit=3.6, profile=raised if kind == "plank" else FLAT,
        strips=(strips[kind],), tail=2.62 if kind == "tail" else None,
    )  # fmt: skip


@pytest.mark.parametrize("kind", ["tail", "ramp beside a flat", "tunnels", "plank"])
def test_the_load_moves_little_with_the_mesh_where_the_depth_steps(kind: str) -> None:
    # sharp corners and a shear layer beside the step: a budget of 4 %, however fine the rows
    shape, closure = car_floor(kind), replace(CLOSURE, reynolds=4e6)
    line = solve_line(shape, CAR, closure)
    coarse, fine, finest = (
        solve_plan(shape, CAR, closure, layer=line, n_x=x, n_y=y).downforce
        for x, y in ((60, 10), (120, 40), (120, 80))
    )
    assert abs(coarse / fine - 1) < 0.04
    assert abs(fine / finest - 1) < 0.015


def test_air_that_leaks_past_the_end_of_a_floor_makes_no_pressure_of_its_own() -> None:
    # near the exit a row narrow as it may be has the pressure of the row beside it
    shape = car_floor("tail")
    for n_y in (20, 80):
        found = solve_plan(shape, CAR, replace(CLOSURE, reynolds=4e6), n_y=n_y)
        late = found.x > 3.3
        row = np.flatnonzero(np.abs(found.y) < 0.55)[-1]
        jump = found.pressure[late, row] - found.pressure[late, row - 1]
        assert np.max(np.abs(jump)) < 0.15


def test_air_that_enters_leaves() -> None:
    strakes = (Strake(start=0.6, end=1.3, offset=0.08, gap=0.3),)
    for shape in (body(), replace(body(), strakes=strakes), body(diffuser_width=0.2)):
        found = solve_plan(shape, STAND, CLOSURE)
        through = found.inlet_flow + found.leak_flow
        np.testing.assert_allclose(found.exit_flow, through, rtol=1e-8)


def test_both_sides_are_alike_without_roll_and_half_is_the_whole() -> None:
    half = solve_plan(body(), STAND, CLOSURE, n_y=6)
    whole = solve_plan(body(), replace(STAND, roll=1e-9), CLOSURE, n_y=6)
    np.testing.assert_allclose(half.pressure, half.pressure[:, ::-1], atol=1e-12)
    # the switch between inflow and outflow is rounded; a wall feels it to some 3e-5
    np.testing.assert_allclose(whole.downforce, half.downforce, rtol=1e-4)
    assert abs(half.side_moment) < 1e-12


def test_roll_moves_the_load_to_the_lower_side() -> None:
    found = solve_plan(body(), replace(STAND, roll=np.radians(1.0)), CLOSURE)
    assert found.side_moment > 0


@pytest.mark.parametrize(("angle", "height"), [(5.0, 0.2), (10.0, 0.3), (17.0, 0.4)])
def test_momentum_without_losses_is_the_potential(angle: float, height: float) -> None:
    # zero-loss limit within 2 %: no mixing, no friction, no eddies; with them a fifth or more goes
    stand = Stand(front=height * HALF, rear=height * HALF, wheelbase=1.0)
    free = replace(CLOSURE, mixing=0.0, road_friction=0.0, eddy=1e-3)
    line = solve_line(body(angle), stand, replace(CLOSURE, mixing=0.0))
    bound = potential_downforce(body(angle), stand, free, line=line, n_x=120, n_y=20)
    plain = solve_plan(body(angle), stand, free, layer=line, n_x=120, n_y=20).downforce
    assert abs(plain / bound - 1) < 0.02
    real = replace(free, mixing=CLOSURE.mixing, eddy=CLOSURE.eddy)
    assert 1.15 < bound / solve_plan(body(angle), stand, real, layer=line).downforce < 2.0


def test_nodes_at_the_kink_make_the_line_converge() -> None:
    coarse, fine = (
        solve_line(body(17.0), Stand(front=0.0236, rear=0.0236, wheelbase=1.0), CLOSURE, n_node=n)
        for n in (60, 240)
    )
    assert coarse.stalled_from is not None
    assert abs(coarse.downforce / fine.downforce - 1) < 0.01


@pytest.mark.parametrize("field", ["discharge", "mixing", "exit_pressure", "head", "eddy",
                                   "road_friction", "inlet_thickness", "inlet_loss",
                                   "vortex_mixing", "vortex_limit", "reynolds"])  # fmt: skip
def test_every_closure_moves_the_answer(field: str) -> None:
    stand = Stand(front=0.03, rear=0.03, wheelbase=1.0)
    base = solve_plan(body(15.0), stand, CLOSURE, n_x=30, n_y=4).downforce
    step = {"exit_pressure": -0.1, "reynolds": 5e5, "inlet_thickness": 5e-4, "inlet_loss": 0.2}
    moved = replace(CLOSURE, **{field: getattr(CLOSURE, field) + step.get(field, 0.05)})
    assert abs(solve_plan(body(15.0), stand, moved, n_x=30, n_y=4).downforce - base) > 1e-6


def test_outside_suction_blocks_and_edges_move_the_answer() -> None:
    base = solve_plan(body(), STAND, CLOSURE).downforce
    wake = replace(CLOSURE, outside=((0.3, 0.0), (0.6, -0.4), (1.0, -0.4)))
    assert solve_plan(body(), STAND, wake).downforce > base
    wheel = Block(start=0.5, end=0.6, inner=0.05, outer=0.15, share=0.5, loss=1.0)
    blocked = replace(body(), blocks=(wheel,))
    assert abs(solve_plan(blocked, STAND, CLOSURE).downforce - base) > 1e-4
    sealed = replace(body(), edge_gap=0.01)
    assert solve_plan(sealed, STAND, CLOSURE).downforce > 1.2 * base
    skirted = solve_plan(replace(body(), skirt=0.03), STAND, CLOSURE).downforce
    np.testing.assert_allclose(
        skirted, solve_plan(sealed, STAND, CLOSURE).downforce, rtol=1e-9
    )  # what hangs 30 mm down from 40 leaves 10


def test_a_tunnel_and_a_tray_are_seen_in_the_gap() -> None:
    tunnel = Strip(inner=0.05, outer=0.12, profile=((0.4, 0.0), (0.9, 0.05)))
    shape = replace(body(0.0), strips=(tunnel,))
    gap = gap_at(shape, STAND, np.array([0.2, 0.8]), np.array([0.08, 0.08]))
    assert gap[0] == pytest.approx(0.04)
    assert gap[1] == pytest.approx(0.08)
    assert solve_plan(shape, STAND, CLOSURE).downforce > 0


@pytest.mark.parametrize(
    ("shape", "stand", "words"),
    [
        (body(), Stand(front=0.04, rear=-0.05, wheelbase=1.0), "touches the road at station"),
        (replace(body(), profile=((0.0, 0.0), (0.8, 0.0), (0.8, 0.1))), STAND, "vertical"),
        (replace(body(), profile=((0.0, 0.0), (0.8, 0.0), (0.81, 0.3))), STAND, "too steep"),
        (replace(body(), strakes=(Strake(start=1.2, end=1.4, offset=0.05),)), STAND,
         "outside the floor"),
        (body(), Stand(front=0.0003, rear=0.0003, wheelbase=1.0), "too coarse"),
        (replace(body(), exit=-1.0), STAND, "ahead of"),
    ],
)  # fmt: skip
def test_a_floor_that_cannot_be_is_named_with_its_place(
    shape: FloorShape, stand: Stand, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        check_shape(shape, stand)


def test_a_state_without_answer_is_named() -> None:
    with pytest.raises(NotConverged, match="ride heights"):
        solve_line(body(20.0), Stand(front=0.004, rear=0.004, wheelbase=1.0), CLOSURE)


def test_all_of_two_hundred_random_states_are_solved() -> None:
    dice = np.random.default_rng(7)
    failed = []
    for _ in range(200):
        angle, height = dice.uniform(0, 22), dice.uniform(0.06, 0.9) * HALF
        closure = FloorClosure(
            discharge=dice.uniform(0.2, 0.8), mixing=dice.uniform(0.1, 1.0),
            vortex_mixing=dice.uniform(0.0, 0.06), exit_pressure=dice.uniform(-0.6, -0.05),
            head=dice.uniform(0.75, 1.0), inlet_thickness=1e-3, reynolds=1.3e6,
        )  # fmt: skip
        try:
            found = solve_plan(
                body(angle), Stand(front=height, rear=height, wheelbase=1.0), closure,
                n_x=36, n_y=4,
            )  # fmt: skip
        except NotConverged as why:
            failed.append(str(why))
            continue
        assert found.residual < 1e-8
        assert np.all(np.isfinite(found.pressure))
    assert failed == []


def test_all_of_a_hundred_random_floors_with_steps_are_solved() -> None:
    # rake, roll, skirts, gaps down to where the floor touches; what touches is refused by name
    dice = np.random.default_rng(5)
    failed = []
    for _ in range(100):
        half, kick = dice.uniform(0.35, 0.9), dice.uniform(1.6, 2.6)
        end, out = kick + dice.uniform(0.3, 1.2), half * dice.uniform(0.3, 0.9)
        rise = (end - kick) * np.tan(np.radians(dice.uniform(0.0, 22.0)))
        ramp, flat = ((-0.3, 0.0), (kick, 0.0), (end, rise)), ((-0.3, 0.0), (end, 0.0))
        strip = Strip(inner=float(dice.choice([0.0, 0.4 * out])), outer=out, profile=ramp)
        shape = FloorShape(
            width=2 * half, front=-0.3, exit=end, profile=flat, strips=(strip,),
            tail=kick if strip.inner == 0 and dice.integers(2) else None,
            skirt=float(dice.choice([0.0, 0.005])),
        )  # fmt: skip
        stand = Stand(
            front=dice.uniform(0.015, 0.09), rear=dice.uniform(0.02, 0.12), wheelbase=2.6,
            roll=float(dice.choice([0.0, dice.uniform(-0.01, 0.01)])),
        )  # fmt: skip
        closure = FloorClosure(
            discharge=dice.uniform(0.2, 0.8), mixing=dice.uniform(0.1, 1.0),
            vortex_mixing=dice.uniform(0.0, 0.06), exit_pressure=dice.uniform(-0.6, -0.05),
            head=dice.uniform(0.75, 1.0), inlet_thickness=1e-3, reynolds=4e6,
        )  # fmt: skip
        try:
            solve_plan(shape, stand, closure, n_x=36, n_y=8)
        except (InputError, NotConverged) as why:
            failed.append(str(why))
    # what touches, or nearly so, is refused by name
    assert [f for f in failed if "touches the road" not in f and "too coarse" not in f] == []
    assert len(failed) < 10


def test_notices_say_where_it_may_not_be_trusted() -> None:
    high = solve_plan(body(), Stand(front=0.2, rear=0.2, wheelbase=1.0), CLOSURE)
    assert any("trend only" in n for n in high.notices)
    low = solve_plan(body(17.0), Stand(front=0.015, rear=0.015, wheelbase=1.0), CLOSURE)
    assert any("separated" in n for n in low.notices)


def test_grid_has_a_row_at_every_wall() -> None:
    shape = replace(body(diffuser_width=0.21), strakes=(Strake(start=0.9, end=1.3, offset=0.033),))
    grid = plan_grid(shape, STAND, CLOSURE, None)
    for wall in (0.033, 0.105, HALF):
        assert np.min(np.abs(grid.y - wall)) < 1e-9


def test_a_gap_is_given_out_anew_and_of_lists_as_well() -> None:
    ramp = ((-0.2, 0.0), (0.6, 0.0), (1.2, 0.1))
    shape = FloorShape(width=0.4, front=-0.2, exit=1.2, profile=ramp)
    x = np.linspace(-0.2, 1.2, 9)
    first = gap_at(shape, STAND, x, np.zeros(1))
    kept = first.copy()
    first += 1.0  # whoever changes an answer changes nobody else's
    np.testing.assert_array_equal(gap_at(shape, STAND, x, np.zeros(1)), kept)
    assert not np.array_equal(gap_at(shape, STAND, x + 0.1, np.zeros(1)), kept)
    unhashed = replace(shape, profile=[list(point) for point in ramp])
    np.testing.assert_array_equal(gap_at(unhashed, STAND, x, np.zeros(1)), kept)
