"""What is wrong with the surfaces of a case, part by part and all at once."""

import math
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.case import LONGEST_CAR, SHORTEST_CAR, FlowCase, FlowPart
from tuftwork.shape.mesh import Mesh, check_mesh

FEWEST_GAP_CELLS = 2
ENOUGH_GAP_CELLS = 6
"""From so many on nothing is told of a gap; with fewer the flow through it is not resolved. [-]"""


def part_faults(case: FlowCase) -> Iterator[InputError]:
    """Yield everything wrong with the surfaces, all parts, before a grid is laid."""
    low, high = case.bounds()
    length = float((high - low).max())
    if not SHORTEST_CAR <= length <= LONGEST_CAR:
        cure = "Millimetres taken for metres make a car 1000 times too long."
        if length < SHORTEST_CAR:
            cure = "Metres taken for millimetres make a car 1000 times too short."
        limit = f"all parts together must be {SHORTEST_CAR:g} to {LONGEST_CAR:g} m long"
        yield InputError("parts", length, "m", limit, cure)
        return
    yield from _drawn_twice(case.parts)
    for part in case.parts:
        try:
            check_mesh(
                Mesh(name=part.name, vertices=part.vertices, faces=part.faces),
                closed=part.is_closed,
            )
        except InputError as fault:
            yield fault
        if not len(part.faces) or not np.all(np.isfinite(part.vertices)):
            continue  # an open surface may lie below the road as well
        depth = float(part.vertices[:, 2].min())
        allowed = -case.cell if part.spin else -1e-6
        if case.road != "none" and depth < allowed:
            at = part.vertices[part.vertices[:, 2].argmin()]
            cure = f"Lowest point at {_place(at)} m. Look at where the road lies "
            cure += "in the file and at the ride heights, or raise the part."
            yield InputError(f"part '{part.name}'", depth, "m", "lies below the road (z = 0)", cure)
            continue
        across = round(depth / case.finest, 6)  # the size told as the cure must do
        if case.road != "none" and part.spin is None and depth > 1e-6 and across < FEWEST_GAP_CELLS:
            limit = f"needs at least {FEWEST_GAP_CELLS} cells (between road and {part.name})"
            at = part.vertices[part.vertices[:, 2].argmin()]
            cure = f"{1e3 * depth:.3g} mm at {_place(at)} m. "
            cure += f"{cells_across(depth)} Or set the part down."
            yield InputError("smallest gap", round(across, 2), "cells", limit, cure)


def cells_across(gap: float) -> str:
    """Return in words which cells give a gap the fewest that are taken, and which enough.

    Parameters
    ----------
    gap
        Its width. [m]
    """
    fewest, enough = (_rounded_down(1e3 * gap / n) for n in (FEWEST_GAP_CELLS, ENOUGH_GAP_CELLS))
    return (
        f"Cells of {fewest} mm there, or smaller, give it the {FEWEST_GAP_CELLS} that are needed; "
        f"of {enough} mm the {ENOUGH_GAP_CELLS} that are advised."
    )


def _rounded_down(size: float) -> str:
    """Write a size with three figures, never larger than it is."""
    step = 10.0 ** (math.floor(math.log10(size)) - 2)
    return f"{math.floor(size / step + 1e-6) * step:.3g}"


def _drawn_twice(parts: Sequence[FlowPart]) -> Iterator[InputError]:
    """Yield parts that lie on another one, face on face: their loads would be shared by chance."""
    like: dict[tuple[int, bytes], list[FlowPart]] = {}
    for part in parts:
        if not len(part.faces) or not np.all(np.isfinite(part.vertices)):
            continue
        ends = np.round([part.vertices.min(axis=0), part.vertices.max(axis=0)], 5) + 0.0
        others = like.setdefault((len(part.faces), ends.tobytes()), [])
        same = next((other for other in others if _is_same(other, part)), None)
        if same is None:
            others.append(part)
            continue
        limit, cure = f"lies on '{same.name}', face on face", "Leave one of the two out."
        yield InputError(f"part '{part.name}'", len(part.faces), "triangles", limit, cure)


def _is_same(one: FlowPart, two: FlowPart) -> bool:
    """Return whether two parts with as many triangles have them at the same places."""
    first, second = (
        middle[np.lexsort(np.round(middle, 5).T)]
        for middle in (part.triangles().mean(axis=1) for part in (one, two))
    )
    return bool(np.allclose(first, second, rtol=0.0, atol=1e-5))


def _place(at: npt.NDArray[np.float64]) -> str:
    return f"x {at[0]:.3f}, y {at[1]:.3f}".replace("-", "\u2212")


def box_faults(case: FlowCase) -> Iterator[InputError]:
    """Yield every side on which the box leaves too little air."""
    for name in ("ahead", "behind", "beside", "above"):
        room = getattr(case.box, name)
        if not room >= 4 * case.cell:
            limit = f"the air {name} must hold at least 4 cells ({4 * case.cell:g} m)"
            cure = "Widen the box or use smaller cells."
            if case.zones:
                limit += f" of the outermost {1e3 * case.cell:g} mm"
                cure = "Widen the box, use smaller cells or let them double less often outwards."
            yield InputError(f"box.{name}", room, "m", limit, cure)
