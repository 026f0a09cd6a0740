"""Every example runs as it stands, and the number it ends in has not moved."""

import csv
import os
import re
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("*.py"))


def recorded() -> dict[str, tuple[float, float]]:
    lines = (Path(__file__).parent / "data" / "examples.csv").read_text("utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {r["example"]: (float(r["number"]), float(r["allowance"])) for r in rows}


def told_by(path: Path) -> str:
    """What an example prints, run as a reader runs it, with warnings as errors."""
    done = subprocess.run(
        [sys.executable, str(path)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def check_number(path: Path, told: str) -> None:
    last = told.strip().splitlines()[-1]
    found = re.findall(r"[-−]?\d+(?:\.\d+)?", last)
    assert found, f"{path.name} does not end in a number: {last}"
    expected, allowance = recorded()[path.name]
    assert float(found[-1].replace("−", "-")) == pytest.approx(expected, abs=allowance)


def uses_demo(path: Path) -> bool:
    return "write_demo" in path.read_text("utf-8")


@pytest.mark.parametrize("path", [p for p in EXAMPLES if not uses_demo(p)], ids=lambda p: p.name)
def test_an_example_runs_and_ends_in_its_recorded_number(path: Path) -> None:
    check_number(path, told_by(path))


@pytest.mark.usefixtures("computed_demo")
@pytest.mark.parametrize("path", [p for p in EXAMPLES if uses_demo(p)], ids=lambda p: p.name)
def test_an_example_of_the_demo_ends_in_its_recorded_number(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It finds the steps done that this run of the tests has computed of the same demo."""
    runpy.run_path(str(path), run_name="__main__")
    check_number(path, capsys.readouterr().out)
