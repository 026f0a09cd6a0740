"""Rules that compute put to the demo's stock, and errors that numbers of one picture share."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.conftest import NewDemo

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Quantity, draw_ensemble, parse_quantity
from tuftwork.reading import ask_of, correlations, measure
from tuftwork.study import Bench
from tuftwork.study.picture import desk_of
from tuftwork.study.picture.ruled import circuit_lines, washing_lines
from tuftwork.study.picture.save import fill_keys
from tuftwork.study.picture.shared import cited_readings, shared_correlations


@pytest.fixture(scope="module")
def halyard_unrun(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Bench:
    folder = Path(tmp_path_factory.mktemp("rules")) / "halyard"
    return Bench(new_demo("halyard", folder), runs_itself=False)


@pytest.fixture(scope="module")
def road_unrun(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> Bench:
    folder = Path(tmp_path_factory.mktemp("rules")) / "road"
    return Bench(new_demo("road", folder), runs_itself=False)


def test_a_pipe_says_which_circuit_and_how_much_it_would_carry(halyard_unrun: Bench) -> None:
    stock = {f["name"]: f for f in halyard_unrun.page("pictures")["features"]["list"]}
    (radiator,) = stock["Radiator"]["checks"]
    assert "water" in radiator
    assert "l/min" in radiator
    assert "common practice" in radiator
    (charge,) = stock["Charge coolers"]["checks"]
    assert charge.index("charge air") < charge.index("water") if "water" in charge else True
    feature = next(f for f in desk_of(halyard_unrun).room.features if f.name == "Radiator")
    cold = feature.model_copy(update={"warm": parse_quantity("45 °C", "temperature")})
    assert "low-temperature water" in circuit_lines(cold)[0].split(";")[0]


def test_inlet_core_and_exit_are_compared_where_all_three_are_known(halyard_unrun: Bench) -> None:
    paths = {p["name"]: p for p in halyard_unrun.page("pictures")["features"]["paths"]}
    # what the demo plants: the arch slots are too small for the radiator
    assert paths["Radiator"]["restricts"] == "exit"
    assert paths["Radiator"]["chance"] > 0.95
    assert "not compared: no area of core, exit" in paths["Charge coolers"]["text"]


def test_few_seams_are_worth_mending_and_many_are_not(halyard_unrun: Bench) -> None:
    mending = halyard_unrun.page("pictures")["features"]["mending"]
    assert mending["mend"] + mending["leave"] == 46
    assert mending["mend"] <= 8
    assert f"Mend these {mending['mend']}, ignore those {mending['leave']}" in mending["text"]
    rows = {r["name"]: r for r in mending["rows"]}
    assert rows["floor panel joints"]["mend"] == 2
    assert rows["recessed fixings of the floor"]["mend"] == 0
    costs = [r["points"] for r in mending["rows"]]
    assert costs == sorted(costs, reverse=True)
    assert mending["saves_points"] >= 0.8 * sum(costs) - 0.01


def test_a_strake_says_which_way_it_washes(halyard_unrun: Bench) -> None:
    desk = desk_of(halyard_unrun)
    table = desk.room.readings[0]
    flat = {p.name for p in desk.room.planes if p.axis == "z"}
    photo, mark = next(
        (p, m) for p in desk.room.pictures for m, plane in p.on.items()
        if plane in flat and len(p.marks[m]) >= 2
    )  # fmt: skip
    asked = table.model_copy(
        update={"id": "R90", "kind": "plan angle", "picture": photo.id, "marks": [mark]}
    )
    feature = desk.room.features[0].model_copy(update={"kind": "strake", "readings": ["R90"]})
    room = desk.room.model_copy(update={"readings": (*desk.room.readings, asked)})
    with_it = replace(desk, project=desk.project.model_copy(update={"reading": room}))
    (line,) = washing_lines(with_it, feature)
    assert "washes" in line
    assert "in plan" in line


def test_numbers_of_one_camera_move_together(road_unrun: Bench) -> None:
    desk = desk_of(road_unrun)
    tables = [desk.asked(name) for name in ("R1", "R2", "R3", "R6")]
    group = desk.group(tables[0].picture)
    tables = [t for t in tables if t.picture in group]
    assert len(tables) >= 2
    solution = desk.solution(tables[0].picture)
    asks = [ask_of(desk.project, t) for t in tables]
    matrix = correlations(solution, asks)
    np.testing.assert_allclose(np.diag(matrix), 1.0)
    np.testing.assert_allclose(matrix, matrix.T)
    assert np.all(np.linalg.eigvalsh(matrix) > -1e-9)
    # the linear answer against draws of the cameras alone, clicks frozen for both
    spread = [np.ptp(measure(solution, a).draws) for a in asks]
    assert min(spread) > 0
    # one reading beside itself is the same number
    twice = correlations(solution, [asks[0], asks[0]])
    assert twice[0, 1] == pytest.approx(1.0)


def test_lengths_in_one_plane_share_the_scale_of_their_picture(halyard_unrun: Bench) -> None:
    desk = desk_of(halyard_unrun)
    matrix = correlations(
        desk.solution("P4"), [ask_of(desk.project, desk.asked(n)) for n in ("R8", "R9")]
    )
    # two widths under one camera: too large together or too small together
    assert matrix[0, 1] > 0.2


def test_filled_keys_are_drawn_together_and_others_are_not(road_unrun: Bench) -> None:
    filled = fill_keys(road_unrun)
    assert {"parts.rear wing.chord", "parts.rear wing.span"} <= set(filled)
    project = road_unrun.opened.project
    quantities: dict[str, Quantity] = {
        f"rear wing.{k}": getattr(project.part("rear wing"), k)
        for k in ("chord", "incidence", "span")
    }  # fmt: skip
    quantities["assumed"] = parse_quantity("1.0 m ± 0.1 m", "length")
    cited = cited_readings(quantities, project)
    assert cited == {"rear wing.chord": "R1", "rear wing.incidence": "R2", "rear wing.span": "R3"}
    pairs = shared_correlations(quantities, project, road_unrun.folder)
    assert pairs
    assert not any("assumed" in pair for pair in pairs)
    drawn = draw_ensemble(quantities, size=4096, correlations=pairs)
    for (first, second), tie in pairs.items():
        found = np.corrcoef(drawn.of(first), drawn.of(second))[0, 1]
        assert found == pytest.approx(tie, abs=0.06)


def test_two_numbers_of_one_reading_are_one(halyard_unrun: Bench) -> None:
    project = halyard_unrun.opened.project
    area = parse_quantity("0.056 m^2 ± 6 %", "area", place="reading R5: photo P5, mark arch vent")
    other = parse_quantity("0.056 m^2 ± 6 %", "area", place="reading R5: photo P5, mark arch vent")
    tape = parse_quantity("1.6 m ± 1 %", "length", place="reading R12: photo P2, marks; tape")
    pairs = shared_correlations({"a": area, "b": other, "c": tape}, project, halyard_unrun.folder)
    assert set(pairs) == {("a", "b")}
    assert pairs["a", "b"] == pytest.approx(0.995)


def true_frontal_area() -> float:
    """Area of the drawn car's shadow along x: the union of its triangles. [m²]"""
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    from tuftwork.demo.photo import ROAD

    shadow = [
        Polygon(corners[:, 1:])
        for surface in ROAD.surfaces()
        for corners in np.asarray(surface.vertices)[np.asarray(surface.faces)]
    ]
    return float(unary_union([p.buffer(1e-5) for p in shadow if p.area > 1e-9]).area)


