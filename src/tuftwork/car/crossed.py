"""Names that must meet: what is called twice, and what is referred to and not there.

Works on a ``Project`` and on the plain tables of a project file alike, so that a file reader can
report these faults together with all others, and say on which line each stands.
"""

from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from tuftwork.car.cornering import cornering_crossings
from tuftwork.car.crossed_cooling import air_net_crossings, cooling_crossings
from tuftwork.car.crossing import Crossing, Path
from tuftwork.car.crossing import get as _get
from tuftwork.car.crossing import missing as _missing
from tuftwork.car.crossing import names as _names
from tuftwork.car.crossing import rows as _rows

_NAMED = (
    ("parts", "name"),
    ("mass_states", "name"),
    ("states", "name"),
    ("devices", "name"),
    ("schedules", "name"),
    ("openings", "name"),
    ("claims", "id"),
    ("evidence", "id"),
    ("measured", "id"),
    ("days", "name"),
    ("tunnels", "name"),
    ("pressures", "name"),
    ("hypotheses", "id"),
)


class CrossedNames(ValueError):
    """A project holds names that do not meet; every one of them is in ``crossings``."""

    def __init__(self, crossings: Sequence[Crossing]) -> None:
        super().__init__("; ".join(f"{c.what}: '{c.found}'" for c in crossings))
        self.crossings = tuple(crossings)


def crossings(project: Any) -> list[Crossing]:
    """Return every name used twice and every reference that leads nowhere.

    Parameters
    ----------
    project
        A ``Project``, or the mapping read from its file; whatever has the wrong type is skipped,
        because the schema reports it.
    """
    return [
        *_used_twice(project),
        *_claims(project),
        *_measured(project),
        *_states(project),
        *_sweeps(project),
        *_front_ways(project),
        *_devices(project),
        *_study(project),
        *_trial(project),
        *_sessions(project),
        *_reading(project),
        *cooling_crossings(project),
        *air_net_crossings(project),
        *_lap(project),
        *cornering_crossings(project),
        *_flow(project),
    ]


def _used_twice(project: Any) -> Iterator[Crossing]:
    for table, key in _NAMED:
        seen: set[str] = set()
        for index, row in enumerate(_rows(project, table)):
            name = _get(row, key)
            if not isinstance(name, str):
                continue
            if name in seen:
                yield Crossing(path=(table, index, key), what=f"this {key} is used twice in "
                               f"{table}", found=name)  # fmt: skip
            seen.add(name)


def _claims(project: Any) -> Iterator[Crossing]:
    parts, states = _names(project, "parts"), _names(project, "states")
    openings = _names(project, "openings")
    for index, claim in enumerate(_rows(project, "claims")):
        path: Path = ("claims", index)
        yield from _missing(claim, "part", path, parts, "part")
        yield from _missing(claim, "state", path, states, "state")
        yield from _missing(claim, "against", path, states, "state")
        if _get(claim, "on") == "part" and not _get(claim, "part"):
            what = "a claim on a part needs the part's name in 'part'"
            yield Crossing(path=(*path, "on"), what=what, found="part", known=parts)
        opening = _get(claim, "opening")
        # an opening nobody has measured may be claimed; one that is nearly on the list is a slip
        if isinstance(opening, str) and get_close_matches(opening, openings, n=1, cutoff=0.75):
            yield from _missing(claim, "opening", path, openings, "opening")


def _measured(project: Any) -> Iterator[Crossing]:
    states, evidence = _names(project, "states"), _names(project, "evidence", "id")
    for index, row in enumerate(_rows(project, "measured")):
        yield from _missing(row, "state", ("measured", index), states, "state")
        yield from _missing(row, "evidence", ("measured", index), evidence, "evidence")


def _sweeps(project: Any) -> Iterator[Crossing]:
    """Check that a floor's ride-height sweep is in the evidence."""
    evidence = _names(project, "evidence", "id")
    for index, part in enumerate(_rows(project, "parts")):
        channel = _get(part, "channel")
        if channel is not None:
            path: Path = ("parts", index, "channel")
            yield from _missing(channel, "sweep", path, evidence, "evidence")


def _front_ways(project: Any) -> Iterator[Crossing]:
    """Check that what shares a way out with the cooling names a node of the air net."""
    cooling = _get(project, "cooling")
    nodes = {
        node
        for kind in ("cores", "ducts", "exits", "leaks", "fans")
        for row in (_rows(cooling, kind) if cooling is not None else ())
        for node in (_get(row, "start"), _get(row, "end"))
        if isinstance(node, str) and node != "outside"
    }
    named = any(_get(row, "kind") == "air net" for row in _rows(project, "parts"))
    for index, part in enumerate(_rows(project, "parts")):
        if _get(part, "kind") != "splitter":
            continue
        for key in ("ramps", "vent"):
            row = _get(_get(part, "channel"), key)
            into = _get(row, "into")
            if not isinstance(into, str) or not into:
                continue
            path: Path = ("parts", index, "channel", key, "into")
            if into not in nodes:
                yield Crossing(path=path, what="no node of the air net of this name", found=into,
                               known=tuple(sorted(nodes)))  # fmt: skip
            elif not named:
                yield Crossing(path=path, what="needs a part of kind 'air net' that solves it",
                               found=into)  # fmt: skip


