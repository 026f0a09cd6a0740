"""Surfaces from files: STL, OBJ, PLY and GLB, one part for each named surface."""

import re
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.errors import Fault, FileFault
from tuftwork.shape import Mesh

READABLE = (".stl", ".obj", ".ply", ".glb")


def read_meshes(path: Path, *, unit: float = 1.0, up: str = "z") -> tuple[Mesh, ...]:
    """Return the surfaces of a file, one per named part.

    Parameters
    ----------
    path
        An STL, OBJ, PLY or GLB file.
    unit
        Length of the file's unit, for example 0.001 for millimetres. [m]
    up
        Which way is up in the file: ``"z"``, or ``"y"`` as binary glTF has it.

    Returns
    -------
    meshes
        As they stand in the file, scaled, with z up; neither mended nor checked.

    Raises
    ------
    FileFault
        If the file is missing, of another kind, damaged or holds no surface.
    """
    import trimesh

    if path.suffix.lower() not in READABLE:
        wanted = ", ".join(READABLE)
        raise FileFault(
            [
                Fault(
                    what="not a surface file",
                    file=str(path),
                    found=path.suffix,
                    expected=wanted,
                    cure="Export the surface from where it was drawn in one of these.",
                )
            ]
        )
    if not path.is_file():
        raise FileFault([_missing(path)])
    try:
        scene = trimesh.load_scene(path, **_splitting(path))
    except (ValueError, KeyError, IndexError, TypeError, OSError, NotImplementedError) as error:
        raise FileFault(
            [Fault(what="cannot be read as a surface", file=str(path), found=str(error))]
        ) from error
    order = {name: n for n, name in enumerate(scene.geometry)}
    back = -1 if path.suffix.lower() == ".obj" else 1  # its last object is read first
    out: list[Mesh] = []
    drawn = [scene.graph[node][1] for node in scene.graph.nodes_geometry]
    nodes = sorted(scene.graph.nodes_geometry, key=str)
    for node in sorted(nodes, key=lambda n: back * order[scene.graph[n][1]]):
        matrix, name = scene.graph[node]
        body = scene.geometry[name]
        if not isinstance(body, trimesh.Trimesh) or not len(body.faces):
            continue
        place = trimesh.transform_points(np.asarray(body.vertices, dtype=float), matrix)
        if up == "y":  # a quarter turn about x: what was up is z, what came towards the eye is −y
            place = place[:, [0, 2, 1]] * [1.0, -1.0, 1.0]
        out.append(
            Mesh(
                # one wheel may be drawn four times
                name=_own(str(name if drawn.count(name) == 1 else node), [m.name for m in out]),
                vertices=np.asarray(place, dtype=float) * unit,
                faces=np.asarray(body.faces, dtype=np.int64),
            )
        )
    if not out:
        raise FileFault([
            Fault(what="holds no triangles", file=str(path), found=f"{path.stat().st_size} bytes",
                  expected="a surface of triangles",
                  cure="It may have been cut short, or hold curves only: export it again.")
        ])  # fmt: skip
    return tuple(out)


def _missing(path: Path) -> Fault:
    """Return the fault of a file that is not there, with those that are."""
    found = path.parent.iterdir() if path.parent.is_dir() else ()
    there = [near.name for near in found if near.suffix.lower() in READABLE]
    close = get_close_matches(path.name, there, n=3, cutoff=0.0)
    return Fault(what="no such file", file=str(path), expected=f"one of {', '.join(close)}"
                 if close else "", cure="Copy it there, or mend its name.")  # fmt: skip


def _own(name: str, taken: list[str]) -> str:
    """Return a name that no part before has."""
    count, own = 1, name
    while own in taken:
        count, own = count + 1, f"{name} {count + 1}"
    return own


def _splitting(path: Path) -> dict[str, Any]:
    """Return how an OBJ file is to be read: an object a part, or a group where it has no objects.

    Left to itself the reader joins all that has one material, and the wheels do not roll.
    """
    if path.suffix.lower() != ".obj":
        return {}
    text = path.read_bytes()
    has = {key: re.search(rb"(?m)^" + key + rb"\s", text) is not None for key in (b"o", b"g")}
    return {
        "split_objects": has[b"o"], "split_groups": has[b"g"] and not has[b"o"],
        "group_material": False, "skip_materials": True,
    }  # fmt: skip
