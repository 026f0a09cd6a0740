"""What stands around a splitter whose channels are solved: the floor's pull, the front arches."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, Reference
from tuftwork.car import Body, Floor, Part, Splitter
from tuftwork.floor.theory import leak_rate, throat_speed
from tuftwork.quantity import Array, Quantity

Effects = Callable[[PlatformState, Mapping[str, Field]], Mapping[str, Field]]
_BASE, _EFFECTIVE, _LOSS, _DISCHARGE = -0.2, 0.7, 0.5, 0.52  # [-] of a common floor
_KEYS = ("width", "front_station", "kick_station", "exit_station", "diffuser_angle")


def floor_pull(
    floor: Floor, reference: Reference
) -> tuple[dict[str, Quantity], Callable[[PlatformState, Mapping[str, Field]], Array]]:
    """Return a floor's inputs, and the law of the suction at its leading edge (Cp).

    Speed at the kick line from the area ratio with a common base pressure and recovery, carried
    forward along a channel that leaks at both edges: u = cosh(arccosh u_k − λ x).

    References
    ----------
    [cooper1998] for the throat; the leaking channel is continuity with Bernoulli's leak.
    """
    name = floor.name
    inputs = {f"{name}.{k}": getattr(floor, k) for k in _KEYS}
    if floor.edge_gap is not None:
        inputs[f"{name}.edge_gap"] = floor.edge_gap
    inputs[WHEELBASE] = reference.wheelbase

    def law(platform: PlatformState, draws: Mapping[str, Field]) -> Array:
        width, front, kick, end, angle = (draws[f"{name}.{k}"] for k in _KEYS)
        slope = (platform.ride_height_rear - platform.ride_height_front) / draws[WHEELBASE]
        throat = np.maximum(platform.ride_height_front + slope * kick, 1e-3)
        rise = np.maximum(end - kick, 0.0) * np.tan(np.maximum(angle + slope, 0.0))
        fast = throat_speed(1 + rise / throat, _BASE, _EFFECTIVE, _LOSS)
        inlet = np.maximum(platform.ride_height_front + slope * front, 1e-3)
        gap = draws.get(f"{name}.edge_gap", 0.5 * (throat + inlet))
        rate = leak_rate(gap, 0.5 * (throat + inlet), width, _DISCHARGE)
        left = np.arccosh(np.maximum(fast, 1.0)) - rate * np.maximum(kick - front, 0.0)
        return np.asarray(np.maximum(1 - np.square(np.cosh(np.maximum(left, 0.0))), -1.5))

    return inputs, law


def front_effects(
    parts: Sequence[Part], splitter: Splitter, values: Mapping[str, Quantity],
    reference: Reference, kind: str,
) -> list[dict[str, Any]]:  # fmt: skip
    """Return source, inputs, law and words of every term of place around a splitter."""
    own = splitter.channel
    assert own is not None
    found: list[dict[str, Any]] = []
    floor = next((p for p in parts if isinstance(p, Floor)), None)
    if floor is not None and own.vent is None and own.pressure is None:
        inputs, law = floor_pull(floor, reference)
        found.append({
            "source": floor.name, "about": "the floor draws at the plate's trailing edge",
            "inputs": {f"{kind}.floor_pull": values["floor_pull"], **inputs},
            "effects": lambda platform, draws: {
                "front_pressure": draws[f"{kind}.floor_pull"] * law(platform, draws)
            },
        })  # fmt: skip
    wheels = next((p for p in parts if isinstance(p, Body) and p.kind == "wheels"), None)
    if own.ramps is None or wheels is None:
        return found
    if own.ramps.into and own.ramps.into_share is None:
        name, channel = "well_share", "well_share"
        about = "air of the ramps that goes through the wells"
    elif not own.ramps.into and own.ramps.pressure is None:
        name, channel = "arch_pressure", "arch_pressure"
        about = "suction of the arches at the ramps' ends"
    else:
        return found
    found.append({
        "source": wheels.name, "about": about, "inputs": {f"{kind}.{name}": values[name]},
        "effects": lambda platform, draws: {channel: draws[f"{kind}.{name}"]},
    })  # fmt: skip
    return found
