"""A cooler core: pressure loss and heat conductance against flow, however they are known."""

from dataclasses import dataclass, replace

import numpy as np

from tuftwork.cooling.coolant import liquid_state
from tuftwork.cooling.exchanger import Arrangement, effectiveness, transfer_units
from tuftwork.cooling.guard import not_negative, positive, rising, within
from tuftwork.cooling.surface import CP_AIR, Surface
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Origin

REFERENCE_DENSITY = 1.1644  # [kg/m³]  30 °C, 101325 Pa
REFERENCE_VISCOSITY = 1.8718e-5  # [Pa s]  30 °C
_VELOCITIES = np.array([0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0])  # [m/s]


@dataclass(frozen=True, slots=True, kw_only=True)
class Core:
    """A cooler core as the network needs it. Scales and areas may hold one value per draw.

    Attributes
    ----------
    face_area
        Whole face. [m²]
    linear_loss, square_loss
        Δp = a u + b u², u the face velocity, at the reference state. [Pa s/m], [Pa s²/m²]
    mass_velocity, conductance
        Air-side conductance per face area [W/(m² K)] against ρu [kg/(m² s)].
    liquid_conductance, liquid_flow
        Liquid-side conductance [W/K] at a flow [kg/s]; it follows flow to the power 0.8.
        None: the liquid side is not a resistance (or is inside the conductance given).
    arrangement
        How the streams cross.
    layback
        Angle between the face's normal and the duct's axis. [rad]
    blanked
        Share of the face covered. [-]
    loss_scale, conductance_scale
        Corrections, for draws. [-]
    origin
        How the core is known.
    """

    face_area: Numeric
    linear_loss: Numeric
    square_loss: Numeric
    mass_velocity: tuple[float, ...]
    conductance: tuple[float, ...]
    liquid_conductance: Numeric | None = None
    liquid_flow: Numeric = 1.0
    arrangement: Arrangement = "crossflow"
    layback: Numeric = 0.0
    blanked: Numeric = 0.0
    loss_scale: Numeric = 1.0
    conductance_scale: Numeric = 1.0
    origin: Origin = "computed"

    def __post_init__(self) -> None:
        positive("face_area", self.face_area, "m²")
        not_negative("linear_loss", self.linear_loss, "Pa s/m")
        positive("square_loss", self.square_loss, "Pa s²/m²")
        rising("mass_velocity", np.array(self.mass_velocity), "kg/(m² s)")
        rising("conductance", np.array(self.conductance), "W/(m² K)")
        within("blanked", self.blanked, "", (0.0, 0.95))
        within("layback", self.layback, "rad", (0.0, 1.3))
        positive("loss_scale", self.loss_scale, "")
        positive("conductance_scale", self.conductance_scale, "")

    @property
    def open_area(self) -> Numeric:
        """Face left open by the blanking [m²]."""
        return self.face_area * (1.0 - self.blanked)

    def loss_terms(self, density: Numeric, viscosity: Numeric) -> tuple[Numeric, Numeric]:
        """Return a and b of Δp = a ṁ + b ṁ|ṁ| in the core's open face.

        The linear part follows viscosity and the square part density. Layback adds the head
        of the velocity along the face, ρ/2 (u tan λ)², which the fins turn and lose.
        """
        area = self.open_area
        a = self.loss_scale * self.linear_loss * (viscosity / REFERENCE_VISCOSITY)
        b = self.loss_scale * self.square_loss * (density / REFERENCE_DENSITY)
        b = b + 0.5 * density * np.tan(self.layback) ** 2
        return a / (density * area), b / (density * area) ** 2

    def loss(self, velocity: Numeric, density: Numeric, viscosity: Numeric) -> Numeric:
        """Return the pressure loss at a velocity through the open face [Pa]."""
        a, b = self.loss_terms(density, viscosity)
        flow = density * velocity * self.open_area
        return np.asarray(a * flow + b * flow * np.abs(flow))

    def total_conductance(self, air_flow: Numeric, liquid_flow: Numeric | None = None) -> Numeric:
        """Return UA from both sides in series [W/K]; a liquid flow of None is the reference."""
        g = np.maximum(np.abs(air_flow) / self.open_area, 1e-6)
        x, y = np.log(np.array(self.mass_velocity)), np.log(np.array(self.conductance))
        log_g = np.log(g)
        inner = np.interp(log_g, x, y)
        low, high = (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2])
        inner = inner + low * np.minimum(log_g - x[0], 0.0) + high * np.maximum(log_g - x[-1], 0.0)
        air = np.exp(inner) * self.open_area * self.conductance_scale
        if self.liquid_conductance is None:
            return np.asarray(air)
        ratio = 1.0 if liquid_flow is None else np.abs(liquid_flow) / self.liquid_flow
        liquid = self.liquid_conductance * (1.0 - self.blanked) * np.maximum(ratio, 1e-6) ** 0.8
        return np.asarray(1.0 / (1.0 / air + 1.0 / liquid))

    def exchange(
        self,
        air_flow: Numeric,
        hot_capacity: Numeric,
        liquid_flow: Numeric | None = None,
        air_heat: Numeric = CP_AIR,
    ) -> Numeric:
        """Return heat per kelvin between the two inlets, ε C_min [W/K].

        Parameters
        ----------
        air_flow : (...)
            [kg/s]
        hot_capacity : (...)
            Mass flow times specific heat of the hot stream [W/K]; infinity for a fixed
            temperature.
        liquid_flow : (...)
            Flow of the hot stream where its side is a resistance. [kg/s]
        air_heat : (...)
            Heat capacity of the air, which vapour raises. [J/(kg K)]
        """
        air = np.maximum(np.abs(air_flow) * air_heat, 1e-6)
        hot = np.maximum(np.asarray(hot_capacity, dtype=float), 1e-6)
        smaller, larger = np.minimum(air, hot), np.maximum(air, hot)
        units = self.total_conductance(air_flow, liquid_flow) / smaller
        ratio = np.where(np.isinf(larger), 0.0, smaller / larger)
        return np.asarray(effectiveness(units, ratio, self.arrangement) * smaller)


