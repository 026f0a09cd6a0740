"""Counts the published checks of a run, and writes them down for the page that shows them."""

import json
from pathlib import Path
from typing import Any

import pytest

CHECKS = Path(__file__).parents[1] / "docs" / "checks" / "checks.json"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--write-checks", action="store_true", help=f"rewrite {CHECKS.name} from this run"
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything below tests/published is a published check; the marker need not be repeated."""
    for item in items:
        if "published" in item.path.parts:
            item.add_marker(pytest.mark.published)
        if "browser" in item.path.parts:
            item.add_marker(pytest.mark.browser)


class _Tally:
    """Outcome of every published check of the run."""

    def __init__(self) -> None:
        self.rows: dict[str, dict[str, Any]] = {}

    def add(self, item: pytest.Item, report: pytest.TestReport) -> None:
        decided = report.when == "call" or report.outcome != "passed"
        if item.get_closest_marker("published") is None or not decided:
            return
        missed = hasattr(report, "wasxfail")
        state = "missed" if missed and report.skipped else report.outcome
        self.rows[item.nodeid] = {
            "file": item.path.name,
            "name": item.name,
            "about": (item.module.__doc__ or "").strip(),  # type: ignore[attr-defined]
            "state": state,
            "why": report.wasxfail if missed else "",
        }


_TALLY = _Tally()


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Any:
    outcome = yield
    _TALLY.add(item, outcome.get_result())


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    rows = _TALLY.rows.values()
    if not rows:
        return
    count = {
        s: sum(r["state"] == s for r in rows) for s in ("passed", "missed", "failed", "skipped")
    }
    terminalreporter.write_line(
        f"published checks: {count['passed']} agree, {count['missed']} miss as stated, "
        f"{count['failed']} failed, {count['skipped']} skipped"
    )
    if config.getoption("--write-checks"):
        CHECKS.parent.mkdir(parents=True, exist_ok=True)
        kept = [r for _, r in sorted(_TALLY.rows.items())]
        CHECKS.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
