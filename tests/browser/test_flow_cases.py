"""The page of the 3-D flow: many cases, air through cores and openings, doubts, cost, instants."""

import os
from pathlib import Path
from threading import Event
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site, Watch
from tests.browser.test_access import AXE, TAGS, broken_rules
from tests.browser.test_flow import FLOW, HEAD, INKS, bench_of
from tests.unit.study.flow_car import COARSE_LOOK

from tuftwork.files import read_project
from tuftwork.files.flow import read_flow_record, write_flow_record
from tuftwork.study import Bench
from tuftwork.study.flow.case import Built, built_case, run_named
from tuftwork.study.flow.desk import Desk, register_run
from tuftwork.study.flow.page import part_rows
from tuftwork.study.flow.sweep import spread_cases
from tuftwork.study.flow.sweep_desk import end_sweep

DOUBT = (
    "Doubtful: the air reaches 3.4 times the free stream at x 0.31, y −0.62, z 0.04 m, near "
    "'splitter' (first after 1.2 lengths, seen 9 times)."
)
CORE = {
    "name": "radiator", "is_fan": False, "area": 0.24, "mass_flow": 1.314, "speed": 4.47,
    "drop": 96.2, "law_drop": 91.0, "pressure_drop": 103.0, "unevenness": 0.24,
}  # fmt: skip
FAN = CORE | {"name": "radiator fan", "is_fan": True, "drop": -61.0, "pressure_drop": -58.0}
MOUTH = {"name": "nose", "kind": "inlet", "area": 0.0412, "mass_flow": 0.734, "pressure": 0.81,
         "total": 0.99, "net_flow": 0.731}  # fmt: skip
VENT = MOUTH | {"name": "wheel-arch vent", "kind": "outlet", "pressure": -0.23, "total": -0.05,
                "net_flow": None}  # fmt: skip


class Idle:
    """A process that runs as long as the tests do."""

    pid = os.getpid()

    def __init__(self, command: list[str], **_: Any) -> None: ...

    def wait(self) -> int:
        return 0


def built_of(folder: Path, name: str) -> Built:
    project = read_project(folder).project
    return built_case(project, folder, run_named(project, name))


def finish(folder: Path, name: str, air: bool = False, factor: float = 1.0) -> None:
    """Leave the run that comes with the demo as the result of a case."""
    source = COARSE_LOOK
    path = folder / "flow.npz"
    path.write_bytes(source.read_bytes())
    tree = read_flow_record(path)
    tree["case"] |= {"name": name, "digest": built_of(folder, name).digest}
    for load in tree["loads"].values():
        load["mean"] *= factor
    surface = tree["surface"]
    for key in ("pressure", "friction"):
        surface[f"{key}_last"] = (1.4 * surface[key]).astype(np.float16)
    means = [p for p in tree["planes"] if not p["name"].endswith("one instant")]
    instants = [p | {"name": f"{p['name']}, one instant", "loss": (0.6 * p["loss"]).astype("f2")}
                for p in means]  # fmt: skip
    tree["planes"] = [*means, *instants]
    tree["cores"] = [CORE, FAN] if air else []
    tree["openings"] = [MOUTH, VENT] if air else []
    tree["doubts"] = [{"kind": "speed", "text": DOUBT}] if air else []
    tree["notices"] = [*([DOUBT] if air else []), "A notice of the solver."]
    write_flow_record(path, tree)
    register_run(folder, name, path)
    desk = Desk.of(folder, built_of(folder, name).digest)
    desk.note(state="done", case=name, record="flow.npz", text="")
    (desk.folder / "flow.npz").write_bytes(path.read_bytes())


def swept(folder: Path) -> tuple[str, ...]:
    """A project whose base is done and whose three spread cases stand differently."""
    bench_of(folder, HEAD + FLOW)
    _, names = spread_cases(read_project(folder), "", {"front": ["150", "170"], "yaw": ["0", "6"]})
    finish(folder, "coarse look", air=True)
    finish(folder, names[0], factor=1.07)
    broken = "the flow diverged at step 412 (0.81 body lengths): a load is not finite"
    note(folder, names[1], state="failed", text=broken)
    note(folder, names[2], state="cancelled", text="stopped at step 900, 2.20 body lengths")
    return names


