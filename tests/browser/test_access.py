"""Rules of accessibility (WCAG A and AA) by axe-core, every page, both themes."""

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page
from tests.browser.conftest import Site
from tests.browser.fake_workbench import PAGES

AXE = Path(__file__).parents[2] / "web" / "node_modules" / "axe-core" / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def axe() -> str:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: run `npm ci` in web/")
    return AXE.read_text(encoding="utf-8")


def broken_rules(page: Page, run: dict[str, Any]) -> str:
    """Return what axe-core finds, as text to read; an empty text is what we want."""
    found = page.evaluate(
        "run => axe.run({runOnly: run, resultTypes: ['violations']})",
        run,
    )
    broken = {
        one["id"]: [node["html"][:160] + node["failureSummary"] for node in one["nodes"][:3]]
        for one in found["violations"]
    }
    return json.dumps(broken, indent=1) if broken else ""


@pytest.mark.parametrize("name", [*PAGES, "components"])
def test_no_rule_is_broken(page: Page, site: Site, axe: str, name: str) -> None:
    page.emulate_media(color_scheme="light")
    site.open(page, f"{name}?why=total.downforce.220")
    page.get_by_text("What dominates its range").first.wait_for()
    page.evaluate(axe)
    assert broken_rules(page, {"type": "tag", "values": TAGS}) == ""
    page.emulate_media(color_scheme="dark")
    assert broken_rules(page, {"type": "rule", "values": ["color-contrast"]}) == ""


@pytest.mark.parametrize("name", PAGES)
def test_targets_are_large_enough(page: Page, site: Site, name: str) -> None:
    site.open(page, f"{name}?why=total.downforce.220")
    page.get_by_text("What dominates its range").first.wait_for()
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, label, summary, nav a, [role=button] .hit')]
          .filter(e => e.checkVisibility() && !e.closest('.unseen'))
          .map(e => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
          .filter(([, r]) => r.height < 25.9 || r.width < 25.9)
          .map(([html, r]) => `${Math.round(r.width)} x ${Math.round(r.height)} ${html}`)"""
    )
    assert small == []
