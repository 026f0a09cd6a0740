"""The Gaussian update against closed forms, and its refusals."""

import numpy as np
import pytest

from tuftwork.claims.belief import (
    Equation,
    Statement,
    Unknown,
    believe,
    misfit,
    predicted,
    update,
)
from tuftwork.errors import NotConverged


def _unknown(name: str, best: float, sd: float, is_log: bool) -> Unknown:
    return Unknown(name=name, label=name, best=best, sd=sd, is_log=is_log, dimension="area",
                   unit="m²")  # fmt: skip


def _says(name: str, observed: float, sd: float, *, relative: bool) -> Statement:
    equation = Equation(predict=lambda at: at(name), uses=(name,), observed=observed, sd=sd,
                        is_relative=relative)  # fmt: skip
    return Statement(id="S", equations=(equation,), is_claim=True)


def test_two_readings_of_one_number_are_weighted_by_their_ranges() -> None:
    prior = believe([_unknown("x", 1.0, 0.3, is_log=False)])
    after = update(prior, [_says("x", 2.0, 0.4, relative=False)])
    weight = 0.3**2 / (0.3**2 + 0.4**2)
    assert after.best("x") == pytest.approx(1.0 + weight)
    assert after.covariance[0, 0] == pytest.approx(0.3**2 * 0.4**2 / (0.3**2 + 0.4**2))


def test_many_linear_equations_agree_with_least_squares() -> None:
    noise = np.random.default_rng(3)
    slopes, observed = noise.normal(size=(12, 4)), noise.normal(size=12)
    sd = noise.uniform(0.1, 1.0, 12)
    names = [f"x{i}" for i in range(4)]
    prior = believe([_unknown(n, 0.5, 2.0, is_log=False) for n in names])

    def equation(row: int) -> Equation:
        return Equation(
            predict=lambda at: sum(s * at(n) for s, n in zip(slopes[row], names, strict=True)),
            uses=tuple(names), observed=float(observed[row]), sd=float(sd[row]),
            is_relative=False,
        )  # fmt: skip

    held = Statement(id="S", equations=tuple(equation(i) for i in range(12)), is_claim=False)
    after = update(prior, [held])
    matrix = np.vstack([slopes / sd[:, None], np.eye(4) / 2.0])
    right = np.concatenate([observed / sd, np.full(4, 0.5) / 2.0])
    expected = np.linalg.lstsq(matrix, right, rcond=None)[0]
    np.testing.assert_allclose(after.mean, expected, rtol=1e-6)
    np.testing.assert_allclose(after.covariance, np.linalg.inv(matrix.T @ matrix), rtol=1e-5)


def test_a_product_of_positive_unknowns_settles_where_both_agree() -> None:
    prior = believe([_unknown("a", 2.0, 0.1, is_log=True), _unknown("b", 3.0, 0.3, is_log=True)])
    equation = Equation(predict=lambda at: at("a") * at("b"), uses=("a", "b"), observed=8.0,
                        sd=0.001)  # fmt: skip
    after = update(prior, [Statement(id="S", equations=(equation,), is_claim=True)])
    assert after.best("a") * after.best("b") == pytest.approx(8.0, rel=1e-3)
    # logarithms move in proportion to their variances
    moved = np.log([after.best("a") / 2.0, after.best("b") / 3.0])
    assert moved[1] / moved[0] == pytest.approx(9.0, rel=0.01)


def test_the_misfit_counts_standard_deviations_of_prior_and_figure_together() -> None:
    prior = believe([_unknown("x", 1.0, 0.3, is_log=False)])
    found = misfit(prior, [_says("x", 2.0, 0.4, relative=False)])
    assert found.squared == pytest.approx(4.0)
    assert found.probability == pytest.approx(0.0455, abs=1e-4)  # two standard deviations
    assert found.density == pytest.approx(-2.0 - np.log(0.5 * np.sqrt(2 * np.pi)))


def test_a_prediction_has_the_range_of_what_it_is_made_of() -> None:
    prior = believe([_unknown("a", 2.0, 0.1, is_log=True), _unknown("b", 3.0, 0.2, is_log=True)])
    best, sd = predicted(prior, lambda at: at("a") / at("b"), ("a", "b"))
    assert best == pytest.approx(2 / 3)
    assert sd == pytest.approx(2 / 3 * np.hypot(0.1, 0.2), rel=1e-6)


def test_a_belief_that_does_not_settle_is_an_error() -> None:
    prior = believe([_unknown("x", 0.1, 50.0, is_log=False)])

    def sawtooth(at: object) -> float:
        x = at("x")  # type: ignore[operator]
        return float(np.sign(x) * abs(x) ** 0.25)

    equation = Equation(predict=sawtooth, uses=("x",), observed=0.0, sd=1e-3, is_relative=False)
    with pytest.raises(NotConverged, match="did not settle"):
        update(prior, [Statement(id="S", equations=(equation,), is_claim=True)])


def test_believing_nothing_changes_nothing() -> None:
    prior = believe([_unknown("x", 1.0, 0.3, is_log=False)])
    assert update(prior, []) is prior
