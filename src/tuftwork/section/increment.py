"""Gurney and thick trailing edge from published increments, scaled with the boundary layer.

A gurney is not an added panel: attached potential flow gives three to four times too much.
"""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Numeric
from tuftwork.section.point import SectionPoint
from tuftwork.section.polar import Polar

EdgeDevice = Literal["gurney", "thick"]

_LIFT = 3.0  # [-] dCL = 3 sqrt(h/c), [liebeck1978, storms1994], memory, +-25 %
_DRAG = 0.004  # [-] dCD = 0.004 (h / 1 %)^1.3 at low lift, common practice, factor 1.6
_DRAG_POWER = 1.3
_MOMENT = -0.2  # [-] share of the lift increment, memory
_SLOPE = 0.02  # [1/% height] rise of the lift slope, 0 to 8 %, memory
_STALL = np.deg2rad(-0.5)  # [rad/% height] change of the stall angle, 0 to -2 degrees, memory
_LARGEST = 0.05  # [chord] beyond this the increments are not known
_DELTA_CHECK = 0.012  # [chord] pressure-side layer at the edge in the tests behind the increments
_THICK_SHARE = 0.5  # [-] lift of a thickened edge over a gurney of equal height, common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Increment:
    """Change of section coefficients by an edge device; ``low`` and ``high`` are 80 %.

    Attributes
    ----------
    lift, lift_low, lift_high : (...)
        At fixed incidence. [-]
    drag, drag_low, drag_high : (...)
        At low lift. [-]
    moment : (...)
        About the quarter chord. [-]
    zero_lift : (...)
        Shift of the zero-lift incidence. [rad]
    stall : (...)
        Shift of the stall incidence. [rad]
    slope : (...)
        Factor on the lift slope. [-]
    height_over_layer : (...)
        Height over the pressure-side layer at the edge; about 1 is the best height. [-]
    """

    lift: Numeric
    lift_low: Numeric
    lift_high: Numeric
    drag: Numeric
    drag_low: Numeric
    drag_high: Numeric
    moment: Numeric
    zero_lift: Numeric
    stall: Numeric
    slope: Numeric
    height_over_layer: Numeric


def _exposed(ratio: Numeric) -> Numeric:
    """Mean dynamic pressure over a tab of height ``ratio`` layers, one-seventh profile."""
    r = np.maximum(ratio, 1e-6)
    return np.asarray(np.where(r < 1.0, 7.0 / 9.0 * r ** (2.0 / 7.0), 1.0 - 2.0 / 9.0 / r))


def gurney(height: Numeric, *, layer: Numeric = _DELTA_CHECK) -> Increment:
    """Return the increments of a gurney.

    dCL = 3 sqrt(h/c), dCD = 0.004 (100 h/c)^1.3, both scaled with the mean dynamic pressure on
    the tab: a tab deep in the layer does less of both.

    Parameters
    ----------
    height : (...)
        Tab height over the total chord. [-]
    layer : (...)
        Thickness of the pressure-side layer at the trailing edge over the chord, from
        :func:`edge_layer`. [-]

    Returns
    -------
    increment : Increment

    Raises
    ------
    InputError
        If the height is negative or above 5 % of the chord.

    Notes
    -----
    Lift within 25 %, drag within a factor of 1.6. Not for tabs set ahead of the trailing edge.

    References
    ----------
    [liebeck1978], [storms1994], [giguere1995]; drag from common practice, no source.
    """
    h, d = np.broadcast_arrays(np.asarray(height, float), np.asarray(layer, float))
    if not ((h >= 0.0) & (h <= _LARGEST)).all():
        raise InputError(
            "height", float(np.ravel(h)[np.argmax(np.abs(h))]), "chord",
            f"must be from 0 to {_LARGEST}", "Give a share of the chord.",
        )  # fmt: skip
    if not (d > 0.0).all():
        raise InputError("layer", float(d.min()), "chord", "must be above 0")
    scale = _exposed(h / d) / _exposed(h / _DELTA_CHECK)
    lift = _LIFT * np.sqrt(h) * scale
    drag = _DRAG * (100.0 * h) ** _DRAG_POWER * scale
    percent = 100.0 * h
    return Increment(
        lift=lift,
        lift_low=0.75 * lift,
        lift_high=1.25 * lift,
        drag=drag,
        drag_low=drag / 1.6,
        drag_high=1.6 * drag,
        moment=_MOMENT * lift,
        zero_lift=-lift / (2.0 * np.pi * 0.93),
        stall=np.maximum(_STALL * percent, np.deg2rad(-2.0)),
        slope=1.0 + np.minimum(_SLOPE * percent, 0.08),
        height_over_layer=h / d,
    )


