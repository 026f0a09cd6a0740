"""Accepting cures and taking them back: changes of the project file, never of a log."""

from collections.abc import Mapping, Sequence
from typing import Any

from tuftwork.errors import InputError
from tuftwork.files import NEW, REMOVE, read_project, save_changes
from tuftwork.study.bench import Bench
from tuftwork.study.trial.shown import day_named, tree_of


def take_cures(bench: Bench, day: str, cards: Sequence[int] | None) -> None:
    """Accept the cures of some cards of the Log page, all where none are named.

    Cures stand in the project in the order in which they must be put in: a gain before a zero.

    Raises
    ------
    InputError
        If a card does not exist, or nothing about it can be cured.
    """
    answers = bench.answers
    one = day_named(answers, day)
    tree = tree_of(answers, one)
    faults = {i: h for i, h in enumerate(tree.get("faults", []), 1) if h["is_fault"]}
    wanted = list(faults) if cards is None else list(cards)
    picked = []
    for card in wanted:
        if card not in faults:
            known = ", ".join(map(str, faults)) or "none"
            raise InputError("take", card, "", "no card of this number", f"Cards: {known}.")
        if not faults[card]["cures"]:
            if cards is None:
                continue
            raise InputError("take", card, "", "nothing in this log can cure it",
                             faults[card]["title"])  # fmt: skip
        if not faults[card]["taken"]:
            picked.append(faults[card])
    rows = [*(_row(c) for h in picked for c in h["cures"]), *(_kept(c) for c in one.cures)]
    _write(bench, one.name, sorted(rows, key=_place))


def undo_cures(bench: Bench, day: str, numbers: Sequence[int]) -> None:
    """Take back accepted cures, counted from 1 as the Log page lists them.

    Raises
    ------
    InputError
        If there is no cure of a number.
    """
    one = day_named(bench.answers, day)
    for number in numbers:
        if not 1 <= number <= len(one.cures):
            limit = f"there are {len(one.cures)} accepted cures"
            raise InputError("undo", number, "", limit)
    kept = [c for i, c in enumerate(one.cures, 1) if i not in numbers]
    _write(bench, one.name, [_kept(c) for c in kept])


def cure_live(bench: Bench, message: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Accept a card's cure or take an accepted one back, as the Log page asks.

    The message says ``day`` and ``take`` (a card) or ``undo`` (an accepted cure), from 1.
    """
    day = str(message.get("day", ""))
    for key, function in (("take", take_cures), ("undo", undo_cures)):
        given = message.get(key)
        if given is None:
            continue
        if isinstance(given, bool) or not isinstance(given, int):
            raise InputError(key, f"{given}", "", "must be a whole number")
        function(bench, day, [given])
        bench.opened = read_project(bench.folder)
        return {"saved": 1, "digest": bench.digest()}, {}
    raise InputError("log_cure", "nothing", "", "says neither take nor undo")


def _write(bench: Bench, day: str, rows: list[dict[str, Any]]) -> None:
    opened = read_project(bench.folder)
    if any(d.cures for d in opened.project.days if d.name == day):
        opened = save_changes(opened, {("days", day, "cures"): REMOVE})
    if rows:
        edits: dict[Any, Any] = {("days", day, "cures", NEW): rows[0]}
        opened = save_changes(opened, edits)
        for row in rows[1:]:
            opened = save_changes(opened, {("days", day, "cures", NEW): row})


_KINDS = {"unit": 0, "swap": 1, "invert": 2, "drop": 3, "shift": 5, "gain": 6, "drift": 8,
          "zero": 9}  # fmt: skip


def _place(row: dict[str, Any]) -> int:
    return _KINDS[str(row["kind"])]


def _row(cure: dict[str, Any]) -> dict[str, Any]:
    row: dict[str, Any] = {"kind": cure["kind"], "role": cure["role"]}
    if cure["kind"] not in ("swap", "invert", "drop"):
        row["size"] = float(f"{cure['size']:.6g}")
        row["doubt"] = float(f"{cure['doubt']:.3g}")
    for key in ("other", "because"):
        if cure[key]:
            row[key] = cure[key]
    if cure["known_load"]:
        row["known_load"] = True
    return row


def _kept(cure: Any) -> dict[str, Any]:
    return _row(cure.model_dump(exclude={"origin", "place"}))
