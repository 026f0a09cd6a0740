"""Looks at the size of signals: air speed, left against right, zeros, drift."""

from typing import Any

import numpy as np

from tuftwork.quantity import Array
from tuftwork.trial.cure import Cure
from tuftwork.trial.log import LASERS, POTS
from tuftwork.trial.look import SURE, Look, LookAt, weighted_line, written
from tuftwork.trial.setup import MassLoads

Found = list[dict[str, Any]]
_AIR_SPEED_CALIBRATION = 0.004  # [-] a good probe's own scale; common practice, no source
_CURVED = 45.0  # [N] CzS grows a little as the car sinks, which bends load over q by so much
_ZEROED_ALIKE = 0.1e-3  # [m] left and right zeroed on one floor; common practice, no source
_WEIGHED = 15.0  # [N] what two weighings on corner scales leave open per axle; common practice
_SAME_DRIVER = 2.5  # [-] standard uncertainties within which a mass state explains an intercept


def air_speed_error(scene: Look) -> Found:
    """Air speed against GPS, out and back together: wind cancels, a scale error does not."""
    if not scene.has("air speed"):
        return []
    ratios = _pair_ratios(scene)
    if ratios.size < 2:
        return []
    mean = float(np.mean(ratios))
    scatter = float(np.std(ratios, ddof=1)) / np.sqrt(ratios.size)
    doubt = float(np.hypot(scatter, _AIR_SPEED_CALIBRATION))
    off = mean - 1
    if abs(off) < 0.012 or abs(off) < SURE * doubt:
        return []
    cure = Cure(
        kind="gain",
        role="air speed",
        size=1 / mean,
        doubt=doubt,
        because="both-way pairs against GPS",
    )
    said = [f"{ratios.size} both-way pairs read {np.min(ratios):.3f} to {np.max(ratios):.3f} of "
            f"the speed over ground, {mean:.4f} in the mean; wind cancels in a pair.",
            f"Dynamic pressure is then {100 * abs(mean**2 - 1):.1f} % too "
            f"{'high' if mean > 1 else 'low'}."]  # fmt: skip
    way = "high" if off > 0 else "low"
    return [written("air-speed error", f"Air speed reads {100 * abs(off):.1f} % {way}",
                    (100 * off, 100 * doubt), "%", said, [cure])]  # fmt: skip


def _pair_ratios(scene: Look) -> Array:
    """Return air speed over ground speed of each group, out and back weighing the same."""
    air, found = scene.column("air speed"), []
    for places in scene.table.groups().values():
        out = [i for i in places if scene.way[i] > 0]
        back = [i for i in places if scene.way[i] < 0]
        for a, b in zip(out, back, strict=False):
            found.append((air[a] + air[b]) / (scene.speed[a] + scene.speed[b]))
    return np.array(found)


def wrong_gain(scene: Look) -> Found:
    """Left against right on one axle, and both against the lasers, to say which of them is off."""
    found: Found = []
    for axle in ("front", "rear"):
        sides = [f"pot {axle} {side}" for side in ("left", "right")]
        if not scene.has(*sides):
            continue
        left, right = (scene.column(s) for s in sides)
        middle = 0.5 * (left + right)
        if not np.ptp(middle) > 2e-3:
            continue
        slope, doubt = _slope_from_rest(middle, left - right)
        if abs(slope) < 0.03 or abs(slope) < SURE * doubt:
            continue
        ratio = (1 + slope / 2) / (1 - slope / 2)  # left over right
        found.append(_gain_found(scene, axle, ratio, doubt))
    return found


def _slope_from_rest(middle: Array, gap: Array) -> tuple[float, float]:
    """Return how left less right grows with travel, and its standard uncertainty.

    Both sides were zeroed together, so they agree at no travel within ``_ZEROED_ALIKE``: that is
    one more sighting, and it narrows the slope.
    """
    intercept, slope, _, _ = weighted_line(middle, gap)
    left = gap - intercept - slope * middle
    variance = max(float(left @ left) / max(1, gap.size - 2), 1e-12)
    design = np.column_stack([np.ones_like(middle), middle]) / np.sqrt(variance)
    prior = np.array([[1 / _ZEROED_ALIKE, 0.0]])
    both = np.vstack([design, prior])
    inverse = np.linalg.inv(both.T @ both)
    found = inverse @ both.T @ np.append(gap / np.sqrt(variance), 0.0)
    return float(found[1]), float(np.sqrt(inverse[1, 1]))


