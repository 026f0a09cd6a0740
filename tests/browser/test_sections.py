"""Sections and wings in a real browser, over the real study of one slotted wing."""

import re
from pathlib import Path

import pytest
import tomlkit
from playwright.sync_api import Page, expect
from tests.browser.conftest import Site
from tests.browser.test_access import AXE, TAGS, broken_rules

from tuftwork.demo import write_student
from tuftwork.study import Bench

WAIT = 60_000  # [ms]  two elements from a cold start on a busy machine


@pytest.fixture(scope="module")
def winged(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Serve the student's rear wing alone: no axles, few draws, so that its study is short."""
    folder = write_student(Path(tmp_path_factory.mktemp("wings")) / "student")
    tree = tomlkit.parse((folder / "project.toml").read_text("utf-8")).unwrap()
    tree["parts"] = [p for p in tree["parts"] if p["name"] == "rear wing"]
    del tree["car"]["front"], tree["car"]["rear"]
    tree["study"]["draws"] = 32
    (folder / "project.toml").write_text(tomlkit.dumps(tree), encoding="utf-8")
    bench = Bench(folder, runs_itself=False)
    bench.run()
    return Site(bench)  # type: ignore[arg-type]


def open_sections(page: Page, site: Site) -> None:
    site.open(page, "sections")
    expect(page.locator(".section svg .element")).to_have_count(2, timeout=WAIT)


def lift(page: Page) -> float:
    row = page.locator(".livesection tr").filter(has_text="section lift coefficient")
    found = re.search(r"\d+\.\d+", row.locator("td").first.inner_text())
    assert found is not None
    return float(found.group(0))


def test_the_wing_is_drawn_with_loads_and_cautions(page: Page, winged: Site) -> None:
    open_sections(page, winged)
    expect(page.locator(".answer")).to_contain_text("stalls")
    expect(page.get_by_text("proof load of at least")).to_be_visible()
    expect(page.get_by_role("img", name=re.compile("^Pressure"))).to_be_visible()
    expect(page.get_by_role("row", name=re.compile("flap 1: gap"))).to_contain_text("mm")
    page.locator(".pairs button.num").first.click()
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("Vortex lattice")


def test_a_handle_is_moved_by_keyboard_and_taken_back(page: Page, winged: Site) -> None:
    open_sections(page, winged)
    before = lift(page)
    handle = page.get_by_role("slider", name="Flap 1 deflection, on the drawing")
    handle.focus()
    page.keyboard.press("PageUp")
    page.keyboard.press("ArrowUp")
    expect(handle).to_have_attribute("aria-valuenow", "23.1")
    expect(page.locator(".livesection caption")).to_contain_text("23.1", timeout=WAIT)
    assert lift(page) > before
    page.get_by_role("button", name="Back to the project's setting").click()
    expect(page.locator(".livesection caption")).to_contain_text("flap 22.0", timeout=WAIT)


def test_a_handle_is_dragged(page: Page, winged: Site) -> None:
    open_sections(page, winged)
    box = page.get_by_role("slider", name="Flap 1 deflection, on the drawing").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 6, steps=3)
    page.mouse.up()
    expect(page.locator(".livesection caption")).not_to_contain_text("flap 22.0", timeout=WAIT)


def test_two_designs_stand_side_by_side(page: Page, winged: Site) -> None:
    open_sections(page, winged)
    page.get_by_role("button", name="Hold this design").click()
    page.locator(".sliders input").first.fill("3")
    expect(page.locator(".livesection caption")).to_contain_text("Held: rear wing, 2.0")
    expect(page.locator(".livesection caption")).to_contain_text("3.0", timeout=WAIT)
    expect(page.locator(".livesection thead")).to_contain_text("Held")
    expect(page.locator(".section .held")).to_have_count(2)
    page.get_by_role("button", name="Let go of it").click()
    expect(page.locator(".section .held")).to_have_count(0)


def test_what_cannot_be_built_is_refused_and_the_drawing_stays(page: Page, winged: Site) -> None:
    open_sections(page, winged)
    handle = page.get_by_role("slider", name="Flap 1 gap, on the drawing")
    handle.focus()
    for _ in range(60):
        page.keyboard.press("PageDown")  # the slot closes
    expect(page.get_by_role("alert")).to_be_visible(timeout=WAIT)
    expect(page.locator(".section svg .element")).to_have_count(2)


def test_devices_stand_side_by_side_and_a_search_moves_the_handles(
    page: Page, winged: Site
) -> None:
    open_sections(page, winged)
    table = page.get_by_role("region", name="Gurney or thick edge")
    expect(table.get_by_role("row")).to_have_count(4)
    expect(table).to_contain_text("thick edge")
    # a search over a second is worth no more than that it arrives and can be taken
    winged.bench.live = _quick(winged.bench.live)  # type: ignore[method-assign]
    page.get_by_role("button", name="Search", exact=True).click()
    expect(page.get_by_text("designs tried")).to_be_visible(timeout=WAIT)
    page.get_by_role("button", name="Move the handles there").click()
    expect(page.locator(".livesection caption")).to_contain_text("2.5", timeout=WAIT)


def _quick(live):
    """Return a live line whose search answers at once."""

    def answer(message):
        if message["do"] != "better_at":
            return live(message)
        assert message["price"] == 10
        number = {
            "text": "1.50 (1.40 to 1.60)", "best": 1.5, "low": 1.4, "high": 1.6,
            "low_half": 1.45, "high_half": 1.55, "unit": "", "origin": "computed",
        }  # fmt: skip
        found = {
            "setting": {"incidence_deg": 2.5, "flaps": message["flaps"]}, "at": "rear wing, 2.5°",
            "numbers": {"lift": number, "drag": number}, "gain": 0.1, "text": "9 designs tried.",
        }  # fmt: skip
        return found, {}

    return answer


def test_no_rule_of_accessibility_is_broken(page: Page, winged: Site) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    page.emulate_media(color_scheme="light")
    open_sections(page, winged)
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""
