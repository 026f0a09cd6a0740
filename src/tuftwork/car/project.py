"""One project: everything known of one car, as the project file says it. Data only."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, model_validator

from tuftwork.car.brake import Brakes
from tuftwork.car.claim import Claim, Evidence, Measured, Opening
from tuftwork.car.cooling import Cooling
from tuftwork.car.crossed import CrossedNames, crossings
from tuftwork.car.device import Device, Schedule
from tuftwork.car.flow import Flow
from tuftwork.car.lap import Lap
from tuftwork.car.part import Part
from tuftwork.car.reading import Pictures
from tuftwork.car.session import FlowNote, Hypothesis, PressureTest, TunnelSession
from tuftwork.car.table import Table, number
from tuftwork.car.trial import TrialDay, TrialPlan
from tuftwork.errors import UnknownName
from tuftwork.quantity import Quantity

FORM = 1
"""Version of the project file's form; readers convert older ones by named functions."""

_Name = Annotated[str, Field(min_length=1, max_length=80)]


class About(Table):
    """What the work is about."""

    title: Annotated[_Name, Field(description="Of the report")]
    client: Annotated[str, Field(description="Who asks")] = ""
    author: Annotated[str, Field(description="Who answers")] = ""
    question: Annotated[str, Field(description="What is asked, in a sentence")] = ""
    day: Annotated[date | None, Field(description="Date of the study")] = None
    confidential: Annotated[
        bool, Field(strict=True, description="Printed on every page of the report")
    ] = True


class Spring(Table):
    """A bump stop or packer on one axle: works after some travel."""

    gap: Annotated[
        Quantity,
        number("height", least=0.0),
        Field(description="Travel from rest before it touches"),
    ]
    rate: Annotated[
        Quantity,
        number("stiffness", positive=True),
        Field(description="Added to the whole axle, both sides together"),
    ]


class Axle(Table):
    """One axle's springs and tyres; rates are per wheel."""

    track: Annotated[
        Quantity, number("length", positive=True), Field(description="Between tyre centres")
    ]
    wheel_rate: Annotated[
        Quantity, number("stiffness", positive=True), Field(description="At the wheel, per wheel")
    ]
    tyre_rate: Annotated[
        Quantity, number("stiffness", positive=True), Field(description="Per tyre")
    ]
    tyre_diameter: Annotated[
        Quantity, number("height", positive=True), Field(description="Unloaded")
    ]
    tyre_growth: Annotated[
        Quantity | None,
        number("height", least=0.0),
        Field(description="Radius gained at ``growth_speed``; grows with the square of speed"),
    ] = None
    growth_speed: Annotated[
        Quantity | None,
        number("speed", positive=True),
        Field(description="Speed of ``tyre_growth``"),
    ] = None
    stops: Annotated[
        tuple[Spring, ...], Field(description="Bump stops and packers, in any order")
    ] = ()
    damping: Annotated[
        Quantity | None,
        number("damping", positive=True),
        Field(description="Of the damper at the wheel, small strokes, per wheel"),
    ] = None
    unsprung_mass: Annotated[
        Quantity | None,
        number("mass", positive=True),
        Field(description="Wheels, brakes and half the links, both sides together"),
    ] = None


class Car(Table):
    """What does not change with state or load."""

    name: Annotated[_Name, Field(description="What the car is called")]
    category: Annotated[str, Field(alias="class", description="Class it races in")] = ""
    wheelbase: Annotated[
        Quantity, number("length", positive=True, most=6.0), Field(description="Axle to axle")
    ]
    frontal_area: Annotated[
        Quantity,
        number("area", positive=True, most=12.0),
        Field(description="Projected from ahead"),
    ]
    power: Annotated[
        Quantity | None, number("power", positive=True), Field(description="At the crankshaft")
    ] = None
    aspiration: Annotated[
        Literal["atmospheric", "turbocharged", "electric"],
        Field(
            description="How power follows the air: an atmospheric engine loses it with the air's "
            "density, from its rating at 99 kPa of dry air and 25 °C; the others keep it"
        ),
    ] = "atmospheric"
    driveline: Annotated[
        Quantity | None,
        number("ratio", positive=True, most=1.0),
        Field(description="Power at the wheels over power at the crankshaft"),
    ] = None
    rolling_resistance: Annotated[
        Quantity | None,
        number("ratio", positive=True, most=0.1),
        Field(description="Force over load"),
    ] = None
    front: Annotated[Axle | None, Field(description="Front axle")] = None
    rear: Annotated[Axle | None, Field(description="Rear axle")] = None


