"""A sweep of the 3-D flow as the page sees it: how each case stands, start, stop, go on.

A sweep is a process of its own, like a single run: what it is about stands in
``results/flow/sweep.json``, so a page can be closed and opened again and sees one that a command
began.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from threading import Thread
from typing import Any

from tuftwork.car import FlowRun
from tuftwork.errors import FileFault, InputError, NotCovered
from tuftwork.files import write_atomic
from tuftwork.files.hold import holding
from tuftwork.study.flow.case import Built, built_case
from tuftwork.study.flow.desk import GOING, Desk
from tuftwork.study.flow.page import is_of, state_tree, where_of
from tuftwork.study.flow.process import FRESH, age_of, born, here, host_of, is_alive
from tuftwork.study.flow.sighting import Flown, flown_runs
from tuftwork.study.number import number_of_quantity
from tuftwork.study.store import digest_of

_NOTE, _STOP, _LOG = "sweep.json", "sweep-stop", "sweep.txt"
_LOADS = ("front", "rear", "drag")
_OPEN = ("not run", "cancelled", "lost", "failed", "refused", "older")
"""States of a case that a sweep would run."""


def _place(folder: Path) -> Path:
    return folder / "results" / "flow"


def note_sweep(folder: Path, names: Sequence[str], pid: int) -> None:
    """Write down which cases a process sweeps; an older wish to stop is forgotten."""
    where = _place(folder)
    where.mkdir(parents=True, exist_ok=True)
    old = noted_sweep(folder)
    if old is None or old["pid"] != pid or host_of(old):
        (where / _STOP).unlink(missing_ok=True)
    started = datetime.now(UTC).isoformat(timespec="seconds")
    note = {"pid": pid, "born": born(pid), "host": here(), "names": list(names),
            "started": started}  # fmt: skip
    write_atomic(where / _NOTE, json.dumps(note).encode())


def noted_sweep(folder: Path) -> dict[str, Any] | None:
    """Return the last sweep that was begun, None where there was none."""
    try:
        note: dict[str, Any] = json.loads((_place(folder) / _NOTE).read_text("utf-8"))
    except (OSError, ValueError):
        return None
    return note


def is_sweeping(folder: Path) -> bool:
    """Return whether a sweep is going on; one on another host is while its cases are heard of."""
    note = noted_sweep(folder)
    if note is None:
        return False
    if not host_of(note):
        return is_alive(int(note["pid"]), str(note.get("born", "")))
    return min([age_of(note.get("started")), *_ages(folder, note["names"])]) <= FRESH


def _ages(folder: Path, names: Sequence[str]) -> Iterator[float]:
    """Yield how long ago something was written down of each of these cases. [s]."""
    for path in _place(folder).glob("*/run.json"):
        state = Desk(folder=path.parent).read() or {}
        if state.get("case") in names:
            yield age_of(state.get("updated"))


def mark_of(folder: Path) -> str:
    """Return a mark that changes when a run or a sweep begins, goes on to its next part, or ends.

    A command may do so while a page is open: comparing marks costs nothing.

    Parameters
    ----------
    folder
        Of the project.
    """
    note = noted_sweep(folder)
    found: list[Any] = [note["pid"], note["started"]] if note and is_sweeping(folder) else []
    for path in sorted(_place(folder).glob("*/run.json")):
        state = Desk(folder=path.parent).read() or {}
        found.append([path.parent.name, state.get("state"), state.get("pid")])
    return digest_of(found)[:12]


def is_told_to_stop(folder: Path) -> bool:
    """Return whether somebody asked the sweep to stop."""
    return (_place(folder) / _STOP).exists()


def stop_sweep(folder: Path, cases: Sequence[Built]) -> bool:
    """Ask a sweep and the cases that it runs to stop; False where none is going.

    Parameters
    ----------
    folder
        Of the project.
    cases
        Those of the project.
    """
    if not is_sweeping(folder):
        return False
    (_place(folder) / _STOP).touch()
    names = (noted_sweep(folder) or {"names": ()})["names"]
    for built in cases:
        if built.run.name in names:
            Desk.of(folder, built.digest).ask_to_stop()
    return True


def start_sweep(folder: Path, names: Sequence[str]) -> None:
    """Start a sweep as a process of its own.

    Raises
    ------
    InputError
        If one is going on, or there is nothing to run.
    """
    if is_sweeping(folder):
        raise InputError("sweep", len(names), "cases", "is running already", "Stop it first.")
    if not names:
        raise InputError("sweep", 0, "cases", "every case has been run", "Spread more of them.")
    where = _place(folder)
    where.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-c", "from tuftwork.cli import main; main()", "flow", "sweep",
               str(folder), *(word for name in names for word in ("--case", name))]  # fmt: skip
    with (where / _LOG).open("wb") as log:
        process = subprocess.Popen(
            [*command, "--json"], stdout=log, stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
    Thread(target=process.wait, daemon=True).start()
    note_sweep(folder, names, process.pid)


def built_cases(bench: Any) -> list[Built]:
    """Return the cases of the project that can be built."""
    project = bench.opened.project
    found = []
    for run in project.flow.cases if project.flow else ():
        try:
            found.append(built_case(project, bench.folder, run))
        except (InputError, FileFault, NotCovered):
            continue
    return found


def left_to_run(bench: Any) -> list[str]:
    """Return the cases that a sweep would run."""
    return [row["name"] for row in sweep_tree(bench)["rows"] if row["state"] in _OPEN]


def sweep_tree(bench: Any) -> dict[str, Any]:
    """Return every case with its state and loads, and how the sweep stands.

    ``as_of`` is when it was looked at (s, by this process' own clock): two answers can pass each
    other on the way to a page.

    Parameters
    ----------
    bench
        The workbench.
    """
    as_of = time.perf_counter()  # a clock that is set back would make every later look an older one
    project, folder = bench.opened.project, bench.folder
    built = {b.run.name: b for b in built_cases(bench)}
    flown = {f.run.name: f for f in flown_runs(project, folder)}
    going = is_sweeping(folder)
    names = (noted_sweep(folder) or {"names": ()})["names"] if going else ()
    rows = [
        _row(folder, run, built.get(run.name), flown.get(run.name), run.name in names)
        for run in (project.flow.cases if project.flow else ())
    ]
    own = [row for row in rows if row["name"] in names]
    return {
        "as_of": as_of,
        "rows": rows,
        "is_going": going,
        "done": sum(row["state"] == "done" for row in own),
        "count": len(own),
        "left": sum(row["state"] in _OPEN for row in rows),
        "is_stopping": going and is_told_to_stop(folder),
    }


def _row(
    folder: Path, run: FlowRun, built: Built | None, flown: Flown | None, is_swept: bool
) -> dict[str, Any]:
    state = None if built is None else state_tree(Desk.of(folder, built.digest).read())
    word = "not run" if state is None else str(state["state"])
    if built is None:
        word = "refused"
    elif flown is not None and word == "not run":
        word = "done" if is_of(built, flown.record) else "older"
    elif word == "done" and flown is None:
        word = "not run"  # its record has gone
    elif word == "done" and state is not None and state["settle"] not in (None, run.settle):
        word = "older"
    if is_swept and word in _OPEN and (state is None or word != "failed"):
        word = "waiting"
    row: dict[str, Any] = {
        "name": run.name, "state": word, "at": _at(run, built),
        "text": "" if state is None or word in (*GOING, "done", "waiting") else state["text"] or "",
        "progress": state.get("progress") if state is not None and word in GOING else None,
        "evidence": run.evidence, **dict.fromkeys(_LOADS),
    }  # fmt: skip
    if flown is not None:
        at = where_of(flown.record)
        row |= {key: number_of_quantity(flown.area(key), why=f"flow/{run.name}/{key}") | {"at": at}
                for key in _LOADS}  # fmt: skip
    return row


def _at(run: FlowRun, built: Built | None) -> str:
    """Return ride heights, speed and yaw of a case in words."""
    words = []
    if built is not None:
        heights = (("hf", built.front), ("hr", built.rear))
        words = [f"{name}\u00a0{1e3 * h:.1f}\u202fmm" for name, h in heights if h is not None]
    words.append(f"{3.6 * run.speed.best:.0f}\u202fkm/h")
    if run.yaw.best:
        words.append(f"yaw\u00a0{57.29577951308232 * run.yaw.best:.1f}°")
    return ", ".join(words)


def begin_sweep(folder: Path, names: Sequence[str]) -> None:
    """Write down that this process sweeps these cases."""
    note_sweep(folder, names, os.getpid())


@contextmanager
def sweeping(folder: Path, names: Sequence[str]) -> Iterator[None]:
    """Sweep these cases, alone in this project.

    Raises
    ------
    InputError
        If another process sweeps it.
    """
    with holding(_place(folder)) as is_mine:
        if not is_mine:
            raise InputError("sweep", len(names), "cases", "another one is going on here",
                             "Watch it on the page Flow, or stop it first.")  # fmt: skip
        begin_sweep(folder, names)
        try:
            yield
        finally:
            end_sweep(folder)


def end_sweep(folder: Path) -> None:
    """Forget the sweep of this process, and a wish to stop it."""
    for name in (_NOTE, _STOP):
        (_place(folder) / name).unlink(missing_ok=True)
