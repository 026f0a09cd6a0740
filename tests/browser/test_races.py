"""Answers that arrive in another order than they were asked for: the newest stands.

Nothing here waits for a clock: a gate on the server's side holds an answer back until the page has
gone on, so the order is the bad one on every machine.
"""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, WebSocketRoute, expect
from tests.browser.conftest import DRAWN, PATIENCE, Site, Watch, until
from tests.browser.test_flow import HEAD, bench_of
from tests.browser.test_flow_cases import Idle, note
from tests.browser.test_pictures import FITTED
from tests.conftest import NewDemo

from tuftwork.study import Bench
from tuftwork.study.flow.sweep_desk import begin_sweep, end_sweep

SHORT = """
[flow]
generic = "coupe"
numbers = { ride_height_front = "160 mm", ride_height_rear = "175 mm", splitter_length = "0 m" }
"""
CASE = (
    '[[flow.cases]]\nname = "coarse look"\nspeed = "220 km/h"\ncell = "62 mm"\n'
    + "settle = 1.0\nlongest = 3.0\n"
)


class Gate:
    """Holds what goes through a function back, from when it is shut until it is opened."""

    def __init__(self) -> None:
        self.shut, self.held, self.free, self.gone = (Event() for _ in range(4))

    def around(self, function: Callable[..., Any]) -> Callable[..., Any]:
        def held_back(*args: Any, **kwargs: Any) -> Any:
            if not self.shut.is_set():
                return function(*args, **kwargs)
            found = function(*args, **kwargs)  # it says what was true when it was asked
            self.held.set()
            assert self.free.wait(PATIENCE / 1000)
            return found

        return held_back

    def wait(self) -> None:
        """Return once an answer stands ready behind the gate."""
        assert self.held.wait(PATIENCE / 1000), "nobody asked"

    def open(self, page: Page, address: str = "") -> None:
        """Let the answer go, and return when the page has it and has drawn again."""
        self.shut.clear()
        if address:
            with page.expect_response(re.compile(re.escape(address))):
                self.free.set()
        else:
            self.free.set()
        page.evaluate(DRAWN)
        page.evaluate(DRAWN)


@pytest.fixture
def gate() -> Iterator[Gate]:
    made = Gate()
    yield made
    made.free.set()  # whatever a failed test left behind it goes on


