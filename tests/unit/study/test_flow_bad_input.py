"""Bad input to the 3-D flow, by command and by page: told before a run, all of it, with numbers."""

import json
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import FileFault
from tuftwork.flow.engine import CpuEngine
from tuftwork.study import Bench

CASE = BLUFF_CASE.format(name="look", speed=120, longest=1.6)
Edit = Callable[[str], str]


def moved(by: float) -> Edit:
    """The surface file with everything so much higher. [m]."""

    def edit(text: str) -> str:
        out = []
        for line in text.splitlines():
            words = line.split()
            if words[:1] == ["vertex"]:
                line = " ".join([*words[:3], f"{float(words[3]) + by:.6g}"])
            out.append(line)
        return "\n".join(out)

    return edit


def without_its_rear(text: str) -> str:
    """The surface file without the faces of the rear."""
    head, *faces = text.split("facet normal")
    kept = [f for f in faces if f.count("vertex 2.8 ") < 3]
    assert 0 < len(kept) < len(faces)
    return "facet normal".join([head, *kept]) + ("" if "endsolid" in kept[-1] else "endsolid body")


def inside_out(text: str) -> str:
    lines = text.splitlines()
    at = [n for n, line in enumerate(lines) if line.startswith("vertex")]
    for first, second in zip(at[::3], at[1::3], strict=True):
        lines[first], lines[second] = lines[second], lines[first]
    return "\n".join(lines)


def same(text: str) -> str:
    return text


def swap(*pairs: tuple[str, str]) -> Edit:
    def edit(text: str) -> str:
        for old, new in pairs:
            assert old in text
            text = text.replace(old, new)
        return text

    return edit


