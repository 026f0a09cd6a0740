"""How far down and up a project's map must reach, and where its engines' tables end."""

from collections.abc import Callable, Collection, Iterable

import numpy as np
from numpy.typing import NDArray

from tuftwork.aeromap.budget import CarLoad
from tuftwork.aeromap.interface import PartModel, PlatformState
from tuftwork.aeromap.map import AirAt
from tuftwork.aeromap.platform import suspension_of
from tuftwork.car import Project
from tuftwork.quantity import Array, Ensemble
from tuftwork.study.inputs import state_names

_ROOM = 1.35  # [-] travel the map covers over what the first map asks for
_ABOVE = 0.012  # [m] of the map above the highest ride height at rest
_LOWEST = 0.004  # [m]
HEIGHT_KEYS = ("ride_height_front", "ride_height_rear")


def axis_ends(
    project: Project,
    names: Collection[str],
    ensemble: Ensemble,
    load: Callable[[PlatformState], CarLoad],
    air: AirAt,
) -> dict[str, tuple[float, float]]:
    """Return how far down and up the map must reach: travel at the greatest loads met."""
    mass = project.mass_state()
    drawn = {name: ensemble.of(name) for name in names}
    suspension = suspension_of(project, "", state_names(project)[0], drawn)
    pressure = 0.5 * air.density * air.speed**2
    heights = {
        key: [getattr(mass, key).best]
        + [getattr(s, key).best for s in project.states if getattr(s, key) is not None]
        for key in HEIGHT_KEYS
    }
    found = {}
    grid = np.linspace(0.3, 1.0, 5)
    hf = (grid * max(heights["ride_height_front"]))[:, None, None]
    hr = (grid * max(heights["ride_height_rear"]))[None, :, None]
    loads = load(
        PlatformState(
            ride_height_front=hf,
            ride_height_rear=hr,
            speed=np.full(1, air.speed),
            density=np.full(1, air.density),
            viscosity=np.full(1, air.viscosity),
        )
    )
    for axle, spring, force, key in (
        ("front", suspension.front, loads.downforce_front, "ride_height_front"),
        ("rear", suspension.rear, loads.downforce_rear, "ride_height_rear"),
    ):
        greatest = np.quantile(np.max(force, axis=(0, 1)), 0.98)
        sink = _ROOM * np.max(spring.sink(np.full(ensemble.size, pressure * max(greatest, 0.1))))
        low = max(_LOWEST, min(heights[key]) - float(sink))
        found[axle] = (low, max(heights[key]) + _ABOVE)
    return found


def beyond_tables(models: Iterable[PartModel], front: Array, rear: Array) -> NDArray[np.bool_]:
    """Return cells ``(n_front, n_rear)`` at whose ride heights an engine's table has ended."""
    found = np.zeros((front.size, rear.size), dtype=bool)
    for model in models:
        covers = getattr(model, "covers", None)
        if covers is not None:
            found |= ~covers(front[:, None], rear[None, :])
    return found


def thinned(ensemble: Ensemble, most: int) -> Ensemble:
    """Return the first draws of an ensemble."""
    return Ensemble(
        quantities=ensemble.quantities,
        deviates=ensemble.deviates[:most],
        columns=ensemble.columns,
    )
