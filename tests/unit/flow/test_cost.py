"""What a run will cost: everything that it does besides its steps is counted as the run does it."""

import time

import pytest

from tuftwork.flow import Box, FlowCase, FlowPart, Prepared, StopRule, estimate_cost, prepare, run
from tuftwork.flow.cost import AVERAGED, LOOKED, RATES, samples_and_looks
from tuftwork.flow.doubt import Lookout
from tuftwork.flow.engine import CpuEngine
from tuftwork.flow.judge import forecast
from tuftwork.flow.nest_engine import NestedEngine
from tuftwork.flow.zones import zones_round
from tuftwork.shape import block

BRICK = block("brick", (0.0, -0.15, 0.15), (0.5, 0.15, 0.40))
PART = FlowPart(name="brick", vertices=BRICK.vertices, faces=BRICK.faces)
BOX = Box(ahead=0.5, behind=0.8, beside=0.5, above=0.6)


def case_of(levels: int = 0, cell: float = 0.05) -> FlowCase:
    zones = zones_round((PART,), BOX, levels=levels)
    return FlowCase(parts=(PART,), speed=30.0, cell=cell, box=BOX, zones=zones)


@pytest.fixture(scope="module", params=[(0, 0.05), (0, 0.016), (1, 0.05)], ids=str)
def prepared(request: pytest.FixtureRequest) -> Prepared:
    levels, cell = request.param
    return prepare(case_of(levels, cell))


@pytest.mark.parametrize(("settle", "longest"), [(1.0, 2.6), (0.0, 1.0), (0.37, 1.5)])
def test_samples_and_looks_foretold_are_those_that_a_run_takes(
    prepared: Prepared, settle: float, longest: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = {"samples": 0, "looks": 0}
    kind = NestedEngine if prepared.nests else CpuEngine
    sample, look = kind.sample, Lookout.look

    def sampled(self: CpuEngine) -> None:
        taken["samples"] += 1
        sample(self)

    def looked(self: Lookout, *given: object) -> None:
        taken["looks"] += 1
        look(self, *given)  # type: ignore[arg-type]

    monkeypatch.setattr(CpuEngine, "advance", stepped)
    monkeypatch.setattr(NestedEngine, "advance", stepped)
    monkeypatch.setattr(kind, "sample", sampled)
    monkeypatch.setattr(Lookout, "look", looked)
    monkeypatch.setattr(StopRule, "is_met", lambda *_: False)  # still air is known at once
    run(prepared, rule=StopRule(error=1e-9, settle=settle, longest=longest))
    foretold = samples_and_looks(prepared.case, lengths=longest, settle=settle)
    assert foretold == (taken["samples"], taken["looks"])


def stepped(engine: CpuEngine, n_pair: int) -> None:
    """Only count the steps: what the air does meanwhile does not matter here."""
    engine.step += 2 * n_pair


def test_time_holds_the_steps_the_means_and_the_looks(prepared: Prepared) -> None:
    told = estimate_cost(prepared, lengths=3.0, settle=1.0)
    boxes = prepared.nests or ()
    updates = sum(b.setup.n_cell * b.scale for b in boxes) or prepared.setup.n_cell
    steps = updates * told.n_step / RATES["cpu", "float32"]
    n_sample, n_look = samples_and_looks(prepared.case, lengths=3.0, settle=1.0)
    beside = told.n_cell * (n_sample * AVERAGED["cpu"] + n_look * LOOKED["cpu"])
    assert told.watching == pytest.approx(beside)
    assert told.seconds == pytest.approx(steps + beside)


def test_a_run_that_settles_longer_averages_less(prepared: Prepared) -> None:
    early, late = (estimate_cost(prepared, lengths=3.0, settle=s) for s in (0.0, 2.0))
    assert early.n_step == late.n_step
    assert late.watching < early.watching < early.seconds
    assert early.seconds - late.seconds == pytest.approx(early.watching - late.watching)


def test_a_forecast_without_a_grid_counts_means_and_looks_alike() -> None:
    case = case_of(levels=1, cell=0.05)
    seen = forecast(case, lengths=3.0, settle=1.0, free=1e12)
    assert seen.watching == pytest.approx(
        estimate_cost(prepare(case), lengths=3.0, settle=1.0).watching
    )
    assert sum(level.seconds for level in seen.levels) == pytest.approx(seen.seconds)
    longer = forecast(case, lengths=3.0, settle=2.0, free=1e12)
    assert longer.seconds < seen.seconds


def test_means_and_looks_are_no_small_change_on_the_cpu() -> None:
    """Measured here and now, own time of one thread: they are of the order of what is foretold."""
    made = prepare(case_of(0, 0.016))
    engine = CpuEngine(made.setup, "float32")
    engine.start_uniform()
    spent = []
    for _ in range(5):
        begin = time.thread_time()
        engine.sample()
        spent.append(time.thread_time() - begin)
    assert 0.1 < min(spent) / made.n_cell / AVERAGED["cpu"] < 5.0
