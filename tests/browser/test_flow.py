"""The page of the 3-D flow in a real browser: a finished run, the way there, refusals."""

import os
import re
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site, Watch, until
from tests.browser.test_access import AXE, TAGS, broken_rules
from tests.unit.study.flow_car import COARSE_LOOK

from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.desk import Desk, register_run

HEAD = """\
form = 1
[about]
title = "Flow only"
[car]
name = "a shape"
wheelbase = "2.62 m"
frontal_area = "1.9 m^2"
[[mass_states]]
name = "race"
mass = "1285 kg"
front_weight = "48 %"
ride_height_front = "58 mm"
ride_height_rear = "71 mm"
[weather]
temperature = "15 °C"
[study]
speeds = ["160 km/h"]
draws = 32
"""
FLOW = """
[flow]
generic = "coupe"
numbers = { ride_height_front = "160 mm", ride_height_rear = "175 mm", splitter_length = "0 m" }
[[flow.cases]]
name = "coarse look"
speed = "220 km/h"
cell = "62 mm"
longest = 3.0
"""
INKS = """canvas => {
  const small = document.createElement('canvas'); small.width = 160; small.height = 90;
  const pen = small.getContext('2d'); pen.drawImage(canvas, 0, 0, 160, 90);
  const found = new Set();
  const data = pen.getImageData(0, 0, 160, 90).data;
  for (let k = 0; k < data.length; k += 4)
    found.add((data[k] >> 3) * 1024 + (data[k + 1] >> 3) * 32 + (data[k + 2] >> 3));
  return found.size;
}"""


def bench_of(folder: Path, text: str) -> Bench:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "project.toml").write_text(text, encoding="utf-8")
    return Bench(folder, runs_itself=False)


@pytest.fixture(scope="module")
def flown(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """A project with the recorded run of the demo as its evidence."""
    folder = Path(tmp_path_factory.mktemp("flow")) / "car"
    bench_of(folder, HEAD + FLOW)
    record = folder / "flow-coarse-look.npz"
    record.write_bytes(COARSE_LOOK.read_bytes())
    register_run(folder, "coarse look", record)
    return Site(Bench(folder, runs_itself=False))  # type: ignore[arg-type]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_car_and_road_of_a_plane_are_dark_in_both_themes(
    page: Page, flown: Site, watch: Watch, scheme: Literal["light", "dark"]
) -> None:
    watch.allow("ReadPixels|GPU stall")
    page.emulate_media(color_scheme=scheme)
    flown.open(page, "flow")
    canvas = page.get_by_role("region", name="A plane through the flow").locator("canvas")
    expect(canvas).to_be_visible()
    page.wait_for_function(f"() => ({INKS})(document.querySelector('.flow-plane canvas')) > 40")
    road = canvas.evaluate(
        "c => [...c.getContext('2d').getImageData(c.width / 2, c.height - 2, 1, 1).data]"
    )
    assert road[3] == 255
    assert max(road[:3]) < 90


def test_a_run_shows_its_range_its_bias_and_the_car_in_three_dimensions(
    page: Page, flown: Site, watch: Watch
) -> None:
    watch.allow("ReadPixels|GPU stall")  # reading a picture back is slow, and only done here
    flown.open(page, "flow")
    loads = page.get_by_role("region", name="Loads of the whole car")
    expect(loads.get_by_role("row")).to_have_count(5)
    expect(page.get_by_text("How far off it may be")).to_be_visible()
    solid = page.get_by_role("region", name="The car in three dimensions")
    canvas = solid.locator("canvas")
    expect(canvas).to_be_visible()
    page.wait_for_function(f"() => ({INKS})(document.querySelector('.flow-canvas canvas')) > 40")
    before = canvas.evaluate("c => c.toDataURL()")
    solid.get_by_role("button", name="From below").click()
    page.wait_for_function(
        "old => document.querySelector('.flow-canvas canvas').toDataURL() !== old", arg=before
    )
    canvas.focus()
    below = canvas.evaluate("c => c.toDataURL()")
    page.keyboard.press("ArrowLeft")
    page.wait_for_function(
        "old => document.querySelector('.flow-canvas canvas').toDataURL() !== old", arg=below
    )
    solid.get_by_label("vortices").check()
    expect(solid.get_by_text("Vortices: Q =")).to_be_visible()
    plane = page.get_by_role("region", name="A plane through the flow")
    plane.get_by_role("combobox", name="Plane", exact=True).select_option(label="behind the car")
    expect(plane.get_by_role("img", name="on the plane x")).to_be_visible()
    until(page, lambda: plane.locator("canvas").evaluate(INKS) > 20)
    loads.get_by_role("button", name="CxS").click()
    expect(page.locator(".margin")).to_contain_text("Stated bias of the solver")


def test_the_page_can_be_read_by_everyone(page: Page, flown: Site, watch: Watch) -> None:
    watch.allow("ReadPixels|GPU stall")  # a browser without a graphics card draws by hand
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    page.emulate_media(color_scheme="light")
    flown.open(page, "flow")
    page.get_by_role("region", name="A plane through the flow").wait_for()
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""