def test_the_frontal_area_comes_from_a_silhouette(road_unrun: Bench) -> None:
    row = next(r for r in road_unrun.page("pictures")["readings"] if r["id"] == "R10")
    number = row["number"]
    half = (number["high"] - number["low"]) / 2
    assert abs(number["best"] - true_frontal_area()) < 2 * half
    # an outline from ahead lies on no one plane, and the reading says so
    assert row["shares"][0]["name"] == "plane of silhouette"
    # where it lies is a rule for every car, not a number of this project
    assert all(
        plane.axis != "x" or "outline" not in plane.name
        for plane in desk_of(road_unrun).room.planes
    )
    assert desk_of(road_unrun).photo("P4").on["silhouette"] == "outline from ahead"
    held = road_unrun.opened.project.car.frontal_area
    assert held.origin == "digitised"
    assert "reading R10" in held.place


@pytest.mark.xfail(
    strict=True,
    reason="miss: the truth, 1.930 m², lies 0.011 m² below the range of 1.941 to 2.079 m²: the "
    "camera stood 0.41 m above half the car's height, the rule reckons with 0.3 m",
)
def test_the_road_cars_range_holds_its_frontal_area(road_unrun: Bench) -> None:
    number = next(r for r in road_unrun.page("pictures")["readings"] if r["id"] == "R10")["number"]
    assert number["low"] <= true_frontal_area() <= number["high"]


