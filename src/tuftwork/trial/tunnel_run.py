"""A tunnel session reduced: tare, buoyancy, axes, scale, repeats, sweeps, walls, and what is left.

Points at one state and one pair of ride heights are repeats of each other. Their scatter, pooled
over the session, is the session's own noise; dynamic pressure, the setting of ride heights and the
choice among the wall corrections are the rest of the range.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import hypot, sqrt

import numpy as np

from tuftwork.errors import InputError, NotCovered
from tuftwork.trial.tunnel import (
    BLOCKAGE_METHODS,
    BalanceReading,
    SweepGap,
    TunnelModel,
    axle_lifts,
    buoyancy_drag,
    floor_is_thin_enough,
    needs_moving_belt,
    scale_notices,
    sweep_gap,
)
from tuftwork.trial.tunnel_case import (
    FIELDS,
    UNCORRECTED,
    TunnelCase,
    TunnelPoint,
    TunnelResult,
    TunnelRow,
)

_ALIKE = 0.05e-3  # [m] ride heights closer than this are one point
_TOO_BLOCKED = 0.075  # [-] common practice, no source


def reduce_tunnel(points: Sequence[TunnelPoint], case: TunnelCase) -> TunnelResult:
    """Return CzSf, CzSr and CxS at full size of every state and pair of ride heights.

    Raises
    ------
    NotCovered
        If the session holds tares only.
    InputError
        If the correction is not known, or is one for closed sections in an open jet.
    """
    if case.correction not in (UNCORRECTED, *BLOCKAGE_METHODS):
        known = ", ".join((UNCORRECTED, *BLOCKAGE_METHODS))
        raise InputError("correction", f"'{case.correction}'", "", "not known", f"One of: {known}.")
    if case.is_open and case.correction != UNCORRECTED:
        raise InputError("correction", case.correction, "", "holds for closed sections only",
                         "Say none; the spread of results is then without walls.")  # fmt: skip
    tests = [p for p in points if not p.is_tare]
    if not tests:
        raise NotCovered("The session holds no point with the model in it.")
    tare = _tare([p for p in points if p.is_tare], case)
    areas = [_areas(p, tare, case) for p in tests]
    groups = list(_groups(tests).values())
    scatter, dof = _scatter(tests, areas)
    rows = _with_setting([_row(tests, g, areas, scatter, case) for g in groups], case)
    return TunnelResult(
        rows=tuple(rows), scatter=scatter, dof=dof, sweeps=_sweeps(rows, scatter),
        methods=tuple(_methods(areas, groups[0], case)), reynolds=_reynolds(tests, case),
        notices=tuple(_notices(tests, rows, case, dof)),
    )  # fmt: skip


def _pressure(point: TunnelPoint, case: TunnelCase) -> float:
    return 0.5 * case.density * point.speed**2


def _tare(tares: Sequence[TunnelPoint], case: TunnelCase) -> dict[str, float]:
    """Return the supports' own loads as areas, so that any speed's can be taken off. [m²], [m³]"""
    if not tares:
        return {"drag": 0.0, "lift": 0.0, "pitch": 0.0}
    return {
        key: float(np.mean([getattr(p, key) / _pressure(p, case) for p in tares]))
        for key in ("drag", "lift", "pitch")
    }


def _areas(point: TunnelPoint, tare: Mapping[str, float], case: TunnelCase) -> dict[str, float]:
    """Return CzSf, CzSr, CxS at full size, walls not yet taken out. [m²]"""
    q = _pressure(point, case)
    buoyancy = buoyancy_drag(case.volume, case.pressure_gradient)
    drag = point.drag - (tare["drag"] + case.interference_drag) * q - buoyancy
    lift = point.lift - (tare["lift"] + case.interference_lift) * q
    reading = BalanceReading(drag=drag, lift=lift, pitch=point.pitch - tare["pitch"] * q,
                             centre_x=case.centre_x, centre_z=case.centre_z)  # fmt: skip
    front, rear = axle_lifts(reading, case.wheelbase * case.scale)
    full = q * case.scale**2
    return {"front": -front / full, "rear": -rear / full, "drag": drag / full}


Group = tuple[str, int, int]


def _groups(points: Sequence[TunnelPoint]) -> dict[Group, list[int]]:
    """Return the places of the readings of each state and pair of ride heights."""
    found: dict[Group, list[int]] = {}
    for i, p in enumerate(points):
        key = (p.state, round(p.height_front / (2 * _ALIKE)), round(p.height_rear / (2 * _ALIKE)))
        found.setdefault(key, []).append(i)
    return found


def _mean(areas: Sequence[Mapping[str, float]], places: Sequence[int]) -> dict[str, float]:
    return {name: float(np.mean([areas[i][name] for i in places])) for name in FIELDS}


def _scatter(
    points: Sequence[TunnelPoint], areas: Sequence[Mapping[str, float]]
) -> tuple[dict[str, float], int]:
    """Return the deviation of one reading about its like, ways of the sweep kept apart."""
    alike: dict[tuple[Group, str], list[int]] = {}
    for key, places in _groups(points).items():
        for i in places:
            alike.setdefault((key, points[i].sweep), []).append(i)
    dof = sum(len(places) - 1 for places in alike.values())
    found = {}
    for name in FIELDS:
        total = 0.0
        for places in alike.values():
            values = np.array([areas[i][name] for i in places])
            total += float(np.sum((values - values.mean()) ** 2))
        found[name] = sqrt(total / dof) if dof else 0.0
    return found, dof


def _model(areas: Mapping[str, float], case: TunnelCase) -> TunnelModel:
    return TunnelModel(
        drag_coefficient=areas["drag"] / case.frontal_area,
        frontal_area=case.frontal_area * case.scale**2, section_area=case.section_area,
        volume=case.volume, height=case.section_height, width=case.section_width,
        is_open=case.is_open,
    )  # fmt: skip


def _ratios(areas: Mapping[str, float], case: TunnelCase) -> dict[str, float]:
    """Return q corrected over q measured by every method; none in an open jet."""
    if case.is_open:
        return {}
    return {name: method(_model(areas, case)) for name, method in BLOCKAGE_METHODS.items()}


def _row(
    points: Sequence[TunnelPoint],
    places: Sequence[int],
    areas: Sequence[Mapping[str, float]],
    scatter: Mapping[str, float],
    case: TunnelCase,
) -> TunnelRow:
    first, raw = points[places[0]], _mean(areas, places)
    by_method = _ratios(raw, case)
    ratio = by_method.get(case.correction, 1.0)
    mean = {name: value / ratio for name, value in raw.items()}
    ways = [
        float(np.mean([areas[i]["front"] + areas[i]["rear"] for i in places
                       if points[i].sweep == way]))
        for way in ("up", "down") if any(points[i].sweep == way for i in places)
    ]  # fmt: skip
    return TunnelRow(
        state=first.state, height_front=first.height_front, height_rear=first.height_rear,
        speed=float(np.mean([points[i].speed for i in places])), count=len(places),
        **mean, uncertainty={}, gap=ways[1] - ways[0] if len(ways) == 2 else float("nan"),
        lines=_lines(points, places, areas, scatter, by_method, case),
    )  # fmt: skip


def _lines(
    points: Sequence[TunnelPoint],
    places: Sequence[int],
    areas: Sequence[Mapping[str, float]],
    scatter: Mapping[str, float],
    by_method: Mapping[str, float],
    case: TunnelCase,
) -> dict[str, dict[str, float]]:
    """Return what a row's range rests on, field by field, as standard uncertainties. [m²]"""
    raw = _mean(areas, places)
    ratios = [*by_method.values(), *([1.0] if case.correction == UNCORRECTED else [])]
    walls = np.ptp(1 / np.array(ratios)) / sqrt(12) if by_method else 0.0
    lines = {
        "repeats": {n: scatter[n] / sqrt(len(places)) for n in FIELDS},
        "dynamic pressure": {n: case.pressure_doubt * abs(raw[n]) for n in FIELDS},
        "choice of wall correction": {n: float(walls) * abs(raw[n]) for n in FIELDS},
    }
    ways = {points[i].sweep for i in places}
    if {"up", "down"} <= ways:
        split = [[i for i in places if points[i].sweep == way] for way in ("up", "down")]
        up, down = (_mean(areas, side) for side in split)
        # which of two branches the car will be on is not known: anywhere between them
        lines["way of the sweep"] = {n: abs(up[n] - down[n]) / sqrt(12) for n in FIELDS}
    return lines


