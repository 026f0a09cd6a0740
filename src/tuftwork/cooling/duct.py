"""Losses of duct parts, each as K on the head of a named velocity."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.guard import not_negative, positive, within
from tuftwork.errors import InputError, UnknownName
from tuftwork.quantity import Array, Numeric


def friction_factor(reynolds: Numeric, relative_roughness: Numeric = 0.0) -> Array:
    """Return the Darcy friction factor of a duct, laminar to rough [-].

    One explicit curve through laminar, transition and turbulent flow.

    References
    ----------
    [churchill1977].
    """
    re = np.maximum(np.asarray(reynolds, dtype=float), 20.0)
    rough = np.asarray(relative_roughness, dtype=float)
    a = (2.457 * np.log(1.0 / ((7.0 / re) ** 0.9 + 0.27 * rough))) ** 16
    b = (37530.0 / re) ** 16
    return np.asarray(8.0 * ((8.0 / re) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0))


def sudden_expansion_loss(area_ratio: Numeric) -> Numeric:
    """Return K of a step to a larger area, on the upstream head: (1 - 1/AR)² [-]."""
    ratio = within("area_ratio", area_ratio, "", (1.0, 1e6))
    return np.asarray((1.0 - 1.0 / ratio) ** 2)


def diffuser_loss(area_ratio: float, full_angle: float, inlet_diameter: float = 0.1) -> float:
    """Return K of a conical diffuser, on the upstream head [-].

    Parameters
    ----------
    area_ratio : ()
        Outlet over inlet area, above 1. [-]
    full_angle : ()
        Between opposite walls. [rad]
    inlet_diameter : ()
        [m]

    References
    ----------
    [rennels2012], as in the library ``fluids``.
    """
    from fluids.fittings import diffuser_conical

    within("area_ratio", area_ratio, "", (1.0001, 100.0))
    within("full_angle", full_angle, "rad", (0.01, np.pi))
    return float(
        diffuser_conical(
            Di1=inlet_diameter,
            Di2=inlet_diameter * area_ratio**0.5,
            angle=np.degrees(full_angle),
            fd=0.02,
            Re=2e5,
            method="Rennels",
        )
    )


def ideal_recovery(area_ratio: Numeric) -> Numeric:
    """Return the pressure coefficient of a diffuser without loss: 1 - 1/AR² [-]."""
    return np.asarray(1.0 - 1.0 / within("area_ratio", area_ratio, "", (1.0, 1e6)) ** 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class DiffuserJudged:
    """A diffuser as designed.

    Attributes
    ----------
    full_angle
        Between opposite walls. [rad]
    stall_angle
        Where it first stalls, ±3°. [rad]
    loss
        K on the upstream head; that of a step where it is stalled. [-]
    is_stalled
        Beyond first stall.
    notices
        What to change.
    """

    full_angle: float
    stall_angle: float
    loss: float
    is_stalled: bool
    notices: tuple[str, ...]


def judged_diffuser(
    area_ratio: float, length_over_inlet: float, *, is_conical: bool = False
) -> DiffuserJudged:
    """Return angle, stall limit and loss of a duct diffuser.

    Parameters
    ----------
    area_ratio : ()
        Outlet over inlet area. [-]
    length_over_inlet : ()
        Axial length over inlet width (plane walls) or inlet radius (cone). [-]
    is_conical
        A cone; otherwise two plane walls diverge.

    References
    ----------
    [fox1962], [reneau1967], [mcdonald1966], from memory: first stall of plane walls at a full
    angle of 20° at N/W = 3, 14° at 6, 10° at 10; cones lose least near 7° and stall near 14°.
    """
    within("area_ratio", area_ratio, "", (1.0001, 20.0))
    positive("length_over_inlet", length_over_inlet, "")
    if is_conical:
        half = np.arctan((area_ratio**0.5 - 1.0) / length_over_inlet)
        stall = np.radians(14.0)
    else:
        half = np.arctan((area_ratio - 1.0) / (2.0 * length_over_inlet))
        line = np.interp(np.log(length_over_inlet), np.log([1.5, 3.0, 6.0, 10.0, 20.0]),
                         [28.0, 20.0, 14.0, 10.0, 7.0])  # fmt: skip
        stall = np.radians(line)
    angle = float(2.0 * half)
    stalled = bool(angle > stall)
    smooth = diffuser_loss(area_ratio, max(angle, 0.0101))
    loss = max(smooth, 0.8 * float(sudden_expansion_loss(area_ratio))) if stalled else smooth
    text = (
        f"full angle {np.degrees(angle):.0f}° exceeds first stall at {np.degrees(stall):.0f}° ± 3°:"
        " lengthen it, split it with vanes, or accept the loss of a step.",
    )
    return DiffuserJudged(
        full_angle=angle, stall_angle=float(stall), loss=loss, is_stalled=stalled,
        notices=text if stalled else (),
    )  # fmt: skip


def bend_loss(angle: float, radius_over_diameter: float, diameter: float = 0.1) -> float:
    """Return K of a smooth bend; a radius of 0 is a mitre [-].

    References
    ----------
    [rennels2012], as in the library ``fluids``.
    """
    from fluids.fittings import bend_miter, bend_rounded

    within("angle", angle, "rad", (0.0, np.pi))
    not_negative("radius_over_diameter", radius_over_diameter, "")
    degrees = float(np.degrees(angle))
    if degrees == 0.0:
        return 0.0
    if radius_over_diameter < 0.5:
        return float(bend_miter(angle=degrees, Di=diameter, Re=1e5, method="Rennels"))
    return float(
        bend_rounded(
            Di=diameter, angle=degrees, rc=radius_over_diameter * diameter, fd=0.02, Re=1e5,
            method="Rennels",
        )
    )  # fmt: skip


def screen_loss(open_share: float, kind: str = "round mesh") -> float:
    """Return K of a screen or grille across the stream, on the approach head [-].

    Parameters
    ----------
    open_share : ()
        Open over whole area. [-]
    kind
        ``"round mesh"``, ``"sharp screen"``, ``"round grille"`` or ``"sharp grille"``.

    References
    ----------
    [blevins1984], as in the library ``fluids``.
    """
    from fluids import filters

    kinds: dict[str, Callable[[float], float]] = {
        "round mesh": filters.round_edge_open_mesh,
        "sharp screen": filters.square_edge_screen,
        "round grille": lambda a: filters.round_edge_grill(alpha=a, l=1.0, Dh=0.01, fd=0.0),
        "sharp grille": lambda a: filters.square_edge_grill(alpha=a, l=1.0, Dh=10.0, fd=0.0),
    }
    if kind not in kinds:
        raise UnknownName("kind", kind, kinds)
    return float(kinds[kind](float(within("open_share", open_share, "", (0.05, 1.0)))))


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A hollow chassis member used as a duct.

    Attributes
    ----------
    width, height
        Inside. [m]
    length
        [m]
    bends
        Angles of its bends, sharp corners. [rad]
    entry, exit
        K of entry and exit on its own head: 0.5 and 1.0 for plain drilled ends. [-]
    roughness
        Height of the wall's roughness. [m]
    """

    width: float
    height: float
    length: float
    bends: tuple[float, ...] = ()
    entry: float = 0.5
    exit: float = 1.0
    roughness: float = 5e-5

    @property
    def area(self) -> float:
        """Flow area [m²]."""
        return self.width * self.height

    @property
    def hydraulic_diameter(self) -> float:
        """Four times area over perimeter [m]."""
        return 2.0 * self.area / (self.width + self.height)

    @property
    def fitting_loss(self) -> float:
        """Sum of K of ends and bends, friction not included [-]."""
        return self.entry + self.exit + sum(bend_loss(angle, 0.0) for angle in self.bends)


