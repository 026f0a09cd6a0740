"""Surfaces: mend or refuse with the place, measure."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.shape.hole import close_small, holes_of

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
_NOTHING = 1e-12
"""Less is no volume. [m³]"""
_AT_ONCE = 2_000_000
"""Pixels tried in one go; bounds the memory. [pixels]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """A triangulated surface in car axes.

    Attributes
    ----------
    name
        Part name.
    vertices
        Shape (n_vertex, 3). [m]
    faces
        Corner numbers, counter-clockwise seen from outside. Shape (n_face, 3).
    """

    name: str
    vertices: Floats
    faces: Ints

    @property
    def triangles(self) -> Floats:
        """Corners. Shape (n_face, 3, 3). [m]."""
        return np.asarray(self.vertices[self.faces], dtype=float)

    @property
    def volume(self) -> float:
        """Signed volume; negative where the surface is inside out. [m³]."""
        a, b, c = np.moveaxis(self.triangles, 1, 0)
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def open_edges(mesh: Mesh) -> tuple[Ints, Ints]:
    """Return edges not shared by two faces, and edges that two faces run in the same sense.

    Returns
    -------
    ragged : (n, 2)
        Vertex pairs of edges used once or more than twice.
    twisted : (m, 2)
        Vertex pairs of edges used twice in the same sense: a face is turned over.
    """
    directed = np.concatenate([mesh.faces[:, [a, (a + 1) % 3]] for a in range(3)])
    edge, count = np.unique(np.sort(directed, axis=1), axis=0, return_counts=True)
    pairs, times = np.unique(directed, axis=0, return_counts=True)
    return edge[count != 2], pairs[times > 1]


def check_mesh(mesh: Mesh, *, closed: bool = True) -> None:
    """Refuse a surface that cannot bound a body, with the place.

    Parameters
    ----------
    mesh
        The surface.
    closed
        Whether it has to be watertight and face outwards.

    Raises
    ------
    InputError
        If it is empty, not finite, open, or inside out.
    """
    name = f"part '{mesh.name}'"
    if not len(mesh.faces):
        raise InputError(name, 0, "faces", "has no surface")
    if not np.all(np.isfinite(mesh.vertices)):
        raise InputError(name, "not finite", "", "every corner must be a number")
    if not closed:
        return
    ragged, twisted = open_edges(mesh)
    if len(ragged):
        limit = f"the surface is not closed at {_place(mesh, ragged)}"
        holes = holes_of(mesh.vertices, mesh.faces)
        cure = "More than two faces meet there: save the bodies that touch there as parts of their "
        cure += "own, or join them into one."
        if holes:
            count = "A hole of" if len(holes) == 1 else f"{len(holes)} holes, the largest"
            cure = f"{count} {holes[0].text}: close it, or name the part among 'plates' where it "
            cure += "is meant to be thin."
        raise InputError(name, len(ragged), "open edges", limit, cure)
    if len(twisted):
        cure = "Turn the faces so that all normals point outwards."
        limit = f"faces beside each other face different ways at {_place(mesh, twisted)}"
        raise InputError(name, len(twisted), "turned edges", limit, cure)
    if not mesh.volume > 0:
        cure = "It is inside out: reverse its faces."
        if abs(mesh.volume) < _NOTHING:
            cure = "It has no thickness: name the part among 'plates' where it is meant to be thin."
        raise InputError(name, mesh.volume, "m³", "the enclosed volume must be above 0", cure)


def _place(mesh: Mesh, edges: Ints) -> str:
    """Words for where the edges lie."""
    low = mesh.vertices[edges].reshape(-1, 3).min(axis=0)
    high = mesh.vertices[edges].reshape(-1, 3).max(axis=0)
    spans = ", ".join(f"{a} {lo:.3f}…{hi:.3f}" for a, lo, hi in zip("xyz", low, high, strict=True))
    return f"{spans} m"


