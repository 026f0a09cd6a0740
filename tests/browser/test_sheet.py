"""Rail, sheet and margin: every page is reached, every number says why, every state has words."""

import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import PATIENCE, Site, Watch
from tests.browser.fake_workbench import PAGES, FakeWorkbench

from tuftwork.errors import InputError

MakeSite = Callable[..., Site]
ROOT = Path(__file__).parents[2]
REFUSAL = r"status of (404|409|422)"


def test_the_rail_is_the_servers_list(page: Page, site: Site) -> None:
    site.open(page)
    entries = page.get_by_role("navigation", name="Sheets").get_by_role("link")
    expect(entries).to_have_count(len(PAGES))
    for index in range(len(PAGES)):
        entries.nth(index).click()
        expect(entries.nth(index)).to_have_attribute("aria-current", "page")
        title = entries.nth(index).locator(".title").inner_text()
        expect(page.locator(".sheet h1")).to_have_text(title)
        expect(page.get_by_text(f"{index + 1} of {len(PAGES)}")).to_be_visible()


def test_the_rail_stands_before_the_overview_is_worked_out(page: Page) -> None:
    class Slow(FakeWorkbench):
        ready = threading.Event()

        def page(self, name: str, **query: str) -> dict[str, Any]:
            if name == "overview" and not query:
                assert self.ready.wait(PATIENCE / 1000)
            return super().page(name, **query)

    slow = Slow()
    page.goto(f"{Site(slow).address}#/claims")
    rail = page.get_by_role("navigation", name="Sheets")
    expect(rail.get_by_role("link")).to_have_count(len(PAGES))
    expect(rail).to_have_attribute("aria-busy", "true")
    expect(rail.get_by_role("link").first).to_have_accessible_name(re.compile("not read yet"))
    expect(page.get_by_label("Title block")).to_contain_text("3 of 8")
    expect(page.locator(".sheet .claim").first).to_be_visible()
    slow.ready.set()
    expect(rail).to_have_attribute("aria-busy", "false")
    expect(rail.get_by_role("link").first).to_have_accessible_name(re.compile("stands on"))


def test_an_overview_that_is_refused_is_not_waited_for(page: Page, watch: Watch) -> None:
    class Broken(FakeWorkbench):
        def page(self, name: str, **query: str) -> dict[str, Any]:
            if name == "overview" and not query:
                raise InputError("overview", "nothing", "", "cannot be worked out")
            return super().page(name, **query)

    watch.allow(REFUSAL)
    page.goto(f"{Site(Broken()).address}#/claims")
    rail = page.get_by_role("navigation", name="Sheets")
    expect(rail.get_by_role("link")).to_have_count(len(PAGES))
    expect(page.locator(".sheet .claim").first).to_be_visible()
    expect(rail).to_have_attribute("aria-busy", "false")


def test_small_interactions_open_on_demand(page: Page) -> None:
    class Detailed(FakeWorkbench):
        def page(self, name: str, **query: str) -> dict[str, Any]:
            tree = super().page(name, **query)
            if name == "budget":
                small = [r for r in tree["rows"] if r["kind"] == "interaction"]
                row = small[0] | {"name": f"other interactions ({len(small)})"}
                names = [r["name"] for r in small]
                said = "Each under 1 % of the whole car's downforce."
                tree["others"] = {"row": row, "names": names, "said": said}
            return tree

    Site(Detailed()).open(page, "budget")
    chart = page.get_by_role("group", name="Budget of downforce by part and axle")
    table = page.get_by_role("region", name="Budget as a table")
    expect(chart).to_contain_text("other interactions (2)")
    expect(table).not_to_contain_text("wing on diffuser")
    opener = page.get_by_role("button", name="Open other interactions (2)")
    expect(opener).to_have_attribute("aria-expanded", "false")
    opener.press("Enter")
    for place in (chart, table):
        expect(place).to_contain_text("wing on diffuser")
        expect(place).not_to_contain_text("other interactions")
    page.get_by_role("button", name="Put small interactions together").click()
    expect(chart).to_contain_text("other interactions (2)")


