"""What is wrong with the surfaces of a case, part by part and all at once."""

from collections.abc import Iterator

from tuftwork.errors import InputError
from tuftwork.flow.case import LONGEST_CAR, SHORTEST_CAR, FlowCase
from tuftwork.shape.mesh import Mesh, check_mesh

FEWEST_GAP_CELLS = 2


def part_faults(case: FlowCase) -> Iterator[InputError]:
    """Yield everything wrong with the surfaces, all parts, before a grid is laid."""
    low, high = case.bounds()
    length = float((high - low).max())
    if not SHORTEST_CAR <= length <= LONGEST_CAR:
        cure = "Metres are meant: millimetres make a car 1000 times too long."
        limit = f"all parts together must be {SHORTEST_CAR:g} to {LONGEST_CAR:g} m long"
        yield InputError("parts", length, "m", limit, cure)
        return
    for part in case.parts:
        try:
            check_mesh(
                Mesh(name=part.name, vertices=part.vertices, faces=part.faces),
                closed=part.is_closed,
            )
        except InputError as fault:
            yield fault
            continue
        depth = float(part.vertices[:, 2].min())
        allowed = -case.cell if part.spin else -1e-6
        if case.road != "none" and depth < allowed:
            at = part.vertices[part.vertices[:, 2].argmin()]
            cure = f"Lowest point at x {at[0]:.3f}, y {at[1]:.3f} m. Raise the part."
            yield InputError(f"part '{part.name}'", depth, "m", "lies below the road (z = 0)", cure)
            continue
        across = depth / case.finest
        if case.road != "none" and part.spin is None and depth > 1e-6 and across < FEWEST_GAP_CELLS:
            limit = f"needs at least {FEWEST_GAP_CELLS} cells (between road and {part.name})"
            cure = f"Use cells of {depth / 4:.4f} m or set the part down."
            yield InputError("smallest gap", round(across, 2), "cells", limit, cure)
