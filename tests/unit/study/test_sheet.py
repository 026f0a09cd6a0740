"""Exported tables say the pages' numbers, with the ride heights at which they hold."""

import csv
from pathlib import Path

import pytest

from tuftwork.study import Bench
from tuftwork.study.overview import answer_of, ranked


def test_budget_and_path_say_one_whole_car_at_one_ride_height(
    halyard: Bench, tmp_path: Path
) -> None:
    halyard.export(tmp_path)
    with (tmp_path / "path.csv").open() as file:
        path = [r for r in csv.DictReader(file) if r["state"] == "as raced"]
    with (tmp_path / "budget.csv").open() as file:
        lines = [r for r in csv.DictReader(file) if r["state"] == "as raced"]
    along = next(r for r in path if float(r["speed_kmh"]) == 220.0)
    whole = next(r for r in lines if r["kind"] == "total" and float(r["speed_kmh"]) == 220.0)
    for name in ("CzSf", "CzSr", "CzS", "CxS"):
        best = float(along[f"{name}_best_m2"])
        assert float(whole[f"{name}_best_m2"]) == pytest.approx(best, abs=2e-3)
    for name in ("hf", "hr"):
        best = float(along[f"{name}_best_mm"])
        assert float(whole[f"{name}_mm"]) == pytest.approx(best, abs=0.02)
    assert not any("e-1" in value for r in lines for value in r.values())  # nothing is nothing


def test_the_first_sentence_says_kilograms_at_its_speed(halyard: Bench) -> None:
    """½ρV²/g by hand at 220 km/h in the demo's air: 1011 hPa, 24 °C, humid, 1.180 kg/m³."""
    answers = halyard.answers
    total = answers.ride_number(answers.states[0], "total", 220 / 3.6)
    kilograms = 0.5 * 1.180 * (220 / 3.6) ** 2 / 9.80665 * total["best"]
    said = answer_of(answers, ranked(answers))
    shown = float(said.split("kg")[0].rsplit(", ", 1)[1].strip())
    assert shown == pytest.approx(kilograms, rel=0.01)
