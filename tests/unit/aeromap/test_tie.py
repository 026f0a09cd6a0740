"""What tying to measured rows promises; the linear case is checked against its exact answer."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pytest
from tests.unit.aeromap import halyard

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import Field, PartLoad, PlatformState
from tuftwork.aeromap.part import draws_of, part_models, project_inputs
from tuftwork.aeromap.temper import Sampler, tempered
from tuftwork.aeromap.tie import KnownBefore, Sighting, TieSettings, sightings_of, tie
from tuftwork.car import Measured
from tuftwork.errors import InputError, NotConverged
from tuftwork.quantity import Quantity, Source, draw_ensemble, summarise

QUICK = TieSettings(pool=1024, moves=5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A made-up part whose load is a straight line in its inputs: the answer is known exactly."""

    name: str = "line"
    kind: str = "lump"
    sources: tuple[Source, ...] = ()

    @property
    def inputs(self) -> Mapping[str, Quantity]:
        return {
            name: Quantity(best=1.0, low=0.6, high=1.4, unit="", dimension="ratio")
            for name in ("line.a", "line.b", "line.idle")
        }

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        slope = platform.speed / 50.0
        front = draws["line.a"] + slope * draws["line.b"]
        rear = draws["line.a"] - draws["line.b"] + 0.0 * slope
        zero = 0.0 * front
        return PartLoad(downforce_front=front, downforce_rear=rear + zero, drag=1.0 + zero)


def _row(number: int, speed: float, front: float, rear: float, arm: float) -> Measured:
    return Measured.model_validate(
        {
            "id": f"M{number}", "speed": f"{speed} m/s", "ride_height_front": "50 mm",
            "ride_height_rear": "60 mm", "downforce_front": f"{front} m^2 ± {arm} m^2",
            "downforce_rear": f"{rear} m^2 ± {arm} m^2",
        }
    )  # fmt: skip


@pytest.mark.parametrize(
    ("before", "spread"),
    [([0.0, 0.0], [[1.0, 0.0], [0.0, 1.0]]), ([0.8, -0.4], [[0.5, -0.2], [-0.2, 0.6]])],
    ids=["nothing known", "known from a sweep"],
)
def test_linear_gaussian_case_has_its_exact_posterior(
    before: list[float], spread: list[list[float]]
) -> None:
    # exact: posterior precision = prior precision + JᵀS⁻¹J, computed here by hand
    model = Line()
    rows = [_row(1, 40.0, 2.10, 0.10, 0.05), _row(2, 60.0, 2.45, 0.12, 0.05)]
    models = (model,)
    sightings = [
        Sighting(measured=row, models=models, density=1.2, viscosity=1.8e-5) for row in rows
    ]
    ensemble = draw_ensemble(model.inputs)
    prior = np.linalg.inv(spread)
    known = KnownBefore(
        names=("line.a", "line.b"), mean=np.array(before), covariance=np.array(spread)
    )
    found = tie(sightings, ensemble, TieSettings(pool=8192, moves=15), known=known)
    z80 = 1.2815515655446004
    sigma = 0.4 / z80
    jacobian = sigma * np.array([[1, 0.8], [1, -1], [1, 1.2], [1, -1]])
    offset = np.array([1.8, 0.0, 2.2, 0.0])
    value = np.array([2.10, 0.10, 2.45, 0.12])
    total = np.full(4, (2.2 + 2.57) / 2)
    kind = np.array([0, 1, 0, 1])
    structural = 0.02 * total
    covariance = np.outer(structural, structural) * np.where(
        kind[:, None] == kind, 0.5, 0.0
    ) + np.diag(0.5 * structural**2 + (0.05 / z80) ** 2)
    precision = prior + jacobian.T @ np.linalg.solve(covariance, jacobian)
    pull = prior @ before + jacobian.T @ np.linalg.solve(covariance, value - offset)
    mean = np.linalg.solve(precision, pull)
    deviation = np.sqrt(np.diag(np.linalg.inv(precision)))
    table = {i.name: i for i in found.inputs}
    for name, centre, width in zip(("line.a", "line.b"), mean, deviation, strict=True):
        seen = table[name].posterior
        # 8192 draws resampled and moved: a few per cent of a standard deviation
        assert seen.best == pytest.approx(1 + sigma * centre, abs=0.08 * sigma * width)
        half = (seen.high - seen.low) / 2 / z80
        assert half == pytest.approx(sigma * width, rel=0.06)
    assert table["line.idle"].narrowed == pytest.approx(1.0, abs=0.06)


