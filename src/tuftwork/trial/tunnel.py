"""What a wind tunnel does to a result: walls, wake, floor, scale, supports; and its axes.

Named methods stand side by side; none is applied silently. Mercker's and Wiedemann's open-jet set
is not here: it goes in with the papers in hand.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source

SOURCES = (
    Source(key="maskell1963", place="eq. for separated flow", status="memory"),
    Source(key="pope1984", place="catch-all ratio", status="memory"),
    Source(key="young1945", place="closed tunnel, streamlined bodies"),
    Source(key="turner1967", place="need of a moving belt", status="memory"),
    Source(key="sae2084", place="displacement thickness under the car", status="memory"),
    Source(key="sae1594", place="axes and force senses"),
)
MASKELL_THREE_DIMENSIONAL, MASKELL_PLATE = 2.5, 0.96  # [-] maskell1963, from memory
STREAMLINED, BODY_OF_REVOLUTION, SPANNING_WING = 0.65, 0.68, 0.62  # [-] young1945
NEEDS_BELT_ABOVE = 20.0  # [-] turner1967, from memory
THICKEST_LAYER = 0.10  # [-] of the ground clearance; sae2084, from memory


@dataclass(frozen=True, slots=True, kw_only=True)
class TunnelModel:
    """A model in a working section. [SI]

    Attributes
    ----------
    drag_coefficient
        As measured, on ``frontal_area``. [-]
    frontal_area, section_area
        Of the model and of the working section. [m²]
    volume
        Of the model. [m³]
    height, width
        Of the working section. [m]
    is_open
        Whether the jet is open.
    """

    drag_coefficient: float
    frontal_area: float
    section_area: float
    volume: float
    height: float
    width: float
    is_open: bool = False

    @property
    def blockage(self) -> float:
        """Frontal area over section area. [-]"""
        return self.frontal_area / self.section_area


def maskell_pressure(
    drag_coefficient: float, blockage: float, factor: float = MASKELL_THREE_DIMENSIONAL
) -> float:
    """Return q corrected over q measured for a separated wake: 1 + θ Cd S/C. [-]

    References
    ----------
    [maskell1963]
    """
    _require_share(blockage)
    return 1 + factor * drag_coefficient * blockage


def maskell_pressure_settled(
    drag_coefficient: float, blockage: float, factor: float = MASKELL_THREE_DIMENSIONAL
) -> float:
    """Return q corrected over q measured with the corrected coefficient in it. [-]

    r = 1 + θ (Cd/r) S/C, solved for r.
    """
    _require_share(blockage)
    load = factor * drag_coefficient * blockage
    return 0.5 * (1 + sqrt(1 + 4 * load))


def catch_all_pressure(model_area: float, section_area: float) -> float:
    """Return q corrected over q measured for whatever stands in a closed section. [-]

    (1 + S/4C)².

    References
    ----------
    [pope1984]
    """
    _require_share(model_area / section_area)
    return (1 + model_area / (4 * section_area)) ** 2


def solid_speed_gain(
    volume: float, height: float, width: float, factor: float = STREAMLINED
) -> float:
    """Return u/U for a streamlined body in a closed section: k V/(h² b), h the shorter side. [-]

    No wake term; said to hold within 10 %.

    References
    ----------
    [young1945]
    """
    for name, value in (("volume", volume), ("height", height), ("width", width)):
        if not value > 0:
            raise InputError(name, value, "SI", "must be above 0")
    short, long = sorted((height, width))
    return factor * volume / (short**2 * long)


def _by_maskell(model: TunnelModel) -> float:
    return maskell_pressure_settled(model.drag_coefficient, model.blockage)


def _by_catch_all(model: TunnelModel) -> float:
    return catch_all_pressure(model.frontal_area, model.section_area)


def _by_solid(model: TunnelModel) -> float:
    return (1 + solid_speed_gain(model.volume, model.height, model.width)) ** 2


BLOCKAGE_METHODS: Mapping[str, Callable[[TunnelModel], float]] = {
    "wake (Maskell)": _by_maskell,
    "catch-all (Pope)": _by_catch_all,
    "solid (Young and Squire)": _by_solid,
}
"""Method → q corrected over q measured in a closed section."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """A coefficient corrected by one named method; ``pressure`` is q corrected over measured."""

    method: str
    pressure: float
    drag_coefficient: float


def blockage_corrections(model: TunnelModel) -> tuple[tuple[Corrected, ...], tuple[str, ...]]:
    """Return the corrected drag coefficient by every method, and what to know about them.

    Raises
    ------
    InputError
        In an open jet: these methods correct the other way there and do not apply.
    """
    if model.is_open:
        raise InputError("jet", "open", "", "these methods hold for closed sections only",
                         "An open jet reads too low in the simple theory.")  # fmt: skip
    found = []
    for name, method in BLOCKAGE_METHODS.items():
        ratio = method(model)
        found.append(
            Corrected(method=name, pressure=ratio, drag_coefficient=model.drag_coefficient / ratio)
        )
    spread = max(c.drag_coefficient for c in found) - min(c.drag_coefficient for c in found)
    notices = [f"The methods differ by {spread:.4f} in Cd; that difference is part of the range."]
    if model.blockage > 0.075:
        notices.append(
            f"Blockage {100 * model.blockage:.1f} %: above 7.5 % no correction of this kind is "
            "trusted (common practice, no source)."
        )
    return tuple(found), tuple(notices)


def buoyancy_drag(volume: float, pressure_gradient: float) -> float:
    """Return the drag that a falling static pressure along the section adds: −V dp/dx. [N]"""
    return -volume * pressure_gradient


def core_speed(speed: float, size: float, length: float, viscosity: float) -> float:
    """Return the core's speed after a length of laminar walls around a round section. [m/s]

    δ* = 1.72 x/√Re on all sides takes its area from the core.
    """
    displaced = 1.72 * length / sqrt(speed * length / viscosity)
    return speed * (size / (size - 2 * displaced)) ** 2


def needs_moving_belt(lift_coefficient: float, height_over_span: float) -> bool:
    """Return whether a fixed floor is no longer good enough: CL/(h/b) above 20.

    References
    ----------
    [turner1967]
    """
    return abs(lift_coefficient) / height_over_span > NEEDS_BELT_ABOVE


def floor_is_thin_enough(displacement_thickness: float, clearance: float) -> bool:
    """Return whether the layer on a fixed floor is below a tenth of the ground clearance."""
    return displacement_thickness <= THICKEST_LAYER * clearance


def scale_notices(test_reynolds: float, full_reynolds: float) -> tuple[str, ...]:
    """Return what to know about a test at another Reynolds number than the road's."""
    ratio = full_reynolds / test_reynolds
    if ratio <= 2:
        return ()
    return (
        f"The road's Reynolds number ({1e-6 * full_reynolds:.2g} million) is {ratio:.0f} times the "
        f"test's ({1e-6 * test_reynolds:.2g} million): laminar runs, wing maxima and radii "
        "may act differently.",
    )