def thick_edge(
    height: Numeric, *, layer: Numeric = _DELTA_CHECK, friction: Numeric = 0.008
) -> Increment:
    """Return the increments of an edge thickened to ``height`` on the pressure side.

    Half the lift of a gurney of the same height; drag of the base
    dCD = 0.135 (h/c) (h / (c CDf))^(1/3) with the friction drag CDf ahead of it [hoerner1965].

    Parameters
    ----------
    height : (...)
        Base height over the total chord. [-]
    layer
        As for :func:`gurney`. [-]
    friction : (...)
        Friction drag coefficient of the section ahead of the base. [-]
    """
    tab = gurney(height, layer=layer)
    h, f = np.broadcast_arrays(np.asarray(height, float), np.asarray(friction, float))
    base = 0.135 * h * np.cbrt(h / np.maximum(f, 1e-4))
    lift = _THICK_SHARE * tab.lift
    return Increment(
        lift=lift,
        lift_low=0.5 * lift,
        lift_high=1.5 * lift,
        drag=base,
        drag_low=base / 1.6,
        drag_high=1.6 * base,
        moment=_MOMENT * lift,
        zero_lift=-lift / (2.0 * np.pi * 0.93),
        stall=np.zeros_like(lift),
        slope=np.ones_like(lift),
        height_over_layer=tab.height_over_layer,
    )


def edge_layer(point: SectionPoint) -> float:
    """Return the pressure-side layer thickness at the last trailing edge. [chord]"""
    last = max(ln.element for ln in point.lines)
    for ln in point.lines:
        if ln.element == last and ln.side == "lower":
            return float(ln.thickness[-1])
    raise InputError("point", "lines", "", "must hold the lower side of the last element")


def with_device(polar: Polar, height: float, *, device: EdgeDevice = "gurney") -> Polar:
    """Return a polar with an edge device: lift shifted, slope raised, stall earlier.

    Parameters
    ----------
    polar
        Clean section.
    height
        Height over the total chord. [-]
    device
        ``"gurney"`` or ``"thick"``.
    """
    if device not in get_args(EdgeDevice):
        raise UnknownName("device", device, get_args(EdgeDevice))
    layer = np.array([edge_layer(p) if p is not None else _DELTA_CHECK for p in polar.points])
    make = gurney if device == "gurney" else thick_edge
    inc = make(np.full(layer.size, height), layer=layer)
    turn = float(np.median(inc.stall))
    # the curve is shifted along incidence where it bends, so that stall comes earlier
    k = int(np.nanargmax(polar.lift))
    bend = np.clip((polar.alpha - 0.0) / max(float(polar.alpha[k]), 1e-3), 0.0, 1.5)
    good = ~np.isnan(polar.lift)
    moved = np.interp(polar.alpha - turn * bend, polar.alpha[good], polar.lift[good])
    clean = np.where(good, np.where(bend > 0.7, moved, polar.lift), np.nan)
    top = float(np.nanmax(polar.lift))
    # the slope rises where the layers are attached and fades out at maximum lift
    fade = np.clip(1.0 - np.abs(clean) / top, 0.0, 1.0)
    gain = 1.0 + (inc.slope - 1.0) * fade

    def shifted(values: Array, delta: Numeric) -> Array:
        return np.asarray(values + delta)

    return Polar(
        alpha=polar.alpha,
        lift=shifted(clean * gain, inc.lift),
        drag=shifted(polar.drag, inc.drag),
        moment=shifted(polar.moment, inc.moment),
        lift_low=shifted(np.minimum(polar.lift_low, clean), inc.lift_low),
        lift_high=shifted(np.maximum(polar.lift_high, clean), inc.lift_high),
        state=polar.state,
        nose_suction=polar.nose_suction,
        height=polar.height,
        condition=polar.condition,
        points=polar.points,
        notices=(*polar.notices, f"{device} of {100 * height:.2f} % from published increments"),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceComparison:
    """Gurney against thickened edge at equal height, at one point of a section.

    ``ratio_*`` are lift over drag of section plus device.
    """

    height: float
    gurney: Increment
    thick: Increment
    ratio_clean: float
    ratio_gurney: float
    ratio_thick: float


def compare_devices(point: SectionPoint, height: float) -> DeviceComparison:
    """Return gurney against thickened edge of equal height at one incidence."""
    layer = edge_layer(point)
    tab = gurney(height, layer=layer)
    base = thick_edge(height, layer=layer, friction=max(point.drag, 1e-3))
    return DeviceComparison(
        height=height,
        gurney=tab,
        thick=base,
        ratio_clean=point.lift / point.drag,
        ratio_gurney=float((point.lift + tab.lift) / (point.drag + tab.drag)),
        ratio_thick=float((point.lift + base.lift) / (point.drag + base.drag)),
    )


def best_gurney(point: SectionPoint, *, price: float | None = None) -> tuple[float, float]:
    """Return the best gurney height and that height over the edge layer.

    Best is the largest lift over drag, or with ``price`` the largest lift minus price times drag.
    """
    h = np.linspace(0.0, _LARGEST, 501)
    inc = gurney(h, layer=edge_layer(point))
    lift, drag = point.lift + inc.lift, point.drag + inc.drag
    score = lift / drag if price is None else lift - price * drag
    k = int(np.argmax(score))
    return float(h[k]), float(h[k]) / edge_layer(point)
