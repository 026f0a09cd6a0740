"""What a mouth smaller than its core may lose where no loss was entered: said, not assumed."""

import numpy as np

from tuftwork.cooling.case import CoolingCase
from tuftwork.cooling.duct import sudden_expansion_loss
from tuftwork.study.store import Tree

_WORTH = 0.03  # [-]  of the free stream's head; less is not worth a word
AIR = 287.05  # [J/(kg K)]


def widening_notices(case: CoolingCase, net: Tree) -> list[str]:
    """Return a notice for every inlet that opens straight onto larger cores without a loss.

    The net takes the widening as free unless the inlet's ``loss`` says otherwise, so that half a
    mouth would cool as well as a whole one. A step to the cores' face loses (1 - A/A_face)² of the
    head in the mouth (Borda and Carnot), the most it can be.
    """
    air, around, found = net["air"], case.around, []
    head = float(np.median(np.asarray(around.head)))
    for inlet in case.table.inlets:
        if inlet.loss is not None:
            continue
        behind = [c for c in case.table.cores if c.start == inlet.end]
        others = [p.name for p in case.system.air.elements if p.start == inlet.end]
        if not behind or len(others) > len(behind):
            continue
        face = sum(c.width.best * c.height.best * c.count for c in behind)
        fed = sum(i.area.best for i in case.table.inlets if i.end == inlet.end)
        if face <= fed:
            continue
        flow = float(np.median(np.asarray(air["flow"])[air["names"].index(inlet.name)]))
        density = float(np.median(np.asarray(around.pressure / (AIR * around.temperature))))
        k = float(sudden_expansion_loss(face / fed))
        lost = k * 0.5 * flow**2 / (density * inlet.area.best**2)
        if lost < _WORTH * head:
            continue
        found.append(
            f"{inlet.name}: {fed:.3f}\u202fm² of mouth opens onto {face:.3f}\u202fm² of core, and "
            f"no loss is entered for it. A sudden step would lose K {k:.2f} of the mouth's head, "
            f"{lost:.0f}\u202fPa of the {head:.0f}\u202fPa that drive. Give the inlet a 'loss': "
            f"{k:.2f} for a step, less for a duct that opens slowly."
        )
    return found
