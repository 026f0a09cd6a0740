"""What a car's openings, ramps, strakes and seams may be for: rules that compute, bands from files.

Every band is a line of a data file with its source or "common practice, no source"; nothing here
knows a number of its own.
"""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from scipy.stats import norm

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Z80

_SHARP = 0.5  # [-] weight left at the edge of a band: one band's half-width is its 80 % range


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A reading with its weight and where its band stands. [-]"""

    name: str
    weight: float
    source: str


@cache
def band_rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the lines of a data file of this room."""
    text = files("tuftwork.reading").joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return tuple(csv.DictReader(lines))


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneBand:
    """Pressure coefficient of a zone of the body, 80 % range, and which way air goes there."""

    zone: str
    low: float
    high: float
    suits: str
    source: str

    @property
    def best(self) -> float:
        """Middle of the band. [-]"""
        return (self.low + self.high) / 2.0


def zone_band(zone: str) -> ZoneBand:
    """Return the pressure band of a zone.

    Raises
    ------
    UnknownName
        If the zone is not in ``data/zones.csv``.
    """
    rows = {row["zone"]: row for row in band_rows("zones")}
    if zone not in rows:
        raise UnknownName("zone", zone, rows)
    row = rows[zone]
    return ZoneBand(
        zone=zone, low=float(row["low"]), high=float(row["high"]), suits=row["suits"],
        source=row["source"],
    )  # fmt: skip


def in_or_out(zone: str, inside: tuple[float, float]) -> tuple[Verdict, Verdict]:
    """Return how likely air goes in or out of an opening in a zone.

    Parameters
    ----------
    zone
        Where the opening lies.
    inside
        Pressure coefficient behind it, 80 % range: of the duct or bay it opens to. [-]

    Returns
    -------
    verdicts
        In, then out; the chance that the pressure outside is above, or below, that inside.
    """
    band = zone_band(zone)
    middle = (inside[0] + inside[1]) / 2.0
    spread = np.hypot(band.high - band.low, inside[1] - inside[0]) / (2.0 * Z80)
    chance = float(norm.cdf((band.best - middle) / spread)) if spread > 0 else _SHARP
    return (
        Verdict(name="in", weight=chance, source=band.source),
        Verdict(name="out", weight=1.0 - chance, source=band.source),
    )


def likely_circuits(bore: float, temperature: float | None = None) -> tuple[Verdict, ...]:
    """Return which circuit a cooler is likely to serve, from its pipe.

    Parameters
    ----------
    bore
        Inner diameter of the pipe. [m]
    temperature
        Of its surface when warm, where known. [K]

    Returns
    -------
    verdicts
        Most likely first; weights add up to one.
    """
    if not 0.002 < bore < 0.2:
        raise InputError("bore", 1e3 * bore, "mm", "must lie between 2 and 200 mm")
    found = []
    for row in band_rows("circuits"):
        odds = _fits(
            np.log(1e3 * bore), np.log(float(row["bore_low"])), np.log(float(row["bore_high"]))
        )
        if temperature is not None:
            odds *= _fits(temperature - 273.15, float(row["cold"]), float(row["hot"]))
        found.append((row["circuit"], odds, row["source"]))
    total = sum(odds for _, odds, _ in found)
    ranked = sorted(found, key=lambda f: -f[1])
    return tuple(Verdict(name=n, weight=odds / total, source=s) for n, odds, s in ranked)


def pipe_flow(bore: float, circuit: str) -> tuple[float, float]:
    """Return the band of volume flow in a pipe at its circuit's usual speeds. [m³/s]"""
    rows = {row["circuit"]: row for row in band_rows("circuits")}
    if circuit not in rows:
        raise UnknownName("circuit", circuit, rows)
    area = np.pi * bore**2 / 4.0
    return area * float(rows[circuit]["speed_low"]), area * float(rows[circuit]["speed_high"])


def _fits(value: float, low: float, high: float) -> float:
    """Return how well a value fits a band; normal, the band being its 80 % range."""
    spread = (high - low) / (2.0 * Z80)
    return float(np.exp(-0.5 * ((value - (low + high) / 2.0) / spread) ** 2)) / spread + 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Restriction:
    """Inlet, core and exit of one path compared.

    Attributes
    ----------
    name
        The place that restricts the flow most.
    shares
        Share of the path's pressure loss each place would take. [-]
    chance
        Chance that it is that place, over the ranges of the areas. [-]
    """

    name: str
    shares: Mapping[str, float]
    chance: float


