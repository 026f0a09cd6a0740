"""What grips and what drives: tyres, power over road speed, engine and gears."""

from itertools import pairwise
from typing import Annotated

from pydantic import Field, model_validator

from tuftwork.car.table import Table, number
from tuftwork.quantity import Quantity


def exactly(value: float, dimension: str) -> Quantity:
    """Return a number without a range."""
    unit = "%" if dimension == "share" else ""
    return Quantity(best=value, low=value, high=value, unit=unit, dimension=dimension)


class RigPoint(Table):
    """A tyre test: the greatest side force at one load on the wheel."""

    load: Annotated[Quantity, number("force", positive=True), Field(description="On the wheel")]
    force: Annotated[
        Quantity, number("force", positive=True), Field(description="Greatest side force there")
    ]


class Tyres(Table):
    """Grip of one axle's tyres: falls in a straight line with the load on a wheel."""

    grip: Annotated[
        Quantity | None,
        number("ratio", least=0.2, most=4.0),
        Field(
            description="Greatest side force over load, at ``wheel_load``; follows ``rig`` where "
            "not given"
        ),
    ] = None
    grip_loss: Annotated[
        Quantity,
        number("ratio", least=0.0, most=0.5),
        Field(description="Share of it lost for each kN more on a wheel"),
    ] = exactly(0.0, "ratio")
    rig: Annotated[
        tuple[RigPoint, ...],
        Field(
            max_length=60,
            description="Points of a tyre test, in place of ``grip`` and ``grip_loss``: a straight "
            "line of friction over load is fitted to them, draw by draw",
        ),
    ] = ()
    rig_to_track: Annotated[
        Quantity,
        number("ratio", least=0.2, most=1.5),
        Field(description="Grip on this road over grip on the rig; the rig's belt holds better"),
    ] = Quantity(best=0.75, low=0.65, high=0.85, unit="", dimension="ratio")
    wheel_load: Annotated[
        Quantity, number("force", positive=True), Field(description="At which ``grip`` holds")
    ] = Quantity(best=3000.0, low=3000.0, high=3000.0, unit="N", dimension="force")
    margin: Annotated[
        Quantity,
        number("share", least=0.0, most=0.5),
        Field(description="Share the driver leaves unused"),
    ] = exactly(0.0, "share")

    @model_validator(mode="after")
    def _one_grip(self) -> "Tyres":
        """Refuse grip that is given twice or not at all, and keys that change nothing."""
        if (self.grip is None) == (not self.rig):
            raise ValueError("give either 'grip' or 'rig', points of a tyre test")
        if not self.rig:
            if "rig_to_track" in self.model_fields_set:
                raise ValueError("'rig_to_track' changes nothing without 'rig'")
            return self
        if "grip_loss" in self.model_fields_set:
            raise ValueError("'grip_loss' changes nothing beside 'rig', which has it")
        if len({p.load.best for p in self.rig}) < 2:
            raise ValueError("'rig' needs two or more different loads")
        return self


class PowerAt(Table):
    """Power at one road speed."""

    speed: Annotated[Quantity, number("speed", least=0.0), Field(description="Road speed")]
    power: Annotated[
        Quantity, number("power", positive=True), Field(description="At the crankshaft there")
    ]


class EngineAt(Table):
    """Power at one engine speed."""

    turning: Annotated[
        float, Field(gt=0.0, le=30_000.0, description="Engine speed in turns a minute")
    ]
    power: Annotated[
        Quantity, number("power", positive=True), Field(description="At the crankshaft there")
    ]


class Gears(Table):
    """An engine curve and the gears it drives through; the best gear at every speed is used."""

    ratios: Annotated[
        tuple[Annotated[float, Field(gt=0.0, le=60.0)], ...],
        Field(
            min_length=1,
            max_length=12,
            description="Engine turns for one of the wheel, final drive included",
        ),
    ]
    rolling_radius: Annotated[
        Quantity, number("length", positive=True, most=1.0), Field(description="Of a driven tyre")
    ]
    engine: Annotated[
        tuple[EngineAt, ...],
        Field(min_length=2, max_length=200, description="Rising in engine speed, to the limiter"),
    ]

    @model_validator(mode="after")
    def _rising(self) -> "Gears":
        """Refuse engine speeds that fall back."""
        speeds = [row.turning for row in self.engine]
        if any(b <= a for a, b in pairwise(speeds)):
            raise ValueError("'engine' must rise in turning from row to row")
        return self
