"""A test day in a real browser, over the real study of the demo's log."""

import re
import shutil
import tomllib
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from statistics import median

import numpy as np
import pytest
import tomlkit
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site, until
from tests.browser.test_access import AXE, TAGS, broken_rules

from tuftwork.demo.day import coast_table, day_table, demo_day
from tuftwork.demo.rig import laps_table, pressures_table, tunnel_table
from tuftwork.study import Bench
from tuftwork.trial.pyramid import build_pyramid

KEPT = ("form", "about", "car", "mass_states", "weather", "states", "days", "plan", "study",
        "tunnels", "pressures", "hypotheses", "flow_notes")  # fmt: skip
TABLES = {"L3": laps_table, "T1": tunnel_table, "P1": pressures_table}
ZOOMS = "performance.getEntriesByName('zoom to repaint').map(e => e.duration)"
SAMPLES = 10_000_000


def write_project(folder: Path, log: str) -> Path:
    """Write the demo's test day with the parts its states need, and nothing else of it."""
    demo = tomllib.loads(files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8"))
    kept = {key: demo[key] for key in KEPT}
    kept["parts"] = [
        {k: v for k, v in p.items() if k != "channel"}
        for p in demo["parts"] if p["kind"] not in ("cooling", "air net")
    ]  # fmt: skip
    kept["evidence"] = [e for e in demo["evidence"] if e["id"] in ("L1", "L2", *TABLES)]
    kept["study"] = {**demo["study"], "draws": 64}
    (folder / "evidence").mkdir(parents=True)
    (folder / "evidence" / "day-1.csv").write_text(log, encoding="utf-8")
    (folder / "evidence" / "coast-1.txt").write_text(coast_table(), encoding="utf-8")
    for item in kept["evidence"]:
        if item["id"] in TABLES:
            text = TABLES[item["id"]]()
            (folder / "evidence" / item["file"]).write_text(text, encoding="utf-8")
    (folder / "project.toml").write_text(tomlkit.dumps(kept), encoding="utf-8")
    return folder


def opened(folder: Path) -> Site:
    bench = Bench(folder, runs_itself=False)
    bench.run()
    return Site(bench)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def table() -> str:
    return day_table(demo_day())


@pytest.fixture(scope="module")
def day(table: str, tmp_path_factory: pytest.TempPathFactory) -> Site:
    return opened(write_project(tmp_path_factory.mktemp("day") / "halyard", table))


@pytest.fixture
def own(day: Site, tmp_path: Path) -> Path:
    """A copy of the computed day that a test may change."""
    bench: Bench = day.bench  # type: ignore[assignment]
    return Path(shutil.copytree(bench.folder, tmp_path / "halyard"))


def test_faults_stand_as_cards_and_a_cure_is_accepted_and_taken_back(
    page: Page, table: str, own: Path
) -> None:
    site = opened(own)
    site.open(page, "log")
    expect(page.get_by_role("heading", name="3 faults found")).to_be_visible()
    expect(page.locator("article.claim")).to_have_count(3)
    page.get_by_role("button", name="Accept the cure").first.click()
    expect(page.get_by_text("cure accepted").first).to_be_visible(timeout=60_000)
    assert "known_load = true" in (own / "project.toml").read_text(encoding="utf-8")
    page.get_by_text("4 accepted cures").click()
    page.get_by_role("button", name="Take back").first.click()
    expect(page.get_by_text("3 accepted cures")).to_be_visible(timeout=60_000)
    assert (own / "evidence" / "day-1.csv").read_text(encoding="utf-8") == table


def test_a_trace_zooms_by_key_and_by_pass(page: Page, day: Site) -> None:
    day.open(page, "log")
    trace = page.locator(".trace canvas")
    before = trace.get_attribute("aria-label")
    trace.focus()
    page.keyboard.press("+")
    expect(trace).not_to_have_attribute("aria-label", before or "")
    page.keyboard.press("Home")
    expect(trace).to_have_attribute("aria-label", before or "")
    page.locator(".pick select").nth(1).select_option(index=3)
    expect(trace).not_to_have_attribute("aria-label", before or "")
    drawn = "c => c.getContext('2d').getImageData(0, 0, c.width, c.height).data.some(v => v > 0)"
    until(page, lambda: trace.evaluate(drawn))


def test_from_the_zoom_to_the_repainted_trace_of_ten_million_samples(
    page: Page,
    own: Path,
    note_times: Callable[[list[float]], None],
    record_property: Callable[[str, object], None],
) -> None:
    site = opened(own)
    bench: Bench = site.bench  # type: ignore[assignment]
    span = bench.page("log")["span_s"]
    values = np.random.default_rng(1).normal(8.0, 1.0, SAMPLES)
    time = np.linspace(span[0], span[1], SAMPLES)
    kept = bench.answers.worked_out
    kept["trace first day pot rear left False"] = build_pyramid(time, values)
    site.open(page, "log")
    trace = page.locator(".trace canvas")
    trace.focus()
    for _ in range(8):
        for key in ("+", "+", "ArrowRight", "-", "+"):
            page.keyboard.press(key)
            page.wait_for_timeout(60)
        page.keyboard.press("Home")
        page.wait_for_timeout(60)
    header, _ = bench.live({"do": "trace", "role": "pot rear left"})
    assert header["samples"] == SAMPLES
    until(page, lambda: len(page.evaluate(ZOOMS)) > 1)
    times = page.evaluate(ZOOMS)
    note_times(times)
    record_property("zoom_to_repaint_median_ms", median(times))


def test_columns_are_confirmed_and_remembered(page: Page, own: Path) -> None:
    site = opened(own)
    site.open(page, "log")
    page.get_by_role("button", name="Confirm all guesses").click()
    expect(page.get_by_text("Remembered in the project.")).to_be_visible()
    expect(page.get_by_role("button", name="Confirm all guesses")).to_have_count(0, timeout=60_000)
    text = (own / "project.toml").read_text(encoding="utf-8")
    assert '"Damper RL" = "pot rear left"' in text
    page.get_by_text("columns in use").click()
    page.get_by_label("What is Laser rear").select_option("")
    project = own / "project.toml"
    until(page, lambda: '"Laser rear" = ""' in project.read_text(encoding="utf-8"))


def test_results_show_tunnel_laps_pressures_and_notes(page: Page, day: Site) -> None:
    day.open(page, "results")
    for name in ("Laps against the baseline", "Tunnel: 40 % model", "Pressures: scanner day",
                 "Flow made visible"):  # fmt: skip
        expect(page.get_by_role("heading", name=name)).to_be_visible()
    expect(page.get_by_text("two branches").first).to_be_visible()
    page.get_by_text("Wall corrections side by side").click()
    expect(page.get_by_text("catch-all (Pope)").first).to_be_visible()
    day.open(page, "plan")
    expect(page.get_by_role("region", name="Tunnel matrix", exact=True)).to_be_visible()
    day.open(page, "agreement")
    expect(page.get_by_role("heading", name="Disagreements")).to_be_visible()


def test_a_measured_number_says_why(page: Page, day: Site) -> None:
    day.open(page, "results")
    page.locator("td button.num").nth(3).click()
    why = page.get_by_role("complementary", name="Why")
    expect(why).to_contain_text("measured at")
    expect(why).to_contain_text("passes, both ways")
    expect(why).to_contain_text("Cure:")


def test_versions_of_the_results_are_kept_in_the_address(page: Page, day: Site) -> None:
    day.open(page, "results")
    page.get_by_text("as read", exact=True).click()
    expect(page).to_have_url(re.compile("version=as"))


def test_plan_and_agreement_say_what_to_do(page: Page, day: Site) -> None:
    day.open(page, "plan")
    expect(page.get_by_text("Closed course").first).to_be_visible()
    expect(page.get_by_role("region", name="Run sheet", exact=True)).to_be_visible()
    day.open(page, "agreement")
    expect(page.get_by_text("Test next:")).to_be_visible()


@pytest.mark.parametrize("name", ["plan", "log", "results", "agreement"])
def test_no_rule_of_access_is_broken(page: Page, day: Site, name: str) -> None:
    page.emulate_media(color_scheme="light")
    day.open(page, name)
    page.locator(".body").wait_for()
    if not AXE.is_file():
        pytest.skip("axe-core is not installed: run npm install in web/")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = broken_rules(page, {"type": "tag", "values": TAGS})
    assert found == "", found


def test_a_log_that_cannot_be_read_says_so_with_its_line(page: Page, table: str, own: Path) -> None:
    cut = table[: len(table) // 2 - 7]
    (own / "evidence" / "day-1.csv").write_text(cut, encoding="utf-8")
    site = opened(own)
    site.open(page, "log")
    expect(page.get_by_text("cannot be used yet")).to_be_visible()
    expect(page.get_by_text("day-1.csv:").first).to_be_visible()
    site.open(page, "results")
    expect(page.get_by_text("cannot be used yet")).to_be_visible()
