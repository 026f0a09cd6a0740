"""The whole study, cold and with nothing changed, and the answer behind the slider."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from tuftwork.demo import write_demo
from tuftwork.study import Bench


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = write_demo(Path(tmp_path_factory.mktemp("bench")) / "halyard")
    Bench(made).run()  # compiled once, so that the rounds below measure the study alone
    return made


def test_study_cold(benchmark: Any, folder: Path) -> None:
    def fresh() -> tuple[tuple[Bench], dict[str, object]]:
        shutil.rmtree(folder / "results")
        return (Bench(folder),), {}

    benchmark.pedantic(lambda bench: bench.run(), setup=fresh, rounds=3)


def test_study_with_nothing_changed(benchmark: Any, folder: Path) -> None:
    Bench(folder).run()
    benchmark.pedantic(lambda: Bench(folder).run(), rounds=3)


def test_answer_behind_the_slider(benchmark: Any, folder: Path) -> None:
    bench = Bench(folder)
    bench.run()
    speeds = iter(range(150, 100_000))

    def move() -> object:
        speed = 150.0 + next(speeds) % 90
        return bench.live({"do": "path_at", "speed": speed, "state": "as raced"})

    benchmark.pedantic(move, rounds=40, warmup_rounds=3)
