"""Looks at the shape of signals: stuck, clipped, coarse, turned round, exchanged, late."""

from typing import Any

import numpy as np

from tuftwork.quantity import Array
from tuftwork.trial.cure import Cure
from tuftwork.trial.log import LASERS, POTS
from tuftwork.trial.look import Look, LookAt, written

Found = list[dict[str, Any]]
_RATIOS = {"km/h read as m/s": 3.6, "mph read as m/s": 2.2369, "knots read as m/s": 1.9438,
           "ft/s read as m/s": 3.2808, "m/s read as km/h": 1 / 3.6,
           "mph read as km/h": 1 / 1.609344,
           "km/h read as mph": 1.609344, "knots read as km/h": 1 / 1.852}  # fmt: skip
_COARSE = 0.6e-3  # [m] steps that cost more than the scatter of a pass
_HELD = 0.4  # [s] without the last digit moving while the car drives: stuck


def wrong_unit(scene: Look) -> Found:
    """Speeds whose ratio is that of two units."""
    if not scene.has("air speed"):
        return []
    ratio = float(np.median(scene.column("air speed") / scene.speed))
    if 0.8 < ratio < 1.25:
        return []
    name, factor = min(_RATIOS.items(), key=lambda pair: abs(np.log(ratio / pair[1])))
    off = abs(np.log(ratio / factor))
    if off > 0.06:
        return []
    cure = Cure(kind="unit", role="air speed", size=1 / factor, because=name)
    said = [f"Air speed over speed over ground is {ratio:.3f}; {name} would give {factor:.3f}."]
    return [written("wrong unit", f"Air speed: {name}", (ratio, 0.02), "", said, [cure],
                    strength=30.0)]  # fmt: skip


def swapped(scene: Look) -> Found:
    """Channels in each other's place: ride heights at the wrong end, pots front for rear."""
    found: Found = []
    if scene.has(*LASERS):
        front, rear = (float(np.median(scene.column(role))) for role in LASERS)
        rest = float(scene.setup.rest_front), float(scene.setup.rest_rear)
        rake = rest[1] - rest[0]
        # springs of like rate sink alike: the rake at speed keeps its sign unless it was small
        if abs(rake) > 6e-3 and (rear - front) / rake < -0.35:
            cure = Cure(kind="swap", role="laser front", other="laser rear",
                        because="heights fit the other end")  # fmt: skip
            said = [f"Read {1e3 * front:.1f} and {1e3 * rear:.1f} mm where the car rests at "
                    f"{1e3 * rest[0]:.0f} and {1e3 * rest[1]:.0f} mm."]  # fmt: skip
            size = (1e3 * (rear - front), 1.0)
            found.append(written("swapped channels", "The two ride-height lasers are exchanged",
                                 size, "mm", said, [cure]))  # fmt: skip
    if scene.has(*POTS):
        found += _swapped_pots(scene)
    return found


def _swapped_pots(scene: Look) -> Found:
    """Return a side's pots exchanged front to rear: the sides then disagree at both ends."""
    columns = {role: scene.column(role) for role in POTS}

    def misfit(order: tuple[str, str, str, str]) -> float:
        a, b, c, d = (columns[role] for role in order)
        return float(_apart(a, b) + _apart(c, d))

    straight = misfit(POTS)  # type: ignore[arg-type]
    best = None
    for side in ("left", "right"):
        first, second = f"pot front {side}", f"pot rear {side}"
        order = tuple({first: second, second: first}.get(r, r) for r in POTS)
        gain = straight / max(misfit(order), 1e-30)  # type: ignore[arg-type]
        if best is None or gain > best[0]:
            best = (gain, first, second)
    if best is None or best[0] < 6.0:
        return []
    gain, first, second = best
    cure = Cure(kind="swap", role=first, other=second, because="sides agree when exchanged")
    said = [f"Left and right move alike at both ends once {first} and {second} are exchanged: "
            f"what is left falls by a factor {gain:.0f}."]  # fmt: skip
    return [written("swapped channels", f"{first.capitalize()} and {second} are exchanged",
                    (gain, gain / 6), "", said, [cure], strength=gain)]  # fmt: skip


