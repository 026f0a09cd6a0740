"""What all tests share: computed demo projects, order of files, count of published checks."""

import fcntl
import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

# an example that takes long says that the machine is busy, not that the code is wrong
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")

CHECKS = Path(__file__).parents[1] / "docs" / "checks" / "checks.json"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--write-checks", action="store_true", help=f"rewrite {CHECKS.name} from this run"
    )


LONG = (
    "unit/study/test_bench.py", "recorded/test_examples.py", "unit/study/test_flow.py",
    "published/test_section_elements.py", "published/test_flow_section.py",
    "browser/test_day.py", "browser/test_races.py", "browser/test_car.py",
    "unit/study/test_survey.py", "browser/test_sheet.py", "unit/study/test_main_job.py",
    "unit/study/test_pictures.py", "browser/test_pictures.py", "unit/study/test_trial.py",
    "unit/study/test_front.py", "browser/test_lap.py", "browser/test_heat.py",
    "browser/test_flow_sweep.py", "browser/test_flow_cases.py", "browser/test_front.py",
    "unit/cli/test_commands.py", "house/test_docs.py", "published/test_section_measured.py",
    "unit/aeromap/test_tie.py", "unit/study/test_sections.py", "browser/test_floor.py",
    "browser/test_sections.py",
)  # fmt: skip
"""Files that take longest come first: at the end of a run no worker then waits for one of them."""


@contextmanager
def made_once(factory: pytest.TempPathFactory, name: str) -> Iterator[tuple[Path, bool]]:
    """Give a folder that all workers of a run share, and whether it has been made already."""
    base = factory.getbasetemp()
    place = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "shared"
    place.mkdir(exist_ok=True)
    with (place / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield place / name, (place / f"{name}.done").exists()
        (place / f"{name}.done").touch()


def computed_once(factory: pytest.TempPathFactory, name: str, write: Callable[[Path], Path]) -> Any:
    """Return a computed project; where several workers share a run, the first computes it."""
    from tuftwork.study import Bench
    from tuftwork.study.registry import CHAINS, FINDINGS, LIVE, PAGES, found

    # read now, not when a page first asks: while a study is computed somebody may be at the sources
    for maker in (*(p.make for p in PAGES), *FINDINGS, *CHAINS.values(), *LIVE.values()):
        found(maker)
    with made_once(factory, name) as (folder, is_made):
        if not is_made:
            bench = Bench(write(folder))
            bench.run()
            return bench
    return Bench(folder)


NewDemo = Callable[[str, Path], Path]


@pytest.fixture(scope="session")
def new_demo(tmp_path_factory: pytest.TempPathFactory) -> NewDemo:
    """Write a demo project by its name, never run; its pictures are drawn once for a whole run."""
    from tuftwork.demo import DEMOS

    def write(name: str, folder: Path) -> Path:
        with made_once(tmp_path_factory, f"{name} as written") as (source, is_made):
            if not is_made:
                DEMOS[name](source)
        return Path(shutil.copytree(source, folder, dirs_exist_ok=True))

    return write


@pytest.fixture(scope="session")
def halyard(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Any:
    """The demo project, computed once for a whole run: read it, never change it."""
    return computed_once(tmp_path_factory, "halyard", lambda place: new_demo("halyard", place))


@pytest.fixture
def computed_demo(halyard: Any, new_demo: NewDemo, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let whoever writes the demo find its steps done, as this run has computed them."""

    def write(folder: Path) -> Path:
        new_demo("halyard", folder)
        shutil.copytree(halyard.folder / "results", folder / "results")
        return folder

    monkeypatch.setattr("tuftwork.demo.write_demo", write)


@pytest.fixture(scope="session")
def front_car(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Any:
    """The demo with a splitter whose channels are solved, computed once: never change it."""
    from tests.front_car import turned_front_car

    return computed_once(
        tmp_path_factory, "front_car", lambda place: turned_front_car(new_demo("halyard", place))
    )


@pytest.fixture(scope="session")
def nose(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Any:
    """A car of which nothing but the splitter is described, computed once: never change it."""
    from tests.front_car import turned_nose_alone

    return computed_once(
        tmp_path_factory, "nose", lambda place: turned_nose_alone(new_demo("halyard", place))
    )


@pytest.fixture(scope="session")
def computed_small_car(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A small car with a device and states, computed once: read it, never change it."""
    from tests.unit.study.small_car import write_small_car

    return computed_once(tmp_path_factory, "small_car", write_small_car)


@pytest.fixture(scope="session")
def two_states(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The small car in two states with few draws, computed once: read it, never change it."""
    from tests.unit.study.small_car import STATES, write_small_car

    def write(place: Path) -> Path:
        return write_small_car(place, draws=32, states=STATES[:2], devices=[], schedules=[])

    return computed_once(tmp_path_factory, "two_states", write)


@pytest.fixture(scope="session")
def prototype(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The published component table as a project, computed once: read it, never change it."""
    from tuftwork.demo import write_prototype

    return computed_once(tmp_path_factory, "prototype", write_prototype)


@pytest.fixture(scope="session")
def student(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The student team's wings, computed once: read it, never change it."""
    from tuftwork.demo import write_student

    return computed_once(tmp_path_factory, "student", write_student)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything below tests/published is a published check; the marker need not be repeated."""
    root = Path(__file__).parent
    rank = {name: place for place, name in enumerate(LONG)}
    items.sort(key=lambda i: rank.get(str(i.path.relative_to(root)), len(LONG)))
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
