"""Kernels compiled ahead: only where a step will need them, and the step waits."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from tuftwork.errors import Cancelled
from tuftwork.study import ahead
from tuftwork.study.ahead import compiled_ahead
from tuftwork.study.step import Pulse, Step, digests_of
from tuftwork.study.store import Store


def answer(results: Mapping[str, Any], pulse: Pulse) -> Any:
    return {"done": True}


STEPS = [
    Step(name="tie", title="Tie", inputs=1, needs=(), work=answer),
    Step(name="lap Oval: as raced", title="Lap", inputs=1, needs=("tie",), work=answer),
]


def test_nothing_is_compiled_for_results_that_are_there(tmp_path: Path) -> None:
    store = Store(tmp_path)
    for digest in digests_of(STEPS).values():
        store.save(digest, {"done": True})
    with compiled_ahead(STEPS, store) as steps:
        assert [s.work for s in steps] == [answer, answer]


def test_only_the_step_that_needs_kernels_waits_and_can_be_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ahead.os, "cpu_count", lambda: 2)
    with compiled_ahead(STEPS, Store(tmp_path)) as steps:
        assert steps[0].work is answer
        assert steps[1].work is not answer
        with pytest.raises(Cancelled):
            steps[1].work({}, Pulse(lambda share: None, lambda: True))
