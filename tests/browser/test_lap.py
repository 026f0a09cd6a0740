"""The lap and the trim table in a real browser, over the real study of a small project."""

import re
import shutil
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from playwright.sync_api import Page, Route, expect
from tests.browser.conftest import Site, Watch
from tests.browser.test_access import AXE, TAGS, broken_rules
from tests.grip_car import lap_tables, pad

from tuftwork.study import Bench

KEPT = ("form", "about", "car", "mass_states", "weather", "parts", "states", "study", "lap")


def project_tables() -> dict[str, Any]:
    """Return the demo's car and lap with few draws, one circuit and no measured rows."""
    demo = tomllib.loads(files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8"))
    tables = {key: demo[key] for key in KEPT}
    # the air net needs the cooling tables, channels take long: neither is what is looked at here
    tables["parts"] = [
        {k: v for k, v in part.items() if k != "channel"}
        for part in tables["parts"] if part["kind"] != "air net"
    ]  # fmt: skip
    tables["lap"]["circuits"] = tables["lap"]["circuits"][:1]
    # without measured rows the balance is anybody's: the band takes what comes
    tables["lap"]["trim"] |= {"band": "20 %", "values": ["8 °", "11 °"]}
    tables["lap"]["trim"]["extra"].append(
        {"name": "wing stuck down", "kind": "stuck", "set": {"rear wing.incidence": "4 °"},
         "note": "park if it moves"}
    )  # fmt: skip
    tables["devices"] = [
        {"name": "wing actuator", "positions": ["more wing", "as raced"], "travel": "0.3 s",
         "failures": ["rear up, wing 9"]}
    ]  # fmt: skip
    down = {"position": "as raced", "speed_above": "150 km/h", "side_below": "0.4 g"}
    tables["schedules"] = [{"name": "by hand", "device": "wing actuator", "rules": [down]}]
    # the demo has driven no circles: here are two of the car as planted, its tyres given widely
    circles = lap_tables(pad(), pad("G2", "rear", 60.0))["lap"]
    tables["lap"] |= {key: circles[key] for key in ("front", "rear", "cornering")}
    tables["study"] = {"speeds": ["140 km/h", "220 km/h"], "draws": 48}
    return tables


def site_of(folder: Path, tables: dict[str, Any]) -> Site:
    """Return a served project, its study done."""
    folder.mkdir(exist_ok=True)
    (folder / "project.toml").write_text(tomlkit.dumps(tables), encoding="utf-8")
    bench = Bench(folder, runs_itself=False)
    bench.run()
    return Site(bench)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def driven(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return site_of(Path(tmp_path_factory.mktemp("lap")) / "car", project_tables())


def test_the_lap_compares_states_and_every_number_says_why(page: Page, driven: Site) -> None:
    driven.open(page, "lap")
    table = page.get_by_role("region", name="Lap times as a table")
    expect(table.get_by_role("row", name=re.compile("^more wing"))).to_be_visible()
    expect(page.locator(".caution").last).to_contain_text("closed course")
    picture = page.get_by_role("img", name=re.compile("Brackenholt in plan"))
    before = picture.inner_html()
    page.get_by_text("rear grip left", exact=True).click()
    assert picture.inner_html() != before
    page.get_by_text("more wing", exact=True).first.click()
    expect(page).to_have_url(re.compile("state=more"))
    table.locator("button.num").nth(1).click()
    expect(page.locator(".margin .chain h3")).to_be_visible()


def test_the_pointer_on_a_trace_stands_on_the_plan(page: Page, driven: Site) -> None:
    driven.open(page, "lap")
    over = page.locator(".lapchart .u-over").first
    expect(page.locator(".track .here")).to_have_count(0)
    over.hover(position={"x": 80, "y": 40})
    expect(page.locator(".track .here")).to_have_count(1)


def test_planes_show_the_map_and_equal_lap_time(page: Page, driven: Site) -> None:
    driven.open(page, "lap")
    spent = page.get_by_role("img", name=re.compile("^Seconds of the lap over both ride heights"))
    expect(spent).to_be_visible()
    assert spent.locator("rect.spent").count() > 5
    assert spent.locator("path.isoline").count() > 2
    equal = page.get_by_role("img", name=re.compile("^Lines of equal lap time"))
    assert equal.locator("path.isoline").count() > 3
    expect(equal.locator("text.now")).to_have_text("here")


def test_a_device_shows_its_schedule_and_what_failures_cost(page: Page, driven: Site) -> None:
    driven.open(page, "lap")
    table = page.get_by_role("region", name="wing actuator as a table")
    expect(table.get_by_role("row", name=re.compile("more wing stuck there"))).to_be_visible()
    failed = table.get_by_role("row", name=re.compile("rear up, wing 9 failed"))
    failed.locator("button.num").first.click()
    expect(page.locator(".margin .chain h3")).to_contain_text("failed in 'rear up, wing 9'")
    expect(page.get_by_role("img", name=re.compile("^Position along the lap"))).to_be_visible()


def test_circles_driven_show_what_they_did_to_the_tyres(page: Page, driven: Site) -> None:
    driven.open(page, "lap")
    tyres = page.get_by_role("region", name="Tyres before and after the circles as a table")
    row = tyres.get_by_role("row", name=re.compile("^front friction at"))
    expect(row).to_contain_text("%")
    row.locator("button.num").first.click()
    chain = page.locator(".margin .chain")
    expect(chain.locator("h3")).to_contain_text("after the circles")
    expect(chain).to_contain_text("G1: skid pad")
    circles = page.get_by_role("region", name="Circles as a table")
    expect(circles.get_by_role("row", name=re.compile("^G2"))).to_contain_text("rear gave up")
    expect(page.locator("ul.says")).to_contain_text("cannot tell")


def test_circles_that_tie_nothing_say_why(page: Page, driven: Site) -> None:
    said = "circles.csv:3: needs 7.71 g to the side. " + 12 * "Look at the radius and its unit. "

    def refused(route: Route) -> None:
        tree = route.fetch().json()
        tree["grip"] |= {"refused": [said], "inputs": [], "friction": [], "rows": [], "says": [],
                         "answer": "The circles tie nothing: the tyres stay as given.",
                         "lap": None}  # fmt: skip
        route.fulfill(json=tree)

    page.route(re.compile(r"/lap\.json"), refused)
    driven.open(page, "lap")
    part = page.get_by_role("region", name="Grip from circles driven")
    expect(part).to_contain_text("The circles tie nothing")
    expect(part.locator(".refusals li")).to_contain_text("7.71 g to the side")
    expect(part.get_by_role("table")).to_have_count(0)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_the_trim_table_has_a_row_for_a_device_that_stuck(page: Page, driven: Site) -> None:
    driven.open(page, "trim")
    row = page.get_by_role("region", name="Trim table").locator("tr", has_text="wing stuck down")
    expect(row).to_contain_text("stuck")
    expect(row).to_contain_text("park if it moves")


def test_the_trim_table_carries_its_caution_and_marks_what_not_to_run(
    page: Page, driven: Site
) -> None:
    driven.open(page, "trim")
    expect(page.locator(".caution.strong")).to_contain_text("the driver may refuse")
    table = page.get_by_role("region", name="Trim table")
    expect(table.locator("tr.nogo").first).to_contain_text("not to be run")
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the table as CSV").click()
    text = Path(saved.value.path()).read_text("utf-8")
    assert text.startswith("# Proposal from a desk estimate")


def test_the_slider_moves_the_lap(page: Page, driven: Site) -> None:
    driven.open(page, "trim")
    answer = page.locator(".livelap")
    expect(answer).to_be_visible()
    page.get_by_role("slider", name="Rear at rest").fill("82")
    expect(answer).to_have_attribute("data-at", re.compile(r"82\.0 mm"))
    expect(answer).not_to_contain_text("Not to be run")
    page.get_by_role("slider", name="Rear at rest").fill("72")
    expect(answer).to_contain_text("Not to be run")


def test_a_balance_nobody_can_set_is_refused_in_words(
    page: Page, watch: Watch, driven: Site, tmp_path: Path
) -> None:
    computed: Bench = driven.bench  # type: ignore[assignment]
    shutil.copytree(computed.folder, tmp_path / "car")
    tables = project_tables()
    tables["lap"]["trim"] |= {"front_share": "90 %", "band": "1 %", "values": ["8 °"]}
    tables["lap"]["circuits"][0] = {"name": "Nowhere", "file": "lost.csv"}
    tables["states"] = tables["states"][:1]
    del tables["lap"]["changes"], tables["devices"], tables["schedules"]
    watch.allow(r"409 \(Conflict\)")
    site = site_of(tmp_path / "car", tables)
    site.open(page, "trim")
    expect(page.locator(".note")).to_contain_text("No trim table")
    site.go(page, "lap")
    expect(page.locator(".note")).to_contain_text("lost.csv")


@pytest.mark.parametrize("place", ["lap", "trim"])
def test_no_rule_of_accessibility_is_broken(page: Page, driven: Site, place: str) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    page.emulate_media(color_scheme="light")
    driven.open(page, place)
    page.locator(".lapchart canvas").first.wait_for()
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""
