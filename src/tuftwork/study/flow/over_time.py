"""What a case of the 3-D flow keeps over time: its wish, its cost, where it stands, its words."""

import os
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.car import FlowRun
from tuftwork.errors import FileFault, InputError
from tuftwork.files.time_file import TimeSeries, read_time_file
from tuftwork.flow import FlowCase, Prepared
from tuftwork.flow.output import split_surface
from tuftwork.flow.over_time import Axis, Kept, Wish, foresee
from tuftwork.flow.parts import box_faults
from tuftwork.flow.prepare import body_length
from tuftwork.flow.surface_map import SurfaceMap, boxes_of, outward, weights_of
from tuftwork.study.flow.spoken import seen_as
from tuftwork.study.flow.thin import thinned, whole

GROWING = "over-time.part.nc"
ASIDE = "over-time-before-*.nc"
"""Name of the file while its run goes on."""
FEWEST = 8
"""Samples below which no fluctuation is told. [-]"""
SAME = 1e-6
"""Two planes nearer than this are one. [m]"""
_FINEST = 220
"""Edges of the kept surface along the car; finer ones are for the exported files. [-]"""
_TRIANGLES = 80_000
"""Most triangles of the kept surface: above it vertices become one."""
_SPLIT = 0.2
"""Area of a split triangle over the square of the longest edge, seen on generic cars. [-]"""
_LONGEST, _MOST_PLANES = 100.0, 20
"""As the project file allows: lengths between samples, planes."""
_ROOM = 0.9
"""Share of the free disk that may be taken. [-]"""
_KEPT, _EVERY, _PLANE = (seen_as(f"over_time{key}") for key in ("", ".every", ".planes"))


def planes_of(run: FlowRun) -> tuple[tuple[Axis, float], ...]:
    """Return the planes that a case keeps over time: axis and place. [m]."""
    asked = run.over_time
    return () if asked is None else tuple((p.axis, p.at.best) for p in asked.planes)


def keep_tree(run: FlowRun) -> dict[str, Any] | None:
    """Return what a case keeps over time as the page's fields show it; None where nothing."""
    asked = run.over_time
    if asked is None:
        return None
    planes = [{"axis": p.axis, "at": round(p.at.best, 6)} for p in asked.planes]
    return {"every": asked.every, "planes": planes, "surface": asked.surface}


def kept_as_asked(tree: Any) -> dict[str, Any] | None:
    """Return fields of the page as values of the case's key ``over_time``; None switches it off.

    Raises
    ------
    InputError
        If one cannot be meant.
    """
    if tree is None:
        return None
    if not isinstance(tree, Mapping):
        raise InputError(_KEPT, repr(tree), "", "must hold every, planes and surface")
    every = _number(_EVERY, tree.get("every"), "car lengths")
    if not 0 < every <= _LONGEST:
        limit, cure = f"must be above 0, to {_LONGEST:g} car lengths", "0.1 is a good start."
        raise InputError(_EVERY, every, "car lengths", limit, cure)
    planes = []
    for plane in tree.get("planes", ()):
        axis, at = str(plane.get("axis")), _number(_PLANE, plane.get("at"), "m")
        if axis not in {"x", "y", "z"}:
            raise InputError(_PLANE, axis, "", "must be normal to x, y or z")
        planes.append({"axis": axis, "at": f"{at:.9g} m"})
    if len(planes) > _MOST_PLANES:
        cure = f"Leave out {len(planes) - _MOST_PLANES} of them."
        raise InputError(_PLANE, len(planes), "planes", f"at most {_MOST_PLANES} are kept", cure)
    surface = bool(tree.get("surface"))
    if not planes and not surface:
        cure = "Add a plane or keep the pressure on the car."
        raise InputError(_KEPT, "nothing", "", "must keep something", cure)
    return {"every": every, "planes": planes, "surface": surface}


def _number(name: str, value: Any, unit: str) -> float:
    try:
        found = float(value)
    except (TypeError, ValueError):
        found = np.nan
    if not np.isfinite(found):
        raise InputError(name, repr(value), unit, "must be a number")
    return found


def spoken_plane(axis: str, at: float) -> str:
    """Return a plane as a person says it, to the millimetre."""
    return f"{axis} = {round(at, 3) + 0.0:g} m".replace("-", "\u2212")


