"""What openings are taken to lose where the project is silent: said beside the numbers."""

import numpy as np

from tuftwork.cooling.case import CoolingCase
from tuftwork.cooling.case_opening import spoils, widens_to
from tuftwork.cooling.element import Inlet
from tuftwork.cooling.opening import jet_recovery_band, widening_band
from tuftwork.study.store import Tree

_WORTH = 0.03  # [-]  of the free stream's head; less is not worth a word
AIR = 287.05  # [J/(kg K)]


def opening_notices(case: CoolingCase, net: Tree) -> list[str]:
    """Return what was assumed of mouths that widen and of jets into wheel wells."""
    return [*jet_notices(case), *widening_notices(case, net)]


def jet_notices(case: CoolingCase) -> list[str]:
    """Return a notice for every exit that blows into a wheel well which is no node of the net."""
    found = []
    for way in case.table.exits:
        if not spoils(way, case.table) or way.recovery is not None:
            continue
        band = jet_recovery_band(way.at)
        assert band is not None
        found.append(
            f"{way.name}: it blows into a wheel well that is no node of the net, and a jet there "
            f"meets tyre and arch. {100 * band.low:.0f} to {100 * band.high:.0f}\u202f% of its "
            f"head, best {100 * band.best:.0f}\u202f%, is taken to stay speed along the stream "
            "(common practice, no source); the rest is drag. A [[cooling.wells]] node with the "
            "wheel's openings says it better, as does the exit's 'recovery'."
        )
    return found


def widening_notices(case: CoolingCase, net: Tree) -> list[str]:
    """Return a notice for every inlet that opens straight onto larger cores without a loss.

    A step to the cores' face loses (1 - A/A_face)² of the head in the mouth (Borda and Carnot);
    a share of that is taken, which the project's ``loss`` replaces.
    """
    air, around, found = net["air"], case.around, []
    head = float(np.median(np.asarray(around.head)))
    band = widening_band()
    for inlet in case.table.inlets:
        face = widens_to(inlet, case.table)
        part = case.system.air.part(inlet.name)
        if face is None or not isinstance(part, Inlet):
            continue
        flow = np.asarray(air["flow"][air["names"].index(inlet.name)])
        density = np.asarray(around.pressure / (AIR * around.temperature))
        k = float(np.median(np.asarray((1.0 - np.minimum(part.area / face, 1.0)) ** 2)))
        own = float(np.median(0.5 * flow**2 / (density * np.asarray(part.area) ** 2)))
        if band.high * k * own < _WORTH * head:
            continue
        lost = [share * k * own for share in (band.low, band.best, band.high)]
        found.append(
            f"{inlet.name}: {inlet.area.best:.3f}\u202fm² of mouth opens onto {face:.3f}\u202fm² "
            f"of core, and no loss is entered for it. {band.low:g} to {band.high:g} of a sudden "
            f"step's loss (K {k:.2f} of the mouth's head, Borda and Carnot), best {band.best:g}, "
            f"is taken: {lost[1]:.0f}\u202fPa ({lost[0]:.0f} to {lost[2]:.0f}) of the "
            f"{head:.0f}\u202fPa that drive. Give the inlet a 'loss': {k:.2f} for a step, "
            "0 for a mouth that does not widen."
        )
    return found
