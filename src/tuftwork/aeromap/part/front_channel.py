"""Ways in which parts touch a splitter whose channels are solved; effects add."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from tuftwork.aeromap.interface import Field

FRONT_CHANNELS: dict[str, str] = {
    "front_pressure": "Cp where the middle of a splitter hands over to the floor [-]",
    "arch_pressure": "Cp in the front arches where a splitter's ramps end [-]",
    "well_share": "share of a ramp's air that goes through the wheel well [-]",
    "nose_flow": "air taken in above the plate, flow over car speed [m²]",
}
"""Name → meaning and unit."""
FAR = np.full(1, 1e9)  # [m²] way out of a channel that shares it with nobody


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOut:
    """Where a splitter's channel lets its air go.

    Attributes
    ----------
    pressure
        Cp there with none of its own flow. [-]
    flow, outlet
        Of others through it, over the car's speed, and its open area. [m²]
    share
        Of the channel's flow that goes there. [-]
    loss
        Of its own way ahead of what it shares, Cp per flow squared. [1/m⁴]
    node
        Number of the node it shares with the net; below 0: none.
    """

    pressure: Field
    flow: Field = field(default_factory=lambda: np.zeros(1))
    outlet: Field = field(default_factory=lambda: FAR)
    share: Field = field(default_factory=lambda: np.zeros(1))
    loss: Field = field(default_factory=lambda: np.zeros(1))
    node: int = -1


def open_share(depth: Field, gap: Field) -> Field:
    """Return the share of a clearance that something of a depth leaves open [-]."""
    return np.asarray(np.clip(1 - depth / np.maximum(gap, 1e-3), 0.0, 1.0))


def angle_at(part: str) -> str:
    """Return the channel of the onset angle a splitter makes at a part [rad], down positive."""
    return f"angle at {part}"


def way_of(node: str) -> tuple[str, str, str]:
    """Return the channels of a node of the air net that a splitter's air leaves by.

    Its pressure coefficient [-], the flow that already leaves it over car speed [m²], and the open
    area of its ways out [m²].
    """
    return f"pressure of {node}", f"flow of {node}", f"outlet of {node}"


GIVEN_WAY: dict[str, str] = {
    "front": "CzSf [m²]", "rear": "CzSr [m²]", "drag": "CxS [m²]",
    "mass flow": "air taken in [kg/s]",
}  # fmt: skip
"""What the air net gives as a splitter's air comes into one of its nodes, and its unit."""


def given_way(what: str, node: str) -> tuple[str, str]:
    """Return the channels of a quadratic in the flow fed into a node: per m², per m⁴."""
    return f"{what} per flow into {node}", f"{what} per flow into {node}, squared"


def given_by(fed: Mapping[str, Field], around: Mapping[str, Field]) -> tuple[Field, ...]:
    """Return ``GIVEN_WAY`` for air fed into nodes of the net, from what the net told.

    Parameters
    ----------
    fed
        Node → flow over the car's speed. [m²]
    around
        Channels of ``given_way``.
    """
    found = []
    for what in GIVEN_WAY:
        total: Field = np.zeros(1)
        for node, flow in fed.items():
            straight, square = (around.get(c, np.zeros(1)) for c in given_way(what, node))
            total = total + (straight + square * flow) * flow
        found.append(np.asarray(total))
    return tuple(found)