def _apart(left: Array, right: Array) -> float:
    """Return what is left of one side after a line through the other. [m²]"""
    if left.size < 4 or not np.std(right) > 0:
        return 1e-30
    fit = np.polyval(np.polyfit(right, left, 1), right)
    return float(np.mean((left - fit) ** 2)) + 1e-12


def inverted(scene: Look) -> Found:
    """Signals that run against the dynamic pressure, or against the car's own acceleration."""
    found: Found = []
    q = scene.pressure
    if np.ptp(q) > 0.3 * np.max(q) and q.size >= 6:
        for role, sense in [*((r, 1.0) for r in POTS), *((r, -1.0) for r in LASERS)]:
            if not scene.has(role):
                continue
            along = float(np.corrcoef(q, scene.column(role))[0, 1]) * sense
            if along < -0.7:
                cure = Cure(kind="invert", role=role, because="runs against the load")
                said = [f"Runs against dynamic pressure with a correlation of {along:+.2f}."]
                found.append(written("inverted channel", f"{role.capitalize()} is turned round",
                                     (along, 0.05), "", said, [cure]))  # fmt: skip
    if scene.log.has("acceleration along"):
        sense_of_it = _acceleration_sense(scene)
        if sense_of_it is not None and sense_of_it < -0.35:
            cure = Cure(kind="invert", role="acceleration along", because="against the speed")
            said = [f"Correlation with the change of speed is {sense_of_it:+.2f}."]
            found.append(written("inverted channel", "The accelerometer is turned round",
                                 (sense_of_it, 0.07), "", said, [cure]))  # fmt: skip
    return found


def _acceleration_sense(scene: Look) -> float | None:
    """Return the correlation of acceleration and change of speed within the passes."""
    speed, felt = scene.log.of("speed over ground"), scene.log.of("acceleration along")
    pairs = []
    for p in scene.table.passes:
        t = np.arange(p.start + 0.2, p.end - 0.2, 0.2)
        if t.size < 6:
            continue
        v = np.interp(t, speed.time, speed.values)
        edges = np.searchsorted(felt.time, np.append(t - 0.1, t[-1] + 0.1))
        if np.any(np.diff(edges) <= 0):
            continue
        means = np.add.reduceat(felt.values[: edges[-1]], edges[:-1]) / np.diff(edges)
        push = np.gradient(v, t)
        pairs.append(np.stack([push - push.mean(), means - means.mean()]))
    if not pairs:
        return None
    joined = np.concatenate(pairs, axis=1)
    if joined.shape[1] < 60 or not np.all(np.std(joined, axis=1) > 0):
        return None
    return float(np.corrcoef(joined)[0, 1])


def stuck(scene: Look) -> Found:
    """Signals whose last digit does not move while the car does."""
    found: Found = []
    for role in (*POTS, *LASERS, "air speed"):
        if not scene.log.has(role):
            continue
        channel = scene.log.of(role)
        values = scene.samples(role)
        if _step(values) > _COARSE or _at_an_end(values) > 0.03:
            continue  # a coarse or clipped signal holds still by itself
        share = _held_share(values, round(_HELD * channel.rate))
        if share < 0.1:
            continue
        said = [f"For {100 * share:.0f} % of the time in passes no digit moved for {_HELD} s or "
                "more."]  # fmt: skip
        cure = Cure(kind="drop", role=role, because="sticks")
        found.append(written("stuck sensor", f"{role.capitalize()} sticks", (100 * share, 3.0),
                             "%", said, [cure]))  # fmt: skip
    return found


def _held_share(values: Array, least: int) -> float:
    """Return the share of samples in runs of one value at least so long."""
    if values.size < 2 or least < 3:
        return 0.0
    change = np.flatnonzero(np.diff(values) != 0)
    edges = np.concatenate([[-1], change, [values.size - 1]])
    runs = np.diff(edges)
    return float(np.sum(runs[runs >= least]) / values.size)


def _at_an_end(values: Array) -> float:
    """Return the larger share of samples that sit on the highest or the lowest value."""
    ends = [float(np.mean(values == end)) for end in (np.max(values), np.min(values))]
    return max(ends)


