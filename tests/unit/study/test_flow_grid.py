"""How far a run's loads depend on its cells: from the formula to the command and the page."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tests.unit.study.flow_car import BLUFF_CASE, bluff_project
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.errors import InputError, NotCovered
from tuftwork.files import read_project
from tuftwork.flow.grid_change import grid_change
from tuftwork.study import Bench
from tuftwork.study.flow.case import built_case, run_named
from tuftwork.study.flow.grid import (
    coarser_cell,
    grid_tree,
    grid_words,
    laid_share,
    runs_alike,
)
from tuftwork.study.flow.sighting import Flown, flown_runs


@pytest.mark.parametrize("order", [1, 2])
def test_an_error_of_known_order_is_found_exactly(order: int) -> None:
    """f = F + b h^p, in closed form (Roache 1994)."""
    exact, b, ratio = 0.8, 0.3, 1.4
    fine, coarse = (exact + b * h**order for h in (0.5, 0.5 * ratio))
    found = grid_change((fine, 0.003), (coarse, 0.004), ratio)
    assert (found.first if order == 1 else found.second) == pytest.approx(fine - exact)
    assert found.noise == pytest.approx(0.005)
    assert not found.is_noise
    assert grid_change((0.8, 0.01), (0.82, 0.01), 1.4).is_noise
    with pytest.raises(InputError, match=r"1\.2 or more"):
        grid_change((0.8, 0.01), (0.82, 0.01), 1.1)


@pytest.fixture(scope="module")
def rerun(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A project whose case was run, with its own and with larger cells, by one command."""
    case = BLUFF_CASE.format(name="look", speed=120, longest=1.6).replace("190 mm", "150 mm")
    folder = bluff_project(tmp_path_factory.mktemp("grid") / "car", case)
    told = CliRunner().invoke(
        program, ["flow", "rerun", str(folder), "--coarser", "1.25", "--json"]
    )
    assert told.exit_code == 0, told.output
    return folder, json.loads(told.stdout)


def test_a_case_is_run_again_with_larger_cells_and_what_they_change_is_said(
    rerun: tuple[Path, dict[str, Any]],
) -> None:
    folder, tree = rerun
    assert [case["state"] for case in tree["cases"]] == ["done", "done"]
    (said,) = tree["grid"]
    assert "Cells of 187.5 mm instead of 150 mm" in said
    assert "CxS" in said
    project = read_project(folder).project
    base, other = project.flow.cases
    assert other.cell.best == pytest.approx(1.25 * base.cell.best)
    assert (base.counts, other.counts) == (True, False)
    # both sides of the page and the command say the same
    bench = Bench(folder, runs_itself=False)
    for name in (base.name, other.name):
        assert bench.page("flow", case=name)["result"]["grid"] == [said]
    shown = CliRunner().invoke(program, ["flow", "show", str(folder)])
    assert "instead of 150 mm" in " ".join(shown.stdout.split())


def test_what_is_still_to_come_is_held_against_the_stated_range(
    rerun: tuple[Path, dict[str, Any]],
) -> None:
    folder, _ = rerun
    project = read_project(folder).project
    own, (other,) = runs_alike(project, folder, "look")

    def with_drag(one: Flown, mean: float) -> Flown:
        loads = {key: {"mean": 0.5, "error": 0.001} for key in one.record["loads"]}
        loads["drag"] = {"mean": mean, "error": 0.001}
        return replace(one, record=one.record | {"loads": loads})

    (noise,) = grid_words(with_drag(own, 0.5), [with_drag(other, 0.501)])
    assert "no more than the noise" in noise
    (little,) = grid_words(with_drag(own, 0.5), [with_drag(other, 0.51)])
    # 0.01 over 1.25² − 1 and over 0.25
    assert "CxS 0.018 to 0.040 m²: within the stated range" in little
    # cells as coarse as these have a wide range
    (much,) = grid_words(with_drag(own, 0.5), [with_drag(other, 5.0)])
    assert "more than the stated range for CxS. Use smaller cells." in much