class MassState(Table):
    """A mass of the car and the ride heights it then has at rest."""

    name: Annotated[_Name, Field(description="What you call it: race, on the sheet, full fuel")]
    mass: Annotated[
        Quantity,
        number("mass", positive=True, most=20_000.0),
        Field(description="With everything in it"),
    ]
    front_weight: Annotated[
        Quantity,
        number("share", positive=True, most=1.0),
        Field(description="Share of the weight in front"),
    ]
    cg_height: Annotated[
        Quantity | None,
        number("height", positive=True),
        Field(description="Centre of gravity above ground"),
    ] = None
    pitch_inertia: Annotated[
        Quantity | None,
        number("inertia", positive=True),
        Field(description="Of the car about its own transverse axis"),
    ] = None
    ride_height_front: Annotated[
        Quantity,
        number("height", positive=True, most=1.0),
        Field(description="At rest, front axle line"),
    ]
    ride_height_rear: Annotated[
        Quantity,
        number("height", positive=True, most=1.0),
        Field(description="At rest, rear axle line"),
    ]
    note: Annotated[str, Field(description="Anything worth remembering")] = ""


class State(Table):
    """A setting of the car: named values of its parts' keys."""

    name: Annotated[_Name, Field(description="What you call it")]
    values: Annotated[
        dict[str, str | float],
        Field(alias="set", description="Part and key → value: ``rear wing.incidence`` → ``12 °``"),
    ] = {}
    ride_height_front: Annotated[
        Quantity | None,
        number("height", positive=True, most=1.0),
        Field(description="At rest, where this state has its own"),
    ] = None
    ride_height_rear: Annotated[
        Quantity | None,
        number("height", positive=True, most=1.0),
        Field(description="At rest, where this state has its own"),
    ] = None
    without: Annotated[
        tuple[str, ...], Field(max_length=20, description="Parts that are gone in this state")
    ] = ()
    stuck: Annotated[bool, Field(strict=True, description="A device that failed in place")] = False
    note: Annotated[str, Field(description="Anything worth remembering")] = ""


class Weather(Table):
    """The air the study is made for."""

    temperature: Annotated[
        Quantity, number("temperature", least=200.0, most=340.0), Field(description="Of the air")
    ]
    pressure: Annotated[
        Quantity | None,
        number("pressure", least=40e3, most=115e3),
        Field(description="At the place, not reduced to sea level"),
    ] = None
    altitude: Annotated[
        Quantity | None,
        number("length", least=-500.0, most=6000.0),
        Field(description="Of the place, where no pressure was read"),
    ] = None
    humidity: Annotated[
        Quantity | None, number("humidity", least=0.0, most=1.0), Field(description="Relative")
    ] = None

    @model_validator(mode="after")
    def _one_pressure(self) -> "Weather":
        """Refuse an altitude that changes nothing."""
        if self.pressure is not None and self.altitude is not None:
            raise ValueError("'altitude' changes nothing beside 'pressure'; give one of the two")
        return self


class StudySettings(Table):
    """How the study is run."""

    speeds: Annotated[
        tuple[Annotated[Quantity, number("speed", positive=True)], ...],
        Field(min_length=1, max_length=60, description="At which answers are given"),
    ]
    draws: Annotated[
        int, Field(strict=True, ge=32, le=8192, description="Members of the ensemble")
    ] = 256
    seed: Annotated[int, Field(strict=True, ge=0, description="Of the draws")] = 20260
    map_points: Annotated[
        int, Field(strict=True, ge=5, le=60, description="Ride heights per axis of the map")
    ] = 15
    mass_state: Annotated[
        str, Field(description="Mass state of the study; the first unless given")
    ] = ""
    tie_to_measured: Annotated[
        bool, Field(strict=True, description="Let what was measured narrow the ensemble")
    ] = True