def support_drag(with_model: Numeric, tare: Numeric, interference: Numeric = 0.0) -> Array:
    """Return a load less its support's tare and interference. [N]"""
    return np.asarray(np.asarray(with_model) - np.asarray(tare) - np.asarray(interference))


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepGap:
    """Up and down sweep against each other: largest difference, and the noise it stands against."""

    at: float
    largest: float
    noise: float

    @property
    def is_hysteresis(self) -> bool:
        """Whether the difference is more than repeats explain (three standard deviations)."""
        return self.largest > 3 * self.noise


def sweep_gap(x: Array, up: Array, down: Array, repeat_deviation: float) -> SweepGap:
    """Return how far an up and a down sweep lie apart; both read at the same x. [any]"""
    if not repeat_deviation > 0:
        raise InputError("repeat_deviation", repeat_deviation, "", "must be above 0",
                         "Repeat one point at least three times.")  # fmt: skip
    gap = np.abs(np.asarray(up) - np.asarray(down))
    worst = int(np.argmax(gap))
    return SweepGap(at=float(x[worst]), largest=float(gap[worst]), noise=sqrt(2) * repeat_deviation)


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceReading:
    """Loads of a balance about its own centre; x rearward, y right, z up. [N], [N m], [m]

    Attributes
    ----------
    drag, lift
        Along x and z.
    pitch
        Nose-up moment about the balance centre.
    centre_x, centre_z
        Of the balance, from mid wheelbase at the ground.
    """

    drag: float
    lift: float
    pitch: float
    centre_x: float = 0.0
    centre_z: float = 0.0


def axle_lifts(reading: BalanceReading, wheelbase: float) -> tuple[float, float]:
    """Return the lift carried at the front and rear axle (SAE J1594, ground, mid wheelbase). [N]

    M = M_b + D z_b − L x_b about ground and mid wheelbase (nose-up positive), then
    L_f = L/2 + M/l and L_r = L/2 − M/l.

    References
    ----------
    [sae1594]
    """
    if not wheelbase > 0:
        raise InputError("wheelbase", wheelbase, "m", "must be above 0")
    moment = reading.pitch + reading.drag * reading.centre_z - reading.lift * reading.centre_x
    arm = moment / wheelbase
    return reading.lift / 2 + arm, reading.lift / 2 - arm


def axle_coefficients(lift: float, pitch: float) -> tuple[float, float]:
    """Return CLf and CLr from CL and CPM about ground and mid wheelbase, length the wheelbase.

    References
    ----------
    [sae1594]
    """
    return lift / 2 + pitch, lift / 2 - pitch


AXES: Mapping[str, tuple[int, int]] = {
    "SAE J1594:2010 (x rearward, z up)": (1, 1),
    "SAE J1594:1994 (x forward, z down)": (1, 1),
}
"""Axes a file may state, with the signs of its drag and lift: both editions have the same senses of
the forces."""


def drag_and_lift(drag: float, lift: float, axes: str) -> tuple[float, float]:
    """Return drag and lift in today's senses; a file that does not state its axes is refused."""
    if axes not in AXES:
        known = "; ".join(AXES)
        raise InputError("axes", f"'{axes}'", "", "not stated or not known", f"One of: {known}.")
    signs = AXES[axes]
    return signs[0] * drag, signs[1] * lift


def coefficient(force: Numeric, density: Numeric, speed: Numeric, area: Numeric) -> Array:
    """Return F / (½ρV² A). [-]"""
    pressure = 0.5 * np.asarray(density) * np.square(speed)
    return np.asarray(np.asarray(force) / (pressure * np.asarray(area)))


def matrix_order(worth: Sequence[float], seconds: Sequence[float]) -> list[int]:
    """Return the order of test points that has answered the most worth whenever time runs out.

    Worth per second, highest first.
    """
    rates = [w / max(s, 1e-9) for w, s in zip(worth, seconds, strict=True)]
    return sorted(range(len(rates)), key=lambda i: -rates[i])


def _require_share(share: float) -> None:
    if not 0 <= share < 0.5:
        raise InputError("blockage", share, "", "must be 0 to 0.5 of the working section")


def circle_area(diameter: float) -> float:
    """Return the area of a round section. [m] → [m²]"""
    return pi * diameter**2 / 4
