"""A splitter's channels for the page "Floor": load, bending, edge, upwash, draw by draw."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.interface import Field, PartModel, PlatformState
from tuftwork.aeromap.part import ChannelSplitter
from tuftwork.aeromap.part.base import WHEELBASE, at_axles
from tuftwork.floor.front_table import MOST_BEND
from tuftwork.quantity import summarise
from tuftwork.study.store import Tree

LOWER = 0.010  # [m] a front that dives under braking
_LEVELS = np.arange(-0.020, 0.0151, 0.005)  # [m] of the sweep, against where the nose stands
_BENDS = np.linspace(0.03, MOST_BEND, 12)  # [-] of the gap, to look for the speed that draws it


def front_answers(
    models: Sequence[PartModel], platform: PlatformState, draws: Mapping[str, Field]
) -> list[Tree]:
    """Return every splitter with its channels solved, as parts around it leave it.

    Parameters
    ----------
    models
        Of a state, tables put in, in the order in which they act on each other.
    platform
        One place, ``(n_draw,)`` or one number each.
    draws
        From ``draws_of``. [SI]
    """
    around: dict[str, Field] = {}
    found: list[Tree] = []
    for model in models:
        if isinstance(model, ChannelSplitter):
            found.append(_answer(model, platform, draws, dict(around)))
        for channel, effect in model.load(platform, draws, around).effects.items():
            around[channel] = around[channel] + effect if channel in around else effect
    return found


def _answer(
    model: ChannelSplitter, platform: PlatformState, draws: Mapping[str, Field],
    around: Mapping[str, Field],
) -> Tree:  # fmt: skip
    here = model.read(platform, draws, around)
    lower = model.read(_moved(platform, -LOWER), draws, around)
    load = model.load(platform, draws, around)
    down = here.downforce
    front, _ = at_axles(down, down * model.key("station", draws) + here.arm, draws[WHEELBASE])
    rows: dict[str, Field] = {
        "total": down, "front": front, "upper": here.upper,
        "lower": lower.downforce - down,
        "clearance": here.clearance - here.loads.droop,
        "onset": here.onset, "tolerance": here.tolerance,
    }  # fmt: skip
    names = [s.name for s in model.spec.strips]
    for name, strip in zip(names, here.loads.strips, strict=True):
        rows |= {
            f"{name} load": here.gain * strip.under, f"{name} pressure": strip.pressure,
            f"{name} choke": strip.choke,
        }  # fmt: skip
    rows["head"] = here.loads.strips[0].head
    if model.spec.passage is not None:
        middle = here.loads.strips[0]
        # what entered it is what it hands over and what crossed on the way
        rows["crossing"] = middle.passed / np.maximum(middle.flow + middle.passed, 1e-6)
    for place in model.places:
        angle = model.angle_at(place, here, platform, draws)
        rows[f"angle {place.part}"] = angle
    out: Tree = {"name": model.name, "strips": names,
                 "behind": [p.part for p in model.places]}  # fmt: skip
    if model.spec.bends:
        rows |= {"droop": here.loads.droop, "soft": down - model.read(
            platform, draws, around, rigid=True).downforce}  # fmt: skip
        out |= _divergence(model, platform, draws, around)
    out["numbers"] = {k: _ends(v) for k, v in rows.items()}
    out["choked"] = [float(np.mean(here.gap < t.peak)) for t in model.tables]
    out["drawn"] = float(np.mean(lower.loads.is_drawn))
    out["separated"] = float(np.mean(here.loads.separated))
    out["notices"] = list(load.notices)
    out["sweep"] = _sweep(model, platform, draws, around, here.clearance)
    return out


def _sweep(
    model: ChannelSplitter, platform: PlatformState, draws: Mapping[str, Field],
    around: Mapping[str, Field], clearance: Field,
) -> Tree:  # fmt: skip
    """Return the load as the nose moves, its neighbours left as they are."""
    best, low, high, droop = [], [], [], []
    for step in _LEVELS:
        found = model.read(_moved(platform, float(step)), draws, around)
        s = summarise(found.downforce)
        best.append(s.best)
        low.append(s.low)
        high.append(s.high)
        droop.append(float(np.median(found.loads.droop)))
    return {
        "now": float(np.median(clearance)),
        "clearance": (float(np.median(clearance)) + _LEVELS).tolist(), "best": best, "low": low,
        "high": high, "droop": droop,
    }  # fmt: skip


def _divergence(
    model: ChannelSplitter, platform: PlatformState, draws: Mapping[str, Field],
    around: Mapping[str, Field],
) -> Tree:  # fmt: skip
    """Return the speed at which the load first draws the lip to the road, as it stands.

    Of all droops the dynamic pressure that holds one is k d over the plate's CzS; the greatest of
    them is the last that can be held.
    """
    held = []
    for bend in _BENDS:
        found = model.read(platform, draws, around, bend=float(bend))
        plate = found.upper + found.gain * sum(s.plate for s in found.loads.strips)
        droop = np.maximum(found.loads.droop, 0.0)
        held.append(model.key("stiffness", draws) * droop / np.maximum(plate, 1e-4))
    pressure = np.max(np.stack(np.broadcast_arrays(*held)), axis=0)
    speed = np.sqrt(2 * pressure / platform.density)
    return {"diverges": _ends(speed)}


def _moved(platform: PlatformState, step: float) -> PlatformState:
    return replace(platform, ride_height_front=np.maximum(platform.ride_height_front + step, 2e-3))


def _ends(values: Any) -> list[float]:
    s = summarise(np.asarray(values, float) * np.ones(1))
    return [s.best, s.low, s.high, s.low_half, s.high_half]
