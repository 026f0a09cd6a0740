"""What people write, and what it must become."""

import math

import pytest

from tuftwork.errors import InputError
from tuftwork.quantity import (
    DIMENSIONS,
    Quantity,
    column_digits,
    format_quantity,
    from_si,
    parse_quantity,
    to_si,
    with_default_range,
)

DEGREE = math.pi / 180

# text, dimension, best, low, high in SI, spread
WRITTEN = [
    ("1.70 m ± 5 mm", "length", 1.70, 1.695, 1.705, "normal"),
    ("1.70 m +- 5 mm", "length", 1.70, 1.695, 1.705, "normal"),
    ("1.70 m +/- 0.005 m", "length", 1.70, 1.695, 1.705, "normal"),
    ("1.7 ± 0.1 m", "length", 1.7, 1.6, 1.8, "normal"),
    ("0.05..0.07 m^2", "area", 0.06, 0.05, 0.07, "normal"),
    ("0.05..0.09 m²", "area", math.sqrt(0.05 * 0.09), 0.05, 0.09, "log"),
    ("-0.2..-0.1", "ratio", -0.15, -0.2, -0.1, "normal"),
    ("60 mm", "height", 0.06, 0.06, 0.06, "exact"),
    ("160 mph", "speed", 71.5264, 71.5264, 71.5264, "exact"),
    ("1 kgf", "force", 9.80665, 9.80665, 9.80665, "exact"),
    ("38 °C", "temperature", 311.15, 311.15, 311.15, "exact"),
    ("38 °C ± 2 K", "temperature", 311.15, 309.15, 313.15, "normal"),
    ("1.70 m +8 -2 mm", "length", 1.70, 1.698, 1.708, "normal"),
    ("0.06 m^2 ×/ 1.3", "area", 0.06, 0.06 / 1.3, 0.078, "log"),
    ("0.06 m^2 */ 1.3", "area", 0.06, 0.06 / 1.3, 0.078, "log"),
    ("47.5 % ± 0.5 %", "share", 0.475, 0.470, 0.480, "normal"),
    ("5 ± 3 %", "share", 0.05, 0.02, 0.08, "normal"),
    ("0.97 ± 4 %", "ratio", 0.97, 0.9312, 1.0088, "normal"),
    ("0.97 ± 4 percent", "ratio", 0.97, 0.9312, 1.0088, "normal"),
    ("-0.2 ± 30 %", "ratio", -0.2, -0.26, -0.14, "normal"),
    ("0.97 +2 −4 %", "ratio", 0.97, 0.9312, 0.9894, "normal"),
    ("97 % ± 4 %", "ratio", 0.97, 0.93, 1.01, "normal"),
    ("0 ± 3 %", "ratio", 0.0, -0.03, 0.03, "normal"),
    ("72 N/mm ± 5 %", "stiffness", 72e3, 68.4e3, 75.6e3, "normal"),
    ("8 ± 0.5 °", "angle", 8 * DEGREE, 7.5 * DEGREE, 8.5 * DEGREE, "normal"),
    ("−3.5 °", "angle", -3.5 * DEGREE, -3.5 * DEGREE, -3.5 * DEGREE, "exact"),
    ("445 lbf/in", "stiffness", 77931.442, 77931.442, 77931.442, "exact"),
    ("1.18 kg/m^3", "density", 1.18, 1.18, 1.18, "exact"),
    ("475 hp", "power", 354207.4, 354207.4, 354207.4, "exact"),
]


