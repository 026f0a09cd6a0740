"""A run that shares its box among cards: told before, run, gone on with, refused."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.errors import Cancelled, InputError
from tuftwork.files.flow_state import FlowStateFile
from tuftwork.flow import Box, FlowCase, FlowPart, Prepared, StopRule, prepare, run, slab_engine
from tuftwork.flow.judge import forecast
from tuftwork.flow.setup import SOLID, Setup
from tuftwork.flow.slab_here import slabs_here
from tuftwork.shape import block

BRICK = block("brick", (0.0, -0.15, 0.15), (0.5, 0.15, 0.40))
RULE = StopRule(error=1e-9, settle=0.5, longest=2.0)


def brick_case(**more: object) -> FlowCase:
    box = Box(ahead=0.5, behind=0.8, beside=0.5, above=0.6)
    part = FlowPart(name="brick", vertices=BRICK.vertices, faces=BRICK.faces)
    return FlowCase(**{"parts": (part,), "speed": 30.0, "cell": 0.05, "box": box} | more)


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(brick_case())


@pytest.fixture
def slabs_for_cards(monkeypatch: pytest.MonkeyPatch) -> None:
    """Slabs on the CPU, in this process, where cards would be."""

    def here(setup: Setup, cards: int, precision: str) -> slab_engine.SlabEngine:
        return slabs_here(setup, cards)

    monkeypatch.setattr(slab_engine, "slabs_on_cards", here)


@pytest.mark.usefixtures("slabs_for_cards")
def test_a_shared_run_gives_the_same_and_goes_on_with_another_number_of_cards(
    prepared: Prepared, tmp_path: Path
) -> None:
    alone = run(prepared, rule=RULE, precision="float64")
    shelf = FlowStateFile(tmp_path / "state.npz")
    with pytest.raises(Cancelled):
        run(prepared, rule=RULE, backend="cuda", cards=2, checkpoint=shelf,
            watch=lambda p: p.travel < 1.0)  # fmt: skip
    shared = run(prepared, rule=RULE, backend="cuda", cards=3, checkpoint=shelf)
    np.testing.assert_allclose(shared.series, alone.series, rtol=0, atol=1e-9)
    air = prepared.setup.mark != SOLID
    found, wanted = (r.mean.velocity[:, air] for r in (shared, alone))
    np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-12)
    assert shared.drag_area.mean == pytest.approx(alone.drag_area.mean, rel=1e-9)
    assert shared.made_with["cards"] == 3
    assert alone.made_with["cards"] == 1


def test_memory_and_time_of_several_cards_are_told_before() -> None:
    one, two = (
        forecast(brick_case(cell=0.005), lengths=10.0, backend="cuda", cards=n, free=8e10)
        for n in (1, 2)
    )
    assert not one.faults
    assert not two.faults
    assert 0.5 < two.memory / one.memory < 0.6
    assert 0.5 < two.seconds / one.seconds < 0.6
    assert 0.85 < two.efficiency < 1.0
    small = forecast(brick_case(cell=0.005), lengths=10.0, backend="cuda", cards=2, free=1e7)
    assert any("memory of each card" in str(fault) for fault in small.faults)


def test_cards_are_refused_where_they_cannot_be_used(prepared: Prepared) -> None:
    with pytest.raises(InputError, match="cpu back end uses none"):
        run(prepared, rule=RULE, cards=2)
    thin = forecast(brick_case(), lengths=10.0, backend="cuda", cards=9, free=8e10)
    assert any("must be from 1 to 5" in str(fault) for fault in thin.faults)


def test_without_cupy_or_cards_it_says_what_to_install(prepared: Prepared) -> None:
    try:
        import cupy  # noqa: F401
    except ImportError:
        pass
    else:
        pytest.skip("CuPy is installed")
    with pytest.raises(InputError, match=r"pip install 'tuftwork\[cards\]'"):
        run(prepared, rule=RULE, backend="cuda", cards=2)
