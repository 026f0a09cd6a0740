"""Circles tie the tyres: what was planted is found, what they cannot tell is said, faults named."""

import json
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit
from pydantic import TypeAdapter, ValidationError
from tests.grip_car import PLANTED, lap_tables, pad, planted_speed
from typer.testing import CliRunner

from tuftwork.app.contract_lap import GripPart
from tuftwork.car import Project
from tuftwork.cli import program
from tuftwork.errors import FileFault, NotCovered
from tuftwork.files.project import read_project
from tuftwork.lap.circle import circle_limit
from tuftwork.report.section.lap import lap_section
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.grip import grip_steps
from tuftwork.study.grip_driven import driven_circles
from tuftwork.study.grip_finding import grip_findings
from tuftwork.study.grip_page import grip_page
from tuftwork.study.grip_table import circles_of
from tuftwork.study.job import GRIP, Job
from tuftwork.study.lap_answer import Laps
from tuftwork.study.step import Pulse

PULSE = Pulse(lambda share: None, lambda: False)
CORNER = {
    "id": "C1", "kind": "corner", "at": "Gallows", "radius": "190 m ± 3 m", "gave_up": "rear",
    "speed": planted_speed("rear", 190.0, grip=0.97),
}  # fmt: skip


class Tied:
    """The demo's results with circles added: only their step is worked out."""

    def __init__(self, halyard: Bench, *runs: dict[str, Any], folder: Path | None = None,
                 change: Any = None, **more: Any) -> None:  # fmt: skip
        tables = lap_tables(*runs, **more)
        if change is not None:
            change(tables)
        self.job = Job.of(Project.model_validate(tables), folder=folder)
        (step,) = grip_steps(self.job)
        self.result = step.work(halyard.answers.results, PULSE)
        self.answers = Answers(job=self.job, results={**halyard.answers.results, GRIP: self.result})

    @property
    def page(self) -> dict[str, Any]:
        found = grip_page(Laps.of(self.answers))
        assert found is not None
        TypeAdapter(GripPart).validate_python(found)
        return found

    def left(self, name: str) -> float:
        return float(next(r["left"] for r in self.result["inputs"] if r["name"] == name))


@pytest.fixture(scope="module")
def both(halyard: Bench) -> Tied:
    """A small pad that ends the front, a wide one and a corner that end the rear."""
    return Tied(halyard, pad(), pad("G2", "rear", 60.0), CORNER)


def friction(axle: str, load: float) -> float:
    grip, loss = PLANTED[axle]
    return grip * (1.0 - loss * (load - 3000.0))


def test_the_friction_planted_is_found_at_the_loads_driven(both: Tied) -> None:
    for axle in ("front", "rear"):
        found = both.result["axles"][axle]
        planted = friction(axle, found["load"])
        _, low, high, *_ = found["posterior"]
        assert low <= planted <= high
        assert found["left"] < 0.6  # of the range it had
    # both were planted on the far side of what was given: the tie moves each its own way
    assert both.result["axles"]["front"]["moved"] < -0.5
    assert both.result["axles"]["rear"]["moved"] > 0.5


def test_the_car_meets_the_circles_after_and_not_before(both: Tied) -> None:
    assert both.result["miss_before"] > 0.03
    assert both.result["miss"] < 0.01
    for row in both.result["rows"]:
        assert row["after"][1] <= row["measured"][0] <= row["after"][2]
        assert abs(row["miss"]) < 1.5
        assert row["after"][2] - row["after"][1] < row["before"][2] - row["before"][1]


def test_only_tyres_move_and_laps_are_driven_on_them(both: Tied, halyard: Bench) -> None:
    before = both.job.ensemble(halyard.answers.results["tie"])
    after = both.answers.ensemble
    moved = {
        name for name, column in after.columns.items()
        if np.any(after.deviates[:, column] != before.deviates[:, before.columns[name]])
    }  # fmt: skip
    assert moved == set(both.result["moved"]["names"])
    assert all(name.startswith(("lap.front.", "lap.rear.", "lap.track_grip")) for name in moved)
    shifts = both.result["shifts"]
    assert np.mean(shifts["grip_front"]) < 0.0 < np.mean(shifts["grip_rear"])


