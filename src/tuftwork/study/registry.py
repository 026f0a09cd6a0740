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
    home
        Page of which this one is a part; it then has no line of its own on the rail.
    """

    name: str
    title: str
    make: str
    takes: str = "answers"
    query: tuple[str, ...] = ()
    support: str = "tuftwork.study.support:of_model"
    home: str = ""


PAGES: tuple[PageEntry, ...] = (
    PageEntry(
        name="overview", title="Overview", make="tuftwork.study.overview:overview_page",
        takes="bench", query=("only",), support="tuftwork.study.support:of_model",
    ),
    PageEntry(
        name="evidence", title="Evidence", make="tuftwork.study.register:evidence_page",
        takes="opened", support="tuftwork.study.support:of_evidence",
    ),
    PageEntry(
        name="pictures", title="Pictures", make="tuftwork.study.picture:reading_page",
        takes="bench", query=("picture",), support="tuftwork.study.picture:support_of_reading",
    ),
    PageEntry(
        name="claims", title="Claims", make="tuftwork.study.claimed:claims_tree",
        support="tuftwork.study.support:of_claims",
    ),
    PageEntry(
        name="car", title="Car", make="tuftwork.study.car.page:car_page",
        query=("speed", "state", "lateral"), support="tuftwork.study.car.page:car_support",
    ),
    PageEntry(
        name="budget", title="Budget", make="tuftwork.study.page:budget_page",
        query=("speed", "state"), support="tuftwork.study.support:of_parts", home="car",
    ),
    PageEntry(
        name="map", title="Map", make="tuftwork.study.page:map_page", query=("state",),
        support="tuftwork.study.support:of_map", home="car",
    ),
    PageEntry(
        name="states", title="States", make="tuftwork.study.page:states_page",
        support="tuftwork.study.support:of_states", home="car",
    ),
    PageEntry(
        name="sections", title="Sections and wings",
        make="tuftwork.study.section_page:section_page", query=("wing", "state"),
        support="tuftwork.study.section_page:section_support",
    ),
    PageEntry(
        name="flow", title="Flow", make="tuftwork.study.flow.page:flow_page", takes="bench",
        query=("case",), support="tuftwork.study.flow.page:support_of_flow",
    ),
    PageEntry(
        name="floor", title="Floor", make="tuftwork.study.floor_page:floor_page",
        query=("floor", "state"), support="tuftwork.study.floor_page:floor_support",
    ),
    PageEntry(
        name="lap", title="Lap", make="tuftwork.study.lap_page:lap_page",
        query=("circuit", "state", "against"), support="tuftwork.study.lap_page:lap_support",
    ),
    PageEntry(
        name="trim", title="Trim", make="tuftwork.study.trim_page:trim_page",
        support="tuftwork.study.trim_page:trim_support",
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
        name="plan", title="Plan", make="tuftwork.study.trial.planned:plan_page",
        support="tuftwork.study.trial.support:of_plan",
    ),
    PageEntry(
        name="log", title="Log", make="tuftwork.study.trial.page:log_page", query=("day",),
        support="tuftwork.study.trial.support:of_log",
    ),
    PageEntry(
        name="results", title="Results", make="tuftwork.study.trial.page:results_page",
        query=("day", "version"), support="tuftwork.study.trial.support:of_days",
    ),
    PageEntry(
        name="agreement", title="Agreement", make="tuftwork.study.trial.agree:agreement_page",
        query=("day",), support="tuftwork.study.trial.support:of_days",
    ),
    PageEntry(
        name="runs", title="Runs", make="tuftwork.study.register:runs_page", takes="ledger",
        support="tuftwork.study.support:of_runs",
    ),
)  # fmt: skip
"""Every page, in the order of the rail."""

LIVE: Mapping[str, str] = {
    "trace": "tuftwork.study.trial.trace:trace_page",
    "path_at": "tuftwork.study.live:live_page",
    "motion_at": "tuftwork.study.car.live:motion_live",
    "section_at": "tuftwork.study.section_live:section_live",
    "span_at": "tuftwork.study.section_live:span_live",
    "better_at": "tuftwork.study.section_help:better_live",
    "floor_at": "tuftwork.study.floor_live:floor_live",
    "trim_at": "tuftwork.study.trim_live:trim_live",
    "cooling_at": "tuftwork.study.cooling_live:cooling_live",
    "brakes_at": "tuftwork.study.brake_page:brakes_live",
}
"""Live request → ``module:function`` taking answers and message, returning header and arrays."""

OPEN_LIVE: Mapping[str, str] = {
    "evidence_add": "tuftwork.study.register:add_live",
    "evidence_keep": "tuftwork.study.register:keep_live",
    "picture_tile": "tuftwork.study.picture.save:tile_live",
    "picture_marks": "tuftwork.study.picture.save:marks_live",
    "picture_plane": "tuftwork.study.picture.save:plane_live",
    "picture_section": "tuftwork.study.picture.traced:section_use_live",
    "picture_save": "tuftwork.study.picture.save:save_live",
    "flow_cost": "tuftwork.study.flow.live:cost_live",
    "flow_prepare": "tuftwork.study.flow.live:prepare_live",
    "flow_save": "tuftwork.study.flow.live:save_live",
    "flow_start": "tuftwork.study.flow.live:start_live",
    "flow_watch": "tuftwork.study.flow.live:watch_live",
    "flow_cancel": "tuftwork.study.flow.live:cancel_live",
    "flow_add": "tuftwork.study.flow.live:add_live",
    "flow_view": "tuftwork.study.flow.live:view_live",
    "flow_mark": "tuftwork.study.flow.sweep_live:mark_live",
    "flow_frame": "tuftwork.study.flow.time_live:frame_live",
    "flow_spread": "tuftwork.study.flow.sweep_live:spread_live",
    "flow_sweep": "tuftwork.study.flow.sweep_live:sweep_live",
    "flow_sweep_start": "tuftwork.study.flow.sweep_live:sweep_start_live",
    "flow_sweep_stop": "tuftwork.study.flow.sweep_live:sweep_stop_live",
    "log_cure": "tuftwork.study.trial.take:cure_live",
    "log_roles": "tuftwork.study.trial.roles:roles_live",
}
"""Live requests that need no run of the study: as ``LIVE``, but given the bench itself."""

OPEN_CHAINS: Mapping[str, str] = {
    "reading": "tuftwork.study.picture:reading_chain",
    "flow": "tuftwork.study.flow.page:flow_chain",
}
"""Chains that need no run of the study: given the bench and the address, return the chain."""

CHAINS: Mapping[str, str] = {
    "trial": "tuftwork.study.trial.page:trial_chain",
    "tested": "tuftwork.study.trial.session_page:tested_chain",
    "ride": "tuftwork.study.page:ride_chain",
    "budget": "tuftwork.study.page:budget_chain",
    "car": "tuftwork.study.car.page:car_chain",
    "cell": "tuftwork.study.page:cell_chain",
    "state": "tuftwork.study.page:state_chain",
    "lost": "tuftwork.study.finding:lost_chain",
    "live": "tuftwork.study.live:live_chain",
    "input": "tuftwork.study.register:input_chain",
    "claim": "tuftwork.study.claimed:claim_chain",
    "sections": "tuftwork.study.section_page:section_chain",
    "floor": "tuftwork.study.floor_page:floor_chain",
    "lap": "tuftwork.study.lap_page:lap_chain",
    "grip": "tuftwork.study.grip_page:grip_chain",
    "trim": "tuftwork.study.trim_page:trim_chain",
    "cooling": "tuftwork.study.cooling_page:cooling_chain",
    "cooled": "tuftwork.study.cooling_live:cooled_chain",
    "brakes": "tuftwork.study.brake_page:brake_chain",
}
"""First word of a chain's address → ``module:function`` taking answers and the whole address,
which keeps that chain (and may keep others)."""

QUANTITIES: tuple[str, ...] = (
    "tuftwork.study.lap_car:lap_quantities",
    "tuftwork.cooling.case:cooling_quantities",
    "tuftwork.study.brake_step:brake_quantities",
    "tuftwork.study.front_hold:hold_quantities",
)
"""``module:function`` taking a project and returning more uncertain numbers by name."""

LABELS: tuple[str, ...] = (
    "tuftwork.study.lap_car:lap_labels",
    "tuftwork.cooling.case:cooling_labels",
    "tuftwork.study.brake_step:brake_labels",
    "tuftwork.study.front_hold:hold_labels",
)
"""``module:function`` taking a project and returning what a person calls those numbers."""

STEPS: tuple[str, ...] = (
    "tuftwork.study.section_worked:section_steps",
    "tuftwork.study.floor_worked:floor_steps",
    "tuftwork.study.lap:lap_steps",
    "tuftwork.study.cooling_step:cooling_steps",
    "tuftwork.study.brake_step:brake_steps",
    "tuftwork.study.trial.day:trial_steps",
)
"""``module:function`` taking a :class:`~tuftwork.study.job.Job` and returning more steps."""

FINDINGS: tuple[str, ...] = (
    "tuftwork.study.finding:findings_of",
    "tuftwork.study.car.finding:car_findings",
    "tuftwork.study.claimed:claim_findings",
    "tuftwork.study.picture.found:picture_findings",
    "tuftwork.study.picture.found:gross_taken_for_net",
    "tuftwork.study.trial.found:trial_findings",
    "tuftwork.study.floor_page:floor_findings",
    "tuftwork.study.lap_finding:lap_findings",
    "tuftwork.study.grip_finding:grip_findings",
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
