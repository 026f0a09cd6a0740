"""The page of the 3-D flow: what was kept over time, and another case that is being read."""

from pathlib import Path
from threading import Event
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site, Watch
from tests.browser.test_flow import FLOW, HEAD, bench_of
from tests.browser.test_flow_cases import built_of, finish
from tests.unit.study.flow_car import COARSE_LOOK

from tuftwork.files import read_project
from tuftwork.files.flow import read_flow_record, write_flow_record
from tuftwork.files.time_file import TimeFile, read_time_file
from tuftwork.flow.over_time import Layout, Variable
from tuftwork.study import Bench
from tuftwork.study.flow.case import run_named
from tuftwork.study.flow.desk import Desk, register_run
from tuftwork.study.flow.over_time import told
from tuftwork.study.flow.page import part_rows, record_of
from tuftwork.study.flow.record import in_metres

KEPT = 'over_time = { every = 0.1, planes = [{ axis = "y", at = "0 m" }] }\n'
OTHER = """
[[flow.cases]]
name = "faster"
speed = "250 km/h"
cell = "62 mm"
longest = 3.0
"""
COUNT = 9


def kept_over_time(path: Path, record: dict[str, Any]) -> None:
    """Write samples of the record's middle plane and surface that grow from one to the next."""
    plane, surface = record["planes"][0], in_metres(record["surface"])
    assert plane["axis"] == "y"
    up, across, count = len(plane["up"]), len(plane["across"]), len(surface["vertices"])
    dims = {"time": 0, "axis": 3, "plane0_z": up, "plane0_x": across, "vertex": count}
    rows = ("time", "plane0_z", "plane0_x")
    layout = Layout(dims=dims, about={}, variables=(
        Variable(name="time", dims=("time",), dtype="f8"),
        Variable(name="travel", dims=("time",), dtype="f8"),
        Variable(name="step", dims=("time",), dtype="i4"),
        Variable(name="plane0_x", dims=("plane0_x",), dtype="f8", values=plane["across"]),
        Variable(name="plane0_z", dims=("plane0_z",), dtype="f8", values=plane["up"]),
        Variable(name="plane0_pressure_coefficient", dims=rows, about={"plane": "y = 0 m"}),
        Variable(name="plane0_velocity", dims=(rows[0], "axis", *rows[1:])),
        Variable(name="surface_pressure_coefficient", dims=("time", "vertex")),
    ))  # fmt: skip
    shelf = TimeFile(path)
    shelf.begin(layout, 0)
    speed, pressure = (np.asarray(plane[k], float) for k in ("speed", "pressure"))
    for n in range(COUNT):
        more = 0.6 + 0.1 * n
        shelf.add({
            "time": np.array(0.01 * n), "travel": np.array(1 + 0.25 * n), "step": np.array(n + 1),
            "plane0_pressure_coefficient": more * pressure,
            "plane0_velocity": np.stack([more * speed, 0 * speed, 0 * speed]),
            "surface_pressure_coefficient": more * np.asarray(surface["pressure"], float),
        })  # fmt: skip


