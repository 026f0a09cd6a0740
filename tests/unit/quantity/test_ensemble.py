"""What draws promise: the stated range comes back, differences cancel, the culprit is named."""

import numpy as np
import pytest

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import (
    Quantity,
    draw_ensemble,
    halved_width,
    influences,
    parse_quantity,
    summarise,
    values_at,
)


def inputs() -> dict[str, Quantity]:
    return {
        "span": parse_quantity("1.70 m ± 20 mm", "length"),
        "area": parse_quantity("0.06 m^2 ×/ 1.5", "area"),
        "skew": parse_quantity("1.0 m +0.3 -0.1 m", "length"),
        "fixed": parse_quantity("2 m", "length"),
    }


@pytest.mark.parametrize("name", ["span", "area", "skew", "fixed"])
def test_the_stated_range_comes_back(name: str) -> None:
    ensemble = draw_ensemble(inputs(), size=1024)
    stated, found = inputs()[name], summarise(ensemble.of(name))
    arm = max(stated.high - stated.low, 1e-12)
    assert found.best == pytest.approx(stated.best, abs=0.01 * arm)
    assert found.low == pytest.approx(stated.low, abs=0.02 * arm)
    assert found.high == pytest.approx(stated.high, abs=0.02 * arm)


def test_the_same_seed_gives_the_same_draws_and_another_seed_others() -> None:
    first, again = draw_ensemble(inputs()), draw_ensemble(inputs())
    np.testing.assert_array_equal(first.deviates, again.deviates)
    other = draw_ensemble(inputs(), seed=1)
    assert not np.allclose(first.deviates, other.deviates)


def test_what_two_cases_share_cancels_in_their_difference() -> None:
    ensemble = draw_ensemble(inputs())
    base, more = 10 * ensemble.of("span"), 10 * ensemble.of("span") + 0.5
    assert summarise(more - base).high - summarise(more - base).low == pytest.approx(0, abs=1e-12)


def test_correlated_inputs_move_together() -> None:
    ensemble = draw_ensemble(inputs(), size=1024, correlations={("span", "skew"): 0.8})
    found = np.corrcoef(ensemble.deviates[:, 0], ensemble.deviates[:, 2])[0, 1]
    assert found == pytest.approx(0.8, abs=0.03)


def test_correlations_that_contradict_each_other_are_refused() -> None:
    wild = {("span", "area"): 0.95, ("area", "skew"): 0.95, ("span", "skew"): -0.95}
    with pytest.raises(InputError, match="contradict each other"):
        draw_ensemble(inputs(), correlations=wild)
    with pytest.raises(UnknownName, match="span"):
        draw_ensemble(inputs(), correlations={("spam", "area"): 0.5})


def test_shares_are_those_of_a_linear_model() -> None:
    # y = 3 a + 1 b with equal ranges: variance shares 0.9 and 0.1, exact for a linear model
    pair = {"a": parse_quantity("0 ± 1", "ratio"), "b": parse_quantity("0 ± 1", "ratio")}
    ensemble = draw_ensemble(pair, size=2048)
    found = influences(ensemble, 3 * ensemble.of("a") + ensemble.of("b"))
    assert [i.name for i in found] == ["a", "b"]
    assert found[0].share == pytest.approx(0.9, abs=0.03)
    assert found[1].share == pytest.approx(0.1, abs=0.03)
    # halving a: variance 0.9/4 + 0.1, so the range shrinks to √0.325
    assert found[0].halved == pytest.approx(np.sqrt(0.325), abs=0.04)


def test_an_input_that_does_nothing_is_not_blamed() -> None:
    ensemble = draw_ensemble(inputs(), size=256)
    names = [i.name for i in influences(ensemble, 2 * ensemble.of("span"))]
    assert names == ["span"]
    assert influences(ensemble, np.full(256, 3.0)) == ()
    assert halved_width(ensemble, "area", ensemble.of("span")) == pytest.approx(1, abs=0.12)


def test_shares_match_a_general_library() -> None:
    # Saltelli's g-like additive test: squared standardised rank regression against SciPy's
    # first-order Sobol' indices of the same function (scipy.stats.sobol_indices)
    from scipy.stats import norm, sobol_indices

    three = {k: parse_quantity("0 ± 1", "ratio") for k in "abc"}
    ensemble = draw_ensemble(three, size=4096)
    weights = np.array([1.0, 2.0, 4.0])
    z80 = 1.2815515655446004
    result = sum(w * ensemble.of(k) for w, k in zip(weights, "abc", strict=True))
    reference = sobol_indices(
        func=lambda x: weights @ x / z80,
        n=4096,
        dists=[norm()] * 3,
        rng=np.random.default_rng(5),
    ).first_order
    found = {i.name: i.share for i in influences(ensemble, result)}
    for name, expected in zip("abc", reference, strict=True):
        assert found.get(name, 0.0) == pytest.approx(expected, abs=0.03)


def test_draws_that_are_not_numbers_are_refused() -> None:
    with pytest.raises(InputError, match="are not numbers"):
        summarise(np.array([1.0, np.nan]))
    with pytest.raises(InputError, match="at least 2"):
        draw_ensemble(inputs(), size=1)


def test_values_follow_the_quantity_at_any_deviate() -> None:
    for quantity in inputs().values():
        for z in (-2.0, -0.3, 0.0, 0.7, 2.0):
            assert float(values_at(quantity, np.array([z]))[0]) == pytest.approx(quantity.at(z))


def test_inputs_put_beside_move_nothing_that_was_there() -> None:
    main = draw_ensemble(
        {"a": parse_quantity("1 m ± 0.1 m", "length"), "b": parse_quantity("2 m", "length")},
        size=64,
    )
    own = {"c": parse_quantity("3 m ± 0.2 m", "length")}
    more = main.beside(own, seed=5)
    np.testing.assert_array_equal(more.of("a"), main.of("a"))
    np.testing.assert_array_equal(more.of("b"), main.of("b"))
    np.testing.assert_array_equal(more.of("c"), draw_ensemble(own, size=64, seed=5).of("c"))
