"""Every example runs as it stands, and the number it ends in has not moved."""

import csv
import os
import re
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


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.name)
def test_an_example_runs_and_ends_in_its_recorded_number(path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(path)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    last = done.stdout.strip().splitlines()[-1]
    found = re.findall(r"[-−]?\d+(?:\.\d+)?", last)
    assert found, f"{path.name} does not end in a number: {last}"
    expected, allowance = recorded()[path.name]
    assert float(found[-1].replace("−", "-")) == pytest.approx(expected, abs=allowance)
