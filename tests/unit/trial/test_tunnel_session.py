"""A tunnel session whose truth is known: what is planted comes out, what is wrong is said."""

import numpy as np
import pytest

from tuftwork.errors import InputError, NotCovered
from tuftwork.trial.matrix import MatrixWish, Place, order_matrix
from tuftwork.trial.tunnel import BLOCKAGE_METHODS, TunnelModel, matrix_order
from tuftwork.trial.tunnel_case import TunnelCase, TunnelPoint
from tuftwork.trial.tunnel_run import reduce_tunnel

CASE = TunnelCase(
    scale=0.4, wheelbase=2.6, frontal_area=2.0, length=4.4, section_height=2.4, section_width=3.2,
    volume=0.4, density=1.2, viscosity=1.5e-5, centre_x=-0.1, centre_z=-0.3, road_speed=25.0,
)  # fmt: skip
TRUE = {"front": 0.62, "rear": 0.95, "drag": 0.90}
TARE = {"drag": 6.0, "lift": 2.0, "pitch": 0.5}


def reading(case: TunnelCase, walls: float = 1.0, **given: object) -> TunnelPoint:
    """Return what the balance reads of the known car: worked backward by hand, not by the tool."""
    values = {**TRUE, **{k: given.pop(k) for k in list(given) if k in TRUE}}
    speed = float(given.get("speed", 50.0))  # type: ignore[arg-type]
    area = 0.5 * case.density * speed**2 * case.scale**2 * walls
    drag, lift_front, lift_rear = (s * values[k] * area for s, k in
                                   ((1, "drag"), (-1, "front"), (-1, "rear")))  # fmt: skip
    lift = lift_front + lift_rear
    ground = (lift_front - lift_rear) * case.wheelbase * case.scale / 2
    pitch = ground - drag * case.centre_z + lift * case.centre_x
    known = {"state": "a", "height_front": 0.05, "height_rear": 0.06, "speed": speed, **given}
    return TunnelPoint(
        drag=drag + TARE["drag"], lift=lift + TARE["lift"], pitch=pitch + TARE["pitch"], **known
    )  # type: ignore[arg-type]


def tare() -> TunnelPoint:
    return TunnelPoint(state="a", height_front=0.05, height_rear=0.06, speed=50.0, is_tare=True,
                       **TARE)  # fmt: skip


def test_supports_axes_and_scale_are_taken_out() -> None:
    row = reduce_tunnel([tare(), reading(CASE)], CASE).rows[0]
    for name, value in TRUE.items():
        assert getattr(row, name) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize("method", BLOCKAGE_METHODS)
def test_walls_are_taken_out_by_the_method_asked_for(method: str) -> None:
    case = CASE.__class__(**{**{f: getattr(CASE, f) for f in CASE.__slots__}, "correction": method})
    # what the section's walls make of the car, by the same method read backward
    ratio = 1.04
    for _ in range(60):
        model = TunnelModel(drag_coefficient=TRUE["drag"] * ratio / 2.0, frontal_area=0.32,
                            section_area=7.68, volume=0.4, height=2.4, width=3.2)  # fmt: skip
        ratio = BLOCKAGE_METHODS[method](model)
    result = reduce_tunnel([tare(), reading(case, walls=ratio)], case)
    assert result.rows[0].drag == pytest.approx(TRUE["drag"], abs=1e-6)
    assert [m["method"] for m in result.methods] == ["none", *BLOCKAGE_METHODS]
    assert result.rows[0].lines["choice of wall correction"]["drag"] > 0.003


def test_repeats_are_the_sessions_own_noise() -> None:
    noise = np.random.default_rng(1)
    points = [reading(CASE, rear=0.95 + noise.normal(0, 0.01)) for _ in range(40)]
    result = reduce_tunnel([tare(), *points], CASE)
    assert result.dof == 39
    assert result.scatter["rear"] == pytest.approx(0.01, rel=0.3)
    assert result.rows[0].lines["repeats"]["rear"] == pytest.approx(
        result.scatter["rear"] / 40**0.5
    )


def test_two_branches_are_seen_and_widen_the_range() -> None:
    noise = np.random.default_rng(2)
    points = []
    for way, shift in (("up", 0.0), ("down", 0.08)):
        for height in (0.054, 0.058, 0.062, 0.070):
            for _ in range(3):
                rear = 0.95 + (shift if height == 0.058 else 0.0) + noise.normal(0, 0.004)
                points.append(reading(CASE, rear=rear, height_rear=height, sweep=way))
    result = reduce_tunnel([tare(), *points], CASE)
    assert result.sweeps["a"].is_hysteresis
    assert result.sweeps["a"].at == pytest.approx(0.058)
    row = next(r for r in result.rows if abs(r.height_rear - 0.058) < 1e-6)
    assert row.gap == pytest.approx(0.08, abs=0.01)
    assert row.lines["way of the sweep"]["rear"] == pytest.approx(0.08 / 12**0.5, rel=0.15)
    # the noise of a reading is not swollen by the two branches
    assert result.scatter["rear"] < 0.007


def test_one_branch_is_not_called_two() -> None:
    noise = np.random.default_rng(3)
    points = [
        reading(CASE, rear=0.95 + noise.normal(0, 0.004), height_rear=h, sweep=way)
        for way in ("up", "down") for h in (0.054, 0.058, 0.062) for _ in range(3)
    ]  # fmt: skip
    assert not reduce_tunnel([tare(), *points], CASE).sweeps["a"].is_hysteresis


