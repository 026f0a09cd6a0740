"""The air net as a thing: its parts, what is wrong with it, its sparse pattern."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tuftwork.cooling.element import Cooler, Element, Exit, Fan, Feed, Inlet
from tuftwork.cooling.guard import different_names
from tuftwork.cooling.surroundings import OUTSIDE
from tuftwork.errors import Fault, InputError, UnknownName


@dataclass(frozen=True, slots=True, kw_only=True)
class Topology:
    """Nodes in elimination order, where each edge runs, and the fill pattern."""

    nodes: tuple[str, ...]
    start: np.ndarray
    end: np.ndarray
    fill_start: np.ndarray
    fill_row: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class AirNet:
    """Openings, coolers, ducts, leaks and fans, joined by the names of their nodes."""

    elements: tuple[Element, ...]

    def __post_init__(self) -> None:
        different_names("elements", [part.name for part in self.elements])
        faults = net_faults(self)
        if faults:
            raise InputError("net", "; ".join(str(f) for f in faults), "", "cannot be solved")

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parts, in order."""
        return tuple(part.name for part in self.elements)

    def part(self, name: str) -> Element:
        """Return the part with a name."""
        for part in self.elements:
            if part.name == name:
                return part
        raise UnknownName("part", name, self.names)


def net_faults(net: AirNet) -> list[Fault]:
    """Return everything that keeps a net from having an answer; empty when nothing does."""
    faults: list[Fault] = []
    ends: dict[str, list[str]] = {}
    for part in net.elements:
        if part.start == part.end:
            faults.append(Fault(what=f"{part.name} starts and ends at {part.start}"))
        for node in (part.start, part.end):
            ends.setdefault(node, []).append(part.name)
    outside = ends.get(OUTSIDE, [])
    if len(outside) < 2:
        faults.append(Fault(what="air cannot pass", found=f"{len(outside)} opening(s) to outside",
                            expected="an inlet and an exit"))  # fmt: skip
    for node, parts in ends.items():
        if node != OUTSIDE and len(parts) == 1:
            faults.append(Fault(what=f"node {node} leads nowhere", found=f"only {parts[0]}",
                                cure="Join it to another part or remove it."))  # fmt: skip
    reached = _reached(net)
    for node in sorted(set(ends) - reached - {OUTSIDE}):
        faults.append(Fault(what=f"node {node} is not connected to the outside"))
    return faults


def _reached(net: AirNet) -> set[str]:
    """Return the nodes joined to the outside by any path."""
    reached = {OUTSIDE}
    grew = True
    while grew:
        grew = False
        for part in net.elements:
            pair = {part.start, part.end}
            if isinstance(part, Feed):
                continue
            if not pair <= reached and pair & reached:
                reached |= pair
                grew = True
    return reached


@lru_cache(maxsize=256)
def topology(edges: tuple[tuple[str, str], ...], grounded: str) -> Topology:
    """Return elimination order (minimum degree) and fill pattern of the node matrix."""
    near: dict[str, set[str]] = {}
    for start, end in edges:
        for one, other in ((start, end), (end, start)):
            if one != grounded:
                near.setdefault(one, set())
                if other not in (grounded, one):
                    near[one].add(other)
    order: list[str] = []
    later: dict[str, set[str]] = {}
    while near:
        node = min(near, key=lambda n: (len(near[n]), n))
        around = near.pop(node)
        later[node] = around
        for other in around:
            near[other] |= around - {other}
            near[other].discard(node)
        order.append(node)
    place = {node: k for k, node in enumerate(order)} | {grounded: -1}
    rows = [sorted(place[other] for other in later[node]) for node in order]
    counts = np.cumsum([0, *(len(row) for row in rows)])
    return Topology(
        nodes=tuple(order),
        start=np.array([place[start] for start, _ in edges], dtype=np.int64),
        end=np.array([place[end] for _, end in edges], dtype=np.int64),
        fill_start=counts.astype(np.int64),
        fill_row=np.array([k for row in rows for k in row], dtype=np.int64),
    )


def openings(net: AirNet) -> tuple[tuple[Inlet, ...], tuple[Exit, ...], tuple[Cooler, ...]]:
    """Return inlets, exits and coolers of a net."""
    return (
        tuple(p for p in net.elements if isinstance(p, Inlet)),
        tuple(p for p in net.elements if isinstance(p, Exit)),
        tuple(p for p in net.elements if isinstance(p, Cooler)),
    )


def has_fan(net: AirNet) -> bool:
    """Return whether any fan can drive the net at standstill."""
    return any(isinstance(p, Fan) for p in net.elements)