def _with_setting(rows: Sequence[TunnelRow], case: TunnelCase) -> list[TunnelRow]:
    """Return the rows with what a ride height set a little wrong costs, and all of it together."""
    found = []
    for row in rows:
        steep = {n: _slope(row, rows, n) for n in FIELDS}
        lines = {
            **row.lines,
            "setting of ride heights": {n: steep[n] * case.height_doubt for n in FIELDS},
        }
        total = {n: sqrt(sum(line[n] ** 2 for line in lines.values())) for n in FIELDS}
        found.append(replace(row, lines=lines, uncertainty=total))
    return found


def _slope(row: TunnelRow, rows: Sequence[TunnelRow], name: str) -> float:
    """Return the steepest slope from a row to its two nearest neighbours. [m²/m]"""
    near = []
    for other in rows:
        if other is row or other.state != row.state:
            continue
        step = hypot(other.height_front - row.height_front, other.height_rear - row.height_rear)
        near.append((step, abs(getattr(other, name) - getattr(row, name)) / step))
    return max((slope for _, slope in sorted(near)[:2]), default=0.0)


def _sweeps(rows: Sequence[TunnelRow], scatter: Mapping[str, float]) -> dict[str, SweepGap]:
    """Return each state's largest gap between up and down, against the noise of a difference."""
    noise = hypot(scatter["front"], scatter["rear"])
    found = {}
    for state in dict.fromkeys(r.state for r in rows):
        both = [r for r in rows if r.state == state and np.isfinite(r.gap)]
        if both and noise > 0:
            zero = np.zeros(len(both))
            found[state] = sweep_gap(np.array([r.height_rear for r in both]), zero,
                                     np.array([r.gap for r in both]), noise)  # fmt: skip
    return found