def test_draws_keep_their_spread_as_the_update_says(both: Tied) -> None:
    names, deviates = both.result["moved"]["names"], both.result["moved"]["deviates"]
    free = []
    for k, name in enumerate(names):
        own = deviates[:, k]
        found, at_least = np.std(own, ddof=1), np.sum(own == own.min())
        if at_least == 1:  # no draw is held at no loss or no margin
            free.append(name)
            assert found == pytest.approx(both.left(name), rel=1e-9)
        else:  # some are held there, at most one in ten
            assert at_least < 0.1 * own.size
            assert found < both.left(name)
    assert {"lap.front.grip", "lap.rear.grip", "lap.track_grip"} <= set(free)


def test_one_pad_ties_one_sum_and_says_so(halyard: Bench) -> None:
    one = Tied(halyard, pad())
    said = " ".join(one.page["says"])
    assert "No circle says where the rear gives up" in said
    assert "How front grip falls with load this one circle cannot tell" in said
    assert one.result["axles"]["front"]["alone"] > 100.0
    # grip and its loss each keep most of their range; what they make at the load driven does not
    assert one.left("lap.front.grip") > 0.6
    assert one.left("lap.front.grip_loss") > 0.6
    assert one.result["axles"]["front"]["left"] < 0.5
    for key in ("grip", "grip_loss"):
        assert one.left(f"lap.rear.{key}") == pytest.approx(1.0, abs=1e-6)


def test_who_gave_up_unsaid_ties_both_weakly(halyard: Bench) -> None:
    said = Tied(halyard, pad())
    unsaid = Tied(halyard, pad() | {"gave_up": "not said"})
    assert unsaid.result["axles"]["front"]["left"] > said.result["axles"]["front"]["left"]
    assert unsaid.result["axles"]["rear"]["left"] < 1.0
    assert "Which axle gave up is not said for G1" in " ".join(unsaid.page["says"])


def _heavy(tables: dict[str, Any]) -> None:
    """Add a mass state with ballast, and measure as a laboratory would."""
    race = tables["mass_states"][0]
    tables["mass_states"].append(race | {"name": "ballast", "mass": "1685 kg ± 3 kg"})
    tables["lap"]["cornering"]["follows"] = "0.2 %"


def test_ballast_on_the_same_pad_tells_the_loss_over_load(halyard: Bench) -> None:
    loss = 5.0e-5  # where 3.2 % for each kN was given
    runs = [
        pad() | {"speed": planted_speed("front", 20.0, loss=loss, mass=mass).split(" ±")[0],
                 "id": id, "mass_state": state}
        for id, mass, state in (("G1", 1285.0, "race, half fuel"), ("G2", 1685.0, "ballast"))
    ]  # fmt: skip
    tied = Tied(halyard, *runs, change=_heavy)
    own = tied.result["axles"]["front"]
    assert own["alone"] < 1.0
    assert "falls with load is told by the circles themselves" in " ".join(tied.page["says"])
    found = next(r for r in tied.result["inputs"] if r["name"] == "lap.front.grip_loss")
    assert found["posterior"][1] <= 1e3 * loss <= found["posterior"][2]
    assert found["posterior"][0] > 0.040


def test_points_of_a_rig_are_tied_as_well(halyard: Bench) -> None:
    def rig(tables: dict[str, Any]) -> None:
        points = [{"load": f"{n} kN", "force": f"{f} kN ± 2 %"}
                  for n, f in ((2, 3.9), (4, 7.3), (6, 10.2))]  # fmt: skip
        tables["lap"]["front"] = {"rig": points}

    project = Project.model_validate(_with(lap_tables(pad()), rig))
    job = Job.of(project)
    ensemble = _drawn(job)
    results = {**halyard.answers.results, "tie": ensemble}
    (step,) = grip_steps(job)
    found = step.work(results, PULSE)
    row = next(r for r in found["inputs"] if r["name"] == "lap.front.rig_to_track")
    assert row["left"] < 0.6
    assert found["axles"]["front"]["alone"] is None  # the rig says how grip falls with load


