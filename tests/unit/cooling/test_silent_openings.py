"""Openings on which the project is silent: jets into wheel wells, mouths that widen to a core."""

import tomllib
from importlib.resources import files
from typing import Any

import numpy as np
import pytest

from tuftwork.car import Project
from tuftwork.cooling import AxleLoads, solve_cooling, stream_drag
from tuftwork.cooling.case import CoolingCase, cooling_quantities, net_quantities
from tuftwork.cooling.cost_change import cooling_cost
from tuftwork.cooling.element import Inlet
from tuftwork.quantity import Numeric

SLOTS = "cooling.exits.arch slots.recovery"


def tables(*, well: bool) -> dict[str, Any]:
    """Return the demo's tables, with the wheel well as a node of the net or without it."""
    text = files("tuftwork.demo").joinpath("halyard.toml").read_text("utf-8")
    demo = tomllib.loads(text)
    net = demo["cooling"]
    if not well:
        net["wells"], net["leaks"] = [], []
        net["exits"] = [e for e in net["exits"] if e["name"] != "wheel openings"]
        net["exits"][0].pop("end")
    return demo


def case_of(given: dict[str, Any], **over: float) -> CoolingCase:
    project = Project.model_validate(given)
    found = cooling_quantities(project)

    def of(name: str) -> Numeric:
        return over.get(name, found[name].best)

    return CoolingCase.of_project(project, of)


def cost_of(given: dict[str, Any], **over: float) -> AxleLoads:
    case = case_of(given, **over)
    state = solve_cooling(case.system, case.around)
    return cooling_cost(case.system.air, state.air, case.wheelbase, wells=case.wells)


def test_a_jet_into_a_well_that_is_no_node_costs_about_what_the_modelled_well_does() -> None:
    modelled = float(cost_of(tables(well=True)).CxS[0])
    silent = [float(cost_of(tables(well=False), **{SLOTS: r}).CxS[0]) for r in (0.0, 0.1, 0.3)]
    assert silent[2] < modelled < 1.05 * silent[0]
    assert float(cost_of(tables(well=False)).CxS[0]) == silent[1]
    # all of the jet as thrust, as it once was, is a quarter of it
    assert float(cost_of(tables(well=False), **{SLOTS: 1.0}).CxS[0]) < 0.3 * modelled


def test_less_of_the_jet_kept_is_never_less_drag() -> None:
    drag = [float(cost_of(tables(well=False), **{SLOTS: r}).CxS[0])
            for r in np.linspace(0.0, 1.0, 6)]  # fmt: skip
    assert np.all(np.diff(drag) <= 0.0)
    assert drag[-1] < drag[0]


def test_both_forms_of_the_drag_agree_for_a_spoilt_jet() -> None:
    case = case_of(tables(well=False), **{SLOTS: 0.4})
    air = solve_cooling(case.system, case.around).air
    drag = stream_drag(case.system.air, air, "arch slots")
    np.testing.assert_allclose(drag.momentum_drag, drag.loss_drag, rtol=1e-6)
    assert 0.0 < float(drag.momentum_drag[0]) < float(drag.ram_drag[0])


def test_only_jets_that_meet_a_well_are_uncertain_in_what_they_keep() -> None:
    kept = [n for n in cooling_quantities(Project.model_validate(tables(well=False)))
            if n.endswith(".recovery") and ".exits." in n]  # fmt: skip
    assert kept == [SLOTS]
    modelled = Project.model_validate(tables(well=True))
    assert not [n for n in cooling_quantities(modelled) if n == SLOTS]
    assert SLOTS in net_quantities(Project.model_validate(tables(well=False)))


def test_an_entered_recovery_stands_over_the_range_anywhere() -> None:
    given = tables(well=False)
    given["cooling"]["exits"][0]["recovery"] = "50 %"
    assert float(cost_of(given).CxS[0]) == pytest.approx(
        float(cost_of(tables(well=False), **{SLOTS: 0.5}).CxS[0])
    )
    side = tables(well=True)
    next(e for e in side["cooling"]["exits"] if e["at"] == "side")["recovery"] = "20 %"
    assert float(cost_of(side).CxS[0]) > float(cost_of(tables(well=True)).CxS[0])


def silent_mouths(area: str = "0.090 m^2") -> dict[str, Any]:
    given = tables(well=True)
    for inlet in given["cooling"]["inlets"]:
        inlet.pop("loss", None)
    given["cooling"]["inlets"][0]["area"] = area
    return given


def test_a_mouth_that_widens_to_its_core_loses_a_share_of_borda_and_carnot() -> None:
    """By hand: 0.090 m² onto 0.62 by 0.48 m is (1 - 0.090/0.2976)² = 0.487, six tenths 0.292."""
    nose = case_of(silent_mouths()).system.air.part("nose")
    assert isinstance(nose, Inlet)
    assert float(np.asarray(nose.step_loss())) == pytest.approx(0.292, abs=0.001)
    found = cooling_quantities(Project.model_validate(silent_mouths()))
    band = found["cooling.inlets.nose.widening"]
    assert (band.low, band.best, band.high) == (0.3, 0.6, 1.0)
    assert "cooling.inlets.nose.widening" not in cooling_quantities(
        Project.model_validate(tables(well=True))
    )


def test_half_a_mouth_no_longer_passes_as_much_air_as_a_whole_one() -> None:
    """Free widening passed the same air through half a mouth."""
    kept = {}
    for widening in (0.0, 0.6):
        flows = []
        for area in ("0.090 m^2", "0.045 m^2"):
            case = case_of(silent_mouths(area), **{"cooling.inlets.nose.widening": widening})
            flows.append(float(solve_cooling(case.system, case.around).air.of("nose")[0]))
        kept[widening] = flows[1] / flows[0]
    assert kept[0.0] == pytest.approx(1.0, abs=0.01)
    assert kept[0.6] < 0.95


def test_a_mouth_as_large_as_its_core_does_not_widen() -> None:
    nose = case_of(silent_mouths("0.300 m^2")).system.air.part("nose")
    assert isinstance(nose, Inlet)
    assert nose.widens_to is None