def test_runs_that_differ_in_more_than_their_cells_are_not_compared(
    rerun: tuple[Path, dict[str, Any]],
) -> None:
    folder, _ = rerun
    flown = flown_runs(read_project(folder).project, folder)
    assert len(flown) == 2
    for key, value in (("speed", 30.0), ("front", 0.3), ("cell", 0.16), ("left_out", ["lip"])):
        record = flown[1].record
        changed = replace(flown[1], record=record | {"case": record["case"] | {key: value}})
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(
                "tuftwork.study.flow.grid.flown_runs", lambda *_, c=changed: (flown[0], c)
            )
            assert grid_tree(read_project(folder).project, folder, "look") == []


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A project whose case was run, with its cells where they lie and laid elsewhere."""
    case = BLUFF_CASE.format(name="look", speed=120, longest=1.6).replace("190 mm", "150 mm")
    folder = bluff_project(tmp_path_factory.mktemp("laid") / "car", case)
    told = CliRunner().invoke(program, ["flow", "rerun", str(folder), "--laid", "0.4", "--json"])
    assert told.exit_code == 0, told.output
    return folder, json.loads(told.stdout)


def test_a_case_is_run_again_with_its_cells_laid_elsewhere(
    elsewhere: tuple[Path, dict[str, Any]],
) -> None:
    folder, tree = elsewhere
    assert [case["state"] for case in tree["cases"]] == ["done", "done"]
    (said,) = tree["grid"]
    assert "The same cells laid 40 % of a cell further ahead instead of 0 %" in said
    assert "('look, laid 40 %' against 'look')" in said
    project = read_project(folder).project
    base, other = project.flow.cases
    assert (base.counts, other.counts) == (True, False)
    # the car stands where it stood, its cells 60 mm further ahead of it
    here, there = (built_case(project, folder, run).case for run in (base, other))
    assert (here.bounds()[0] == there.bounds()[0]).all()
    assert there.box.ahead - here.box.ahead == pytest.approx(0.4 * 0.150)
    bench = Bench(folder, runs_itself=False)
    for name in (base.name, other.name):
        assert bench.page("flow", case=name)["result"]["grid"] == [said]


def test_what_laying_cells_elsewhere_changes_is_held_against_the_stated_range(
    elsewhere: tuple[Path, dict[str, Any]],
) -> None:
    folder, _ = elsewhere
    own, (other,) = runs_alike(read_project(folder).project, folder, "look")

    def with_drag(one: Flown, mean: float) -> Flown:
        loads = {key: {"mean": 0.5, "error": 0.001} for key in one.record["loads"]}
        loads["drag"] = {"mean": mean, "error": 0.001}
        return replace(one, record=one.record | {"loads": loads})

    (noise,) = grid_words(with_drag(own, 0.5), [with_drag(other, 0.501)])
    assert noise.endswith("no more than the noise.")
    (little,) = grid_words(with_drag(own, 0.5), [with_drag(other, 0.51)])
    assert "CxS +0.010" in little
    assert little.endswith("within the stated range.")
    (much,) = grid_words(with_drag(own, 0.5), [with_drag(other, 5.0)])
    assert "more than the stated range for CxS" in much


def test_runs_whose_cells_differ_in_size_and_place_are_not_compared(
    elsewhere: tuple[Path, dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, _ = elsewhere
    project = read_project(folder).project
    flown = flown_runs(project, folder)
    record = flown[1].record
    for change in ({"cell": 0.3}, {"laid": 0.95, "box": record["case"]["box"] | {"beside": 9.0}}):
        both = replace(flown[1], record=record | {"case": record["case"] | change})
        monkeypatch.setattr("tuftwork.study.flow.grid.flown_runs", lambda *_, c=both: (flown[0], c))
        assert grid_tree(project, folder, "look") == []


def test_cells_laid_as_good_as_where_they_lie_are_refused(
    elsewhere: tuple[Path, dict[str, Any]],
) -> None:
    folder, _ = elsewhere
    base, other = read_project(folder).project.flow.cases
    for share in (0.05, 0.95, -0.4, 1.4, float("nan")):
        with pytest.raises(InputError, match=r"--laid = .*between 0\.1 and 0\.9 of a cell"):
            laid_share(base, share)
    both = ["flow", "rerun", str(folder), "--laid", "0.4", "--coarser", "2"]
    told = CliRunner().invoke(program, both)
    assert told.exit_code == 2
    assert "cannot go with --coarser" in " ".join(told.output.split())
    assert laid_share(base, 0.4) == "40 %"
    assert laid_share(other, 0.7) == "10 %"  # a whole cell further they lie as before


def test_what_cannot_be_compared_is_refused(tmp_path: Path) -> None:
    folder = bluff_project(tmp_path / "car", BLUFF_CASE.format(name="look", speed=120, longest=1.6))
    project = read_project(folder).project
    with pytest.raises(InputError, match=r"between 1\.2 and 4"):
        coarser_cell(run_named(project), 1.1)
    with pytest.raises(NotCovered, match="not been run"):
        runs_alike(project, folder, "look")
    assert grid_tree(project, folder, "look") == []
