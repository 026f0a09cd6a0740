"""A day's log in memory: channels with their own time bases, never changed after reading.

Cures make a new log and leave the old one as it is; what was done is a list beside it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.quantity import Array

_GAP = 1.0  # [s] a longer step without samples ends a stretch: the recorder was off


@dataclass(frozen=True, slots=True, kw_only=True)
class Role:
    """What a channel can be.

    Attributes
    ----------
    name
        As pages and the project file call it.
    dimension
        Key of the unit table; empty where it has no unit.
    least, most
        Values outside are impossible for this role on a car. [SI]
    words
        Pieces of names that suggest it, in the order of their strength.
    """

    name: str
    dimension: str
    least: float
    most: float
    words: tuple[str, ...]


ROLES: Mapping[str, Role] = {
    role.name: role
    for role in (
        Role(name="time", dimension="time", least=0.0, most=1e9, words=("time", "zeit", "temps")),
        Role(name="speed over ground", dimension="speed", least=-5.0, most=150.0,
             words=("gps speed", "gps v", "vgps", "ground speed", "gnss speed", "speed")),
        Role(name="air speed", dimension="speed", least=-5.0, most=170.0,
             words=("pitot", "air speed", "airspeed", "tas", "v air")),
        Role(name="course", dimension="angle", least=-7.0, most=7.0,
             words=("course", "heading", "track angle", "bearing")),
        Role(name="pot front left", dimension="height", least=-0.3, most=0.3,
             words=("pot fl", "damper fl", "susp fl", "fl pot", "fl damper")),
        Role(name="pot front right", dimension="height", least=-0.3, most=0.3,
             words=("pot fr", "damper fr", "susp fr", "fr pot", "fr damper")),
        Role(name="pot rear left", dimension="height", least=-0.3, most=0.3,
             words=("pot rl", "damper rl", "susp rl", "rl pot", "rl damper")),
        Role(name="pot rear right", dimension="height", least=-0.3, most=0.3,
             words=("pot rr", "damper rr", "susp rr", "rr pot", "rr damper")),
        Role(name="laser front", dimension="height", least=-0.02, most=0.4,
             words=("laser front", "laser f", "ride height front", "rh f", "hf")),
        Role(name="laser rear", dimension="height", least=-0.02, most=0.4,
             words=("laser rear", "laser r", "ride height rear", "rh r", "hr")),
        Role(name="acceleration along", dimension="", least=-30.0, most=30.0,
             words=("acc long", "acc x", "long acc", "ax", "g long")),
        Role(name="air temperature", dimension="temperature", least=230.0, most=330.0,
             words=("air temp", "ambient temp", "temp air", "t amb")),
        Role(name="air pressure", dimension="pressure", least=60e3, most=110e3,
             words=("baro", "air press", "ambient press", "p amb")),
    )
}  # fmt: skip
"""What channels can be, by name."""

POTS = tuple(name for name in ROLES if name.startswith("pot "))
LASERS = ("laser front", "laser rear")


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel on its own time base, in SI. ``unit`` is what the file said, or nothing."""

    name: str
    time: Array
    values: Array
    unit: str = ""

    @property
    def rate(self) -> float:
        """Usual samples a second. [Hz]"""
        return float(1.0 / np.median(np.diff(self.time))) if self.time.size > 1 else 0.0

    def changed(self, values: Array) -> "Channel":
        """Return this channel with other values."""
        return replace(self, values=values)


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """Channels by role; channels without a role are kept under ``others``.

    Attributes
    ----------
    channels
        Role → channel.
    others
        Name → channel that nobody gave a role.
    done
        Cures already in it, in words, in their order.
    """

    channels: Mapping[str, Channel]
    others: Mapping[str, Channel] = field(default_factory=dict)
    done: tuple[str, ...] = ()

    def of(self, role: str) -> Channel:
        """Return the channel with a role.

        Raises
        ------
        UnknownName
            If there is no such role.
        NotCovered
            If this log has no channel for it.
        """
        if role not in ROLES:
            raise UnknownName("role", role, ROLES)
        if role not in self.channels:
            raise NotCovered(f"The log has no channel for '{role}'. Give one its role in [days].")
        return self.channels[role]

    def has(self, *roles: str) -> bool:
        """Return whether all of these roles are there."""
        return all(role in self.channels for role in roles)

    @property
    def base(self) -> Channel:
        """The channel whose time base results are put on: speed over ground's companion pots."""
        for role in (*POTS, "speed over ground"):
            if role in self.channels:
                return self.channels[role]
        raise NotCovered("The log has neither speed nor pots: nothing to reduce.")

    def with_channels(self, words: str, channels: Mapping[str, Channel | None]) -> "Log":
        """Return a new log with channels replaced, or taken away where None."""
        kept = {**self.channels, **{r: c for r, c in channels.items() if c is not None}}
        for role in [r for r, c in channels.items() if c is None]:
            kept.pop(role, None)
        return replace(self, channels=kept, done=(*self.done, words))


@dataclass(frozen=True, slots=True, kw_only=True)
class Resampled:
    """A channel on another time base, and what that cost: rms of leaving samples out. [SI]"""

    values: Array
    error: float


def resample(channel: Channel, time: Array) -> Resampled:
    """Return a channel on another time base by straight lines; beyond its ends it is not a number.

    The stated error is measured on the channel itself: every other sample is left out and put
    back by the same rule, which errs on the large side.

    Parameters
    ----------
    time : (n,)
        Rising. [s]

    Raises
    ------
    InputError
        If the channel has fewer than two samples.
    """
    if channel.time.size < 2:
        raise InputError(channel.name, channel.time.size, "samples", "at least 2 are needed")
    values = np.interp(time, channel.time, channel.values, left=np.nan, right=np.nan)
    if channel.time.size < 5:
        return Resampled(values=values, error=float(np.ptp(channel.values)))
    put_back = np.interp(channel.time[1:-1:2], channel.time[::2], channel.values[::2])
    error = np.sqrt(np.mean((put_back - channel.values[1:-1:2]) ** 2))
    return Resampled(values=values, error=float(error))


def stretches(time: Array, gap: float = _GAP) -> list[slice]:
    """Return the stretches during which the recorder ran without a gap."""
    breaks = np.flatnonzero(np.diff(time) > gap) + 1
    edges = [0, *breaks.tolist(), int(time.size)]
    return [slice(a, b) for a, b in pairwise(edges) if b > a]
