"""The car as a system: what its page promises, on a small project with a device and failures."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.unit.study.small_car import SCHEDULE, small_car, write_small_car

from tuftwork.app import check_page
from tuftwork.app.check import numbers_in
from tuftwork.car import Project
from tuftwork.errors import FileFault, InputError, NotCovered
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.car.device import require_rows
from tuftwork.study.car.leverage import levers_of
from tuftwork.study.car.motion import motion_of
from tuftwork.study.car.page import platform_of

SPEED = 220 / 3.6


@pytest.fixture(scope="module")
def bench(computed_small_car: Bench) -> Bench:
    return computed_small_car


@pytest.fixture(scope="module")
def car(bench: Bench) -> dict[str, Any]:
    return bench.page("car", speed="220")


def test_the_page_keeps_to_its_form_and_stands_on_the_rail(
    bench: Bench, car: dict[str, Any]
) -> None:
    assert check_page("car", car) == []
    rail = [entry["page"] for entry in bench.page("overview")["rail"]]
    assert "car" in rail
    assert not {"budget", "map", "states"} & set(rail)


def test_isolated_parts_and_what_is_between_them_are_the_system(bench: Bench) -> None:
    found = bench.answers.budget("as raced", SPEED)
    for field in ("front", "rear", "drag"):
        sum_of = getattr(found.isolated, field) + getattr(found.together, field)
        np.testing.assert_allclose(sum_of, getattr(found.total, field), atol=1e-12)


def test_every_kind_of_neighbour_has_a_term_of_its_own(car: dict[str, Any]) -> None:
    names = {row["name"] for row in car["together"]["pairs"]}
    assert {
        "rear wing → floor", "floor → rear wing", "wheels → floor", "splitter → floor",
        "body → rear wing", "front coolers → wheels", "front coolers → splitter",
    } <= names  # fmt: skip
    for row in car["together"]["pairs"]:
        assert row["total"]["low"] < row["total"]["high"]


def test_every_position_and_failure_has_full_rows(car: dict[str, Any]) -> None:
    roles = {row["name"]: row["role"] for row in car["rows"]}
    assert roles["wing flat"] == "position of the rear wing drive"
    assert roles["splitter stay broken"] == "failure of the rear wing drive"
    assert all(len(row["rows"]) == 5 for row in car["rows"])


def test_a_stuck_wing_is_felt_where_the_schedule_wants_another_position(
    car: dict[str, Any],
) -> None:
    device = car["devices"][0]
    fast = device["schedules"][0]["rows"][-1]
    assert (fast["straight"], fast["braking"]) == ("wing flat", "as raced")
    stuck = {row["state"]: row for row in device["stuck"]}
    # a flat rear wing takes load off the rear axle: the balance moves forward, the car is looser
    assert stuck["wing flat"]["share"]["low"] > 0
    assert stuck["wing flat"]["feels"] == "looser"
    assert stuck["gurney lost"]["kind"] == "failure"


def test_the_platform_says_how_far_the_cliff_is_in_mm_and_in_g(car: dict[str, Any]) -> None:
    cliffs = {row["axle"]: row for row in car["platform"]["cliffs"]}
    assert cliffs["front"]["g"]["unit"] == "g"
    assert 0 < cliffs["front"]["g"]["best"] < 3
    assert car["platform"]["caution"]
    assert len(car["platform"]["curve"]["damping"]) == len(car["platform"]["curve"]["speed_kmh"])


def test_braking_closes_the_height_above_the_front_cliff_as_the_springs_say(bench: Bench) -> None:
    # one g moves m g h/L to the front axle: near it the front sinks by that over its rate
    motion = motion_of(bench.answers, "as raced")
    assert motion.transfer is not None
    at = motion.at(SPEED)
    g = motion.g_to_cliff(SPEED, "front")
    assert g is not None
    height = motion.clearance("front")[at]
    some = np.isfinite(height) & np.isfinite(g)
    rate = motion.suspension.front.rate[:, 0]
    plain = height * rate / motion.transfer.per_g
    # the air helps or hinders by its own stiffness: the same to within a third
    assert np.median((g / plain)[some]) == pytest.approx(1.0, abs=0.35)


def test_dampers_decide_whether_the_car_bounces(bench: Bench) -> None:
    shares = []
    for damping in ("600 N s/m ± 5 %", "9000 N s/m ± 5 %"):
        tree = small_car()
        tree["car"] = {
            **tree["car"],
            **{axle: {**tree["car"][axle], "damping": damping} for axle in ("front", "rear")},
        }
        job = replace(bench.answers.job, project=Project.model_validate(tree))
        answers = Answers(job=job, results=bench.answers.results)
        shares.append(motion_of(answers, "as raced").onset.share)
        said = platform_of(answers, "as raced", SPEED)["assumed"]
        assert not any("dampers" in text for text in said)
    assert shares[0] > shares[1]


def test_levers_agree_with_a_state_that_turns_the_wing(bench: Bench) -> None:
    levers = {v.name: v for v in levers_of(bench.answers, "as raced", SPEED)}
    degree = levers["rear wing: incidence"]
    answers = bench.answers
    keep = answers.kept("as raced")
    there = answers.draws("wing flat", "total", SPEED) - answers.draws("as raced", "total", SPEED)
    assert float(np.median(degree.total)) == pytest.approx(
        float(np.nanmedian(there[keep])) / -6.0, abs=0.012
    )
    assert degree.held is not None
    assert np.median(degree.held) > np.median(degree.total)
    ranks = np.stack([v.rank for v in levers.values()])
    np.testing.assert_allclose(np.sort(ranks, axis=0)[:, 0], np.arange(1, len(levers) + 1))


def test_ballast_sinks_an_axle_as_its_rate_says(bench: Bench) -> None:
    levers = {v.name: v for v in levers_of(bench.answers, "as raced", SPEED)}
    motion = motion_of(bench.answers, "as raced")
    rate = motion.suspension.rear.rate[:, 0]
    ratio = levers["ballast at the rear axle"].total / levers["rear ride height at rest"].total
    np.testing.assert_allclose(ratio, -10 * 9.80665 / rate * 1e3, rtol=1e-6)


def test_a_live_answer_agrees_with_the_page(bench: Bench, car: dict[str, Any]) -> None:
    header, arrays = bench.live({"do": "motion_at", "speed": 220.0, "state": "as raced"})
    front = car["platform"]["cliffs"][0]["height"]["best"]
    assert header["numbers"]["front_mm"]["best"] == pytest.approx(front, abs=1.0)
    assert arrays["speed_kmh"].shape == arrays["damping_best"].shape
    with pytest.raises(InputError):
        bench.live({"do": "motion_at", "speed": "fast"})


def test_every_number_of_the_page_has_a_chain(bench: Bench, car: dict[str, Any]) -> None:
    fresh = Bench(bench.folder)
    asked = sorted({n["why"] for _, n in numbers_in(car) if n.get("why")})
    for why in asked[::60]:
        assert fresh.why(why)["steps"], why


def test_a_schedule_for_an_unknown_device_is_refused_with_its_line(tmp_path: Path) -> None:
    folder = write_small_car(tmp_path / "bad", schedules=[{**SCHEDULE, "device": "front flap"}])
    with pytest.raises(FileFault) as refused:
        Bench(folder)
    fault = refused.value.faults[0]
    assert fault.what == "no device of this name"
    assert fault.found == "front flap"
    assert fault.line is not None


def test_a_state_that_cannot_be_solved_is_named(tmp_path: Path) -> None:
    sunk = {"name": "on the road", "ride_height_front": "6 mm", "ride_height_rear": "8 mm"}
    tree = small_car()
    folder = write_small_car(
        tmp_path / "sunk", states=[*tree["states"][:2], sunk], devices=[], schedules=[]
    )
    with pytest.raises(NotCovered, match="on the road"):
        Bench(folder).run()


def test_a_map_without_the_rows_of_a_device_names_them(bench: Bench) -> None:
    whole = bench.answers.aero_map()
    cut = replace(
        whole, states=whole.states[:2], valid=whole.valid[:2], drag=whole.drag[:2],
        downforce_front=whole.downforce_front[:2], downforce_rear=whole.downforce_rear[:2],
        origin=whole.origin[:2], extrapolated=whole.extrapolated[:2],
    )  # fmt: skip
    require_rows(whole, bench.answers.project)
    with pytest.raises(NotCovered, match=r"'gurney lost' .rear wing drive.: no rows"):
        require_rows(cut, bench.answers.project)


def test_a_corner_leans_the_car_as_its_springs_and_the_air_say(
    bench: Bench, car: dict[str, Any]
) -> None:
    usual = car["platform"]["corner"]
    assert usual["refused"] == ""
    assert "1 g taken" in usual["from"]  # this car has no lap
    entered = bench.page("car", speed="220", lateral="0.6 g")["platform"]["corner"]
    assert entered["from"].startswith("entered")
    found = [{r["name"]: r["number"]["best"] for r in c["numbers"]} for c in (usual, entered)]
    # no roll angle was measured: springs, tyres and bars; in proportion but for the air
    assert found[1]["roll"] / found[0]["roll"] == pytest.approx(0.6, rel=0.05)
    for one in found:
        spread = one["high rear"] - one["low rear"]
        floor = next(p for p in bench.opened.project.parts if p.kind == "floor")
        wide = floor.width.best * np.tan(np.radians(one["roll"]))
        # medians of three fields of the same draws
        assert spread == pytest.approx(1e3 * wide, rel=0.08)
    assert found[1]["low rear"] > found[0]["low rear"]
    assert bench.why(entered["numbers"][0]["number"]["why"])["steps"]


def test_a_sideways_acceleration_that_is_none_is_refused(bench: Bench) -> None:
    for text, match in (("fast", "no acceleration"), ("9 g", "between 0 and 6"), ("2 kg", "kg")):
        with pytest.raises(InputError, match=match):
            bench.page("car", speed="220", lateral=text)
