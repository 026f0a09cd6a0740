"""Recorded runs of the lattice flow on a card: the slanted tail, and the wing over the road.

What is recorded is this package's own (data/flow_ladder_card.csv): the slanted tail with the walls
as they stand, but that the rate at which air gathers was renewed every step and not by pairs; the
wing with the law alone, before walls were known to bend, a thin cut tail was taken as a knife edge
and the wing had a layer of two cells. What it is held against is printed, and named beside it.
"""

import csv
from pathlib import Path

import pytest

TAIL = "3 mm near 3 levels 32.6 M cells; air made where it gathers; one NVIDIA H200"
WING = "chord 89 cells 4 levels; thin parts cut before knife edges; "
AHMED = {"0": 0.250, "12.5": 0.230, "25": 0.285, "30": 0.378, "35": 0.260}
"""Drag coefficient by slant, Ahmed 1984 (memory)."""
ZERIHAN = {3.36: 0.69, 0.671: 0.84, 0.313: 1.085, 0.179: 1.415, 0.134: 1.615, 0.082: 1.72}
"""Downforce coefficient by height over chord, Zerihan 2001 (two transcriptions, 0.02 apart)."""


def rows() -> list[dict[str, str]]:
    path = Path(__file__).parent / "data" / "flow_ladder_card.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def tail(slant: str, what: str = "drag coefficient") -> float:
    case = f"slanted tail {slant} deg {what}"
    (found,) = (r for r in rows() if (r["case"], r["grid"]) == (case, TAIL))
    return float(found["recorded"])


def wing(height: float, speed: str) -> float:
    case, grid = f"wing over the road {height} downforce coefficient", f"{WING}{speed} cells a step"
    (found,) = (r for r in rows() if r["case"] == case and r["grid"].startswith(grid))
    return float(found["recorded"])


def miss(size: str) -> pytest.MarkDecorator:
    return pytest.mark.xfail(strict=True, reason=f"miss: {size}")


@pytest.mark.parametrize(
    "slant",
    [
        "0",
        "12.5",
        "25",
        pytest.param("30", marks=miss("12 % low against 10 %")),
        "35",
    ],
)
def test_the_slanted_tail_drags_as_measured(slant: str) -> None:
    # B4 to B7, budget of the ladder 10 %
    assert tail(slant) == pytest.approx(AHMED[slant], rel=0.10)


@pytest.mark.parametrize(
    ("slant", "low", "high"),
    [
        pytest.param("0", 0.238, 0.262, marks=miss("0.007 above the band")),
        ("12.5", 0.218, 0.242),
        pytest.param("25", 0.27, 0.31, marks=miss("0.001 above the band")),
        pytest.param("30", 0.363, 0.393, marks=miss("0.029 below the band")),
        ("35", 0.25, 0.29),
    ],
)
def test_the_drag_of_the_slanted_tail_lies_in_the_band_of_its_tests(
    slant: str, low: float, high: float
) -> None:
    # B4 to B7 (memory): bands of the tests of 1984, 2003 and 2011, or their reading error
    assert low <= tail(slant) <= high


@miss("0.002 beyond the budget, high")
def test_the_slanted_tail_lifts_at_25_degrees_as_measured() -> None:
    # B12, Meile 2011 (memory, low): the stream follows the slant; the turn of an edge was chosen
    # so that it does
    assert tail("25", "lift coefficient") == pytest.approx(0.345, abs=0.04)


@pytest.mark.parametrize(
    ("face", "measured"),
    [
        pytest.param("the slant", 0.213, marks=miss("0.026 low against 0.01")),
        ("the base", 0.092),
        ("friction", 0.057),
    ],
)
def test_the_drag_at_30_degrees_arises_where_it_was_measured(face: str, measured: float) -> None:
    # B9 (memory)
    assert tail("30", f"drag coefficient of {face}") == pytest.approx(measured, abs=0.01)


@pytest.mark.parametrize(
    ("face", "measured"),
    [
        ("the slant", 0.037),
        pytest.param("the base", 0.122, marks=miss("0.012 high against 0.01")),
        ("friction", 0.055),
    ],
)
def test_the_drag_at_12_degrees_arises_where_it_was_measured(face: str, measured: float) -> None:
    # B10 (memory)
    assert tail("12.5", f"drag coefficient of {face}") == pytest.approx(measured, abs=0.01)


def test_the_slanted_tail_drags_least_near_12_degrees() -> None:
    # B11 (memory, high)
    assert min(AHMED, key=tail) == "12.5"


def test_the_slanted_tail_drags_most_at_30_degrees() -> None:
    # B11
    assert max(AHMED, key=tail) == "30"


def test_the_drag_falls_past_30_degrees() -> None:
    # B11: by about 0.1; half of that is asked
    assert tail("30") - tail("35") >= 0.05


@miss("0.118 low against 0.07")
def test_the_wing_in_free_air_lies_in_its_band() -> None:
    # W1a
    assert wing(3.36, "0.075") == pytest.approx(0.69, abs=0.07)


@pytest.mark.parametrize(
    ("height", "speed"),
    [
        (0.671, "0.075"),
        (0.313, "0.075"),
        pytest.param(0.179, "0.075", marks=miss("0.025 high against 0.02")),
        (0.134, "0.075"),
        pytest.param(0.179, "0.05", marks=miss("0.054 high against 0.02")),
        pytest.param(0.134, "0.05", marks=miss("0.046 high against 0.02")),
    ],
)
def test_the_wing_over_the_road_carries_as_measured(height: float, speed: str) -> None:
    # W1, reading error 0.02
    assert wing(height, speed) == pytest.approx(ZERIHAN[height], abs=0.02)


@miss("1.48 against 1.22 +- 0.06")
def test_the_road_adds_a_fifth_at_two_thirds_of_the_chord() -> None:
    # W1b
    assert wing(0.671, "0.075") / wing(3.36, "0.075") == pytest.approx(1.22, abs=0.06)


@miss("1.93 against 1.57 +- 0.12")
def test_the_road_adds_over_half_at_a_third_of_the_chord() -> None:
    # W1c
    assert wing(0.313, "0.075") / wing(3.36, "0.075") == pytest.approx(1.57, abs=0.12)


def test_downforce_rises_towards_the_road_with_the_measured_slope() -> None:
    # W5, Zerihan 2001: -4.3 between 0.179 and 0.134, 35 %
    slope = (wing(0.179, "0.05") - wing(0.134, "0.05")) / (0.179 - 0.134)
    assert slope == pytest.approx(-4.3, rel=0.35)


@miss("15 % low with three cells of gap under the plates")
def test_downforce_at_its_measured_peak() -> None:
    # W1d: 1.72 +- 0.20
    assert wing(0.082, "0.05") == pytest.approx(1.72, abs=0.20)


@miss("greatest at 0.055, with two cells of gap")
def test_downforce_falls_below_its_peak() -> None:
    # W1e: 2 to 10 % by 0.055
    peak = max(wing(height, "0.05") for height in (0.179, 0.134, 0.082))
    assert 0.90 <= wing(0.055, "0.05") / peak <= 0.98
