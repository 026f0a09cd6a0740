"""Figures turned into coefficients against printed examples; the source stands in each row."""

import csv
from pathlib import Path

import pytest

from tuftwork.air import air_density
from tuftwork.claims import (
    area_of_force,
    axle_coefficients,
    check_claims,
    drag_power,
    force_of_area,
    front_share,
    share_of_gain,
)
from tuftwork.demo import write_prototype
from tuftwork.files import NEW, read_project, save_changes
from tuftwork.quantity import to_si

TABLE = Path(__file__).parent / "data" / "claims_reference.csv"
PRINTED_TOTAL = 1.80  # [-]  Katz 2016, table 7.3, p. 304 (seen, row B33); on 1 m² it is an area
NEIGHBOURS = 0.45  # [m²]  how far parts may be from adding up, as the page of the model states


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
        "undertray's share": lambda: share_of_gain(first / second),
    }
    return next(f for start, f in functions.items() if what.startswith(start))()


@pytest.mark.published
@pytest.mark.parametrize("what", list(_rows()))
def test_figures_convert_as_printed(what: str) -> None:
    row = _rows()[what]
    ours = _computed(what, float(row["first"]), float(row["second"]), float(row["third"]))
    assert ours == pytest.approx(float(row["value"]), abs=float(row["budget"]))


@pytest.mark.published
@pytest.mark.parametrize(
    ("total", "verdict"), [(PRINTED_TOTAL, "consistent"), (3.2, "contradicts")]
)
def test_a_printed_table_of_parts_carries_its_printed_total(
    tmp_path: Path, total: float, verdict: str
) -> None:
    folder = write_prototype(tmp_path / "prototype")
    claim = {"id": "C1", "kind": "coefficient", "said": "the total", "value": f"{total}",
             "direction": "downforce"}  # fmt: skip
    opened = save_changes(read_project(folder), {("claims", NEW): claim})
    found = check_claims(opened.project).of("C1")
    assert found.verdict == verdict
    # the belief in cars at large still pulls by less than a quarter of that
    assert found.expected[0].quantity.best == pytest.approx(PRINTED_TOTAL, abs=NEIGHBOURS / 4)