def test_a_traced_section_becomes_coordinates_for_the_section_engine(
    road_unrun: Bench, tmp_path: Path
) -> None:
    from tuftwork.files.section import read_section
    from tuftwork.reading import project
    from tuftwork.section import naca
    from tuftwork.study.picture.traced import trace_section

    desk = desk_of(road_unrun)
    plane = next(p for p in desk.room.planes if p.name == "end plate")
    true = naca("6412", n_point=41)
    chord, nose = 0.6, np.array([1.0, plane.at.best, 0.9])
    corners = np.stack([nose[0] + chord * true.x, np.full(true.x.size, nose[1]),
                        nose[2] - chord * true.y], axis=1)  # fmt: skip
    seen = project(desk.solution("P1").camera("P1"), corners[:-1])
    with_it = desk.with_marks(
        "P1", {**desk.photo("P1").marks, "foil": seen.tolist()},
        {**desk.photo("P1").on, "foil": "end plate"},
    )  # fmt: skip
    found = trace_section(with_it, "P1", "foil")
    assert found.chord == pytest.approx(chord, rel=0.01)
    path = tmp_path / "foil.csv"
    path.write_text(found.csv(), encoding="utf-8")
    shape = read_section(path)
    assert np.max(shape.y) - np.min(shape.y) == pytest.approx(
        np.max(true.y) - np.min(true.y), abs=0.006
    )


def test_the_road_cars_wing_section_is_what_was_planted(road_unrun: Bench) -> None:
    from tuftwork.demo.photo import ROAD

    (row,) = road_unrun.page("pictures", picture="P5")["sections"]
    numbers = {one["label"]: one["number"] for one in row["numbers"]}
    true = ROAD.wing_outline()
    thickness = 0.12 * 0.42  # of the chord: the shape's own closed form, at its greatest near 0.3
    for label, planted in (("chord", 1e3 * ROAD.wing_chord), ("thickness", 100 * thickness),
                           ("camber", 8.0)):  # fmt: skip
        number = numbers[label]
        half = (number["high"] - number["low"]) / 2
        assert number["best"] == pytest.approx(planted, abs=2 * half), label
        assert half < 0.15 * planted, label
    assert row["turned"]
    assert row["miss"] < 0.006
    assert row["corners"] == len(true)


def test_a_traced_section_becomes_a_wings_own_and_its_file_is_evidence(
    road_unrun: Bench, tmp_path: Path
) -> None:
    import shutil

    from tuftwork.study.section_step import outline_named

    bench = Bench(Path(shutil.copytree(road_unrun.folder, tmp_path / "road")), runs_itself=False)
    ask = {"do": "picture_section", "picture": "P5", "mark": "wing section", "wing": "rear wing"}
    header, _ = bench.live(ask)
    again = Bench(bench.folder, runs_itself=False)
    project = again.opened.project
    assert project.part("rear wing").section.outline == header["file"]
    # an outline has its camber and thickness: keys beside it would be refused
    assert project.part("rear wing").camber is None
    assert "parts.rear wing.camber" not in fill_keys(again)
    assert not again.page("pictures", picture="P5")["sections"][0]["fault"]
    item = next(e for e in project.evidence if e.id == header["evidence"])
    assert item.digest.startswith("sha256:")
    assert "traced on P5" in item.title
    assert np.max(outline_named(header["file"], bench.folder).y) > 0.08
    before = (bench.folder / "project.toml").read_bytes()
    for wrong in ({"wing": "moon"}, {"mark": "moon"}, {"picture": "P1", "mark": "sill front"}):
        with pytest.raises((UnknownName, InputError)):
            bench.live({**ask, **wrong})
    assert (bench.folder / "project.toml").read_bytes() == before
