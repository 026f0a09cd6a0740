"""What openings are taken to do where the project is silent: jets spoilt, mouths that widen."""

from tuftwork.car.air import CoolingExit
from tuftwork.car.air import Inlet as CarInlet
from tuftwork.car.cooling import Cooling
from tuftwork.cooling.band import Band
from tuftwork.cooling.opening import exit_places, jet_recovery_band, widening_band
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.quantity import Quantity

SPOILING = tuple(place for place in exit_places() if jet_recovery_band(place) is not None)
"""Places where a jet meets something before the stream has it."""


def opening_defaults(table: Cooling) -> dict[str, Quantity]:
    """Return the uncertain numbers of openings on which the project says nothing."""
    found = {
        f"cooling.inlets.{inlet.name}.widening": banded(widening_band())
        for inlet in table.inlets
        if widens_to(inlet, table) is not None
    }
    for way in table.exits:
        if spoils(way, table) and way.recovery is None:
            found[f"cooling.exits.{way.name}.recovery"] = _kept(way.at)
        for place in way.also:
            if place in SPOILING:
                found[f"cooling.surfaces.{place}.recovery"] = _kept(place)
    return found


def spoils(way: CoolingExit, table: Cooling) -> bool:
    """Whether an exit's jet meets a wheel well that is no node of the net.

    One that blows into a node ends there; one that empties such a node is the wheel's opening.
    """
    is_opening = way.start in {w.name for w in table.wells}
    return way.end == OUTSIDE and not is_opening and way.at in SPOILING


def widens_to(inlet: CarInlet, table: Cooling) -> float | None:
    """Return the share of its cores' face that an inlet without a loss opens onto [m²].

    None where a loss is entered, where other parts than cores begin at its node, and where the
    cores are no larger than the mouths that feed them.
    """
    behind = [c for c in table.cores if c.start == inlet.end]
    others = {p.start for p in table.ducts} | {p.start for p in table.exits}
    others |= {p.start for p in table.leaks} | {p.start for p in table.fans}
    if inlet.loss is not None or not behind or inlet.end in others:
        return None
    face = sum(c.width.best * c.height.best * c.count for c in behind)
    fed = sum(i.area.best for i in table.inlets if i.end == inlet.end)
    return face * inlet.area.best / fed if face > fed else None


def banded(band: Band) -> Quantity:
    """Return a band as an uncertain number."""
    return Quantity(
        best=band.best, low=band.low, high=band.high, unit="", dimension="ratio",
        origin=band.origin, place=band.note,
    )  # fmt: skip


def _kept(place: str) -> Quantity:
    band = jet_recovery_band(place)
    assert band is not None
    return banded(band)
