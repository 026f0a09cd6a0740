"""A stint from cold, the soak after it, the duty of the lap, brakes that do what the lap does.

Planted in the scenario (invented): 12.1 MJ to the brakes in a lap, 57 % of full load as its mean.
"""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.cooling.case import worst_over_mean
from tuftwork.cooling.heat import Duty
from tuftwork.errors import FileFault, NotCovered
from tuftwork.files import read_project
from tuftwork.study import Bench
from tuftwork.study.brake_case import BrakingCase, stops_of
from tuftwork.study.brake_step import braking_case
from tuftwork.study.lap_history import LapHistory, duty_driven, lap_history


def _history(halyard: Bench, count: int = 801) -> LapHistory:
    found = lap_history(halyard.answers.project, halyard.answers.results, count)
    assert found is not None
    return found


def test_a_lap_s_history_keeps_its_time_way_and_energy(halyard: Bench) -> None:
    lap = _history(halyard)
    result = halyard.answers.results["lap Brackenholt: as raced"]
    step = lap.time[1]
    assert lap.lap_time == pytest.approx(np.sum(result["trace"]["duration"]))
    way = np.sum(np.asarray(result["trace"]["speed"]) * np.asarray(result["trace"]["duration"]))
    assert np.sum(lap.speed[1:]) * step == pytest.approx(way, rel=1e-9)
    assert np.sum(lap.brake[1:]) * step == pytest.approx(result["energy"]["brakes"], rel=1e-9)


def test_the_duty_is_the_lap_s_and_says_so(halyard: Bench) -> None:
    found = duty_driven(halyard.answers.project, halyard.answers.results)
    assert found is not None
    duty, source = found
    assert "Brackenholt" in source
    assert float(duty.lap_mean) == pytest.approx(0.57, abs=0.04)  # as the scenario has it
    assert float(duty.worst_minute) >= float(duty.lap_mean)
    said = halyard.page("cooling")["duty"]
    assert said.startswith("Duty from the lap of Brackenholt")
    assert "57 %" in said


def test_the_worst_minute_of_a_square_lap_is_its_loud_half() -> None:
    time = np.linspace(0.0, 120.0, 121)
    drive = np.where(time <= 60.0, 300e3, 100e3)
    flat = LapHistory(source="", time=time, speed=np.full(121, 40.0), drive=drive,
                      brake=np.zeros(121), spread=np.ones(1))  # fmt: skip
    duty = flat.duty(400e3)
    assert float(duty.worst_minute) == pytest.approx(0.75)
    assert float(duty.lap_mean) == pytest.approx(0.5)
    # rotated, the loud minute runs over the start line; it is the same minute
    rolled = replace(flat, drive=np.r_[0.0, np.roll(drive[1:], 30)])
    assert float(rolled.duty(400e3).worst_minute) == pytest.approx(0.75)


def test_without_a_lap_the_entered_duty_counts(halyard: Bench) -> None:
    project = halyard.answers.project.model_copy(update={"lap": None})
    assert duty_driven(project, halyard.answers.results) is None
    assert project.cooling is not None
    assert worst_over_mean(project.cooling) == pytest.approx(66.0 / 57.0)
    assert worst_over_mean(project.cooling, Duty(lap_mean=0.5, worst_minute=0.6)) == 1.2


def test_a_stint_warms_to_where_the_steady_net_stands_and_soaks_past_it(halyard: Bench) -> None:
    page = halyard.page("cooling")
    (row,) = page["stint"]["rows"]
    best = np.array(row["trace"]["best"])
    assert best[0] == pytest.approx(28.0, abs=0.5)
    steady = next(c for c in page["circuits"] if c["name"] == "water")["hottest"]["best"]
    # a lap swings about its mean; the last lap's mean is the steady answer's neighbour
    assert np.mean(best[-int(len(best) / 10) :]) == pytest.approx(steady, abs=6.0)
    assert row["peak"]["best"] > steady
    assert 0 < row["over_after_min"] < 10
    soak = np.array(row["soak"]["best"])
    peak = int(np.argmax(soak))
    assert 0 < peak < len(soak) - 1  # up from the metal, then down
    assert row["rest"]["best"] == pytest.approx(soak.max(), abs=1.5)
    # water under 2.11 bar boils at 122 °C (steam tables, IAPWS-IF97)
    assert page["stint"]["boils_c"] == pytest.approx(121.9, abs=0.3)
    assert halyard.why("cooling/stint/water/peak")["dominates"]


def test_the_command_shows_the_stint(halyard: Bench) -> None:
    shown = CliRunner().invoke(program, ["cooling", str(halyard.folder), "--stint"])
    assert "10 laps from cold" in shown.output
    assert "after stopping" in shown.output


def test_brakes_do_what_the_lap_does(halyard: Bench) -> None:
    page = halyard.page("brakes")
    assert "lap of Brackenholt" in page["source"]
    assert page["energy"]["best"] == pytest.approx(12.1, rel=0.05)  # planted, MJ
    lap = _history(halyard)
    stops = stops_of(lap)
    whole = sum(s.energy for s in stops)
    assert whole == pytest.approx(np.sum(lap.brake[1:]) * lap.time[1], rel=0.03)
    mass = halyard.answers.project.mass_state().mass.best
    for stop in stops:
        # the air takes the rest; what turns adds 2.6 % to the mass, a step of time 2 %
        assert stop.energy < 0.5 * mass * (stop.fast**2 - stop.slow**2) * 1.05
    assert {k["state"] for k in page["kits"]} == set(halyard.answers.states)


def test_entered_stops_that_were_measured_stand_over_the_lap(halyard: Bench) -> None:
    case = braking_case(halyard.answers, 8)
    assert case.lap is not None
    entered = replace(case, laps={})
    assert isinstance(entered, BrakingCase)
    assert len(entered.stops) == 7
    assert entered.trace("front").power.max() > 0
    bare = entered.table.model_copy(update={"stops": ()})
    with pytest.raises(NotCovered, match="stops"):
        _ = replace(entered, table=bare).stops


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('metal_mass = "62 kg ± 20 %"', "", "needs its liquid_mass and metal_mass"),
        ("[cooling.stint]", "[cooling.stunt]", "stint"),
        ('cap = "1.1 bar ± 0.1 bar"', 'cap = "110 °C"', "pressure"),
        ("laps = 10", "laps = 0", "1"),
        ('kind = "air net"', 'kind = "airnet"', "air net"),
        (
            'name = "air through the car"\nkind = "air net"',
            'name = "second"\nkind = "air net"\n\n[[parts]]\nname = "air through the car"\n'
            'kind = "air net"',
            "count twice",
        ),
    ],
)
def test_faults_of_the_tables_are_named(
    halyard: Bench, tmp_path: Path, old: str, new: str, says: str
) -> None:
    folder = tmp_path / "car"
    shutil.copytree(halyard.folder, folder, ignore=shutil.ignore_patterns("results", "out"))
    whole = (folder / "project.toml").read_text(encoding="utf-8")
    assert old in whole
    (folder / "project.toml").write_text(whole.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(FileFault) as caught:
        read_project(folder)
    said = " ".join(str(f) for f in caught.value.faults)
    assert says in said
    assert re.search(r"project\.toml:\d+", said)
