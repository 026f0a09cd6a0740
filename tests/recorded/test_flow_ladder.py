"""Recorded runs of the lattice flow on a card: the slanted tail, and the wing over the road.

What is recorded is this package's own (data/flow_ladder_card.csv): slanted tail and wing with the
walls as they stand, but that with 3 mm at slants other than 30° the rate at which air gathers was
renewed every step and not by pairs; the wing's rows at more heights with the law alone, before
walls were known to bend, a thin cut tail was taken as a knife edge and the wing had a layer of two
cells. What it is held against is printed, and named beside it.
"""

import csv
from pathlib import Path

import pytest

FINE = "3 mm near 3 levels 32.6 M cells; air made where it gathers; one NVIDIA H200"
NOW = "mm near 3 levels {} M cells; walls as they stand; one NVIDIA H100"
TAIL = {
    4.0: f"4 {NOW.format(14.2)}",
    3.0: f"3 {NOW.format(32.6)}",
    2.5: f"2.5 {NOW.format(54.5)}",
}
"""Grid by cell, mm."""
WING = "chord 89 cells 4 levels; thin parts cut before knife edges; "
AHMED = {"0": 0.250, "12.5": 0.230, "25": 0.285, "30": 0.378, "35": 0.260}
"""Drag coefficient by slant, Ahmed 1984 (memory)."""
ZERIHAN = {3.36: 0.69, 0.671: 0.84, 0.313: 1.085, 0.179: 1.415, 0.134: 1.615, 0.082: 1.72}
"""Downforce coefficient by height over chord, Zerihan 2001 (two transcriptions, 0.02 apart)."""


def rows() -> list[dict[str, str]]:
    path = Path(__file__).parent / "data" / "flow_ladder_card.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def found(case: str, grid: str) -> float | None:
    got = [r for r in rows() if (r["case"], r["grid"]) == (case, grid)]
    assert len(got) < 2
    return float(got[0]["recorded"]) if got else None


def tail(slant: str, cell: float, what: str = "drag coefficient") -> float:
    case = f"slanted tail {slant} deg {what}"
    value = found(case, TAIL[cell])
    if value is None and cell == 3.0:
        value = found(case, FINE)
    assert value is not None
    return value


def placed(slant: str, cell: float, base: float) -> float:
    """Drag with the base so many cells ahead of the cells behind it."""
    if (cell, base) == (4.0, 0.5):
        return tail(slant, cell)
    grid = {6.0: "6 mm near 3 levels 4.4 M cells", 4.0: "4 mm near 3 levels 14.2 M cells"}[cell]
    place = f"base {base} of a cell from the cells behind it"
    value = found(f"slanted tail {slant} deg drag coefficient",
                  f"{grid}; walls as they stand; {place}; one NVIDIA H100")  # fmt: skip
    assert value is not None
    return value


PLACES = (0.83, 0.5, 0.17)
BESIDE = {0.83: "39 % low, let go", 0.17: "15 % low"}
"""Places beside the one of all sizes, and how the slant of 30 degrees misses there."""


def wing(height: float, speed: str) -> float:
    case, grid = f"wing over the road {height} downforce coefficient", f"{WING}{speed} cells a step"
    (found,) = (r for r in rows() if r["case"] == case and r["grid"].startswith(grid))
    return float(found["recorded"])


def wing_now(height: float) -> float:
    """With the walls as they stand and its own layer of two cells, 0.075 cells a step."""
    case, mark = f"wing over the road {height} downforce coefficient", "walls as they stand"
    (found,) = (r for r in rows() if r["case"] == case and mark in r["grid"])
    return float(found["recorded"])


def miss(size: str) -> pytest.MarkDecorator:
    return pytest.mark.xfail(strict=True, reason=f"miss: {size}")


CASES = [
    ("0", 4.0), ("12.5", 4.0), ("25", 4.0), ("30", 4.0), ("35", 4.0),
    ("0", 3.0), ("12.5", 3.0), ("25", 3.0), ("30", 3.0), ("35", 3.0),
    ("25", 2.5), ("30", 2.5),
]  # fmt: skip
Case = tuple[str, float]


def but(cases: list[Case], misses: dict[Case, str]) -> list[object]:
    """The cases, those that miss marked with the size of it."""
    return [pytest.param(*c, marks=miss(misses[c])) if c in misses else c for c in cases]