def test_sampler_finds_both_ends_of_a_two_humped_posterior() -> None:
    # |x| = 2 ± 0.1: by symmetry half of the draws belong to each side
    sampler = Sampler(whitened=lambda z: (np.abs(z[:, :1].T) - 2.0) / 0.1, moves=10)
    prior = np.random.default_rng(3).standard_normal((4096, 3))
    draws, _ = tempered(sampler, prior, seed=5)
    assert np.mean(draws[:, 0] > 0) == pytest.approx(0.5, abs=0.05)
    assert np.std(np.abs(draws[:, 0])) == pytest.approx(0.1, rel=0.1)
    np.testing.assert_allclose(np.std(draws[:, 1:], axis=0), 1.0, atol=0.06)


def test_sampler_says_when_nothing_moves() -> None:
    # a likelihood like a needle, met by one draw only: every step away from it is refused
    def needle(z: np.ndarray) -> np.ndarray:
        return np.where(np.abs(z[:, :1].T - 0.3) < 1e-9, 0.0, 1e4)

    prior = np.random.default_rng(2).standard_normal((64, 2))
    prior[7, 0] = 0.3
    with pytest.raises(NotConverged, match="steps were taken"):
        tempered(Sampler(whitened=needle, moves=3), prior, seed=1)


def test_tying_meets_the_measured_rows() -> None:
    found = halyard.tied()
    assert found.notices == ()
    assert all(abs(row.miss) < 1.5 for row in found.rows)
    for row in found.rows:
        assert row.posterior.low < row.measured.best < row.posterior.high
        assert row.posterior.high - row.posterior.low < 0.6 * (row.prior.high - row.prior.low)


def test_tying_tells_the_story_of_the_demo() -> None:
    models = part_models(halyard.project())
    draws = draws_of(models, halyard.tied().ensemble)
    share, total = {}, {}
    for speed, hf, hr, *_ in halyard.TRUTH:
        whole = car_loads(models, halyard.platform(hf, hr, speed), draws)
        total[speed], share[speed] = summarise(whole.downforce), summarise(whole.front_share)
    # reading: 3 % on each axle; the tied best values lie within it
    assert total[140].best == pytest.approx(1.63, rel=0.03)
    assert total[220].best == pytest.approx(1.44, rel=0.03)
    assert total[240].best == pytest.approx(1.39, rel=0.03)
    assert share[140].best == pytest.approx(0.393, abs=0.012)
    assert share[220].best == pytest.approx(0.469, abs=0.012)
    assert total[140].low > total[220].high


def test_more_wing_adds_thirteen_points_at_fixed_ride_heights() -> None:
    here = halyard.platform(44.9, 57.0, 220.0)
    base = part_models(halyard.project())
    more = part_models(halyard.project(), "more wing")
    ensemble = halyard.tied().ensemble
    before = car_loads(base, here, draws_of(base, ensemble))
    after = car_loads(more, here, draws_of(more, ensemble))
    gained = summarise(after.downforce - before.downforce)
    assert gained.best == pytest.approx(0.13, abs=0.02)
    assert summarise(after.drag - before.drag).low > 0
    # the gain is known far better than either load
    alone = summarise(before.downforce)
    assert gained.high - gained.low < 0.6 * (alone.high - alone.low)


def test_raising_the_rear_brings_the_floor_back() -> None:
    models = part_models(halyard.project())
    draws = draws_of(models, halyard.tied().ensemble)
    low = car_loads(models, halyard.platform(44.9, 57.0, 220.0), draws)
    high = car_loads(models, halyard.platform(44.9, 68.0, 220.0), draws)
    gained = summarise(high.downforce - low.downforce)
    # invented truth at these heights, wing 8°: 1.76 − 1.44
    assert gained.low > 0.15
    assert gained.high > 0.30


def test_tying_moves_the_cliff_and_keeps_the_sign_of_every_input() -> None:
    found = halyard.tied()
    table = {i.name: i for i in found.inputs}
    cliff = table["floor.model.peak_height"]
    assert cliff.narrowed < 0.2
    assert cliff.posterior.best < 0.9 * cliff.prior.best
    draws = draws_of(part_models(halyard.project()), found.ensemble)
    for name in ("floor.model.peak_height", "floor.model.fall_width", "splitter.model.suction"):
        assert np.all(draws[name] > 0)


