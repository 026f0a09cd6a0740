"""What a study promises: nothing is computed twice, nothing is lost, everything is written down."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tuftwork.errors import Cancelled, InputError, UnknownName
from tuftwork.study.ledger import Ledger
from tuftwork.study.step import Progress, Pulse, Step, digests_of, run_steps
from tuftwork.study.store import Store, digest_of


class Kitchen:
    """Three steps, and a count of how often each was really computed."""

    def __init__(self, folder: Path) -> None:
        self.store = Store(folder / "results")
        self.ledger = Ledger(folder / "results" / "ledger.sqlite")
        self.made: list[str] = []
        self.seen: list[Progress] = []

    def steps(self, angle: float = 8.0, mass: float = 1285.0) -> list[Step]:
        def wing(results: Mapping[str, Any], pulse: Pulse) -> Any:
            self.made.append("wing")
            return {"load": np.full(4, angle)}

        def ride(results: Mapping[str, Any], pulse: Pulse) -> Any:
            self.made.append("ride")
            return {"mass": mass}

        def total(results: Mapping[str, Any], pulse: Pulse) -> Any:
            self.made.append("total")
            pulse.beat(0.5)
            return {"sum": float(results["wing"]["load"].sum() + results["ride"]["mass"])}

        return [
            Step(name="wing", title="Wing", inputs={"angle": angle}, needs=(), work=wing),
            Step(name="ride", title="Ride", inputs={"mass": mass}, needs=(), work=ride),
            Step(name="total", title="Total", inputs={}, needs=("wing", "ride"), work=total),
        ]

    def run(self, steps: list[Step], stop_after: int | None = None) -> dict[str, Any]:
        def is_cancelled() -> bool:
            return stop_after is not None and len(self.made) >= stop_after

        return run_steps(
            steps, self.store, self.ledger, what="study", version="0",
            watch=self.seen.append, is_cancelled=is_cancelled,
        )  # fmt: skip


def test_a_second_run_only_reads(tmp_path: Path) -> None:
    kitchen = Kitchen(tmp_path)
    first = kitchen.run(kitchen.steps())
    second = kitchen.run(kitchen.steps())
    assert kitchen.made == ["wing", "ride", "total"]
    assert second["total"] == first["total"] == {"sum": 4 * 8.0 + 1285.0}
    assert all(s["cached"] for s in kitchen.ledger.runs()[0]["steps"])


def test_one_changed_angle_computes_only_what_depends_on_it(tmp_path: Path) -> None:
    kitchen = Kitchen(tmp_path)
    kitchen.run(kitchen.steps())
    kitchen.made.clear()
    assert kitchen.run(kitchen.steps(angle=12.0))["total"]["sum"] == 4 * 12.0 + 1285.0
    assert kitchen.made == ["wing", "total"]


def test_a_cancelled_run_keeps_what_was_finished_and_goes_on_from_there(tmp_path: Path) -> None:
    kitchen = Kitchen(tmp_path)
    with pytest.raises(Cancelled):
        kitchen.run(kitchen.steps(), stop_after=2)
    assert kitchen.ledger.runs()[0]["state"] == "cancelled"
    assert [s["name"] for s in kitchen.ledger.runs()[0]["steps"]] == ["wing", "ride"]
    kitchen.made.clear()
    kitchen.run(kitchen.steps())
    assert kitchen.made == ["total"]


def test_a_damaged_result_is_computed_again(tmp_path: Path) -> None:
    kitchen = Kitchen(tmp_path)
    kitchen.run(kitchen.steps())
    digest = digests_of(kitchen.steps())["wing"]
    kitchen.store.path_of(digest).write_bytes(b"half a fi")
    kitchen.made.clear()
    kitchen.run(kitchen.steps())
    assert kitchen.made == ["wing"]


def test_a_failed_step_is_in_the_ledger(tmp_path: Path) -> None:
    kitchen = Kitchen(tmp_path)

    def burn(results: Mapping[str, Any], pulse: Pulse) -> Any:
        raise InputError("angle", 99, "°", "too steep")

    steps = [*kitchen.steps(), Step(name="x", title="X", inputs=1, needs=(), work=burn)]
    with pytest.raises(InputError, match="too steep"):
        kitchen.run(steps)
    run = kitchen.ledger.runs()[0]
    assert run["state"] == "failed"
    assert "too steep" in run["message"]


def test_progress_only_rises_and_ends_at_one(tmp_path: Path) -> None:
    kitchen = Kitchen(tmp_path)
    kitchen.run(kitchen.steps())
    shares = [p.done for p in kitchen.seen]
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)


def test_a_step_that_needs_what_comes_later_is_refused(tmp_path: Path) -> None:
    kitchen = Kitchen(tmp_path)
    with pytest.raises(UnknownName, match="needs"):
        kitchen.run(kitchen.steps()[::-1])


def test_results_come_back_as_they_were_kept(tmp_path: Path) -> None:
    store = Store(tmp_path)
    tree = {"a": np.arange(6.0).reshape(2, 3), "b": [1, None, True, "x", {"c": np.array(2.5)}]}
    store.save("ab12", tree)
    back = store.load("ab12")
    np.testing.assert_array_equal(back["a"], tree["a"])
    assert back["b"][:4] == [1, None, True, "x"]
    assert float(back["b"][4]["c"]) == 2.5
    assert list(tmp_path.rglob("*.npz")) == [store.path_of("ab12")]


def test_a_digest_follows_every_number(tmp_path: Path) -> None:
    base = {"x": np.array([1.0, 2.0]), "y": "a"}
    assert digest_of(base) == digest_of({"y": "a", "x": np.array([1.0, 2.0])})
    assert digest_of(base) != digest_of({"x": np.array([1.0, 2.0 + 1e-15 * 4]), "y": "a"})
    assert digest_of(base) != digest_of({"x": np.array([[1.0, 2.0]]), "y": "a"})


def test_a_result_that_cannot_be_kept_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be kept"):
        Store(tmp_path).save("ab", {"f": object()})
    assert list(tmp_path.rglob("*.npz")) == []
