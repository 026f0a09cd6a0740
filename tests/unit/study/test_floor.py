"""The floor in the study: page, live answers, chains, findings, report, tables in the budget."""

from collections.abc import Callable
from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest

from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import ChannelFloor, floored, part_models
from tuftwork.car import Floor, FloorChannel
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.floor.table_make import TableSize, floor_table
from tuftwork.study import Bench
from tuftwork.study.floor_case import floor_case
from tuftwork.study.floor_page import CAUTIONS, floor_findings
from tuftwork.study.floor_step import channel_models
from tuftwork.study.floor_worked import floor_steps
from tuftwork.study.job import Job


def live(bench: Bench, **message: float):
    return bench.live({"do": "floor_at", "floor": "floor", "state": "as raced", **message})


def test_the_page_shows_the_engine_beside_what_the_budget_uses(halyard: Bench) -> None:
    page = halyard.page("floor")
    rows = {row["key"]: row["number"] for row in page["loads"]}
    assert page["engine"] == "channel in plan"
    assert "channel table in the budget" in page["answer"]
    assert rows["downforce"]["low"] < rows["downforce"]["best"] < rows["downforce"]["high"]
    assert rows["front"]["best"] + rows["rear"]["best"] == pytest.approx(rows["downforce"]["best"])
    assert page["cautions"] == list(CAUTIONS)
    nx, ny = page["field"]["shape"]
    assert len(page["field"]["cp"]) == nx * ny
    shares = page["flows"]["inlet_share"] + page["flows"]["leak_share"]
    assert shares == pytest.approx(1.0, abs=1e-6)


PLANTED = 57.8  # [mm] rear ride height at which half of the planted loss is gone, demo/truth.py


def test_budget_and_channel_alone_turn_where_the_truth_falls(halyard: Bench) -> None:
    sweep = halyard.page("floor")["sweep"]
    rear, budget = np.array(sweep["rear_mm"]), np.array(sweep["budget"])
    steepest = rear[:-1][np.argmax(np.diff(budget))]
    assert 50 < steepest < 62
    # the engine knows nothing of the fall: it turns where its ramp's layer begins to leave
    assert abs(sweep["peak_mm"] - PLANTED) < 5
    assert np.all(np.diff(sweep["shape_factor"]) < 0)
    assert np.all(np.array(sweep["low"]) < np.array(sweep["best"]))


def test_the_cause_is_the_reading_that_takes_most(halyard: Bench) -> None:
    cause = halyard.page("floor")["cause"]
    rows = {row["reading"]: row for row in cause["rows"]}
    assert set(rows) == {"stall", "burst", "choking", "leak"}
    returned = [row["returned"]["best"] for row in cause["rows"]]
    assert returned == sorted(returned, reverse=True)
    # planted: the diffuser enters its force reduction; nothing chokes
    assert [r for r in rows if rows[r]["is_cause"]] == ["stall"]
    assert rows["choking"]["returned"]["best"] < 0.1 * returned[0]
    assert "does not choke" in cause["answer"]
    assert halyard.why(rows["stall"]["returned"]["why"])["steps"]


def test_the_map_hatches_what_lies_beyond_the_table_of_the_floor(halyard: Bench) -> None:
    page = halyard.page("map")
    front, rear = (np.array(page["axes"][f"{axle}_mm"]) for axle in ("front", "rear"))
    valid = np.array(page["fields"]["valid"], dtype=bool)
    # 0.4 to 1.35 of 58 and 71 mm
    assert not valid[:, front < 23.1].any()
    assert not valid[rear > 96].any()
    inside = valid[np.ix_((rear > 28.5) & (rear < 95.8), front > 23.3)]
    assert inside.all()
    for row in page["path"]:
        assert front[valid.any(axis=0)].min() < row["front_mm"]
    np.testing.assert_array_equal(halyard.answers.aero_map().extrapolated[0].T, ~valid)
    assert any("maps are hatched" in n for n in page["notices"])


def test_the_page_says_how_the_day_moved_the_level_and_what_it_cannot_tell(halyard: Bench) -> None:
    level = halyard.page("floor")["level"]
    rows = {row["key"]: row for row in level["rows"]}
    assert set(rows) == {"coverage", "discharge", "mixing", "base_pressure"}
    assert rows["coverage"]["after"]["best"] < rows["coverage"]["before"]["low"]
    assert -2.5 < rows["coverage"]["moved"] < -1.0
    # all that could make the floor weaker goes the same way; leak and level are told apart by
    # shape alone, which a day of passes does not see
    assert rows["discharge"]["moved"] > 0
    assert rows["mixing"]["moved"] > 0
    assert "inside the range" in level["answer"]
    assert "sweep of ride heights" in level["answer"]
    for row in level["rows"]:
        assert halyard.why(row["after"]["why"])["steps"]


def test_the_finding_names_the_diffuser_and_says_what_the_channel_explains(
    halyard: Bench,
) -> None:
    found = [f for f in floor_findings(halyard.answers) if "diffuser" in f.title]
    assert found
    first = found[0]
    assert first.page == "floor"
    assert first.verdict == "consistent"
    assert "kick line" in first.text
    assert "vortices" in first.text
    assert "told nothing of a fall" in first.text
    assert "Of the size it explains" in first.text
    assert halyard.why(first.why)["steps"]


