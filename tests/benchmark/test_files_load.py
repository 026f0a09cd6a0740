"""Seconds to read a project and to save one change; run by ``make bench``."""

from pathlib import Path
from typing import Any

from tuftwork.files import NEW, new_project, read_project, save_changes

N_PART = 40


def _large(folder: Path) -> Path:
    opened = new_project(folder, title="Large")
    for index in range(N_PART):
        part = {"kind": "body", "name": f"part {index}", "downforce": "0 ± 0.01",
                "drag": "0.01 ± 20 %", "front_share": "50 %"}  # fmt: skip
        opened = save_changes(opened, {("parts", NEW): part})
    return folder


def test_read_a_project_of_forty_parts(benchmark: Any, tmp_path: Path) -> None:
    folder = _large(tmp_path / "large")
    opened = benchmark(read_project, folder)
    assert len(opened.project.parts) == N_PART


def test_save_one_change(benchmark: Any, tmp_path: Path) -> None:
    opened = read_project(_large(tmp_path / "large"))
    state = {"opened": opened, "count": 0}

    def save() -> None:
        state["count"] += 1
        state["opened"] = save_changes(state["opened"], {"car.power": f"{300 + state['count']} kW"})

    benchmark(save)
    assert state["opened"].project.car.power is not None
