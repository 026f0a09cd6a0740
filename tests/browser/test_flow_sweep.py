"""A sweep of the 3-D flow from end to end: real processes, seen, stopped and gone on with."""

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site, Watch
from tests.browser.test_flow_cases import built_of
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project

from tuftwork.files import read_project
from tuftwork.files.flow import read_flow_record
from tuftwork.study import Bench
from tuftwork.study.flow.desk import Desk
from tuftwork.study.flow.sweep_desk import is_sweeping, noted_sweep

FAR = 200.0
"""Travel that no test waits for. [car lengths]"""


def tiny(folder: Path, longest: tuple[float, ...]) -> Bench:
    """A project of a bluff body with cases at growing speeds."""
    cases = [BLUFF_CASE.format(name=f"run {n + 1}", speed=100 + 20 * n, longest=one)
             for n, one in enumerate(longest)]  # fmt: skip
    return Bench(bluff_project(folder, "".join(cases)), runs_itself=False)


@pytest.fixture(autouse=True)
def _(watch: Watch) -> None:
    watch.allow("ReadPixels|GPU stall")  # a browser without a graphics card draws by hand


def desk_of(folder: Path, name: str) -> Desk:
    return Desk.of(folder, built_of(folder, name).digest)


def test_a_sweep_is_watched_stopped_and_gone_on_with_from_its_checkpoint(
    page: Page, tmp_path: Path
) -> None:
    folder = tmp_path / "car"
    site = Site(tiny(folder, (1.5, FAR)))  # type: ignore[arg-type]
    site.open(page, "flow")
    cases = page.get_by_role("region", name="Cases", exact=True)
    rows = cases.locator("tbody tr")
    expect(rows).to_have_count(2)
    expect(cases.get_by_role("button", name="Run the 2 that are left")).to_be_visible()
    # begun by a command while the page is open: the page sees it
    code = "from tuftwork.cli import main; main()"
    command = subprocess.Popen([sys.executable, "-c", code, "flow", "sweep", str(folder), "--json"],
                               stdout=subprocess.PIPE)  # fmt: skip
    expect(cases.get_by_text(re.compile("Sweep: [01] of 2 done"))).to_be_visible(timeout=120_000)
    # the first ends, its loads stand in the table; the second goes on
    expect(rows.nth(0)).to_contain_text("done", timeout=120_000)
    expect(rows.nth(0).locator("td").nth(3)).to_contain_text("m²")
    expect(rows.nth(1)).to_contain_text(re.compile(r"running [1-9]\d* %"), timeout=120_000)
    expect(cases.get_by_text("Sweep: 1 of 2 done")).to_be_visible()
    expect(page.get_by_role("region", name="Loads of the whole car")).to_be_visible()
    assert noted_sweep(folder)["pid"] == command.pid  # type: ignore[index]
    cases.get_by_role("button", name="Stop the sweep").click()
    left = cases.get_by_role("button", name="Run the one that is left")
    expect(left).to_be_visible(timeout=120_000)
    expect(cases.locator("tr.told")).to_contain_text("stopped at step")
    told, _ = command.communicate(timeout=120)
    states = [case["state"] for case in json.loads(told)["cases"]]
    assert states == ["done", "cancelled"]
    assert command.returncode == 1
    assert not is_sweeping(folder)
    second = desk_of(folder, "run 2")
    stopped = json.loads((second.folder / "run.json").read_text("utf-8"))
    assert second.checkpoint.is_file()
    assert stopped["travel"] > 1.0
    # the person asks for less; what has been run of it counts
    toml = folder / "project.toml"
    enough = stopped["travel"] + 3.0
    toml.write_text(toml.read_text("utf-8").replace(f"longest = {FAR}", f"longest = {enough}"),
                    encoding="utf-8")  # fmt: skip
    left.click()
    expect(rows.nth(1)).to_contain_text("done", timeout=120_000)
    expect(cases.get_by_text(re.compile("of [12] done"))).to_have_count(0)
    assert noted_sweep(folder) is None
    done = json.loads((second.folder / "run.json").read_text("utf-8"))
    assert done["pid"] != command.pid
    # what was told before it was stopped still stands, and the time of both processes counts
    before = [row for row in done["history"] if row[0] <= stopped["travel"]]
    assert before
    assert all(row in stopped["history"] for row in before)
    assert done["seconds"] > stopped["seconds"]
    record = read_flow_record(second.folder / done["record"], arrays=False)
    assert record["made_with"]["travel"] == pytest.approx(enough, abs=0.1)
    assert not second.checkpoint.exists()
    kept = [case.evidence for case in read_project(folder).project.flow.cases]
    assert len(set(kept)) == 2
    assert all(kept)


def test_a_sweep_whose_process_is_killed_is_told_and_goes_on(page: Page, tmp_path: Path) -> None:
    folder = tmp_path / "car"
    site = Site(tiny(folder, (FAR, 1.5)))  # type: ignore[arg-type]
    site.open(page, "flow")
    cases = page.get_by_role("region", name="Cases", exact=True)
    rows = cases.locator("tbody tr")
    cases.get_by_role("button", name="Run the 2 that are left").click()
    expect(rows.nth(0)).to_contain_text(re.compile(r"running \d+ %"), timeout=120_000)
    os.kill(noted_sweep(folder)["pid"], signal.SIGKILL)  # type: ignore[index]
    expect(rows.nth(0)).to_contain_text("lost", timeout=60_000)
    expect(cases).to_contain_text("The process of this run has gone")
    expect(cases.get_by_role("button", name="Run the 2 that are left")).to_be_visible()
