"""Where the parts and nodes of an air net stand in a drawing, air running from left to right."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tuftwork.cooling import AirNet
from tuftwork.cooling.element import Cooler, Exit, Feed, Inlet

OUTSIDE = "outside"
Edge = tuple[str, str, str]
"""Name, start and end of a part, in the direction of its flow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Places on a grid: column of a part lies between the columns of its nodes.

    Attributes
    ----------
    parts, nodes
        Name → (column, row). Openings to the outside have no node there.
    """

    parts: Mapping[str, tuple[float, float]]
    nodes: Mapping[str, tuple[float, float]]


def layout_of(edges: Sequence[Edge]) -> Layout:
    """Return where parts and nodes stand; a ring of flow is drawn as far as it unrolls."""
    depth = _depths(edges)
    columns = {name: _column(start, end, depth) for name, start, end in edges}
    parts: dict[str, tuple[float, float]] = {}
    nodes: dict[str, tuple[float, float]] = {}
    taken: dict[int, set[float]] = {}
    lane = 0.0
    for column in sorted(set(columns.values())):
        here = [e for e in edges if columns[e[0]] == column]
        here.sort(key=lambda e: nodes.get(e[1], (0.0, lane))[1] if e[1] != OUTSIDE else 1e6)
        for name, start, _ in here:
            row = nodes[start][1] if start in nodes else lane
            while row in taken.setdefault(column, set()):
                row += 1.0
            taken[column].add(row)
            parts[name] = (column + 0.5, row)
            lane = max(lane, row + 1.0)
        for _, _, end in here:
            feeders = [parts[n][1] for n, _, e in edges if e == end and n in parts]
            if end != OUTSIDE and end not in nodes:
                nodes[end] = (float(depth[end]), min(feeders))
    for node in depth:  # what nothing feeds
        nodes.setdefault(node, (float(depth[node]), lane))
    return Layout(parts=parts, nodes=nodes)


def net_drawn(
    net: AirNet, reversed_parts: Collection[str], shares: Mapping[str, float]
) -> dict[str, Any]:
    """Return a net's drawing: parts and nodes with their places, in the net's order of parts."""
    edges = [
        (p.name, p.end, p.start) if p.name in reversed_parts else (p.name, p.start, p.end)
        for p in net.elements
    ]
    layout = layout_of(edges)
    kinds = {Inlet: "inlet", Feed: "inlet", Exit: "exit", Cooler: "core"}
    parts = [
        {
            "name": p.name, "kind": kinds.get(type(p), type(p).__name__.lower()),
            "start": p.start, "end": p.end,
            "column": layout.parts[p.name][0], "row": layout.parts[p.name][1],
            "place": p.place if isinstance(p, Exit) else "",
            "reversed": p.name in reversed_parts, "share": shares[p.name],
        }
        for p in net.elements
    ]  # fmt: skip
    nodes = [{"name": n, "column": at[0], "row": at[1]} for n, at in layout.nodes.items()]
    return {"parts": parts, "nodes": nodes}


def _depths(edges: Sequence[Edge]) -> dict[str, int]:
    """Return how many parts lie ahead of each node on its longest way from outside."""
    names = {n for _, start, end in edges for n in (start, end)} - {OUTSIDE}
    depth = dict.fromkeys(sorted(names), 1)
    for _ in range(len(names)):
        moved = False
        for _, start, end in edges:
            if OUTSIDE in (start, end):
                continue
            if depth[end] < depth[start] + 1 <= len(names):
                depth[end] = depth[start] + 1
                moved = True
        if not moved:
            break
    return depth


def _column(start: str, end: str, depth: Mapping[str, int]) -> int:
    if start != OUTSIDE:
        return depth[start]
    return depth[end] - 1 if end != OUTSIDE else 0
