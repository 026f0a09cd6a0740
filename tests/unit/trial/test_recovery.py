"""Known truth recovered: ranges hold it as often as they say, faults are found, none invented.

A fixed sample of what was run over 200 days (0.82 of the ranges held the truth, every planted
fault was found, no alarm on a clean day).
"""

from dataclasses import dataclass

import numpy as np
import pytest

from trialdays import DRIVER, known_setup, random_day, runs_of, suspects
from tuftwork.demo.day import car
from tuftwork.study.trial.paired_day import paired_tree
from tuftwork.trial.cure import with_cures
from tuftwork.trial.fault import find_faults, in_order
from tuftwork.trial.passes import PassTable, find_passes
from tuftwork.trial.reduction import best_results, reduce_passes
from tuftwork.trial.setup import with_cured_doubt
from tuftwork.trial.synthetic import MadeDay, Planted

N_DAY = 16
KINDS = ("zero in another mass state", "wrong gain", "air-speed error")


def planted_on(seed: int) -> tuple[Planted, set[str]]:
    on = {k for k, hit in zip(KINDS, np.random.default_rng(seed + 1000).random(3) < 0.5,
                              strict=True) if hit}  # fmt: skip
    gains = {"pot rear left": 0.92} if "wrong gain" in on else {}
    gains |= {"air speed": 1.03} if "air-speed error" in on else {}
    zeros = DRIVER if "zero in another mass state" in on else {}
    return Planted(gains=gains, **zeros), on


@pytest.fixture(scope="module")
def days() -> tuple[list[bool], list[bool], list[str]]:
    held, found, invented = [], [], []
    for seed in range(N_DAY):
        planted, on = planted_on(seed)
        day = random_day(planted, seed)
        seen = find_faults(day.log, suspects(day))
        kinds = {h.kind for h in seen if h.is_fault}
        found += [kind in kinds for kind in on]
        invented += sorted(kinds - on)
        cures = [c for h in in_order(seen) if h.is_fault for c in h.cures]
        setup = with_cured_doubt(known_setup(seed), cures, size=256, seed=seed)
        table = find_passes(with_cures(day.log, cures), runs_of(day))
        for row in reduce_passes(table, setup, seed=seed).results:
            key = min((k for k in day.truth if k[0] == row.state),
                      key=lambda k: abs(k[1] - row.speed))  # fmt: skip
            for draws, true in ((row.front, day.truth[key][2]), (row.rear, day.truth[key][3])):
                low, high = np.quantile(draws, (0.1, 0.9))
                held.append(bool(low <= true <= high))
    return held, found, invented


def test_ranges_hold_the_truth_about_as_often_as_they_say(
    days: tuple[list[bool], list[bool], list[str]],
) -> None:
    # results of one day share springs and air, so 16 days leave about ±10 % beside 72 to 88 %
    assert 0.66 <= np.mean(days[0]) <= 0.94


def test_planted_faults_are_found(days: tuple[list[bool], list[bool], list[str]]) -> None:
    assert np.mean(days[1]) >= 0.95


def test_hardly_anything_is_invented(days: tuple[list[bool], list[bool], list[str]]) -> None:
    assert len(days[2]) <= 1


@dataclass(frozen=True)
class Story:
    """What the demo's day must show, for one seed."""

    kinds: set[str]
    rear_as_read: np.ndarray
    share_as_read: np.ndarray
    rear_mended: np.ndarray
    rear_true: np.ndarray
    gains_held: tuple[bool, ...]

    @property
    def is_hidden(self) -> bool:
        """As read the rear falls from the first speed on and the balance hardly moves."""
        return bool(np.all(np.diff(self.rear_as_read) < 0) and np.ptp(self.share_as_read) < 0.08)

    @property
    def is_found(self) -> bool:
        """Mended, the rear is level to 170 km/h and then falls."""
        level, fast = self.rear_mended[1:3], self.rear_mended[5]
        return bool(np.ptp(level) < 0.04 and level[1] - fast > 0.15)

    @property
    def miss_at_220(self) -> float:
        return float(self.rear_mended[5] - self.rear_true[5])


def story(seed: int) -> Story:
    from tuftwork.demo.day import demo_day
    from tuftwork.trial.fault import repaired

    day = demo_day(seed)
    naive = best_results(find_passes(day.log, runs_of(day)), car())
    cured, found = repaired(day.log, suspects(day))
    mended = best_results(find_passes(cured, runs_of(day)), car())
    base = sorted(k for k in naive if k[0] == "as raced")
    true = sorted(v for s, v in day.truth if s == "as raced")
    return Story(
        kinds={h.kind for h in found if h.is_fault},
        rear_as_read=np.array([naive[k][1] for k in base]),
        share_as_read=np.array([naive[k][0] / sum(naive[k]) for k in base]),
        rear_mended=np.array([mended[k][1] for k in sorted(mended) if k[0] == "as raced"]),
        rear_true=np.array([day.truth["as raced", v][3] for v in true]),
        gains_held=gains_held(day, find_passes(cured, runs_of(day))),
    )


def gains_held(day: MadeDay, table: PassTable) -> tuple[bool, ...]:
    """Return at which speeds the 80 % range from every pass holds the wing's true gain."""
    from scipy.stats import t

    found = paired_tree(table, car(), "as raced", runs_of(day))[0]
    factor = float(t.ppf(0.9, found["dof"]))
    held = []
    for speed, size, doubt in found["rows"]:
        near = min((v for s, v in day.truth if s == "as raced"), key=lambda v: abs(v - speed))
        true = sum(day.truth["more wing", near][2:4]) - sum(day.truth["as raced", near][2:4])
        held.append(abs(size - true) <= factor * doubt)
    return tuple(held)


def test_the_demos_chain() -> None:
    from tuftwork.demo.truth import SEED

    told = story(SEED)
    assert told.kinds == set(KINDS)
    assert told.is_hidden
    assert told.is_found
    assert abs(told.miss_at_220) <= 0.008


def test_the_demos_chain_does_not_hang_on_its_seed() -> None:
    told = [story(seed) for seed in range(1, 13)]
    assert all(one.kinds == set(KINDS) and one.is_hidden and one.is_found for one in told)
    # over forty seeds 38 lie within the 0.008 that the story asks for
    assert sum(abs(one.miss_at_220) <= 0.008 for one in told) >= 10
    # gains of the wing, drift taken out: 0.90 over forty seeds; 84 results leave ±0.06 beside that
    assert 0.72 <= np.mean([held for one in told for held in one.gains_held]) <= 0.97
