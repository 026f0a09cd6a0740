"""Claims of gains are judged by the study's own differences and by its own laps."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from tuftwork.car import GainClaim, LapGainClaim, Project
from tuftwork.claims import Changed, ClaimFinding, Lapped, check_claims

Make = Callable[..., Project]
STATES = [{"name": "as raced"}, {"name": "gurney"}]
Z = np.random.default_rng(3).normal(size=512)


def changed(gain: float, sd: float = 0.01, drag: float = 0.01) -> list[Changed]:
    """Return a change that is the same at all speeds, as draws say it."""
    return [
        Changed(state="gurney", against="as raced", speed=v / 3.6, downforce=gain + sd * Z,
                drag=drag + 0.2 * drag * Z)
        for v in (100.0, 140.0, 180.0, 220.0)
    ]  # fmt: skip


def lapped(worth: float = 1.0, gained: float = 0.2) -> Lapped:
    """Return laps of 80 s that gain ``worth`` seconds for 1 m² of CzS."""
    return Lapped(
        circuit="Short", lap_time=80.0 + 0.5 * Z, worth=worth * np.exp(0.1 * Z),
        gained={"gurney": gained + 0.03 * Z},
    )  # fmt: skip


def verdict(project: Make, claim: dict[str, Any], **more: Any) -> ClaimFinding:
    tables = {"id": "C1", "said": "x", **claim}
    return check_claims(project([tables], states=STATES), **more).claims[0]


GURNEY = {"kind": "gain", "state": "gurney", "speed": "180 km/h"}
LAP = {"kind": "lap time gain", "lap_time": "80 s"}


@pytest.mark.parametrize(
    ("claim", "wanted"),
    [
        ({"gain": "5 %"}, "consistent"),  # 0.08 of 1.62 m²
        ({"gain": "20 %"}, "contradicts"),
        ({"force": "12.5 kgf"}, "consistent"),  # 0.080 m² at 50 m/s in standard air
        ({"force": "60 kgf"}, "contradicts"),
        ({"force": "-12.5 kgf"}, "contradicts"),
        ({"gain": "1.1 %", "direction": "drag"}, "consistent"),  # 0.010 of 0.90 m²
        ({"gain": "20 %", "direction": "drag"}, "contradicts"),
    ],
)
def test_a_devices_gain_is_held_against_the_budgets_own_difference(
    project: Make, claim: dict[str, str], wanted: str
) -> None:
    found = verdict(project, GURNEY | claim, changed=changed(0.08))
    assert found.verdict == wanted
    assert "'gurney' less 'as raced'" in found.expected[0].label


def test_the_difference_found_is_the_draws_own(project: Make) -> None:
    """What is uncertain of the whole car does not widen what a state changes."""
    found = verdict(project, GURNEY | {"gain": "5 %"}, changed=changed(0.08, sd=0.01))
    difference = found.expected[0].quantity
    assert difference.best == pytest.approx(0.08, abs=0.003)
    assert difference.high - difference.low < 0.035


def test_a_devices_gain_is_unknown_where_nothing_was_computed(project: Make) -> None:
    assert verdict(project, GURNEY | {"gain": "5 %"}).verdict == "unknown"


@pytest.mark.parametrize(("worth", "wanted"), [(1.0, "contradicts"), (5.0, "consistent")])
def test_a_lap_time_with_its_downforce_is_judged_by_what_a_point_is_worth_here(
    project: Make, worth: float, wanted: str
) -> None:
    claim = LAP | {"gain": "0.5 s", "downforce": "0.10 m^2", "circuit": "Short"}
    assert verdict(project, claim, lapped=[lapped(worth)]).verdict == wanted


@pytest.mark.parametrize(("gained", "wanted"), [(0.2, "contradicts"), (0.6, "consistent")])
def test_a_lap_time_of_a_state_is_judged_by_its_own_laps(
    project: Make, gained: float, wanted: str
) -> None:
    claim = LAP | {"gain": "0.6 s", "state": "gurney"}
    found = verdict(project, claim, lapped=[lapped(gained=gained)])
    assert found.verdict == wanted
    assert any("Short is taken" in line for line in found.working)


@pytest.mark.parametrize(("gained", "wanted"), [(0.2, "contradicts"), (0.6, "consistent")])
def test_a_lap_time_of_nothing_named_is_taken_of_the_only_changed_state(
    project: Make, gained: float, wanted: str
) -> None:
    found = verdict(project, LAP | {"gain": "0.6 s"}, lapped=[lapped(gained=gained)])
    assert found.verdict == wanted
    assert any("'gurney' is taken" in line for line in found.working)
    named = verdict(project, LAP | {"gain": "0.6 s", "state": "gurney"},
                    lapped=[lapped(gained=gained)])  # fmt: skip
    assert found.distance == pytest.approx(named.distance, rel=1e-9)


def test_a_lap_time_of_nothing_named_asks_for_it_among_several_states(project: Make) -> None:
    two = Lapped(
        circuit="Short", lap_time=80.0 + 0.5 * Z, worth=np.exp(0.1 * Z),
        gained={"gurney": 0.2 + 0.03 * Z, "low nose": -0.1 + 0.02 * Z},
    )  # fmt: skip
    claim = {"id": "C1", "said": "x", **LAP, "gain": "0.6 s"}
    states = [*STATES, {"name": "low nose"}]
    found = check_claims(project([claim], states=states), lapped=[two]).claims[0]
    assert found.verdict == "unknown"
    assert "give the claim 'state'" in found.because
    assert "'gurney' (+0.20 s, +0.16 to +0.24), 'low nose' (\u22120.10 s" in found.because
    assert "or 'downforce'" in found.because


def test_a_lap_time_without_laps_says_what_the_project_needs(project: Make) -> None:
    found = verdict(project, LAP | {"gain": "0.6 s"})
    assert found.verdict == "unknown"
    assert "describe circuit and tyres in [lap]" in found.because


def test_the_downforce_it_takes_follows_the_projects_own_worth(project: Make) -> None:
    claim = LAP | {"gain": "0.5 s"}
    found = verdict(project, claim, lapped=[lapped(2.0)])
    assert found.implied[-1].quantity.best == pytest.approx(0.25, rel=0.02)
    assert any("a point of CzS at Short" in line for line in found.working)
    elsewhere = verdict(project, claim | {"circuit": "Long"}, lapped=[lapped(2.0)])
    assert elsewhere.implied[0].quantity.best == pytest.approx(0.5 / 80 / 0.0165)


@pytest.mark.parametrize(
    ("kind", "keys", "words"),
    [
        (GainClaim, {}, "either 'gain'"),
        (GainClaim, {"gain": "5 %", "force": "10 N"}, "either 'gain'"),
        (GainClaim, {"force": "10 N", "state": "a"}, "needs 'speed'"),
        (GainClaim, {"gain": "5 %", "state": "a", "part": "b"}, "'state' or 'part'"),
        (GainClaim, {"gain": "5 %", "speed": "180 km/h"}, "change nothing"),
        (GainClaim, {"gain": "5 %", "state": "a", "against": "a"}, "another state"),
        (LapGainClaim, {"gain": "1 s", "lap_time": "80 s", "state": "a",
                        "downforce": "0.1 m^2"}, "'state' or 'downforce'"),
    ],
)  # fmt: skip
def test_keys_that_contradict_or_change_nothing_are_refused(
    kind: type, keys: dict[str, str], words: str
) -> None:
    name = "gain" if kind is GainClaim else "lap time gain"
    with pytest.raises(ValidationError, match=words):
        kind.model_validate({"id": "C1", "kind": name, "said": "x", **keys})  # type: ignore[attr-defined]
