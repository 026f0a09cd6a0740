"""A car with its front wheels turned: curved air along its length, and turned tyres.

On a circle of curvature κ = tan δ / L (wheels roll where they point, no slip) a place x behind mid
wheelbase meets the air at β + κ x: the nose of a car that turns right meets it from the right.
Turned tyres show the air more area, w cos δ + d sin δ, so drag and wake grow with |δ|.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE
from tuftwork.aeromap.part.coefficient import Coefficient, coefficients_of
from tuftwork.quantity import Quantity, draw_ensemble

KIND = "steer"
LARGEST_STEER = np.radians(15.0)  # [rad] beyond: tyres slide, and the circle is not that of κ
_SEED = 78
_WAKE = "floor_head"


def steer_coefficients() -> Mapping[str, Coefficient]:
    """Return what steer leaves open, by name."""
    return coefficients_of("aeromap", "steer")


def steer_inputs() -> dict[str, Quantity]:
    """Return the same as inputs of an ensemble: ``steer.wheel_drag``."""
    return {f"{KIND}.{name}": c.quantity for name, c in steer_coefficients().items()}


def steer_draws(size: int) -> dict[str, Field]:
    """Return draws of all of them, ``(n_draw,)`` each, the same for the same number."""
    made = draw_ensemble(steer_inputs(), size=size, seed=_SEED)
    return {name: made.of(name) for name in steer_inputs()}


def yaw_at(model: PartModel, platform: PlatformState, draws: Mapping[str, Field]) -> Field:
    """Return the yaw a part meets where it stands [rad]; at mid wheelbase where no place is known.

    Parameters
    ----------
    model
        Its ``station``, or the middle of ``front_station`` and ``exit_station``, is its place.
    platform
        With yaw at mid wheelbase, and steer.
    draws
        Of its inputs. [SI]
    """
    station = _station(model, draws)
    if station is None or not np.any(platform.steer):
        return platform.yaw
    curvature = np.tan(platform.steer) / draws[WHEELBASE]
    return np.asarray(platform.yaw + curvature * (station - draws[WHEELBASE] / 2))


def steered(
    model: PartModel, load: PartLoad, platform: PlatformState, draws: Mapping[str, Field]
) -> PartLoad:
    """Return a part's load with the front wheels turned; only wheels and their wake change."""
    turned = np.abs(np.sin(platform.steer))
    if not np.any(turned):
        return load
    if model.kind == "wheels":
        return replace(load, drag=load.drag * (1 + draws[f"{KIND}.wheel_drag"] * turned))
    if model.kind == "interaction" and _WAKE in load.effects:
        more = 1 + draws[f"{KIND}.wheel_wake"] * turned
        return replace(load, effects={**load.effects, _WAKE: load.effects[_WAKE] * more})
    return load


def _station(model: PartModel, draws: Mapping[str, Field]) -> Field | None:
    own = f"{model.name}.station"
    if own in draws:
        return draws[own]
    ends = [f"{model.name}.{end}" for end in ("front_station", "exit_station")]
    if all(end in draws for end in ends):
        return np.asarray((draws[ends[0]] + draws[ends[1]]) / 2)
    return None