def _gain_found(scene: Look, axle: str, ratio: float, doubt: float) -> dict[str, Any]:
    sides = {side: f"pot {axle} {side}" for side in ("left", "right")}
    travels = _against_laser(scene, axle)
    evidence = [f"Over the passes the left {axle} pot moves {ratio:.3f} of the right one."]
    if travels is None:
        bad = "left" if ratio < 1 else "right"
        evidence.append("No laser on this axle: the side that moves less is blamed, by custom.")
    else:
        bad = max(travels, key=lambda side: abs(np.log(travels[side])))
        evidence.append("Against the laser the left moves "
                        f"{travels['left']:.3f} and the right {travels['right']:.3f} of what "
                        "springs and tyres say.")  # fmt: skip
    factor = 1 / ratio if bad == "left" else ratio
    cure = Cure(
        kind="gain",
        role=sides[bad],
        size=factor,
        doubt=factor * doubt,
        because="left against right",
    )
    title = (
        f"{sides[bad].capitalize()}: motion ratio or gain is {1 / factor:.2f} of what it should be"
    )
    return written("wrong gain", title, (1 / factor, doubt), "", evidence, [cure],
                   strength=abs(ratio - 1) / doubt)  # fmt: skip


def _against_laser(scene: Look, axle: str) -> dict[str, float] | None:
    """Return each pot's travel over what the laser's travel asks of it; tyre growth taken out."""
    laser = f"laser {axle}"
    if not scene.has(laser):
        return None
    height = scene.column(laser) - _growth(scene, axle) * scene.speed**2
    setup = scene.setup
    wheel = float(setup.wheel_rate_front if axle == "front" else setup.wheel_rate_rear)
    ratio = float(setup.pot_ratio_front if axle == "front" else setup.pot_ratio_rear)
    # body sinks F/K, the wheel moves F/2k of it, the pot its ratio of that
    asked = -height * float(setup.axle_rate(axle)) / (2 * wheel) * ratio
    return {
        side: float(np.polyfit(asked, scene.column(f"pot {axle} {side}"), 1)[0])
        for side in ("left", "right")
    }


def _growth(scene: Look, axle: str) -> float:
    """Return tyre growth per speed squared as the other axle shows it, where its sides agree."""
    other = "rear" if axle == "front" else "front"
    roles = [f"pot {other} left", f"pot {other} right", f"laser {other}"]
    if not scene.has(*roles):
        return 0.0
    left, right, laser = (scene.column(r) for r in roles)
    _, slope, _, doubt = weighted_line(0.5 * (left + right), left - right)
    if abs(slope) > 3 * doubt and abs(slope) > 0.03:
        return 0.0
    sunk = 0.5 * (left + right) * float(scene.setup.load_of_travel(other))
    sunk = sunk / float(scene.setup.axle_rate(other))
    _, growth, _, doubt = weighted_line(scene.speed**2, laser + sunk)
    return growth if growth > 2.5 * doubt else 0.0


def zero_elsewhere(scene: Look) -> Found:
    """Pots zeroed in another mass state: load at no speed is not nothing."""
    at_rest = {axle: _load_at_no_speed(scene, axle) for axle in ("front", "rear")}
    if any(value is None for value in at_rest.values()):
        return []
    (front, u_front, said), (rear, u_rear, _) = at_rest["front"], at_rest["rear"]  # type: ignore[misc]
    far = max(abs(front) / u_front, abs(rear) / u_rear)
    if far < SURE or max(abs(front), abs(rear)) < 90.0:
        return []
    named, miss = _mass_state_of(scene, (front, u_front), (rear, u_rear))
    offset, doubts = (front, rear), (u_front, u_rear)
    evidence = [f"{said}: {front:+.0f} ± {u_front:.0f} N front, {rear:+.0f} ± {u_rear:.0f} N rear; "
                "a pot zeroed as driven reads nothing there."]  # fmt: skip
    title = "The pots' zero was taken with another load on the car"
    if named is not None:
        offset = (scene.race.front - named.front, scene.race.rear - named.rear)
        doubts = (_WEIGHED, _WEIGHED)
        evidence.append(f"Mass state '{named.name}' would leave {offset[0]:+.0f} N front and "
                        f"{offset[1]:+.0f} N rear: it fits within {miss:.1f} standard "
                        "uncertainties.")  # fmt: skip
        title = f"The pots were zeroed in mass state '{named.name}'"
    cures = [
        Cure(kind="zero", role=role, because=title, known_load=named is not None,
             size=-offset[i] / float(scene.setup.load_of_travel(axle)),
             doubt=doubts[i] / float(scene.setup.load_of_travel(axle)))
        for i, axle in enumerate(("front", "rear"))
        for role in POTS if axle in role and scene.has(role)
    ]  # fmt: skip
    total, doubt = front + rear, float(np.hypot(u_front, u_rear))
    return [written("zero in another mass state", title, (total, doubt), "N", evidence, cures,
                    strength=far)]  # fmt: skip