def _size(case: FlowCase) -> float:
    """Longest edge of the kept surface. [m]."""
    return float(max(2 * case.finest, body_length(case.parts) / _FINEST))


def kept_surface(prepared: Prepared) -> SurfaceMap:
    """Return the car's surface as records and files over time hold it, and where its values lie.

    Parameters
    ----------
    prepared
        What is run.
    """
    from scipy.sparse import csr_array, vstack

    case, boxes, size = prepared.case, boxes_of(prepared), _size(prepared.case)
    vertices, faces, owner, weights, count = [], [], [], [], 0
    for n in range(len(case.parts)):
        places, corners = split_surface(case, n, size)
        vertices.append(places)
        faces.append(corners + count)
        owner.append(np.full(len(places), n))
        looks = outward(places, corners) if case.parts[n].is_closed else None
        weights.append(weights_of(boxes, n, places, looks))
        count += len(places)
    place, corner, part = (np.concatenate(rows) for rows in (vertices, faces, owner))
    kept, size = whole(place, corner), 0.5 * size
    while len(kept.faces) > _TRIANGLES:
        size *= 1.2
        kept = thinned(place, corner, part, size)
    used = np.flatnonzero(kept.of >= 0)
    into = kept.of[used]
    share = 1.0 / np.bincount(into, minlength=len(kept.vertices))[into]
    mean = csr_array((share, (into, used)), shape=(len(kept.vertices), count))
    return SurfaceMap(
        vertices=kept.vertices, faces=kept.faces, weights=csr_array(mean @ vstack(weights).tocsr()),
        part=np.rint(kept.mean(part)).astype(np.int64),
    )  # fmt: skip


def wish_of(run: FlowRun, prepared: Prepared) -> Wish | None:
    """Return what a prepared case keeps over time, None where nothing."""
    if run.over_time is None:
        return None
    surface = kept_surface(prepared) if run.over_time.surface else None
    return Wish(every=run.over_time.every, planes=planes_of(run), surface=surface)


def keeping(case: FlowCase, run: FlowRun) -> Kept | None:
    """Return what keeping fields over time takes, before any grid is cut; None where none is.

    Raises
    ------
    InputError
        If a plane lies outside the box.
    """
    if run.over_time is None:
        return None
    wish = Wish(every=run.over_time.every, planes=planes_of(run))
    n_vertex = _about_vertices(case) if run.over_time.surface else 0
    return foresee(case, wish, n_vertex=n_vertex, settle=run.settle, longest=run.longest)


def _about_vertices(case: FlowCase) -> int:
    """Estimate how many vertices the kept surface has, from the triangles' areas."""
    size, triangles = _size(case), 0.0
    for part in case.parts:
        corner = part.triangles()
        area = 0.5 * np.linalg.norm(
            np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1
        )
        triangles += float(np.maximum(1.0, area / (_SPLIT * size**2)).sum())
    return int(0.5 * min(triangles, _TRIANGLES)) + 1


def keeping_faults(case: FlowCase, run: FlowRun, folder: Path) -> tuple[InputError, ...]:
    """Return what speaks against keeping: planes outside the box, nothing to keep, a full disk."""
    if any(True for _ in box_faults(case)):
        return ()  # without a box there is no outside of it
    try:
        kept = keeping(case, run)
    except InputError:
        return tuple(_plane_faults(case, run))
    if kept is None:
        return ()
    if not kept.count and run.longest <= run.settle:
        return ()  # that the run ends before it has settled is a fault of its own
    if not kept.count:
        limit = f"the run ends before a sample falls due after settling for {run.settle:g}"
        every = run.over_time.every if run.over_time else 0.0
        return (InputError(_EVERY, every, "car lengths", limit, "Make it smaller."),)
    free = shutil.disk_usage(folder).free
    if kept.size > _ROOM * free:
        limit = f"{free / 1e9:.1f} GB are free on the disk"
        cure = "Keep fewer planes, or samples further apart."
        return (InputError(_KEPT, round(kept.size / 1e9, 2), "GB", limit, cure),)
    return ()


def _plane_faults(case: FlowCase, run: FlowRun) -> Iterator[InputError]:
    """Yield a fault for every plane that cannot be kept."""
    asked = run.over_time
    for plane in asked.planes if asked else ():
        one = asked.model_copy(update={"planes": (plane,)}) if asked else None
        try:
            keeping(case, run.model_copy(update={"over_time": one}))
        except InputError as fault:
            where = f"{_PLANE}: {fault.name}"
            yield InputError(where, fault.value, fault.unit, fault.limit, fault.cure)


