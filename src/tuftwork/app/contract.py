"""The form of every page, as types a machine can check (see ``check``).

Keys not named here are allowed: a page may say more than the app shows today.
"""

from typing import Any, Literal, NotRequired

from typing_extensions import TypedDict

from tuftwork.app.contract_car import CarPage
from tuftwork.app.contract_floor import FloorPage
from tuftwork.app.contract_lap import LapPage, TrimPage
from tuftwork.app.contract_number import Number as Number
from tuftwork.app.contract_picture import Pictures
from tuftwork.quantity import Origin

Support = Literal["measured", "computed", "claimed", "assumed", "none"]
Verdict = Literal["consistent", "needs an assumption", "contradicts", "unknown", "below noise"]
Grid = list[list[float | None]]


class Sheet(TypedDict):
    """Titles in the corner of the sheet; ``class``, the car's, is a key too."""

    title: str
    client: NotRequired[str]
    question: NotRequired[str]
    car: NotRequired[str]
    day: NotRequired[str]


class RailEntry(TypedDict):
    """One line of the rail, in the order of the work; ``results`` where a study computes it."""

    page: str
    title: str
    support: Support
    note: NotRequired[str]
    results: NotRequired[bool]


class Finding(TypedDict):
    """One thing found; ``value`` is what it is worth, ``page`` where it is shown."""

    rank: int
    title: str
    text: str
    numbers: list[Number]
    verdict: Verdict
    value: NotRequired[Number | None]
    test: NotRequired[str]
    page: NotRequired[str]
    why: NotRequired[str]


class Overview(TypedDict):
    """``/overview.json``: ``state`` maps a label to a number or a word."""

    project: Sheet
    answer: str
    findings: list[Finding]
    state: dict[str, Number | str]
    rail: list[RailEntry]
    stale: bool
    digest: NotRequired[str]
    version: NotRequired[str]


class Labelled(TypedDict):
    """A number with its name; ``ok`` where it is a bound that holds or does not."""

    label: str
    number: Number
    ok: NotRequired[bool]


class Slip(TypedDict):
    """A likely slip of the pen, with its odds (0 to 1) and what the claim would then mean."""

    label: str
    odds: float
    reading: str
    number: Number | None


class ClaimVerdict(TypedDict):
    """One claim, weighed alone and together with the rest."""

    id: str
    said: str
    by: str
    verdict: Verdict
    because: str
    equation: str
    working: list[str]
    implied: list[Labelled]
    bounds: list[Labelled]
    slips: list[Slip]
    ask: str
    why: NotRequired[str]


class Together(TypedDict):
    """All claims and the evidence at once; each conflict is a smallest contradicting set."""

    verdict: Verdict
    conflicts: list[list[str]]
    text: str


class Unknown(TypedDict):
    """A shared unknown before and after the claims and the evidence."""

    name: str
    label: str
    number: Number
    prior: Number


class Claims(TypedDict):
    """``/claims.json``."""

    claims: list[ClaimVerdict]
    together: Together
    unknowns: list[Unknown]


class BudgetRow(TypedDict):
    """One row of the budget; rows of kind ``part`` and ``interaction`` add up to ``total``."""

    name: str
    kind: Literal["part", "interaction", "total", "measured", "run", "difference"]
    front: Number
    rear: Number
    total: Number
    drag: Number
    note: NotRequired[str]


class OtherInteractions(TypedDict):
    """The sum of interactions too small to read one by one; ``names`` are rows of the budget."""

    row: BudgetRow
    names: list[str]
    said: str


class Budget(TypedDict):
    """``/budget.json?speed=…&state=…``; ``speeds`` in km/h."""

    speed: Number
    state: str
    states: list[str]
    speeds: list[float]
    rows: list[BudgetRow]
    others: NotRequired[OtherInteractions | None]
    share: Number
    measured: NotRequired[Number | None]
    at: NotRequired[str]
    kg_per_m2: NotRequired[float]


class MapAxes(TypedDict):
    """Ride heights of the map's cells [mm]."""

    front_mm: list[float]
    rear_mm: list[float]


class MapPoint(TypedDict):
    """The platform at one speed, with the loads there."""

    speed_kmh: float
    front_mm: float
    rear_mm: float
    front: NotRequired[Number]
    rear: NotRequired[Number]
    total: NotRequired[Number]
    drag: NotRequired[Number]
    share: NotRequired[Number]


class Cliff(TypedDict):
    """The line beyond which the floor loses force, and what to know about it."""

    front_mm: list[float]
    rear_mm: list[float]
    text: str


