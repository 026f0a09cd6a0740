"""Names in the cooling that must meet: parts, nodes, cores, circuits; the air net counted once."""

from collections.abc import Iterator
from typing import Any

from tuftwork.car.crossing import Crossing, Path, get, missing, names, rows

_COOLING_PARTS = ("inlets", "cores", "ducts", "exits", "leaks", "fans")


def cooling_crossings(project: Any) -> Iterator[Crossing]:
    """Check the air of the cooling: names, cores that circuits pass, nodes that lead nowhere."""
    table = get(project, "cooling")
    if table is None:
        return
    parts: dict[str, Path] = {}
    ends: dict[str, list[Path]] = {}
    for kind in _COOLING_PARTS:
        for index, row in enumerate(rows(table, kind)):
            path: Path = ("cooling", kind, index)
            name = get(row, "name")
            if isinstance(name, str):
                if name in parts:
                    yield Crossing(path=(*path, "name"), what="another part of the air has this "
                                   "name", found=name)  # fmt: skip
                parts[name] = path
            for key in ("start", "end"):
                node = get(row, key)
                if isinstance(node, str) and node != "outside":
                    ends.setdefault(node, []).append((*path, key))
    for node, paths in ends.items():
        if len(paths) == 1:
            known = tuple(n for n in ends if n != node)
            yield Crossing(path=paths[0], what="this node leads nowhere: no other part of the air "
                           "meets it", found=node, known=known)  # fmt: skip
    cores = names(table, "cores")
    circuits = names(table, "circuits")
    served: set[str] = set()
    for index, circuit in enumerate(rows(table, "circuits")):
        for name in get(circuit, "coolers") or ():
            where: Path = ("cooling", "circuits", index, "coolers")
            if isinstance(name, str) and name not in cores:
                yield Crossing(path=where, what="no core of this name", found=name, known=cores)
            elif name in served:
                yield Crossing(path=where, what="two circuits pass this core", found=name)
            served.add(name)
        own, inner = get(circuit, "name"), get(circuit, "exchanger")
        if inner is not None:
            others = tuple(name for name in circuits if name != own)
            yield from missing(
                inner, "to", ("cooling", "circuits", index, "exchanger"), others, "other circuit"
            )
    for index, well in enumerate(rows(table, "wells")):
        yield from missing(well, "name", ("cooling", "wells", index), tuple(ends), "node")


def air_net_crossings(project: Any) -> Iterator[Crossing]:
    """Check that a part's air net is there and counted once, and that brakes have stops."""
    parts = rows(project, "parts")
    nets = [i for i, part in enumerate(parts) if get(part, "kind") == "air net"]
    for index in nets[1:]:
        what = "the air net is a part already; its load would count twice"
        yield Crossing(path=("parts", index, "kind"), found="air net", what=what)
    if nets and get(project, "cooling") is None:
        yield Crossing(path=("parts", nets[0], "kind"), found="air net",
                       what="there is no [cooling] whose air net this part could be")  # fmt: skip
    brakes = get(project, "brakes")
    if brakes is not None and not rows(brakes, "stops") and get(project, "lap") is None:
        yield Crossing(path=("brakes",), what="brakes need the 'stops' of a lap, or a [lap]",
                       found="no stops")  # fmt: skip
