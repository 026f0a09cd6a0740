"""A result as pages, documents and ``--json`` show it, and the chain behind it.

Every number is one small dict (``text``, ``best``, range, ``unit``, ``origin``, ``at``, ``why``);
``why`` leads to a chain: the steps from evidence to this number, what dominates its range and
which decision it touches.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tuftwork.quantity import (
    Ensemble,
    Origin,
    Quantity,
    Source,
    Summary,
    format_quantity,
    format_summary,
    from_si,
    influences,
    summarise,
)
from tuftwork.quantity.unit import dimension_named

Number = dict[str, Any]
"""The JSON form of one number."""


def number_of_summary(
    summary: Summary,
    dimension: str,
    *,
    unit: str | None = None,
    origin: Origin = "computed",
    at: str = "",
    why: str = "",
    digits: int | None = None,
) -> Number:
    """Return a summary as a number in its shown unit, with the digits of its column if given."""
    shown = dimension_named(dimension).shown if unit is None else unit
    ends = ("best", "low", "high", "low_half", "high_half")
    number: Number = {"text": format_summary(summary, dimension, shown, digits)}
    number |= {end: from_si(getattr(summary, end), shown, dimension) for end in ends}
    number |= {"unit": shown, "origin": origin}
    return number | {key: text for key, text in (("at", at), ("why", why)) if text}


def number_of_quantity(quantity: Quantity, *, why: str = "") -> Number:
    """Return an input as a number in the unit it was written in."""
    shown, kind = quantity.unit, quantity.dimension
    low_half, high_half = quantity.at(-0.6744897501960817), quantity.at(0.6744897501960817)
    number: Number = {"text": format_quantity(quantity)}
    for key, value in (
        ("best", quantity.best),
        ("low", quantity.low),
        ("high", quantity.high),
        ("low_half", low_half),
        ("high_half", high_half),
    ):
        number[key] = from_si(value, shown, kind)
    number |= {"unit": shown, "origin": quantity.origin}
    return number | ({"why": why} if why else {})


ROUNDING = 1e-14
"""What is smaller than this in every draw is what cancels to rounding, and is told as zero."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One step of a chain: what was done, and where it stands in print or in the evidence."""

    what: str
    origin: Origin
    source: str = ""
    place: str = ""
    number: Number | None = None


def link_of_source(what: str, source: Source) -> Link:
    """Return the step that a published method or table makes."""
    return Link(what=what, origin="computed", source=source.key, place=source.place)


def link_of_quantity(label: str, quantity: Quantity) -> Link:
    """Return the step that an input makes."""
    return Link(
        what=label,
        origin=quantity.origin,
        place=quantity.place,
        number=number_of_quantity(quantity),
    )


@dataclass(slots=True)
class ChainBook:
    """All chains of one study, each under its address."""

    ensemble: Ensemble
    labels: Mapping[str, str] = field(default_factory=dict)
    hints: Mapping[str, str] = field(default_factory=dict)
    chains: dict[str, dict[str, Any]] = field(default_factory=dict)

    def number(
        self,
        why: str,
        draws: np.ndarray,
        dimension: str,
        *,
        title: str,
        links: Sequence[Link] = (),
        unit: str | None = None,
        origin: Origin = "computed",
        at: str = "",
        decision: str = "",
        notices: Sequence[str] = (),
        keep: np.ndarray | None = None,
        among: Collection[str] | None = None,
        digits: int | None = None,
    ) -> Number:
        """Return the number of some draws, and keep its chain.

        Parameters
        ----------
        why
            Address of the chain, unique in the study.
        draws : (n_draw,)
            The result, draw by draw. [SI]
        dimension
            What it is.
        title
            What a person calls it.
        links
            Steps of its chain, from the evidence on.
        decision
            Which decision it touches.
        keep : (n_draw,)
            Draws that count; all where not given.
        among
            Inputs the result can depend on, where that is known.
        digits
            After the point, as the number's column has them; by its own range where not given.
        """
        values = np.asarray(draws, dtype=float).ravel()
        if np.all(np.abs(values) < ROUNDING):
            values = np.zeros_like(values)
        ensemble = self.ensemble
        if keep is not None and not np.all(keep):
            values = values[keep]
            ensemble = replace(ensemble, deviates=ensemble.deviates[keep])
        number = number_of_summary(
            summarise(values), dimension, unit=unit, origin=origin, at=at, why=why, digits=digits
        )
        found = influences(ensemble, values, among=among) if values.size == ensemble.size else ()
        dominates = [
            {
                "name": i.name,
                "label": self.labels.get(i.name, i.name),
                "hint": self.hints.get(i.name, ""),
                "share": i.share,
                "halved": i.halved,
            }
            for i in found
        ]
        inputs = [
            link_of_quantity(self.labels.get(i.name, i.name), self.ensemble.quantities[i.name])
            for i in found
        ]
        self.add(
            why,
            title=title,
            number=number,
            links=[*links, *inputs],
            dominates=dominates,
            decision=decision,
            notices=notices,
        )
        return number

    def add(
        self,
        why: str,
        *,
        title: str,
        number: Number,
        links: Sequence[Link],
        dominates: Sequence[Mapping[str, Any]] = (),
        decision: str = "",
        notices: Sequence[str] = (),
    ) -> None:
        """Keep a chain under its address."""
        self.chains[why] = {
            "id": why,
            "title": title,
            "number": number,
            "steps": [
                {
                    "what": link.what,
                    "origin": link.origin,
                    "source": link.source,
                    "place": link.place,
                    "number": link.number,
                }
                for link in links
            ],
            "dominates": [dict(d) for d in dominates],
            "decision": decision,
            "notices": list(notices),
        }


def json_ready(tree: Any) -> Any:
    """Return a tree with arrays as lists and numbers that are none as None."""
    if isinstance(tree, np.ndarray):
        return json_ready(tree.tolist())
    if isinstance(tree, dict):
        return {key: json_ready(value) for key, value in tree.items()}
    if isinstance(tree, list | tuple):
        return [json_ready(value) for value in tree]
    if isinstance(tree, float) and not np.isfinite(tree):
        return None
    return tree
