"""Many cases of the 3-D flow one after the other, side by side, or on a Dask scheduler.

A sweep can be stopped and started again at any time: a case that is done is not run again, one that
was stopped goes on from its checkpoint. Every finished case becomes evidence of the project with
its stated bias; one that fails does not keep the others from running.
"""

import os
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

from tuftwork.errors import Cancelled, FileFault, InputError, NotCovered, TuftworkError
from tuftwork.files import NEW, OpenProject, read_project, save_changes
from tuftwork.quantity import Quantity, format_quantity, parse_quantity
from tuftwork.quantity.format import THIN
from tuftwork.study.executor import Cluster, Executor, InLine, Processes
from tuftwork.study.flow.case import built_case, flow_of, run_named
from tuftwork.study.flow.desk import Desk, run_case, spoken_faults
from tuftwork.study.flow.register import register_run
from tuftwork.study.flow.sighting import flown_runs
from tuftwork.study.flow.spoken import seen_as
from tuftwork.study.flow.sweep_desk import is_told_to_stop, sweeping

AXES = {
    "front": ("ride_height_front", "height", "mm"),
    "rear": ("ride_height_rear", "height", "mm"),
    "yaw": ("yaw", "angle", "°"),
    "cell": ("cell", "height", "mm"),
    "laid": ("laid", "ratio", "%"),
}
"""What may be spread: its name → key of a case, dimension, unit of a plain number."""
_MOST = 400
"""Cases of one spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swept:
    """What became of one case.

    Attributes
    ----------
    name
        Of the case.
    state
        ``"done"``, ``"was done"``, ``"cancelled"``, ``"failed"`` or ``"refused"``.
    text
        Why not, where it is not done.
    evidence
        Id under which it is registered; empty where it is not.
    """

    name: str
    state: str
    text: str = ""
    evidence: str = ""

    @property
    def is_done(self) -> bool:
        """Whether its result is there."""
        return self.state in ("done", "was done")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    folder: str
    name: str
    cards: int
    place: int
    threads: int


def spread_cases(
    opened: OpenProject, base: str, values: Mapping[str, Sequence[str]]
) -> tuple[OpenProject, tuple[str, ...]]:
    """Write every combination of values into the project as cases like one that is there.

    Parameters
    ----------
    opened
        The project.
    base
        Case to copy; the first where empty.
    values
        ``front``, ``rear``, ``yaw``, ``cell``, ``laid`` → values such as ``"40 mm"`` or ``"3"``;
        what is not named stays as in the base. Cases with other cells do not count: they tell how
        far the base's loads depend on its own.

    Returns
    -------
    opened, names
        The project as it now stands, and the cases; those that were there already are not changed.

    Raises
    ------
    InputError
        If a value cannot be read or there are too many.
    """
    run = run_named(opened.project, base)
    axes = {name: _read(name, found) for name, found in values.items() if found}
    combinations = list(product(*axes.values()))
    if not axes:
        return opened, (run.name,)
    if len(combinations) > _MOST:
        limit = f"must be at most {_MOST} in one spread"
        raise InputError("cases to write", len(combinations), "", limit, "Give fewer values.")
    there = {case.name for case in flow_of(opened.project).cases}
    raw = next(c for c in opened.document["flow"]["cases"] if c["name"] == run.name)
    names = []
    for chosen in combinations:
        told = dict(zip(axes, chosen, strict=True))
        name = spread_name(run.name, told)
        names.append(name)
        if name in there:
            continue
        item = {str(k): v for k, v in raw.unwrap().items() if k not in ("evidence", "name")}
        item |= {AXES[k][0]: v for k, v in told.items()}
        if "cell" in told or "laid" in told:
            item["counts"] = False
        opened = save_changes(opened, {("flow", "cases", NEW): {"name": name} | item})
    return opened, tuple(names)


def spread_name(base: str, told: Mapping[str, str]) -> str:
    """Return what a case that is spread from another is called."""
    return f"{base}, " + " ".join(f"{key} {value}" for key, value in told.items())


def _read(name: str, values: Sequence[str]) -> list[str]:
    """Return values with their unit, each once."""
    key, dimension, unit = AXES[name]
    out = []
    for value in values:
        text = value.strip()
        with suppress(ValueError):
            text = f"{float(text):g} {unit}"
        try:
            parse_quantity(text, dimension)
        except InputError as error:
            told = f"{seen_as(key)}, to be spread"
            raise InputError(told, f"'{text}'", "", error.limit, error.cure) from error
        if text not in out:
            out.append(text)
    return out


def listed(text: str) -> list[str]:
    """Return the values of a list such as ``30, 40, 50 mm``; a unit at the end holds for all."""
    parts = [part.strip() for part in re.split("[,;]", text) if part.strip()]
    unit = re.search(r"[a-zA-Z°]+$", parts[-1]) if parts else None
    if unit is None:
        return parts
    return [p if p[-1].isalpha() or p.endswith("°") else f"{p} {unit.group()}" for p in parts]


def run_sweep(
    folder: Path,
    names: Sequence[str] = (),
    *,
    scheduler: str = "",
    at_once: int = 1,
    cards: int = 0,
    tell: Callable[[Swept, int, int], None] = lambda swept, done, count: None,
) -> tuple[Swept, ...]:
    """Run cases of a project that are not done yet and register what they gave.

    Parameters
    ----------
    folder
        Of the project.
    names
        Cases, in the order to run; all of the project where empty.
    scheduler
        Address of a Dask scheduler whose workers see the project's folder under the same path.
    at_once
        Cases side by side on this machine; on graphics cards each takes one, in turn.
    cards
        Graphics cards that share each case; as the case says where 0.
    tell
        Called for every case that ends, with how many have and how many there are.

    Returns
    -------
    swept
        What became of each, in the order of the names.

    Raises
    ------
    UnknownName, InputError
        If a case does not exist, or the scheduler does not answer.
    """
    opened = read_project(folder)
    wanted = list(names) or [case.name for case in flow_of(opened.project).cases]
    if not wanted:
        raise NotCovered("No case for the 3-D flow yet. Add [[flow.cases]] with speed and cell.")
    found: dict[str, Swept] = {}
    with sweeping(folder, tuple(dict.fromkeys(wanted))):
        _sweep(opened, wanted, found, (scheduler, at_once, cards), tell)
    return tuple(found[name] for name in dict.fromkeys(wanted))


def _sweep(
    opened: OpenProject, wanted: Sequence[str], found: dict[str, Swept],
    how: tuple[str, int, int], tell: Callable[[Swept, int, int], None],
) -> None:  # fmt: skip
    """Register what is done, run what is not, and put down how each case ended."""
    folder, open_names = opened.folder, []
    for name in dict.fromkeys(wanted):
        run_named(opened.project, name)
        state = state_of(folder, name)
        if state is not None and state["state"] == "done":
            found[name] = _registered(folder, name, "was done")
            tell(found[name], len(found), len(set(wanted)))
        else:
            open_names.append(name)
    try:
        for name, state in _outcomes(folder, open_names, how):
            if state["state"] == "done":
                found[name] = _registered(folder, name, "done")
            else:
                found[name] = Swept(name=name, state=state["state"], text=state["text"])
            tell(found[name], len(found), len(set(wanted)))
    except Cancelled:
        for name in open_names:
            text = "the sweep was stopped before it began"
            found.setdefault(name, Swept(name=name, state="cancelled", text=text))


def _outcomes(folder: Path, names: Sequence[str], how: tuple[str, int, int]) -> Any:
    """Yield (case, last state) as cases end."""
    scheduler, at_once, cards = how
    if at_once < 1:
        raise InputError("--at-once", at_once, "cases", "must be 1 or more", "Use 1.")
    if not names:
        return
    threads = 0 if scheduler or at_once == 1 else max(1, (os.cpu_count() or 1) // at_once)
    tasks = [
        _Task(folder=str(folder.resolve()), name=name, cards=cards, place=k, threads=threads)
        for k, name in enumerate(names)
    ]
    where: Executor = InLine()
    if scheduler:
        where = Cluster(scheduler)
    elif at_once > 1:
        where = Processes(min(at_once, len(names)))
    try:
        for index, state in where.each(run_one, tasks, lambda: is_told_to_stop(folder)):
            yield names[index], state
    finally:
        if isinstance(where, Cluster):
            where.close()


def run_one(task: _Task) -> dict[str, str]:
    """Run one case wherever this is called, and return how it ended; never raises for the case."""
    folder = Path(task.folder)
    if not (folder / "project.toml").is_file():
        text = f"This worker does not see {folder}: a scheduler needs it on a disk that all share."
        return {"state": "refused", "text": text}
    if task.threads:
        import numba

        numba.set_num_threads(min(task.threads, numba.get_num_threads()))
    try:
        _take_card(task)
        run_case(folder, task.name, register=False, cards=task.cards)
    except (TuftworkError, MemoryError) as error:
        return how_it_ended(error, task.name)
    return {"state": "done", "text": ""}


def how_it_ended(error: BaseException, name: str) -> dict[str, str]:
    """Return state and words of a case that came to no result."""
    if isinstance(error, Cancelled):
        return {"state": "cancelled", "text": str(error)}
    if isinstance(error, FileFault):
        return {"state": "refused", "text": " ".join(spoken_faults(error, name))}
    return {"state": "failed", "text": str(error)}


def _take_card(task: _Task) -> None:
    """Give cases that run side by side a card each, in turn."""
    run = run_named(read_project(Path(task.folder)).project, task.name)
    if task.threads and run.back_end == "cuda" and (task.cards or run.cards) == 1:
        try:
            import cupy

            count = cupy.cuda.runtime.getDeviceCount()
        except Exception:  # noqa: BLE001 - no card: the run itself says so in words
            return
        cupy.cuda.Device(task.place % count).use()


def state_of(folder: Path, name: str) -> dict[str, Any] | None:
    """Return how the run of a case stands.

    None where it never began, its record has gone or it settled for another travel than is asked.
    """
    opened = read_project(folder)
    run = run_named(opened.project, name)
    desk = _desk(folder, name)
    state = desk.read()
    if state is None or state["state"] != "done":
        return state
    is_there = (desk.folder / state["record"]).is_file()
    return state if is_there and state.get("settle", run.settle) == run.settle else None


def _registered(folder: Path, name: str, how: str) -> Swept:
    """Register a finished case as evidence."""
    desk = _desk(folder, name)
    state = desk.read() or {}
    evidence = register_run(folder, name, desk.folder / state["record"])
    return Swept(name=name, state=how, evidence=evidence)


def _desk(folder: Path, name: str) -> Desk:
    opened = read_project(folder)
    built = built_case(opened.project, opened.folder, run_named(opened.project, name))
    return Desk.of(opened.folder, built.digest)


def swept_rows(folder: Path, swept: Sequence[Swept]) -> list[dict[str, Any]]:
    """Return the cases of a sweep in words: state, loads with their whole range, evidence.

    Parameters
    ----------
    folder
        Of the project.
    swept
        As ``run_sweep`` gave them.
    """
    runs = {run.run.name: run for run in flown_runs(read_project(folder).project, folder)}
    rows = []
    for one in swept:
        row: dict[str, Any] = {
            "name": one.name, "state": one.state, "text": one.text, "evidence": one.evidence,
            "why_not": "", "front": "", "rear": "", "drag": "", "heights": None,
        }  # fmt: skip
        run = runs.get(one.name)
        if run is not None:
            case = run.record["case"]
            row |= {name: _ranged(run.area(name)) for name in ("front", "rear", "drag")}
            row |= {"why_not": run.why_not, "heights": [case["front"], case["rear"]]}
            row["yaw"] = case["yaw"]
        rows.append(row)
    return rows


def _ranged(area: Quantity) -> str:
    return format_quantity(area).replace(f"{THIN}{area.unit}", "", 1)
