"""What coast-down standards ask for, against their texts (rows T8 to T15 and T22).

Sources and status stand in ``data/trial_standards.csv``.
"""

import csv
from math import degrees
from pathlib import Path

import pytest

from tuftwork.air import air_density
from tuftwork.trial.roadload import (
    AUDIT_RUNS,
    INSTRUMENTS,
    LIMITS,
    REFERENCE_AIR,
    TUNNEL_PROOF,
    judge_runs,
)

pytestmark = pytest.mark.published
_LINES = (Path(__file__).parent / "data" / "trial_standards.csv").read_text("utf-8").splitlines()
ASKED = {(r["id"], r["key"]): float(r["value"]) for r in
         csv.DictReader(line for line in _LINES if not line.startswith("#"))}  # fmt: skip
KMH, MPH = 3.6, 1 / 0.44704


def test_reference_densities() -> None:
    """T8 (SAE J2263, seen: printed 1.17), T9 (UN GTR 15, memory: printed 1.189)."""
    for name, (key, budget) in {
        "SAE J2263, 40 CFR 1066.310": ("T8", 0.003), "UN GTR 15": ("T9", 0.002),
    }.items():  # fmt: skip
        kelvin, pascal = REFERENCE_AIR[name]
        density = float(air_density(kelvin, pascal))
        assert density == pytest.approx(ASKED[key, "reference density"], rel=budget)


def test_runs_wind_and_grade_of_every_standard() -> None:
    """T10 (seen), T11 (seen), T14 (memory), T15 (memory)."""
    heavy, bike = LIMITS["heavy vehicle, 40 CFR 1066.310"], LIMITS["motorcycle, 40 CFR 86.529"]
    mast, board = LIMITS["UN GTR 15, fixed mast"], LIMITS["UN GTR 15, wind read on board"]
    road = LIMITS["SAE J1263"]
    found = {
        ("T10", "valid runs in all"): 2 * heavy.runs,
        ("T10", "start at least"): (heavy.from_speed or 0) * MPH,
        ("T10", "end at most"): (heavy.to_speed or 0) * MPH,
        ("T10", "wind"): (heavy.mean_wind or 0) * MPH,
        ("T10", "grade corrected above"): 100 * (heavy.grade or 0),
        ("T11", "runs each way"): bike.runs,
        ("T11", "from"): (bike.from_speed or 0) * KMH, ("T11", "to"): (bike.to_speed or 0) * KMH,
        ("T14", "mean wind"): (road.mean_wind or 0) * KMH,
        ("T14", "cross wind"): (road.cross_wind or 0) * KMH,
        ("T14", "grade"): 100 * (road.grade or 0), ("T14", "pairs"): road.runs,
        ("T15", "mean wind fixed mast"): mast.mean_wind,
        ("T15", "peak wind fixed mast"): mast.peak_wind,
        ("T15", "cross wind fixed mast"): mast.cross_wind,
        ("T15", "mean wind on board"): board.mean_wind,
        ("T15", "peak wind on board"): board.peak_wind,
        ("T15", "cross wind on board"): board.cross_wind,
    }  # fmt: skip
    for key, value in found.items():
        assert value == pytest.approx(ASKED[key]), key


def test_audits_instruments_and_proof_of_a_tunnel_method() -> None:
    """T12 (seen), T13 (seen), T22 (seen)."""
    assert (ASKED["T12", "audit runs fewest"], ASKED["T12", "audit runs most"]) == AUDIT_RUNS
    assert INSTRUMENTS["speed"] * KMH == pytest.approx(ASKED["T13", "speed error"])
    assert INSTRUMENTS["wind"] * KMH == pytest.approx(ASKED["T13", "wind error"])
    assert degrees(INSTRUMENTS["yaw"]) == pytest.approx(ASKED["T13", "yaw error"])
    assert INSTRUMENTS["mast"] == ASKED["T13", "mast ahead"]
    assert (ASKED["T22", "vehicles to prove a tunnel method"],
                            ASKED["T22", "coast-downs of each"]) == TUNNEL_PROOF  # fmt: skip


def test_a_day_is_judged_by_what_it_is_short_of() -> None:
    poor = judge_runs(2, wind=3.0, grade=0.001, from_speed=40.0, to_speed=20.0)
    said = {j.name: j for j in poor}
    assert not said["heavy vehicle, 40 CFR 1066.310"].is_met
    assert "wind 3.0 of 2.7 m/s" in said["heavy vehicle, 40 CFR 1066.310"].short_of
    assert said["SAE J1263"].short_of == ("2 of 5 runs each way",)
    good = judge_runs(10, wind=1.0, grade=0.0001, from_speed=40.0, to_speed=5.0)
    assert all(j.is_met for j in good)