@pytest.mark.parametrize(
    ("slant", "cell"),
    but(
        CASES,
        {
            ("30", 4.0): "22 % low against 10 %",
            ("30", 3.0): "11 % low against 10 %",
            ("30", 2.5): "22 % low against 10 %",
        },
    ),
)
def test_the_slanted_tail_drags_as_measured(slant: str, cell: float) -> None:
    # B4 to B7, budget of the ladder 10 %
    assert tail(slant, cell) == pytest.approx(AHMED[slant], rel=0.10)


@pytest.mark.parametrize(
    ("slant", "cell"),
    but(
        CASES,
        {
            ("30", 4.0): "22 % low against 5 %",
            ("0", 3.0): "8 % high",
            ("25", 3.0): "9 % high",
            ("30", 3.0): "11 % low",
            ("25", 2.5): "8 % low",
            ("30", 2.5): "22 % low",
        },
    ),
)
def test_the_slanted_tail_drags_as_measured_within_the_second_budget(
    slant: str, cell: float
) -> None:
    # B4 to B7, second budget of the ladder 5 %
    assert tail(slant, cell) == pytest.approx(AHMED[slant], rel=0.05)


BANDS = {
    "0": (0.238, 0.262), "12.5": (0.218, 0.242), "25": (0.27, 0.31), "30": (0.363, 0.393),
    "35": (0.25, 0.29),
}  # fmt: skip


@pytest.mark.parametrize(
    ("slant", "cell"),
    but(
        CASES,
        {
            ("30", 4.0): "0.070 below the band",
            ("0", 3.0): "0.007 above the band",
            ("25", 3.0): "0.001 above the band",
            ("30", 3.0): "0.028 below the band",
            ("25", 2.5): "0.009 below the band",
            ("30", 2.5): "0.069 below the band",
        },
    ),
)
def test_the_drag_of_the_slanted_tail_lies_in_the_band_of_its_tests(
    slant: str, cell: float
) -> None:
    # B4 to B7 (memory): bands of the tests of 1984, 2003 and 2011, or their reading error
    low, high = BANDS[slant]
    assert low <= tail(slant, cell) <= high


@pytest.mark.parametrize(
    "cell", [4.0, pytest.param(3.0, marks=miss("0.002 beyond the budget, high")), 2.5]
)
def test_the_slanted_tail_lifts_at_25_degrees_as_measured(cell: float) -> None:
    # B12, Meile 2011 (memory, low): the stream follows the slant; the turn of an edge was chosen
    # so that it does
    assert tail("25", cell, "lift coefficient") == pytest.approx(0.345, abs=0.04)


@pytest.mark.parametrize(
    ("face", "cell"),
    [
        pytest.param("the slant", 4.0, marks=miss("0.039 low against 0.01")),
        pytest.param("the slant", 3.0, marks=miss("0.026 low")),
        pytest.param("the slant", 2.5, marks=miss("0.023 low")),
        pytest.param("the base", 4.0, marks=miss("0.025 low")),
        ("the base", 3.0),
        pytest.param("the base", 2.5, marks=miss("0.039 low")),
        ("friction", 4.0),
        ("friction", 3.0),
        ("friction", 2.5),
    ],
)
def test_the_drag_at_30_degrees_arises_where_it_was_measured(face: str, cell: float) -> None:
    # B9 (memory)
    measured = {"the slant": 0.213, "the base": 0.092, "friction": 0.057}[face]
    assert tail("30", cell, f"drag coefficient of {face}") == pytest.approx(measured, abs=0.01)


@pytest.mark.parametrize(
    ("face", "cell"),
    [
        ("the slant", 4.0),
        ("the slant", 3.0),
        pytest.param("the base", 4.0, marks=miss("0.015 high against 0.01")),
        pytest.param("the base", 3.0, marks=miss("0.012 high")),
        ("friction", 4.0),
        ("friction", 3.0),
    ],
)
def test_the_drag_at_12_degrees_arises_where_it_was_measured(face: str, cell: float) -> None:
    # B10 (memory)
    measured = {"the slant": 0.037, "the base": 0.122, "friction": 0.055}[face]
    assert tail("12.5", cell, f"drag coefficient of {face}") == pytest.approx(measured, abs=0.01)