def test_the_token_leaves_the_address(page: Page, site: Site) -> None:
    site.open(page, "claims")
    assert "token" not in page.url
    assert page.url.endswith("#/claims")
    assert "HttpOnly" not in page.evaluate("document.cookie")
    assert page.evaluate("document.cookie") == ""


def test_a_number_says_why_and_its_chain_has_an_address(page: Page, site: Site) -> None:
    site.open(page)
    why = page.get_by_role("complementary", name="Why")
    expect(why).to_contain_text("Select any number")
    number = page.locator(".findings button.num").filter(has_text="1.446").first
    number.click()
    expect(why.get_by_role("heading", name="Total downforce 220")).to_be_visible()
    expect(why).to_contain_text("Where it comes from")
    expect(why).to_contain_text("What dominates its range")
    expect(why).to_contain_text("Whether to raise the rear")
    expect(number).to_have_attribute("aria-pressed", "true")
    assert "#/overview?why=total.downforce.220" in page.url
    page.go_back()
    expect(why).to_contain_text("Select any number")


def test_the_address_of_a_chain_opens_it(page: Page, site: Site) -> None:
    site.open(page, "claims?why=claim.C1")
    why = page.get_by_role("complementary", name="Why")
    expect(why.get_by_role("heading", name="Claim C1")).to_be_visible()


def test_the_keyboard_reaches_a_number_its_chain_and_the_way_back(page: Page, site: Site) -> None:
    site.open(page)
    page.locator(".findings").wait_for()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the sheet")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
    page.keyboard.press("Tab")
    focused = page.locator(":focus")
    expect(focused).to_have_class(re.compile("num"))
    outline = focused.evaluate("e => getComputedStyle(e).outlineStyle")
    assert outline != "none"
    page.keyboard.press("Enter")
    why = page.get_by_role("complementary", name="Why")
    expect(why).to_contain_text("Where it comes from")
    page.keyboard.press("Escape")
    expect(why).to_contain_text("Select any number")
    expect(focused).to_have_class(re.compile("num"))


def test_bars_of_the_budget_say_why(page: Page, site: Site) -> None:
    site.open(page, "budget")
    bar = page.get_by_role("button", name=re.compile("rear wing, rear axle"))
    bar.focus()
    page.keyboard.press("Enter")
    why = page.get_by_role("complementary", name="Why")
    expect(why.get_by_role("heading", name="Rear wing rear")).to_be_visible()


def test_the_budget_follows_speed_and_state(page: Page, site: Site) -> None:
    site.open(page, "budget")
    expect(page.locator("caption")).to_contain_text("220")
    page.get_by_role("radio", name="180").check()
    expect(page.locator("caption")).to_contain_text("180")
    page.get_by_role("radio", name="no wing").check()
    expect(page.locator("caption")).to_contain_text("no wing")
    expect(page.get_by_role("rowheader", name=re.compile("rear wing"))).to_have_count(0)
    assert "speed=180" in page.url
    assert "state=no+wing" in page.url


def test_kilograms_are_a_switch(page: Page, site: Site) -> None:
    site.open(page)
    first = page.locator(".findings .numbers .num").first
    expect(first).to_contain_text("1.446")
    page.get_by_role("radio", name="kg at km/h").check()
    expect(first).to_contain_text("325")
    expect(first).to_contain_text("kg")
    expect(first).to_contain_text("hf 44.7")
    site.go(page, "budget")
    expect(page.locator(".sum")).to_contain_text("kg")
    page.reload()
    expect(page.locator(".sum")).to_contain_text("kg")


def test_paper_can_be_turned_dark_and_stays_so(page: Page, site: Site) -> None:
    site.open(page)
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    page.get_by_role("radio", name="light").check()
    light = page.evaluate(ground)
    page.get_by_role("radio", name="dark").check()
    assert page.evaluate(ground) != light
    page.reload()
    page.locator(".sheet h1").wait_for()
    assert page.evaluate(ground) != light


def test_claims_show_verdict_slips_and_the_sentence_to_send(page: Page, site: Site) -> None:
    site.open(page, "claims")
    first = page.get_by_role("article").first
    expect(first).to_contain_text("contradicts")
    expect(first).to_contain_text("mph written as km/h")
    expect(first).to_contain_text("To ask: At which speed")
    working = first.get_by_text("Working, line by line")
    working.press("Enter")
    expect(first).to_contain_text("q = 1210 Pa")


