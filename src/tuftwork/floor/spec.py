"""A car's floor as the engine takes it, by best values; the key its table lies under."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tuftwork.errors import InputError
from tuftwork.floor.line import FloorClosure
from tuftwork.floor.shape import Block, FloorShape, Profile, Strake, Strip

LENGTHS = (
    "width", "front_station", "kick_station", "exit_station", "diffuser_angle", "diffuser_width",
    "edge_gap",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorSpec:
    """An under-floor with one plane diffuser and what the project adds to it. [m], [rad]

    Attributes
    ----------
    width, front_station, kick_station, exit_station, diffuser_angle, diffuser_width, edge_gap
        As in the project; ``diffuser_width`` is the floor's where it has none of its own.
    nose
        Underside ahead of the flat.
    tunnels, strakes, blocks, side
        What the channel table adds.
    wheelbase
    front, rear
        Ride heights the table reaches, lowest and highest.
    reynolds
        Per metre. [1/m]
    """

    width: float
    front_station: float
    kick_station: float
    exit_station: float
    diffuser_angle: float
    diffuser_width: float
    edge_gap: float | None
    nose: Profile
    tunnels: tuple[Strip, ...]
    strakes: tuple[Strake, ...]
    blocks: tuple[Block, ...]
    side: tuple[tuple[float, float], ...]
    wheelbase: float
    front: tuple[float, float]
    rear: tuple[float, float]
    reynolds: float

    @property
    def key(self) -> str:
        """Name its table lies under."""
        return repr(self)

    @property
    def lengths(self) -> tuple[str, ...]:
        """Names of the numbers the table has a slope for."""
        return LENGTHS if self.edge_gap is not None else LENGTHS[:-1]

    def shape(self) -> FloorShape:
        """Return the floor.

        Raises
        ------
        InputError
            If its stations are crossed.
        """
        if not self.front_station < self.kick_station < self.exit_station:
            raise InputError(
                "kick station", self.kick_station, "m", "must lie between leading edge and exit"
            )
        nose = tuple(p for p in self.nose if p[0] < self.kick_station)
        front = min([self.front_station, *(p[0] for p in nose)])
        start = nose if nose else ((front, 0.0),)
        top = (self.exit_station - self.kick_station) * float(np.tan(self.diffuser_angle))
        ramp = (*start, (self.kick_station, 0.0), (self.exit_station, top))
        common: dict[str, Any] = {
            "width": self.width, "front": front, "exit": self.exit_station,
            "strakes": self.strakes, "blocks": self.blocks, "edge_gap": self.edge_gap,
        }  # fmt: skip
        if self.diffuser_width >= self.width - 1e-6:
            return FloorShape(**common, profile=ramp, strips=self.tunnels)
        middle = Strip(inner=0.0, outer=0.5 * self.diffuser_width, profile=ramp)
        flat = (*start, (self.exit_station, start[-1][1]))
        return FloorShape(
            **common, profile=flat, strips=(middle, *self.tunnels), tail=self.kick_station,
        )  # fmt: skip

    def closure(self) -> FloorClosure:
        """Return what the equations leave open, where no draw says otherwise."""
        return FloorClosure(outside=self.side, reynolds=self.reynolds)

    def moved(self, name: str, step: float) -> FloorShape:
        """Return the floor with one of its lengths changed."""
        changed = getattr(self, name) + step
        if name == "diffuser_width" and changed >= self.width:
            changed = self.width
        fresh = replace(self, **{name: changed})
        if name == "width" and self.diffuser_width >= self.width - 1e-6:
            fresh = replace(fresh, diffuser_width=changed)
        return fresh.shape()
