"""Computed demo projects, each made once for a whole run: read them, never change them."""

import fcntl
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tuftwork.demo import write_demo, write_prototype, write_student
from tuftwork.study import Bench


def computed_once(
    factory: pytest.TempPathFactory, name: str, write: Callable[[Path], Path]
) -> Bench:
    """Return a computed project; where several workers share a run, the first computes it."""
    base = factory.getbasetemp()
    place = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "computed"
    place.mkdir(exist_ok=True)
    with (place / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        folder = place / name
        if not (place / f"{name}.done").exists():
            bench = Bench(write(folder))
            bench.run()
            (place / f"{name}.done").touch()
            return bench
    return Bench(folder)


@pytest.fixture(scope="session")
def halyard(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return computed_once(tmp_path_factory, "halyard", write_demo)


@pytest.fixture(scope="session")
def prototype(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return computed_once(tmp_path_factory, "prototype", write_prototype)


@pytest.fixture(scope="session")
def student(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return computed_once(tmp_path_factory, "student", write_student)