def _states(project: Any) -> Iterator[Crossing]:
    kinds = _part_kinds(project)
    for index, state in enumerate(_rows(project, "states")):
        for place, name in enumerate(_rows(state, "without")):
            if isinstance(name, str) and name not in kinds:
                yield Crossing(path=("states", index, "without", place), what="no part of this "
                               "name", found=name, known=tuple(kinds))  # fmt: skip
        aliased = isinstance(state, Mapping) and "set" in state
        values = _get(state, "set" if aliased else "values")
        if not isinstance(values, Mapping):
            continue
        for path in values:
            yield from _part_key(str(path), kinds, ("states", index, "set", path))


def _devices(project: Any) -> Iterator[Crossing]:
    """Check that devices stand in states, and schedules move devices to positions they have."""
    states = _names(project, "states")
    positions: dict[str, tuple[str, ...]] = {}
    for index, device in enumerate(_rows(project, "devices")):
        for key in ("positions", "failures"):
            for place, name in enumerate(_rows(device, key)):
                if isinstance(name, str) and name not in states:
                    yield Crossing(path=("devices", index, key, place), what="no state of this "
                                   "name", found=name, known=states)  # fmt: skip
        own = tuple(n for n in _rows(device, "positions") if isinstance(n, str))
        positions[str(_get(device, "name"))] = own
    for index, schedule in enumerate(_rows(project, "schedules")):
        path: Path = ("schedules", index)
        yield from _missing(schedule, "device", path, tuple(positions), "device")
        known = positions.get(str(_get(schedule, "device")))
        for place, rule in enumerate(_rows(schedule, "rules") if known else ()):
            yield from _missing(rule, "position", (*path, "rules", place), known or (), "position")


def _part_kinds(project: Any) -> dict[str, Any]:
    return {_get(part, "name"): _get(part, "kind") for part in _rows(project, "parts")
            if isinstance(_get(part, "name"), str)}  # fmt: skip


def _part_key(text: str, kinds: Mapping[str, Any], where: Path) -> Iterator[Crossing]:
    """Check that ``rear wing.incidence`` names a part and a key of it."""
    from tuftwork.car.part import keys_of_kind

    name, dot, key = text.rpartition(".")
    if not dot:
        what = "needs a part and a key, like 'rear wing.incidence'"
        yield Crossing(path=where, what=what, found=text, known=tuple(kinds))
    elif name not in kinds:
        yield Crossing(path=where, what="no part of this name", found=name, known=tuple(kinds))
    elif kinds[name] and key not in (keys := keys_of_kind(str(kinds[name]))) and keys:
        what = f"'{name}' has no key of this name"
        yield Crossing(path=where, what=what, found=key, known=keys)


def _study(project: Any) -> Iterator[Crossing]:
    masses = _names(project, "mass_states")
    study = _get(project, "study")
    if study is not None:
        yield from _missing(study, "mass_state", ("study",), masses, "mass state")


_STANDING_PLANES = ("ground", "centre", "outline from ahead", "outline from behind")


def _reading(project: Any) -> Iterator[Crossing]:
    """Names in what was read from pictures."""
    room = _get(project, "reading")
    if room is None:
        return
    evidence = _names(project, "evidence", "id")
    pictures = _names(room, "pictures", "id")
    readings = _names(room, "readings", "id")
    features = _names(room, "features", "id")
    planes = (*_names(room, "planes"), *_STANDING_PLANES)
    parts = _names(project, "parts")
    for table, known in (("pictures", pictures), ("readings", readings), ("features", features)):
        for index, name in enumerate(known):
            if name in known[:index]:
                path: Path = ("reading", table, index, "id")
                yield Crossing(path=path, what=f"this id is used twice in {table}", found=name)
    for index, row in enumerate(_rows(room, "pictures")):
        path = ("reading", "pictures", index)
        yield from _missing(row, "evidence", path, evidence, "evidence")
        marks, on = _get(row, "marks") or {}, _get(row, "on") or {}
        for mark, plane in on.items() if isinstance(on, Mapping) else ():
            if isinstance(plane, str) and plane not in planes:
                what = "no plane of this name"
                yield Crossing(path=(*path, "on", mark), what=what, found=plane, known=planes)
            if mark not in marks:
                what = "no mark of this name"
                yield Crossing(path=(*path, "on", mark), what=what, found=mark, known=tuple(marks))
    for index, row in enumerate(_rows(room, "readings")):
        path = ("reading", "readings", index)
        yield from _missing(row, "picture", path, pictures, "picture")
        fills = _get(row, "fills")
        if isinstance(fills, str) and fills and "." in fills:
            owner = fills.rpartition(".")[0]
            if owner not in parts and not owner.startswith(("car", "openings.", "mass_states.")):
                what = "no part of this name"
                yield Crossing(path=(*path, "fills"), what=what, found=owner, known=parts)
    for index, row in enumerate(_rows(room, "features")):
        path = ("reading", "features", index)
        yield from _missing(row, "picture", path, pictures, "picture")
        for key, known in (("readings", readings), ("feeds", features)):
            for place, name in enumerate(_rows(row, key)):
                if name not in known:
                    what = f"no {key[:-1] if key == 'readings' else 'feature'} of this name"
                    where: Path = (*path, key, place)
                    yield Crossing(path=where, what=what, found=str(name), known=known)


