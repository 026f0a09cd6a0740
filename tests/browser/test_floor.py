"""The page Floor in a real browser, over the real study of one floor on a car without axles."""

import re
from pathlib import Path

import pytest
import tomlkit
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site
from tests.browser.test_access import AXE, TAGS, broken_rules
from tests.conftest import NewDemo

from tuftwork.study import Bench

WAIT = 60_000  # [ms]  kernels from a cold start on a busy machine


@pytest.fixture(scope="module")
def floored(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Site:
    """Serve the demo's floor alone: no axles, few draws, so that its study is short."""
    folder = new_demo("halyard", Path(tmp_path_factory.mktemp("floors")) / "halyard")
    tree = tomlkit.parse((folder / "project.toml").read_text("utf-8")).unwrap()
    tree["parts"] = [p for p in tree["parts"] if p["kind"] == "floor"]
    keep = ("form", "about", "car", "mass_states", "weather", "parts", "study")
    tree = {key: tree[key] for key in keep if key in tree}
    del tree["car"]["front"], tree["car"]["rear"]
    tree["study"]["draws"] = 32
    (folder / "project.toml").write_text(tomlkit.dumps(tree), encoding="utf-8")
    bench = Bench(folder, runs_itself=False)
    bench.run()
    return Site(bench)  # type: ignore[arg-type]


def open_floor(page: Page, site: Site) -> None:
    site.open(page, "floor")
    expect(page.locator(".floorplan canvas")).to_have_attribute("data-drawn", "60x10", timeout=WAIT)
    expect(page.locator(".floorloads tbody td:nth-child(3) .num").first).to_be_visible(timeout=WAIT)


def load(page: Page) -> float:
    row = page.locator(".floorloads tr").filter(has_text="on the car, channel in plan")
    found = re.search(r"\d+\.\d+", row.locator("td").nth(1).inner_text())
    assert found is not None
    return float(found.group(0))


def test_the_floor_is_drawn_with_loads_sweep_and_cautions(page: Page, floored: Site) -> None:
    open_floor(page, floored)
    expect(page.locator(".answer")).to_contain_text("channel in plan")
    expect(page.get_by_role("img", name=re.compile("^Pressure coefficient"))).to_be_visible()
    expect(page.get_by_role("img", name=re.compile("^CzS of the floor"))).to_be_visible()
    expect(page.get_by_text("in small steps on a closed course")).to_be_visible()
    page.locator(".floorloads button.num").first.click()
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("solved in plan")


def test_a_skirt_adds_load_and_is_taken_back(page: Page, floored: Site) -> None:
    open_floor(page, floored)
    before = load(page)
    slider = page.get_by_role("slider", name=re.compile("^Skirt"))
    slider.focus()
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "b => Number(document.querySelector('.floorloads tbody tr td:nth-child(3)')"
        ".innerText.match(/\\d+\\.\\d+/)[0]) > 1.02 * b",
        arg=before,
        timeout=WAIT,
    )
    page.get_by_role("button", name=re.compile("^Back to the project")).click()
    page.wait_for_function(
        "b => Math.abs(Number(document.querySelector('.floorloads tbody tr td:nth-child(3)')"
        ".innerText.match(/\\d+\\.\\d+/)[0]) / b - 1) < 0.01",
        arg=before,
        timeout=WAIT,
    )


def test_a_slider_below_zero_has_a_true_minus(page: Page, floored: Site) -> None:
    open_floor(page, floored)
    slider = page.get_by_role("slider", name=re.compile("^Exit pressure"))
    read = page.locator(".slider", has=slider).locator(".read")
    expect(read).to_contain_text(re.compile("^\u2212\\d"))
    expect(slider).to_have_attribute("aria-valuetext", re.compile("^\u2212\\d"))
    for text in page.locator(".slider .read").all_inner_texts():
        assert "-" not in text


def test_a_page_for_the_hand_is_no_wider_than_the_hand(page: Page, floored: Site) -> None:
    page.set_viewport_size({"width": 400, "height": 860})
    open_floor(page, floored)
    page.wait_for_function(
        "() => document.documentElement.scrollWidth <= 400"
        " && document.querySelector('.sheet').scrollWidth <= 400",
        timeout=WAIT,
    )


def test_a_ramp_too_steep_shows_where_its_layer_leaves(page: Page, floored: Site) -> None:
    open_floor(page, floored)
    slider = page.get_by_role("slider", name=re.compile("^Ramp angle"))
    slider.focus()
    page.keyboard.press("End")
    expect(page.locator(".floorside .readout")).to_contain_text("separated", timeout=WAIT)


def test_strakes_on_trial_show_their_vortices_and_go_again(page: Page, floored: Site) -> None:
    open_floor(page, floored)
    expect(page.locator(".floor-trails")).to_have_count(0)
    slider = page.get_by_role("slider", name=re.compile("^Strakes on trial"))
    slider.focus()
    for _ in range(5):
        page.keyboard.press("PageUp")
    expect(page.locator(".floor-trails li")).to_contain_text("washes", timeout=WAIT)
    expect(page.locator(".floor-trails")).to_contain_text("±40 %")
    toe = page.get_by_role("slider", name=re.compile("^Toe of strakes"))
    toe.focus()
    page.keyboard.press("End")
    expect(page.locator(".floor-trails li")).to_contain_text("outwards", timeout=WAIT)
    page.get_by_role("button", name=re.compile("^Back to the project")).click()
    expect(page.locator(".floor-trails")).to_have_count(0, timeout=WAIT)


def test_rival_readings_of_the_fall_stand_beside_each_other(page: Page, floored: Site) -> None:
    open_floor(page, floored)
    table = page.get_by_role("region", name="Rival readings of the fall")
    expect(table.locator("tbody tr")).to_have_count(4)
    expect(table.locator("tr.named")).to_contain_text("the cause")
    table.locator("button.num").first.click()
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("solved again")


def test_what_the_engine_refuses_is_said_and_the_drawing_waits(page: Page, floored: Site) -> None:
    open_floor(page, floored)
    page.evaluate(
        """() => {
            const slider = [...document.querySelectorAll('.slider')]
                .find((s) => s.textContent.startsWith('Rear ride height')).querySelector('input');
            slider.min = '0';
            slider.value = '1';
            slider.dispatchEvent(new Event('input', { bubbles: true }));
        }"""
    )
    expect(page.locator(".floorplan.waiting")).to_be_visible(timeout=WAIT)
    expect(page.get_by_text(re.compile("must lie between 3 and 400"))).to_be_visible()


def test_no_rule_of_accessibility_is_broken(page: Page, floored: Site) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    page.emulate_media(color_scheme="light")
    open_floor(page, floored)
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""
