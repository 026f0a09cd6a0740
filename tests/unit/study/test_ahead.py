"""Kernels compiled ahead: only where a step will need them, and the step waits."""

import os
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
    Step(name="draws", title="Draws", inputs=1, needs=(), work=answer),
    Step(name="lap Oval: as raced", title="Lap", inputs=1, needs=("draws",), work=answer),
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
    monkeypatch.setattr(ahead, "is_compiled", lambda kind: False)
    with compiled_ahead(STEPS, Store(tmp_path)) as steps:
        assert steps[0].work is answer
        assert steps[1].work is not answer
        with pytest.raises(Cancelled):
            steps[1].work({}, Pulse(lambda share: None, lambda: True))


@pytest.mark.skipif("NUMBA_CACHE_DIR" in os.environ, reason="the cache lies elsewhere")
@pytest.mark.parametrize("kind", list(ahead.KERNELS))
def test_kernels_that_the_cache_holds_start_no_process(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ahead.KERNELS[kind]()
    assert ahead.is_compiled(kind)
    monkeypatch.setattr(ahead.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(ahead, "_compiling", lambda kind: pytest.fail("a process was started"))
    steps = [Step(name=f"{kind} of this car", title="", inputs=1, needs=(), work=answer)]
    with compiled_ahead(steps, Store(tmp_path)) as given:
        assert given[0].work is answer


def test_a_kernel_older_than_its_source_is_not_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = tmp_path / "lap"
    (room / "__pycache__").mkdir(parents=True)
    (tmp_path / "study").mkdir()
    monkeypatch.setattr(ahead, "__file__", str(tmp_path / "study" / "ahead.py"))
    for kernel in ahead.KEPT["lap"]:
        module = kernel.partition("/")[2].partition(".")[0]
        (room / f"{module}.py").write_text("")
    assert not ahead.is_compiled("lap")
    for kernel in ahead.KEPT["lap"]:
        kept = room / "__pycache__" / f"{kernel.partition('/')[2]}-1.py311.nbi"
        kept.write_text("")
        os.utime(kept, (2e9, 2e9))
    assert ahead.is_compiled("lap")
    os.utime(room / "passes.py", (2.1e9, 2.1e9))
    assert not ahead.is_compiled("lap")
