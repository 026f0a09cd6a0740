"""The page of the car in a real browser, over the real study of a small car."""

import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import PATIENCE, Site, Watch
from tests.browser.test_access import AXE, TAGS, broken_rules
from tests.unit.study.small_car import small_car, write_small_car

from tuftwork.study import Bench
from tuftwork.study.survey import Survey, run_survey

SHEETS = ("budget", "together", "states", "map", "platform", "leverage")


@pytest.fixture(scope="module")
def car_site(computed_small_car: Bench, tmp_path_factory: pytest.TempPathFactory) -> Site:
    folder = Path(tmp_path_factory.mktemp("site")) / "car"
    bench = Bench(shutil.copytree(computed_small_car.folder, folder), runs_itself=False)
    run_survey(bench, Survey.of(cells=64, share=0.8, roll="1 °"), watch=lambda *_: None)
    bench.page("car")  # the first look works chains out; what is tested is the page
    return Site(bench)  # type: ignore[arg-type]


def test_every_sheet_of_the_car_opens_under_one_line_of_the_rail(
    page: Page, car_site: Site
) -> None:
    car_site.open(page, "car")
    for title in ("Parts together", "States", "Map", "Platform", "Leverage", "Budget"):
        page.get_by_role("navigation", name="Parts of this sheet").get_by_role(
            "link", name=title
        ).click()
        expect(page.locator(".tabs a[aria-current]")).to_have_text(title)
        page.locator(".sheet table, .sheet figure").first.wait_for()
        expect(page.locator(".rail a[aria-current] .title")).to_have_text("Car", timeout=PATIENCE)


def test_a_large_map_tells_its_error_and_where_one_run_more_helps(
    page: Page, car_site: Site
) -> None:
    car_site.open(page, "car?tab=map")
    table = page.get_by_role("region", name=re.compile("Large map"))
    expect(table).to_contain_text("roll 1.0°")
    expect(table).to_contain_text(re.compile(r"at \d+ cells drawn by lot; the 80 % ranges"))
    expect(table.locator("tbody tr").first).to_contain_text(re.compile(r"hf \d.* points there"))


def test_isolated_parts_stand_beside_the_system_and_say_why(page: Page, car_site: Site) -> None:
    car_site.open(page, "car?tab=together")
    sums = page.get_by_role("group", name="Sum of isolated parts beside the system")
    expect(sums.locator(".sumrow")).to_have_count(3)
    sums.get_by_role("button", name=re.compile("The system")).last.click()
    expect(page.locator(".margin")).to_contain_text("the system: CzS")


def test_a_stuck_device_says_what_it_feels_like(page: Page, car_site: Site) -> None:
    car_site.open(page, "car?tab=states")
    row = page.get_by_role("row", name=re.compile("wing flat stuck, instead of"))
    expect(row).to_contain_text("looser")
    expect(page.get_by_role("cell", name="wing flat").first).to_be_visible()


def test_a_slider_moves_the_cliff(page: Page, car_site: Site) -> None:
    car_site.open(page, "car?tab=platform")
    slider = page.get_by_role("slider", name="Static rear")
    slider.focus()
    page.keyboard.press("ArrowRight")
    line = page.locator(".trial .pairs > div", has_text="rear above its cliff")
    line.wait_for()
    first = line.inner_text()
    for _ in range(12):
        page.keyboard.press("ArrowRight")
    expect(line).not_to_have_text(first)


def test_an_old_address_of_the_map_still_leads_there(page: Page, car_site: Site) -> None:
    car_site.open(page, "map")
    expect(page.locator(".tabs a[aria-current]")).to_have_text("Map")
    expect(page.locator(".rail a[aria-current] .title")).to_have_text("Car", timeout=PATIENCE)


def test_a_car_without_springs_says_what_is_missing(
    page: Page, tmp_path: Path, watch: Watch
) -> None:
    watch.allow("Failed to load resource")
    car = {k: v for k, v in small_car()["car"].items() if k not in ("front", "rear")}
    folder = write_small_car(tmp_path / "bare", draws=32, car=car)
    bench = Bench(folder, runs_itself=False)
    bench.run()
    site = Site(bench)  # type: ignore[arg-type]
    site.open(page, "car?tab=platform")
    expect(page.locator(".note.empty")).to_contain_text("needs springs and tyres", timeout=PATIENCE)
    site.go(page, "car?tab=leverage")
    expect(page.locator(".note.empty")).to_contain_text("[car.front]", timeout=PATIENCE)
    site.go(page, "car?tab=together")
    expect(page.locator(".pairstable tbody tr").first).to_be_visible(timeout=PATIENCE)


@pytest.mark.parametrize("tab", SHEETS)
def test_no_rule_of_accessibility_is_broken(page: Page, car_site: Site, tab: str) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    page.emulate_media(color_scheme="light")
    car_site.open(page, f"car?tab={tab}")
    page.locator(".sheet table, .sheet figure").first.wait_for()
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""
