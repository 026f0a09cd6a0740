"""A finished run as one plain tree: loads, bands, histories, surface, planes, vortices, lines."""

from dataclasses import asdict
from typing import Any

import numpy as np

from tuftwork.files.time_file import TimeSeries
from tuftwork.flow import FlowCase, FlowResult, PartLoad, bands
from tuftwork.flow.bias import stated_bias
from tuftwork.flow.facing import said_of_books
from tuftwork.flow.look import (
    Plane,
    car_loads,
    load_rows,
    part_axle_loads,
    plane,
    seeds_ahead,
    streamlines,
    vortex_surface,
)
from tuftwork.flow.output import State, coefficients
from tuftwork.flow.over_time import POINTS
from tuftwork.flow.plane_map import near_car
from tuftwork.flow.prepare import body_length
from tuftwork.flow.statistics import SeriesMean
from tuftwork.flow.vortex import Mark
from tuftwork.study.flow.case import Built
from tuftwork.study.flow.inside import inside_tree
from tuftwork.study.flow.moments import said_of_shape
from tuftwork.study.flow.over_time import (
    FEWEST,
    SAME,
    kept_surface,
    planes_of,
    spoken_plane,
    told,
)

_TRIANGLES = 80_000
"""Most triangles of the vortex surface: above it only stronger vortices are kept."""
_POINTS = 110
"""Points of one kept streamline. [-]"""
_STEP = 1e-4
"""Of kept places. [m]"""
_SAMPLES = 600
_HALF = np.float16


def record_tree(
    result: FlowResult, built: Built, series: TimeSeries | None = None
) -> dict[str, Any]:
    """Return everything pages, budget and report show of a run.

    Parameters
    ----------
    result
        A finished run.
    built
        The case it came from.
    series
        What was kept of it over time.
    """
    prepared, case = result.prepared, built.case
    low, high = case.bounds()
    loads = car_loads(result, wheelbase=built.wheelbase, settle=built.rule.settle)
    bias = stated_bias(body_length(case.parts) / case.finest)
    return {
        "case": {
            "name": built.run.name, "digest": built.digest, "shape": built.form,
            "speed": case.speed, "yaw": case.yaw, "cell": case.finest, "road": case.road,
            "laid": built.run.laid.best,
            "front": built.front, "rear": built.rear,
            "wheelbase": built.wheelbase, "state": built.run.state, "counts": built.run.counts,
            "density": case.density, "viscosity": case.viscosity, "moments": MOMENTS,
            "is_generic": built.run_is_generic,
            "left_out": [m.name for m in built.shape.meshes
                         if m.name not in {p.name for p in case.parts}],
            "low": [float(v) for v in low], "high": [float(v) for v in high],
            "box": {k: v for k, v in asdict(case.box).items() if v is not None},
        },
        "made_with": dict(result.made_with) | {
            "travel": result.travel, "reached": result.reached, "asked_error": built.rule.error,
            "asked": built.rule.asked,
            "settle": built.rule.settle,
        },
        "grid": {
            "shape": list(prepared.setup.shape), "n_plain": prepared.n_plain,
            "boxes": 1 + len(result.boxes),
            "frontal_area": prepared.frontal_area, "blockage": prepared.blockage,
            "gap_cells": prepared.gap_cells, "gap_between": prepared.gap_between,
            "gap_at": prepared.gap_at, "origin": list(prepared.origin),
        },
        "loads": {k: _mean(getattr(loads, k)) for k in _LOADS},
        "bias": {"low": bias.low, "high": bias.high, "text": bias.text, "rows": len(bias.rows)},
        "parts": _parts(result, built),
        **inside_tree(result),
        "bands": _bands(result),
        "series": _series(result, built),
        "surface": _surface(result, series),
        "planes": _planes(result, built),
        **({"over_time": told(series, built.run)} if series is not None else {}),
        "vortices": _vortices(result),
        "vortices_lambda2": _vortices(result, "lambda2"),
        "lines": _lines(result),
        "notices": [
            *result.notices,
            *said_of_books(result),
            *said_of_shape(is_generic=built.run_is_generic, counts=built.run.counts),
        ],
        "notes": list(built.shape.notes),
        "sources": list(result.sources),
    }  # fmt: skip


MOMENTS = "SAE J1594: right side down, nose up, nose to the right"
"""Positive senses of the moments in a record; ``moments.py`` knows what older ones had."""
_LOADS = ("front", "rear", "downforce", "drag", "side", "roll", "pitch", "yaw")


def _mean(found: SeriesMean) -> dict[str, float]:
    return {"mean": found.mean, "error": found.error, "independent": found.n_independent}


def _parts(result: FlowResult, built: Built) -> list[dict[str, Any]]:
    front, rear = part_axle_loads(result, wheelbase=built.wheelbase)

    def row(n: int, part: PartLoad) -> dict[str, Any]:
        return {
            "name": part.name, "front": float(front[n]), "rear": float(rear[n]),
            "drag": part.drag_area, "side": part.side_area, "friction": part.friction_drag_area,
        }  # fmt: skip

    return [row(n, part) for n, part in enumerate(result.parts)]


def _bands(result: FlowResult) -> dict[str, Any]:
    width = max(0.05, 2 * result.prepared.case.finest)
    start, drag, downforce = bands(result, width=width)
    return {
        "width": width, "start": start.astype(np.float32), "drag": drag.astype(np.float32),
        "downforce": downforce.astype(np.float32),
    }  # fmt: skip


