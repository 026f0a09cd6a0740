"""One claim turned into equations: what every kind of claim hands to the check."""

from collections.abc import Callable
from dataclasses import dataclass

from tuftwork.claims.belief import At, Belief, Statement
from tuftwork.claims.finding import BoundCheck, Figure
from tuftwork.quantity import Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """What the claim is about, as a function of the unknowns: to be predicted from evidence."""

    label: str
    predict: Callable[[At], float]
    uses: tuple[str, ...]
    dimension: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Another reading of a claim.

    Attributes
    ----------
    name
        Line of the table of slips.
    label, text
        The slip in words, and the claim as it would read.
    statements
        The claim's equations under this reading; several where it leaves something open.
    figure
        What it would imply.
    is_possible
        Whether that is within the bounds.
    density
        Instead of statements: logarithm of the density of the figure as written, from a belief.
    """

    name: str
    label: str
    text: str
    statements: tuple[Statement, ...] = ()
    figure: Figure | None = None
    is_possible: bool = True
    density: Callable[[Belief], float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A claim as equations.

    Attributes
    ----------
    statement
        The claim as said; None where it touches no shared unknown.
    expectations
        What it is about.
    equation, working
        In words and numbers.
    implied, bounds
        Alone.
    readings
        Slips that could be behind it.
    question
        What would settle it, for the sentence to send.
    missing
        What would have to be given for the claim to be checked here, where nothing judges it.
    scale
        Density of a figure made up: one over the width of what could be said, per unit of the
        equations' differences. [-]
    """

    statement: Statement | None
    expectations: tuple[Expectation, ...]
    equation: str
    working: tuple[str, ...]
    implied: tuple[Figure, ...]
    bounds: tuple[BoundCheck, ...]
    readings: tuple[Reading, ...]
    question: str
    missing: str = ""
    scale: float = 0.2


def held_against(
    label: str, quantity: Quantity, least: float, most: float, source: str
) -> BoundCheck:
    """Return one bound held against an implied value: impossible where its whole range is out."""
    is_met = quantity.high >= least and quantity.low <= most
    return BoundCheck(label=label, quantity=quantity, least=least, most=most, is_met=is_met,
                      source=source)  # fmt: skip
