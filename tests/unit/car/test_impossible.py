"""What no car can be is refused when the project is read, with its line, not in the study."""

import pytest
from pydantic import ValidationError

from tuftwork.car.device import ScheduleRule
from tuftwork.car.part import Floor

FLOOR = {
    "name": "floor", "kind": "floor", "width": "1.35 m", "front_station": "-0.3 m",
    "kick_station": "2.25 m", "exit_station": "3.05 m", "diffuser_angle": "9 °",
}  # fmt: skip


@pytest.mark.parametrize(("key", "value"), [("exit_station", "2.05 m"), ("kick_station", "-1 m")])
def test_a_floor_runs_rearward(key: str, value: str) -> None:
    assert Floor.model_validate(FLOOR).exit_station.best == pytest.approx(3.05)
    assert Floor.model_validate({**FLOOR, "exit_station": "2.25 m"})  # flat, without a ramp
    with pytest.raises(ValidationError, match="stations must run rearward"):
        Floor.model_validate({**FLOOR, key: value})


def test_a_rule_that_can_never_hold_is_refused() -> None:
    rule = {"position": "flat", "speed_above": "150 km/h", "speed_below": "200 km/h"}
    assert ScheduleRule.model_validate(rule).position == "flat"
    with pytest.raises(ValidationError, match="can never hold: speed_above"):
        ScheduleRule.model_validate({**rule, "speed_below": "100 km/h"})
    with pytest.raises(ValidationError, match="can never hold: side_above"):
        ScheduleRule.model_validate({"position": "x", "side_above": "1 g", "side_below": "0.5 g"})