def note(folder: Path, name: str, **news: Any) -> None:
    Desk.of(folder, built_of(folder, name).digest).note(case=name, pid=os.getpid(), **news)


@pytest.fixture(autouse=True)
def _(watch: Watch) -> None:
    watch.allow("ReadPixels|GPU stall")  # a browser without a graphics card draws by hand


@pytest.fixture(scope="module")
def air(tmp_path_factory: pytest.TempPathFactory) -> Site:
    folder = Path(tmp_path_factory.mktemp("air")) / "car"
    swept(folder)
    return Site(Bench(folder, runs_itself=False))  # type: ignore[arg-type]


def test_every_case_stands_in_a_table_with_its_loads_and_state(page: Page, air: Site) -> None:
    air.open(page, "flow")
    table = page.get_by_role("region", name="Cases and their loads")
    rows = table.locator("tbody tr:not(.told)")
    expect(rows).to_have_count(5)
    expect(rows.nth(0)).to_contain_text("done")
    # why one ended otherwise stands below it, across the table
    why = table.locator("tr.told")
    expect(why).to_have_count(2)
    expect(why.first).to_contain_text("the flow diverged at step 412")
    expect(rows.nth(2)).to_contain_text("failed")
    expect(rows.nth(3)).to_contain_text("stopped")
    expect(rows.nth(4)).to_contain_text("not run")
    expect(rows.nth(1)).to_contain_text("150.0")
    rows.nth(1).get_by_role("button", name="drag").click()
    expect(page.locator(".margin")).to_contain_text("Stated bias of the solver")
    table.get_by_role("button", name="coarse look, front 170 mm yaw 6 °", exact=True).click()
    expect(page.get_by_text("has not been run to its end yet")).to_be_visible()
    expect(page.get_by_role("slider", name="Front ride height")).to_have_value("170")


def test_what_passed_cores_and_openings_and_what_is_doubted_is_told(page: Page, air: Site) -> None:
    air.open(page, "flow")
    table = page.get_by_role("region", name="Air through cores, fans and openings")
    expect(table.get_by_role("row")).to_have_count(5)
    expect(table.get_by_role("row").nth(1)).to_contain_text("1.314")
    expect(table.get_by_role("row").nth(2)).to_contain_text("fan")
    expect(table.get_by_role("row").nth(3)).to_contain_text("the net says 0.731")
    expect(table.get_by_role("row").nth(4)).to_contain_text("as told")
    expect(table.get_by_role("row").nth(4)).to_contain_text("Cp −0.23")
    box = page.get_by_role("status").filter(has_text="The flow looks wrong")
    expect(box).to_contain_text("3.4 times the free stream at x 0.31")
    expect(box).not_to_contain_text("Doubtful:")


def test_a_shape_that_cannot_be_read_leaves_no_empty_list(page: Page, tmp_path: Path) -> None:
    assert "splitter_length" in FLOW
    folder = tmp_path / "car"
    bench_of(folder, HEAD + FLOW.replace("splitter_length", "lip_length"))
    Site(Bench(folder, runs_itself=False)).open(page, "flow")  # type: ignore[arg-type]
    expect(page.get_by_text("None can be read yet")).to_be_visible()
    expect(page.get_by_role("alert")).to_contain_text("number = 'lip_length': not known")