class Project(Table):
    """Everything in ``project.toml``."""

    form: Annotated[Literal[1], Field(description="Version of this file's form")]
    about: Annotated[About, Field(description="What the work is about")]
    car: Annotated[Car, Field(description="The car")]
    mass_states: Annotated[
        tuple[MassState, ...], Field(min_length=1, description="Mass states, the usual one first")
    ]
    weather: Annotated[Weather, Field(description="The air")]
    parts: Annotated[tuple[Part, ...], Field(description="Parts that carry load")] = ()
    states: Annotated[
        tuple[State, ...], Field(description="States; the first is the baseline")
    ] = ()
    interactions: Annotated[
        dict[str, str],
        Field(description="Your own values for what parts do to each other, by coefficient"),
    ] = {}
    devices: Annotated[tuple[Device, ...], Field(description="Devices that move")] = ()
    schedules: Annotated[tuple[Schedule, ...], Field(description="When devices go where")] = ()
    openings: Annotated[tuple[Opening, ...], Field(description="Openings of the body")] = ()
    claims: Annotated[tuple[Claim, ...], Field(description="What has been said")] = ()
    evidence: Annotated[tuple[Evidence, ...], Field(description="What the study rests on")] = ()
    measured: Annotated[tuple[Measured, ...], Field(description="Measured loads")] = ()
    cooling: Annotated[Cooling | None, Field(description="Air through the car")] = None
    brakes: Annotated[Brakes | None, Field(description="Brakes over a lap")] = None
    reading: Annotated[Pictures | None, Field(description="What was read from pictures")] = None
    days: Annotated[tuple[TrialDay, ...], Field(description="Days of measuring")] = ()
    tunnels: Annotated[
        tuple[TunnelSession, ...], Field(description="Sessions in a wind tunnel")
    ] = ()
    pressures: Annotated[
        tuple[PressureTest, ...], Field(description="Taps and rakes on the car")
    ] = ()
    hypotheses: Annotated[
        tuple[Hypothesis, ...], Field(description="What may be so about the flow")
    ] = ()
    flow_notes: Annotated[
        tuple[FlowNote, ...], Field(description="What tufts, paint and smoke showed")
    ] = ()
    plan: Annotated[TrialPlan | None, Field(description="The next test day")] = None
    lap: Annotated[Lap | None, Field(description="Circuits, tyres, driver and trim")] = None
    flow: Annotated[Flow | None, Field(description="The whole car in three dimensions")] = None
    study: Annotated[StudySettings, Field(description="How the study is run")]

    @model_validator(mode="after")
    def _names_meet(self) -> "Project":
        """Refuse names used twice and names that lead nowhere; the file reader adds the lines."""
        found = crossings(self)
        if found:
            raise CrossedNames(found)
        return self

    def part(self, name: str) -> Part:
        """Return the part called ``name``."""
        found = {part.name: part for part in self.parts}
        if name not in found:
            raise UnknownName("part", name, found)
        return found[name]

    def device(self, name: str) -> Device:
        """Return the device called ``name``."""
        found = {device.name: device for device in self.devices}
        if name not in found:
            raise UnknownName("device", name, found)
        return found[name]

    def mass_state(self, name: str = "") -> MassState:
        """Return a mass state, the study's where no name is given."""
        wanted = name or self.study.mass_state or self.mass_states[0].name
        found = {state.name: state for state in self.mass_states}
        if wanted not in found:
            raise UnknownName("mass state", wanted, found)
        return found[wanted]

    def state(self, name: str = "") -> State:
        """Return a state, the baseline where no name is given."""
        if not self.states and not name:
            return State(name="baseline")
        found = {state.name: state for state in self.states}
        wanted = name or self.states[0].name
        if wanted not in found:
            raise UnknownName("state", wanted, found)
        return found[wanted]
