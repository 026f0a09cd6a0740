"""Parts of an air network. Each knows its own law; the solver asks nothing else of it."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from tuftwork.cooling.core import Core
from tuftwork.cooling.duct import Member, friction_factor
from tuftwork.cooling.guard import not_negative, positive, within
from tuftwork.cooling.opening import (
    discharge_band,
    jet_recovery_band,
    lip_loss,
    pressure_band,
    recovery_band,
    recovery_change,
)
from tuftwork.cooling.surroundings import OUTSIDE, Law, Stream
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric

_SLOW = 0.01  # [m/s]  below this a square law turns linear, so that its slope never vanishes
_FLOOR = 1e-5  # [-]  least K of any part, for the same reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Inlet:
    """An opening that faces or drinks the free stream.

    Attributes
    ----------
    name, end
        Its name, and the node it feeds.
    area
        Of the mouth. [m²]
    kind
        One of ``inlet_kinds()``.
    recovery
        Share of the free stream's head that reaches the mouth. None: the kind's default. [-]
    loss
        K behind the mouth on its own head: bend, screen, diffuser or step. [-]
    widens_to, widening
        Area of the cores' face that it opens onto [m²], and the share of a sudden step's loss
        (1 - A/A_face)² that this costs on its own head [-]. None: it does not widen.
    layer_over_depth, yaw
        Of a submerged inlet: boundary layer over depth [-], angle of the stream [rad].
    height
        Of the mouth above ground. [m]
    """

    start: ClassVar[str] = OUTSIDE
    name: str
    end: str
    area: Numeric
    kind: str = "leading-edge"
    recovery: Numeric | None = None
    loss: Numeric = 0.0
    widens_to: Numeric | None = None
    widening: Numeric = 0.0
    layer_over_depth: float = 0.0
    yaw: float = 0.0
    height: float = 0.4

    def __post_init__(self) -> None:
        positive(f"{self.name}: area", self.area, "m²", "An opening needs an area.")
        not_negative(f"{self.name}: loss", self.loss, "")
        recovery_band(self.kind)
        if self.recovery is not None:
            within(f"{self.name}: recovery", self.recovery, "", (-1.5, 1.02))

    def law(self, stream: Stream) -> Law:
        """Recovered head drives; the lip loses ρ/2 (u - V)² once it must suck faster than V."""
        around, rho = stream.around, stream.density(stream.inlet)
        ratio = self.velocity_ratio(stream)
        eta = self.design_recovery() + recovery_change(self.kind, ratio, self.yaw)
        per_area = 1.0 / (2.0 * rho * self.area**2)
        return Law(
            a=0.0,
            b=(self.loss + self.step_loss() + _FLOOR) * per_area,
            source=eta * around.head,
            c=lip_loss(self.kind) * per_area,
            m0=rho * self.area * around.speed,
            slow=_SLOW * rho * self.area,
        )

    def step_loss(self) -> Numeric:
        """Return K of the widening to the cores' face, on the mouth's head [-]."""
        if self.widens_to is None:
            return 0.0
        narrowing = np.minimum(np.asarray(self.area) / self.widens_to, 1.0)
        return np.asarray(self.widening * (1.0 - narrowing) ** 2)

    def design_recovery(self) -> Numeric:
        """Return the recovery at the design flow [-]."""
        if self.recovery is not None:
            return self.recovery
        return recovery_band(self.kind, self.layer_over_depth).best

    def velocity_ratio(self, stream: Stream) -> Array:
        """Return mouth velocity over the car's [-]."""
        rho = stream.density(stream.inlet)
        return np.asarray(
            np.abs(stream.flow) / (rho * self.area * np.maximum(stream.around.speed, 0.1))
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Exit:
    """An opening by which air leaves.

    Attributes
    ----------
    name, start, end
        Its name, the node it empties, and where: the outside, or a wheel well that is a node
        (whose own pressure then holds, not the place's).
    net_area
        Throats only, not the cut-out. [m²]
    place
        One of ``exit_places()``; gives what is left None.
    pressure
        Surface pressure coefficient. [-]
    discharge
        On the net area. [-]
    angle
        Of the jet above the rearward direction: 0 along the stream, π/2 straight up. [rad]
    x, height
        Place in the car's axes: rear of mid wheelbase, above ground. [m]
    surface_gain
        Downforce area its jet adds per net area at jet velocity equal to the car's. None: the
        place's prior. [-]
    recovery
        Share of the jet's head that stays speed along the stream; what is lost is drag. None: the
        place's, which is all of it but in a wheel well. [-]
    """

    name: str
    start: str
    net_area: Numeric
    end: str = OUTSIDE
    place: str = "bonnet"
    pressure: Numeric | None = None
    discharge: Numeric | None = None
    angle: float = 0.5
    x: float = -1.3
    height: float = 0.7
    surface_gain: Numeric | None = None
    recovery: Numeric | None = None

    def __post_init__(self) -> None:
        positive(f"{self.name}: net_area", self.net_area, "m²", "An opening needs an area.")
        pressure_band(self.place)
        if self.pressure is not None:
            within(f"{self.name}: pressure", self.pressure, "", (-5.0, 1.0))
        if self.discharge is not None:
            within(f"{self.name}: discharge", self.discharge, "", (0.05, 1.0))
        if self.recovery is not None:
            within(f"{self.name}: recovery", self.recovery, "", (0.0, 1.0))

    def law(self, stream: Stream) -> Law:
        """Lose the jet's head; the surface pressure pulls or holds back."""
        rho = stream.density(stream.outlet)
        area = self.jet_area()
        return Law(
            a=0.0,
            b=1.0 / (2.0 * rho * area**2),
            source=-self.surface_pressure() * stream.around.head if self.end == OUTSIDE else 0.0,
            slow=_SLOW * rho * area,
        )

    def jet_area(self) -> Numeric:
        """Return discharge coefficient times net area [m²]."""
        c = discharge_band(self.place).best if self.discharge is None else self.discharge
        return c * self.net_area

    def jet_recovery(self) -> Numeric:
        """Return the share of the jet's head that stays speed along the stream [-]."""
        if self.recovery is not None:
            return self.recovery
        band = jet_recovery_band(self.place) if self.end == OUTSIDE else None
        return 1.0 if band is None else band.best

    def surface_pressure(self) -> Numeric:
        """Return the surface pressure coefficient [-]."""
        return pressure_band(self.place).best if self.pressure is None else self.pressure


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooler:
    """A core between two nodes. Its heat comes from loops and streams of the system.

    Attributes
    ----------
    name, start, end
        Its name and nodes.
    core
        What it is.
    is_loss_at_inlet
        The core's loss holds at the inlet's density, heating included in it. Else it holds at
        the mean density and the momentum that heating adds is counted beside it.
    """

    name: str
    start: str
    end: str
    core: Core
    is_loss_at_inlet: bool = False

    def law(self, stream: Stream) -> Law:
        """Core loss at the mean state, and half the momentum that heating adds."""
        rho_1, rho_2 = stream.density(stream.inlet), stream.density(stream.outlet)
        mean = stream.inlet if self.is_loss_at_inlet else 0.5 * (stream.inlet + stream.outlet)
        a, b = self.core.loss_terms(stream.density(mean), stream.viscosity(mean))
        heating = 0.5 * np.maximum(1.0 / rho_2 - 1.0 / rho_1, 0.0) / self.core.open_area**2
        heating = heating * (not self.is_loss_at_inlet)
        area = self.core.open_area
        return Law(a=a, b=b + heating, slow=_SLOW * rho_1 * area)


@dataclass(frozen=True, slots=True, kw_only=True)
class Duct:
    """A duct with friction and fittings; length 0 makes it a plain restriction.

    Attributes
    ----------
    name, start, end
        Its name and nodes.
    area, hydraulic_diameter, length
        [m²], [m] (None: of a round duct), [m].
    loss
        Sum of K on its own head. [-]
    roughness
        [m]
    """

    name: str
    start: str
    end: str
    area: Numeric
    loss: Numeric = 0.0
    length: Numeric = 0.0
    hydraulic_diameter: Numeric | None = None
    roughness: float = 5e-5

    def __post_init__(self) -> None:
        positive(f"{self.name}: area", self.area, "m²", "A duct needs an area.")
        not_negative(f"{self.name}: loss", self.loss, "")
        not_negative(f"{self.name}: length", self.length, "m")

    def law(self, stream: Stream) -> Law:
        """K and friction on the duct's own head."""
        rho, area = stream.density(stream.inlet), self.area
        dh = self.hydraulic_diameter
        if dh is None:
            dh = np.sqrt(4.0 * np.asarray(area) / np.pi)
        re = np.abs(stream.flow) * dh / (area * stream.viscosity(stream.inlet))
        f = friction_factor(re, self.roughness / dh)
        k = self.loss + f * self.length / dh + _FLOOR
        return Law(a=0.0, b=k / (2.0 * rho * area**2), slow=_SLOW * rho * area)


def member_duct(member: Member, name: str, start: str, end: str) -> Duct:
    """Return a hollow chassis member as a duct of the net."""
    return Duct(
        name=name, start=start, end=end, area=member.area, loss=member.fitting_loss,
        length=member.length, hydraulic_diameter=member.hydraulic_diameter,
        roughness=member.roughness,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Leak:
    """A gap: around a core, between duct and body, or out of a wheel well.

    Attributes
    ----------
    name, start, end
        ``end`` may be ``"outside"``, where ``pressure`` then holds.
    area, discharge
        Of the gap. [m²], [-]
    pressure
        Surface pressure coefficient outside. [-]
    """

    name: str
    start: str
    end: str
    area: Numeric
    discharge: Numeric = 0.6
    pressure: Numeric = 0.0

    def __post_init__(self) -> None:
        positive(f"{self.name}: area", self.area, "m²", "A leak needs an area; leave it out.")

    def law(self, stream: Stream) -> Law:
        """Treat it as a sharp orifice both ways."""
        rho = stream.density(stream.inlet)
        area = self.discharge * self.area
        outside = self.pressure * stream.around.head
        source = outside if self.start == OUTSIDE else -outside if self.end == OUTSIDE else 0.0
        return Law(a=0.0, b=0.5 / (rho * area**2), source=source, slow=_SLOW * rho * area)

    def jet_area(self) -> Numeric:
        """Return discharge coefficient times area [m²]."""
        return self.discharge * self.area

    def surface_pressure(self) -> Numeric:
        """Return the surface pressure coefficient outside [-]."""
        return self.pressure


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """A fan between two nodes, from its curve.

    Attributes
    ----------
    name, start, end
        Its name and nodes.
    volume_flow, rise
        The curve: flow from 0 up [m³/s] against a rise that falls [Pa].
    curve_density
        Of the air in which the curve holds. [kg/m³]
    running
        Share of full speed, 0 to 1. [-]
    """

    name: str
    start: str
    end: str
    volume_flow: tuple[float, ...]
    rise: tuple[float, ...]
    curve_density: float = 1.2
    running: Numeric = 1.0

    def __post_init__(self) -> None:
        flow, rise = np.array(self.volume_flow), np.array(self.rise)
        if len(flow) != len(rise) or len(flow) < 2:
            raise InputError(f"{self.name}: curve", len(flow), "points", "needs pairs, at least 2")
        if not (np.all(np.diff(flow) > 0) and np.all(np.diff(rise) < 0)):
            raise InputError(
                f"{self.name}: rise", float(rise[0]), "Pa", "must fall as the flow rises",
                "Leave out the part left of the curve's hump.",
            )  # fmt: skip
        within(f"{self.name}: running", self.running, "", (0.0, 1.0))

    def law(self, stream: Stream) -> Law:
        """Rise p0 n² - p1 n Q - p2 Q|Q| with the fan laws; a stopped fan is its own loss."""
        p0, p1, p2 = self.fit()
        rho = stream.density(stream.inlet)
        n, ratio = np.asarray(self.running), rho / self.curve_density
        return Law(
            a=ratio * p1 * n / rho,
            b=ratio * p2 / rho**2,
            source=ratio * p0 * n**2,
            slow=0.001 * rho * self.volume_flow[-1],
        )

    def fit(self) -> tuple[float, float, float]:
        """Return p0, p1, p2 of the curve by non-negative least squares."""
        from scipy.optimize import nnls

        flow, rise = np.array(self.volume_flow), np.array(self.rise)
        matrix = np.stack([np.ones(len(flow)), -flow, -(flow**2)], axis=1)
        top = float(np.max(rise))
        (p0, p1, p2), _ = nnls(matrix, rise)
        least = 0.02 * top / flow[-1] ** 2  # a stopped fan still blocks
        return float(p0), float(p1), float(max(p2, least))


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """Air that something outside the net pushes into a node, whatever the pressure there.

    Attributes
    ----------
    name, end
        Its name, and the node it feeds.
    flow_area
        Its volume flow, as ambient air, over the car's speed. [m²]
    """

    start: ClassVar[str] = OUTSIDE
    name: str
    end: str
    flow_area: Numeric

    def __post_init__(self) -> None:
        not_negative(f"{self.name}: flow", self.flow_area, "m²")

    def law(self, stream: Stream) -> Law:
        """Return the flow as given (``slow`` below 0): no pressure moves it."""
        around = stream.around
        return Law(a=0.0, b=0.0, m0=around.density * around.speed * self.flow_area, slow=-1.0)


Element = Inlet | Exit | Cooler | Duct | Leak | Fan | Feed