class Height(TypedDict):
    """Static ride heights [mm]."""

    front_mm: float
    rear_mm: float


class Equilibrium(TypedDict):
    """One solution of the platform loop."""

    speed_kmh: float
    front_mm: float
    rear_mm: float
    stable: bool


class MapPage(TypedDict):
    """``/map.json?state=…``; ``fields`` are [rear][front], areas in m², share in %.

    ``why_cell`` names the chain of one cell, with ``{field}``, ``{front_mm}`` and ``{rear_mm}``
    to be filled in.
    """

    axes: MapAxes
    states: list[str]
    fields: dict[str, Grid]
    path: list[MapPoint]
    static: Height
    equilibria: list[Equilibrium]
    state: NotRequired[str]
    cliff: NotRequired[Cliff | None]
    why_cell: NotRequired[str]


class StateRow(TypedDict):
    """What another state changes: with the platform settled, and ``held`` at its ride heights."""

    name: str
    gain: Number
    held: NotRequired[Number | None]
    drag: Number
    share: Number
    verdict: str


class States(TypedDict):
    """``/states.json``: every state against the baseline."""

    baseline: str
    at: str
    rows: list[StateRow]


class Use(TypedDict):
    """A use of a piece of evidence, with the chain it stands in."""

    name: str
    why: str


class Item(TypedDict):
    """One piece of evidence; a use without a chain of its own is a plain word."""

    id: str
    title: str
    kind: str
    file: str
    digest: str
    source: NotRequired[str]
    day: str
    state: Literal["registered", "not registered", "changed", "missing", "not a file"]
    used_by: list[str | Use]
    note: str


class Evidence(TypedDict):
    """``/evidence.json``: ``loose`` are files below ``evidence/`` that no row names."""

    items: list[Item]
    loose: NotRequired[list[str]]
    kinds: NotRequired[list[str]]
    next: NotRequired[str]


class RunStep(TypedDict):
    """One step of a run."""

    name: str
    cached: bool
    took_s: float


class RunEntry(TypedDict):
    """One line of the run log."""

    id: str
    when: str
    took_s: float | None
    what: str
    digest: str
    version: str
    host: str
    steps: list[RunStep]
    state: Literal["done", "cancelled", "failed", "running"]
    progress: NotRequired[float | None]
    left_s: NotRequired[float | None]
    text: NotRequired[str]


class Runs(TypedDict):
    """``/runs.json``."""

    runs: list[RunEntry]


class ChainStep(TypedDict):
    """One link of a chain: what was done, and where it stands."""

    what: str
    origin: Origin
    source: str
    place: str
    number: Number | None


class Influence(TypedDict):
    """What dominates a range: share of its variance, and what halving this input leaves of it.

    ``hint`` says in a sentence what a short label stands for; empty where the label says it.
    """

    name: str
    label: str
    hint: NotRequired[str]
    share: float
    halved: float


class Chain(TypedDict):
    """``/why/{id}.json``."""

    id: str
    title: str
    number: Number
    steps: list[ChainStep]
    dominates: list[Influence]
    decision: str
    notices: list[str]


class SectionLoad(TypedDict):
    """One load of a wing."""

    key: str
    label: str
    number: Number


class SectionTolerance(TypedDict):
    """What one build error costs; no number where the section has no answer there."""

    what: str
    error: str
    lift: Number | None
    drag: Number | None
    note: str


class Sections(TypedDict):
    """``/sections.json?wing=…&state=…``; live: ``section_at``, ``span_at``, ``better_at``."""

    wings: list[str]
    wing: str
    state: str
    states: list[str]
    speed_kmh: float
    outline: str
    is_stand_in: bool
    engine: str
    answer: str
    shape: list[dict[str, Any]]
    slots: list[dict[str, Any]]
    handles: dict[str, Any]
    polar: dict[str, Any] | None
    span: dict[str, Any] | None
    loads: list[SectionLoad]
    edge: dict[str, Any] | None
    tolerances: list[SectionTolerance]
    cautions: list[str]
    notices: list[str]


FORMS: dict[str, Any] = {
    "overview": Overview,
    "claims": Claims,
    "car": CarPage,
    "budget": Budget,
    "map": MapPage,
    "states": States,
    "evidence": Evidence,
    "runs": Runs,
    "pictures": Pictures,
    "sections": Sections,
    "floor": FloorPage,
    "lap": LapPage,
    "trim": TrimPage,
    "why": Chain,
}
