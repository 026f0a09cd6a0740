"""What cooling changes: the air through the car against the same car with its inlets shut."""

from dataclasses import replace

import numpy as np

from tuftwork.cooling.cost import AxleLoads, WheelWell, cooling_loads
from tuftwork.cooling.element import Inlet
from tuftwork.cooling.net import AirNet
from tuftwork.cooling.network import AirFlow, solve_air
from tuftwork.errors import InputError
from tuftwork.quantity import Array

_SHUT = 1e-6  # [-]  of an inlet's area: a gap in the tape, so that the net stays one net


def cooling_cost(
    net: AirNet, air: AirFlow, wheelbase: float, *, wells: tuple[WheelWell, ...] = (), seed: int = 5
) -> AxleLoads:
    """Return what cooling costs: loads of the solved net less those with every inlet shut.

    Wheel wells breathe, and are pressed, without any cooling air; that is the body's own drag and
    lift, and stands there already. What cooling adds is the difference, draw by draw.

    Parameters
    ----------
    net, air
        The net and its solution.
    wheelbase : ()
        [m]
    wells, seed
        As for :func:`tuftwork.cooling.cost.cooling_loads`.

    Raises
    ------
    UnknownName
        If a well is not a node of the net.
    """
    return load_change(
        cooling_loads(net, air, wheelbase, wells=wells, seed=seed),
        cooling_loads(net, still_air(net, air), wheelbase, wells=wells, seed=seed),
    )


def still_air(net: AirNet, air: AirFlow) -> AirFlow:
    """Return the net's flow with every inlet shut and nothing heated."""
    shut = tuple(
        replace(part, area=_SHUT * np.asarray(part.area)) if isinstance(part, Inlet) else part
        for part in net.elements
    )
    return solve_air(AirNet(elements=shut), air.around, n_draw=air.flow.shape[1])


def load_change(after: AxleLoads, before: AxleLoads) -> AxleLoads:
    """Return the difference of two contributions, draw by draw."""
    if after.CxS.shape != before.CxS.shape:
        raise InputError("draws", str(after.CxS.shape), "", "differ between the two")
    return AxleLoads(
        CxS=after.CxS - before.CxS,
        CzSf=after.CzSf - before.CzSf,
        CzSr=after.CzSr - before.CzSr,
        parts={
            name: _difference(after.parts.get(name), before.parts.get(name))
            for name in {**before.parts, **after.parts}
        },
    )


def _difference(
    after: tuple[Array, Array, Array] | None, before: tuple[Array, Array, Array] | None
) -> tuple[Array, Array, Array]:
    """Subtract two contributions; one that is absent counts as none."""
    if after is None and before is not None:
        return (-before[0], -before[1], -before[2])
    if before is None and after is not None:
        return after
    assert after is not None
    assert before is not None
    return (after[0] - before[0], after[1] - before[1], after[2] - before[2])
