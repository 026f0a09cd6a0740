"""Air-side surfaces of a core: heat transfer and friction from published correlations."""

from dataclasses import dataclass

import numpy as np

from tuftwork.cooling.guard import positive
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

CP_AIR = 1006.5  # [J/(kg K)]
PRANDTL = 0.7065  # [-]  dry air near 30 °C
_KC, _KE = 0.4, 0.2  # [-]  entrance and exit loss of the passages, kays1984 ch. 5, laminar
CHECKED_REYNOLDS = (100.0, 3000.0)
"""Louvre-pitch Reynolds numbers at which the correlations were made. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceState:
    """What a surface does at one flow, per unit of face area.

    Attributes
    ----------
    j, f
        Colburn and Fanning factors. [-]
    coefficient
        Air-side heat transfer coefficient. [W/(m² K)]
    fin_efficiency, surface_efficiency
        Of a fin and of the whole surface. [-]
    conductance
        Air-side conductance per face area. [W/(m² K)]
    loss, friction_loss
        Pressure loss of the core, all and by friction. [Pa]
    reynolds
        On the surface's own length. [-]
    """

    j: Numeric
    f: Numeric
    coefficient: Numeric
    fin_efficiency: Numeric
    surface_efficiency: Numeric
    conductance: Numeric
    loss: Numeric
    friction_loss: Numeric
    reynolds: Numeric


@dataclass(frozen=True, slots=True, kw_only=True)
class LouvredSurface:
    """Corrugated louvred fins between flat tubes. Lengths in m, angle in rad.

    Attributes
    ----------
    louvre_angle, louvre_pitch, louvre_length
        θ [rad], Lp, Ll.
    fin_pitch, fin_length, fin_thickness
        Fp, Fl (between tubes), d.
    tube_depth, tube_pitch, tube_height
        Td (core depth), Tp, Dm.
    conductivity
        Of the fin. [W/(m K)]
    """

    louvre_angle: float
    louvre_pitch: float
    louvre_length: float
    fin_pitch: float
    fin_length: float
    fin_thickness: float
    tube_depth: float
    tube_pitch: float
    tube_height: float
    conductivity: float = 180.0

    def __post_init__(self) -> None:
        for name in self.__slots__:
            positive(name, getattr(self, name), "m")
        if self.louvre_angle > 1.2:
            raise InputError(
                "louvre_angle", self.louvre_angle, "rad", "must be below 1.2",
                "Multiply degrees by 0.01745.",
            )  # fmt: skip
        if self.fin_thickness >= self.fin_pitch or self.tube_height >= self.tube_pitch:
            raise InputError("fin_thickness", self.fin_thickness, "m", "leaves no passage")

    @property
    def free_share(self) -> float:
        """Free flow area over face area, σ [-]."""
        gap = (self.fin_length - self.fin_thickness) * (self.fin_pitch - self.fin_thickness)
        return gap / (self.tube_pitch * self.fin_pitch)

    @property
    def area_density(self) -> float:
        """Air-side area per core volume, α [m²/m³]."""
        return 2.0 * (self._fin_width + self._gap) / (self.tube_pitch * self.fin_pitch)

    @property
    def hydraulic_diameter(self) -> float:
        """Four times free share over area density [m]."""
        return 4.0 * self.free_share / self.area_density

    @property
    def _fin_width(self) -> float:
        return self.fin_length - self.fin_thickness

    @property
    def _gap(self) -> float:
        return self.fin_pitch - self.fin_thickness

    def rate(self, velocity: Numeric, density: Numeric, viscosity: Numeric) -> SurfaceState:
        """Return what the surface does at a face velocity.

        Parameters
        ----------
        velocity, density, viscosity : (...)
            Face velocity [m/s], air density [kg/m³], viscosity [Pa s].

        References
        ----------
        [chang1997] Eq. 9; [chang2000], amended [chang2006].
        """
        u = positive("velocity", velocity, "m/s")
        mass_velocity = density * u / self.free_share
        reynolds = np.asarray(mass_velocity * self.louvre_pitch / viscosity)
        j, f = self.j(reynolds), self.f(reynolds)
        h = j * mass_velocity * CP_AIR * PRANDTL ** (-2.0 / 3.0)
        length = self.fin_length / 2.0 - self.fin_thickness
        edge = 1.0 + self.fin_thickness / self.tube_depth
        fin = fin_efficiency(h * edge, self.conductivity, self.fin_thickness, length)
        whole = 1.0 - self._fin_width / (self._fin_width + self._gap) * (1.0 - fin)
        return _rated(self, _Raw(j, f, h, fin, whole, mass_velocity, reynolds), density)

    def j(self, reynolds: Numeric) -> Array:
        """Return the Colburn factor at a louvre-pitch Reynolds number [-]."""
        lp = self.louvre_pitch
        ratios = (
            (np.degrees(self.louvre_angle) / 90.0) ** 0.27
            * (self.fin_pitch / lp) ** -0.14
            * (self.fin_length / lp) ** -0.29
            * (self.tube_depth / lp) ** -0.23
            * (self.louvre_length / lp) ** 0.68
            * (self.tube_pitch / lp) ** -0.28
            * (self.fin_thickness / lp) ** -0.05
        )
        return np.asarray(np.asarray(reynolds) ** -0.49 * ratios)

    def f(self, reynolds: Numeric) -> Array:
        """Return the Fanning factor at a louvre-pitch Reynolds number [-]."""
        re = np.asarray(reynolds, dtype=float)
        theta, lp, fp = np.degrees(self.louvre_angle), self.louvre_pitch, self.fin_pitch
        d, dh, tp = self.fin_thickness, self.hydraulic_diameter, self.tube_pitch
        dm = self.tube_height
        low = re < 150.0
        r = np.maximum(re, 10.0)
        f1_low = 14.39 * r ** (-0.805 * fp / self.fin_length) * np.log(1.0 + fp / lp) ** 3.04
        f2_low = (
            np.log((d / fp) ** 0.48 + 0.9) ** -1.435 * (dh / lp) ** -3.01 * np.log(0.5 * r) ** -3.01
        )
        f3_low = (
            (fp / self.louvre_length) ** -0.308
            * (self.tube_depth / self.louvre_length) ** -0.308
            * np.exp(-0.1167 * tp / dm)
            * theta**0.35
        )
        f1 = 4.97 * r ** (0.6049 - 1.064 / theta**0.2) * np.log((d / fp) ** 0.5 + 0.9) ** -0.527
        f2 = ((dh / lp) * np.log(0.3 * r)) ** -2.966 * (fp / self.louvre_length) ** (
            -0.7931 * tp / (tp - dm)
        )
        f3 = (tp / dm) ** -0.0446 * np.log(1.2 + (lp / fp) ** 1.4) ** -3.553 * theta**-0.477
        return np.asarray(np.where(low, f1_low * f2_low * f3_low, f1 * f2 * f3))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainSurface:
    """Plain rectangular passages between plates. Lengths in m.

    Attributes
    ----------
    fin_pitch, fin_height, fin_thickness
        Spacing along the row, plate spacing, thickness.
    depth
        Flow length.
    plate_thickness
        Of what stands between two rows of passages (tube or plate).
    conductivity
        Of the fin. [W/(m K)]
    """

    fin_pitch: float
    fin_height: float
    fin_thickness: float
    tube_depth: float
    plate_thickness: float
    conductivity: float = 180.0

    def __post_init__(self) -> None:
        for name in self.__slots__:
            positive(name, getattr(self, name), "m")
        if self.fin_thickness >= self.fin_pitch:
            raise InputError("fin_thickness", self.fin_thickness, "m", "leaves no passage")

    @property
    def free_share(self) -> float:
        """Free flow area over face area, σ [-]."""
        gap = (self.fin_pitch - self.fin_thickness) * (self.fin_height - self.fin_thickness)
        return gap / (self.fin_pitch * (self.fin_height + self.plate_thickness))

    @property
    def area_density(self) -> float:
        """Air-side area per core volume, α [m²/m³]."""
        around = 2.0 * (self.fin_pitch + self.fin_height - 2.0 * self.fin_thickness)
        return around / (self.fin_pitch * (self.fin_height + self.plate_thickness))

    @property
    def hydraulic_diameter(self) -> float:
        """Four times free share over area density [m]."""
        return 4.0 * self.free_share / self.area_density

    def rate(self, velocity: Numeric, density: Numeric, viscosity: Numeric) -> SurfaceState:
        """Return what the surface does at a face velocity.

        Laminar rectangular ducts with an entrance addition, the greater of laminar and
        turbulent values above; conservative where a real plain fin has broken edges.

        References
        ----------
        [shah1978] for laminar rectangular ducts; [gnielinski1976] above.
        """
        u = positive("velocity", velocity, "m/s")
        mass_velocity = density * u / self.free_share
        dh = self.hydraulic_diameter
        re = np.asarray(mass_velocity * dh / viscosity)
        nusselt, friction = _rectangular_duct(re, self._aspect, dh / self.tube_depth)
        j = nusselt / (re * PRANDTL ** (1.0 / 3.0))
        h = j * mass_velocity * CP_AIR * PRANDTL ** (-2.0 / 3.0)
        fin = fin_efficiency(h, self.conductivity, self.fin_thickness, self.fin_height / 2.0)
        width, gap = self.fin_height - self.fin_thickness, self.fin_pitch - self.fin_thickness
        whole = 1.0 - width / (width + gap) * (1.0 - fin)
        return _rated(self, _Raw(j, friction, h, fin, whole, mass_velocity, re), density)

    @property
    def _aspect(self) -> float:
        gap, height = self.fin_pitch - self.fin_thickness, self.fin_height - self.fin_thickness
        return min(gap, height) / max(gap, height)


Surface = LouvredSurface | PlainSurface
"""A surface that can be rated at a flow."""


def fin_efficiency(
    coefficient: Numeric, conductivity: Numeric, thickness: Numeric, length: Numeric
) -> Array:
    """Return the efficiency of a straight fin, tanh(m l)/(m l), m² = 2h/(k t) [-].

    References
    ----------
    [incropera2007] ch. 3.
    """
    ml = np.asarray(np.sqrt(2.0 * coefficient / (conductivity * thickness)) * length)
    return np.asarray(np.tanh(ml) / np.maximum(ml, 1e-12))


@dataclass(frozen=True, slots=True)
class _Raw:
    """Factors on their way to a SurfaceState."""

    j: Numeric
    f: Numeric
    h: Numeric
    fin: Numeric
    whole: Numeric
    mass_velocity: Numeric
    reynolds: Numeric


def _rated(surface: LouvredSurface | PlainSurface, raw: _Raw, density: Numeric) -> SurfaceState:
    """Turn factors into conductance and loss per face area."""
    sigma, wetted = surface.free_share, surface.area_density * surface.tube_depth
    head = raw.mass_velocity**2 / (2.0 * density)
    friction = head * raw.f * wetted / sigma
    return SurfaceState(
        j=raw.j, f=raw.f, coefficient=raw.h, fin_efficiency=raw.fin,
        surface_efficiency=raw.whole, conductance=raw.h * raw.whole * wetted,
        loss=friction + head * (_KC + _KE), friction_loss=friction, reynolds=raw.reynolds,
    )  # fmt: skip


def _rectangular_duct(re: Array, aspect: float, dh_over_l: float) -> tuple[Array, Array]:
    """Return Nusselt number and apparent Fanning factor of a rectangular duct."""
    a = aspect
    f_re = 24.0 * (1 - 1.3553 * a + 1.9467 * a**2 - 1.7012 * a**3 + 0.9564 * a**4 - 0.2537 * a**5)
    nu_0 = 7.541 * (1 - 2.610 * a + 4.970 * a**2 - 5.119 * a**3 + 2.702 * a**4 - 0.548 * a**5)
    graetz = re * PRANDTL * dh_over_l
    nu_lam = (nu_0**3 + 1.61**3 * graetz) ** (1.0 / 3.0)
    f_lam = f_re / re + 1.2 * dh_over_l / 4.0
    re_t = np.maximum(re, 2300.0)
    f_turb = 0.25 * (1.82 * np.log10(re_t) - 1.64) ** -2
    nu_turb = (
        f_turb / 2 * (re_t - 1000.0) * PRANDTL
        / (1.0 + 12.7 * np.sqrt(f_turb / 2) * (PRANDTL ** (2 / 3) - 1.0))
    )  # fmt: skip
    laminar = re < 2300.0
    return (
        np.where(laminar, nu_lam, np.maximum(nu_lam, nu_turb)),
        np.where(laminar, f_lam, np.maximum(f_lam, f_turb + 1.2 * dh_over_l / 4.0)),
    )