def _load_at_no_speed(scene: Look, axle: str) -> tuple[float, float, str] | None:
    """Return an axle's load at no speed with its standard uncertainty, standing or by intercept."""
    roles = [r for r in POTS if axle in r and scene.has(r)]
    if not roles:
        return None
    factor = float(scene.setup.load_of_travel(axle))
    rests = [np.mean([rest[r] for r in roles]) for rest in scene.table.rests
             if all(r in rest for r in roles)]  # fmt: skip
    if rests:
        doubt = max(12.0, factor * float(np.std(rests)) / np.sqrt(len(rests)))
        return factor * float(np.mean(rests)), doubt, "Standing with the driver the pots show"
    travel = np.mean([scene.column(r) for r in roles], axis=0)
    slow = scene.speed <= 1.75 * np.min(scene.speed)
    if np.sum(slow) < 4 or not np.ptp(scene.pressure[slow]) > 0.3 * np.max(scene.pressure[slow]):
        return None
    found = _common_intercept(scene, factor * travel, slow)
    if found is None:
        return None
    doubt = float(np.hypot(found[1], _CURVED))
    return found[0], doubt, "Load over dynamic pressure of the slower passes leads back to"


def _common_intercept(scene: Look, load: Array, slow: np.ndarray) -> tuple[float, float] | None:
    """Return the intercept shared by all states, each with a slope of its own."""
    states = [p.state for p in scene.table.passes]
    names = sorted({s for s, keep in zip(states, slow, strict=True) if keep})
    q = scene.pressure
    columns = [np.ones(int(slow.sum()))]
    columns += [np.where([s == n for s in states], q, 0.0)[slow] for n in names]
    design = np.column_stack(columns)
    if np.linalg.matrix_rank(design) < design.shape[1] or design.shape[0] <= design.shape[1]:
        return None
    inverse = np.linalg.inv(design.T @ design)
    terms = inverse @ design.T @ load[slow]
    left = load[slow] - design @ terms
    variance = float(left @ left) / (design.shape[0] - design.shape[1])
    return float(terms[0]), float(np.sqrt(inverse[0, 0] * variance))


def _mass_state_of(
    scene: Look, front: tuple[float, float], rear: tuple[float, float]
) -> tuple[MassLoads | None, float]:
    """Return the mass state whose missing load is what the pots show, and how far off it is."""
    best: tuple[MassLoads | None, float] = (None, np.inf)
    for other in scene.others:
        miss = max(
            abs(scene.race.front - other.front - front[0]) / front[1],
            abs(scene.race.rear - other.rear - rear[0]) / rear[1],
        )
        if miss < best[1]:
            best = (other, float(miss))
    return best if best[1] < _SAME_DRIVER else (None, best[1])


def drifting(scene: Look) -> Found:
    """One pot or laser that wanders over the day while its neighbours do not."""
    slopes = {r: _drift_of(scene, r) for r in (*POTS, *LASERS) if scene.has(r)}
    usable = {r: s for r, s in slopes.items() if s is not None}
    found: Found = []
    hours = (scene.table.passes[-1].end - scene.table.passes[0].start) / 3600
    for role, (slope, doubt) in usable.items():
        kin = [s for r, (s, _) in usable.items() if r != role and (r in POTS) == (role in POTS)]
        common = float(np.median(kin)) if len(kin) >= 2 else 0.0
        own = slope - common
        wide = float(np.hypot(doubt, 0.15e-3 / max(hours, 0.05)))
        if abs(own) < (SURE + 1) * wide or abs(own) * hours < 0.5e-3:
            continue
        cure = Cure(kind="drift", role=role, size=own / 3600, because="wanders alone over the day")
        said = [f"Like passes move by {1e3 * own:+.2f} mm an hour on this channel alone."]
        size = (1e3 * own, 1e3 * wide)
        found.append(written("drifting zero", f"{role.capitalize()} drifts", size, "mm/h", said,
                             [cure]))  # fmt: skip
    return found


def _drift_of(scene: Look, role: str) -> tuple[float, float] | None:
    """Return how a channel moves with time between like passes. [SI/h]"""
    values = scene.column(role)
    time = np.array([p.start for p in scene.table.passes]) / 3600
    x, y = [], []
    for places in scene.table.groups().values():
        if len(places) < 3 or np.ptp(time[places]) < 0.05:
            continue
        x += list(time[places] - np.mean(time[places]))
        y += list(values[places] - np.mean(values[places]))
    if len(x) < 8:
        return None
    xs, ys = np.array(x), np.array(y)
    slope = float(xs @ ys / (xs @ xs))
    dof = max(1, len(x) // 2)
    doubt = float(np.sqrt(np.sum((ys - slope * xs) ** 2) / dof / (xs @ xs)))
    return slope, doubt


SIZE_LOOKS: tuple[LookAt, ...] = (air_speed_error, drifting, wrong_gain, zero_elsewhere)
"""In the order they are taken: a drift bends the left against the right, a gain scales a zero."""
