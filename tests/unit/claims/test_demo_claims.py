"""The five invented claims of the demo get the verdicts that were planted in them.

The expected figures are the scenario's own (invented with it, worked by hand at 1.225 kg/m³), not
results of this program.
"""

import pytest
from tests.conftest import NewDemo

from tuftwork.claims import ClaimsReport, Figure, check_claims
from tuftwork.files import read_project


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory, new_demo: NewDemo) -> ClaimsReport:
    folder = new_demo("halyard", tmp_path_factory.mktemp("demo") / "halyard")
    return check_claims(read_project(folder).project)


def _figure(figures: tuple[Figure, ...], label: str) -> float:
    return next(f for f in figures if f.label.startswith(label)).quantity.best


def test_c1_is_impossible_for_a_wing_of_one_element(report: ClaimsReport) -> None:
    found = report.of("C1")
    assert found.verdict == "contradicts"
    assert "Impossible on its own" in found.because
    assert _figure(found.implied, "Cz on its own area") == pytest.approx(4.13, abs=0.005)


def test_c1_is_likely_a_slip_of_units(report: ClaimsReport) -> None:
    first, second = report.of("C1").slips[:2]
    assert (first.name, second.name) == ("speed in mph", "force in lb")
    assert first.odds > second.odds
    assert first.figure is not None
    assert second.figure is not None
    assert first.figure.quantity.best == pytest.approx(1.60, abs=0.005)
    assert second.figure.quantity.best == pytest.approx(1.87, abs=0.005)
    assert "mph" in report.of("C1").ask


def test_c2_rises_where_the_passes_fall(report: ClaimsReport) -> None:
    slow, fast = report.of("C2a"), report.of("C2b")
    assert [f.verdict for f in (slow, fast)] == ["contradicts", "contradicts"]
    assert _figure(slow.implied, "CzS") == pytest.approx(1.99, abs=0.006)
    assert _figure(fast.implied, "CzS") == pytest.approx(2.16, abs=0.005)
    # the planted car has 1.63 and 1.39; passes scatter
    assert _figure(slow.expected, "CzS") == pytest.approx(1.63, abs=0.03)
    assert _figure(fast.expected, "CzS") == pytest.approx(1.39, abs=0.03)
    assert "goes 1.99" in report.together.text


def test_c3_is_two_figures_that_exclude_each_other_and_the_passes(report: ClaimsReport) -> None:
    drag, speed = report.of("C3a"), report.of("C3b")
    assert [f.verdict for f in (drag, speed)] == ["contradicts", "contradicts"]
    assert ("C3a", "C3b") in report.together.conflicts
    assert _figure(drag.implied, "CxS") == pytest.approx(0.775, abs=0.001)
    # 1.17 was worked out at another density of the day: 4 % of it is open
    assert _figure(speed.implied, "CxS") == pytest.approx(1.17, rel=0.045)
    assert _figure(speed.expected, "CxS") == pytest.approx(0.90, abs=0.01)
    assert 3.6 * _figure(speed.expected, "top speed") == pytest.approx(295, abs=5)


def test_c4_is_false_by_ten_points(report: ClaimsReport) -> None:
    found = report.of("C4")
    assert found.verdict == "contradicts"
    assert found.slips[0].name == "at one speed"
    slow, fast = (figure.quantity for figure in found.expected)
    assert 100 * slow.best == pytest.approx(38.5, abs=1.5)  # planted: 39 at 140 km/h, less slower
    assert 100 * fast.best == pytest.approx(49.5, abs=1.0)


def test_c5_counted_the_outline(report: ClaimsReport) -> None:
    found = report.of("C5")
    assert found.verdict == "contradicts"
    assert found.slips[0].name == "gross area"
    assert _figure(found.expected, "net area") == pytest.approx(0.056, rel=0.01)
    assert found.conflicts == (("C5", "front cooler exit"),)


def test_every_claim_gets_a_sentence_to_send(report: ClaimsReport) -> None:
    for found in report.claims:
        assert found.ask.startswith("You say")
        assert found.ask.endswith("?")
        assert found.working