def test_evidence_names_what_changed(page: Page, site: Site) -> None:
    site.open(page, "evidence")
    expect(page.locator(".sumline")).to_have_text(
        "11 items, 1 changed since it was registered, 1 missing."
    )
    page.get_by_role("button", name="C5").last.click()
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("C5")


def test_a_page_without_a_form_is_shown_as_it_comes(page: Page, site: Site) -> None:
    site.open(page, "words")
    expect(page.get_by_role("columnheader", name="circuit")).to_be_visible()
    page.get_by_role("button", name=re.compile("0.0560")).click()
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("Cooling exit")


def test_states_show_what_the_platform_takes_back(page: Page, site: Site) -> None:
    site.open(page, "states")
    first = page.locator(".states > li").first
    expect(first).to_contain_text("platform settled")
    expect(first).to_contain_text("at unchanged ride heights")
    first.get_by_role("button", name=re.compile("^wing 12: gain: ")).first.click()
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("Gain wing 12")


def test_one_tuft_a_page_at_most(page: Page, site: Site) -> None:
    site.open(page)
    for name in PAGES:
        site.go(page, name)
        page.locator(".sheet h1 ~ *, .sheet header ~ *").last.wait_for()
        assert page.locator(".sheet .tuft").count() <= 1


@pytest.mark.parametrize("name", ["overview", "claims", "states", "evidence"])
def test_an_empty_page_says_what_to_do_first(page: Page, make_site: MakeSite, name: str) -> None:
    make_site("empty").open(page, name)
    expect(page.locator(".note.empty")).to_contain_text("project.toml")


@pytest.mark.parametrize("name", ["budget", "map"])
def test_a_page_with_nothing_to_show_offers_the_run(
    page: Page, make_site: MakeSite, watch: Watch, name: str
) -> None:
    watch.allow(REFUSAL)
    make_site("empty").open(page, name)
    note = page.locator(".note.empty")
    expect(note).to_contain_text("No parts yet")
    expect(note.get_by_role("button", name="Run the study")).to_be_visible()


@pytest.mark.parametrize("name", ["claims", "budget", "map", "evidence", "runs", "words"])
def test_a_refused_page_names_every_fault_and_its_cure(
    page: Page, make_site: MakeSite, watch: Watch, name: str
) -> None:
    watch.allow(REFUSAL)
    make_site("broken").open(page, name)
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("project.toml:31")
    expect(alert).to_contain_text("part.wing.span: unit missing")
    expect(alert).to_contain_text("Add the unit.")
    expect(alert.get_by_role("listitem")).to_have_count(2)


def test_an_unknown_chain_and_an_unknown_page_are_said_to_be(
    page: Page, site: Site, watch: Watch
) -> None:
    watch.allow(REFUSAL)
    site.open(page, "overview?why=nobody.knows")
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("No such page or chain")
    site.go(page, "nowhere")
    expect(page.locator(".sheet")).to_contain_text("Known: overview")


def settled_room(page: Page, part: str) -> float:
    """Return what a part has to spare in width, once charts took theirs after the margin opened."""
    spare = -1.0
    for _ in range(PATIENCE // 100):
        spare = float(page.locator(part).evaluate("e => e.clientWidth - e.scrollWidth"))
        if spare >= 0:
            break
        page.wait_for_timeout(100)
    return spare


@pytest.mark.parametrize("width", [400, 768, 1024, 1440])
@pytest.mark.parametrize("mood", ["plain", "long"])
def test_nothing_sticks_out_of_the_sheet(
    page: Page, make_site: MakeSite, mood: str, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 1024 if width == 768 else 768})
    where = make_site(mood)
    where.open(page)
    for name in PAGES:
        where.go(page, f"{name}?why=total")
        page.locator(".sheet h1 ~ *, .sheet header ~ *").last.wait_for()
        page.get_by_text("What dominates its range").wait_for()
        for part in (".sheet", ".margin", "html", ".rail"):
            assert settled_room(page, part) >= 0, f"{name}, {part}"