BAD: dict[str, tuple[Edit, Edit, list[str]]] = {
    "a side is missing": (
        without_its_rear, same,
        [r"= 4 open edges: .* x 2\.300.* A hole of 1000 × 700 mm at x 2\.300, .* m: close it"],
    ),
    "millimetres taken for metres": (
        same, swap(('unit = "m"', 'unit = "mm"')), [r"In 'm' it would fit: look at 'unit'"],
    ),
    "metres taken for feet": (
        same, swap(('unit = "m"', 'unit = "ft"')),
        [r"length of the parts = 0\.853 m.*2\.6 to 6\.8 m long. In 'm' it would fit",
         r"smallest gap"],
    ),
    "a part below the road": (
        moved(-0.6), same,
        [r"part 'body' = -0\.2 m: lies below the road .* x .*, y .* m\. .*ride heights"],
    ),
    "a box too small on two sides": (
        same,
        swap(('beside = "1.2 m"', 'beside = "0.4 m"'), ('above = "1.2 m"', 'above = "0.5 m"')),
        [r"beside = 0\.4 m.*at least 4 cells \(0\.76 m\)", r"above = 0\.5 m"],
    ),
    "a box that the car fills": (
        same, swap(('cell = "190 mm"', 'cell = "100 mm"'), ('beside = "1.2 m"', 'beside = "0.5 m"'),
                   ('above = "1.2 m"', 'above = "0.5 m"')),
        [r"box = \d+\.\d %: the parts fill more than 15 % .*Section is .* m²"],
    ),
    "cells too coarse for the gap to the road": (
        moved(-0.3), same,
        [r"smallest gap = 0\.53 cells: .*between road and body.* 100 mm at x .*Cells of 50 mm"],
    ),
    "not enough memory": (
        same, swap(("190 mm", "4 mm")),
        [r"memory = .* GB: .* GB is free.* Cells of .* mm would fit"],
    ),
    "more cells than can be numbered": (
        same, swap(("190 mm", "0.3 mm")),
        [r"Cell = 0\.3 mm: makes 1\.6e\+12 cells", r"memory = "],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(BAD))
def test_it_is_refused_alike_by_commands_and_page_before_anything_runs(
    name: str, tmp_path: Path
) -> None:
    surface, table, wanted = BAD[name]
    folder = bluff_project(tmp_path / "car", CASE)
    for path, edit in ((folder / "evidence" / "bluff.stl", surface),
                       (folder / "project.toml", table)):  # fmt: skip
        path.write_text(edit(path.read_text("utf-8")), "utf-8")
    told = CliRunner().invoke(program, ["flow", "prepare", str(folder), "--json"])
    assert told.exit_code == 1, told.output
    faults = json.loads(told.stdout)["faults"]
    assert len(faults) == len(wanted)
    for pattern in wanted:
        assert any(re.search(pattern, fault) for fault in faults), (pattern, faults)
    bench = Bench(folder, runs_itself=False)
    cost = bench.page("flow")["cost"]
    assert not cost["can_run"]
    cut, _ = bench.live({"do": "flow_prepare"})
    for said in (cost["faults"], cut["faults"]):
        # the free memory that a fault ends with changes from one look to the next
        assert [f.split(":")[0] for f in said] == [f.split(":")[0] for f in faults]
    ran = CliRunner().invoke(program, ["flow", "run", str(folder)])
    assert ran.exit_code == 2
    with pytest.raises(FileFault):
        bench.live({"do": "flow_start"})
    state = bench.live({"do": "flow_watch"})[0]["run"]
    assert state["state"] == "refused"
    assert len(state["faults"]) == len(faults)


def test_a_surface_that_is_inside_out_is_turned_and_that_is_said(tmp_path: Path) -> None:
    folder = bluff_project(tmp_path / "car", CASE)
    path = folder / "evidence" / "bluff.stl"
    path.write_text(inside_out(path.read_text("utf-8")), "utf-8")
    tree = json.loads(
        CliRunner().invoke(program, ["flow", "prepare", str(folder), "--json"]).stdout
    )
    assert tree["faults"] == []
    assert any("Faces turned" in text for text in tree["mended"])
    cut, _ = Bench(folder, runs_itself=False).live({"do": "flow_prepare"})
    assert any(text.startswith("Mended: body: Faces turned") for text in cut["notices"])


def test_divergence_is_caught_saved_and_explained_by_command_and_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = bluff_project(tmp_path / "car", CASE)
    advance = CpuEngine.advance

    def blow_up(self: CpuEngine, n_pair: int) -> None:
        advance(self, n_pair)
        if 40 < self.step < 44:
            walls = self.setup.walls
            self._f[:, walls.cell[walls.counted() == 1]] = np.nan

    monkeypatch.setattr(CpuEngine, "advance", blow_up)
    told = CliRunner().invoke(program, ["flow", "run", str(folder), "--json"])
    assert told.exit_code not in (0, 2)
    run = Bench(folder, runs_itself=False).page("flow")["run"]
    assert run["state"] == "failed"
    for words in ("the flow diverged at step", "lower the lattice speed or use smaller cells",
                  "near 'body'", "The state is kept in"):  # fmt: skip
        assert words in run["text"], run["text"]
    (lost,) = (folder / "results" / "flow").rglob("*.lost*")
    with np.load(lost) as kept:
        assert kept["series"].shape[1:] == (kept["series"].shape[1], 6)
    # what is mended runs: another lattice speed is another case
    monkeypatch.setattr(CpuEngine, "advance", advance)
    again = CliRunner().invoke(program, ["flow", "run", str(folder), "--json"])
    assert again.exit_code == 0, again.output


COMMAND = "from tuftwork.cli import main; main()"
HASTY = """
import sys, time
from types import SimpleNamespace
import tuftwork.flow
quick = SimpleNamespace(monotonic=lambda: 400.0 * time.monotonic())
sys.modules["tuftwork.flow.run"].time = quick  # a checkpoint each 0.15 s
from tuftwork.cli import main
sys.argv = ["tuftwork", "flow", "run", sys.argv[1], "--json"]
main()
"""


def test_a_run_whose_process_is_killed_is_told_and_goes_on_to_the_same_loads(
    tmp_path: Path,
) -> None:
    """Killed outright, in the middle; the loads are those of a run that nobody stopped."""
    case = BLUFF_CASE.format(name="look", speed=120, longest=12) + 'precision = "float64"\n'
    folder, other = (bluff_project(tmp_path / name, case) for name in ("killed", "whole"))

    def loads(project: Path) -> dict[str, Any]:
        command = [sys.executable, "-c", COMMAND, "flow", "run", str(project), "--json"]
        told = subprocess.run(command, capture_output=True, check=False, text=True)
        assert told.returncode == 0, told.stderr
        found: dict[str, Any] = json.loads(told.stdout)["loads"]
        return found

    # kernels compiled on the way round otherwise than those that every process reads hereafter
    short = BLUFF_CASE.format(name="look", speed=120, longest=1.6) + 'precision = "float64"\n'
    loads(bluff_project(tmp_path / "first", short))
    process = subprocess.Popen([sys.executable, "-c", HASTY, str(folder)],
                               stdout=subprocess.DEVNULL)  # fmt: skip
    try:
        end = time.monotonic() + 100
        while not list((folder / "results").rglob("state.npz")):
            assert process.poll() is None
            assert time.monotonic() < end
            time.sleep(0.02)
    finally:
        process.kill()
        process.wait()
    run = Bench(folder, runs_itself=False).page("flow")["run"]
    assert (run["state"], run["can_resume"], run["is_going"]) == ("lost", True, False)
    assert "It goes on from its last checkpoint when it is run again" in run["text"]
    found = loads(folder)
    for key, load in loads(other).items():
        assert found[key] == pytest.approx(load, rel=1e-9, abs=1e-12)
    assert not list((folder / "results").rglob("state.npz"))
