"""Looks at what is not broken but worth knowing: wind, slope, fuel, tyres that grow."""

from typing import Any

import numpy as np

from tuftwork.trial.log import POTS
from tuftwork.trial.look import SURE, Look, LookAt, weighted_line, written
from tuftwork.trial.look_size import _drift_of

Found = list[dict[str, Any]]
_GRAVITY = 9.80665  # [m/s²]


def wind(scene: Look) -> Found:
    """Half the difference of out and back between air speed and speed over ground."""
    if not scene.has("air speed") or len(set(scene.way)) < 2:
        return []
    gap = scene.column("air speed") - scene.speed * np.median(scene.column("air speed")
                                                              / scene.speed)  # fmt: skip
    _, along, _, doubt = weighted_line(scene.way, gap)
    if abs(along) < 0.5 or abs(along) < SURE * doubt:
        return []
    said = [f"Out and back differ by {2 * abs(along):.1f} m/s of air speed.",
            "Loads go with each pass's own air speed; both ways weigh the same."]  # fmt: skip
    title = f"Wind along the road, {'against the way out' if along > 0 else 'with the way out'}"
    return [written("wind", title, (along, doubt), "m/s", said, is_fault=False)]


def slope(scene: Look) -> Found:
    """Half the difference of out and back of the accelerometer at constant speed."""
    if not scene.has("acceleration along") or len(set(scene.way)) < 2:
        return []
    push = np.array([p.push for p in scene.table.passes])
    read = scene.column("acceleration along") - push
    _, rise, _, doubt = weighted_line(scene.way, read)
    rise, doubt = rise / _GRAVITY, doubt / _GRAVITY
    if abs(rise) < 0.0008 or abs(rise) < SURE * doubt:
        return []
    said = [f"The accelerometer differs by {2 * rise * _GRAVITY:+.3f} m/s² between the ways.",
            "Its load transfer is taken out of every pass."]  # fmt: skip
    return [written("slope", "The road is not level", (100 * rise, 100 * doubt), "%", said,
                    is_fault=False)]  # fmt: skip


def fuel(scene: Look) -> Found:
    """All pots extending together through the day: the car grows lighter."""
    if not scene.has(*POTS):
        return []
    drifts = {r: _drift_of(scene, r) for r in POTS}
    if any(d is None for d in drifts.values()):
        return []
    rates = {r: (d[0], d[1]) for r, d in drifts.items() if d is not None}
    if not all(s < 0 for s, _ in rates.values()):
        return []
    force = 0.0
    doubt = 0.0
    for role, (rate, u) in rates.items():
        axle = "front" if "front" in role else "rear"
        per = float(scene.setup.load_of_travel(axle)) / 2
        force += per * rate
        doubt += (per * u) ** 2
    lost, wide = -force / _GRAVITY, float(np.sqrt(doubt)) / _GRAVITY
    if lost < SURE * wide or lost < 4.0:
        return []
    said = ["All four pots extend together between like passes.",
            "Weigh the car before and after, or note the fuel of every run."]  # fmt: skip
    return [written("fuel burn", "The car grows lighter through the day", (lost, wide), "kg/h",
                    said, is_fault=False)]  # fmt: skip


def growing_tyres(scene: Look) -> Found:
    """Ride heights that sink less than springs and tyres say, with the square of speed."""
    found: Found = []
    for axle in ("front", "rear"):
        roles = [f"pot {axle} left", f"pot {axle} right", f"laser {axle}"]
        if not scene.has(*roles):
            continue
        left, right, laser = (scene.column(r) for r in roles)
        sunk = 0.5 * (left + right) * float(scene.setup.load_of_travel(axle))
        sunk = sunk / float(scene.setup.axle_rate(axle))
        _, rate, _, doubt = weighted_line(scene.speed**2, laser + sunk)
        top = float(np.max(scene.speed)) ** 2
        # springs and tyre rates known to a few per cent leave this much of the travel open
        doubt = float(np.hypot(doubt, 0.04 * np.ptp(sunk) / top))
        if rate < SURE * doubt or rate * top < 0.5e-3:
            continue
        said = [f"At the highest speed the {axle} rides {1e3 * rate * top:.1f} mm higher than pots "
                "and springs say."]  # fmt: skip
        found.append(written("tyre growth", f"{axle.capitalize()} tyres grow with speed",
                             (1e3 * rate * top, 1e3 * doubt * top), "mm", said,
                             is_fault=False))  # fmt: skip
    return found


KNOWING_LOOKS: tuple[LookAt, ...] = (wind, slope, fuel, growing_tyres)
"""In the order they are taken."""
