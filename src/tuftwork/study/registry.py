"""Where a job plugs into the study: pages, live answers, steps, inputs, chains, findings.

A new job adds lines here and one module of its own; nothing else in this package moves. Makers are
named by ``module:function`` and imported when they are first used, so that one page does not load
every engine.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class PageEntry:
    """One page of the rail, in the order of the work.

    Attributes
    ----------
    name, title
        Address and what the rail says.
    make
        ``module:function`` taking a :class:`~tuftwork.study.answers.Answers` (or an ``OpenProject``
        or ``Ledger``, by ``takes``) and the query, and returning the page's tree.
    takes
        What ``make`` is given.
    query
        Keys a reader may ask with.
    support
        ``module:function`` taking project and answers (or None) and returning how well evidence
        supports the page and a short note for the rail.
    """

    name: str
    title: str
    make: str
    takes: str = "answers"
    query: tuple[str, ...] = ()
    support: str = "tuftwork.study.support:of_model"


PAGES: tuple[PageEntry, ...] = (
    PageEntry(
        name="overview", title="Overview", make="tuftwork.study.overview:overview_page",
        takes="bench", support="tuftwork.study.support:of_model",
    ),
    PageEntry(
        name="evidence", title="Evidence", make="tuftwork.study.register:evidence_page",
        takes="opened", support="tuftwork.study.support:of_evidence",
    ),
    PageEntry(
        name="claims", title="Claims", make="tuftwork.study.claimed:claims_tree",
        support="tuftwork.study.support:of_claims",
    ),
    PageEntry(
        name="budget", title="Budget", make="tuftwork.study.page:budget_page",
        query=("speed", "state"), support="tuftwork.study.support:of_parts",
    ),
    PageEntry(
        name="map", title="Map", make="tuftwork.study.page:map_page", query=("state",),
        support="tuftwork.study.support:of_map",
    ),
    PageEntry(
        name="states", title="States", make="tuftwork.study.page:states_page",
        support="tuftwork.study.support:of_states",
    ),
    PageEntry(
        name="cooling", title="Cooling", make="tuftwork.study.cooling_page:cooling_page",
        support="tuftwork.study.cooling_page:cooling_support",
    ),
    PageEntry(
        name="brakes", title="Brakes", make="tuftwork.study.brake_page:brakes_page",
        support="tuftwork.study.brake_page:brake_support",
    ),
    PageEntry(
        name="runs", title="Runs", make="tuftwork.study.register:runs_page", takes="ledger",
        support="tuftwork.study.support:of_runs",
    ),
)  # fmt: skip
"""Every page, in the order of the rail."""

LIVE: Mapping[str, str] = {
    "path_at": "tuftwork.study.live:live_page",
    "cooling_at": "tuftwork.study.cooling_live:cooling_live",
    "brakes_at": "tuftwork.study.brake_page:brakes_live",
}
"""Live request → ``module:function`` taking answers and message, returning header and arrays."""

CHAINS: Mapping[str, str] = {
    "ride": "tuftwork.study.page:ride_chain",
    "budget": "tuftwork.study.page:budget_chain",
    "cell": "tuftwork.study.page:cell_chain",
    "state": "tuftwork.study.page:state_chain",
    "lost": "tuftwork.study.finding:lost_chain",
    "live": "tuftwork.study.live:live_chain",
    "input": "tuftwork.study.register:input_chain",
    "claim": "tuftwork.study.claimed:claim_chain",
    "cooling": "tuftwork.study.cooling_page:cooling_chain",
    "cooled": "tuftwork.study.cooling_live:cooled_chain",
    "brakes": "tuftwork.study.brake_page:brake_chain",
}
"""First word of a chain's address → ``module:function`` taking answers and the whole address,
which keeps that chain (and may keep others)."""

QUANTITIES: tuple[str, ...] = (
    "tuftwork.study.cooling_net:cooling_quantities",
    "tuftwork.study.brake_step:brake_quantities",
)
"""``module:function`` taking a project and returning more uncertain numbers by name."""

LABELS: tuple[str, ...] = (
    "tuftwork.study.cooling_net:cooling_labels",
    "tuftwork.study.brake_step:brake_labels",
)
"""``module:function`` taking a project and returning what a person calls those numbers."""

STEPS: tuple[str, ...] = (
    "tuftwork.study.cooling_step:cooling_steps",
    "tuftwork.study.brake_step:brake_steps",
)
"""``module:function`` taking a :class:`~tuftwork.study.job.Job` and returning more steps."""

FINDINGS: tuple[str, ...] = (
    "tuftwork.study.finding:findings_of",
    "tuftwork.study.claimed:claim_findings",
    "tuftwork.study.cooling_finding:cooling_findings",
    "tuftwork.study.brake_page:brake_findings",
)
"""``module:function`` taking answers and returning findings."""


@cache
def found(path: str) -> Callable[..., Any]:
    """Return the function that ``module:function`` names."""
    module, _, name = path.partition(":")
    function: Callable[..., Any] = getattr(import_module(module), name)
    return function


def gathered(paths: Iterable[str], *given: Any) -> Iterable[Any]:
    """Yield what every named function answers."""
    for path in paths:
        yield found(path)(*given)


def page_entry(name: str) -> PageEntry | None:
    """Return the entry of a page, None where there is no such page."""
    return next((entry for entry in PAGES if entry.name == name), None)
