"""From a case and its grid to cells: walls, faces that swallow and blow, corners, cores."""

import numpy as np
import numpy.typing as npt

from tuftwork.flow.blunt import as_knives
from tuftwork.flow.case import FlowCase
from tuftwork.flow.corner import hold_corners
from tuftwork.flow.edge import EdgePoints, Edges, edge_points, hold_edges, sharp_edges
from tuftwork.flow.layer import add_layer, layer_depths
from tuftwork.flow.porous import add_cores, lattice_core
from tuftwork.flow.setup import Surface, WallLinks
from tuftwork.flow.through import Face, add_openings
from tuftwork.flow.walls import Body, staircase, wrap_bodies

Place = tuple[float, float, float]
Shape = tuple[int, int, int]


def cut_case(
    case: FlowCase, shape: Shape, origin: Place
) -> tuple[npt.NDArray[np.uint8], WallLinks, tuple[Face, ...], list[str]]:
    """Return marks, wall links, faces and notices of a case on its grid.

    Parameters
    ----------
    case
        What was asked.
    shape, origin
        Cells along x, y, z, and the place of cell (0, 0, 0). [-], [m]
    """
    mark, links = _cut(case, shape, origin, _surfaces(case, origin))
    links, faces = _opened(case, links, shape, origin)
    links, _ = hold_corners(links)
    links, _ = hold_edges(links, shape, _edges(case, origin))
    shear_only = case.layer_mixes == "shear"
    mark, links = add_layer(mark, links, layer_depths(case), shear_only=shear_only)
    mark, links, lost = _with_cores(case, mark, links, origin)
    return mark, links, faces, _core_notices(case, lost)


def _cut(
    case: FlowCase,
    shape: tuple[int, int, int],
    origin: tuple[float, float, float],
    surfaces: list[Surface],
) -> tuple[npt.NDArray[np.uint8], WallLinks]:
    """Cut the grid with every part that air does not pass."""
    bodies = [
        Body(
            triangles=(p.triangles() - np.array(origin)) / case.cell,
            surface=n,
            is_closed=p.is_closed,
        )
        for n, p in enumerate(case.parts, start=1)
        if p.porous is None
    ]
    bodies = [b for b in bodies if _reaches(b, shape)]
    around, around_label = _surroundings(case, shape, origin)
    if not bodies:
        return staircase(around, around_label, surfaces)
    return wrap_bodies(
        shape, bodies, surfaces, skin=case.skin, surroundings=around, around_label=around_label,
        stream=stream_of(case),
    )  # fmt: skip


def stream_of(case: FlowCase) -> Place:
    """Return the direction of the stream. Shape (3,). [-]."""
    return (float(np.cos(case.yaw)), float(np.sin(case.yaw)), 0.0)


def _edges(case: FlowCase, origin: Place) -> EdgePoints:
    """Return points along the sharp edges of all walls, those along the stream left out."""
    stream = stream_of(case)
    place, turn = [np.zeros((0, 3))], [np.zeros((0, 3))]
    for part in case.parts:
        if part.porous is None:
            edges = sharp_edges(part.vertices, part.faces)
            ends = (edges.ends - np.array(origin)) / case.cell
            edges = as_knives(Edges(ends, edges.normals, edges.into), stream)
            points = edge_points(edges, stream)
            place.append(points.place)
            turn.append(points.turn)
    return EdgePoints(np.concatenate(place), np.concatenate(turn))


def _reaches(body: Body, shape: Shape) -> bool:
    """Whether a body comes near the cells: a box of finer ones may hold only some parts."""
    corner = body.triangles.reshape(-1, 3)
    return bool(np.all(corner.max(axis=0) > -2) and np.all(corner.min(axis=0) < np.add(shape, 1)))


