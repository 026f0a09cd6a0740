"""Surfaces and lines with values as VTK surface files (VTP)."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from tuftwork.flow.output import Named, _declare, _vtk_file

Numbers = npt.NDArray[Any]
"""Of any kind: files hold single precision and 64-bit counts whatever came in."""


def polydata_bytes(
    points: Numbers,
    *,
    faces: Numbers | None = None,
    line_start: Numbers | None = None,
    values: Mapping[str, Numbers] | None = None,
) -> bytes:
    """Return triangles or lines with values at their points as a VTK surface file.

    Parameters
    ----------
    points : (n, 3)
        [m]
    faces : (m, 3)
        Corner numbers of triangles; None: no triangles.
    line_start : (n_line + 1,)
        First point of each line, and the number of points at the end; None: no lines.
    values
        Name → one value a point (n,).
    """
    point: list[Named] = [(k, 1, np.asarray(v).astype("<f4")) for k, v in (values or {}).items()]
    place: list[Named] = [("Points", 3, np.asarray(points).astype("<f4").ravel())]
    lines = _cells(
        np.arange(0 if line_start is None else line_start[-1]),
        np.zeros(0, np.int64) if line_start is None else line_start[1:],
    )
    corner = np.zeros((0, 3), np.int64) if faces is None else faces
    polys = _cells(corner.ravel(), 3 * np.arange(1, len(corner) + 1))
    groups = [("PointData", point), ("Points", place), ("Lines", lines), ("Polys", polys)]
    text, offset = "", 0
    for kind, arrays in groups:
        text += _declare(kind, arrays, offset)
        offset += sum(8 + v.nbytes for _, _, v in arrays)
    body = (
        f'<PolyData>\n<Piece NumberOfPoints="{len(points)}" NumberOfPolys="{len(corner)}" '
        f'NumberOfVerts="0" NumberOfLines="{len(lines[1][2])}" NumberOfStrips="0">\n{text}'
    )
    every = [array for _, arrays in groups for array in arrays]
    return _vtk_file("PolyData", body, "</Piece>\n</PolyData>\n", every)


def _cells(connectivity: Numbers, ends: Numbers) -> list[Named]:
    return [
        ("connectivity", 1, connectivity.astype("<i8")),
        ("offsets", 1, ends.astype("<i8")),
    ]
