"""One wing of the project as a section and a lattice: what page, command and report share."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.aeromap.part import coefficients_of, spec_of
from tuftwork.car import Project, WingPart, WingSection, parts_in_state
from tuftwork.errors import NotConverged, NotCovered, UnknownName
from tuftwork.quantity import Quantity
from tuftwork.section import (
    Condition,
    Design,
    SectionPoint,
    analyse,
    edge_layer,
    gurney,
)
from tuftwork.section.point import prepare, solve_point
from tuftwork.study.section_step import design_of
from tuftwork.wing import WingResult, solve_wing, wing_system
from tuftwork.wing.bank import polar_table
from tuftwork.wing.section_table import SectionTable, drop_of
from tuftwork.wing.spec import WingSpec, wing_of

STAND_IN = "stand-in from camber and thickness"
_PANELS = (120, 100, 140)  # a point that fails on one mesh is tried on another
_KINEMATIC = 1.5e-5  # [m²/s]


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionCase:
    """A wing in a state, with a section to look at.

    Attributes
    ----------
    part
        As in the project.
    design
        Elements with their handles; ``incidence`` [rad] and ``gurney`` [chord] as set.
    spec
        The wing's best values.
    outline
        Name of the main outline.
    is_stand_in
        The project names no section: a NACA section of its camber and thickness stands in, and
        the budget uses the estimate.
    """

    part: WingPart
    design: Design
    spec: WingSpec
    outline: str
    is_stand_in: bool

    @property
    def chord(self) -> float:
        """Whole chord. [m]"""
        return self.spec.chord

    def height(self, design: Design) -> float | None:
        """Return the lowest point's height over the chord, None where the road is far. [chord]"""
        if not self.spec.is_low:
            return None
        quarter = self.spec.height - 0.75 * self.chord * float(np.sin(design.incidence))
        return quarter / self.chord - drop_of(design.stack(), design.incidence)

    def condition(self, speed: float) -> Condition:
        """Return the air on the section at a car speed [m/s]."""
        return Condition(reynolds=speed * self.chord / _KINEMATIC, turbulence=self.spec.turbulence)


def wings_of(project: Project) -> tuple[str, ...]:
    """Return the names of a project's wings."""
    return tuple(p.name for p in project.parts if isinstance(p, WingPart))


def case_of(project: Project, folder: Path | None, name: str = "", state: str = "") -> SectionCase:
    """Return a wing's case, the rearmost where none is named.

    Raises
    ------
    NotCovered
        If the project has no wing.
    UnknownName
        If it has none of this name, or no such state.
    """
    parts = {
        p.name: p for p in parts_in_state(project, project.state(state)) if isinstance(p, WingPart)
    }
    if not parts:
        raise NotCovered("No wing yet. Add a [[parts]] table of kind 'wing'.")
    wanted = name or max(parts, key=lambda n: parts[n].station.best)
    if wanted not in parts:
        raise UnknownName("wing", wanted, parts)
    return case_of_part(parts[wanted], folder)


def case_of_part(part: WingPart, folder: Path | None) -> SectionCase:
    """Return the case of one wing."""
    given = part if part.section is not None else part.with_values({"section": _stand_in(part)})
    assert given.section is not None
    spec = spec_of(given)
    design = replace(
        design_of(given.section, folder), incidence=part.incidence.best, gurney=spec.gurney
    )
    return SectionCase(
        part=part, design=design, spec=spec, outline=given.section.outline,
        is_stand_in=part.section is None,
    )  # fmt: skip


def _stand_in(part: WingPart) -> WingSection:
    own = coefficients_of("wing", "estimate")
    camber = part.camber or own["camber"].quantity
    thickness = part.thickness or own["thickness"].quantity
    m = int(np.clip(round(100 * camber.best), 0, 9))
    t = int(np.clip(round(100 * thickness.best), 6, 24))
    return WingSection(outline=f"NACA {m}{4 if m else 0}{t:02d}")


def solve_section(
    case: SectionCase,
    design: Design,
    speed: float,
    start: SectionPoint | None = None,
    *,
    is_patient: bool = True,
) -> SectionPoint:
    """Return one point of a design, from a neighbour's layers where they lead there.

    Parameters
    ----------
    case, design
        The wing and its section as moved.
    speed
        Of the car. [m/s]
    start
        A neighbour.
    is_patient
        False: a hand waits at a slider; what does not converge within about a second is refused.
    """
    stack, height = design.stack(), case.height(design)
    condition = case.condition(speed)
    if start is not None and len(start.x) == len(stack.elements):
        try:
            ready = prepare(stack, condition, height=height, n_panel=_PANELS[0])
            point = solve_point(ready, design.incidence, start.layers)
            if not point.is_settled:
                return point
        except (NotConverged, ValueError):
            pass
    last: NotConverged | None = None
    for count in _PANELS:
        try:
            if is_patient:
                return analyse(stack, condition, design.incidence, height=height, n_panel=count)
            ready = prepare(stack, condition, height=height, n_panel=count)
            return solve_point(ready, design.incidence)
        except NotConverged as why:
            last = why
    assert last is not None
    raise last


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficients:
    """Section coefficients with the gurney put on. [-]"""

    lift: float
    drag: float
    moment: float