@pytest.mark.parametrize("cell", [4.0, 3.0])
def test_the_slanted_tail_drags_least_near_12_degrees(cell: float) -> None:
    # B11 (memory, high)
    assert min(AHMED, key=lambda slant: tail(slant, cell)) == "12.5"


@pytest.mark.parametrize("cell", [4.0, 3.0])
def test_the_slanted_tail_drags_most_at_30_degrees(cell: float) -> None:
    # B11
    assert max(AHMED, key=lambda slant: tail(slant, cell)) == "30"


@pytest.mark.parametrize("cell", [pytest.param(4.0, marks=miss("by 0.033 against 0.05")), 3.0])
def test_the_drag_falls_past_30_degrees(cell: float) -> None:
    # B11: by about 0.1; half of that is asked
    assert tail("30", cell) - tail("35", cell) >= 0.05


@pytest.mark.parametrize(
    ("slant", "cell", "places"),
    [
        pytest.param("0", 6.0, (0.83, 0.63, 0.43, 0.23, 0.03), marks=miss("22 % apart")),
        pytest.param("30", 6.0, (0.83, 0.63, 0.43, 0.23, 0.03), marks=miss("23 % apart")),
        pytest.param("0", 4.0, PLACES, marks=miss("10 % apart")),
        pytest.param("12.5", 4.0, PLACES, marks=miss("10 % apart")),
        pytest.param("25", 4.0, PLACES, marks=miss("6 % apart")),
        pytest.param("30", 4.0, PLACES, marks=miss("31 %: at 0.83 the slant is let go")),
        ("35", 4.0, PLACES),
    ],
)
def test_drag_does_not_hang_on_where_the_base_lies_in_its_cell(
    slant: str, cell: float, places: tuple[float, ...]
) -> None:
    # exact: the same body in the same air; half of the ladder's budget of 10 % is allowed
    drag = [placed(slant, cell, place) for place in places]
    assert max(drag) - min(drag) <= 0.05 * sum(drag) / len(drag)


@pytest.mark.parametrize(
    ("slant", "place"),
    [
        pytest.param(slant, place, marks=miss(BESIDE[place]) if slant == "30" else ())
        for slant in AHMED
        for place in BESIDE
    ],
)
def test_the_slanted_tail_drags_as_measured_wherever_it_lies(slant: str, place: float) -> None:
    # B4 to B7, budget of the ladder 10 %
    assert placed(slant, 4.0, place) == pytest.approx(AHMED[slant], rel=0.10)


@pytest.mark.parametrize(
    "slant", ["0", "12.5", "25", pytest.param("30", marks=miss("25 % low")), "35"]
)
def test_the_mean_over_the_places_is_as_measured(slant: str) -> None:
    # B4 to B7, the ladder's second budget of 5 %
    mean = sum(placed(slant, 4.0, place) for place in PLACES) / len(PLACES)
    assert mean == pytest.approx(AHMED[slant], rel=0.05)


@miss("0.110 low against 0.07")
def test_the_wing_in_free_air_lies_in_its_band_with_the_walls_of_now() -> None:
    # W1a
    assert wing_now(3.36) == pytest.approx(0.69, abs=0.07)


@pytest.mark.parametrize(
    "height",
    [
        pytest.param(0.313, marks=miss("0.058 low against 0.02")),
        pytest.param(0.179, marks=miss("0.098 low")),
        pytest.param(0.134, marks=miss("0.157 low")),
    ],
)
def test_the_wing_over_the_road_carries_as_measured_with_the_walls_of_now(height: float) -> None:
    # W1, reading error 0.02
    assert wing_now(height) == pytest.approx(ZERIHAN[height], abs=0.02)


@miss("1.77 against 1.57 +- 0.12")
def test_the_road_adds_over_half_at_a_third_of_the_chord_with_the_walls_of_now() -> None:
    # W1c
    assert wing_now(0.313) / wing_now(3.36) == pytest.approx(1.57, abs=0.12)


def test_downforce_rises_towards_the_road_with_the_slope_measured_with_the_walls_of_now() -> None:
    # W5, Zerihan 2001: -4.3 between 0.179 and 0.134, 35 %
    slope = (wing_now(0.179) - wing_now(0.134)) / (0.179 - 0.134)
    assert slope == pytest.approx(-4.3, rel=0.35)


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
