"""What the columns of a log are: guessed, confirmed by the user, remembered in the project."""

from collections.abc import Callable, Mapping
from typing import Any

from tuftwork.car.trial import TrialDay
from tuftwork.errors import FileFault, InputError, UnknownName
from tuftwork.files import REMOVE, OpenProject, edit_project, read_project
from tuftwork.files.evidence import FOLDER
from tuftwork.files.log import column_names
from tuftwork.study.answers import Answers
from tuftwork.study.bench import Bench
from tuftwork.study.trial.shown import day_named, tree_of
from tuftwork.trial.guess import guess_roles
from tuftwork.trial.log import ROLES

Columns = list[list[Any]]


def columns_of_day(answers: Answers, day: TrialDay) -> Columns:
    """Return name, unit, role and whether it is a guess, of every column of a day's logs.

    Where the log could not be read, names and guesses from the head of the files alone.
    """
    tree = tree_of(answers, day)
    if "columns" in tree:
        return [list(c) for c in tree["columns"]]
    found: Columns = []
    folder = answers.job.folder
    items = {e.id: e.file for e in answers.project.evidence}
    for name in day.logs:
        try:
            names = column_names(folder / FOLDER / items[name]) if folder else ()
        except (FileFault, InputError, OSError):
            continue
        guessed = {place: role for role, place in guess_roles(names).items()}
        found += [
            [n, day.units.get(n, ""), day.roles.get(n, guessed.get(i, "")), n not in day.roles]
            for i, n in enumerate(names)
        ]
    return found


def confirm_roles(
    bench: Bench,
    day: str,
    roles: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
) -> None:
    """Remember what columns are; all of today's guesses where nothing is given.

    Parameters
    ----------
    roles
        Column → role; an empty role keeps the column out of use.
    units
        Column → unit, where the file states none or a wrong one.

    Raises
    ------
    UnknownName
        If there is no such column or role.
    InputError
        If two columns are to have one role.
    """
    answers = bench.answers
    one = day_named(answers, day)
    columns = columns_of_day(answers, one)
    names = [c[0] for c in columns]
    if roles is None and units is None:
        roles = {n: r for n, _, r, _ in columns if r}
        units = {n: u for n, u, r, is_guess in columns if r and u and is_guess}
    # what was said since the study ran stands in the file alone
    now = _today(bench, one)
    said = {**now.roles, **(roles or {})}
    for name, role in said.items():
        if name not in names:
            raise UnknownName("column", name, names)
        if role and role not in ROLES:
            raise UnknownName("role", role, ROLES)
    used = [r for r in said.values() if r]
    twice = sorted({r for r in used if used.count(r) > 1 and r != "time"})
    if twice:
        both = ", ".join(n for n, r in said.items() if r == twice[0])
        raise InputError("role", f"'{twice[0]}'", "", "is given to two columns", both)
    _save(bench, one.name, lambda day: {
        "roles": {**day.roles, **(roles or {})}, "units": {**day.units, **(units or {})},
    })  # fmt: skip


def forget_roles(bench: Bench, day: str) -> None:
    """Take back everything that was said of a day's columns: guesses stand again."""
    _save(bench, day_named(bench.answers, day).name, lambda day: {"roles": {}, "units": {}})


def _today(bench: Bench, day: TrialDay) -> TrialDay:
    days = read_project(bench.folder).project.days
    return next((d for d in days if d.name == day.name), day)


def _save(bench: Bench, name: str, said: Callable[[TrialDay], dict[str, dict[str, str]]]) -> None:
    """Write a day's columns, made from what stands in the file at this moment, in one step."""

    def edits(opened: OpenProject) -> list[dict[Any, Any]]:
        now = next((d for d in opened.project.days if d.name == name), None)
        if now is None:
            raise InputError("day", f"'{name}'", "", "is in the project no more")
        found: dict[Any, Any] = {}
        for key, words in said(now).items():
            if words:
                found["days", name, key] = words
            elif getattr(now, key):
                found["days", name, key] = REMOVE
        return [found] if found else []

    edit_project(bench.folder, edits)


def roles_live(bench: Bench, message: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Confirm columns as the Log page asks.

    The message says ``day`` and ``roles`` or ``units`` (column → text), ``confirm`` for all
    guesses, or ``forget``.
    """
    day = str(message.get("day", ""))
    if message.get("forget") is True:
        forget_roles(bench, day)
    elif message.get("confirm") is True:
        confirm_roles(bench, day)
    else:
        given = {key: _texts(key, message.get(key)) for key in ("roles", "units")}
        if given["roles"] is None and given["units"] is None:
            raise InputError("log_roles", "nothing", "", "says neither roles, units nor confirm")
        confirm_roles(bench, day, given["roles"] or {}, given["units"] or {})
    bench.opened = read_project(bench.folder)
    return {"saved": 1, "digest": bench.digest()}, {}


def _texts(key: str, given: Any) -> dict[str, str] | None:
    if given is None:
        return None
    if not isinstance(given, Mapping) or not all(isinstance(v, str) for v in given.values()):
        raise InputError(key, f"{given}"[:40], "", "must be column → text")
    return {str(k): str(v) for k, v in given.items()}
