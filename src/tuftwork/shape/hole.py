"""Holes of a surface: their outlines with place and size; the small ones are closed."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
SMALL = 0.05
"""Largest extent of a hole that is closed, over that of the part: a larger one may be meant. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """An outline along which a surface ends.

    Attributes
    ----------
    corners
        Vertex numbers, one after the other as the faces run. Shape (n,).
    low, high
        Ends of its extent. Shape (3,). [m]
    """

    corners: Ints
    low: Floats
    high: Floats

    @property
    def size(self) -> float:
        """Largest extent. [m]."""
        return float((self.high - self.low).max())

    @property
    def text(self) -> str:
        """Its size and place in words."""
        wide = sorted((1e3 * v for v in self.high - self.low), reverse=True)
        at = 0.5 * (self.low + self.high)
        place = ", ".join(f"{a} {v:.3f}" for a, v in zip("xyz", at, strict=True))
        size = " × ".join(f"{v:.3g}" if v < 100 else f"{v:.0f}" for v in wide[:2])
        return f"{size} mm at {place} m".replace("-", "\u2212")


def holes_of(vertices: Floats, faces: Ints) -> tuple[Hole, ...]:
    """Return the outlines of the holes, the largest first; what does not close is left out.

    Parameters
    ----------
    vertices : (n, 3)
        [m]
    faces : (m, 3)
        Corner numbers.
    """
    directed = np.concatenate([faces[:, [a, (a + 1) % 3]] for a in range(3)])
    _, number, count = np.unique(
        np.sort(directed, axis=1), axis=0, return_inverse=True, return_counts=True
    )
    onward: dict[int, list[int]] = {}
    for a, b in directed[count[number.reshape(-1)] == 1]:
        onward.setdefault(int(a), []).append(int(b))
    found = []
    for outline in _loops(onward):
        place = vertices[outline]
        corners = np.array(outline, np.int64)
        found.append(Hole(corners=corners, low=place.min(axis=0), high=place.max(axis=0)))
    return tuple(sorted(found, key=lambda hole: -hole.size))


def _loops(onward: dict[int, list[int]]) -> list[list[int]]:
    """Follow edges to closed outlines; one that comes back to a corner of its own ends there.

    So holes that touch in a corner are two outlines, not a knot. The edges are used up.
    """
    loops = []
    for start in tuple(onward):
        path, place, at = [start], {start: 0}, start
        while onward.get(at):
            at = onward[at].pop()
            if at not in place:
                place[at] = len(path)
                path.append(at)
                continue
            first = place[at]
            if len(path) - first >= 3:
                loops.append(path[first:])
            for corner in path[first + 1 :]:
                del place[corner]
            del path[first + 1 :]
    return loops


def close_small(vertices: Floats, faces: Ints) -> tuple[Floats, Ints, tuple[Hole, ...]]:
    """Return the surface with its small holes closed, and which they were.

    A hole of three corners is always closed: only one face can be missing.

    Parameters
    ----------
    vertices : (n, 3)
        [m]
    faces : (m, 3)
        Corner numbers.
    """
    part = float(np.ptp(vertices, axis=0).max())
    small = [
        hole
        for hole in holes_of(vertices, faces)
        if len(hole.corners) == 3 or hole.size <= SMALL * part
    ]
    for hole in small:
        ring = hole.corners
        if len(ring) == 3:
            more = ring[None, ::-1]
        else:
            centre = len(vertices)
            vertices = np.concatenate([vertices, vertices[ring].mean(axis=0)[None]])
            more = np.stack([np.roll(ring, -1), ring, np.full(len(ring), centre)], axis=1)
        faces = np.concatenate([faces, more])
    return vertices, faces, tuple(small)