def _trial(project: Any) -> Iterator[Crossing]:
    states, evidence = _names(project, "states"), _names(project, "evidence", "id")
    masses = _names(project, "mass_states")
    for index, day in enumerate(_rows(project, "days")):
        path: Path = ("days", index)
        yield from _missing(day, "mass_state", path, masses, "mass state")
        for key in ("logs", "coast_downs"):
            for place, name in enumerate(_rows(day, key)):
                if isinstance(name, str) and name not in evidence:
                    yield Crossing(path=(*path, key, place), what="no evidence of this name",
                                   found=name, known=evidence)  # fmt: skip
        if _get(day, "laps"):
            yield from _missing(day, "laps", path, evidence, "evidence")
        for place, run in enumerate(_rows(day, "runs")):
            yield from _missing(run, "state", (*path, "runs", place), states, "state")
    plan = _get(project, "plan")
    if plan is not None:
        for place, name in enumerate(_rows(plan, "compare")):
            if isinstance(name, str) and name not in states:
                yield Crossing(path=("plan", "compare", place), what="no state of this name",
                               found=name, known=states)  # fmt: skip


def _sessions(project: Any) -> Iterator[Crossing]:
    """Check the names of tunnel sessions, pressures and flow notes."""
    states, evidence = _names(project, "states"), _names(project, "evidence", "id")
    ideas = (*_names(project, "hypotheses", "id"), *_names(project, "claims", "id"))
    for key in ("tunnels", "pressures"):
        for index, one in enumerate(_rows(project, key)):
            yield from _missing(one, "data", (key, index), evidence, "evidence")
            for place, tap in enumerate(_rows(one, "taps")):
                yield from _missing(tap, "hypothesis", (key, index, "taps", place), ideas,
                                    "hypothesis or claim")  # fmt: skip
    for index, note in enumerate(_rows(project, "flow_notes")):
        path: Path = ("flow_notes", index)
        yield from _missing(note, "state", path, states, "state")
        yield from _missing(note, "picture", path, evidence, "evidence")
        yield from _missing(note, "hypothesis", path, ideas, "hypothesis or claim")


def _lap(project: Any) -> Iterator[Crossing]:
    """Check the lap's names: circuits, states of changes, changes that need others, the trim."""
    table = _get(project, "lap")
    if table is None:
        return
    states, circuits = _names(project, "states"), _names(table, "circuits")
    changes = _names(table, "changes")
    for list_name in ("circuits", "changes"):
        seen: set[str] = set()
        for index, row in enumerate(_rows(table, list_name)):
            name = _get(row, "name")
            if isinstance(name, str) and name in seen:
                yield Crossing(path=("lap", list_name, index, "name"), what="this name is used "
                               f"twice in {list_name}", found=name)  # fmt: skip
            seen.add(str(name))
    for index, row in enumerate(_rows(table, "changes")):
        path: Path = ("lap", "changes", index)
        yield from _missing(row, "state", path, states, "state")
        yield from _missing(row, "after", path, states, "state")
        for need in _get(row, "needs") or ():
            if need not in changes:
                yield Crossing(path=(*path, "needs"), what="no change of this name",
                               found=str(need), known=changes)  # fmt: skip
    trim = _get(table, "trim")
    if trim is None:
        return
    yield from _missing(trim, "circuit", ("lap", "trim"), circuits, "circuit")
    vary, kinds = _get(trim, "vary"), _part_kinds(project)
    if isinstance(vary, str):
        yield from _part_key(vary, kinds, ("lap", "trim", "vary"))
    for index, row in enumerate(_rows(trim, "extra")):
        aliased = isinstance(row, Mapping) and "set" in row
        values = _get(row, "set" if aliased else "values")
        for path_text in values if isinstance(values, Mapping) else ():
            where: Path = ("lap", "trim", "extra", index, "set", path_text)
            yield from _part_key(str(path_text), kinds, where)


def _flow(project: Any) -> Iterator[Crossing]:
    """Check the cases of the 3-D flow: names, states, finished runs."""
    table = _get(project, "flow")
    if table is None:
        return
    states, evidence = _names(project, "states"), _names(project, "evidence", "id")
    seen: set[str] = set()
    for index, row in enumerate(_rows(table, "cases")):
        path: Path = ("flow", "cases", index)
        name = _get(row, "name")
        if isinstance(name, str) and name in seen:
            yield Crossing(path=(*path, "name"), what="this name is used twice in cases",
                           found=name)  # fmt: skip
        seen.add(str(name))
        yield from _missing(row, "state", path, states, "state")
        yield from _missing(row, "evidence", path, evidence, "evidence")