def test_a_project_without_a_shape_is_given_one_and_what_cannot_run_is_refused(
    page: Page, tmp_path: Path
) -> None:
    site = Site(bench_of(tmp_path / "none", HEAD))  # type: ignore[arg-type]
    site.open(page, "flow")
    page.get_by_role("button", name="Start from a generic coupé").click()
    expect(page.get_by_role("heading", name="What it costs")).to_be_visible()
    expect(page.get_by_text("not been run to its end yet")).to_be_visible()
    cell = page.get_by_role("slider", name="Cell")
    cell.fill("100")
    refused = page.get_by_role("alert").filter(has_text="It would be refused")
    expect(refused).to_contain_text("needs at least 2 cells")
    expect(page.get_by_role("button", name="Run it")).to_be_disabled()
    page.get_by_role("button", name="Save settings").click()
    expect(page.get_by_role("button", name="Save settings")).to_have_count(0)
    page.reload()
    expect(page.get_by_role("slider", name="Cell")).to_have_value("100")
    error = page.get_by_label("Statistical error of CzS and CxS")
    expect(error).to_have_value("0.01")
    page.get_by_label("Unit of that error").select_option(label="% of CzS, of CxS")
    expect(error).to_have_value("1")
    error.fill("2")
    error.press("Tab")
    page.get_by_role("button", name="Save settings").click()
    expect(page.get_by_role("button", name="Save settings")).to_have_count(0)
    page.reload()
    expect(error).to_have_value("2")


def test_settling_and_the_end_of_a_run_are_handles_that_keep_apart_and_save_only_themselves(
    page: Page, tmp_path: Path
) -> None:
    folder = tmp_path / "settles"
    site = Site(bench_of(folder, HEAD + FLOW))  # type: ignore[arg-type]
    before = (folder / "project.toml").read_text("utf-8").splitlines()
    site.open(page, "flow")
    settles, ends = (page.get_by_role("slider", name=n) for n in ("Settles for", "Runs at most"))
    refused = page.get_by_role("alert").filter(has_text="Runs at most (longest) = 3 car lengths")
    cost = page.get_by_role("region", name="Set up")
    expect(refused).to_be_visible()  # the project itself settles for longer than it runs
    settles.press("Home")
    expect(refused).to_have_count(0)
    settles.press("End")
    expect(ends).to_have_value("31")  # pushed ahead of it
    expect(cost).to_contain_text("at most 1 car length, after 30 of settling")
    ends.press("Home")
    expect(ends).to_have_value("31")
    settles.fill("2")
    ends.press("Home")
    expect(ends).to_have_value("3")
    expect(cost).to_contain_text("at most 1 car length, after 2 of settling")
    expect(page.get_by_role("alert")).to_have_count(0)
    page.get_by_role("button", name="Save settings").click()
    expect(page.get_by_role("button", name="Save settings")).to_have_count(0)
    after = (folder / "project.toml").read_text("utf-8").splitlines()
    assert [line for line in after if line not in before] == ["settle = 2.0"]
    assert [line for line in before if line not in after] == []


def test_a_run_under_way_shows_means_with_their_error_and_can_be_cancelled(
    page: Page, tmp_path: Path
) -> None:
    folder = tmp_path / "going"
    bench = bench_of(folder, HEAD + FLOW)
    built = built_case(bench.opened.project, folder, run_named(bench.opened.project))
    desk = Desk.of(folder, built.digest)
    history = [[1.0 + 0.1 * k, -0.2 + 0.01 * k, 0.03, 1.2, 0.02] for k in range(12)]
    desk.note(state="running", case="coarse look", pid=os.getpid(), travel=2.1, longest=3.0,
              asked="1 % of CzS and of CxS", seconds=60.0, rate=6e6, downforce=[-0.1, 0.03],
              drag=[1.2, 0.02],
              history=history)  # fmt: skip
    site = Site(bench)  # type: ignore[arg-type]
    site.open(page, "flow")
    run = page.get_by_role("region", name="The run")
    expect(run.get_by_role("progressbar")).to_have_attribute("aria-valuenow", "70")
    expect(run).to_contain_text(re.compile(r"ends at a statistical error of 1\s% of CzS"))
    expect(run).to_contain_text(re.compile(r"60\ss so far"))
    expect(run.get_by_text("CxS so far, statistical error only")).to_be_visible()
    expect(run.get_by_role("img", name="Means so far")).to_be_visible()
    expect(page.get_by_role("button", name="Run it")).to_be_disabled()
    run.get_by_role("button", name="Cancel").click()
    until(page, (desk.folder / "stop").is_file)
    desk.note(state="cancelled", text="stopped at step 900, 2.20 body lengths")
    expect(run.get_by_text("Stopped at step 900, 2.20 body lengths.")).to_be_visible()
