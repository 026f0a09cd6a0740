"""Devices that move, the positions they have, how they fail, and when they go where.

A position is a state of the whole car, with a full set of map rows of its own; so is a failure. A
schedule says which position is taken when, by speed, braking and how hard the car corners.
"""

from typing import Annotated

from pydantic import Field, model_validator

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity

_Name = Annotated[str, Field(min_length=1, max_length=80)]


class Device(Table):
    """Something on the car that moves: its positions and its failures are states."""

    name: Annotated[_Name, Field(description="What it is called")]
    positions: Annotated[
        tuple[str, ...],
        Field(min_length=1, max_length=20, description="States it can be put in, at rest first"),
    ]
    failures: Annotated[
        tuple[str, ...],
        Field(max_length=20, description="States it can fail into: broken stay, lost gurney"),
    ] = ()
    travel: Annotated[
        Quantity, number("time", least=0.0, most=20.0), Field(description="From one to the next")
    ] = Quantity(best=0.0, low=0.0, high=0.0, unit="s", dimension="time")
    note: Annotated[str, Field(description="Anything worth remembering")] = ""


class ScheduleRule(Table):
    """The position is taken where every condition given holds."""

    position: Annotated[str, Field(description="State that is taken")]
    speed_above: Annotated[
        Quantity | None, number("speed", least=0.0), Field(description="From this speed on")
    ] = None
    speed_below: Annotated[
        Quantity | None, number("speed", positive=True), Field(description="Below this speed")
    ] = None
    side_above: Annotated[
        Quantity | None,
        number("acceleration", least=0.0),
        Field(description="From this sideways acceleration on, which stands for steering"),
    ] = None
    side_below: Annotated[
        Quantity | None,
        number("acceleration", positive=True),
        Field(description="Below this sideways acceleration"),
    ] = None
    braking: Annotated[
        bool | None,
        Field(strict=True, description="Only when braking, or only when not; either if left out"),
    ] = None

    @model_validator(mode="after")
    def _can_hold(self) -> "ScheduleRule":
        """Refuse a rule that no speed, or no sideways acceleration, can meet."""
        for what in ("speed", "side"):
            least, most = (getattr(self, f"{what}_{end}") for end in ("above", "below"))
            if least is not None and most is not None and not least.best < most.best:
                raise ValueError(
                    f"the rule can never hold: {what}_above is not below {what}_below. "
                    "Two ranges take two rules"
                )
        return self


class Schedule(Table):
    """When a device goes where; its rest position where no rule holds."""

    name: Annotated[_Name, Field(description="What it is called")]
    device: Annotated[str, Field(description="Which device it moves")]
    rules: Annotated[
        tuple[ScheduleRule, ...],
        Field(min_length=1, max_length=20, description="In order: the first that holds wins"),
    ]
    note: Annotated[str, Field(description="Anything worth remembering")] = ""


def position_at(
    schedule: Schedule, device: Device, *, speed: float, side: float = 0.0, braking: bool = False
) -> str:
    """Return the state a schedule asks for.

    Parameters
    ----------
    schedule, device
        The schedule and the device it moves.
    speed
        [m/s]
    side
        Sideways acceleration, either way. [m/s²]
    braking
        Whether the brakes are on.
    """
    for rule in schedule.rules:
        holds = (
            (rule.speed_above is None or speed >= rule.speed_above.best)
            and (rule.speed_below is None or speed < rule.speed_below.best)
            and (rule.side_above is None or abs(side) >= rule.side_above.best)
            and (rule.side_below is None or abs(side) < rule.side_below.best)
            and (rule.braking is None or rule.braking == braking)
        )
        if holds:
            return rule.position
    return device.positions[0]