def _with(tables: dict[str, Any], change: Any) -> dict[str, Any]:
    change(tables)
    return tables


def _drawn(job: Job) -> dict[str, Any]:
    from tuftwork.quantity import draw_ensemble

    drawn = draw_ensemble(job.quantities, size=256, seed=3)
    return {"names": list(drawn.columns), "deviates": drawn.deviates, "rows": [], "narrowed": [],
            "notices": []}  # fmt: skip


KEYS: dict[str, Any] = {
    "radius": "21 m ± 0.1 m", "speed": "56 km/h", "bank": "2 °", "gave_up": "rear",
    "state": "more wing", "mass_state": "light", "temperature": "2 °C", "pressure": "850 hPa",
    "kind": "corner",
}  # fmt: skip


@pytest.mark.parametrize("key", KEYS)
def test_every_key_of_a_circle_moves_what_it_is_compared_with(halyard: Bench, key: str) -> None:
    def light(tables: dict[str, Any]) -> None:
        race = tables["mass_states"][0]
        tables["mass_states"].append(race | {"name": "light", "mass": "1150 kg"})

    told = []
    for row in (pad("G1", "front", 60.0), pad("G1", "front", 60.0) | {key: KEYS[key]}):
        job = Job.of(Project.model_validate(_with(lap_tables(row), light)))
        ensemble = job.ensemble(halyard.answers.results["tie"])
        (one,) = driven_circles(job, circles_of(job.project, None), ensemble,
                                halyard.answers.results)  # fmt: skip
        tyres = {n: np.full(256, v) for n, v in (
            ("grip_front", 1.4), ("grip_rear", 1.3), ("margin_front", 0.02), ("margin_rear", 0.02),
            ("track_grip", 1.0))}  # fmt: skip
        limit = circle_limit(one.steady, one.placed(tyres)).lateral
        told.append(np.median(limit / one.measured))
    assert abs(told[1] / told[0] - 1.0) > 1e-4


def test_one_place_has_one_error_of_its_radius(halyard: Bench) -> None:
    def measured(*runs: dict[str, Any]) -> list[np.ndarray]:
        job = Job.of(Project.model_validate(lap_tables(*runs)))
        ensemble = job.ensemble(halyard.answers.results["tie"])
        circles = circles_of(job.project, None)
        return [r.steady.radius for r in driven_circles(job, circles, ensemble,
                                                        halyard.answers.results)]  # fmt: skip

    same = measured(pad("G1"), pad("G2"))
    np.testing.assert_array_equal(same[0], same[1])
    other = measured(pad("G1"), pad("G2") | {"at": "another"})
    assert abs(np.corrcoef(other[0], other[1])[0, 1]) < 0.2


def test_a_circle_driven_again_makes_no_better_car(halyard: Bench) -> None:
    """Four runs of two circles tell of the loss over load what one run of each does."""
    bare = planted_speed("front", 20.0).split(" ±")[0]  # exact: only the car's own doubt is left
    often = {}
    for times in (1, 4):
        runs = [
            pad(f"{name}{k}") | {"speed": speed, "mass_state": state}
            for k in range(times)
            for name, speed, state in (
                ("A", bare, "race, half fuel"),
                ("B", planted_speed("front", 20.0, mass=1685.0).split(" ±")[0], "ballast"),
            )
        ]  # fmt: skip
        often[times] = Tied(halyard, *runs, change=_heavy).result["axles"]["front"]
    assert often[4]["alone"] > 0.85 * often[1]["alone"]
    assert often[4]["left"] > 0.9 * often[1]["left"]