def _series(result: FlowResult, built: Built) -> dict[str, Any]:
    rows = load_rows(result, wheelbase=built.wheelbase)
    count = len(result.series)
    every = max(1, count // _SAMPLES)
    travel = result.travel * np.arange(1, count + 1) / count
    kept = {k: rows[k][::every].astype(np.float32) for k in ("front", "rear", "drag", "side")}
    return {"travel": travel[::every].astype(np.float32), **kept}


def _surface(result: FlowResult, series: TimeSeries | None) -> dict[str, Any]:
    kept = kept_surface(result.prepared)
    boxes = (result, *result.boxes)
    fields: dict[str, np.ndarray] = {}
    for then in ("", "_last"):
        rows = [box.last_rows if then else box.wall_rows for box in boxes]
        found = coefficients(result.prepared.case, np.concatenate(rows, axis=1))
        fields |= {key + then: kept.of(row) for key, row in found.items()}
    if series is not None and series.n_vertex == len(kept.vertices) and series.count >= FEWEST:
        fields["pressure_rms"] = series.surface_rms()
    return {
        "names": [p.name for p in result.prepared.case.parts],
        **_places(kept.vertices),
        "faces": kept.faces.astype(np.int32),
        "part": kept.part.astype(np.uint8),
        **{key: _rounded(row, 5 if "friction" in key else 4 if "rms" in key else 3).astype(_HALF)
           for key, row in fields.items()},
    }  # fmt: skip


def _planes(result: FlowResult, built: Built) -> list[dict[str, Any]]:
    """Return the planes one asks for first, and those of the case: mean and one instant."""
    prepared, case = result.prepared, result.prepared.case
    low, high = case.bounds()
    length = float(high[0] - low[0])
    end = prepared.origin[0] + case.cell * (prepared.setup.shape[0] - 2)
    bodies = [p for p in case.parts if p.spin is None]
    clear = min((float(p.vertices[:, 2].min()) for p in bodies), default=0.0)
    wanted: list[tuple[str, Any, float]] = [
        ("middle of the car", "y", 0.0),
        ("quarter of the width", "y", 0.5 * float(high[1])),
        ("near the road", "z", max(0.5 * clear, case.finest)),
        ("half of the height", "z", 0.5 * float(high[2])),
        ("middle of the length", "x", float(low[0]) + 0.5 * length),
        ("behind the car", "x", min(float(high[0]) + 0.1 * length, end)),
        ("half a length behind", "x", min(float(high[0]) + 0.5 * length, end)),
    ]
    for axis, at in planes_of(built.run):
        if not any(axis == other and abs(at - place) < SAME for _, other, place in wanted):
            wanted.append((spoken_plane(axis, at), axis, at))
    states: tuple[tuple[State, str], ...] = (("mean", ""), ("last", ", one instant"))
    return [
        _plane_tree(plane(result, axis, at, state), name + then, case)
        for state, then in states
        for name, axis, at in wanted
    ]


def _plane_tree(found: Plane, name: str, case: FlowCase) -> dict[str, Any]:
    """Return a plane cut to the surroundings of the car and thinned."""
    rows, columns = near_car(case, "xyz".index(found.axis), found.across, found.up, POINTS)
    grid = np.ix_(rows, columns)
    return {
        "name": name, "axis": found.axis, "at": found.at,
        "across": found.across[columns].astype(np.float32),
        "up": found.up[rows].astype(np.float32),
        "pressure": _rounded(found.pressure_coefficient[grid], 3).astype(_HALF),
        "loss": _rounded(found.total_pressure_loss[grid], 3).astype(_HALF),
        "speed": _rounded(found.speed[grid], 3).astype(_HALF),
    }  # fmt: skip


def _vortices(result: FlowResult, mark: Mark = "q") -> dict[str, Any]:
    level, most = 12.0, max(4_000, min(_TRIANGLES, result.prepared.n_plain // 50))
    found = vortex_surface(result, level, mark=mark)
    while len(found.faces) > most:
        level *= 1.5
        found = vortex_surface(result, level, mark=mark)
    return {
        "level": level,
        **_places(found.vertices),
        "faces": found.faces.astype(np.int32), "loss": _rounded(found.colour, 2).astype(_HALF),
    }  # fmt: skip


def _lines(result: FlowResult) -> dict[str, Any]:
    found = streamlines(result, seeds_ahead(result), longest=2.2)
    points, speed, start = [], [], [0]
    for first, last in zip(found.start[:-1], found.start[1:], strict=True):
        every = max(1, int(np.ceil((last - first) / _POINTS)))
        points.append(found.points[first:last:every])
        speed.append(found.speed[first:last:every])
        start.append(start[-1] + len(points[-1]))
    joined = np.concatenate(points) if points else np.zeros((0, 3))
    return {
        **_places(joined),
        "speed": (np.concatenate(speed) if speed else np.zeros(0)).astype(_HALF),
        "start": np.array(start, np.int32),
    }  # fmt: skip


def _places(metres: np.ndarray) -> dict[str, Any]:
    """Return places as whole tenths of a millimetre: small in the file, nothing seen is lost."""
    return {"vertices": np.round(metres / _STEP).astype(np.int32), "step": _STEP}


def in_metres(block: dict[str, Any]) -> dict[str, Any]:
    """Return a block of a record with its places in metres."""
    return block | {"vertices": (block["vertices"] * block["step"]).astype(np.float32)}


def _rounded(values: np.ndarray, places: int) -> np.ndarray:
    """Return values without digits that nobody sees: they only make the file large."""
    return np.round(values, places).astype(np.float32)
