"""A case run again with other cells: judged first, written into the project when its turn comes.

Other cells are larger, or as large and laid elsewhere. What they change is only known against the
case itself, so that one is run before them, and where it comes to no result nothing is written.
"""

import shutil
from pathlib import Path

from tuftwork.car import FlowRun
from tuftwork.errors import TuftworkError
from tuftwork.files import REMOVE, OpenProject, edit_project, read_project, write_atomic
from tuftwork.files.project import PROJECT_FILE
from tuftwork.study.flow.case import built_case, flow_of, run_named
from tuftwork.study.flow.desk import Desk, refuse, run_case
from tuftwork.study.flow.grid import coarser_cell, laid_share
from tuftwork.study.flow.spoken import prepared_or_spoken
from tuftwork.study.flow.sweep import Swept, how_it_ended, run_sweep, spread_cases, spread_name
from tuftwork.study.flow.sweep import state_of as state_of_case


def rerun_coarser(folder: Path, name: str, by: float, *, cards: int = 0) -> tuple[Swept, ...]:
    """Run a case that is not done yet, then the same one with larger cells.

    Parameters
    ----------
    folder
        Of the project.
    name
        Of the case; the first where empty.
    by
        Size of the cells over that of the case. [-]
    cards
        Graphics cards that share the box; as the case says where 0.

    Returns
    -------
    swept
        What became of the case, and of the one with larger cells.

    Raises
    ------
    InputError, FileFault
        If either is refused; nothing has been written then.
    KeyboardInterrupt
        After Ctrl-C. A case that had not begun to run is not in the project.
    """
    opened = read_project(folder)
    run = run_named(opened.project, name)
    return _rerun(opened, run, "cell", coarser_cell(run, by), cards)


def rerun_laid(folder: Path, name: str, share: float, *, cards: int = 0) -> tuple[Swept, ...]:
    """Run a case that is not done yet, then the same one with its cells laid elsewhere.

    Parameters
    ----------
    folder, name, cards
        As for ``rerun_coarser``.
    share
        Part of a cell by which they are laid further ahead than those of the case. [-]

    Returns
    -------
    swept
        What became of the case, and of the one with its cells laid elsewhere.

    Raises
    ------
    InputError, FileFault
        If either is refused; nothing has been written then.
    KeyboardInterrupt
        After Ctrl-C. A case that had not begun to run is not in the project.
    """
    opened = read_project(folder)
    run = run_named(opened.project, name)
    return _rerun(opened, run, "laid", laid_share(run, share), cards)


def _rerun(
    opened: OpenProject, run: FlowRun, key: str, value: str, cards: int
) -> tuple[Swept, ...]:
    """Run a case, and the one that differs from it in one key."""
    other = spread_name(run.name, {key: value})
    is_there = other in {case.name for case in flow_of(opened.project).cases}
    changed = (
        run_named(opened.project, other)
        if is_there
        else run.with_values({"name": other, key: value, "counts": False, "evidence": ""})
    )
    _judge(opened, changed, cards)
    if not _is_done(opened, run.name):
        _judge(opened, run, cards)
    (base,) = run_sweep(opened.folder, (run.name,), cards=cards)
    if not base.is_done:
        text = f"'{run.name}' came to no result that it could be held against"
        return base, Swept(name=other, state="not begun", text=text)
    if is_there:
        return (base, *run_sweep(opened.folder, (other,), cards=cards))
    return base, _written_and_run(opened.folder, run.name, {key: [value]}, cards)


def _is_done(opened: OpenProject, name: str) -> bool:
    state = state_of_case(opened.folder, name)
    return state is not None and state["state"] == "done"


def _judge(opened: OpenProject, run: FlowRun, cards: int) -> None:
    """Refuse a case that could not run, its grid cut and all."""
    built = built_case(opened.project, opened.folder, run)
    _, faults = prepared_or_spoken(built.case, built.forecast(cards=cards))
    refuse(faults, run.name)


def _written_and_run(folder: Path, base: str, other: dict[str, list[str]], cards: int) -> Swept:
    """Write a case with other cells and run it; it is taken out again if it never begins."""
    kept = _bytes_of(folder)
    after, (name,) = spread_cases(read_project(folder), base, other)
    written = _bytes_of(folder)
    desk = Desk.of(folder, built_case(after.project, folder, run_named(after.project, name)).digest)
    was_there = desk.folder.exists()
    try:
        state = run_case(folder, name, cards=cards)
        return Swept(name=name, state="done", evidence=state["evidence"])
    except (TuftworkError, MemoryError) as error:
        return Swept(name=name, **how_it_ended(error, name))
    finally:
        if (desk.read() or {}).get("step") is None:  # no step was done, nothing was kept
            _take_out(folder, name, kept, written)
            if not was_there:
                shutil.rmtree(desk.folder, ignore_errors=True)


def _bytes_of(folder: Path) -> dict[str, bytes | None]:
    """Return the project file and its previous version as they stand."""
    names = (PROJECT_FILE, f"{PROJECT_FILE}.previous")
    paths = {name: folder / name for name in names}
    return {name: path.read_bytes() if path.is_file() else None for name, path in paths.items()}


def _take_out(
    folder: Path, name: str, kept: dict[str, bytes | None], written: dict[str, bytes | None]
) -> None:
    """Put the project's files back as they were, or take the case out of one that has moved on."""
    if _bytes_of(folder) != written:
        edit_project(folder, lambda now: [{("flow", "cases", name): REMOVE}])
        return
    for file, data in kept.items():
        if data is None:
            (folder / file).unlink(missing_ok=True)
        else:
            write_atomic(folder / file, data)