def mend(mesh: Mesh, *, tolerance: float = 1e-5) -> tuple[Mesh, tuple[str, ...]]:
    """Return a mended surface and what was done to it.

    Corners closer than ``tolerance`` are joined, needle and double faces dropped, and so are the
    walls between bodies that meet face on face; normals are turned outwards, small holes filled.

    Parameters
    ----------
    mesh
        The surface.
    tolerance
        Distance within which corners are one. [m]

    Returns
    -------
    mended
        The new surface; check it with ``check_mesh``.
    done
        One sentence per change.
    """
    import trimesh

    key = np.round(mesh.vertices / tolerance).astype(np.int64)
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    body = trimesh.Trimesh(
        vertices=mesh.vertices[first], faces=number.reshape(-1)[mesh.faces], process=False
    )
    done = []
    if len(first) < len(mesh.vertices):
        done.append(f"{len(mesh.vertices) - len(first)} double corners joined.")
    before = len(body.faces)
    body.update_faces(body.nondegenerate_faces())
    open_faces = _without_inner(np.asarray(body.faces))
    if open_faces is not None:
        inner = len(body.faces) - int(open_faces.sum())
        done.append(f"{inner} faces of inner walls dropped, where bodies meet face on face.")
        body.update_faces(open_faces)
        before -= inner
    body.update_faces(body.unique_faces())
    if len(body.faces) < before:
        done.append(f"{before - len(body.faces)} needle or double faces dropped.")
    as_read = body.faces.copy()
    if not body.is_watertight:
        trimesh.repair.fix_winding(body)  # outlines of holes run one way only then
        corners, faces, closed = close_small(body.vertices, body.faces)
        if closed:
            body = trimesh.Trimesh(vertices=corners, faces=faces, process=False)
            count = "A hole" if len(closed) == 1 else f"{len(closed)} holes"
            most = closed[0].text if len(closed) == 1 else f"the largest {closed[0].text}"
            done.append(f"{count} closed, {most}.")
    trimesh.repair.fix_normals(body, multibody=True)
    if not np.array_equal(as_read, body.faces[: len(as_read)]):  # faces over holes stand behind
        done.append("Faces turned so that normals point outwards.")
    body.remove_unreferenced_vertices()  # a needle's corner may lie anywhere, and bounds the part
    out = Mesh(
        name=mesh.name,
        vertices=np.asarray(body.vertices, dtype=float),
        faces=np.asarray(body.faces, dtype=np.int64),
    )
    return out, tuple(done)


def _without_inner(faces: Ints) -> npt.NDArray[np.bool_] | None:
    """Say which faces stay where two bodies share a wall; None where that closes nothing.

    A sheet drawn from both sides has such pairs too, and would be gone without them.
    """
    _, group, count = np.unique(
        np.sort(faces, axis=1), axis=0, return_inverse=True, return_counts=True
    )
    first, second, _ = np.argsort(faces, axis=1).T
    sense = np.where((second - first) % 3 == 1, 1, -1)
    total = np.bincount(group.reshape(-1), weights=sense)
    stays = ~((count == 2) & (total == 0))[group.reshape(-1)]
    if stays.all() or not stays.any():
        return None
    once = np.unique(group.reshape(-1), return_index=True)[1]
    return stays if _n_ragged(faces[stays]) < _n_ragged(faces[once]) else None


def _n_ragged(faces: Ints) -> int:
    edges = np.sort(np.concatenate([faces[:, [a, (a + 1) % 3]] for a in range(3)]), axis=1)
    return int((np.unique(edges, axis=0, return_counts=True)[1] != 2).sum())


def frontal_area(meshes: Sequence[Mesh], *, pixel: float = 0.002) -> float:
    """Return the area of the shadow of surfaces along x, overlaps counted once.

    Parameters
    ----------
    meshes
        The surfaces.
    pixel
        Raster size; the error is about a pixel times half the outline. [m]

    Returns
    -------
    area : ()
        [m²]
    """
    if not pixel > 0:
        raise InputError("pixel", pixel, "m", "must be above 0")
    corner = np.concatenate([m.triangles for m in meshes])[:, :, 1:]
    low = corner.reshape(-1, 2).min(axis=0)
    shape = np.ceil(np.ptp(corner.reshape(-1, 2), axis=0) / pixel).astype(int) + 1
    seen = np.zeros(tuple(shape), bool)
    scaled = (corner - low) / pixel - 0.5
    first = np.maximum(np.ceil(scaled.min(axis=1)).astype(np.int64), 0)
    last = np.minimum(np.floor(scaled.max(axis=1)).astype(np.int64), shape - 1)
    size = np.maximum(last - first + 1, 0)
    ends = np.cumsum(size[:, 0] * size[:, 1])
    start = 0
    while start < len(scaled):
        done = ends[start - 1] if start else 0
        stop = max(start + 1, int(np.searchsorted(ends, done + _AT_ONCE, side="right")))
        _shade(seen, scaled[start:stop], first[start:stop], size[start:stop])
        start = stop
    return float(seen.sum() * pixel**2)


def _shade(seen: npt.NDArray[np.bool_], corner: Floats, first: Ints, size: Ints) -> None:
    """Mark pixel centres inside projected triangles: every pixel of every box around one."""
    count = size[:, 0] * size[:, 1]
    tri = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(tri)) - np.repeat(np.cumsum(count) - count, count)
    i = first[tri, 0] + place // size[tri, 1]
    j = first[tri, 1] + place % size[tri, 1]
    b, c = (corner[:, k] - corner[:, 0] for k in (1, 2))
    area = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
    x, y = i - corner[tri, 0, 0], j - corner[tri, 0, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        s = (x * c[tri, 1] - y * c[tri, 0]) / area[tri]
        t = (b[tri, 0] * y - b[tri, 1] * x) / area[tri]
        inside = (s >= 0) & (t >= 0) & (s + t <= 1)
    seen[i[inside], j[inside]] = True
