"""A new day against the narrowed map: another car is told, the same car is not."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tuftwork.study import Bench
from tuftwork.study.trial import strayed as module
from tuftwork.study.trial.agree import agreement_page
from tuftwork.study.trial.found import trial_findings
from tuftwork.study.trial.shown import tree_of, usual_version

Tree = dict[str, Any]


@pytest.fixture
def other_car(halyard: Bench, monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Let the demo's day show a rear axle that carries so much more [m²]."""

    def shift(size: float) -> None:
        day = halyard.answers.project.days[0]
        tree = dict(tree_of(halyard.answers, day))
        moved = [row | {"rear": np.asarray(row["rear"]) + size}
                 for row in tree["results"][usual_version(tree)]]  # fmt: skip
        tree["results"] = tree["results"] | {usual_version(tree): moved}
        monkeypatch.setattr(module, "tree_of", lambda answers, day: tree)
        monkeypatch.setitem(halyard.answers.worked_out, f"strayed {day.name}", None)
        halyard.answers.worked_out.pop(f"strayed {day.name}")

    return shift


def test_the_demo_day_shows_the_car_of_its_map(halyard: Bench) -> None:
    answers = halyard.answers
    assert answers.is_tied
    assert module.strayed(answers, answers.project.days[0]) == []


@pytest.mark.parametrize(("size", "word"), [(-0.18, "18 points less"), (0.18, "18 points more")])
def test_a_rear_axle_that_lost_a_fifth_is_told_first(
    halyard: Bench, other_car: Callable[[float], None], size: float, word: str
) -> None:
    other_car(size)
    answers = halyard.answers
    day = answers.project.days[0]
    found = module.strayed(answers, day)
    assert {s.axle for s in found} == {"rear"}
    worst = max(found, key=lambda s: abs(s.miss))
    assert worst.miss == pytest.approx(size, abs=0.05)
    finding = next(f for f in trial_findings(answers) if "another car" in f.title)
    assert finding.worth == 1.0
    assert "at the rear axle" in finding.title
    assert word.split()[2] in finding.title
    notices = agreement_page(answers)["notices"]
    assert notices[0].startswith("The car is not the map's any more: CzSr")


def test_a_shift_within_both_ranges_is_no_other_car(
    halyard: Bench, other_car: Callable[[float], None]
) -> None:
    other_car(-0.01)
    assert module.strayed(halyard.answers, halyard.answers.project.days[0]) == []