def test_one_place_has_one_bank_and_the_wider_of_two_doubts(halyard: Bench) -> None:
    rows = [
        {"bank": "0 ° ± 0.5 °", "radius": "20 m ± 0.5 m"},
        {"bank": "0 ° ± 0.1 °", "radius": "20 m ± 0.1 m"},
    ]
    runs = [pad(f"G{k}") | {"at": ""} | row for k, row in enumerate(rows)]
    job = Job.of(Project.model_validate(lap_tables(*runs)))
    ensemble = job.ensemble(halyard.answers.results["tie"])
    first, second = driven_circles(
        job, circles_of(job.project, None), ensemble, halyard.answers.results
    )
    for key, wide in (("bank", np.radians(0.5)), ("radius", 0.5)):
        drawn = getattr(first.steady, key)
        np.testing.assert_array_equal(drawn, getattr(second.steady, key))
        assert np.quantile(drawn, 0.9) - np.median(drawn) == pytest.approx(wide, rel=0.1)


def test_a_table_of_the_evidence_says_the_same_as_the_project(
    halyard: Bench, tmp_path: Path
) -> None:
    speed = float(planted_speed("front", 20.0).split()[0])
    (tmp_path / "evidence").mkdir()
    (tmp_path / "evidence" / "circles.csv").write_text(
        "id;kind;at;radius [m];radius uncertainty [m];speed [km/h];uncertainty [%];gave up\n"
        f"G1;skid pad;pad;20;0.078;{speed:.2f};0.39;front\n",
        encoding="utf-8",
    )
    evidence = {"id": "K1", "title": "Circles", "kind": "table", "file": "circles.csv"}

    def filed(tables: dict[str, Any]) -> None:
        tables["evidence"].append(evidence)
        tables["lap"]["cornering"] = {"tables": ["K1"]}

    inline = Tied(halyard, pad())
    tabled = Tied(halyard, folder=tmp_path, change=filed)
    assert "refused" not in tabled.result
    for one, two in zip(inline.result["inputs"], tabled.result["inputs"], strict=True):
        assert one["moved"] == pytest.approx(two["moved"], abs=0.02)
        assert one["left"] == pytest.approx(two["left"], abs=0.02)
    assert tabled.page["rows"][0]["evidence"] == "K1"


def test_every_fault_of_a_table_is_named_with_its_line(halyard: Bench, tmp_path: Path) -> None:
    (tmp_path / "evidence").mkdir()
    (tmp_path / "evidence" / "circles.csv").write_text(
        "id,kind,radius [m],speed [km/h],time [s],gave up,state,mass state,uncertainty [%]\n"
        "G1,skid pad,20,57,,front,,,1\n"
        "K1,skid pad,20,57,7.9,front,,,1\n"
        "K2,skid pad,20,140,,front,,,1\n"
        "K3,hairpin,20,57,,front,,,1\n"
        "K4,skid pad,-20,57,,front,,,1\n"
        "K5,skid pad,20,57,,front,more wings,,1\n"
        "K6,skid pad,20,57,,front,,on the moon,1\n"
        "K7,skid pad,20,57,,both,,,1\n"
        "K8,skid pad,20,57,,front,,,-1\n"
        'K9,skid pad,20,57,,front,,"on the sheet",1\n',
        encoding="utf-8",
    )

    def filed(tables: dict[str, Any]) -> None:
        tables["evidence"].append(
            {"id": "E9", "title": "Circles", "kind": "table", "file": "circles.csv"}
        )
        tables["lap"]["cornering"]["tables"] = ["E9"]

    tied = Tied(halyard, pad(), folder=tmp_path, change=filed)
    said = "\n".join(tied.result["refused"])
    for line, words in (
        (2, "this id stands in project.toml already"), (3, "give one of 'speed', 'round_time'"),
        (4, "needs 7.71 g to the side"), (5, "kind"), (6, "must be above 0"),
        (7, "no state of this name"), (8, "no mass state of this name"), (9, "gave_up"),
        (10, "must not be below 0"), (11, "no mass state of this name"),
    ):  # fmt: skip
        assert any(f"circles.csv:{line}:" in row and words in row
                   for row in tied.result["refused"]), (line, said)  # fmt: skip
    page = tied.page
    assert page["answer"] == "The circles tie nothing: the tyres stay as given."
    (finding,) = grip_findings(tied.answers)
    assert finding.title == "The circles driven tie nothing"
    # the laps of the study stand on the tyres as given
    assert tied.answers.ensemble.deviates is not None
    assert "moved" not in tied.result


