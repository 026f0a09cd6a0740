"""The demo's test day in the study: what was planted is found, cured, reduced, compared."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from tuftwork.aeromap.interpolate import evaluate
from tuftwork.aeromap.map import map_surface
from tuftwork.demo.truth import true_loads, true_ride
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.files import read_project
from tuftwork.files.map import read_map
from tuftwork.quantity import ORIGINS
from tuftwork.study import Bench
from tuftwork.study.trial.keep import common_widening, keep_results
from tuftwork.study.trial.learned_map import write_learned_map
from tuftwork.study.trial.take import cure_live, take_cures, undo_cures

TRUE_REAR_220 = true_ride(220 / 3.6, np.radians(8.0))[2].rear


@pytest.fixture(scope="module")
def copied(halyard: Bench, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("trial") / "halyard"
    shutil.copytree(halyard.folder, folder)
    return folder


def rear_at(page: dict, kmh: float, key: str = "rear_after") -> dict:
    return min(page["before_after"], key=lambda r: abs(r["speed_kmh"] - kmh))[key]


def test_the_three_planted_faults_are_cards(halyard: Bench) -> None:
    page = halyard.page("log")
    assert {c["kind"] for c in page["faults"]} == {
        "zero in another mass state", "wrong gain", "air-speed error",
    }  # fmt: skip
    assert "on the sheet, no driver" in page["faults"][0]["title"]
    assert page["left"] == 3
    assert page["cures"] == []
    assert all(c["evidence"] and not c["taken"] for c in page["faults"])


def test_the_naive_log_hides_the_cliff_and_the_cured_one_shows_it(halyard: Bench) -> None:
    page = halyard.page("log")
    before = [r["rear_before"]["best"] for r in page["before_after"]]
    assert before == sorted(before, reverse=True)
    slow, middle, fast = (rear_at(page, v)["best"] for v in (140, 170, 220))
    assert abs(slow - middle) < 0.04
    assert middle - fast > 0.15
    # the truth module's own value; the story asks for 0.008
    assert fast == pytest.approx(TRUE_REAR_220, abs=0.008)
    number = rear_at(page, 220)
    assert number["low"] < TRUE_REAR_220 < number["high"]


def test_numbers_of_a_day_have_chains_of_their_own(halyard: Bench) -> None:
    number = rear_at(halyard.page("log"), 220)
    fresh = Bench(halyard.folder)
    chain = fresh.why(number["why"])
    assert chain["number"]["text"] == number["text"]
    assert chain["steps"][0]["source"] == "L1"
    assert any(s["what"].startswith("Cure:") for s in chain["steps"])
    assert {d["name"] for d in chain["dominates"]} & {"car.rear.wheel_rate"}


def test_results_differences_and_coast_down(halyard: Bench) -> None:
    page = halyard.page("results")
    assert page["version"] == "all cures"
    assert "nobody accepted" in page["notices"][0]
    assert len(page["rows"]) == 14
    drag = page["coast"]["drag"]
    assert drag["low"] < 0.905 < drag["high"]
    assert page["coast"]["wind"].startswith("+1.")
    shares = page["budgets"][0]["lines"]
    assert sum(x["rear_share"] for x in shares) == pytest.approx(1.0, abs=0.02)


@pytest.mark.xfail(
    strict=True,
    reason="miss: the wing's gain at 220 km/h is read as 0.013 m² (-0.004 to 0.030), 0.006 below "
    "the planted 0.036; over seeds 1 to 40 the ranges hold it in nine days of ten",
)
def test_the_gain_of_the_wing_lies_in_its_range(halyard: Bench) -> None:
    differences = halyard.page("results")["differences"]
    gain = min(differences, key=lambda d: abs(d["speed_kmh"] - 220))["total"]
    assert gain["low"] < 0.036 < gain["high"]


def test_versions_of_the_results(halyard: Bench) -> None:
    raw = halyard.page("results", version="as read")["rows"]
    cured = halyard.page("results", version="all cures")["rows"]
    assert raw[0]["rear"]["best"] - cured[0]["rear"]["best"] > 0.5


def test_agreement_ranks_learns_and_says_what_to_test(halyard: Bench) -> None:
    page = halyard.page("agreement")
    assert len(page["rows"]) == 14
    at = min(page["path"], key=lambda r: abs(r["speed_kmh"] - 220))
    assert at["rear_origin"] == "measured"
    # learned from the day alone, the untouched model was 0.2 m² too high
    assert abs(at["rear"]["best"] - TRUE_REAR_220) < 0.06
    assert "km/h" in page["next"]["text"]
    field = page["bias"]["rear"]
    assert 0.02 < field["measured_share"] < 0.6
    assert np.shape(field["best"]) == np.shape(field["doubt"]) == np.shape(field["origin"])


def test_the_learned_map_is_a_file_that_agrees_with_page_and_truth(
    halyard: Bench, tmp_path: Path
) -> None:
    made = read_map(Path(write_learned_map(halyard.answers, tmp_path / "learned.nc")))
    at = made.place("as raced")
    measured = made.origin[at] == ORIGINS.index("measured")
    assert 0.0 < measured.mean() < 1.0
    path = halyard.page("agreement")["path"]
    surface = map_surface(made, "as raced")
    for row in path:
        here = np.array([row["front_mm"]]) / 1e3, np.array([row["rear_mm"]]) / 1e3
        front, rear, _ = (np.median(f) for f in evaluate(surface, *here))
        # the page asks the models there, the map lies between its nodes: a cliff away by 0.02 m²
        assert front == pytest.approx(row["front"]["best"], abs=0.02)
        assert rear == pytest.approx(row["rear"]["best"], abs=0.03)
    # where the day measured, the planted loads lie within what is left of doubt and cells
    away = []
    for i, j in np.argwhere(measured):
        true = true_loads(float(made.front[i]), float(made.rear[j]), np.radians(8.0))
        away.append(np.median(made.downforce_front[at, i, j]) - true.front)
    assert np.sqrt(np.mean(np.square(away))) < 0.06
    assert "bias learned from first day" in made.header.method
    assert any("drag is the study's" in n for n in made.notices)


def test_what_is_learned_from_the_day_holds_the_planted_rear(halyard: Bench) -> None:
    path = halyard.page("agreement")["path"]
    rear = min(path, key=lambda r: abs(r["speed_kmh"] - 220))["rear"]
    assert rear["low"] < TRUE_REAR_220 < rear["high"]


def test_the_plan_sees_what_it_must(halyard: Bench) -> None:
    page = halyard.page("plan")
    assert page["is_enough"]
    assert page["lines"][0]["state"] == page["lines"][-1]["state"] == "as raced"
    assert "closed course" in page["safety"][0].lower()
    assert "Wait: mean wind above 4" in " ".join(page["stops"])


def test_a_finding_points_at_the_log(halyard: Bench) -> None:
    found = [f for f in halyard.page("overview")["findings"] if f["page"] == "log"]
    assert len(found) == 1
    assert "3 faults" in found[0]["title"]


def test_pages_are_plain_json(halyard: Bench) -> None:
    for name in ("plan", "log", "results", "agreement"):
        json.dumps(halyard.page(name), allow_nan=False)


def test_traces_over_the_line(halyard: Bench) -> None:
    header, arrays = halyard.live({"do": "trace", "role": "pot rear left", "start": 10, "end": 20})
    assert header["unit"] == "mm"
    assert arrays["time"].dtype == np.float32
    assert np.all(arrays["least"] <= arrays["most"])
    with pytest.raises(InputError, match="after the start"):
        halyard.live({"do": "trace", "role": "pot rear left", "start": 20, "end": 10})
    with pytest.raises(UnknownName):
        halyard.live({"do": "trace", "role": "pot rear middle"})


def test_cures_are_recorded_reversible_and_leave_the_log_alone(copied: Path) -> None:
    log = (copied / "evidence" / "day-1.csv").read_bytes()
    before = (copied / "project.toml").read_text(encoding="utf-8")
    bench = Bench(copied)
    take_cures(bench, "", [2])
    take_cures(bench, "", None)
    page = Bench(copied).page("log")
    assert page["left"] == 0
    assert all(c["taken"] for c in page["faults"])
    assert rear_at(page, 220)["best"] == pytest.approx(TRUE_REAR_220, abs=0.008)
    kinds = [c.kind for c in read_project(copied).project.days[0].cures]
    assert kinds == ["gain", "gain", "zero", "zero", "zero", "zero"]
    results = Bench(copied).page("results")
    assert results["version"] == "accepted"
    cure_live(Bench(copied), {"undo": 1})
    assert Bench(copied).page("log")["left"] == 1
    undo_cures(Bench(copied), "", [1, 2, 3, 4, 5])
    assert (copied / "project.toml").read_text(encoding="utf-8").strip() == before.strip()
    assert (copied / "evidence" / "day-1.csv").read_bytes() == log


def test_results_of_a_day_are_kept_as_measured_rows(
    halyard: Bench, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("kept") / "halyard"
    shutil.copytree(halyard.folder, folder)
    with pytest.raises(InputError, match="nobody accepted"):
        keep_results(Bench(folder))
    take_cures(Bench(folder), "", None)
    old = len(read_project(folder).project.measured)
    ids = keep_results(Bench(folder))
    rows = {row.id: row for row in read_project(folder).project.measured}
    assert len(rows) == old + len(ids)
    fast = next(rows[i] for i in ids if abs(rows[i].speed.best * 3.6 - 220) < 2
                and rows[i].state == "as raced")  # fmt: skip
    rear = fast.downforce_rear
    assert rear.low < TRUE_REAR_220 < rear.high
    assert rear.origin == "measured"
    assert fast.evidence == "L1"
    number = next(r["rear"] for r in Bench(folder).page("results")["rows"]
                  if r["state"] == "as raced" and abs(r["speed_kmh"] - 220) < 2)  # fmt: skip
    assert rear.best == pytest.approx(number["best"], abs=1e-3)
    assert rear.high - rear.low > number["high"] - number["low"]  # springs are common to all rows
    assert keep_results(Bench(folder)) == ids  # replaced, not doubled
    assert len(read_project(folder).project.measured) == old + len(ids)


def test_what_is_common_to_rows_widens_them() -> None:
    rng = np.random.default_rng(3)
    own, common = rng.normal(size=(9, 20000)), rng.normal(size=20000)
    assert common_widening(list(own)) == pytest.approx(1.0, abs=0.03)
    assert common_widening([common] * 9) == pytest.approx(3.0, rel=1e-6)
    half = [np.sqrt(0.5) * (row + common) for row in own]
    assert common_widening(half) == pytest.approx(np.sqrt(1 + 8 * 0.5), rel=0.03)


def test_wrong_cards_and_days_are_refused(copied: Path) -> None:
    bench = Bench(copied)
    with pytest.raises(InputError, match="no card"):
        take_cures(bench, "", [9])
    with pytest.raises(InputError, match="accepted cures"):
        undo_cures(bench, "", [3])
    with pytest.raises(InputError, match="whole number"):
        cure_live(bench, {"take": "1"})
    with pytest.raises(UnknownName):
        bench.page("log", day="second day")


def test_a_broken_log_refuses_its_page_and_nothing_else(copied: Path) -> None:
    path = copied / "evidence" / "day-1.csv"
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2 - 7])
    bench = Bench(copied)
    page = bench.page("log")
    assert "columns" in page["refused"][0]
    assert bench.page("results")["rows"] == []
    assert bench.page("budget")["rows"]
    assert any("could not be used" in f["title"] for f in bench.page("overview")["findings"])
    path.write_bytes(whole)


def test_a_project_without_a_day_says_what_to_do(prototype: Bench) -> None:
    for name in ("log", "results", "agreement"):
        with pytest.raises(NotCovered, match="days"):
            prototype.page(name)
    with pytest.raises(NotCovered, match="plan"):
        prototype.page("plan")


def test_documents_of_the_day(halyard: Bench, copied: Path) -> None:
    from tuftwork.report.runsheet import write_memo, write_run_sheet

    bench = Bench(copied)
    sheet, memo = write_run_sheet(bench), write_memo(bench)
    assert Path(sheet["pdf"]).read_bytes().startswith(b"%PDF")
    assert Path(memo["pdf"]).read_bytes().startswith(b"%PDF")
    table = Path(sheet["csv"]).read_text(encoding="utf-8").splitlines()
    assert table[0].startswith("line,start,kind,state")
    assert len(table) == 1 + len(halyard.page("plan")["lines"])
    assert json.loads(Path(memo["json"]).read_text(encoding="utf-8"))["log"]["day"] == "first day"
