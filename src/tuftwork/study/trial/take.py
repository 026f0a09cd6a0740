"""Accepting cures and taking them back: changes of the project file, never of a log."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from tuftwork.car.trial import TrialDay
from tuftwork.errors import InputError
from tuftwork.files import NEW, REMOVE, OpenProject, edit_project, read_project
from tuftwork.study.bench import Bench
from tuftwork.study.trial.shown import day_named, tree_of


def take_cures(bench: Bench, day: str, cards: Sequence[int] | None, words: str = "") -> None:
    """Accept the cures of some cards of the Log page, all where none are named.

    Cures stand in the project in the order in which they must be put in: a gain before a zero.
    What was accepted since the study ran stays accepted.

    Parameters
    ----------
    bench
        The workbench.
    day
        Name of the day; the last where empty.
    cards
        Their numbers, from 1.
    words
        The title that whoever asks sees on the card; not looked at where empty.

    Raises
    ------
    InputError
        If a card does not exist or says something else by now, or nothing about it can be cured.
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
        _refuse_others("take", card, words, faults[card]["title"])
        if not faults[card]["cures"]:
            if cards is None:
                continue
            raise InputError("take", card, "", "nothing in this log can cure it",
                             faults[card]["title"])  # fmt: skip
        if not faults[card]["taken"]:
            picked.append(faults[card])
    new = [_row(c) for h in picked for c in h["cures"]]

    def rows(now: TrialDay) -> list[dict[str, Any]]:
        kept = [_kept(c) for c in now.cures]
        there = {_what(row) for row in kept}
        return sorted([*(r for r in new if _what(r) not in there), *kept], key=_place)

    _write(bench, one.name, rows)


def undo_cures(bench: Bench, day: str, numbers: Sequence[int], words: str = "") -> None:
    """Take back accepted cures, counted from 1 as the Log page lists them.

    Raises
    ------
    InputError
        If there is no cure of a number, or it is another one by now.
    """
    one = day_named(bench.answers, day)
    for number in numbers:
        if not 1 <= number <= len(one.cures):
            limit = f"there are {len(one.cures)} accepted cures"
            raise InputError("undo", number, "", limit)
        done = tree_of(bench.answers, one).get("done", ())
        _refuse_others("undo", number, words, done[number - 1] if number <= len(done) else "")
    gone = {_what(_kept(one.cures[number - 1])) for number in numbers}

    def rows(now: TrialDay) -> list[dict[str, Any]]:
        return [row for row in map(_kept, now.cures) if _what(row) not in gone]

    _write(bench, one.name, rows)


def _refuse_others(key: str, number: int, words: str, now: str) -> None:
    """Refuse a number by which whoever asks means something that stands there no more."""
    if words and words != now:
        limit = "is another one by now: the study has run since the page was read"
        raise InputError(key, number, "", limit, "Look at the page again.")


def cure_live(bench: Bench, message: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Accept a card's cure or take an accepted one back, as the Log page asks.

    The message says ``day`` and ``take`` (a card) or ``undo`` (an accepted cure), from 1, and the
    ``words`` that stand there on the page.
    """
    day = str(message.get("day", ""))
    for key, function in (("take", take_cures), ("undo", undo_cures)):
        given = message.get(key)
        if given is None:
            continue
        if isinstance(given, bool) or not isinstance(given, int):
            raise InputError(key, f"{given}", "", "must be a whole number")
        function(bench, day, [given], str(message.get("words", "")))
        bench.opened = read_project(bench.folder)
        return {"saved": 1, "digest": bench.digest()}, {}
    raise InputError("log_cure", "nothing", "", "says neither take nor undo")


def _write(bench: Bench, day: str, rows: Callable[[TrialDay], list[dict[str, Any]]]) -> None:
    """Write a day's cures, made from those that stand in the file at this moment, in one step."""

    def edits(opened: OpenProject) -> list[dict[Any, Any]]:
        now = next((d for d in opened.project.days if d.name == day), None)
        if now is None:
            raise InputError("day", f"'{day}'", "", "is in the project no more")
        old: list[dict[Any, Any]] = [{("days", day, "cures"): REMOVE}] if now.cures else []
        return old + [{("days", day, "cures", NEW): row} for row in rows(now)]

    edit_project(bench.folder, edits)


def _what(row: Mapping[str, Any]) -> tuple[str, str, str, float | None]:
    """Return what makes a cure this one: a channel may have two of a kind, of other sizes."""
    return str(row["kind"]), str(row["role"]), str(row.get("other", "")), row.get("size")


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