def restriction(
    inlet: np.ndarray, core: np.ndarray, exit_: np.ndarray, *, core_loss: float
) -> Restriction:
    """Return which of inlet, core and exit restricts a cooling path.

    Each takes a share of the loss by its own dynamic pressure: 0.1 of the inlet's, ``core_loss``
    of the core's, all of the exit's; one flow passes all three, so each goes as 1/A².

    Parameters
    ----------
    inlet, core, exit_ : (n_draw,)
        Net areas. [m²]
    core_loss
        Loss of the core over the dynamic pressure at its face. [-]

    Notes
    -----
    Inlet loss 0.1: a rounded lip; common practice, no source. Not for paths with a fan.
    """
    losses = {
        "inlet": 0.1 / np.square(inlet),
        "core": core_loss / np.square(core),
        "exit": 1.0 / np.square(exit_),
    }
    stacked = np.stack(np.broadcast_arrays(*losses.values()))
    share = stacked / stacked.sum(axis=0)
    worst = np.argmax(share, axis=0)
    names = list(losses)
    counts = np.bincount(np.atleast_1d(worst).ravel(), minlength=3) / np.size(worst)
    first = int(np.argmax(counts))
    medians = np.median(share.reshape(3, -1), axis=1)
    return Restriction(
        name=names[first], chance=float(counts[first]),
        shares={n: float(v) for n, v in zip(names, medians / medians.sum(), strict=True)},
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Loose:
    """A cooled part without an air source or without an exit, and what could be it."""

    name: str
    lacks: str
    candidates: tuple[tuple[str, float], ...]


def loose_sinks(
    features: Iterable[tuple[str, str, str, str, Sequence[str]]],
) -> tuple[Loose, ...]:
    """Return every cooled part whose air comes from nowhere or goes nowhere.

    Parameters
    ----------
    features
        Id, name, role, zone and what each feeds. Roles: ``in``, ``out``, ``sink`` and others.

    Returns
    -------
    loose
        With candidates ranked by the pressure available: highest for a source, lowest for an exit.
    """
    rows = list(features)
    roles = {row[0]: row[2] for row in rows}
    found = []
    for own, name, role, _, feeds in rows:
        if role != "sink":
            continue
        if not any(own in row[4] and row[2] in ("in", "unknown") for row in rows):
            found.append(
                Loose(name=name, lacks="source", candidates=_ranked(rows, ("in", "unknown"), 1))
            )
        if not any(roles.get(target) in ("out", "unknown") for target in feeds):
            found.append(
                Loose(name=name, lacks="exit", candidates=_ranked(rows, ("out", "unknown"), -1))
            )
    return tuple(found)


def _ranked(
    rows: Sequence[tuple[str, str, str, str, Sequence[str]]], roles: tuple[str, ...], way: int
) -> tuple[tuple[str, float], ...]:
    known = {row["zone"] for row in band_rows("zones")}
    found = [
        (row[1], zone_band(row[3]).best) for row in rows if row[2] in roles and row[3] in known
    ]
    return tuple(sorted(found, key=lambda f: -way * f[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class RampCheck:
    """One normalised number of a ramp against its band."""

    quantity: str
    value: float
    low: float
    high: float
    chance_inside: float
    source: str


def ramp_checks(
    kick: np.ndarray, end: np.ndarray, angle: np.ndarray, wheelbase: float
) -> tuple[RampCheck, ...]:
    """Return a diffuser's length, start and angle against usual bands.

    Parameters
    ----------
    kick, end : (n_draw,)
        Stations behind the front axle. [m]
    angle : (n_draw,)
        [rad]
    wheelbase
        [m]
    """
    values = {
        "length": (end - kick) / wheelbase,
        "ahead": (wheelbase - kick) / wheelbase,
        "angle": np.degrees(angle),
    }
    found = []
    for row in band_rows("ramps"):
        drawn = np.atleast_1d(values[row["quantity"]])
        low, high = float(row["low"]), float(row["high"])
        found.append(
            RampCheck(
                quantity=f"{row['quantity']}, {row['class']}", value=float(np.median(drawn)),
                low=low, high=high, source=row["source"],
                chance_inside=float(np.mean((drawn >= low) & (drawn <= high))),
            )
        )  # fmt: skip
    return tuple(found)


def statement_holds(
    draws: np.ndarray, *, below: float | None = None, above: float | None = None
) -> float:
    """Return the chance that a measured number is below or above what a statement says. [-]

    "The diffuser starts early" is ``below`` the rear axle's station.
    """
    if (below is None) == (above is None):
        raise InputError("statement", "none", "", "needs a limit below or above, one of the two")
    return float(np.mean(draws < below) if below is not None else np.mean(draws > above))


def washing(angle: np.ndarray) -> tuple[Verdict, Verdict]:
    """Return whether a strake washes outward or inward, from its plan angle ``(n_draw,)``.

    Positive where its trailing edge lies further from the centre plane. [rad]
    """
    out = float(np.mean(angle > 0))
    source = "sign of the measured plan angle"
    return (
        Verdict(name="outward", weight=out, source=source),
        Verdict(name="inward", weight=1.0 - out, source=source),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A seam, gap or fixing in the skin. ``height`` and ``length`` across the flow [m]."""

    name: str
    kind: str
    zone: str
    height: float
    length: float
    run: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mending:
    """What one fault costs in drag area [m²], and whether it is worth mending."""

    fault: Fault
    drag: float
    mend: bool


def surface_quality(
    faults: Sequence[Fault], *, speed: float, viscosity: float = 1.5e-5, worth: float = 0.8
) -> tuple[Mending, ...]:
    """Return faults of the skin by what they cost, and which few to mend.

    ΔCxS = c (h/δ)^(1/3) h b (1 − Cp): the layer of thickness δ = 0.37 x Re_x^(−1/5) hides small
    ones, suction outside speeds the air up.

    Parameters
    ----------
    faults
        With ``run`` the length of skin ahead of each. [m]
    speed
        Of the air. [m/s]
    worth
        Share of the whole cost that those to be mended make up. [-]

    References
    ----------
    [hoerner1965] surface irregularities (memory); layer thickness: the 1/7 power law.
    """
    table = {row["fault"]: row for row in band_rows("surface")}
    costs = []
    for fault in faults:
        if fault.kind not in table:
            raise UnknownName("fault", fault.kind, table)
        band = zone_band(fault.zone)
        layer = 0.37 * fault.run * (speed * fault.run / viscosity) ** -0.2
        hidden = min(1.0, (fault.height / layer) ** (1 / 3))
        local = max(0.0, 1.0 - band.best)
        size = fault.height * fault.length
        costs.append(float(table[fault.kind]["coefficient"]) * hidden * size * local)
    order = np.argsort(costs)[::-1]
    total, spent, found = sum(costs), 0.0, []
    for place in order:
        found.append(Mending(fault=faults[place], drag=costs[place], mend=spent < worth * total))
        spent += costs[place]
    return tuple(found)