def test_older_inputs_are_said_to_be_and_can_be_run_again(page: Page, make_site: MakeSite) -> None:
    where = make_site()
    where.open(page)
    where.bench.stale = True
    note = page.locator(".note.stale")
    expect(note).to_contain_text("Computed from older inputs")
    where.bench.go.clear()
    note.get_by_role("button", name="Run again").click()
    expect(page.locator(".runbar")).to_be_visible()
    expect(note).to_have_count(0)
    where.bench.go.set()
    expect(page.locator(".runbar")).to_have_count(0)
    assert where.bench.stale is False
    expect(note).to_have_count(0)


def test_a_project_that_breaks_says_so_and_nothing_of_numbers_that_are_not_there(
    page: Page, make_site: MakeSite, watch: Watch
) -> None:
    watch.allow("Failed to load resource")
    where = make_site()
    where.open(page, "claims")
    where.bench.stale = True
    expect(page.locator(".note.stale")).to_be_visible()
    where.bench.mood = "broken"
    refused = page.locator(".sheet .note.refused")
    expect(refused).to_contain_text("The project cannot be read as it stands")
    expect(refused).to_contain_text("kept, and shows again")
    expect(page.locator(".note.stale")).to_have_count(0)
    where.bench.mood = "plain"  # mended: what was computed is back, and is what is old
    expect(page.locator(".note.stale")).to_contain_text("Computed from older inputs")
    expect(refused).to_have_count(0)


def test_a_sheet_that_shows_no_results_is_not_called_old(page: Page, make_site: MakeSite) -> None:
    where = make_site()
    where.bench.stale = True
    where.open(page, "claims")
    expect(page.locator(".note.stale")).to_be_visible()
    where.go(page, "evidence")
    expect(page.locator(".register")).to_be_visible()
    expect(page.locator(".note.stale")).to_have_count(0)


def test_a_run_shows_its_progress_and_joins_the_log(page: Page, make_site: MakeSite) -> None:
    where = make_site(step_s=0.1)
    where.bench.go.clear()
    where.open(page, "runs")
    expect(page.locator(".runs > li")).to_have_count(1)
    page.get_by_role("button", name="Run the study").click()
    bar = page.get_by_role("progressbar")
    expect(bar).to_be_visible()
    expect(page.locator(".runbar")).to_contain_text("left")
    where.bench.go.set()
    expect(bar).to_have_count(0)
    expect(page.locator(".runs > li")).to_have_count(2)


def test_a_run_can_be_cancelled_from_any_page(page: Page, make_site: MakeSite) -> None:
    where = make_site()
    where.bench.go.clear()
    where.open(page, "runs")
    page.get_by_role("button", name="Run the study").click()
    page.get_by_role("link", name=re.compile("Claims")).click()
    page.locator(".runbar").get_by_role("button", name="Cancel").click()
    expect(page.locator(".runbar")).to_have_count(0)
    where.go(page, "runs")
    expect(page.locator(".runs > li").first).to_contain_text("cancelled")
    expect(page.get_by_text("steps are kept")).to_be_visible()


def test_a_server_that_is_gone_is_said_to_be(page: Page, watch: Watch) -> None:
    watch.allow("WebSocket|ERR_CONNECTION|Failed to load")
    path = os.pathsep.join([str(ROOT / "src"), str(ROOT)])
    with subprocess.Popen(
        [sys.executable, "-m", "tests.browser.fake_workbench"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        page.goto(process.stdout.readline().strip())
        page.locator(".findings").wait_for()
        process.kill()
    expect(page.get_by_role("alert")).to_contain_text("computed before it stopped")
    expect(page.locator(".findings")).to_be_visible()
    page.get_by_role("link", name=re.compile("Evidence")).click()
    expect(page.get_by_role("alert").last).to_contain_text("did not answer")


def test_every_widget_stands_on_one_page(page: Page, site: Site) -> None:
    site.open(page, "components")
    for words in ("needs an assumption", "Not complete", "did not converge", "older inputs"):
        expect(page.locator(".sheet")).to_contain_text(words)
