"""A section and its wing as files for the drawing office and the shop: CSV, DXF, STL."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tuftwork.files.section import write_section_csv, write_section_dxf
from tuftwork.quantity import Array
from tuftwork.section import Contour, Design, over_ground
from tuftwork.section.shape import panel_nodes
from tuftwork.study.section_case import SectionCase
from tuftwork.wing.spec import wing_of

Faces = NDArray[np.int64]
_MM = 1e3
_PANELS = 120
_PLATE = 0.004  # [m] thickness of a drawn end plate; common practice, no source


def write_section_files(case: SectionCase, design: Design, folder: Path) -> list[str]:
    """Write coordinates, drawing and solid of a wing and return the files' paths.

    The CSV and the DXF hold the elements in place, suction side up, chord line level, in mm; the
    STL is the wing as it hangs on the car, in mm: x rearward from its nose, y right, z up from the
    road.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stem = "".join(ch if ch.isalnum() else "-" for ch in case.part.name.lower())
    paths = [folder / f"{stem}.{kind}" for kind in ("csv", "dxf", "stl")]
    stack = design.stack()
    scale = _MM * case.chord
    write_section_csv(paths[0], stack, scale=scale)
    write_section_dxf(paths[1], stack, scale=scale)
    vertices, faces = wing_solid(case, design)
    _write_stl(paths[2], vertices * _MM, faces)
    return [str(p) for p in paths]


def wing_solid(case: SectionCase, design: Design) -> tuple[Array, Faces]:
    """Return the wing's closed surface, elements and end plates, as it hangs on the car.

    Returns
    -------
    vertices : (n, 3)
        x rearward, y right, z up from the road. [m]
    faces : (m, 3)
        Corners of triangles, outward by the right hand.
    """
    spec, span = case.spec, case.spec.span
    placed = over_ground(design.stack(), design.incidence, 1.0)
    tail = placed[-1].trailing_edge
    nose = min(float(c.x.min()) for c in placed)
    vertices: list[Array] = []
    faces: list[Faces] = []
    start = 0
    for contour in placed:
        own, cells = _extruded(contour, span / case.chord)
        # the trailing edge hangs at the height the project gives
        lift = np.array([-nose, 0.0, spec.height / case.chord - tail[1]])
        vertices.append((own + lift) * case.chord)
        faces.append(cells + start)
        start += own.shape[0]
    wing = wing_of(spec)
    for plate in wing.plates[0] if wing.plates else ():
        low = spec.quarter_height - plate.below
        box, cells = _box(
            np.array([0.0, plate.side * 0.5 * span - 0.5 * _PLATE, low]),
            np.array([case.chord, _PLATE, plate.above + plate.below]),
        )
        vertices.append(box)
        faces.append(cells + start)
        start += box.shape[0]
    return np.vstack(vertices), np.vstack(faces)


def _extruded(contour: Contour, span: float) -> tuple[Array, Faces]:
    """Return an element drawn out along the span, both ends closed by strips from side to side."""
    x, y = panel_nodes(contour, _PANELS, tail=0.97)
    if np.hypot(x[0] - x[-1], y[0] - y[-1]) < 1e-9:
        x, y = x[:-1], y[:-1]
    n = x.size
    ends = [np.column_stack([x, np.full(n, s * 0.5 * span), y]) for s in (-1.0, 1.0)]
    i = np.arange(n)
    j = (i + 1) % n
    sides = np.vstack([np.column_stack([i, j, i + n]), np.column_stack([j, j + n, i + n])])
    a, b = 0, n - 1
    cap: list[tuple[int, int, int]] = []
    while b - a > 1:  # upper and lower side approach the nose in step
        cap.append((a, b, a + 1))
        a += 1
        if b - a > 1:
            cap.append((a, b, b - 1))
            b -= 1
    left = np.array(cap)
    right = left[:, ::-1] + n
    cells = np.vstack([sides, left, right])
    vertices = np.vstack(ends)
    return vertices, _outward(vertices, cells)


def _box(corner: Array, size: Array) -> tuple[Array, Faces]:
    unit = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)
    quads = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))
    cells = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
    vertices = corner + unit * size
    return vertices, _outward(vertices, cells)


def _outward(vertices: Array, cells: Faces) -> Faces:
    """Return the cells wound so that the enclosed volume is positive."""
    a, b, c = (vertices[cells[:, k]] for k in range(3))
    volume = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum())
    return cells if volume > 0.0 else cells[:, ::-1]


def _write_stl(path: Path, vertices: Array, faces: Faces) -> None:
    from trimesh import Trimesh

    Trimesh(vertices=vertices, faces=faces, process=False).export(path)