def test_the_cliff_goes_where_the_rows_put_it() -> None:
    rows = [
        row.with_values(
            {"ride_height_rear": f"{1e3 * row.ride_height_rear.best + 9:.1f} mm ± 0.4 mm"}
        )
        for row in halyard.measured()
    ]
    moved = tie(halyard.sightings_of_rows(rows), halyard.prior(), QUICK)
    there = {i.name: i for i in moved.inputs}
    here = {i.name: i for i in halyard.tied().inputs}
    key = "floor.model.peak_height"
    ratio = there[key].posterior.best / here[key].posterior.best
    assert ratio == pytest.approx((57.8 + 9) / 57.8, rel=0.04)


def test_what_the_rows_say_nothing_about_keeps_its_range() -> None:
    table = {i.name: i for i in halyard.tied().inputs}
    for name in (
        "cooling.exits.wheel openings.discharge",
        "rear wing.model.stall_fall",
        "floor.front_station",
    ):
        assert table[name].narrowed == pytest.approx(1.0, abs=0.12)


def test_many_rows_never_make_it_surer_than_the_engines_deserve() -> None:
    once = halyard.sightings()
    again = [
        Sighting(
            measured=s.measured.with_values({"id": f"{s.measured.id}-{n}"}), models=s.models,
            density=s.density, viscosity=s.viscosity,
        )
        for s in once for n in range(3)
    ]  # fmt: skip
    found = tie(again, halyard.prior(), QUICK)
    total = 1.44
    for row in found.rows:
        if row.id == "M4-0" and row.quantity in ("front", "rear"):
            half = (row.posterior.high - row.posterior.low) / 2 / 1.2816
            # the part of the discrepancy that all rows share cannot be averaged away
            assert half > 0.8 * 0.02 * np.sqrt(0.5) * total


def test_rows_the_models_cannot_meet_are_named() -> None:
    rows = [
        row.with_values({"downforce_front": "1.10 m^2 ± 0.01 m^2"})
        if row.id == "M3" else row
        for row in halyard.measured()
    ]  # fmt: skip
    notices = tie(halyard.sightings_of_rows(rows), halyard.prior(), QUICK).notices
    assert any(n.startswith("M3, front") for n in notices)


def test_tied_ensemble_has_the_same_inputs_and_columns() -> None:
    found, prior = halyard.tied().ensemble, halyard.prior()
    assert found.columns == prior.columns
    assert found.size == prior.size
    assert set(found.quantities) == set(prior.quantities)


def test_inputs_of_no_model_are_left_alone() -> None:
    more = Quantity(best=70e3, low=68e3, high=72e3, unit="N/m", dimension="stiffness")
    prior = draw_ensemble(project_inputs(halyard.project()) | {"car.front.wheel_rate": more})
    found = tie(halyard.sightings(), prior, TieSettings(pool=256, moves=2)).ensemble
    column = prior.columns["car.front.wheel_rate"]
    np.testing.assert_array_equal(found.deviates[:, column], prior.deviates[:, column])


def test_tying_is_the_same_twice() -> None:
    settings = TieSettings(pool=256, moves=2)
    one = tie(halyard.sightings(), halyard.prior(), settings)
    two = tie(halyard.sightings(), halyard.prior(), settings)
    np.testing.assert_array_equal(one.ensemble.deviates, two.ensemble.deviates)


def test_rows_of_a_project_find_the_models_of_their_state() -> None:
    base = halyard.project()
    rows = [
        halyard.measured()[0],
        halyard.measured()[1].with_values({"state": "more wing"}),
    ]
    project = base.model_copy(update={"measured": tuple(rows)})
    found = sightings_of(project, 1.18, 1.83e-5)
    angle = [
        next(m for m in s.models if m.name == "rear wing").inputs["rear wing.incidence"].best
        for s in found
    ]
    np.testing.assert_allclose(np.degrees(angle), [8.0, 12.0])
    tied = tie(found, halyard.prior(), TieSettings(pool=256, moves=2))
    assert [r.id for r in tied.rows] == ["M1"] * 3 + ["M2"] * 3


def test_no_rows_and_no_discrepancy_are_refused() -> None:
    with pytest.raises(InputError, match="measured rows"):
        tie([], halyard.prior())
    with pytest.raises(InputError, match="discrepancy"):
        tie(halyard.sightings(), halyard.prior(), TieSettings(discrepancy=0.0))
