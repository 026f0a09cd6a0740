"""A real Chromium against the real server over the stand-in for the study."""

import os
import re
import shutil
import threading
from collections.abc import Callable, Iterator
from statistics import quantiles
from typing import Any

import pytest
from playwright.sync_api import ConsoleMessage, Page, Request, expect
from tests.browser.fake_workbench import FakeWorkbench

from tuftwork.app import serve

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
INSTALL = "No Chromium found. Install it with: apt-get install --no-install-recommends chromium"
PATIENCE = 60_000  # [ms]  how long anything may take on a busy machine; a quiet one waits for none
DRAWN = "() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
"""Resolves when the page has drawn again."""
_TIMES: list[float] = []

expect.set_options(timeout=PATIENCE)


def find_browser() -> str | None:
    """Return the path of a Chromium; the environment may name one."""
    named = os.environ.get("TUFTWORK_BROWSER")
    return named or next(filter(None, map(shutil.which, NAMES)), None)


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    """Use the system's browser; where there is none, say so and how to get it."""
    path = find_browser()
    if path is None:
        if os.environ.get("TUFTWORK_REQUIRE_BROWSER") == "1":
            pytest.fail(INSTALL)
        pytest.skip(INSTALL)
    return {
        "executable_path": path,
        "args": [
            "--no-sandbox",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
        ],
    }


@pytest.fixture(scope="session")
def browser_context_args() -> dict[str, Any]:
    return {"viewport": {"width": 1440, "height": 900}, "reduced_motion": "reduce"}


def until(page: Page, holds: Callable[[], bool]) -> None:
    """Wait for something on the server's side."""
    for _ in range(PATIENCE // 50):
        if holds():
            return
        page.wait_for_timeout(50)
    raise AssertionError("it never came true")


class Site:
    """One served workbench."""

    def __init__(self, bench: FakeWorkbench) -> None:
        self.bench = bench
        address: list[str] = []
        ready = threading.Event()

        def announce(text: str) -> None:
            address.append(text)
            ready.set()

        threading.Thread(
            target=serve,
            args=(bench,),
            kwargs={"open_browser": False, "announce": announce},
            daemon=True,
        ).start()
        assert ready.wait(PATIENCE / 1000)
        self.address = address[0]
        self.base = self.address.split("?")[0]

    def open(self, page: Page, place: str = "overview") -> None:
        """Enter with the token, go to a place, and wait until its sheet and the rail are read.

        What a test changes from then on changes no first answer that is still on its way.
        """
        page.goto(f"{self.address}#/{place}")
        arrived(page)

    def go(self, page: Page, place: str) -> None:
        """Go to another place of a page already open, and wait until its sheet is read."""
        page.goto(f"{self.base}#/{place}")
        page.evaluate(DRAWN)
        arrived(page)


def arrived(page: Page) -> None:
    """Wait until neither the sheet nor the rail waits for its first answer, however it is."""
    page.locator(".sheet h1").wait_for()
    page.locator(".pagehead + .busy").wait_for(state="detached")
    page.locator("nav.rail[aria-busy=false]").wait_for(state="attached")


@pytest.fixture
def make_site() -> Callable[..., Site]:
    def make(mood: str = "plain", step_s: float = 0.02) -> Site:
        return Site(FakeWorkbench(mood, step_s=step_s))

    return make


@pytest.fixture(scope="session")
def site() -> Site:
    """A site that tests look at and leave as it was."""
    return Site(FakeWorkbench(step_s=0.02))


class Watch:
    """What a page must never do: ask outside, or complain."""

    def __init__(self, page: Page) -> None:
        self.outside: list[str] = []
        self.complaints: list[str] = []
        self.allowed: list[str] = []
        page.on("request", self._on_request)
        page.on("console", self._on_console)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def allow(self, pattern: str) -> None:
        """Let complaints of this kind pass: the browser's own words on an expected refusal."""
        self.allowed.append(pattern)

    def _on_request(self, request: Request) -> None:
        if not re.match(r"(http|ws)://127\.0\.0\.1[:/]|data:|blob:", request.url):
            self.outside.append(request.url)

    def _on_console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def verdict(self) -> None:
        assert self.outside == []
        left = [c for c in self.complaints if not any(re.search(p, c) for p in self.allowed)]
        assert left == []


@pytest.fixture(autouse=True)
def watch(page: Page) -> Iterator[Watch]:
    page.set_default_timeout(PATIENCE)
    watching = Watch(page)
    yield watching
    watching.verdict()


@pytest.fixture
def note_times() -> Callable[[list[float]], None]:
    """Keep measured times [ms] for the summary of the run."""
    return _TIMES.extend


def pytest_terminal_summary(terminalreporter: Any) -> None:
    if len(_TIMES) > 1:
        parts = quantiles(_TIMES, n=20)
        terminalreporter.write_line(
            f"slider to repaint: median {parts[9]:.0f} ms, 95 % under {parts[18]:.0f} ms "
            f"({len(_TIMES)} moves)"
        )
