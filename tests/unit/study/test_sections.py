"""Sections and wings in the study: tables, page, live answers, chains, exports, part sheet."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tuftwork.car import FrontSection
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.section import set_handle
from tuftwork.study import Bench
from tuftwork.study.section_case import case_of, solve_section, solve_span, wings_of
from tuftwork.study.section_export import wing_solid, write_section_files
from tuftwork.study.section_help import edge_of
from tuftwork.study.section_live import memory_of, point_notices, service_numbers
from tuftwork.study.section_page import CAUTIONS, section_page
from tuftwork.study.section_step import outline_named

REAR = {"wing": "rear wing", "speed": 70.0}


def live(bench: Bench, do: str = "section_at", **message):
    return bench.live({"do": do, **REAR, **message})


def test_tables_are_a_step_that_is_read_the_second_time(student: Bench) -> None:
    again = student.run()
    steps = {step["name"]: step["cached"] for step in again["steps"]}
    assert steps["wing tables"]
    assert steps["sections"]


def test_a_project_without_a_section_has_no_table_step(halyard: Bench) -> None:
    assert "wing tables" not in halyard.answers.results
    page = section_page(halyard.answers)
    assert page["is_stand_in"]
    assert page["engine"] == "estimate"
    assert "budget uses the estimate" in page["answer"]


def test_the_page_says_loads_margin_and_cautions(student: Bench) -> None:
    page = student.page("sections", wing="rear wing")
    rows = {row["key"]: row["number"] for row in page["loads"]}
    assert rows["force"]["low"] < rows["force"]["best"] < rows["force"]["high"]
    assert rows["proof"]["best"] == pytest.approx(1.5 * rows["top"]["best"])
    assert page["cautions"] == list(CAUTIONS)
    assert "proof load" in page["cautions"][0]
    assert len(page["span"]["y_m"]) == len(page["span"]["load"])


def test_straight_air_and_budget_agree_where_nothing_stands_before_the_wing(student: Bench) -> None:
    # the budget's row "part" is the wing alone: same lattice, its ranges from draws
    for name in wings_of(student.answers.project):
        rows = {r["key"]: r["number"] for r in student.page("sections", wing=name)["loads"]}
        assert rows["budget"]["best"] == pytest.approx(rows["downforce"]["best"], rel=0.08)


def test_build_errors_take_the_shop_s_ranges(student: Bench) -> None:
    rows = {r["what"]: r for r in student.page("sections", wing="rear wing")["tolerances"]}
    assert rows["flap 1: gap"]["error"].startswith("± 0.48")  # 0.1 % of 480 mm
    assert rows["flap 1: deflection"]["lift"]["best"] < 0.0
    assert set(rows) == {"incidence", "flap 1: deflection", "flap 1: gap", "flap 1: overlap"}


def test_every_load_has_a_chain(student: Bench) -> None:
    for row in student.page("sections", wing="rear wing")["loads"]:
        assert student.why(row["number"]["why"])["number"]["text"] == row["number"]["text"]


def test_more_flap_makes_more_lift_and_loads_the_nose(student: Bench) -> None:
    flap = student.page("sections", wing="rear wing")["handles"]["flaps"][0]
    low, _ = live(student, flaps=[flap])
    high, arrays = live(student, flaps=[{**flap, "deflection_deg": 25.0}])
    assert high["numbers"]["lift"]["best"] > low["numbers"]["lift"]["best"]
    assert high["numbers"]["nose_suction"]["best"] > low["numbers"]["nose_suction"]["best"]
    assert high["elements"] == 2
    assert arrays["x1"].shape == arrays["cp1"].shape


def test_the_drawing_hangs_suction_side_down(student: Bench) -> None:
    _, arrays = live(student, incidence_deg=4.0)
    lowest = int(np.argmin(arrays["y0"]))
    assert arrays["cp0"][lowest] < 0.0
    # nose down: the flap's edge is the highest point behind
    assert arrays["y1"].max() > arrays["y0"].max()


def test_span_answer_follows_incidence(student: Bench) -> None:
    low, _ = live(student, "span_at", incidence_deg=2.0)
    high, arrays = live(student, "span_at", incidence_deg=4.0)
    assert high["numbers"]["downforce"]["best"] > low["numbers"]["downforce"]["best"]
    assert high["numbers"]["margin"]["best"] < low["numbers"]["margin"]["best"]
    assert arrays["y"].shape == arrays["load"].shape == arrays["ideal"].shape


def test_a_gap_below_the_published_least_is_said(student: Bench) -> None:
    case = case_of(student.answers.project, student.folder, "rear wing")
    point = solve_section(case, case.design, 50.0)
    assert not any("published least" in text for text in point_notices(case.design, point))
    narrow = set_handle(case.design, "gap", 0.007)
    assert any("published least" in text for text in point_notices(narrow, point))


def test_a_gap_wider_than_usual_is_said(student: Bench) -> None:
    case = case_of(student.answers.project, student.folder, "rear wing")
    point = solve_section(case, case.design, 50.0)
    wide = set_handle(case.design, "gap", 0.04)
    assert any("loses the jet" in text for text in point_notices(wide, point))


def test_a_gurney_stands_beside_a_thick_edge_of_its_height(student: Bench) -> None:
    header, _ = live(student, wing="front wing", gurney_mm=4.0)
    clean, tab, thick = header["devices"]["rows"]
    assert header["devices"]["height"].startswith("4.00")
    assert clean["lift"]["best"] < thick["lift"]["best"] < tab["lift"]["best"]
    assert clean["drag"]["best"] < thick["drag"]["best"]
    # the increments' own ranges stand on top of the section's
    width = [row["lift"]["high"] - row["lift"]["low"] for row in (clean, tab)]
    assert width[1] > width[0]


def test_a_search_climbs_and_keeps_its_margin(student: Bench) -> None:
    found, _ = live(student, "better_at", wing="front wing", price=20.0, margin_deg=3.0)
    assert "designs tried" in found["text"]
    assert found["gain"] > 0.0
    steep, _ = live(student, "better_at", wing="front wing", price=20.0, margin_deg=6.0)
    assert steep["setting"]["incidence_deg"] <= found["setting"]["incidence_deg"] + 0.5


@pytest.mark.parametrize(
    ("message", "word"),
    [
        ({"price": -1.0, "margin_deg": 2.0}, "price"),
        ({"price": 5.0, "margin_deg": 20.0}, "margin"),
        ({"margin_deg": 2.0}, "price"),
    ],
)
def test_a_search_with_impossible_wishes_is_refused(student: Bench, message, word) -> None:
    with pytest.raises(InputError, match=word):
        live(student, "better_at", **message)


def test_the_edge_behind_the_front_wing_is_held_against_what_it_stands(student: Bench) -> None:
    edge = student.page("sections", wing="front wing")["edge"]
    assert edge["is_within"]
    # a wing that pushes down turns the air behind it up
    assert min(edge["angle_deg"]) > 0.0
    assert edge["worst"]["low"] < edge["worst"]["best"] < edge["worst"]["high"]
    assert "edge stands 5.0°" in edge["text"]
    assert student.page("sections", wing="rear wing")["edge"] is None


def test_an_edge_that_stands_little_is_said_to_stand_too_little(student: Bench) -> None:
    case = case_of(student.answers.project, student.folder, "front wing")
    result = solve_span(case, case.design, memory_of(student.answers).table(case, case.design))
    assert case.part.edge_behind is not None
    weak = case.part.edge_behind.with_values({"tolerance": "1 °"})
    edge = edge_of(replace(case, part=case.part.with_values({"edge_behind": weak})), result)
    assert not edge["is_within"]
    assert "may be more than" in edge["text"]


def test_a_section_that_vents_turns_the_air_the_more(student: Bench) -> None:
    case = case_of(student.answers.project, student.folder, "front wing")
    result = solve_span(case, case.design, memory_of(student.answers).table(case, case.design))
    own = {k: getattr(case.part, k) for k in case.part.model_fields_set if k != "kind"}
    vented = FrontSection.model_validate(own | {"kind": "front section", "exit_pressure": "-0.4"})
    plain, more = edge_of(case, result), edge_of(replace(case, part=vented), result)
    assert more["worst"]["best"] > 1.1 * plain["worst"]["best"]


def test_a_hinge_and_a_lever_of_the_project_are_used(student: Bench) -> None:
    case = case_of(student.answers.project, student.folder, "rear wing")
    assert case.part.section is not None
    moving = case.part.section.with_values({"hinge": "35 %", "lever": "60 mm"})
    moved = replace(case, part=case.part.with_values({"section": moving}))
    result = solve_span(case, case.design, memory_of(student.answers).table(case, case.design))
    fixed = service_numbers(case, result, 500.0, "here")
    held = service_numbers(moved, result, 500.0, "here")
    assert "actuator" not in fixed
    # further back the air ahead of the axis turns the wing nose-down the more
    assert held["hinge"]["best"] > fixed["hinge"]["best"]
    assert held["actuator"]["best"] == pytest.approx(abs(held["hinge"]["best"]) / 0.06)


@pytest.mark.parametrize(
    ("message", "word"),
    [
        ({"incidence_deg": 60.0}, "between"),
        ({"incidence_deg": "steep"}, "number"),
        ({"gurney_mm": 900.0}, "between"),
        ({"speed": 0.0}, "between"),
        ({"flaps": [{}, {}, {}]}, "flaps"),
        ({"flaps": [{"gap_pct": 0.0}]}, "between"),
    ],
)
def test_impossible_handles_are_refused(student: Bench, message, word) -> None:
    with pytest.raises(InputError, match=word):
        live(student, **message)


def test_an_unknown_wing_names_the_right_ones(student: Bench) -> None:
    with pytest.raises(UnknownName, match="rear wing"):
        student.page("sections", wing="rare wing")


def test_a_project_without_a_wing_says_what_to_add(prototype: Bench) -> None:
    with pytest.raises(NotCovered, match="kind 'wing'"):
        prototype.page("sections")


def test_an_outline_must_lie_in_evidence(student: Bench, tmp_path: Path) -> None:
    outside = tmp_path / "other.csv"
    outside.write_text("0,0\n", encoding="utf-8")
    with pytest.raises(FileFault, match="outside"):
        outline_named("../../other.csv", student.folder)
    with pytest.raises(FileFault, match="not found"):
        outline_named("missing.csv", student.folder)


def test_exports_hold_what_is_drawn(student: Bench, tmp_path: Path) -> None:
    from tuftwork.files.section import read_section

    case = case_of(student.answers.project, student.folder, "rear wing")
    csv, dxf, stl = write_section_files(case, case.design, tmp_path / "out")
    rows = [line.split(",") for line in Path(csv).read_text().splitlines()[1:]]
    assert {row[0] for row in rows} == {"1", "2"}
    assert max(float(row[1]) for row in rows) == pytest.approx(480.0, rel=0.02)
    assert read_section(Path(dxf)).chord == pytest.approx(0.74 * 480.0, rel=0.05)
    assert Path(stl).stat().st_size > 10_000


def test_the_solid_is_closed_and_hangs_where_the_project_says(student: Bench) -> None:
    from trimesh import Trimesh

    case = case_of(student.answers.project, student.folder, "rear wing")
    vertices, faces = wing_solid(case, case.design)
    solid = Trimesh(vertices=vertices, faces=faces, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume > 0.0
    assert np.ptp(vertices[:, 1]) == pytest.approx(0.95 + 0.004, abs=1e-6)
    own = np.isclose(np.abs(vertices[:, 1]), 0.475)  # ends of the elements, not the plates
    tail = vertices[np.argmax(np.where(own, vertices[:, 0], -1.0))]
    assert tail[2] == pytest.approx(1.02, abs=1e-3)


def test_a_point_and_the_wing_stand_on_the_same_section(student: Bench) -> None:
    case = case_of(student.answers.project, student.folder, "rear wing")
    point = solve_section(case, case.design, 50.0)
    table = memory_of(student.answers).table(case, case.design)
    read = np.interp(case.design.incidence, table.alpha, table.lift[-1])
    assert point.lift == pytest.approx(read, rel=0.01)
    assert solve_span(case, case.design, table).downforce_area > 0.3


def test_the_report_holds_a_part_sheet_only_for_named_sections(
    student: Bench, halyard: Bench, tmp_path: Path
) -> None:
    from tuftwork.report.section.wings import wings_section

    found = wings_section(student, student.answers, tmp_path)
    assert found is not None
    assert [sheet["wing"] for sheet in found["sheets"]] == ["front wing", "rear wing"]
    assert (tmp_path / "section_rear_wing.svg").stat().st_size > 1000
    assert "proof load" in found["sheets"][0]["cautions"][0]
    assert found["mounts"] == []
    others = wings_section(halyard, halyard.answers, tmp_path)
    assert others is not None
    assert others["sheets"] == []
    (mount,) = others["mounts"]
    pages = {s: halyard.page("sections", state=s)["loads"] for s in halyard.answers.states}
    proofs = {s: next(r["number"]["best"] for r in rows if r["key"] == "proof")
              for s, rows in pages.items()}  # fmt: skip
    assert mount["state"] == max(proofs, key=lambda s: proofs[s]) == "more wing"
    assert mount["proof"]["number"]["best"] == pytest.approx(max(proofs.values()))
    assert "proof load" in others["cautions"][0]
