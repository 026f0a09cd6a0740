"""What a tunnel session is made of and what comes out of it: data only."""

from collections.abc import Mapping
from dataclasses import dataclass

from tuftwork.trial.tunnel import SweepGap

FIELDS = ("front", "rear", "drag")
UNCORRECTED = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class TunnelPoint:
    """One reading, loads as the balance gave them: x rearward, z up. [m], [m/s], [N], [N m]

    ``sweep`` is up, down or empty; a tare is the supports alone.
    """

    state: str
    height_front: float
    height_rear: float
    speed: float
    drag: float
    lift: float
    pitch: float
    sweep: str = ""
    is_tare: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TunnelCase:
    """The model and its working section; lengths at model size unless said. [SI]

    Attributes
    ----------
    scale
        Model length over car length. [-]
    wheelbase, frontal_area, length
        Of the car, full size.
    section_area, section_height, section_width, volume
        Of the working section, and the model's volume.
    is_open, has_belt
        Of the working section.
    density, viscosity
        Of the tunnel's air. [kg/m³], [m²/s]
    centre_x, centre_z
        Of the balance, from mid wheelbase at the ground.
    pressure_gradient
        Of the empty section along the flow. [Pa/m]
    interference_drag, interference_lift
        Of the supports on the model, to be taken off, as areas at model size. [m²]
    layer
        Displacement thickness of the floor's layer under the model; 0 where removed.
    correction
        Key of ``BLOCKAGE_METHODS`` or none.
    pressure_doubt
        Standard uncertainty of dynamic pressure. [-]
    height_doubt
        Standard uncertainty of a set ride height, full size.
    road_speed, road_viscosity
        Where the results will be used.
    """

    scale: float
    wheelbase: float
    frontal_area: float
    length: float
    section_height: float
    section_width: float
    volume: float
    density: float
    viscosity: float
    is_open: bool = False
    has_belt: bool = True
    centre_x: float = 0.0
    centre_z: float = 0.0
    pressure_gradient: float = 0.0
    interference_drag: float = 0.0
    interference_lift: float = 0.0
    layer: float = 0.0
    correction: str = UNCORRECTED
    pressure_doubt: float = 0.003
    height_doubt: float = 0.2e-3
    road_speed: float = 60.0
    road_viscosity: float = 1.5e-5

    @property
    def section_area(self) -> float:
        """Of the working section. [m²]"""
        return self.section_height * self.section_width


@dataclass(frozen=True, slots=True, kw_only=True)
class TunnelRow:
    """One state at one pair of ride heights; areas at full size. [m], [m²]

    Attributes
    ----------
    front, rear, drag
        CzSf, CzSr, CxS with the chosen correction.
    uncertainty
        Field → combined standard uncertainty.
    lines
        What it rests on → field → standard uncertainty.
    count
        Readings.
    gap
        CzS of the down sweep less the up sweep, not a number where only one was run.
    """

    state: str
    height_front: float
    height_rear: float
    speed: float
    count: int
    front: float
    rear: float
    drag: float
    uncertainty: Mapping[str, float]
    lines: Mapping[str, Mapping[str, float]]
    gap: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True)
class TunnelResult:
    """A session.

    Attributes
    ----------
    rows
        Results.
    scatter
        Field → standard deviation of one reading. [m²]
    dof
        Degrees of freedom of the scatter.
    methods
        Correction → pressure ratio and CxS, CzS of the first row by it, side by side.
    sweeps
        State → largest gap between up and down sweep.
    reynolds
        Of the test and of the road, on car length.
    notices
        What a reader must be told.
    """

    rows: tuple[TunnelRow, ...]
    scatter: Mapping[str, float]
    dof: int
    methods: tuple[Mapping[str, float | str], ...]
    sweeps: Mapping[str, SweepGap]
    reynolds: tuple[float, float]
    notices: tuple[str, ...] = ()

    @property
    def is_repeated(self) -> bool:
        """Whether the session says anything of its own noise."""
        return self.dof > 0