def coefficients(point: SectionPoint, design: Design) -> Coefficients:
    """Return a point's coefficients with the design's gurney, scaled with the layer it is in."""
    lift, drag, moment = point.lift, point.drag, point.moment
    if design.gurney > 0.0:
        tab = gurney(design.gurney, layer=edge_layer(point))
        lift, drag = lift + float(tab.lift), drag + float(tab.drag)
        moment += float(tab.moment)
    return Coefficients(lift=lift, drag=drag, moment=moment)


def design_table(case: SectionCase, design: Design) -> SectionTable:
    """Return a design's polars as the wing needs them."""
    spec = replace(case.spec, gurney=design.gurney, incidence=design.incidence)
    # what stands in for an unknown section is worth no finer a table
    return polar_table(spec, design.stack(), step=np.deg2rad(2.0) if case.is_stand_in else None)


def table_tree(table: SectionTable) -> dict[str, Any]:
    """Return polars as plain arrays, for a store."""
    return {f.name: getattr(table, f.name) for f in fields(table) if f.name != "notices"} | {
        "notices": list(table.notices)
    }


def table_of(tree: Mapping[str, Any]) -> SectionTable:
    """Return stored polars."""
    return SectionTable(**{**tree, "notices": tuple(tree["notices"])})


def solve_span(case: SectionCase, design: Design, table: SectionTable) -> WingResult:
    """Return the wing with a design's section, at its incidence, in straight air."""
    spec = replace(case.spec, gurney=design.gurney, incidence=design.incidence)
    return solve_wing(
        wing_system(wing_of(spec), n_span=28), {"section": table}, incidence=design.incidence
    )


_FACTORS = {
    "lift": ("slope",),
    "drag": ("profile",),
    "downforce": ("slope", "lattice"),
    "wing drag": ("profile",),
    "angle": (),
}


def ranged(value: float, what: str, dimension: str, unit: str, place: str) -> Quantity:
    """Return a computed value with the range of the published misses, moved to their middle.

    Parameters
    ----------
    value
        As computed with the default constants. [SI]
    what
        ``"lift"``, ``"drag"``, ``"downforce"``, ``"wing drag"`` or ``"angle"``.
    """
    table = coefficients_of("wing", "engine")
    found = [table[name].quantity for name in _FACTORS[what]]
    best = value * float(np.prod([q.best for q in found])) if found else value
    arms = [0.5 * (q.high - q.low) / q.best for q in found]
    # angles: two published sets of constants lie one to two degrees apart at the stall
    arm = abs(best) * float(np.sqrt(np.sum(np.square(arms)))) if found else np.deg2rad(1.5)
    return Quantity(
        best=best, low=best - arm, high=best + arm, unit=unit, dimension=dimension,
        origin="computed", place=place,
    )  # fmt: skip


@dataclass(slots=True)
class Memory:
    """What a page asked before: tables and points by design, the oldest forgotten first."""

    most: int = 12
    tables: dict[str, SectionTable] = field(default_factory=dict)
    points: dict[str, SectionPoint] = field(default_factory=dict)

    def table(self, case: SectionCase, design: Design) -> SectionTable:
        """Return a design's polars, worked out when they are first asked for."""
        key = self.key(case, design)
        if key not in self.tables:
            while len(self.tables) >= self.most:
                del self.tables[next(iter(self.tables))]
            self.tables[key] = design_table(case, design)
        return self.tables[key]

    def key(self, case: SectionCase, design: Design) -> str:
        """Return the name a design's polars lie under."""
        return f"{case.part.name} {design_key(design, with_incidence=case.spec.is_low)}"


def design_key(design: Design, *, with_incidence: bool = True) -> str:
    """Return a short text that is the same for the same design."""
    numbers = [design.gurney, *([design.incidence] if with_incidence else [])]
    for flap in design.flaps:
        numbers += [flap.chord, flap.deflection, flap.gap, flap.overlap]
    return f"{design.main.name} " + " ".join(f"{v:.5g}" for v in numbers)