def test_faults_in_the_project_are_all_named_at_once(tmp_path: Path) -> None:
    runs = [
        pad() | {"state": "more wings"}, pad() | {"mass_state": "none"},
        pad("G3") | {"evidence": "E99"}, pad("G4") | {"round_time": "8 s"},
        pad("G5") | {"radius": "2 m"}, CORNER | {"bank": "2"}, pad("G6") | {"speed": "fast"},
    ]  # fmt: skip
    text = tomlkit.dumps(lap_tables(*runs, tables=["E98"]))
    (tmp_path / "project.toml").write_text(text, encoding="utf-8")
    with pytest.raises(FileFault) as caught:
        read_project(tmp_path)
    said = str(caught.value)
    for words in ("this id is used twice", "no state of this name", "no mass state of this name",
                  "E99", "E98", "give one of 'speed'", "g to the side", "bank",
                  "fast"):  # fmt: skip
        assert words in said, words
    assert all(fault.line for fault in caught.value.faults)


def test_a_cornering_table_that_says_nothing_is_refused() -> None:
    with pytest.raises(ValidationError, match="give 'runs'"):
        Project.model_validate(lap_tables())


def test_a_circle_misread_is_refused_and_not_believed(halyard: Bench) -> None:
    wrong = pad() | {"speed": "93 km/h"}  # 3.4 g: the diameter was taken for the radius
    (said,) = Tied(halyard, wrong).result["refused"]
    assert "standard deviations from what this car can do" in said
    assert "a diameter?" in said


def test_circles_that_can_tie_nothing_are_refused(halyard: Bench) -> None:
    def exact(tables: dict[str, Any]) -> None:
        for axle in ("front", "rear"):
            tables["lap"][axle] = {"grip": "1.4", "grip_loss": "3 %"}

    job = Job.of(Project.model_validate(_with(lap_tables(pad()), exact)))
    (step,) = grip_steps(job)
    found = step.work({**halyard.answers.results, "tie": _drawn(job)}, PULSE)
    assert "tie nothing" in found["refused"][0]


def test_a_mass_state_without_its_height_is_refused(halyard: Bench) -> None:
    tied = Tied(halyard, pad() | {"mass_state": "on the sheet, no driver"})
    assert "has no cg_height" in tied.result["refused"][0]


def test_tyres_pushed_outside_their_range_are_a_finding(halyard: Bench) -> None:
    def sure(tables: dict[str, Any]) -> None:
        for axle in ("front", "rear"):
            tables["lap"][axle]["grip"] = "1.40 ± 0.02"
            tables["lap"][axle]["grip_loss"] = "3.2 % ± 0.4 %"

    slow = {"speed": planted_speed("front", 20.0, grip=0.95)}
    slower = {"speed": planted_speed("front", 60.0, grip=0.95)}
    tied = Tied(halyard, pad() | slow, pad("G2", "front", 60.0) | slower, change=sure)
    (finding,) = grip_findings(tied.answers)
    assert finding.verdict == "contradicts"
    assert finding.page == "lap"
    assert "front" in finding.title
    assert "\u2212" in finding.text  # by how many standard deviations, and which way
    assert finding.worth > 0.02
    assert any("moved outside the range it was given" in n for n in tied.page["notices"])
    # planted 1.27 where 1.40 was said: the lap is slower
    assert finding.value is not None
    assert finding.value["best"] > 0.0


def test_tyres_within_their_range_are_none(both: Tied) -> None:
    moved = [both.result["axles"][a]["moved"] for a in ("front", "rear")]
    expected = 1 if max(map(abs, moved)) > 1.2816 else 0
    assert len(grip_findings(both.answers)) == expected


