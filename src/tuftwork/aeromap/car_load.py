"""The whole car's load: the sum of its parts, each with what those before it do to it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.attitude import attitude_load, is_straight, require_known, side_force
from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import FRONTAL_AREA, WHEELBASE


@dataclass(frozen=True, slots=True, kw_only=True)
class CarLoad:
    """Loads of the whole car.

    Attributes
    ----------
    downforce_front, downforce_rear, drag : (..., n_draw)
        CzSf, CzSr, CxS. [m²]
    notices
        What a reader must be told, part by part.
    side, yaw_moment : (..., n_draw)
        CyS and moment volume about mid wheelbase; zero in a car that runs straight. [m²], [m³]
    roll_moment : (..., n_draw)
        Volume of the roll moment of floor and splitter, turning the right side down; None in a
        car that does not roll. [m³]
    mass_flow : (..., n_draw)
        Air taken in for cooling, at this speed and density; None where no part takes any. [kg/s]
    """

    downforce_front: Field
    downforce_rear: Field
    drag: Field
    notices: tuple[str, ...] = ()
    side: Field | None = None
    yaw_moment: Field | None = None
    roll_moment: Field | None = None
    mass_flow: Field | None = None

    @property
    def downforce(self) -> Field:
        """CzS. [m²]"""
        return np.asarray(self.downforce_front + self.downforce_rear)

    @property
    def front_share(self) -> Field:
        """Share of the downforce on the front axle; meaningless where CzS is near zero. [-]"""
        return np.asarray(self.downforce_front / self.downforce)


def car_loads(
    models: Sequence[PartModel], platform: PlatformState, draws: Mapping[str, Field]
) -> CarLoad:
    """Return the loads of the whole car, with what its parts do to each other.

    Parameters
    ----------
    models
        In the order in which they act on each other, as ``part_models`` returns them.
    platform
        Ride heights, speed and air, broadcasting to ``(..., n_draw)``.
    draws
        From ``draws_of``; with ``attitude_draws`` where there is yaw, roll or steer. [SI]

    Raises
    ------
    NotCovered
        If there is yaw, roll or steer and no draws for them.
    """
    require_known(platform, draws)
    found: list[PartLoad] = []
    around: dict[str, Field] = {}
    for model in models:
        load = attitude_load(model, platform, draws, around)
        found.append(load)
        for channel, effect in load.effects.items():
            around[channel] = around[channel] + effect if channel in around else effect
    side, moment = None, None
    if not is_straight(platform) and FRONTAL_AREA in draws and WHEELBASE in draws:
        side, moment = side_force(platform, draws, draws[FRONTAL_AREA], draws[WHEELBASE])
    turns = [load.roll_moment for load in found if load.roll_moment is not None]
    flows = [load.mass_flow for load in found if load.mass_flow is not None]
    return CarLoad(
        downforce_front=_sum([load.downforce_front for load in found]),
        downforce_rear=_sum([load.downforce_rear for load in found]),
        drag=_sum([load.drag for load in found]),
        notices=tuple(dict.fromkeys(notice for load in found for notice in load.notices)),
        side=side, yaw_moment=moment, roll_moment=_sum(turns) if turns else None,
        mass_flow=_sum(flows) if flows else None,
    )  # fmt: skip


def _sum(fields: Sequence[Field]) -> Field:
    total = fields[0]
    for field in fields[1:]:
        total = total + field
    return np.asarray(total)
