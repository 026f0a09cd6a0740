"""Rules that compute, put to the stock: circuits of pipes, restrictions, strakes, seams to mend."""

from typing import Any

import numpy as np

from tuftwork.air import air_of
from tuftwork.car.reading import Feature
from tuftwork.errors import InputError, NotConverged, NotCovered, UnknownName
from tuftwork.quantity import Quantity, format_quantity
from tuftwork.reading.stock import (
    Fault,
    likely_circuits,
    pipe_flow,
    restriction,
    surface_quality,
    washing,
)
from tuftwork.study.picture.desk import Desk

_USUAL_LOSS = 25.0  # [-] of a core over its own dynamic pressure; common practice, no source
_N_DRAW = 400
_SEED = 12
_NAMED = 0.1  # [-] circuits less likely than this are not named


def circuit_lines(feature: Feature) -> list[str]:
    """Return which circuits a cooler may serve by its pipe, with the flow each would carry."""
    if feature.bore is None:
        return []
    warm = None if feature.warm is None else feature.warm.best
    found = []
    for verdict in likely_circuits(feature.bore.best, warm):
        if verdict.weight < _NAMED:
            continue
        low, high = pipe_flow(feature.bore.best, verdict.name)
        litres = f"{60e3 * low:.0f} to {60e3 * high:.0f} l/min"
        found.append(f"{verdict.name} {100 * verdict.weight:.0f} %, would carry {litres} "
                     f"[{verdict.source}]")  # fmt: skip
    pipe = f"pipe of {format_quantity(feature.bore)}"
    return [f"By its {pipe}: " + "; ".join(found)]


def washing_lines(desk: Desk, feature: Feature) -> list[str]:
    """Return which way a strake washes, from its measured plan angle."""
    if feature.kind != "strake":
        return []
    for name in feature.readings:
        asked = desk.asked(name)
        if asked.kind != "plan angle":
            continue
        try:
            drawn = desk.reading(asked).draws
        except (InputError, NotConverged, NotCovered):
            continue
        first, second = washing(drawn)
        best = first if first.weight > second.weight else second
        return [f"washes {best.name}: {100 * best.weight:.0f} % "
                f"({np.degrees(np.median(drawn)):+.1f}° in plan) [{best.source}]"]  # fmt: skip
    return []


def area_draws(desk: Desk, feature: Feature) -> np.ndarray | None:
    """Return a feature's net area draw by draw: what was read, else what was said. [m²]"""
    for name in feature.readings:
        asked = desk.asked(name)
        if asked.kind != "area":
            continue
        try:
            return np.asarray(desk.reading(asked, n_draw=_N_DRAW).draws)
        except (InputError, NotConverged, NotCovered):
            continue
    return None if feature.area is None else _drawn(feature.area, f"area of {feature.id}")


def _drawn(quantity: Quantity, name: str) -> np.ndarray:
    from zlib import crc32

    noise = np.random.default_rng([_SEED, crc32(name.encode())])
    return np.array([quantity.at(float(z)) for z in noise.standard_normal(_N_DRAW)])


def paths(desk: Desk) -> list[dict[str, Any]]:
    """Return inlet, core and exit of every cooled part compared: which of them restricts."""
    features = {f.id: f for f in desk.room.features}
    found = []
    for sink in desk.room.features:
        if sink.role != "sink":
            continue
        inlets = [f for f in desk.room.features if sink.id in f.feeds and f.role != "out"]
        exits = [features[i] for i in sink.feeds if i in features]
        areas = [_together(desk, group) for group in (inlets, [sink], exits)]
        row: dict[str, Any] = {
            "name": sink.name, "inlets": [f.name for f in inlets],
            "exits": [f.name for f in exits], "text": "",
        }  # fmt: skip
        missing = [word for word, area in zip(("inlet", "core", "exit"), areas, strict=True)
                   if area is None]  # fmt: skip
        if missing:
            row["text"] = f"not compared: no area of {', '.join(missing)}"
        else:
            loss = _USUAL_LOSS if sink.core_loss is None else sink.core_loss.best
            inlet, core, exit_ = (np.asarray(a) for a in areas)
            worst = restriction(inlet, core, exit_, core_loss=loss)
            parts = ", ".join(f"{k} {100 * v:.0f} %" for k, v in worst.shares.items())
            row["text"] = (f"the {worst.name} restricts ({100 * worst.chance:.0f} % sure): of the "
                           f"path's loss take {parts}")  # fmt: skip
            row["restricts"], row["chance"] = worst.name, worst.chance
        found.append(row)
    return found


def _together(desk: Desk, group: list[Feature]) -> np.ndarray | None:
    """Return the areas of a group added up, None where one is not known or there is none."""
    drawn = [area_draws(desk, f) for f in group]
    if not drawn or any(d is None for d in drawn):
        return None
    return np.asarray(sum(np.asarray(d) for d in drawn))


def mending(desk: Desk) -> dict[str, Any] | None:
    """Return which faults of the skin to mend and which to leave, None where none were noted."""
    seams = desk.room.seams
    if not seams:
        return None
    speed = max(s.best for s in desk.project.study.speeds)
    weather = desk.project.weather
    air = air_of(**{k: q.best for k in ("temperature", "pressure", "altitude", "humidity")
                    if (q := getattr(weather, k)) is not None})  # fmt: skip
    faults, owner = [], {}
    for seam in seams:
        for i in range(seam.count):
            name = f"{seam.name} {i + 1}"
            owner[name] = seam.name
            faults.append(Fault(name=name, kind=seam.kind, zone=seam.zone, height=seam.height.best,
                                length=seam.length.best, run=seam.run.best))  # fmt: skip
    try:
        costs = surface_quality(faults, speed=speed, viscosity=float(air.viscosity / air.density))
    except UnknownName as error:
        return {"text": str(error), "rows": [], "mend": 0, "leave": 0, "saves_points": 0.0}
    rows: dict[str, dict[str, Any]] = {}
    for one in costs:
        row = rows.setdefault(owner[one.fault.name], {
            "name": owner[one.fault.name], "kind": one.fault.kind, "zone": one.fault.zone,
            "count": 0, "mend": 0, "points": 0.0,
        })  # fmt: skip
        row["count"] += 1
        row["mend"] += one.mend
        row["points"] += one.drag / 0.01
    mend = sum(c.mend for c in costs)
    saves = sum(c.drag for c in costs if c.mend)
    whole = sum(c.drag for c in costs)
    return {
        "rows": [{**r, "points": round(r["points"], 3)}
                 for r in sorted(rows.values(), key=lambda r: -r["points"])],
        "mend": mend, "leave": len(costs) - mend, "saves_points": round(saves / 0.01, 2),
        "text": f"Mend these {mend}, ignore those {len(costs) - mend}: the {mend} cost "
        f"{saves / 0.01:.2f} of {whole / 0.01:.2f} points of drag at {3.6 * speed:.0f} km/h "
        "(estimate of a handbook's kind; tape them over and coast down before mending).",
    }  # fmt: skip
