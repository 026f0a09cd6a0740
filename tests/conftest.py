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


_ROWS: dict[str, dict[str, Any]] = {}


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Any:
    """Write on the report of a published check what the page of checks shows of it."""
    outcome = yield
    report = outcome.get_result()
    decided = report.when == "call" or report.outcome != "passed"
    if item.get_closest_marker("published") is None or not decided:
        return
    missed = hasattr(report, "wasxfail")
    row = {
        "file": item.path.name,
        "name": item.name,
        "about": (item.module.__doc__ or "").strip(),  # type: ignore[attr-defined]
        "state": "missed" if missed and report.skipped else report.outcome,
        "why": report.wasxfail if missed else "",
    }
    report.user_properties.append(("published", row))


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Gather the rows, also those of other worker processes."""
    for name, row in report.user_properties:
        if name == "published":
            _ROWS[report.nodeid] = row  # type: ignore[assignment]


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    rows = _ROWS.values()
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
        kept = [r for _, r in sorted(_ROWS.items())]
        CHECKS.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