@pytest.mark.parametrize(("text", "dimension", "best", "low", "high", "spread"), WRITTEN)
def test_reads_what_people_write(
    text: str, dimension: str, best: float, low: float, high: float, spread: str
) -> None:
    read = parse_quantity(text, dimension)
    assert (read.best, read.low, read.high) == pytest.approx((best, low, high), rel=1e-6)
    assert read.spread == spread


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("60", "height", "a height needs a unit. One of: m, mm"),
        ("60 kg", "height", "'kg' is a unit of mass"),
        ("3 furlong", "length", "unknown unit 'furlong'"),
        ("", "length", "not a length. Write it like"),
        ("abc", "height", "not a height"),
        ("nan m", "length", "not a length"),
        ("inf m", "length", "not a length"),
        ("1e400 m", "length", "finite"),
        ("1..0.5 m", "length", "first end of a range must be the smaller"),
        ("1 m ± -5 mm", "length", "must not be negative"),
        ("1 m ×/ 0.5", "length", "needs one above 1"),
        ("38 °C ± 3 %", "temperature", "a temperature has no percentage"),
        ("1 m ± 5 kg", "length", "'kg' is a unit of mass"),
        ("8 ± 5 %", "ratio", "8 % or 8. Write '8 % ± 5 %' for per cent, '8 ± 0.4' for the plain"),
        ("-8 +5 -2 %", "ratio", r"Write '-8 % \+5 -2 %' for per cent, '-8 \+0.4 -0.16' for"),
        (
            "0.97 ± 4 %",
            "share",
            "0.97 % or 0.97. Write '0.97 % ± 4 %' for per cent, '0.97 ± 0.0388'",
        ),
    ],
)
def test_refuses_what_is_not_a_number_of_that_kind(text: str, dimension: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_quantity(text, dimension)


def test_a_positive_number_never_gets_a_range_that_reaches_zero() -> None:
    read = parse_quantity("2 mm ± 3 mm", "height", positive=True)
    assert read.spread == "log"
    assert read.low > 0
    with pytest.raises(InputError, match="above zero"):
        parse_quantity("-2 mm", "height", positive=True)


def test_a_default_range_is_added_only_where_none_was_given() -> None:
    bare = with_default_range(parse_quantity("100 mm", "height"), 0.1)
    assert (bare.low, bare.high) == pytest.approx((0.09, 0.11))
    kept = parse_quantity("100 mm ± 1 mm", "height")
    assert with_default_range(kept, 0.1) == kept


@pytest.mark.parametrize(
    ("dimension", "unit"), [(d.name, u) for d in DIMENSIONS.values() for u in d.units]
)
def test_every_unit_goes_to_si_and_back(dimension: str, unit: str) -> None:
    assert from_si(to_si(12.5, unit, dimension), unit, dimension) == pytest.approx(12.5, rel=1e-12)


# SI values of units by definition (BIPM SI brochure 2019; international yard and pound 1959)
@pytest.mark.parametrize(
    ("unit", "dimension", "si"),
    [
        ("in", "length", 0.0254),
        ("ft", "length", 0.3048),
        ("mph", "speed", 0.44704),
        ("km/h", "speed", 1 / 3.6),
        ("lb", "mass", 0.45359237),
        ("kgf", "force", 9.80665),
        ("lbf", "force", 4.4482216152605),
        ("PS", "power", 735.49875),
        ("hp", "power", 745.69987158227022),
        ("psi", "pressure", 6894.757293168),
        ("lbf/in", "stiffness", 175.12683524647636),
        ("lbf s/in", "damping", 175.12683524647636),
        ("g", "acceleration", 9.80665),
        ("°", "angle", DEGREE),
    ],
)
def test_units_have_their_defined_size(unit: str, dimension: str, si: float) -> None:
    assert to_si(1.0, unit, dimension) == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "dimension", "shown"),
    [
        ("1.70 m ± 5 mm", "length", "1.7000 m (1.6950 to 1.7050)"),
        ("60 mm", "height", "60 mm"),
        ("38 °C ± 2 K", "temperature", "38.0 °C (36.0 to 40.0)"),
        ("8 ± 0.5 °", "angle", "8.00° (7.50 to 8.50)"),
        ("-0.20 ± 0.08", "ratio", "−0.200 (−0.280 to −0.120)"),
    ],
)
def test_numbers_are_written_one_way(text: str, dimension: str, shown: str) -> None:
    assert format_quantity(parse_quantity(text, dimension)).replace("\u202f", " ") == shown


def test_a_quantity_refuses_a_range_that_does_not_hold_it() -> None:
    with pytest.raises(InputError, match="must hold it"):
        Quantity(best=2.0, low=0.0, high=1.0, unit="m", dimension="length")
    with pytest.raises(InputError, match="must not reach zero"):
        Quantity(best=1.0, low=0.0, high=2.0, unit="m", dimension="length", spread="log")


@pytest.mark.parametrize(
    ("half_ranges", "dimension", "unit", "digits"),
    [
        ((0.0975, 0.15, 0.15), "time", None, 2),  # one short row does not give all a third
        ((0.05,), "time", "ms", 0),
        ((0.011, 0.0), "share", None, 1),  # tenths of a per cent at most
        ((0.0, float("nan")), "time", None, None),
    ],
)
def test_a_column_has_the_digits_of_its_middle_range(
    half_ranges: tuple[float, ...], dimension: str, unit: str | None, digits: int | None
) -> None:
    assert column_digits(half_ranges, dimension, unit) == digits