@pytest.fixture
def flow_site(tmp_path: Path) -> Site:
    return Site(bench_of(tmp_path / "car", HEAD + SHORT + CASE))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def road(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Path:
    return new_demo("road", Path(tmp_path_factory.mktemp("races")) / "road")


@pytest.fixture
def pictures(road: Path, page: Page) -> Iterator[Site]:
    text = (road / "project.toml").read_text("utf-8")
    site = Site(Bench(road, runs_itself=False))  # type: ignore[arg-type]
    yield site
    (road / "project.toml").write_text(text, "utf-8")


def look_at(page: Page, site: Site) -> Locator:
    """Open the pictures and return the first mark on them."""
    site.open(page, "pictures")
    page.get_by_role("application").wait_for()
    page.evaluate(FITTED)
    return page.locator(".pin").first


def place_of(pin: Locator) -> str:
    return pin.get_attribute("transform") or ""


def at(pin: Locator) -> tuple[float, float]:
    x, y = place_of(pin).removeprefix("translate(").rstrip(")").split(" ")
    return float(x), float(y)


def choose(page: Page, pin: Locator) -> None:
    stage = page.get_by_role("application")
    stage.scroll_into_view_if_needed()
    box = stage.bounding_box()
    assert box
    x, y = at(pin)
    page.mouse.click(box["x"] + x, box["y"] + y)
    expect(page.locator(".pin.on")).to_have_count(1)


def test_a_late_look_at_the_page_neither_hides_a_run_nor_moves_a_slider_back(
    page: Page, flow_site: Site, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench: Bench = flow_site.bench  # type: ignore[assignment]
    whole = bench.page
    held = gate.around(whole)
    # only the page itself is held back: the rail is read anew at the same time
    monkeypatch.setattr(
        bench, "page", lambda name, **q: (held if name == "flow" else whole)(name, **q)
    )
    monkeypatch.setattr("tuftwork.study.flow.desk.subprocess.Popen", Idle)
    flow_site.open(page, "flow")
    page.get_by_role("slider", name="Cell").fill("70")
    gate.shut.set()
    page.get_by_role("button", name="Save settings").click()
    gate.wait()
    page.get_by_role("slider", name="Speed").fill("180")
    page.get_by_role("button", name="Run it").click()
    run = page.get_by_role("region", name="The run")
    expect(run).to_contain_text("cutting the grid")
    page.get_by_role("slider", name="Yaw").fill("3")
    gate.open(page, "/flow.json")
    expect(page.get_by_role("slider", name="Yaw")).to_have_value("3")
    expect(page.get_by_role("slider", name="Speed")).to_have_value("180")
    expect(run).to_contain_text("cutting the grid")
    note(bench.folder, "coarse look", state="running", travel=2.1, longest=3.0, seconds=60.0)
    expect(run.get_by_role("progressbar")).to_have_attribute("aria-valuenow", "70")
    expect(page.get_by_role("slider", name="Yaw")).to_have_value("3")


def test_a_grid_that_was_cut_for_older_settings_is_not_shown(
    page: Page, flow_site: Site, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench: Bench = flow_site.bench  # type: ignore[assignment]
    asked: list[str] = []
    live = bench.live
    found = {"faults": [], "rows": [{"label": "narrowest gap", "text": "7 cells"}], "notices": []}

    def answer(message: Any) -> Any:
        asked.append(message["do"])
        return (found, {}) if message["do"] == "flow_prepare" else live(message)

    held = gate.around(answer)
    monkeypatch.setattr(bench, "live", lambda m: (held if m["do"] == "flow_prepare" else answer)(m))
    flow_site.open(page, "flow")
    gate.shut.set()
    page.get_by_role("button", name="Cut the grid and look").click()
    expect(page.get_by_text("Cutting the grid")).to_be_visible()
    gate.wait()
    page.get_by_role("slider", name="Cell").fill("80")
    gate.open(page)
    expect(page.get_by_text(re.compile("^cells of|million \\("))).to_be_visible()
    page.get_by_role("button", name="Save settings").click()  # answered after all before it
    expect(page.get_by_role("button", name="Save settings")).to_have_count(0)
    assert "flow_prepare" in asked
    expect(page.get_by_text("7 cells")).to_have_count(0)


def test_what_was_refused_stays_said_while_a_sweep_is_looked_at(
    page: Page, flow_site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench: Bench = flow_site.bench  # type: ignore[assignment]
    begin_sweep(bench.folder, ["coarse look"])
    looks: list[Any] = []
    live = bench.live

    def counted(message: Any) -> Any:
        looks.extend([message] if message["do"] == "flow_sweep" else [])
        return live(message)

    monkeypatch.setattr(bench, "live", counted)
    flow_site.open(page, "flow")
    cases = page.get_by_role("region", name="Cases", exact=True)
    cases.get_by_text("Spread ride heights or yaw").click()
    cases.get_by_label("Front ride heights").fill("150, wide")
    cases.get_by_role("button", name="Write the cases").click()
    expect(cases.get_by_role("alert")).to_contain_text("wide")
    before = len(looks)
    until(page, lambda: len(looks) >= before + 2)
    page.evaluate(DRAWN)
    expect(cases.get_by_role("alert")).to_contain_text("wide")
    end_sweep(bench.folder)
    expect(cases.get_by_text("Sweep:")).to_have_count(0)


def test_live_numbers_follow_a_run_that_ended(page: Page, make_site: Callable[..., Site]) -> None:
    site = make_site()
    bench = site.bench
    live, run = bench.live, bench.run
    times: list[int] = []

    def renewed(message: Any) -> Any:
        header, arrays = live(message)
        return header | {"at": f"{header['at']}, {len(times)} runs"}, arrays

    def counted(*args: Any) -> Any:
        entry = run(*args)
        times.append(1)
        return entry

    bench.live, bench.run = renewed, counted  # type: ignore[method-assign]
    bench.stale = True
    site.open(page, "map")
    page.get_by_role("slider", name="Speed").fill("180")
    expect(page.locator(".livenumbers .at")).to_contain_text("180 km/h, as raced, 0 runs")
    page.get_by_role("button", name="Run again").click()
    expect(page.locator(".livenumbers .at")).to_contain_text("180 km/h, as raced, 1 runs")


def test_a_page_read_while_the_line_was_cut_is_read_again(
    page: Page, make_site: Callable[..., Site]
) -> None:
    lines: list[WebSocketRoute] = []

    def through(line: WebSocketRoute) -> None:
        line.connect_to_server()
        lines.append(line)

    page.route_web_socket(re.compile("/socket$"), through)
    site = make_site()
    site.open(page, "runs")
    expect(page.locator(".runs > li")).to_have_count(1)
    site.bench.run(lambda *_: None, lambda: False)  # by another program: nobody tells of it
    lines[0].close()
    expect(page.locator(".runs > li")).to_have_count(2)


def test_an_answer_that_cannot_be_read_is_said_to_be(
    page: Page, make_site: Callable[..., Site], watch: Watch
) -> None:
    watch.allow("status of 500")
    site = make_site()
    site.open(page, "runs")
    expect(page.locator(".runs > li")).to_have_count(1)
    page.route(re.compile("/runs.json"), lambda route: route.fulfill(status=500, body="<h1>"))
    page.get_by_role("button", name="Run the study").click()
    # what was there before the run does not pass for what is there after it
    expect(page.get_by_text("cannot be read (status 500)")).to_be_visible()


def test_keys_faster_than_the_screen_undo_and_redo_one_step_each(
    page: Page, pictures: Site
) -> None:
    pin = look_at(page, pictures)
    choose(page, pin)
    places = [place_of(pin)]
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
        places.append(place_of(pin))
    assert len(set(places)) == 4
    page.evaluate(
        """() => { for (const shiftKey of [false, false, false, true])
             dispatchEvent(new KeyboardEvent('keydown', {key: 'z', ctrlKey: true, shiftKey})); }"""
    )
    expect(pin).to_have_attribute("transform", places[1])
    page.get_by_role("button", name="Redo").click()
    expect(pin).to_have_attribute("transform", places[2])
    page.get_by_role("button", name="Back to the saved ones").click()


def test_readings_of_marks_that_were_taken_back_are_not_shown(
    page: Page, pictures: Site, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench: Bench = pictures.bench  # type: ignore[assignment]
    live = bench.live
    held = gate.around(live)
    monkeypatch.setattr(bench, "live", lambda m: (held if m["do"] == "picture_marks" else live)(m))
    choose(page, look_at(page, pictures))
    table = page.locator(".readings tbody")
    before = table.inner_text()
    gate.shut.set()
    for _ in range(6):
        page.keyboard.press("Shift+ArrowRight")
    gate.wait()
    page.get_by_role("button", name="Back to the saved ones").click()
    expect(page.get_by_role("button", name="Save marks")).to_be_disabled()
    gate.open(page)
    # its turn comes after the late answer
    page.get_by_role("radio", name="side", exact=True).check()
    expect(page.get_by_alt_text("Plane side of P1, straightened")).to_be_visible()
    assert table.inner_text() == before


def test_a_mark_moved_while_others_are_being_saved_is_kept(
    page: Page, pictures: Site, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench: Bench = pictures.bench  # type: ignore[assignment]
    live = bench.live
    held = gate.around(live)
    monkeypatch.setattr(bench, "live", lambda m: (held if m["do"] == "picture_save" else live)(m))
    pin = look_at(page, pictures)
    choose(page, pin)
    page.keyboard.press("Shift+ArrowRight")
    gate.shut.set()
    page.get_by_role("button", name="Save marks").click()
    gate.wait()
    page.get_by_role("application").focus()
    page.keyboard.press("Shift+ArrowDown")
    there = place_of(pin)
    gate.open(page)
    expect(page.get_by_role("status").filter(has_text="Saved:")).to_be_visible()
    expect(pin).to_have_attribute("transform", there)
    page.reload()
    page.get_by_role("application").wait_for()
    expect(page.locator(".pin").first).to_have_attribute("transform", there)
    page.get_by_role("button", name="Back to the saved ones").click()


def test_marks_that_were_kept_are_found_again_however_late_the_overview_comes(
    page: Page, pictures: Site, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench: Bench = pictures.bench  # type: ignore[assignment]
    whole = bench.page
    held = gate.around(whole)
    monkeypatch.setattr(
        bench, "page", lambda name, **q: (held if name == "overview" else whole)(name, **q)
    )
    pin = look_at(page, pictures)
    choose(page, pin)
    page.keyboard.press("Shift+ArrowRight")
    there = place_of(pin)
    gate.shut.set()
    with page.expect_response(re.compile("/pictures.json")):
        page.reload()
    gate.wait()
    # the page waits for nothing but its own answer
    expect(page.locator(".pin").first).to_have_attribute("transform", there)
    gate.open(page, "/overview.json")
    expect(page.locator(".pin").first).to_have_attribute("transform", there)
    page.get_by_role("button", name="Back to the saved ones").click()


def test_a_plane_that_was_put_away_stays_away(
    page: Page, pictures: Site, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    frames: list[bytes] = []
    page.on("websocket", lambda line: line.on("framereceived", lambda f: frames.append(f)))
    bench: Bench = pictures.bench  # type: ignore[assignment]
    live = bench.live
    held = gate.around(live)
    monkeypatch.setattr(bench, "live", lambda m: (held if m["do"] == "picture_plane" else live)(m))
    look_at(page, pictures)
    gate.shut.set()
    planes = page.get_by_role("region", name="A plane seen square on")
    planes.get_by_role("radio", name="side", exact=True).check()
    gate.wait()
    planes.get_by_role("radio", name="none", exact=True).check()
    gate.open(page)
    until(page, lambda: any(b'"pixel_per_m"' in frame for frame in frames))
    page.evaluate(DRAWN)
    expect(planes.get_by_role("img")).to_have_count(0)


def test_a_mark_snaps_to_its_edge_though_the_pixels_come_late(
    page: Page, pictures: Site, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench: Bench = pictures.bench  # type: ignore[assignment]
    live = bench.live
    held = gate.around(live)

    def fine(message: Any) -> Any:
        is_fine = message["do"] == "picture_tile" and message["level"] == 0
        return (held if is_fine else live)(message)

    monkeypatch.setattr(bench, "live", fine)
    gate.shut.set()
    pin = look_at(page, pictures)
    page.get_by_label("snap to edges").check()
    x, y = at(pin)
    box = page.get_by_role("application").bounding_box()
    assert box
    page.mouse.move(box["x"] + x, box["y"] + y)
    page.mouse.down()
    page.mouse.move(box["x"] + x + 3.0, box["y"] + y + 1.0)
    page.mouse.up()
    gate.wait()
    gate.open(page)
    # a mark that found its edge stands on a whole pixel
    expect(page.locator(".adding").last).to_contain_text(re.compile(r"at \d+\.0, \d+\.0 "))
    page.get_by_role("button", name="Back to the saved ones").click()


def test_marks_kept_in_the_browser_do_not_take_back_what_was_saved_since(
    page: Page, pictures: Site
) -> None:
    pin = look_at(page, pictures)
    choose(page, pin)
    page.keyboard.press("Shift+ArrowRight")
    there = place_of(pin)
    page.goto("about:blank")
    bench: Bench = pictures.bench  # type: ignore[assignment]
    own = bench.page("pictures")["picture"]
    other = next(m for m in [*own["marks"]][1:] if len(own["marks"][m]) == 1)
    x, y = own["marks"][other][0]
    marks = own["marks"] | {other: [[x + 40.0, y]]}
    bench.live({"do": "picture_save", "picture": own["id"], "marks": marks, "on": own["on"]})
    expect(look_at(page, pictures)).to_have_attribute("transform", there)
    page.get_by_role("button", name="Save marks").click()
    expect(page.get_by_role("status").filter(has_text="Saved:")).to_be_visible()
    saved = bench.page("pictures")["picture"]["marks"][other][0]
    assert saved == pytest.approx([x + 40.0, y], abs=0.01)


def test_two_pages_save_marks_without_undoing_each_other(page: Page, pictures: Site) -> None:
    first = look_at(page, pictures)
    other = page.context.new_page()
    other.set_default_timeout(PATIENCE)
    second = look_at(other, pictures).page.locator(".pin").nth(6)
    for there, pin in ((page, first), (other, second)):
        choose(there, pin)
        there.keyboard.press("Shift+ArrowRight")
    moved = (at(first), at(second))
    for there in (page, other):
        there.get_by_role("button", name="Save marks").click()
        expect(there.get_by_role("status").filter(has_text="Saved:")).to_be_visible()
    for there in (page, other):
        expect(there.get_by_role("button", name="Save marks")).to_be_disabled()
        pins = there.locator(".pin")
        # what is saved is rounded to a hundredth of a pixel; what the other saved is heard of later
        for pin, where in ((pins.first, moved[0]), (pins.nth(6), moved[1])):
            until(there, lambda: at(pin) == pytest.approx(where, abs=0.05))  # noqa: B023
    other.close()
