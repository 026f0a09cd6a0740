"""What the check of claims says: plain data for the report, the pages and the JSON."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from jaxtyping import Float

from tuftwork.quantity import Quantity, Source

Verdict = Literal["consistent", "needs an assumption", "contradicts", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed:
    """What the study's engines say of the car at one speed, before measurements narrowed it.

    Attributes
    ----------
    speed
        [m/s]
    front, rear, drag : (n_draw,)
        CzS of the axles and CxS; None where measured rows say it. [m²]
    parts
        Name of a part → its CzS, ``(n_draw,)``. [m²]
    state
        State of the car; the first unless given.
    """

    speed: float
    front: Float[np.ndarray, " n_draw"] | None = None
    rear: Float[np.ndarray, " n_draw"] | None = None
    drag: Float[np.ndarray, " n_draw"] | None = None
    parts: tuple[tuple[str, Float[np.ndarray, " n_draw"]], ...] = ()
    state: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """What a state changes against another at one speed, by the study's own draws.

    Attributes
    ----------
    state, against
        Names of states.
    speed
        [m/s]
    downforce, drag : (n_draw,)
        Change of CzS and of CxS; what is uncertain of both cars cancels. [m²]
    """

    state: str
    against: str
    speed: float
    downforce: Float[np.ndarray, " n_draw"]
    drag: Float[np.ndarray, " n_draw"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lapped:
    """What the study's laps of one circuit say.

    Attributes
    ----------
    circuit
        Its name.
    lap_time : (n_draw,)
        Of the baseline. [s]
    worth : (n_draw,)
        Seconds gained for each m² of CzS at the car's own balance. [s/m²]
    gained
        Name of a state → seconds it gains against the baseline, by the draws that have a lap of
        both, ``(n,)``. [s]
    """

    circuit: str
    lap_time: Float[np.ndarray, " n_draw"]
    worth: Float[np.ndarray, " n_draw"]
    gained: Mapping[str, Float[np.ndarray, " _"]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number with its label."""

    label: str
    quantity: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class BoundCheck:
    """One bound, held against what the claim implies.

    Attributes
    ----------
    label
        What is bounded, and by what.
    quantity
        What the claim implies.
    least, most
        The bound. [SI]
    is_met
        Whether the whole 80 % range can lie within it.
    source
        Of the bound.
    """

    label: str
    quantity: Quantity
    least: float
    most: float
    is_met: bool
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """A likely slip behind a figure, tested through the same equations.

    Attributes
    ----------
    name, label
        Of the slip, in short and in words.
    reading
        The claim as it would then read.
    odds
        Share of the belief it gets among all readings, "none of these" included, and "as said"
        where that may still hold. [-]
    figure
        What the claim then implies.
    is_possible
        Whether that is within the bounds.
    """

    name: str
    label: str
    reading: str
    odds: float
    figure: Figure | None
    is_possible: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimFinding:
    """The verdict on one claim.

    Attributes
    ----------
    id, kind, said, by
        As in the project.
    verdict, because
        And its reason in a sentence.
    equation, working
        The equation used, and the numbers put into it, line by line.
    implied
        What the claim says in the shared unknowns.
    expected
        What the evidence at hand says of it; empty where nothing is at hand.
    bounds
        Alone, against what its kind of part can do.
    distance
        From the evidence, in standard deviations; None where nothing is at hand. [-]
    conflicts
        Smallest sets of ids, this claim among them, that cannot all be true.
    assumption
        What would have to be true, where it needs an assumption.
    slips
        Readings that would fit better, the likeliest first; empty where it is consistent.
    ask
        One sentence ready to send to whoever made the claim.
    """

    id: str
    kind: str
    said: str
    by: str
    verdict: Verdict
    because: str
    equation: str
    working: tuple[str, ...]
    implied: tuple[Figure, ...]
    expected: tuple[Figure, ...]
    bounds: tuple[BoundCheck, ...]
    distance: float | None
    conflicts: tuple[tuple[str, ...], ...]
    assumption: str
    slips: tuple[Slip, ...]
    ask: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """All claims at once, with the evidence."""

    verdict: Verdict
    conflicts: tuple[tuple[str, ...], ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnknownFinding:
    """One shared unknown: what was believed before, and after the evidence."""

    name: str
    label: str
    prior: Quantity
    quantity: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimsReport:
    """Every claim's verdict, the set as a whole, and the unknowns they share."""

    claims: tuple[ClaimFinding, ...]
    together: Together
    unknowns: tuple[UnknownFinding, ...]
    sources: tuple[Source, ...] = ()
    notices: tuple[str, ...] = ()

    def of(self, claim: str) -> ClaimFinding:
        """Return the finding of one claim by its id."""
        from tuftwork.errors import UnknownName

        found = {finding.id: finding for finding in self.claims}
        if claim not in found:
            raise UnknownName("claim", claim, found)
        return found[claim]
