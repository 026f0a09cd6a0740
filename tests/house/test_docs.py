"""What is written agrees with the program: generated pages, code blocks, README, links."""

import doctest
import re
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
sys.path.insert(0, str(DOCS))
from generate import checks_page, generated_pages, readme_with_table  # noqa: E402

PAGES = sorted(p for p in DOCS.rglob("*.md") if "_build" not in p.parts)
BLOCK = re.compile(r"^```python\n(.*?)^```", re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("name", ["reference/commands.md", "reference/project-file.md"])
def test_a_generated_page_is_what_the_program_says(name: str) -> None:
    assert (DOCS / name).read_text("utf-8") == generated_pages(DOCS)[name], (
        "run: python docs/generate.py"
    )


def test_the_page_of_checks_shows_the_recorded_run() -> None:
    assert (DOCS / "checks/index.md").read_text("utf-8") == checks_page(DOCS)


def test_the_readme_shows_the_recorded_run() -> None:
    assert (ROOT / "README.md").read_text("utf-8") == readme_with_table(DOCS)


def test_the_recorded_run_holds_every_published_check() -> None:
    recorded = (DOCS / "checks" / "checks.json").read_text("utf-8")
    missing = [
        path.name
        for path in sorted((ROOT / "tests" / "published").glob("test_*.py"))
        if f'"{path.name}"' not in recorded
    ]
    assert missing == [], "run: python -m pytest tests/published --write-checks"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(DOCS)))
def test_code_blocks_of_a_page_run_as_they_stand(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    space: dict[str, object] = {}
    for number, code in enumerate(BLOCK.findall(page.read_text("utf-8")), 1):
        if ">>>" in code:
            test = doctest.DocTestParser().get_doctest(code, space, page.name, str(page), number)
            runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
            runner.run(test, clear_globs=False)
            space.update(test.globs)
            assert runner.failures == 0, f"block {number}"
        else:
            exec(compile(code, f"{page.name} block {number}", "exec"), space)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(DOCS)))
def test_links_between_pages_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+\.(?:md|png|svg))", page.read_text("utf-8")):
        assert (page.parent / target).resolve().exists(), target


@pytest.mark.usefixtures("computed_demo")
def test_the_readme_runs_and_agrees_with_the_package() -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert f"Python {project['requires-python'].removeprefix('>=')}" in readme
    failed, _ = doctest.testfile(
        str(ROOT / "README.md"), module_relative=False, optionflags=doctest.ELLIPSIS
    )
    assert failed == 0
    version = project["version"]
    assert f'__version__ = "{version}"' in (ROOT / "src/tuftwork/__init__.py").read_text("utf-8")
