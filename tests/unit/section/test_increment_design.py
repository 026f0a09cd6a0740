"""Edge devices and design help."""

import numpy as np
import pytest

from tuftwork.errors import InputError
from tuftwork.section import (
    Condition,
    Design,
    Flap,
    Range,
    analyse,
    compare_devices,
    gurney,
    naca,
    optimise,
    score,
    set_handle,
    single,
    sweep,
    thick_edge,
    tolerance_table,
)

AIR = Condition(reynolds=1e6)


def _design(**more) -> Design:
    flap = Flap(contour=naca("4412"), chord=0.4, deflection=np.deg2rad(20.0), gap=0.015)
    return Design(main=naca("4412"), flaps=(flap,), incidence=0.05, **more)


def test_no_tab_no_increment() -> None:
    inc = gurney(0.0)
    assert inc.lift == 0.0
    assert inc.drag == 0.0


def test_a_taller_tab_does_more_of_everything() -> None:
    inc = gurney(np.array([0.005, 0.01, 0.02, 0.04]))
    assert (np.diff(inc.lift) > 0).all()
    assert (np.diff(inc.drag) > 0).all()
    assert (np.diff(inc.zero_lift) < 0).all()


def test_a_tab_deep_in_the_layer_does_less() -> None:
    assert gurney(0.01, layer=0.04).lift < gurney(0.01, layer=0.01).lift


def test_heights_beyond_the_tests_are_refused() -> None:
    with pytest.raises(InputError, match="height"):
        gurney(0.06)


def test_gurney_against_thick_edge_at_equal_height() -> None:
    both = compare_devices(analyse(single(naca("4412")), AIR, 0.08, n_panel=100), 0.01)
    assert both.gurney.lift > both.thick.lift
    assert thick_edge(0.02).drag > thick_edge(0.01).drag


def test_a_handle_moves_only_itself() -> None:
    d = _design()
    moved = set_handle(d, "gap", 0.02)
    assert moved.flaps[0].gap == 0.02
    assert moved.flaps[0].chord == d.flaps[0].chord
    with pytest.raises(InputError, match="flap"):
        set_handle(d, "gap", 0.02, flap=3)


def test_every_handle_moves_the_answer() -> None:
    d = _design()
    base = score(d, AIR, n_panel=80)
    for handle, value in (
        ("incidence", 0.08), ("gap", 0.025), ("overlap", 0.01), ("deflection", 0.40),
        ("chord", 0.3), ("gurney", 0.01),
    ):  # fmt: skip
        assert abs(score(set_handle(d, handle, value), AIR, n_panel=80).lift - base.lift) > 1e-3


def test_a_sweep_keeps_the_order_and_gives_reasons() -> None:
    gaps = (0.005, 0.015, 0.02)
    scores = sweep([set_handle(_design(), "gap", g) for g in gaps], AIR, n_panel=80, n_worker=1)
    assert [s.design.flaps[0].gap for s in scores] == list(gaps)
    assert "published least" in scores[0].reason


def test_the_tolerance_table_prices_a_build_error() -> None:
    rows = tolerance_table(
        _design(), AIR, [("gap", 0, 0.001), ("deflection", 0, 0.009)], n_panel=80
    )
    assert rows[0].lift_cost < 0.05
    assert rows[1].lift_cost < 0.0


def test_the_search_does_not_lose_against_its_start() -> None:
    d = Design(main=naca("4412"), incidence=0.0)
    best = optimise(d, AIR, [Range(handle="incidence", low=0.0, high=0.12)], price=5.0, n_call=30)
    assert best.value >= score(d, AIR, price=5.0).value
    assert best.nose_suction < 1.0