def test_the_demo_has_no_circles(halyard: Bench) -> None:
    job = Job.of(halyard.opened.project, folder=halyard.folder)
    assert grip_steps(job) == []
    assert halyard.page("lap")["grip"] is None
    assert grip_findings(halyard.answers) == []


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """The demo's car with few draws, one state and one circuit, and two circles."""
    tables = lap_tables(pad(), CORNER)
    kept = ("form", "about", "car", "mass_states", "weather", "parts", "states", "lap")
    tables = {key: tables[key] for key in kept}
    tables["parts"] = [
        {k: v for k, v in part.items() if k != "channel"}
        for part in tables["parts"] if part["kind"] != "air net"
    ]  # fmt: skip
    tables["states"] = tables["states"][:1]
    lap = tables["lap"]
    lap["circuits"] = lap["circuits"][:1]
    for key in ("trim", "changes", "remarks"):
        lap.pop(key, None)
    tables["study"] = {"speeds": ["140 km/h", "220 km/h"], "draws": 32, "map_points": 8}
    folder = Path(tmp_path_factory.mktemp("grip")) / "car"
    folder.mkdir()
    (folder / "project.toml").write_text(tomlkit.dumps(tables), encoding="utf-8")
    assert tomllib.loads((folder / "project.toml").read_text("utf-8"))
    bench = Bench(folder)
    bench.run()
    return bench


def test_the_command_shows_as_given_as_driven_and_what_cannot_be_told(small: Bench) -> None:
    done = CliRunner().invoke(program, ["lap", str(small.folder)], env={"COLUMNS": "160"})
    assert done.exit_code == 0
    for words in ("Tyres: tied to circles driven", "front friction at", "To the side, circle by",
                  "cannot tell", "as given", "as driven",
                  "In a corner grip, the road's share"):  # fmt: skip
        assert words in done.output


def test_chains_lead_from_the_tyres_to_the_circles(small: Bench) -> None:
    grip = small.page("lap")["grip"]
    for number in (grip["inputs"][0]["after"], grip["friction"][0]["after"]):
        chain = small.why(number["why"])
        assert chain["steps"][0]["what"] == "G1: skid pad"
        assert chain["number"]["text"] == number["text"]
    chain = small.why(grip["lap"]["why"])
    assert any("Tyres tied to circles G1, C1" in s["what"] for s in chain["steps"])
    before = small.why(grip["inputs"][0]["before"]["why"])
    assert any("Circles driven moved it by" in n for n in before["notices"])


def test_the_report_has_the_circles(small: Bench, tmp_path: Path) -> None:
    import typst

    section = lap_section(small, small.answers, tmp_path)
    assert section is not None
    grip = section["page"]["grip"]
    assert grip["rows"][0]["id"] == "G1"
    room = files("tuftwork.report")
    for name in ("house.typ", "section/lap.typ"):
        text = room.joinpath(*name.split("/")).read_text(encoding="utf-8")
        (tmp_path / Path(name).name).write_text(text, encoding="utf-8")
    refused = grip | {"refused": ["circles.csv:2: is wrong."], "rows": [], "lap": None}
    (tmp_path / "data.json").write_text(json.dumps([grip, refused]), encoding="utf-8")
    (tmp_path / "page.typ").write_text(
        '#import "house.typ": *\n#import "lap.typ": circles\n'
        '#for grip in json("data.json") { circles(grip, "as raced") }',
        encoding="utf-8",
    )
    assert typst.compile(str(tmp_path / "page.typ"), root=str(tmp_path)).startswith(b"%PDF")


def test_a_trim_table_that_is_refused_takes_no_lap_from_the_report(
    small: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = small.page

    def page(name: str, **query: str) -> dict[str, Any]:
        if name == "trim":
            raise NotCovered("No trim table: no setting keeps the share.")
        return own(name, **query)

    monkeypatch.setattr(small, "page", page)
    results = {**small.answers.results, "trim": {"refused": "no setting keeps the share"}}
    section = lap_section(small, Answers(job=small.answers.job, results=results), tmp_path)
    assert section is not None
    assert section["page"]["grip"]["rows"]
    assert section["trim"] is None
    assert section["no_trim"].startswith("No trim table")
