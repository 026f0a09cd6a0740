"""Figures turned into coefficients against printed examples; the source stands in each row."""

import csv
from pathlib import Path

import pytest

from tuftwork.air import air_density
from tuftwork.claims import (
    area_of_force,
    axle_coefficients,
    drag_power,
    force_of_area,
    front_share,
    share_of_gain,
)
from tuftwork.quantity import to_si

TABLE = Path(__file__).parent / "data" / "claims_reference.csv"
PARTS = {  # Katz 2016, table 7.3: downforce and drag coefficients; wings by order in the scan
    "bodywork": (-0.54, 0.20), "undertray": (1.26, 0.10), "front wing": (0.72, 0.05),
    "rear wing": (0.36, 0.05), "wheels": (0.0, 0.10),
}  # fmt: skip


def _rows() -> dict[str, dict[str, str]]:
    lines = TABLE.read_text(encoding="utf-8").splitlines()[4:]
    return {row["what"]: row for row in csv.DictReader(lines)}


def _computed(what: str, first: float, second: float, third: float) -> float:
    air = float(air_density(293.15, 101_325.0))
    functions = {
        "drag coefficient of": lambda: area_of_force(first, second, air) / third,
        "drag coefficient as": lambda: area_of_force(first, second, air) / third,
        "force of": lambda: force_of_area(first, second, third),
        "drag power": lambda: drag_power(first, second, third),
        "CzS of": lambda: area_of_force(
            to_si(first, "kgf", "force"), to_si(second, "mph", "speed"), third
        ),
        "front axle": lambda: axle_coefficients(first, second)[0],
        "rear axle": lambda: axle_coefficients(first, second)[1],
        "rear share": lambda: 1 - front_share(first, second),
        "wheels' share": lambda: (first + second) / third,
        "sum of the parts' downforce": lambda: sum(z for z, _ in PARTS.values()),
        "sum of the parts' drag": lambda: sum(x for _, x in PARTS.values()),
        "undertray's share": lambda: share_of_gain(first / second),
    }
    return next(f for start, f in functions.items() if what.startswith(start))()


@pytest.mark.published
@pytest.mark.parametrize("what", list(_rows()))
def test_figures_convert_as_printed(what: str) -> None:
    row = _rows()[what]
    ours = _computed(what, float(row["first"]), float(row["second"]), float(row["third"]))
    assert ours == pytest.approx(float(row["value"]), abs=float(row["budget"]))