@pytest.fixture(scope="module")
def timed(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Two cases that have been run; of the first the middle plane and the surface were kept."""
    folder = Path(tmp_path_factory.mktemp("timed")) / "car"
    bench_of(folder, HEAD + FLOW + KEPT + OTHER)
    name = "coarse look"
    built = built_of(folder, name)
    record = read_flow_record(COARSE_LOOK)
    record["case"] |= {"name": name, "digest": built.digest}
    path = Desk.of(folder, built.digest).folder / "flow-coarse-look-over-time.nc"
    kept_over_time(path, record)
    series = read_time_file(path)
    record["over_time"] = told(series, built.run)
    record["surface"]["pressure_rms"] = series.surface_rms().astype(np.float16)
    write_flow_record(folder / "flow.npz", record)
    register_run(folder, name, folder / "flow.npz")
    finish(folder, "faster", factor=0.9)
    return Site(Bench(folder, runs_itself=False))  # type: ignore[arg-type]


@pytest.fixture(autouse=True)
def _(watch: Watch) -> None:
    watch.allow("ReadPixels|GPU stall")  # a browser without a graphics card draws by hand


CHANGED = "([where, old]) => document.querySelector(where).toDataURL() !== old"


def picture(page: Page, where: str) -> str:
    found: str = page.locator(where).evaluate("c => c.toDataURL()")
    return found


def test_the_plane_goes_through_its_samples_by_handle_buttons_and_keys(
    page: Page, timed: Site
) -> None:
    timed.open(page, "flow")
    plane = page.get_by_role("region", name="A plane through the flow")
    expect(plane.get_by_role("group", name="The plane over time")).to_have_count(0)
    where = ".flow-plane canvas"
    plane.locator("canvas").wait_for()
    before = picture(page, where)
    plane.get_by_text("over time", exact=True).click()
    times = plane.get_by_role("group", name="The plane over time")
    expect(times).to_contain_text(f"Sample 1 of {COUNT}")
    page.wait_for_function(CHANGED, arg=[where, before])
    expect(times.get_by_role("button", name="Earlier sample")).to_be_disabled()
    first = picture(page, where)
    times.get_by_role("button", name="Later sample").click()
    expect(times).to_contain_text("1.25 car lengths, 10.0 ms")
    page.wait_for_function(CHANGED, arg=[where, first])
    handle = times.get_by_role("slider")
    handle.press("ArrowRight")
    expect(times).to_contain_text(f"Sample 3 of {COUNT}")
    expect(handle).to_have_attribute("aria-valuetext", f"sample 3 of {COUNT}, at 1.50 car lengths")
    third = picture(page, where)
    handle.press("End")
    expect(times.get_by_role("button", name="Later sample")).to_be_disabled()
    page.wait_for_function(CHANGED, arg=[where, third])
    expect(plane.get_by_role("img", name="Colours")).to_contain_text("at 3.00 car lengths")
    # a plane that was not kept has no times
    plane.get_by_role("combobox", name="Plane").select_option(index=1)
    expect(times).to_have_count(0)


def test_the_car_goes_through_the_same_samples_and_shows_its_fluctuation(
    page: Page, timed: Site
) -> None:
    timed.open(page, "flow")
    solid = page.get_by_role("region", name="The car in three dimensions")
    where = ".flow-canvas canvas"
    solid.locator("canvas").wait_for()
    solid.get_by_text("over time", exact=True).click()
    times = solid.get_by_role("group", name="The car over time")
    times.get_by_role("slider").fill("4")
    expect(solid.get_by_role("img", name="Colours: pressure")).to_contain_text(
        "at 2.00 car lengths"
    )
    before = picture(page, where)
    times.get_by_role("slider").press("End")
    page.wait_for_function(CHANGED, arg=[where, before])
    solid.get_by_text("fluctuation", exact=True).click()
    expect(times).to_have_count(0)
    legend = solid.get_by_role("img", name="Colours: fluctuation")
    expect(legend).to_contain_text(f"of {COUNT} samples")
    # a round scale that holds 99 % of the surface, with the peak said
    swing = record_of(timed.bench, "coarse look")["surface"]["pressure_rms"].astype(float)
    end = float(legend.get_attribute("aria-label").split(" to ")[1])
    assert float(f"{end:.0e}"[0]) in (1, 2, 5)
    assert 0.4 * end < np.nanpercentile(swing, 99) <= end
    most = float((legend.text_content() or "").split("largest ")[1])
    assert most == pytest.approx(np.nanmax(swing), rel=0.05)  # two figures
    expect(page.get_by_text(f"Kept over time: {COUNT} samples from 1.00 to 3.00")).to_be_visible()


def test_a_case_of_which_nothing_was_kept_has_no_times(page: Page, timed: Site) -> None:
    timed.open(page, "flow?case=faster")
    page.get_by_role("region", name="A plane through the flow").wait_for()
    expect(page.get_by_text("over time", exact=True)).to_have_count(0)
    expect(page.get_by_text("fluctuation", exact=True)).to_have_count(0)


def test_keeping_over_time_is_set_up_on_the_page(page: Page, timed: Site) -> None:
    timed.open(page, "flow?case=faster")
    own = page.get_by_role("group", name="Kept over time")
    cost = page.get_by_role("region", name="Set up").locator(".pairs")
    expect(cost).not_to_contain_text("kept over time")
    own.get_by_text("samples as the run goes on").click()
    expect(page.get_by_role("alert")).to_contain_text("Let it run 5 or more, or settle for 2")
    own.get_by_role("textbox", name="Car lengths").fill("0.5")
    own.get_by_role("button", name="Add a plane").click()
    second = own.get_by_role("textbox", name="Place of plane 2")
    second.fill("200")
    page.wait_for_timeout(700)  # answers to what was moved before arrive while a hand is typing
    expect(second).to_have_value("200")
    second.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("must lie in the box")
    second.fill("nowhere")
    second.press("Enter")
    expect(second).to_have_value("200")
    second.fill("4,5")
    second.press("Enter")
    # three lengths are over before the flow has settled: nothing would be kept
    expect(page.get_by_role("alert")).to_contain_text("It would be refused.")
    page.get_by_role("slider", name="Runs at most").fill("8")
    expect(page.get_by_role("alert")).to_have_count(0)
    expect(cost).to_contain_text("kept over time")
    page.get_by_role("button", name="Save settings").click()
    expect(page.get_by_role("button", name="Save settings")).to_have_count(0)
    run = run_named(read_project(timed.bench.folder).project, "faster")
    assert run.over_time is not None
    assert run.over_time.every == 0.5
    assert [(p.axis, p.at.best) for p in run.over_time.planes] == [("y", 0.0), ("x", 4.5)]
    own.get_by_text("samples as the run goes on").click()
    page.get_by_role("button", name="Save settings").click()
    expect(page.get_by_role("button", name="Save settings")).to_have_count(0)
    assert run_named(read_project(timed.bench.folder).project, "faster").over_time is None


def test_another_case_is_marked_as_being_read_at_once(
    page: Page, timed: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    timed.open(page, "flow")
    below = page.locator(".flow-below")
    page.get_by_role("region", name="A plane through the flow").wait_for()
    free = Event()

    def slow_rows(built: Any) -> Any:
        assert free.wait(60)
        return part_rows(built)

    monkeypatch.setattr("tuftwork.study.flow.page.part_rows", slow_rows)
    table = page.get_by_role("region", name="Cases and their loads")
    wanted = table.get_by_role("button", name="faster", exact=True)
    top = below.evaluate("e => e.getBoundingClientRect().top + scrollY")
    tall = page.evaluate("document.documentElement.scrollHeight")
    wanted.click()
    # the answer is held back: only the page itself can say that it is on its way
    expect(page.locator(".flow-below > .mark")).to_have_text("Reading “faster”")
    expect(wanted).to_have_attribute("aria-current", "true")
    # the old case stays where it was, dimmed and out of reach
    old = below.locator(".old")
    assert float(old.evaluate("e => getComputedStyle(e).opacity")) < 0.6
    assert old.evaluate("e => e.inert") is True
    assert below.evaluate("e => e.getBoundingClientRect().top + scrollY") == top
    assert page.evaluate("document.documentElement.scrollHeight") == tall
    free.set()
    expect(below).to_have_attribute("aria-busy", "false", timeout=30_000)
    expect(below.get_by_text("250 km/h").first).to_be_visible()
    assert below.evaluate("e => e.getBoundingClientRect().top + scrollY") == top