def clipped(scene: Look) -> Found:
    """Signals that stop at one highest or lowest value, again and again, between moves."""
    found: Found = []
    for role in (*POTS, *LASERS, "air speed", "acceleration along"):
        if not scene.log.has(role):
            continue
        values = scene.samples(role)
        step = _step(values)
        for name, end in (("highest", float(np.max(values))), ("lowest", float(np.min(values)))):
            at_end = values == end
            share = float(np.mean(at_end))
            # a coarse signal sits on its ends too; then the neighbour step is as full
            near = np.isclose(np.abs(values - end), step, rtol=1e-3)
            beside = float(np.mean(near)) if step > 0 else 0.0
            if share < 0.03 or share < 4 * beside:
                continue
            said = [f"{100 * share:.0f} % of the samples read exactly {end:.5g}, the {name} value, "
                    f"and only {100 * beside:.1f} % the step beside it."]  # fmt: skip
            cure = Cure(kind="drop", role=role, because="clipped")
            found.append(written("clipped signal", f"{role.capitalize()} is clipped at its {name} "
                                 "value", (100 * share, 1.0), "%", said, [cure]))  # fmt: skip
    return found


def coarse(scene: Look) -> Found:
    """Signals in steps too coarse for what is asked of them."""
    found: Found = []
    for role in (*POTS, *LASERS):
        if not scene.log.has(role):
            continue
        step = _step(scene.samples(role))
        if step > _COARSE:
            said = [f"Reads in steps of {1e3 * step:.2f} mm; a pass cannot be told closer than "
                    f"{1e3 * step / 12**0.5:.2f} mm where it does not move by a step."]  # fmt: skip
            found.append(written("coarse signal", f"{role.capitalize()} reads in coarse steps",
                                 (1e3 * step, 0.05e3 * step), "mm", said))  # fmt: skip
    return found


def _step(values: Array) -> float:
    """Return the step of a signal in steps, 0 where it has none."""
    seen = np.unique(values)
    if seen.size < 2 or seen.size > 0.2 * values.size:
        return 0.0
    return float(np.median(np.diff(seen)))


def late(scene: Look) -> Found:
    """Two loggers whose clocks differ: air speed against speed over ground within the passes."""
    if not scene.log.has("air speed", "speed over ground"):
        return []
    lags, curve = _lag_curve(scene)
    if curve is None:
        return []
    best = int(np.argmax(curve))
    lag, peak = float(lags[best]), float(curve[best])
    here = float(curve[np.argmin(np.abs(lags))])
    if abs(lag) < 0.15 or peak < 0.3 or peak - here < 0.12:
        return []
    cure = Cure(kind="shift", role="air speed", size=-lag, because="loggers disagree on time")
    said = [f"Air speed follows speed over ground best {lag:+.2f} s later (correlation "
            f"{peak:.2f}, {here:.2f} without a shift)."]  # fmt: skip
    return [written("time offset", "The air-speed logger's clock is off", (lag, 0.03), "s", said,
                    [cure])]  # fmt: skip


def _lag_curve(scene: Look) -> tuple[Array, Array | None]:
    """Return the correlation of both speeds over the lag, all passes together."""
    step = 0.05
    most = 20
    lags = step * np.arange(-most, most + 1)
    ground, air = scene.log.of("speed over ground"), scene.log.of("air speed")
    total = np.zeros(lags.size)
    norms = np.zeros((2, lags.size))
    for p in scene.table.passes:
        t = np.arange(p.start + 0.1, p.end - 0.1, step)
        first, last = np.searchsorted(air.time, (p.start, p.end))
        if t.size < 2 * most or last - first < most:
            continue
        v = _bent(np.interp(t, ground.time, ground.values), t)
        a = _bent(np.interp(t, air.time[first:last], air.values[first:last]), t)
        for i, shift in enumerate(range(-most, most + 1)):
            early = v[: t.size - shift] if shift >= 0 else v[-shift:]
            late_ = a[shift:] if shift >= 0 else a[:shift]
            total[i] += float(early @ late_)
            norms[0, i] += float(early @ early)
            norms[1, i] += float(late_ @ late_)
    if not np.all(norms > 0):
        return lags, None
    return lags, total / np.sqrt(norms[0] * norms[1])


def _bent(values: Array, time: Array) -> Array:
    """Return values less their straight line."""
    step = time - np.mean(time)
    level = values - np.mean(values)
    return np.asarray(level - step * float(step @ level) / float(step @ step))


SHAPE_LOOKS: tuple[LookAt, ...] = (wrong_unit, inverted, swapped, clipped, stuck, coarse, late)
"""In the order they are taken."""
