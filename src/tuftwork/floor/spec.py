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
_BLOCKED = ("share", "loss")


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
        return (LENGTHS if self.edge_gap is not None else LENGTHS[:-1]) + self.beside

    @property
    def beside(self) -> tuple[str, ...]:
        """Those of them that stand in the channel table: pressures along the sides, blocks."""
        sides = tuple(f"channel.side.{k}.pressure" for k in range(len(self.side)))
        return sides + tuple(
            f"channel.blocks.{k}.{key}" for k in range(len(self.blocks)) for key in _BLOCKED
        )

    def value(self, name: str) -> float:
        """Return the best value of one of ``lengths``."""
        _, where, place, key = _parts(name)
        if where == "side":
            return self.side[place][1]
        return float(getattr(self.blocks[place] if where else self, key))

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

    def moved(self, name: str, step: float) -> tuple[FloorShape, FloorClosure]:
        """Return the floor, and what stands beside it, with one of ``lengths`` changed."""
        changed = self.value(name) + step
        _, where, place, key = _parts(name)
        if where:
            rows: list[Any] = list(getattr(self, where))
            old = rows[place]
            rows[place] = (old[0], changed) if where == "side" else replace(old, **{key: changed})
            beside: dict[str, Any] = {where: tuple(rows)}
            fresh = replace(self, **beside)
            return fresh.shape(), fresh.closure()
        if name == "diffuser_width" and changed >= self.width:
            changed = self.width
        own: dict[str, Any] = {name: changed}
        fresh = replace(self, **own)
        if name == "width" and self.diffuser_width >= self.width - 1e-6:
            fresh = replace(fresh, diffuser_width=changed)
        return fresh.shape(), fresh.closure()


def _parts(name: str) -> tuple[str, str, int, str]:
    """Return ``channel``, table, row and key of a name; a length has only its key."""
    if not name.startswith("channel."):
        return "", "", 0, name
    first, where, place, key = name.split(".")
    return first, where, int(place), key
