"""Tyres of the lap: grip as given, or from the points of a tyre test."""

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from tuftwork.car import Project, Tyres
from tuftwork.errors import InputError
from tuftwork.quantity import draw_ensemble
from tuftwork.study.job import Job
from tuftwork.study.lap import drawn_car
from tuftwork.study.lap_car import LapCar, lap_car, lap_labels, lap_quantities

# peaks of Bakker, Nyborg and Pacejka 1987, as the published check of the fit has them
TABLE = Path(__file__).parents[2] / "published" / "data" / "bakker1987_peaks.csv"
LOADS, PEAKS = np.loadtxt(TABLE, delimiter=",", skiprows=5, usecols=(0, 1), unpack=True)


def rig(spread: str = "") -> list[dict[str, str]]:
    return [
        {"load": f"{load} kN", "force": f"{force} N{spread}"}
        for load, force in zip(LOADS, PEAKS, strict=True)
    ]


def project(front: dict[str, Any]) -> Project:
    text = files("tuftwork.demo").joinpath("halyard.toml").read_text(encoding="utf-8")
    told = tomllib.loads(text)
    told["lap"] |= {"front": front, "track_grip": "1.00"}
    return Project.model_validate(told)


def car_of(own: Project) -> LapCar:
    quantities = dict(Job.of(own).quantities)
    ensemble = draw_ensemble(quantities, size=64)
    return lap_car(own, "as raced", quantities, ensemble, np.array(1.18))


def test_grip_follows_the_points_of_a_tyre_test_scaled_to_the_road() -> None:
    front = {"rig": rig(), "rig_to_track": "0.80", "wheel_load": "4000 N"}
    tyre = car_of(project(front)).vehicle.tyre_front
    # the published line: 0.9226 at 4 kN (seen peaks), of which the road keeps four fifths
    assert tyre.grip == pytest.approx(0.8 * 0.9226, abs=1e-4)
    again = tyre.grip / 0.8 * (1 - tyre.load_loss * (1e3 * LOADS - 4000)) * 1e3 * LOADS
    np.testing.assert_allclose(again, PEAKS, atol=0.1)


def test_the_ranges_of_the_points_reach_the_laps_draws() -> None:
    given = {"rig": rig(" ± 3 %"), "wheel_load": "3000 N"}
    own = project(given)
    names = set(lap_quantities(own))
    assert {"lap.front.rig.0.force", "lap.front.rig_to_track"} <= names
    assert "lap.front.grip_loss" not in names
    assert "lap.rear.rig_to_track" not in names
    assert "point 1 of the rig" in lap_labels(own)["lap.front.rig.0.force"]
    shifts = car_of(own).draws.shifts
    wide = float(np.std(shifts["grip_front"]))
    # 0.75 ± 0.10, four times out of five, and the points' own scatter
    assert 0.06 < wide < 0.13
    assert float(np.std(shifts["load_loss_front"])) > 0


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "either 'grip' or 'rig'"),
        ({"grip": "1.4", "rig": rig()}, "either 'grip' or 'rig'"),
        ({"rig": rig(), "grip_loss": "3 %"}, "changes nothing beside 'rig'"),
        ({"grip": "1.4", "rig_to_track": "0.8"}, "changes nothing without 'rig'"),
        ({"rig": rig()[:1]}, "two or more different loads"),
    ],
)
def test_grip_given_twice_or_not_at_all_is_refused(given: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        Tyres.model_validate(given)


def test_points_whose_grip_rises_with_load_are_refused() -> None:
    rising = [{"load": "2 kN", "force": "2000 N"}, {"load": "4 kN", "force": "6000 N"}]
    with pytest.raises(InputError, match="falls with load"):
        car_of(project({"rig": rising}))


def breathing(aspiration: str, pressure: str) -> LapCar:
    own = project({"grip": "1.43"})
    own = own.model_copy(update={
        "car": own.car.with_values({"aspiration": aspiration}),
        "weather": own.weather.with_values({"pressure": pressure}),
    })  # fmt: skip
    job = Job.of(own)
    return drawn_car(job, "as raced", draw_ensemble(dict(job.quantities), size=32))


@pytest.mark.parametrize("pressure", ["880 hPa", "880 hPa ± 3 hPa"])
def test_an_atmospheric_engine_loses_power_with_the_air_and_a_blown_one_keeps_it(
    pressure: str,
) -> None:
    rated = 355e3
    blown = breathing("turbocharged", pressure).vehicle.power.power.max()
    assert blown == pytest.approx(rated, rel=1e-12)
    thin = breathing("atmospheric", pressure)
    # 24 °C, 45 %: c = 1.18 · 990 / 866.6 · √(297.15 / 298) − 0.18 = 1.166, by hand
    assert thin.vehicle.power.power.max() / rated == pytest.approx(1 / 1.166, abs=2e-3)
    draws = thin.draws.shifts["power_scale"]
    assert float(np.median(draws)) == pytest.approx(0.0, abs=5e-3)


def test_an_engine_is_atmospheric_unless_it_says_otherwise() -> None:
    told = tomllib.loads(files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8"))
    del told["car"]["aspiration"]
    assert Project.model_validate(told).car.aspiration == "atmospheric"
