"""Cooling and brakes in a real browser, over the real study of a small project."""

import re
import shutil
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from playwright.sync_api import Page, WebSocketRoute, expect
from tests.browser.conftest import Site, Watch, until
from tests.browser.test_access import AXE, TAGS, broken_rules

from tuftwork.study import Bench

HEAD = """\
form = 1
[about]
title = "Heat only"
[car]
name = "a car without aerodynamics"
wheelbase = "2.62 m"
frontal_area = "2.0 m^2"
[[mass_states]]
name = "race"
mass = "1285 kg"
front_weight = "48 %"
ride_height_front = "58 mm"
ride_height_rear = "71 mm"
[weather]
temperature = "24 °C"
[study]
speeds = ["160 km/h"]
draws = 32
"""


def project_text() -> str:
    """Return a project that holds the demo's cooling and brakes and nothing else of it."""
    demo = tomllib.loads(files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8"))
    return HEAD + tomlkit.dumps({"cooling": demo["cooling"], "brakes": demo["brakes"]})


def site_of(folder: Path, text: str) -> Site:
    """Return a served project, its study done."""
    folder.mkdir(exist_ok=True)
    (folder / "project.toml").write_text(text, encoding="utf-8")
    bench = Bench(folder, runs_itself=False)
    bench.run()
    return Site(bench)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def hot(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return site_of(Path(tmp_path_factory.mktemp("heat")) / "car", project_text())


def celsius(text: str) -> float:
    found = re.search(r"(\d+(?:\.\d+)?)\s*°C", text)
    assert found is not None
    return float(found.group(1))


def test_the_restriction_stands_first_and_says_why(page: Page, hot: Site) -> None:
    hot.open(page, "cooling")
    expect(page.locator(".answer")).to_contain_text("arch slots")
    expect(page.locator(".caution").first).to_contain_text("Verify them by measurement")
    held = page.get_by_role("button", name=re.compile("^arch slots,"))
    expect(held).to_have_attribute("aria-pressed", "true")
    page.locator(".circuits button.num").first.click()
    why = page.get_by_role("complementary", name="Why")
    expect(why).to_contain_text("What dominates its range")
    expect(why).to_contain_text("arch slots: discharge")


def test_every_part_and_node_is_reached_by_keyboard_and_shows_its_numbers(
    page: Page, hot: Site
) -> None:
    hot.open(page, "cooling")
    drawing = page.get_by_role("region", name="Drawing of the air net")
    expect(drawing.get_by_role("button")).to_have_count(8 + 5)
    core = drawing.get_by_role("button", name=re.compile("^radiator,"))
    core.focus()
    page.keyboard.press("Enter")
    bench = page.locator(".bench")
    expect(bench.get_by_role("heading")).to_contain_text("radiator")
    expect(bench).to_contain_text("heat given to the air")
    expect(bench.get_by_role("slider")).to_have_accessible_name(re.compile("Tape on radiator"))
    node = drawing.get_by_role("button", name=re.compile("^front wells, node"))
    node.focus()
    page.keyboard.press(" ")
    expect(bench).to_contain_text("total pressure above ambient")


def test_a_larger_exit_on_the_bonnet_cools_the_water_live(page: Page, hot: Site) -> None:
    hot.open(page, "cooling")
    shown = page.locator(".circuits li").first.locator(".num").first
    before = celsius(shown.inner_text())
    page.get_by_role("radio", name="bonnet", exact=True).check()
    slider = page.get_by_role("slider", name=re.compile("Net area of arch slots"))
    slider.focus()
    for _ in range(12):
        page.keyboard.press("ArrowRight")
    expect(page.get_by_text("write into project.toml")).to_be_visible()
    expect(page.locator(".keep")).to_contain_text('at = "bonnet"')
    page.wait_for_function(
        "limit => parseFloat(document.querySelector('.circuits li .num b').textContent) < limit",
        arg=before - 12.0,
    )
    page.get_by_role("button", name="Back to the project's values").click()
    expect(page.locator(".keep")).to_have_count(0)


def test_a_line_that_was_cut_comes_back_with_what_the_handles_say(
    page: Page, hot: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines: list[WebSocketRoute] = []

    def through(line: WebSocketRoute) -> None:
        line.connect_to_server()
        lines.append(line)

    asked: list[float] = []
    live = hot.bench.live

    def counted(message: Any) -> Any:
        asked.append(message["speed"])
        return live(message)

    monkeypatch.setattr(hot.bench, "live", counted)
    page.route_web_socket(re.compile("/socket$"), through)
    hot.open(page, "cooling")
    said = page.locator("p.faint").filter(has_text="Air runs from left to right")
    page.get_by_role("slider", name="Speed").fill("180")
    expect(said).to_contain_text("at 180 km/h, 28 °C air")
    before = len(asked)
    lines[0].close()
    until(page, lambda: len(asked) > before)
    page.get_by_role("slider", name=re.compile(r"^Air\b")).fill("30")
    expect(said).to_contain_text("at 180 km/h, 30 °C air")
    assert asked[before:] == [180.0] * len(asked[before:])


def test_a_part_is_added_led_elsewhere_taken_out_and_undone(page: Page, hot: Site) -> None:
    hot.open(page, "cooling")
    page.get_by_text("Add a part", exact=True).click()
    form = page.locator(".netadd form")
    form.get_by_label("Name").fill("bonnet louvres")
    form.get_by_label("Runs from").select_option("behind the radiator")
    form.get_by_role("button", name="Add it").click()
    added = page.get_by_role("button", name=re.compile("^bonnet louvres,"))
    expect(added).to_be_visible()
    expect(page.locator(".keep")).to_contain_text("[[cooling.exits]]")
    page.get_by_label("Runs from").first.select_option("behind the corners")
    expect(page.locator(".keep")).to_contain_text('start = "behind the corners"')
    page.keyboard.press("Control+z")
    page.get_by_role("button", name="Undo").click()
    expect(added).to_have_count(0)
    # what cannot be solved is refused by name, and undone
    page.get_by_role("button", name=re.compile("^arch slots,")).click()
    page.get_by_role("button", name="Take arch slots out").click()
    expect(page.get_by_text("leads nowhere")).to_be_visible()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_text("leads nowhere")).to_have_count(0)


def test_a_stint_from_cold_is_drawn_with_words(page: Page, hot: Site) -> None:
    hot.open(page, "cooling")
    stint = page.get_by_role("region", name="A stint from cold")
    expect(stint.get_by_role("img").first).to_be_visible()
    expect(stint).to_contain_text("highest of the stint")
    expect(stint).to_contain_text("after stopping")


def test_charts_have_words_for_those_who_do_not_see_them(page: Page, hot: Site) -> None:
    hot.open(page, "cooling")
    chart = page.get_by_role("img", name=re.compile("^water at Brackenholt: 15 °C air"))
    expect(chart).to_be_visible()
    table = page.get_by_role("region", name="Blanking by air temperature")
    expect(table.get_by_role("row")).to_have_count(6)


def test_brakes_show_windows_and_a_duct_under_the_hand(page: Page, hot: Site) -> None:
    hot.open(page, "brakes")
    expect(page.locator(".caution").first).to_contain_text("recheck")
    front = page.get_by_role("region", name="front brakes")
    expect(front.get_by_role("row", name=re.compile("iron disc"))).to_contain_text("inside")
    front.get_by_role("radio", name="no duct").check()
    expect(front.get_by_role("row", name=re.compile("iron disc"))).to_contain_text("too hot")
    peak = page.locator("section[aria-label='The duct under the hand'] .num").last
    before = celsius(peak.inner_text())
    slider = page.get_by_role("slider", name=re.compile("Duct area"))
    slider.focus()
    page.keyboard.press("Home")
    page.wait_for_function(
        "limit => { const all = document.querySelectorAll("
        "'section[aria-label=\"The duct under the hand\"] .num b');"
        " return parseFloat(all[all.length - 1].textContent.replace(/\\D/g, '')) > limit; }",
        arg=before + 150.0,
    )


def test_a_project_without_heat_is_told_what_to_add(
    page: Page, tmp_path: Path, watch: Watch
) -> None:
    watch.allow("status of 409")
    site = site_of(tmp_path / "car", HEAD)
    site.open(page, "cooling")
    expect(page.locator(".note.empty")).to_contain_text("[cooling]")
    site.go(page, "brakes")
    expect(page.locator(".note.empty")).to_contain_text("[brakes]")


def test_a_core_nobody_has_is_refused_with_its_line(
    page: Page, hot: Site, tmp_path: Path, watch: Watch
) -> None:
    watch.allow(r"status of (409|422)")
    computed: Bench = hot.bench  # type: ignore[assignment]
    shutil.copytree(computed.folder, tmp_path / "car")
    site = site_of(tmp_path / "car", project_text())
    broken = project_text().replace('coolers = ["radiator"]', 'coolers = ["radiater"]')
    (tmp_path / "car" / "project.toml").write_text(broken, encoding="utf-8")
    site.open(page, "cooling")
    note = page.locator(".sheet .note.refused").first
    expect(note).to_contain_text("project.toml:")
    expect(note).to_contain_text("Did you mean 'radiator'?")


@pytest.mark.parametrize("name", ["cooling", "brakes"])
def test_no_rule_of_accessibility_is_broken(page: Page, hot: Site, name: str) -> None:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    page.emulate_media(color_scheme="light")
    hot.open(page, name)
    page.locator(".temps circle, .temps .best").first.wait_for()
    page.evaluate(AXE.read_text(encoding="utf-8"))
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""
