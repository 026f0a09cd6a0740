"""Design help on a wing: gurney or thick edge, a better setting, the angle at an edge behind it."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from tuftwork.aeromap.part import role_coefficients
from tuftwork.aeromap.part.wing_role import vented_by
from tuftwork.car import FrontSection
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Quantity, format_plain
from tuftwork.section import Design, Range, SectionPoint, compare_devices, search
from tuftwork.study.answers import Answers
from tuftwork.study.number import Number, number_of_quantity
from tuftwork.study.section_case import SectionCase, ranged
from tuftwork.study.section_live import asked, read_number, said
from tuftwork.wing import WingResult, angle_along_edge

Page = dict[str, Any]
_USUAL_TAB = 0.01  # [chord] compared where no tab is set
_REACH = {  # handle → how far a search moves it either way, and its limits. [rad] or [chord]
    "incidence": (np.deg2rad(6.0), np.deg2rad(-10.0), np.deg2rad(20.0)),
    "deflection": (np.deg2rad(10.0), 0.0, np.deg2rad(45.0)),
    "gap": (0.008, 0.008, 0.030),
}
GUST = np.deg2rad(1.5)  # [rad] of onset a setting must stand either way; common practice
_RIDE = 0.15  # [-] share of its height over the road a setting must stand either way; same
_MOST_S = 40.0  # [s] a reader waits for a search


def devices_of(case: SectionCase, design: Design, point: SectionPoint) -> Page:
    """Return gurney against thickened edge of equal height on the clean section."""
    height = design.gurney if design.gurney > 0.0 else _USUAL_TAB
    found = compare_devices(point, height)
    at = format_plain(height * case.chord, "height", "mm", digits=2)
    rows: list[tuple[str, float, float, tuple[float, float], tuple[float, float]]] = [
        ("clean", point.lift, point.drag, (0.0, 0.0), (0.0, 0.0))
    ]
    for name, inc in (("gurney", found.gurney), ("thick edge", found.thick)):
        rows.append((
            name, point.lift + float(inc.lift), point.drag + float(inc.drag),
            (float(inc.lift_low - inc.lift), float(inc.lift_high - inc.lift)),
            (float(inc.drag_low - inc.drag), float(inc.drag_high - inc.drag)),
        ))  # fmt: skip
    over = float(found.gurney.height_over_layer)
    return {
        "height": at,
        "over_layer": f"{over:.1f} times the pressure side's layer at the edge",
        "rows": [
            {"what": name, "lift": _with(lift, "lift", arms), "drag": _with(drag, "drag", more),
             "ratio": number_of_quantity(ranged(lift / drag, "drag", "ratio", "", at))}
            for name, lift, drag, arms, more in rows
        ],
    }  # fmt: skip


def _with(value: float, what: str, arms: tuple[float, float]) -> Number:
    """Return a section coefficient with the range of what was added put on that of the section."""
    base = ranged(value, what, "ratio", "", "section with an edge device")
    low = base.best - float(np.hypot(base.best - base.low, arms[0]))
    high = base.best + float(np.hypot(base.high - base.best, arms[1]))
    return number_of_quantity(replace(base, low=low, high=high))


def better_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, Array]]:
    """Return a better setting of a design at a drag price and a stall margin.

    ``price`` is the lift coefficient worth giving up per unit of drag coefficient. The setting must
    work with the air 1.5° either way and, over the road, at 15 % more and less height.
    """
    case, design, speed = asked(answers, message)
    price = read_number(message, "price", 0.0, 200.0, "")
    margin = np.deg2rad(read_number(message, "margin_deg", 0.0, 8.0, "°"))
    height = case.height(design)
    found = search(
        replace(design, height=height),
        case.condition(speed),
        ranges_of(design),
        price=price,
        heights=() if height is None else (height, (1 - _RIDE) * height, (1 + _RIDE) * height),
        onsets=(0.0, -GUST, GUST),
        stall_margin=margin,
        n_call=25 * (1 + 2 * len(design.flaps)),
        most_s=_MOST_S,
    )
    best = found.best.design
    flaps = [
        {"deflection_deg": round(float(np.rad2deg(f.deflection)), 2),
         "gap_pct": round(100 * f.gap, 3), "overlap_pct": round(100 * f.overlap, 3),
         "chord_pct": round(100 * f.chord, 2)}
        for f in best.flaps
    ]  # fmt: skip
    worst, before = found.worst
    gain = worst - before if np.isfinite(before) else None
    return {
        "setting": {"incidence_deg": round(float(np.rad2deg(best.incidence)), 2), "flaps": flaps},
        "at": said(case, best, speed),
        "numbers": {
            "lift": number_of_quantity(ranged(found.best.lift, "lift", "ratio", "", "search")),
            "drag": number_of_quantity(ranged(found.best.drag, "drag", "ratio", "", "search")),
        },
        "gain": gain,
        "text": _found_text(found.tried, gain, found.is_cut, found.best.reason),
    }, {}


def _found_text(tried: int, gain: float | None, is_cut: bool, reason: str) -> str:
    head = f"{tried} designs tried"
    if gain is None:
        said_gain = "; the one it began with does not keep the stall margin"
    elif gain < 0.01:
        said_gain = "; none is better by as much as this model can tell"
    else:
        said_gain = f"; lift less price times drag is {gain:.2f} better in its worst case"
    cut = "; time ran out, it may get better still" if is_cut else ""
    # the finer mesh may see what the search did not
    note = f"; on the finer mesh: {reason}" if reason else ""
    return f"{head}{said_gain}{cut}{note}."


def ranges_of(design: Design) -> list[Range]:
    """Return how far a search moves incidence, flap angles and gaps."""
    found = []
    for handle, flap, now in (
        ("incidence", 0, design.incidence),
        *(("deflection", k, f.deflection) for k, f in enumerate(design.flaps)),
        *(("gap", k, f.gap) for k, f in enumerate(design.flaps)),
    ):
        arm, least, most = _REACH[handle]
        low, high = max(least, now - arm), min(most, now + arm)
        if low < high:
            found.append(Range(handle=handle, low=low, high=high, flap=flap))  # type: ignore[arg-type]
    if not found:
        raise InputError("design", "every handle", "", "lies beyond what a search moves")
    return found


def edge_of(case: SectionCase, result: WingResult) -> Page | None:
    """Return the flow angle along the edge behind a wing, None where the project has none.

    The wing is the one of the page, in straight air; a section that vents into low pressure turns
    the air the more, in proportion to what it gains.
    """
    edge = case.part.edge_behind
    if edge is None:
        return None
    x = result.x_centre + edge.station.best - case.part.station.best
    y = np.linspace(-0.5, 0.5, 25) * edge.width.best
    points = np.column_stack([np.full(y.size, x), y, np.full(y.size, edge.height.best)])
    tolerance = edge.tolerance
    found = angle_along_edge(result, points, tolerance=tolerance.best)
    gain = _vent_factor(case, result)
    angle, low, high = (gain * v for v in (found.angle, found.low, found.high))
    k = int(np.argmax(np.maximum(np.abs(low), np.abs(high))))
    number = number_of_quantity(Quantity(
        best=float(angle[k]), low=float(low[k]), high=float(high[k]), unit="°", dimension="angle",
        origin="computed", place="lattice wake at the edge, straight and without friction",
    ))  # fmt: skip
    over = float(np.mean((low < -tolerance.low) | (high > tolerance.low)))
    return {
        "y_m": y.tolist(),
        **{f"{name}_deg": np.rad2deg(v).tolist()
           for name, v in (("angle", angle), ("low", low), ("high", high))},
        "tolerance_deg": [float(np.rad2deg(tolerance.low)), float(np.rad2deg(tolerance.high))],
        "worst": number,
        "is_within": over == 0.0,
        "text": _edge_text(float(y[k]), number, over, number_of_quantity(tolerance)["text"]),
    }  # fmt: skip


def _edge_text(y: float, number: Number, over: float, tolerance: str) -> str:
    way = "rising" if number["best"] >= 0 else "sinking"
    where = "in the middle" if abs(y) < 0.05 else f"{abs(y):.2f} m off the middle"
    head = f"The air meets the edge behind {way} at {number['text']}, steepest {where}"
    if over == 0.0:
        return f"{head}; the edge stands {tolerance} all along."
    return (
        f"{head}; on {100 * over:.0f} % of the edge that may be more than the {tolerance} it "
        "stands."
    )


def _vent_factor(case: SectionCase, result: WingResult) -> float:
    """Return downforce with the exit's pressure over that without, at best values."""
    part = case.part
    if not isinstance(part, FrontSection):
        return 1.0
    own = {k: np.array(c.quantity.best) for k, c in role_coefficients("front section").items()}
    free = result.downforce_area / (case.spec.span * case.chord)
    key = {"exit_pressure": np.array(part.exit_pressure.best), "vented": np.array(part.vented.best)}
    gain, _ = vented_by(key, own, np.array(free))
    return 1.0 + float(gain) / free if abs(free) > 1e-6 else 1.0
