"""Cures: small recorded steps that make a new log out of a log; taking one back leaves no trace."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.trial.log import ROLES, Channel, Log


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """One step.

    Attributes
    ----------
    kind
        Key of ``CURES``.
    role
        Channel it works on.
    size
        Factor of ``gain`` and ``unit`` [-], offset of ``zero`` [SI], delay of ``shift`` [s], rate
        of ``drift`` [SI/s].
    other
        Second channel of ``swap``.
    because
        Why, in a sentence; kept with the project.
    doubt
        Standard uncertainty of ``size``; it widens what is reduced afterwards.
    known_load
        Whether an offset stands for a known load, so that it does not grow with the spring rate.
    """

    kind: str
    role: str
    size: float = 1.0
    other: str = ""
    because: str = ""
    doubt: float = 0.0
    known_load: bool = False

    def words(self) -> str:
        """Return the cure in words."""
        return CURES[self.kind].words(self).replace(" -", " \u2212")


@dataclass(frozen=True, slots=True, kw_only=True)
class CureKind:
    """How one kind of cure works and reads."""

    apply: Callable[[Log, Cure], Mapping[str, Channel | None]]
    words: Callable[[Cure], str]


def _scaled(log: Log, cure: Cure) -> Mapping[str, Channel]:
    if not (np.isfinite(cure.size) and cure.size != 0):
        raise InputError("size", cure.size, "", "a factor must be a number other than 0")
    channel = log.of(cure.role)
    return {cure.role: channel.changed(channel.values * cure.size)}


def _moved(log: Log, cure: Cure) -> Mapping[str, Channel]:
    channel = log.of(cure.role)
    return {cure.role: channel.changed(channel.values + cure.size)}


def _inverted(log: Log, cure: Cure) -> Mapping[str, Channel]:
    channel = log.of(cure.role)
    return {cure.role: channel.changed(-channel.values)}


def _swapped(log: Log, cure: Cure) -> Mapping[str, Channel]:
    first, second = log.of(cure.role), log.of(cure.other)
    return {cure.role: second, cure.other: first}


def _shifted(log: Log, cure: Cure) -> Mapping[str, Channel]:
    channel = log.of(cure.role)
    return {cure.role: replace(channel, time=channel.time + cure.size)}


def _straightened(log: Log, cure: Cure) -> Mapping[str, Channel]:
    channel = log.of(cure.role)
    ramp = cure.size * (channel.time - channel.time[0])
    return {cure.role: channel.changed(channel.values - ramp)}


def _dropped(log: Log, cure: Cure) -> Mapping[str, Channel | None]:
    log.of(cure.role)
    return {cure.role: None}


CURES: Mapping[str, CureKind] = {
    "gain": CureKind(apply=_scaled, words=lambda c: f"{c.role} times {c.size:.4f}"),
    "unit": CureKind(apply=_scaled, words=lambda c: f"{c.role} read in another unit, "
                     f"times {c.size:.4g}"),
    "zero": CureKind(apply=_moved, words=lambda c: f"{c.role} moved by {1e3 * c.size:+.2f} mm"),
    "invert": CureKind(apply=_inverted, words=lambda c: f"{c.role} turned round"),
    "swap": CureKind(apply=_swapped, words=lambda c: f"{c.role} and {c.other} exchanged"),
    "shift": CureKind(apply=_shifted, words=lambda c: f"{c.role} moved by {c.size:+.2f} s"),
    "drift": CureKind(apply=_straightened, words=lambda c: f"{c.role} less a drift of "
                      f"{3.6e6 * c.size:+.2f} mm an hour"),
    "drop": CureKind(apply=_dropped, words=lambda c: f"{c.role} not used"),
}  # fmt: skip
"""Kinds of cure, by name."""


def with_cures(log: Log, cures: Sequence[Cure]) -> Log:
    """Return a new log with cures put in, in their order; the log given stays as it is.

    Raises
    ------
    UnknownName
        If a cure's kind or channel is not known.
    NotCovered
        If the log lacks its channel.
    """
    for cure in cures:
        if cure.kind not in CURES:
            raise UnknownName("cure", cure.kind, CURES)
        if cure.role not in ROLES:
            raise UnknownName("role", cure.role, ROLES)
        log = log.with_channels(cure.words(), CURES[cure.kind].apply(log, cure))
    return log