@pytest.mark.parametrize("width", [900, 1600])
def test_no_table_of_the_sheet_is_cut_off_in_a_narrow_window(
    page: Page, air: Site, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    air.open(page, "flow")
    for name in ("Cases and their loads", "Loads of the whole car", "Loads by part",
                 "Air through cores, fans and openings"):  # fmt: skip
        table = page.get_by_role("region", name=name)
        expect(table).to_be_visible()
        wide, seen = table.evaluate("e => [e.scrollWidth, e.clientWidth]")
        assert wide <= seen, (name, wide, seen)


DRAWN_SHARES = """canvas => {
  const small = document.createElement('canvas'); small.width = 320; small.height = 180;
  const pen = small.getContext('2d'); pen.drawImage(canvas, 0, 0, 320, 180);
  const data = pen.getImageData(0, 0, 320, 180).data;
  const count = [0, 0];
  for (let k = 0; k < data.length; k += 4) {
    const apart = Math.max(...[0, 1, 2].map(n => Math.abs(data[k + n] - data[n])));
    count[0] += apart > 3; count[1] += apart > 24;
  }
  return count.map(n => n / 320 / 180);
}"""
"""Shares of a picture that differ from its paper at all, and by a tenth of what a screen has."""


def test_the_car_stands_out_from_dark_paper(page: Page, air: Site) -> None:
    """Where the pressure is that of the stream its surface had the colour of the paper."""
    page.emulate_media(color_scheme="dark")
    air.open(page, "flow")
    solid = page.get_by_role("region", name="The car in three dimensions")
    expect(solid.locator("canvas")).to_be_visible()
    page.wait_for_function(f"() => ({INKS})(document.querySelector('.flow-canvas canvas')) > 40")
    solid.get_by_role("checkbox", name="streamlines").uncheck()
    page.wait_for_timeout(500)
    drawn, seen = solid.locator("canvas").evaluate(DRAWN_SHARES)
    assert drawn > 0.05
    assert seen > 0.9 * drawn, (drawn, seen)


def test_means_and_one_instant_are_shown_in_turn(page: Page, air: Site) -> None:
    air.open(page, "flow")
    solid = page.get_by_role("region", name="The car in three dimensions")
    expect(solid.locator("canvas")).to_be_visible()
    page.wait_for_function(f"() => ({INKS})(document.querySelector('.flow-canvas canvas')) > 40")
    legend = solid.get_by_role("img", name="Colours: pressure coefficient")
    expect(legend).to_be_visible()
    expect(legend).to_contain_text("mean")
    before = solid.locator("canvas").evaluate("c => c.toDataURL()")
    solid.get_by_text("one instant", exact=True).click()
    expect(legend).to_contain_text("one instant")
    page.wait_for_function(
        "old => document.querySelector('.flow-canvas canvas').toDataURL() !== old", arg=before
    )
    plane = page.get_by_role("region", name="A plane through the flow")
    expect(plane.get_by_role("combobox", name="Plane").get_by_role("option")).to_have_count(4)
    shown = plane.locator("canvas").evaluate("c => c.toDataURL()")
    plane.get_by_text("one instant", exact=True).click()
    page.wait_for_function(
        "old => document.querySelector('.flow-plane canvas').toDataURL() !== old", arg=shown
    )


def test_cost_follows_the_slider_and_goes_back(page: Page, air: Site) -> None:
    air.open(page, "flow")
    cost = page.get_by_role("region", name="Set up")
    before = cost.get_by_text("million (").inner_text()
    cost.get_by_role("slider", name="Cell").fill("40")
    expect(cost.get_by_text("million (")).not_to_have_text(before)
    finer = float(cost.get_by_text("million (").inner_text().split()[0])
    assert finer == pytest.approx(float(before.split()[0]) * (62 / 40) ** 3, rel=0.1)
    cost.get_by_role("slider", name="Doublings outwards").fill("1")
    expect(cost.get_by_text("cells of 40 mm")).to_be_visible()
    cost.get_by_role("slider", name="Cell").fill("4")
    expect(cost.get_by_role("alert")).to_contain_text("memory")
    expect(cost.get_by_role("button", name="Run it")).to_be_disabled()
    cost.get_by_role("button", name="Back to the project's").click()
    expect(cost.get_by_text("million (")).to_have_text(before)


def test_cases_are_spread_run_stopped_and_gone_on_with(
    page: Page, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "car"
    bench = bench_of(folder, HEAD + FLOW)
    asked: list[list[str]] = []

    class Popen(Idle):
        def __init__(self, command: list[str], **_: Any) -> None:
            asked.append(command)

    site = Site(bench)  # type: ignore[arg-type]
    site.open(page, "flow")
    cases = page.get_by_role("region", name="Cases", exact=True)
    cases.get_by_text("Spread ride heights or yaw").click()
    cases.get_by_label("Front ride heights").fill("150, wide")
    cases.get_by_role("button", name="Write the cases").click()
    expect(cases.get_by_role("alert")).to_contain_text("wide")
    cases.get_by_label("Front ride heights").fill("150, 170")
    cases.get_by_label("Yaw").fill("0, 6")
    cases.get_by_role("button", name="Write the cases").click()
    expect(cases.get_by_text("4 cases stand in the project")).to_be_visible()
    rows = cases.locator("tbody tr")
    expect(rows).to_have_count(5)
    monkeypatch.setattr("tuftwork.study.flow.sweep_desk.subprocess.Popen", Popen)
    cases.get_by_role("button", name="Run the 5 that are left").click()
    expect(cases.get_by_text("Sweep: 0 of 5 done")).to_be_visible(timeout=30_000)
    assert asked[0].count("--case") == 5
    finish(folder, "coarse look")
    second = "coarse look, front 150 mm yaw 0 °"
    note(folder, second, state="running", travel=2.1, longest=3.0, seconds=60.0)
    expect(cases.get_by_text("Sweep: 1 of 5 done")).to_be_visible(timeout=30_000)
    expect(rows.nth(1)).to_contain_text("running 70 %")
    expect(rows.nth(4)).to_contain_text("waiting")
    cases.get_by_role("button", name="Stop the sweep").click()
    expect(cases.get_by_text("Stopping at the next sample")).to_be_visible()
    assert (Desk.of(folder, built_of(folder, second).digest).folder / "stop").is_file()
    note(folder, second, state="cancelled", text="stopped at step 900, 2.20 body lengths")
    end_sweep(folder)
    expect(cases.get_by_role("button", name="Run the 4 that are left")).to_be_visible()
    expect(cases.locator("tr.told")).to_contain_text("stopped at step 900")


def test_a_look_at_the_page_that_arrives_late_does_not_hide_a_sweep_that_began(
    page: Page, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "car"
    bench = bench_of(folder, HEAD + FLOW)
    site = Site(bench)  # type: ignore[arg-type]
    site.open(page, "flow")
    cases = page.get_by_role("region", name="Cases", exact=True)
    held, free, gone = Event(), Event(), Event()

    def slow_rows(built: Built) -> Any:
        held.set()
        assert free.wait(60)
        gone.set()
        return part_rows(built)

    # opened first: a first look held back would leave no page to write the cases on
    cases.get_by_text("Spread ride heights or yaw").click()
    expect(cases.get_by_label("Yaw")).to_be_visible()
    monkeypatch.setattr("tuftwork.study.flow.page.part_rows", slow_rows)
    cases.get_by_label("Yaw").fill("0, 6")
    cases.get_by_role("button", name="Write the cases").click()
    expect(cases.get_by_text("2 cases stand in the project")).to_be_visible()
    assert held.wait(30), "the page was not read anew"
    monkeypatch.setattr("tuftwork.study.flow.sweep_desk.subprocess.Popen", Idle)
    cases.get_by_role("button", name="Run the 3 that are left").click()
    expect(cases.get_by_text("Sweep: 0 of 3 done")).to_be_visible(timeout=30_000)
    free.set()
    assert gone.wait(30)
    page.wait_for_timeout(1500)  # for the late look to be drawn
    expect(cases.get_by_text("Sweep: 0 of 3 done")).to_be_visible()
    finish(folder, "coarse look")
    expect(cases.get_by_text("Sweep: 1 of 3 done")).to_be_visible(timeout=30_000)
    end_sweep(folder)


def test_the_cases_can_be_read_by_everyone_and_fit_a_small_screen(page: Page, air: Site) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    page.emulate_media(color_scheme="light")
    air.open(page, "flow")
    page.get_by_text("Spread ride heights or yaw").click()
    page.get_by_role("region", name="A plane through the flow").wait_for()
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""
    page.set_viewport_size({"width": 400, "height": 800})
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0
