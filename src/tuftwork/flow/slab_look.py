"""What is looked for in a box of slabs, through the planes between them too."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from tuftwork.flow.doubt import RIPPLE, RIPPLE_ALONG, Extremes

Floats = npt.NDArray[np.floating[Any]]
PLACED = ("speed", "total", "dense", "thin", "ripple")
"""Extremes that have a place."""


def join_extremes(found: Sequence[tuple[Extremes, int]]) -> Extremes:
    """Return the extremes of a box from those of its slabs and the cells looked at in each."""
    share = np.array([n for _, n in found]) / max(sum(n for _, n in found), 1)
    each = [one for one, _ in found]
    worst: dict[str, Any] = {
        name: (min if name == "thin" else max)(getattr(one, name) for one in each)
        for name in PLACED
    }
    mean: dict[str, Any] = {
        name: float(share @ [getattr(one, name) for one in each]) for name in ("rippled", "mass")
    }
    return Extremes(**worst, **mean)


def moved_up(seen: Extremes, by: int) -> Extremes:
    """Return extremes with the numbers of their cells so much higher."""
    moved: dict[str, Any] = {
        name: (getattr(seen, name)[0], getattr(seen, name)[1] + by) for name in PLACED
    }
    return replace(seen, **moved)


def with_planes(
    seen: Extremes,
    planes: Sequence[int],
    edges: Sequence[tuple[Floats, Floats]],
    air: npt.NDArray[np.bool_],
    speed: float,
) -> Extremes:
    """Return the extremes with the ripple through the planes between slabs.

    Parameters
    ----------
    seen
        Of the slabs each by itself.
    planes
        First layer above each plane.
    edges
        Density of the lowest and of the highest layers of each slab. Shapes (3, ly, lx).
    air : (lz, ly, lx)
        Where one looks.
    speed
        Of the free stream. [cells/step]
    """
    if air.shape[0] < RIPPLE_ALONG:
        return seen
    n_air, ripple, rippled = max(int(air.sum()), 1), seen.ripple, seen.rippled
    for plane, (_, under), (over, _) in zip(planes, edges, edges[1:], strict=False):
        layers = np.concatenate([under, over])
        first = plane - len(under)
        open_ = air[first : plane + len(over)]
        four = [layers[s : s + len(layers) - 3] for s in range(4)]
        sound = open_[:-3] & open_[1:-2] & open_[2:-1] & open_[3:]
        saw = np.abs(four[0] - 3.0 * four[1] + 3.0 * four[2] - four[3]) / (12.0 * speed * speed)
        saw = np.where(sound, np.nan_to_num(saw, nan=np.inf), -np.inf)
        rippled += int((saw > RIPPLE).sum()) / n_air
        n = int(saw.argmax())
        if saw.reshape(-1)[n] > ripple[0]:
            at = n + (first + 1) * air[0].size
            ripple = float(saw.reshape(-1)[n]), at
    return replace(seen, ripple=ripple, rippled=rippled)
