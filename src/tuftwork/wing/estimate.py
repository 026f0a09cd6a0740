"""A wing in closed form: finite slope, stall band, gurney, ground, induced and profile drag.

Downforce and drag of one wing from a dozen numbers a photograph gives; good to some 15 %, no more.
Every coefficient of :class:`WingCoefficients` has its range and source in ``estimate.toml``.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source

SOURCES = (
    Source(key="helmbold1942", place="slope of low-aspect-ratio wings", status="memory"),
    Source(key="mccroskey1987", place="section slope against Reynolds number"),
    Source(key="hoerner1965", place="end plates; form factor of sections", status="memory"),
    Source(key="laitone1990", place="induced drag near the ground", status="memory"),
    Source(key="liebeck1978", place="gurney", status="memory"),
    Source(key="zerihan2000", place="downforce against height, single element"),
    Source(key="schlichting1979", place="turbulent plate friction", status="memory"),
)
CHECKED_ASPECT_RATIO = (1.0, 10.0)  # [-] of the slope formula, against lifting-surface values
CHECKED_HEIGHT_RATIO = 0.055  # [-] least height over chord with a measurement
_SQUARE_TIPS = 0.0862  # [-] fitted to lifting-surface slopes at aspect ratios 2 and 8 only
_GROUND_LEVEL, _GROUND_FAR = 0.2813, 0.6369  # [-] fitted to the curve of zerihan2000
_GROUND_NEAR, _GROUND_POWER = 0.0820, 2.376  # [-] same


@dataclass(frozen=True, slots=True, kw_only=True)
class WingGeometry:
    """Shape and setting of a wing; every field broadcasts.

    Attributes
    ----------
    span, chord
        Tip to tip; of the whole section. [m]
    incidence
        Nose-down angle of the chord line to the ground. [rad]
    height
        Lowest edge of the section above the ground. [m]
    camber, thickness
        Of the chord. [-]
    gurney, end_plate_height [m]
    elements
        Number of elements.
    """

    span: Array
    chord: Array
    incidence: Array
    height: Array
    camber: Array
    thickness: Array
    gurney: Array
    end_plate_height: Array
    elements: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class WingOnset:
    """The air a wing meets.

    Attributes
    ----------
    reynolds
        On the chord, at free-stream speed. [-]
    pressure
        Dynamic pressure over that of the free stream. [-]
    angle
        Change of onset: air coming down from a roof adds to the incidence. [rad]
    """

    reynolds: Array
    pressure: Array
    angle: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class WingCoefficients:
    """What the formulas leave open; meanings and ranges in ``estimate.toml``. [-]"""

    section_slope: Array
    camber_effect: Array
    end_plate: Array
    planform: Array
    gurney: Array
    gurney_drag: Array
    stall: Array
    stall_gurney: Array
    stall_band: Array
    stall_fall: Array
    stall_finite: Array
    element_gain: Array
    element_stall: Array
    friction: Array
    lift_drag: Array
    ground: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class WingLoad:
    """What a wing makes, on free-stream dynamic pressure.

    Attributes
    ----------
    downforce, drag
        Areas CzS and CxS of the wing alone. [m²]
    coefficient
        Downforce over plan area and the local dynamic pressure. [-]
    margin
        How far the unstalled coefficient stays below the stall; negative is past it. [-]
    """

    downforce: Array
    drag: Array
    coefficient: Array
    margin: Array


def estimate_wing(
    geometry: WingGeometry, onset: WingOnset, coefficients: WingCoefficients
) -> WingLoad:
    """Return downforce and drag of a wing.

    The coefficient rises with the finite slope from the zero-lift angle, is capped softly at the
    stall and falls a little beyond it; the force is turned by the onset angle; drag is induced
    (end plates, ground) plus profile (friction, gurney, lift, stall).

    Parameters
    ----------
    geometry, onset, coefficients
        Fields of any shapes that broadcast; draws last.

    Returns
    -------
    load
        CzS, CxS [m²], coefficient and margin to the stall [-].

    Raises
    ------
    InputError
        If a span, chord, height or Reynolds number is not above zero.

    Notes
    -----
    Not for sweep, for slots out of their usual setting, nor for the shape of the fall past stall.
    """
    _require(geometry, onset)
    c, g = coefficients, geometry
    aspect = effective_aspect_ratio(g.span / g.chord, g.end_plate_height / g.span, c.end_plate)
    slope_2d = section_slope(onset.reynolds) * c.section_slope
    ratio = finite_slope(aspect, slope_2d) / slope_2d
    more = max(0, g.elements - 1)
    # a section with gurney and flaps, at this angle, were it of infinite span and never stalled
    gain = gurney_gain(g.gurney / g.chord, c.gurney) + more * c.element_gain
    angle = g.incidence + onset.angle + c.camber_effect * g.camber
    near = 1 + c.ground * (ground_gain(g.height / g.chord) - 1)
    rising = ratio * (slope_2d * np.sin(angle) + gain) * near
    raised = c.stall_gurney * gurney_gain(g.gurney / g.chord, c.gurney)
    cap = c.stall_finite * (c.stall + raised + more * c.element_stall)
    # measured peaks near the ground lie well above the free-air stall: the cap rises half as fast
    cap = cap * (1 + 0.5 * (near - 1))
    lost = c.stall_band * np.logaddexp(0.0, (rising - cap) / c.stall_band)
    lift = rising - lost * (1 + c.stall_fall)
    drag = _drag(geometry, onset, c, lift, aspect) + np.clip(lost, 0, None) * np.abs(np.sin(angle))
    area = onset.pressure * g.span * g.chord
    # the force stands square to the local air: air coming down tilts it forward
    turned = -onset.angle
    return WingLoad(
        downforce=area * (lift * np.cos(turned) - drag * np.sin(turned)),
        drag=area * (drag * np.cos(turned) + lift * np.sin(turned)),
        coefficient=lift,
        margin=cap - rising,
    )


def effective_aspect_ratio(aspect_ratio: Numeric, plate: Numeric, factor: Numeric = 1.9) -> Array:
    """Return the aspect ratio with end plates: A (1 + k h/b) [-].

    ``plate`` is plate height over span. Checked to h/b = 0.3 against the minimum-drag optimum.

    References
    ----------
    [hoerner1965] chapter on end plates, k = 1.9.
    """
    return np.asarray(aspect_ratio * (1 + factor * np.asarray(plate)))


def finite_slope(aspect_ratio: Numeric, slope: Numeric = 2 * np.pi) -> Array:
    """Return the slope of a rectangular wing [1/rad].

    a / (√(1 + m²) + m (1 + t)),  m = a/(π A),  t = 0.0862 ln(1 + A²): Helmbold's formula with a
    term for square tips, fitted to lifting-surface values at A = 2 and 8. Tends to πA/2 and to a.

    References
    ----------
    [helmbold1942]
    """
    m = np.asarray(slope) / (np.pi * np.asarray(aspect_ratio))
    tips = _SQUARE_TIPS * np.log1p(np.square(aspect_ratio))
    return np.asarray(slope / (np.sqrt(1 + m**2) + m * (1 + tips)))


def section_slope(reynolds: Numeric) -> Array:
    """Return the slope of a clean symmetric section [1/rad]: 0.1025 + 0.00485 log₁₀(Re/10⁶) per °.

    References
    ----------
    [mccroskey1987]
    """
    per_degree = 0.1025 + 0.00485 * np.log10(np.asarray(reynolds) / 1e6)
    return np.asarray(per_degree * 180 / np.pi)


def gurney_gain(height: Numeric, factor: Numeric = 3.0) -> Array:
    """Return the section's gain from a gurney of ``height`` over chord: k √(h/c) [-].

    References
    ----------
    [liebeck1978] and later tests; 0.5 to 4 % of chord.
    """
    # a range may reach below no gurney at all; that is none
    return np.asarray(factor * np.sqrt(np.maximum(height, 0.0)))


def induced_ground_factor(height: Numeric) -> Array:
    """Return induced drag near the ground over that far from it, ``height`` over span [-].

    1 − exp(−2.48 (2h/b)^0.768); within 0.015 of the exact value for an elliptic load.

    References
    ----------
    [laitone1990]
    """
    return np.asarray(1 - np.exp(-2.48 * (2 * np.asarray(height)) ** 0.768))


def ground_gain(height: Numeric) -> Array:
    """Return downforce near a moving ground over that far from it, ``height`` over chord [-].

    1 + (a/x) / (1 + x/b) / (1 + (x₀/x)^n): rises as the gap closes, peaks near x = 0.09 and falls
    as boundary layers fill the gap. Fitted to one measured single-element wing.

    References
    ----------
    [zerihan2000]
    """
    x = np.maximum(np.asarray(height, dtype=float), 1e-3)
    far = _GROUND_LEVEL / x / (1 + x / _GROUND_FAR)
    return np.asarray(1 + far / (1 + (_GROUND_NEAR / x) ** _GROUND_POWER))


def plate_friction(reynolds: Numeric) -> Array:
    """Return the mean friction of one side of a turbulent plate: 0.455 / (log₁₀ Re)^2.58 [-].

    References
    ----------
    [schlichting1979]
    """
    return np.asarray(0.455 / np.log10(reynolds) ** 2.58)


def bound_vortex_suction(
    coefficient: Numeric, chord: Numeric, span: Numeric, distance: Numeric
) -> Array:
    """Return the change of Cp under a wing, at ``distance`` below it: −C c/(2πr) / √(1+(2r/b)²).

    A bound vortex of the wing's span and circulation Γ = ½ C c V speeds the air under it by
    Γ/(2πr) · 1/√(1+(2r/b)²) in the middle (Biot–Savart); Cp changes by twice that, to first order.
    """
    r = np.asarray(distance)
    straight = coefficient * np.asarray(chord) / (2 * np.pi * r)
    return np.asarray(-straight / np.sqrt(1 + (2 * r / span) ** 2))


def _drag(
    g: WingGeometry, onset: WingOnset, c: WingCoefficients, lift: Array, aspect: Array
) -> Array:
    """Return induced and profile drag on plan area and local dynamic pressure [-]."""
    induced = lift**2 / (np.pi * aspect * c.planform) * induced_ground_factor(g.height / g.span)
    friction = plate_friction(onset.reynolds)
    form = 1 + 2 * g.thickness + 60 * g.thickness**4
    tab = g.gurney / g.chord
    plates = 4 * friction * g.end_plate_height / g.span  # two plates, two sides each
    profile = 2 * friction * form * c.friction + plates + c.lift_drag * lift**2
    return np.asarray(induced + profile + c.gurney_drag * (0.4 * tab + 6 * tab**2))


def _require(geometry: WingGeometry, onset: WingOnset) -> None:
    """Refuse what has no meaning."""
    for name, value, unit in (
        ("span", geometry.span, "m"),
        ("chord", geometry.chord, "m"),
        ("height", geometry.height, "m"),
        ("Reynolds number", onset.reynolds, ""),
    ):
        least = float(np.min(value))
        if not least > 0:
            raise InputError(name, least, unit, "must be above 0")