def test_strakes_on_trial_shed_vortices_that_follow_the_hand(halyard: Bench) -> None:
    bare, _ = live(halyard, rear_mm=60.0)
    assert bare["trails"] == []
    fenced, _ = live(halyard, rear_mm=60.0, strake_offset_mm=300.0)
    (trail,) = fenced["trails"]
    assert trail["washes"] == "in"
    assert trail["load"]["low"] == pytest.approx(0.6 * trail["load"]["best"])
    assert len(trail["x"]) == len(trail["y"]) == len(trail["core"])
    assert any("upper bound" in n for n in fenced["notices"])
    assert fenced["numbers"]["downforce"]["best"] > bare["numbers"]["downforce"]["best"]
    turned, _ = live(halyard, rear_mm=60.0, strake_offset_mm=300.0, strake_toe_deg=12.0)
    assert turned["trails"][0]["washes"] == "out"
    with pytest.raises(InputError, match="outside the floor"):
        live(halyard, strake_offset_mm=1900.0)


def test_a_hard_point_has_a_price_and_the_rule_binds_behind_it(halyard: Bench) -> None:
    prices = halyard.page("floor")["prices"]
    rows = {row["name"]: row for row in prices["rows"]}
    assert rows["silencer"]["binds"]
    assert not rows["gearbox mount"]["binds"]
    assert rows["gearbox mount"]["gain"]["best"] == 0
    # 200 mm at the exit leave about half a degree more than the silencer does
    assert 0 < rows["silencer"]["gain"]["best"] < 0.03


def test_live_answers_follow_the_hand(
    halyard: Bench, record_property: Callable[[str, object], None]
) -> None:
    live(halyard, rear_mm=60.0)
    begun = perf_counter()
    header, arrays = live(halyard, rear_mm=61.0)
    # 15 to 30 ms on a quiet core: told, not judged, for a busy machine proves nothing
    record_property("floor_live_ms", 1e3 * (perf_counter() - begun))
    base = header["numbers"]["downforce"]["best"]
    sealed, _ = live(halyard, rear_mm=61.0, skirt_mm=25.0)
    assert sealed["numbers"]["downforce"]["best"] > 1.2 * base
    assert sealed["flows"]["leak_share"] < header["flows"]["leak_share"]
    rolled, more = live(halyard, rear_mm=61.0, roll_deg=1.0)
    assert "roll" in rolled["at"]
    assert np.nansum(more["leak_left"]) != pytest.approx(np.nansum(more["leak_right"]))
    assert arrays["cp"].size == header["shape"][0] * header["shape"][1]


@pytest.mark.parametrize(
    ("message", "error", "words"),
    [
        ({"rear_mm": "low"}, InputError, "number"),
        ({"rear_mm": 900.0}, InputError, "between"),
        ({"front_mm": 4.0, "rear_mm": 400.0, "floor": "roof"}, UnknownName, "floor"),
        ({"kick_mm": 7000.0}, InputError, "kick station"),
    ],
)
def test_what_cannot_be_is_refused(halyard: Bench, message, error, words: str) -> None:
    with pytest.raises(error, match=words):
        live(halyard, **message)


def test_chains_lead_from_every_number(halyard: Bench) -> None:
    page = halyard.page("floor")
    for row in page["loads"]:
        assert halyard.why(row["number"]["why"])["title"]
    assert halyard.why(page["strakes"][0]["gain"]["why"])["notices"]
    assert halyard.why("floor/floor/as raced/downforce")["steps"]


def test_a_project_without_a_floor_has_no_step(halyard: Bench) -> None:
    project = halyard.answers.project
    bare = project.model_copy(
        update={"parts": tuple(p for p in project.parts if not isinstance(p, Floor))}
    )
    assert floor_steps(Job.of(bare)) == []
    with pytest.raises(NotCovered, match="No floor"):
        floor_case(bare)


def test_a_floor_with_a_channel_is_answered_from_its_table(halyard: Bench) -> None:
    project = halyard.answers.project
    parts = tuple(
        p.with_values({"channel": FloorChannel(has_fall=True)}) if isinstance(p, Floor) else p
        for p in project.parts
    )
    changed = project.model_copy(update={"parts": parts})
    (key,) = channel_models(changed, ChannelFloor)
    model = channel_models(changed, ChannelFloor)[key]
    spec = model.spec
    platform = PlatformState(
        ride_height_front=np.full(3, 0.045), ride_height_rear=np.array([0.05, 0.06, 0.07]),
        speed=np.full(1, 60.0), density=np.full(1, 1.18), viscosity=np.full(1, 1.8e-5),
    )  # fmt: skip
    draws = {name: np.full(1, q.best) for name, q in model.inputs.items()}
    with pytest.raises(NotCovered, match="Run the study"):
        model.load(platform, draws, {})
    table = floor_table(
        spec.shape(), spec.closure(), front=(0.04, 0.05), rear=(0.045, 0.075),
        wheelbase=spec.wheelbase, size=TableSize(front=2, rear=3, design=16, trials=4),
    )  # fmt: skip
    table = replace(table, lengths=spec.lengths, slopes=np.zeros((len(spec.lengths), 2)))
    (ready,) = [m for m in floored(part_models(changed), {key: table}) if m.kind == "floor"]
    assert isinstance(ready, ChannelFloor)
    load = ready.load(platform, draws, {})
    total = load.downforce_front + load.downforce_rear
    assert np.all(total > 0.2)
    assert total[1] > total[0]  # the empirical fall, at the height published for its ramp
    wing = ready.load(platform, draws, {"exit_pressure": np.full(1, -0.1)})
    assert np.all(wing.downforce_front + wing.downforce_rear > total)


def test_another_state_stands_at_its_own_ride_heights(halyard: Bench) -> None:
    base = halyard.page("floor")["handles"]
    raised = halyard.page("floor", state="rear up, wing 9")
    assert raised["handles"]["rear_mm"] > base["rear_mm"] + 3
    assert any("baseline" in n for n in raised["notices"])
