"""Temporary files that a killed save left behind go; those that are being written now stay."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tuftwork.errors import FileFault
from tuftwork.files import atomic
from tuftwork.files.atomic import clear_leftovers, write_atomic


def ended_process() -> int:
    """The number of a process that has ended."""
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    return process.pid


def left(folder: Path, mark: str, age: float = 0.0) -> Path:
    path = folder / f".car.toml.saving-{mark}-ab_12cd"
    path.write_bytes(b"half")
    os.utime(path, (time.time() - age,) * 2)
    return path


def test_what_a_process_that_ended_left_behind_goes_at_the_next_save(tmp_path: Path) -> None:
    here = atomic._here()
    gone = [left(tmp_path, f"{here}-{ended_process()}"), left(tmp_path, f"{ended_process()}")]
    others = left(tmp_path, f"{here}-{os.getppid()}")  # a process that runs is writing it
    write_atomic(tmp_path / "car.toml", b"whole")
    assert (tmp_path / "car.toml").read_bytes() == b"whole"
    assert not any(path.exists() for path in gone)
    assert others.exists()


def test_what_another_host_writes_is_left_alone_for_a_day(tmp_path: Path) -> None:
    """Its processes cannot be seen from here, whatever number runs here."""
    host = "0" * 8 if atomic._here() != "0" * 8 else "1" * 8
    young = left(tmp_path, f"{host}-{ended_process()}")
    old = left(tmp_path, f"{host}-{os.getppid()}", age=2 * 86_400)
    clear_leftovers(tmp_path / "car.toml")
    assert young.exists()
    assert not old.exists()


def test_a_name_that_no_save_wrote_is_left_alone_and_breaks_nothing(tmp_path: Path) -> None:
    odd = [left(tmp_path, mark) for mark in ("", "none", "a-b-c")]
    write_atomic(tmp_path / "car.toml", b"whole")
    assert all(path.exists() for path in odd)


def test_a_save_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "car.toml"
    write_atomic(path, b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(atomic.os, "fsync", full)
    with pytest.raises(FileFault, match="still as it was before"):
        write_atomic(path, b"new")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["car.toml"]
