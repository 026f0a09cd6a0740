"""The air net under the hand: parts added, taken out, led elsewhere; what cannot be is refused."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from tuftwork.errors import InputError, UnknownName
from tuftwork.study import Bench

LIVE: Mapping[str, Any] = {"do": "cooling_at", "speed": 153.8, "air_c": 28.0}
LOUVRES = {"kind": "exit", "name": "bonnet louvres", "start": "behind the radiator", "area": 400,
           "place": "bonnet"}  # fmt: skip


def _water(header: Mapping[str, Any]) -> float:
    return float(header["numbers"]["circuit water"]["best"])


def test_an_added_exit_is_drawn_cools_and_can_be_written_down(halyard: Bench) -> None:
    before, _ = halyard.live(dict(LIVE))
    after, _ = halyard.live({**LIVE, "added": [LOUVRES]})
    assert _water(after) < _water(before) - 10.0
    drawn = {p["name"]: p for p in after["net"]["parts"]}
    assert drawn["bonnet louvres"]["kind"] == "exit"
    assert drawn["bonnet louvres"]["end"] == "outside"
    assert after["numbers"]["part bonnet louvres flow"]["best"] > 0
    assert after["lines"][:2] == ["[[cooling.exits]]", 'name = "bonnet louvres"']
    chain = halyard.why(after["numbers"]["circuit water"]["why"])
    assert "bonnet louvres" in chain["number"]["at"]
    assert chain["number"]["best"] == pytest.approx(_water(after))


def test_a_leak_taken_out_and_a_part_led_elsewhere_change_the_net(halyard: Bench) -> None:
    without, _ = halyard.live({**LIVE, "gone": ["wells, below"]})
    assert "wells, below" not in [p["name"] for p in without["net"]["parts"]]
    assert "# take out: wells, below" in without["lines"]
    led, _ = halyard.live({**LIVE, "routes": {"arch slots": ["behind the radiator", "outside"]}})
    slots = next(p for p in led["net"]["parts"] if p["name"] == "arch slots")
    assert slots["end"] == "outside"


def test_gaps_and_ducts_have_a_size_that_can_be_moved(halyard: Bench) -> None:
    controls = halyard.page("cooling")["controls"]
    assert "wells, below" in [row["part"] for row in controls["areas"]]
    wide, _ = halyard.live({**LIVE, "areas": {"wells, below": 2500.0}})
    narrow, _ = halyard.live({**LIVE, "areas": {"wells, below": 100.0}})
    flows = [h["numbers"]["part wells, below flow"]["best"] for h in (wide, narrow)]
    assert flows[0] != pytest.approx(flows[1], rel=0.05)


@pytest.mark.parametrize(
    ("change", "error", "says"),
    [
        ({"gone": ["arch slots"]}, InputError, "behind the radiator leads nowhere"),
        ({"gone": ["radiator"]}, InputError, "is passed by a circuit"),
        ({"gone": ["arch slot"]}, UnknownName, "arch slots"),
        ({"routes": {"arch slots": ["behind the radiatr", "outside"]}}, InputError,
         "leads nowhere"),
        ({"routes": {"arch slots": ["front wells", "front wells"]}}, InputError,
         "starts and ends at front wells"),
        ({"added": [{**LOUVRES, "name": "nose"}]}, InputError, "names must differ"),
        ({"added": [{**LOUVRES, "name": " "}]}, InputError, "1 to 60 letters"),
        ({"added": [{**LOUVRES, "kind": "door"}]}, UnknownName, "inlet, duct, exit, leak"),
        ({"added": [{**LOUVRES, "place": "bonet"}]}, UnknownName, "bonnet"),
        ({"added": [{**LOUVRES, "area": 0}]}, InputError, "must lie between"),
        ({"added": [{**LOUVRES, "name": f"v{k}"} for k in range(60)]}, InputError, "60"),
    ],
)  # fmt: skip
def test_a_change_that_cannot_be_is_refused(
    halyard: Bench, change: dict[str, Any], error: type[Exception], says: str
) -> None:
    with pytest.raises(error, match=says):
        halyard.live({**LIVE, **change})


def test_air_that_is_added_conserves_mass(halyard: Bench) -> None:
    header, _ = halyard.live({**LIVE, "added": [LOUVRES]})
    flow = {n["name"]: header["numbers"][f"part {n['name']} flow"] for n in header["net"]["parts"]}
    came = flow["nose"]["best"]
    left = flow["arch slots"]["best"] + flow["bonnet louvres"]["best"]
    assert np.isclose(came, left, rtol=0.02)  # medians of draws, not draws