def keeping_row(case: FlowCase, run: FlowRun) -> list[tuple[str, str]]:
    """Return the cost on the disk in words, nothing where nothing is kept."""
    try:
        kept = keeping(case, run)
    except InputError:
        return []
    if kept is None or not kept.count:  # nothing kept is a fault
        return []
    text = f"at most {kept.count} samples, every {kept.every:.3g} lengths from {run.settle:g} on"
    text += f": about {spoken_size(kept.size)} on the disk"
    if run.back_end == "cuda":
        text += f", {spoken_size(kept.memory)} of a card's memory (counted above)"
    return [("kept over time", text)]


def keeping_memory(case: FlowCase, run: FlowRun) -> float:
    """Return the memory on a graphics card for taking samples, 0 where none can be taken. [B]."""
    try:
        kept = keeping(case, run)
    except InputError:
        return 0.0
    return 0.0 if kept is None else kept.memory


def spoken_size(size: float) -> str:
    """Return a size as a person says it."""
    for unit, step in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if size >= step:
            return f"{size / step:.3g}\u202f{unit}"
    return f"{size:.0f}\u202fB"


def kept_as(grows: Path, path: Path) -> TimeSeries:
    """Give the file of a run that has ended its lasting name too, and return what it holds.

    The growing one stays until the checkpoint has gone: a run that is killed in between goes on.
    """
    path.unlink(missing_ok=True)
    try:
        os.link(grows, path)
    except OSError:  # a disk without links
        shutil.copyfile(grows, path)
    return read_time_file(path)


def told(series: TimeSeries, run: FlowRun) -> dict[str, Any]:
    """Return what a record says of a series; the series itself stays beside it."""
    size = series.path.stat().st_size
    return {
        "file": series.path.name, "count": series.count, "size": size,
        "from": float(series.travel[0]) if series.count else 0.0,
        "to": float(series.travel[-1]) if series.count else 0.0,
        "every": run.over_time.every if run.over_time else 0.0,
        "planes": [[p.axis, p.at] for p in series.planes], "surface": series.n_vertex > 0,
    }  # fmt: skip


def series_of(record: dict[str, Any], project: Path) -> TimeSeries | None:
    """Return what was kept of a finished run over time, None where nothing was or it has gone."""
    kept = record.get("over_time")
    if kept is None:
        return None
    path = project / "results" / "flow" / record["case"]["digest"][:16] / kept["file"]
    try:
        found = read_time_file(path)
    except FileFault:
        return None
    return found if found.count == kept["count"] else None


def said(record: dict[str, Any], project: Path) -> str:
    """Return what a finished run kept over time, in words; empty where nothing."""
    kept = record.get("over_time")
    if kept is None:
        return ""
    what = [f"the plane {spoken_plane(axis, at)}" for axis, at in kept["planes"]]
    what += ["the pressure on the surface"] if kept["surface"] else []
    text = (
        f"Kept over time: {kept['count']} samples from {kept['from']:.2f} to {kept['to']:.2f} "
        f"lengths, {spoken_size(kept['size'])}: {', '.join(what)}."
    )
    settle = record["made_with"]["settle"]
    if kept["from"] > settle + 1.5 * kept["every"] + 0.1:
        why = "it was asked for on the way, or was laid out otherwise before"
        text += f" It begins late, not at {settle:g}: {why}."
    series = series_of(record, project)
    if series is None:
        return f"{text} The file has gone from results/; run the case again to have it."
    return f"{text} In {series.path.relative_to(project)}."


def growing(folder: Path) -> str:
    """Return how much a run has kept so far, and what was set aside, in words."""
    said = [_span(folder / GROWING, "so far")]
    for path in sorted(folder.glob(ASIDE)):
        place = f"results/flow/{folder.name}/{path.name}"
        said.append(_span(path, f"from before the case was changed, in {place}"))
    return " ".join(text for text in said if text)


def _span(path: Path, which: str) -> str:
    try:
        found = read_time_file(path)
    except FileFault:
        return ""
    if not found.count:
        return ""
    return f"{found.count} samples over time {which}, up to {found.travel[-1]:.2f} lengths."
