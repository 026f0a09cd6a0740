"""Draws stop at physical ends: the middle and the range written stay, no draw passes the end."""

import numpy as np
import pytest

from tuftwork.car.table import number, read_number
from tuftwork.errors import InputError
from tuftwork.quantity import Quantity, draw_ensemble, parse_quantity, summarise

SHARE = number("ratio", positive=True, most=1.0)
HEIGHT = number("height", least=0.0)


def drawn(quantity: Quantity) -> np.ndarray:
    return draw_ensemble({"one": quantity}, size=8192).of("one")


@pytest.mark.parametrize(
    ("text", "limit"),
    [
        ("97 % ± 4 %", SHARE),
        ("0.89 ± 0.015", SHARE),
        ("5 mm ± 5 mm", HEIGHT),
        ("5 mm ± 8 mm", HEIGHT),
        ("0 mm +3 mm -0 mm", HEIGHT),
        ("50 % ± 30 %", number("share", least=0.0, most=1.0)),
    ],
)
def test_no_draw_passes_a_physical_end_and_the_middle_stays(text: str, limit: object) -> None:
    quantity = read_number(text, limit)  # type: ignore[arg-type]
    draws = drawn(quantity)
    assert draws.min() >= quantity.least
    assert draws.max() <= quantity.most
    arm = quantity.high - quantity.low
    assert summarise(draws).best == pytest.approx(quantity.best, abs=0.005 * arm)


def test_a_range_clear_of_the_end_is_drawn_as_it_was_written() -> None:
    quantity = read_number("3 mm ± 2 mm", HEIGHT)
    found = summarise(drawn(quantity))
    assert (quantity.low, quantity.high) == pytest.approx((0.001, 0.005))
    assert (found.low, found.high) == pytest.approx((0.001, 0.005), abs=2e-5)


def test_a_range_written_past_the_end_stops_short_of_it() -> None:
    driveline = read_number("97 % ± 4 %", SHARE)
    assert 0.99 < driveline.high < 1.0
    assert driveline.low == pytest.approx(0.93)
    assert summarise(drawn(driveline)).high == pytest.approx(driveline.high, abs=1e-4)


def test_an_end_that_no_draw_comes_near_changes_nothing() -> None:
    free = parse_quantity("1.70 m ± 5 mm", "length")
    np.testing.assert_array_equal(drawn(free), drawn(free.within(0.0, 12.0)))


def test_draws_keep_their_order_and_the_slope_is_even_where_bending_begins() -> None:
    quantity = parse_quantity("5 mm ± 4 mm", "height").within(0.0, None)
    z = np.linspace(-4.0, 4.0, 4001)
    values = np.array([quantity.at(v) for v in z])
    slope = np.diff(values)
    assert np.all(slope > 0.0)
    assert np.max(np.abs(np.diff(slope))) < 0.02 * slope.max()  # no kink


def test_one_draw_and_all_draws_follow_one_rule() -> None:
    quantity = read_number("97 % ± 4 %", SHARE)
    ensemble = draw_ensemble({"one": quantity}, size=64)
    each = [quantity.at(float(z)) for z in ensemble.deviates[:, 0]]
    np.testing.assert_allclose(ensemble.of("one"), each, rtol=1e-14)


def test_a_best_value_beyond_an_end_is_refused() -> None:
    with pytest.raises(InputError, match="must lie between"):
        parse_quantity("1.1 ± 0.2", "ratio").within(0.0, 1.0)
