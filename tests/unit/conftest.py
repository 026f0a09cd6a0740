"""A computed demo project, made once and shared: read it, never change it."""

from pathlib import Path

import pytest

from tuftwork.demo import write_demo, write_prototype, write_student
from tuftwork.study import Bench


@pytest.fixture(scope="session")
def halyard(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = write_demo(Path(tmp_path_factory.mktemp("halyard")) / "halyard")
    bench = Bench(folder)
    bench.run()
    return bench


@pytest.fixture(scope="session")
def prototype(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    bench = Bench(write_prototype(Path(tmp_path_factory.mktemp("prototype")) / "prototype"))
    bench.run()
    return bench


@pytest.fixture(scope="session")
def student(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    bench = Bench(write_student(Path(tmp_path_factory.mktemp("student")) / "student"))
    bench.run()
    return bench
