"""The map moves with its sliders, tells what it refuses, and can be walked by keyboard."""

import re
from collections.abc import Callable
from statistics import median

from playwright.sync_api import Page, expect
from tests.browser.conftest import Site, until

MakeSite = Callable[..., Site]
PICTURE = "document.querySelector('.canvases canvas:last-child').toDataURL()"
TIMES = "performance.getEntriesByName('slider to repaint').map(e => e.duration)"
ARRIVED = """k => new Promise(done => {
  const look = () => performance.getEntriesByName('slider to repaint').length > k
    ? done() : setTimeout(look, 10);
  look();
})"""
N_MOVE = 40


def drawn(page: Page, speed: str) -> None:
    """Wait until the picture on the screen is that of a speed."""
    expect(page.get_by_role("application")).to_have_attribute("data-speed", speed)


def open_map(page: Page, site: Site) -> None:
    site.open(page, "map")
    drawn(page, "220")


def numbers(page: Page) -> str:
    return page.locator(".livenumbers").inner_text()


def test_the_slider_moves_numbers_and_picture(page: Page, site: Site) -> None:
    open_map(page, site)
    before, words = page.evaluate(PICTURE), numbers(page)
    slider = page.get_by_role("slider", name="Speed")
    slider.fill("180")
    drawn(page, "180")
    assert page.evaluate(PICTURE) != before
    assert numbers(page) != words
    expected, _ = site.bench.live({"do": "path_at", "speed": 180.0})
    for key in ("total", "front", "rear", "share"):
        best = expected["numbers"][key]["text"].split("\u202f")[0]
        expect(page.locator(".livenumbers")).to_contain_text(best)
    expect(page).to_have_url(re.compile("speed=180"))


def test_the_last_of_many_moves_is_what_is_shown(page: Page, site: Site) -> None:
    open_map(page, site)
    page.evaluate(
        """() => {
          const slider = document.querySelector('input[type=range]');
          for (let v = 100; v <= 250; v++) {
            slider.value = v;
            slider.dispatchEvent(new Event('input', {bubbles: true}));
          }
        }"""
    )
    drawn(page, "250")
    expect(page.locator(".livenumbers")).to_contain_text("250")
    assert len(page.evaluate(TIMES)) < 100


def test_time_from_the_slider_to_the_picture(
    page: Page,
    site: Site,
    note_times: Callable[[list[float]], None],
    record_property: Callable[[str, object], None],
) -> None:
    open_map(page, site)
    page.wait_for_timeout(500)
    page.evaluate("performance.clearMeasures()")
    page.get_by_role("slider", name="Speed").focus()
    for k in range(N_MOVE):
        page.keyboard.press("ArrowLeft")
        page.evaluate(ARRIVED, k)
    times = page.evaluate(TIMES)
    assert len(times) == N_MOVE
    note_times(times)
    record_property("slider_to_repaint_median_ms", median(times))


def test_static_heights_can_be_tried_and_taken_back(page: Page, site: Site) -> None:
    open_map(page, site)
    text = page.locator(".livenumbers").text_content() or ""
    page.get_by_role("slider", name="Static rear").fill("82")
    expect(page.locator(".livenumbers")).not_to_have_text(text)
    expect(page.get_by_text("static ride heights on file")).to_be_visible()
    page.get_by_role("button", name=re.compile("Back to 58")).click()
    expect(page.get_by_text("static ride heights on file")).to_have_count(0)
    expect(page.locator(".livenumbers")).to_have_text(text)


def test_another_state_is_another_map(page: Page, site: Site) -> None:
    open_map(page, site)
    before = page.evaluate(PICTURE)
    page.get_by_role("radio", name="wing 12").check()
    expect(page.locator(".livenumbers")).to_contain_text("wing 12")
    assert page.evaluate(PICTURE) != before


def test_every_field_is_drawn(page: Page, site: Site) -> None:
    open_map(page, site)
    base = "document.querySelector('.canvases canvas').toDataURL()"
    seen = [page.evaluate(base)]
    for name in ("front", "rear", "front share", "drag", "doubt"):
        page.get_by_role("radio", name=name, exact=True).check()
        until(page, lambda: page.evaluate(base) not in seen)
        seen.append(page.evaluate(base))


def test_the_map_is_walked_by_keyboard(page: Page, site: Site) -> None:
    open_map(page, site)
    page.get_by_role("application").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowUp")
    expect(page.locator(".readout")).to_contain_text("hf 46.0")
    expect(page.locator(".readout")).to_contain_text("m²")
    page.keyboard.press("Enter")
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("Cell total 46")


def test_a_cell_that_is_pointed_at_says_why(page: Page, site: Site) -> None:
    open_map(page, site)
    page.get_by_role("application").click(position={"x": 200, "y": 150})
    expect(page.get_by_role("complementary", name="Why")).to_contain_text("Cell total")


def test_kilograms_reach_the_map(page: Page, site: Site) -> None:
    open_map(page, site)
    page.get_by_role("radio", name="kg at km/h").check()
    expect(page.locator(".field figcaption")).to_contain_text("kg")
    expect(page.locator(".livenumbers")).to_contain_text("kg")


def test_more_than_one_equilibrium_is_said(page: Page, site: Site) -> None:
    open_map(page, site)
    expect(page.get_by_text("More than one ride height balances")).to_be_visible()


def test_a_live_refusal_is_shown_and_the_map_stays(page: Page, make_site: MakeSite) -> None:
    where = make_site()
    open_map(page, where)
    where.bench.mood = "broken"
    page.get_by_role("slider", name="Speed").fill("200")
    expect(page.get_by_role("alert")).to_contain_text("did not converge")
    expect(page.locator(".canvases")).to_be_visible()
    where.bench.mood = "plain"
    page.get_by_role("slider", name="Speed").fill("190")
    expect(page.get_by_role("alert")).to_have_count(0)
    expect(page.locator(".livenumbers")).to_contain_text("190")