def test_what_the_session_cannot_say_is_said() -> None:
    fixed = {f: getattr(CASE, f) for f in CASE.__slots__}
    fixed |= {"has_belt": False, "layer": 0.004, "road_speed": 70.0, "section_width": 1.4}
    case = TunnelCase(**fixed)
    said = " ".join(reduce_tunnel([reading(case, speed=30.0)], case).notices)
    for words in ("Reynolds", "Blockage 9.5 %", "displaces 4.0 mm", "No point was repeated",
                  "one way only"):  # fmt: skip
        assert words in said


def test_an_open_jet_is_not_corrected_and_tares_alone_are_refused() -> None:
    given = {f: getattr(CASE, f) for f in CASE.__slots__}
    opened = TunnelCase(**{**given, "is_open": True, "correction": "wake (Maskell)"})
    with pytest.raises(InputError, match="closed sections only"):
        reduce_tunnel([reading(opened)], opened)
    plain = TunnelCase(**{**given, "is_open": True})
    assert "Open jet" in " ".join(reduce_tunnel([reading(plain)], plain).notices)
    with pytest.raises(NotCovered, match="no point"):
        reduce_tunnel([tare()], CASE)
    with pytest.raises(InputError, match="not known"):
        reduce_tunnel([reading(CASE)], TunnelCase(**{**given, "correction": "magic"}))


def wish(**given: object) -> MatrixWish:
    grid = [(f, r) for f in (0.042, 0.05, 0.058) for r in (0.054, 0.062, 0.070, 0.078)]
    usual: dict[str, object] = {
        "candidates": tuple(Place(state=s, height_front=f, height_rear=r)
                            for s in ("a", "b") for f, r in grid),
        "questions": tuple(Place(state=s, height_front=0.058 - 0.016 * x,
                                 height_rear=0.071 - 0.017 * x, weight=x**2)
                           for s in ("a", "b") for x in (0.4, 0.6, 0.8, 1.0)),
        "point_time": 60.0, "change_time": 600.0, "time": 7200.0, "repeat_every": 8,
    }  # fmt: skip
    return MatrixWish(**{**usual, **given})  # type: ignore[arg-type]


def answered_by(order: list[int], asked: MatrixWish) -> np.ndarray:
    """Return the share of doubt gone after each second of an order, worked from the definition."""
    import tuftwork.trial.matrix as m

    places = [*asked.questions, *asked.candidates]
    weights = np.array([q.weight for q in asked.questions])
    n = weights.size
    whole = m.PRIOR_SIZE**2 * m._likeness(places)
    start = weights @ np.sqrt(np.diag(whole)[:n])
    clock, state = 0.0, ""
    curve = np.zeros(int(asked.time))
    taken: list[int] = []
    for i in order:
        clock += asked.point_time + (asked.change_time if state not in ("", places[n + i].state)
                                     else 0)  # fmt: skip
        state = places[n + i].state
        taken.append(n + i)
        if clock >= asked.time:
            break
        seen = whole[np.ix_(taken, taken)] + asked.noise**2 * np.eye(len(taken))
        across = whole[:n][:, taken]
        left = np.diag(whole)[:n] - np.einsum("ij,jk,ik->i", across, np.linalg.inv(seen), across)
        curve[int(clock) :] = 1 - weights @ np.sqrt(left) / start
    return curve


def test_an_early_end_has_answered_more_than_other_orders_would_have() -> None:
    asked = wish(repeat_every=0)
    lines = order_matrix(asked)
    ours = answered_by([asked.candidates.index(x.place) for x in lines], asked)
    assert lines[5].answered == pytest.approx(ours[int(lines[5].start + 61)], abs=1e-9)
    noise = np.random.default_rng(4)
    count = len(asked.candidates)
    for _ in range(10):
        mixed = answered_by(list(noise.permutation(count)), asked)
        assert np.mean(ours) > np.mean(mixed)
    in_rows = answered_by(list(range(count)), asked)
    assert np.mean(ours) > np.mean(in_rows)
    for share in (0.5, 0.8):
        assert np.argmax(ours >= share) < np.argmax(in_rows >= share)


def test_points_far_from_each_other_go_by_worth_per_second() -> None:
    places = [Place(state="a", height_front=0.05 + 0.1 * i, height_rear=0.06, weight=w)
              for i, w in enumerate((1.0, 3.0, 2.0, 0.5))]  # fmt: skip
    lines = order_matrix(wish(candidates=tuple(places), questions=tuple(places), repeat_every=0))
    assert [places.index(x.place) for x in lines] == matrix_order([1.0, 3.0, 2.0, 0.5], [60.0] * 4)


def test_the_matrix_comes_back_to_its_first_point_and_keeps_to_its_time() -> None:
    lines = order_matrix(wish())
    repeats = [x for x in lines if x.is_repeat]
    assert repeats
    assert all(x.place == lines[0].place for x in repeats)
    assert lines[-1].start + 60.0 <= 7200.0
    assert [x.answered for x in lines] == sorted(x.answered for x in lines)
    with pytest.raises(InputError, match="not even one"):
        order_matrix(wish(time=30.0))
    with pytest.raises(InputError, match="points and questions"):
        order_matrix(wish(questions=()))