def _opened(
    case: FlowCase,
    links: WallLinks,
    shape: tuple[int, int, int],
    origin: tuple[float, float, float],
) -> tuple[WallLinks, tuple[Face, ...]]:
    """Open the faces that swallow and blow; nothing passes them yet."""
    if not case.openings:
        return links, ()
    number = {p.name: n for n, p in enumerate(case.parts, start=1)}
    lx, ly, _ = shape
    n = links.cell
    at = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)]) - links.geometry[3] * links.geometry[:3]
    places = np.array(origin)[:, None] + case.cell * at
    wanted = [(o, number[o.part]) for o in case.openings]
    return add_openings(links, wanted, places, case.cell)


def momentum_unit(case: FlowCase) -> float:
    """Turn a lattice flow of mass into kg/s."""
    return case.density * case.cell**3 / case.step_time


def _with_cores(
    case: FlowCase,
    mark: npt.NDArray[np.uint8],
    links: WallLinks,
    origin: tuple[float, float, float],
) -> tuple[npt.NDArray[np.uint8], WallLinks, dict[str, float]]:
    """Put the cells of cores and fans in, and say what share of each is swallowed."""
    cores = [
        (
            lattice_core(p.porous, name=p.name, surface=n, scale=case.scale),
            (p.triangles() - np.array(origin)) / case.cell,
        )
        for n, p in enumerate(case.parts, start=1)
        if p.porous is not None
    ]
    mark, links, lost = add_cores(mark, links, cores)
    return mark, links, {core.name: share for (core, _), share in zip(cores, lost, strict=True)}


def _core_notices(case: FlowCase, lost: dict[str, float]) -> list[str]:
    """Return what there is to say about cores: swallowed by walls, thinner than the cells."""
    out = [
        f"{100 * share:.0f} % of the core '{name}' lies inside other parts; no air passes there."
        for name, share in lost.items()
        if share > 0.05
    ]
    for part in case.parts:
        if part.porous is not None and part.porous.depth < 2 * case.cell:
            out.append(
                f"The core '{part.name}' is {part.porous.depth / case.cell:.1f} cells deep: its "
                "drop is kept, but air that meets it at an angle is not straightened within it."
            )
    return out


def _surfaces(case: FlowCase, origin: tuple[float, float, float]) -> list[Surface]:
    """Road first, then the parts, then still tunnel surfaces."""
    law = case.wall == "law"
    moving = case.road == "moving" or case.box.belt is not None
    road = (case.lattice_speed, 0.0, 0.0) if moving else (0.0, 0.0, 0.0)
    out = [Surface(name="road", has_wall_law=law, velocity=road)]
    for part in case.parts:
        spin, centre = (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)
        if part.spin is not None:
            axis = np.array(part.spin.axis) / np.linalg.norm(part.spin.axis)
            x, y, z = (float(c) for c in axis * part.spin.rate * case.step_time)
            spin = (x, y, z)
            x, y, z = (
                float((c - o) / case.cell) for c, o in zip(part.spin.centre, origin, strict=True)
            )
            centre = (x, y, z)
        is_wall = law and part.porous is None
        out.append(Surface(name=part.name, has_wall_law=is_wall, spin=spin, centre=centre))
    return [*out, Surface(name="still surroundings", has_wall_law=law)]


def _surroundings(
    case: FlowCase, shape: tuple[int, int, int], origin: tuple[float, float, float]
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """Solid layers of road and tunnel, and which surface each belongs to."""
    solid = np.zeros(shape[::-1], np.uint8)
    label = np.zeros(shape[::-1], np.uint8)
    still = len(case.parts) + 1
    if case.road != "none":
        under = origin[2] + case.cell * np.arange(shape[2]) < 0
        solid[under] = 1
        if case.box.belt is not None:
            x0, x1, half = case.box.belt
            x = origin[0] + case.cell * np.arange(shape[0])
            y = origin[1] + case.cell * np.arange(shape[1])
            belt = ((x >= x0) & (x <= x1))[None, :] & (np.abs(y) <= half)[:, None]
            label[under] = np.where(belt, 0, still)
    if case.box.has_walls:
        solid[:, 0], label[:, 0] = 1, still
        solid[-1], label[-1] = 1, still
    return solid, label