def _methods(
    areas: Sequence[Mapping[str, float]], places: Sequence[int], case: TunnelCase
) -> list[dict[str, float | str]]:
    """Return the first row by every method, side by side."""
    raw = _mean(areas, places)
    found: list[dict[str, float | str]] = []
    for name, ratio in {UNCORRECTED: 1.0, **_ratios(raw, case)}.items():
        found.append({"method": name, "pressure": ratio, "drag": raw["drag"] / ratio,
                      "total": (raw["front"] + raw["rear"]) / ratio})  # fmt: skip
    return found


def _reynolds(points: Sequence[TunnelPoint], case: TunnelCase) -> tuple[float, float]:
    fastest = max(p.speed for p in points)
    test = fastest * case.length * case.scale / case.viscosity
    return test, case.road_speed * case.length / case.road_viscosity


def _notices(
    points: Sequence[TunnelPoint], rows: Sequence[TunnelRow], case: TunnelCase, dof: int
) -> list[str]:
    found = list(scale_notices(*_reynolds(points, case)))
    blockage = case.frontal_area * case.scale**2 / case.section_area
    if case.is_open:
        found.append("Open jet: no correction for its edges is offered; the formula set is not "
                     "implemented. A raw open jet reads too low in the simple theory.")  # fmt: skip
    elif blockage > _TOO_BLOCKED:
        found.append(f"Blockage {100 * blockage:.1f} %: above 7.5 % no correction of this kind is "
                     "trusted (common practice, no source).")  # fmt: skip
    if not case.has_belt:
        found += _floor_notices(rows, case)
    if dof == 0:
        found.append("No point was repeated: the session says nothing of its own noise. Repeat one "
                     "point at the start, in the middle and at the end.")  # fmt: skip
    if not any(p.sweep for p in points):
        found.append("Swept one way only: a flow with two branches would not have been seen.")
    return found


def _floor_notices(rows: Sequence[TunnelRow], case: TunnelCase) -> list[str]:
    """Return what a fixed floor does to these results."""
    found = []
    lowest = min(min(r.height_front, r.height_rear) for r in rows)
    load = max((r.front + r.rear) / case.frontal_area for r in rows)
    across = sqrt(case.frontal_area)
    if needs_moving_belt(load, lowest / across):
        found.append("A fixed floor under a car this low that lifts this much: a moving belt is "
                     "needed (lift coefficient over clearance above 20).")  # fmt: skip
    if case.layer > 0 and not floor_is_thin_enough(case.layer, lowest * case.scale):
        found.append(f"The floor's layer displaces {1e3 * case.layer:.1f} mm under a clearance of "
                     f"{1e3 * lowest * case.scale:.1f} mm: more than a tenth.")  # fmt: skip
    return found
