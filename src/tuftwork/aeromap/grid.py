"""Where to put the map's nodes: closer together where the load bends, near the cliff."""

import numpy as np
from jaxtyping import Float

from tuftwork.aeromap.map import AeroMap
from tuftwork.errors import InputError
from tuftwork.quantity import Array

Axis = Float[np.ndarray, " n"]
_FINEST = 0.35  # [-] of the even spacing: a cliff gets three times the nodes, not all of them
_COARSEST = 2.0  # [-] of the even spacing
_STRAIGHT = 0.5  # [-] bend that counts as none: half the field's range over the axis squared


def even_axis(low: float, high: float, n: int) -> Axis:
    """Return ``n`` even ride heights from ``low`` to ``high`` [m], for a coarse first map.

    Raises
    ------
    InputError
        If they do not rise from above the ground, or there are fewer than 3.
    """
    if not 0 < low < high:
        raise InputError("low", low, "m", f"must lie between 0 and the upper end {high:g} m")
    if n < 3:
        raise InputError("n", n, "nodes", "a map needs 3 at least")
    return np.linspace(low, high, n)


def fitted_axis(
    coarse: AeroMap, axle: str, n: int, span: tuple[float, float] | None = None
) -> Axis:
    """Return an axis with its nodes where a coarse map bends most.

    The nodes share out the integral of |f''|^(1/2) of the axle loads (the spacing that evens out
    the error of linear pieces), the strongest over states, the other axis and draws' median; no
    gap is below 0.35 or above twice the even one.

    Parameters
    ----------
    coarse
        A first map; 8 or more nodes per axis, a few draws are enough.
    axle
        ``"front"`` or ``"rear"``.
    n
        Number of nodes.
    span : (2,)
        Ends of the new axis, inside the coarse one; its ends where not given. [m]

    Returns
    -------
    axis : (n,)
        Rising. [m]

    Raises
    ------
    InputError
        If the axle is not known, the span leaves the coarse map, or there are fewer than 3 nodes.
    """
    if axle not in ("front", "rear"):
        raise InputError("axle", f"'{axle}'", "", "must be 'front' or 'rear'")
    axis = coarse.front if axle == "front" else coarse.rear
    low, high = span or (float(axis[0]), float(axis[-1]))
    if not axis[0] <= low < high <= axis[-1]:
        limit = f"must lie in the coarse map, {axis[0] * 1e3:.1f} to {axis[-1] * 1e3:.1f} mm"
        raise InputError("span", f"{low * 1e3:.1f} to {high * 1e3:.1f}", "mm", limit)
    even = even_axis(low, high, n)
    step = even[1] - even[0]
    fine = np.linspace(low, high, 40 * n)
    density = np.interp(fine, axis, np.sqrt(_bending(coarse, axle)))
    return _shared_out(fine, density, (_FINEST * step, _COARSEST * step), n)


def _shared_out(fine: Array, density: Array, gaps: tuple[float, float], n: int) -> Axis:
    """Return nodes that share out a density, within bounds on the gaps."""
    least, most = gaps
    even = (fine[-1] - fine[0]) / (n - 1)
    density = density / np.mean(density)
    for _ in range(20):  # bounds first, then the sum is put right again
        density = np.clip(density, even / most, even / least)
        density = density / np.mean(density)
    total = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    return np.asarray(np.interp(np.linspace(0.0, total[-1], n), total, fine))


def _bending(coarse: AeroMap, axle: str) -> Array:
    """Return |f''| along one axis at its nodes, the strongest of both loads everywhere else."""
    axis = coarse.front if axle == "front" else coarse.rear
    strongest = np.zeros(axis.size)
    length = axis[-1] - axis[0]
    for field in (coarse.downforce_front, coarse.downforce_rear):
        typical = np.median(field, axis=-1)
        lines = np.moveaxis(typical, 1 if axle == "front" else 2, 0).reshape(axis.size, -1)
        second = np.abs(np.gradient(np.gradient(lines, axis, axis=0), axis, axis=0))
        # a straight field must give even nodes, not nodes shared out by rounding
        floor = _STRAIGHT * (np.ptp(typical) + 1e-9) / length**2
        strongest = np.maximum(strongest, np.max(second, axis=1) + floor)
    # the middle of a cliff is straight, yet between two bends: it gets their nodes too
    padded = np.concatenate([strongest[:1], strongest, strongest[-1:]])
    return np.asarray(np.max([padded[:-2], padded[1:-1], padded[2:]], axis=0))
