"""From the aero map of the car to the table a lap reads."""

import numpy as np

from tuftwork.aeromap.map import AeroMap
from tuftwork.errors import InputError
from tuftwork.lap.table import AeroTable


def table_of_map(
    aero_map: AeroMap, *, roll_loss_front: float = 0.0, roll_loss_rear: float = 0.0
) -> AeroTable:
    """Return the lap's table of an aero map, every draw and state kept.

    Parameters
    ----------
    aero_map : ()
        Map over ride heights, draws last. [m²]
    roll_loss_front, roll_loss_rear : ()
        ℓ in 1/(1 + ℓ φ²), what roll φ leaves of axle downforce. [1/rad²]

    Returns
    -------
    table : ()
        Draws first; one draw loses the axis. [m²]

    Raises
    ------
    InputError
        If a cell of the map holds no number.
    """
    if not np.all(aero_map.valid):
        empty = int(np.sum(~aero_map.valid))
        raise InputError(
            "map", empty, "cells", "hold no number", "Fill or cut the map before lapping it."
        )

    def draws_first(field: str) -> np.ndarray:
        values = np.moveaxis(np.asarray(getattr(aero_map, field), dtype=float), -1, 0)
        return values[0] if values.shape[0] == 1 else values

    return AeroTable(
        ride_height_front=aero_map.front,
        ride_height_rear=aero_map.rear,
        downforce_front=draws_first("downforce_front"),
        downforce_rear=draws_first("downforce_rear"),
        drag=draws_first("drag"),
        states=tuple(aero_map.states),
        roll_loss_front=roll_loss_front,
        roll_loss_rear=roll_loss_rear,
    )