def member_loss(member: Member, velocity: Numeric, density: float, viscosity: float) -> Numeric:
    """Return the pressure loss of a hollow member at a mean velocity [Pa].

    Raises
    ------
    InputError
        If the member has no open section.
    """
    if not (member.width > 0 and member.height > 0 and member.length > 0):
        raise InputError("member", member.area, "m²", "has no open section")
    dh = member.hydraulic_diameter
    u = np.asarray(velocity, dtype=float)
    f = friction_factor(density * np.abs(u) * dh / viscosity, member.roughness / dh)
    k = f * member.length / dh + member.fitting_loss
    return np.asarray(0.5 * density * k * u * np.abs(u))


def blocked_recovery(
    area_ratio: float, energy_in: float, energy_out: float, loss: float
) -> tuple[float, float]:
    """Return pressure recovery and efficiency of a diffuser with uneven profiles [-].

    Cp = α1 - α2/AR² - ω, η = Cp/(1 - 1/AR²), α the kinetic-energy factors.

    References
    ----------
    [dixon1998] Ex. 2.5.
    """
    recovery = energy_in - energy_out / area_ratio**2 - loss
    return recovery, recovery / float(ideal_recovery(area_ratio))


def entrance_loss(radius_over_diameter: float = 0.0) -> float:
    """Return K of a duct's flush entrance, sharp or rounded, on the duct's head [-].

    References
    ----------
    [rennels2012], as in the library ``fluids``.
    """
    from fluids.fittings import entrance_rounded, entrance_sharp

    not_negative("radius_over_diameter", radius_over_diameter, "")
    if radius_over_diameter == 0.0:
        return float(entrance_sharp(method="Rennels"))
    return float(entrance_rounded(Di=0.1, rc=0.1 * radius_over_diameter, method="Rennels"))
