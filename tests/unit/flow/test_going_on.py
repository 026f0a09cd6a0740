"""A run in several processes: its whole time, and a settling that was changed in between."""

from collections.abc import Callable
from importlib import import_module
from types import SimpleNamespace

import numpy as np
import pytest
from tests.unit.flow.brick import Memory, prepared_brick

from tuftwork.errors import Cancelled, InputError
from tuftwork.flow import FlowResult, Prepared, Progress, StopRule, run

RULE = StopRule(error=1e-9, settle=0.5, longest=3.0)
SAMPLE, APART = 10.0, 5000.0
"""Time of one sample of a process, and between two processes. [s]"""


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepared_brick()


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    now = [100.0]
    monkeypatch.setattr(
        import_module("tuftwork.flow.run"), "time", SimpleNamespace(monotonic=lambda: now[0])
    )
    return now


def until(travel: float, clock: list[float], told: list[Progress]) -> Callable[[Progress], bool]:
    """Let a sample take its time, and stop at some travel."""

    def watch(progress: Progress) -> bool:
        clock[0] += SAMPLE
        told.append(progress)
        return progress.travel < travel

    return watch


def test_the_seconds_of_a_run_are_those_of_all_its_processes(
    prepared: Prepared, clock: list[float]
) -> None:
    shelf, told = Memory(), list[Progress]()
    counts = []
    for stop in (0.7, 1.3):
        with pytest.raises(Cancelled):
            run(prepared, rule=RULE, checkpoint=shelf, watch=until(stop, clock, told))
        counts.append(len(told))
        clock[0] += APART  # nobody computes
    found = run(prepared, rule=RULE, checkpoint=shelf, watch=until(9.0, clock, told))
    assert counts[0] > 10
    assert counts[1] > counts[0] + 10
    assert found.made_with["seconds"] == SAMPLE * len(told) == SAMPLE * len(found.series)
    # what is told on the way is the whole time too, the rate that of this process
    assert np.diff([p.seconds for p in told]).min() >= 0
    assert told[counts[1]].seconds == pytest.approx(SAMPLE * counts[1])
    assert told[-1].rate == pytest.approx(told[counts[0] - 1].rate, rel=0.1)


def test_a_checkpoint_of_an_older_version_counts_from_nought(
    prepared: Prepared, clock: list[float]
) -> None:
    shelf, told = Memory(), list[Progress]()
    with pytest.raises(Cancelled):
        run(prepared, rule=RULE, checkpoint=shelf, watch=until(1.0, clock, told))
    del shelf.saved["seconds"], shelf.saved["settle"]
    first = len(told)
    found = run(prepared, rule=RULE, checkpoint=shelf, watch=until(9.0, clock, told))
    assert found.made_with["seconds"] == SAMPLE * (len(told) - first)


def stopped(prepared: Prepared, travel: float) -> Memory:
    shelf = Memory()
    with pytest.raises(Cancelled):
        run(prepared, rule=RULE, checkpoint=shelf, watch=lambda p: p.travel < travel)
    return shelf


def same_means(one: FlowResult, two: FlowResult) -> None:
    np.testing.assert_allclose(one.mean.velocity, two.mean.velocity, atol=1e-12)
    np.testing.assert_allclose(one.wall_rows, two.wall_rows, atol=1e-12)
    assert one.drag_area.mean == pytest.approx(two.drag_area.mean)


def test_a_longer_settling_begins_the_means_anew(prepared: Prepared) -> None:
    """Fields and loads are those of a run that settled so long from its start."""
    longer = StopRule(error=1e-9, settle=1.0, longest=3.0)
    shelf = stopped(prepared, 0.9)
    gone_on = run(prepared, rule=longer, checkpoint=shelf)
    same_means(gone_on, run(prepared, rule=longer))


@pytest.mark.parametrize("settle", [0.2, 0.8])
def test_a_settling_that_the_checkpoint_cannot_give_is_refused_with_one_that_it_can(
    prepared: Prepared, settle: float
) -> None:
    shelf = stopped(prepared, 0.95)
    with pytest.raises(InputError, match=r"from 0\.5 on.*Keep 0\.5, or let it settle for 1 or"):
        run(prepared, rule=StopRule(error=1e-9, settle=settle, longest=2.0), checkpoint=shelf)


def test_before_anything_is_averaged_settling_may_be_changed_freely(prepared: Prepared) -> None:
    shorter = StopRule(error=1e-9, settle=0.45, longest=3.0)
    gone_on = run(prepared, rule=shorter, checkpoint=stopped(prepared, 0.4))
    same_means(gone_on, run(prepared, rule=shorter))


def test_what_was_doubted_before_a_kill_stays_doubted(
    prepared: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where the flow has mended itself since; when it was seen first is told as it was."""
    monkeypatch.setattr("tuftwork.flow.doubt.FASTEST", 0.5)  # any air is too fast
    shelf = stopped(prepared, 1.5)
    monkeypatch.undo()
    told: list[Progress] = []

    def watch(progress: Progress) -> bool:
        told.append(progress)
        return True

    found = run(prepared, rule=RULE, checkpoint=shelf, watch=watch)
    (doubt,) = (d for d in found.doubts if d.kind == "speed")
    assert doubt.travel < 1.0
    assert doubt.part == "'brick'"
    assert doubt.text in found.notices
    assert doubt in told[0].doubts
    assert not [d for d in run(prepared, rule=RULE).doubts if d.kind == "speed"]