def core_from_surface(surface: Surface, face_area: Numeric) -> Core:
    """Return a core from the geometry of its air side.

    The surface is rated at 0.5 to 20 m/s; the loss is fitted by a u + b u² over 2 to 12 m/s with
    least squares of the relative error.

    Parameters
    ----------
    surface
        A ``LouvredSurface`` or ``PlainSurface``.
    face_area : ()
        [m²]
    """
    state = surface.rate(_VELOCITIES, REFERENCE_DENSITY, REFERENCE_VISCOSITY)
    race = (_VELOCITIES >= 2.0) & (_VELOCITIES <= 12.0)  # wider, two terms miss by more than 3 %
    a, b = fit_loss(_VELOCITIES[race], np.asarray(state.loss)[race])
    return Core(
        face_area=face_area,
        linear_loss=a,
        square_loss=b,
        mass_velocity=tuple((REFERENCE_DENSITY * _VELOCITIES).tolist()),
        conductance=tuple(np.asarray(state.conductance).tolist()),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MakerTable:
    """A maker's sheet for one core.

    Attributes
    ----------
    velocity, loss, heat
        Face velocity [m/s], pressure loss [Pa], heat [W], one row each.
    inlet_difference
        Hot inlet minus cold inlet temperature at which the heat holds. [K]
    liquid, liquid_flow, liquid_temperature
        Fluid name, flow [kg/s], temperature [K] of the test.
    face_area
        [m²]
    air_density, air_viscosity
        Of the test. [kg/m³], [Pa s]
    liquid_share
        Share of the whole thermal resistance on the liquid side at the middle row. [-]
    """

    velocity: tuple[float, ...]
    loss: tuple[float, ...]
    heat: tuple[float, ...]
    inlet_difference: float
    liquid_flow: float
    face_area: float
    liquid: str = "water"
    liquid_temperature: float = 363.15
    air_density: float = REFERENCE_DENSITY
    air_viscosity: float = REFERENCE_VISCOSITY
    liquid_share: float = 0.2


def core_from_table(table: MakerTable, arrangement: Arrangement = "crossflow") -> Core:
    """Return a core from a maker's table of loss and heat against flow.

    Each row's heat gives ε, the exact relation gives UA, and the liquid share is taken off.
    The result then corrects for another coolant flow and air density by itself.

    Raises
    ------
    InputError
        If a column falls where it must rise, or a row's heat exceeds what its air can carry.
    """
    u = rising("velocity", np.array(table.velocity), "m/s")
    loss = rising("loss", np.array(table.loss), "Pa")
    heat = rising("heat", np.array(table.heat), "W")
    if not len(u) == len(loss) == len(heat) >= 2:
        raise InputError("table", len(u), "rows", "needs equal columns of two rows or more")
    cp = liquid_state(table.liquid, table.liquid_temperature).specific_heat
    hot = table.liquid_flow * float(cp)
    air = table.air_density * u * positive("face_area", table.face_area, "m²") * CP_AIR
    smaller, larger = np.minimum(air, hot), np.maximum(air, hot)
    eps = heat / (smaller * positive("inlet_difference", table.inlet_difference, "K"))
    if not np.all(eps < 1.0):
        row = int(np.argmax(eps)) + 1
        raise InputError(
            f"heat, row {row}", float(heat[row - 1]), "W", "exceeds what the air can carry",
            "Check the units of flow and heat.",
        )  # fmt: skip
    whole = transfer_units(eps, smaller / larger, arrangement) * smaller
    share = float(within("liquid_share", table.liquid_share, "", (0.0, 0.8)))
    liquid = float(whole[len(whole) // 2]) / share if share > 0 else None
    side = whole if liquid is None else 1.0 / (1.0 / whole - 1.0 / liquid)
    a, b = fit_loss(u, loss)
    return Core(
        face_area=table.face_area,
        linear_loss=a * REFERENCE_VISCOSITY / table.air_viscosity,
        square_loss=b * REFERENCE_DENSITY / table.air_density,
        mass_velocity=tuple((table.air_density * u).tolist()),
        conductance=tuple((side / table.face_area).tolist()),
        liquid_conductance=liquid,
        liquid_flow=table.liquid_flow,
        arrangement=arrangement,
        origin="published",
    )


def core_from_two_points(table: MakerTable, arrangement: Arrangement = "crossflow") -> Core:
    """Return a core from two test points: exact through both, power laws between.

    Raises
    ------
    InputError
        If there are not exactly two points, or the two losses cannot be one core's.
    """
    if len(table.velocity) != 2:
        raise InputError("table", len(table.velocity), "rows", "must be two")
    return replace(core_from_table(table, arrangement), origin="measured")


def with_liquid_side(core: Core, conductance: Numeric, flow: Numeric) -> Core:
    """Return the core with a liquid-side conductance [W/K] at a flow [kg/s]."""
    positive("conductance", conductance, "W/K")
    positive("flow", flow, "kg/s")
    return replace(core, liquid_conductance=conductance, liquid_flow=flow)


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeBank:
    """Tubes of a core in parallel: number, inner width, height and length [m]."""

    n_tube: int
    width: float
    height: float
    length: float


def liquid_side_conductance(
    tubes: TubeBank, fluid: str, flow: Numeric, temperature: Numeric
) -> Numeric:
    """Return the conductance between liquid and tube walls [W/K].

    Laminar flat-tube value below Re 2300, Gnielinski above; flow split evenly.

    References
    ----------
    [gnielinski1976]; [shah1978] for the laminar value.
    """
    state = liquid_state(fluid, temperature)
    area = tubes.width * tubes.height
    dh = 2.0 * area / (tubes.width + tubes.height)
    per_tube = positive("flow", flow, "kg/s") / tubes.n_tube
    re = per_tube * dh / (area * state.viscosity)
    pr = state.specific_heat * state.viscosity / state.conductivity
    re_t = np.maximum(re, 2300.0)
    f8 = (0.79 * np.log(re_t) - 1.64) ** -2 / 8.0
    turbulent = f8 * (re_t - 1000.0) * pr / (1.0 + 12.7 * np.sqrt(f8) * (pr ** (2 / 3) - 1.0))
    nusselt = np.where(re < 2300.0, 6.5, np.maximum(turbulent, 6.5))
    wetted = 2.0 * (tubes.width + tubes.height) * tubes.length * tubes.n_tube
    return np.asarray(nusselt * state.conductivity / dh * wetted)


def fit_loss(velocity: Array, loss: Array) -> tuple[float, float]:
    """Return a and b of Δp = a u + b u² fitted to a loss curve [Pa s/m], [Pa s²/m²].

    Least squares of the relative error.

    Raises
    ------
    InputError
        If no core can have the curve.
    """
    matrix = np.stack([velocity / loss, velocity**2 / loss], axis=1)
    (a, b), *_ = np.linalg.lstsq(matrix, np.ones(len(loss)), rcond=None)
    if a < 0:  # steeper than the square: within reading error only the square is left
        a, b = 0.0, float(np.sum(velocity**2 / loss) / np.sum((velocity**2 / loss) ** 2))
    if not b > 0:
        raise InputError(
            "loss", float(loss[-1]), "Pa", "rises slower than the flow",
            "Check the rows: a core's loss rises with the power 1.2 to 2.",
        )  # fmt: skip
    worst = float(np.max(np.abs((a * velocity + b * velocity**2) / loss - 1.0)))
    if worst > 0.25:
        raise InputError("loss", worst, "", "leaves a u + b u² by more than a quarter")
    return float(a), float(b)
