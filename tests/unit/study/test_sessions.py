"""Tunnel, laps, pressures, notes and roles in the study: what was planted in the demo is found."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from tuftwork.demo import rig
from tuftwork.demo.truth import true_loads
from tuftwork.errors import InputError, UnknownName
from tuftwork.files import read_project
from tuftwork.study import Bench
from tuftwork.study.trial.roles import confirm_roles, forget_roles, roles_live


@pytest.fixture(scope="module")
def copied(halyard: Bench, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sessions") / "halyard"
    shutil.copytree(halyard.folder, folder)
    return folder


def planted(row: dict) -> dict[str, float]:
    """Return the truth at a tunnel point, the mean of the two branches."""
    incidence = float(np.radians({"as raced": 8.0, "more wing": 12.0}[row["state"]]))
    both = [true_loads(1e-3 * row["front_mm"], 1e-3 * row["rear_mm"] + way * rig.LAG, incidence)
            for way in (-1, 1)]  # fmt: skip
    return {f: 0.5 * sum(getattr(b, f) for b in both) for f in ("front", "rear", "drag")}


def test_the_tunnel_finds_the_car_behind_walls_supports_and_scale(halyard: Bench) -> None:
    one = halyard.page("results")["tunnels"][0]
    assert len(one["rows"]) == 32
    held = []
    for row in one["rows"]:
        true = planted(row)
        for name in ("front", "rear", "drag"):
            assert row[name]["best"] == pytest.approx(true[name], abs=0.03)
            held.append(row[name]["low"] <= true[name] <= row[name]["high"])
    # rows share the choice of wall correction, which is wide on purpose
    assert np.mean(held) > 0.72
    assert "two branches" in one["sweeps"][0]
    assert one["methods"][0]["method"] == "none"
    assert any("Reynolds" in n for n in one["notices"])
    assert "5.9 million" in one["about"]


def test_a_tunnel_number_has_its_own_chain(halyard: Bench) -> None:
    number = halyard.page("results")["tunnels"][0]["rows"][5]["rear"]
    chain = Bench(halyard.folder).why(number["why"])
    assert chain["number"]["text"] == number["text"]
    assert chain["steps"][0]["source"] == "T1"
    assert any("Walls" in s["what"] for s in chain["steps"])


def test_laps_cannot_tell_what_passes_can(halyard: Bench) -> None:
    page = halyard.page("results")
    lap = page["laps"]["rows"][0]
    assert page["laps"]["laps"] == 23  # one of 24 was spoiled by traffic
    assert lap["gain"]["low"] < rig.LAP_GAIN < lap["gain"]["high"]
    assert lap["verdict"] == "below noise"
    assert "mixed effects" in lap["method"]
    paired = page["paired"][0]
    assert "drift taken out" in paired["method"]
    slow = paired["rows"][1]
    assert slow["verdict"] == "gains"
    # the zeros of the planted faults do not drift, so neither may the day
    assert paired["drift"].startswith(("+", "\u2212"))


def test_pressures_flow_and_wake_come_back(halyard: Bench) -> None:
    one = halyard.page("results")["pressures"][0]
    rows = {r["tap"]: r["value"] for r in one["rows"]}
    for name, true in rig.TAPS.items():
        assert rows[name]["best"] == pytest.approx(true, abs=0.015)
    for i, true in enumerate(rig.WING_WAKE, 1):
        assert rows[f"wake {i}"]["best"] == pytest.approx(1 - true, abs=0.015)
    speed = np.sqrt(np.mean(np.square(np.array([140, 140, 180, 180, 200, 200]) / 3.6)))
    flow = float(np.mean(rig.DUCT_SPEEDS)) * speed * rig.DUCT_AREA * 1.18
    number = one["ducts"][0]["flow"]
    assert number["low"] < flow < number["high"]
    assert number["unit"] == "kg/s"


def test_notes_bear_on_hypotheses(halyard: Bench) -> None:
    notes = halyard.page("results")["notes"]
    verdicts = {h["id"]: h["verdict"] for h in notes["hypotheses"]}
    assert verdicts == {"diffuser lets go": "consistent", "wing stalls": "contradicts",
                        "louvres draw": "consistent"}  # fmt: skip
    assert notes["rows"][0]["at_is"] == "part"
    draws = next(h for h in notes["hypotheses"] if h["id"] == "louvres draw")
    assert len(draws["taps"]) == 2


def test_the_map_rests_on_track_tunnel_and_model_cell_by_cell(halyard: Bench) -> None:
    page = halyard.page("agreement")
    cells = np.ravel(page["bias"]["rear"]["source"])
    assert set(cells) == {"track", "tunnel", "model"}
    assert page["bias"]["rear"]["tunnel_share"] > 0
    assert page["compared"] == 2 * (14 + 32)
    assert [d["worth_points"] for d in page["ranked"]] == sorted(
        (d["worth_points"] for d in page["ranked"]), reverse=True
    )
    json.dumps(page, allow_nan=False)
    json.dumps(halyard.page("results"), allow_nan=False)


def test_the_matrix_of_the_plan_asks_along_the_path_first(halyard: Bench) -> None:
    matrix = halyard.page("plan")["matrix"]
    shares = [x["answered_percent"] for x in matrix["lines"]]
    assert shares == sorted(shares)
    assert shares[len(shares) // 2] > 0.85 * shares[-1]
    assert any(x["is_repeat"] for x in matrix["lines"])
    assert "50 %" in matrix["marks"][0]


def test_roles_are_confirmed_remembered_and_forgotten(copied: Path) -> None:
    before = (copied / "project.toml").read_text(encoding="utf-8")
    bench = Bench(copied)
    page = bench.page("log")
    assert page["guesses"] == sum(bool(c["role"]) for c in page["columns"]) == 11
    confirm_roles(bench, "")
    page = Bench(copied).page("log")
    assert page["guesses"] == 0
    assert page["is_said"]
    day = read_project(copied).project.days[0]
    assert day.roles["Damper FL"] == "pot front left"
    roles_live(Bench(copied), {"roles": {"Acc long": ""}})
    page = Bench(copied).page("log")
    assert next(c for c in page["columns"] if c["name"] == "Acc long")["role"] == ""
    assert "acceleration along" not in page["traces"]
    forget_roles(Bench(copied), "")
    after = (copied / "project.toml").read_text(encoding="utf-8")
    assert after.split() == before.split()


def test_wrong_roles_are_refused_and_the_project_is_untouched(copied: Path) -> None:
    before = (copied / "project.toml").read_bytes()
    bench = Bench(copied)
    with pytest.raises(UnknownName):
        confirm_roles(bench, "", {"Damper XX": "pot front left"})
    with pytest.raises(UnknownName):
        confirm_roles(bench, "", {"Damper FL": "pot middle"})
    with pytest.raises(InputError, match="two columns"):
        confirm_roles(bench, "", {"Damper FL": "laser rear", "Damper FR": "laser rear"})
    with pytest.raises(InputError, match="neither"):
        roles_live(bench, {"day": ""})
    with pytest.raises(InputError, match="column → text"):
        roles_live(bench, {"roles": ["Damper FL"]})
    assert (copied / "project.toml").read_bytes() == before


def test_a_broken_table_refuses_its_part_and_nothing_else(copied: Path) -> None:
    tunnel, laps = copied / "evidence" / "tunnel-1.csv", copied / "evidence" / "laps-1.csv"
    whole = tunnel.read_text(encoding="utf-8"), laps.read_text(encoding="utf-8")
    tunnel.write_text(whole[0].replace("54.0,50.0,", "54.0,fifty,", 1), encoding="utf-8")
    laps.write_text(whole[1].replace("more wing", "much wing", 1), encoding="utf-8")
    page = Bench(copied).page("results")
    assert "'speed' is not a number" in page["tunnels"][0]["refused"][0]
    assert "much wing" in page["laps"]["refused"][0]
    assert page["rows"]
    assert Bench(copied).page("agreement")["rows"]
    tunnel.write_text(whole[0], encoding="utf-8")
    laps.write_text(whole[1], encoding="utf-8")
