"""A run of the 3-D flow from start to evidence: its folder, its state on disk, its end.

A run is a process of its own that writes what it knows into ``results/flow/<digest>/run.json``.
So a page can be closed and opened again, a command and a page see the same run, and a run goes on
from its checkpoint after a kill.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from threading import Thread
from typing import Any

from tuftwork.errors import Cancelled, Fault, FileFault, InputError, NotConverged, TuftworkError
from tuftwork.files import OpenProject, read_project, write_atomic
from tuftwork.files.flow import write_flow_record
from tuftwork.files.flow_state import FlowStateFile
from tuftwork.files.hold import holding
from tuftwork.files.time_file import TimeFile, set_aside
from tuftwork.flow import Prepared, Progress, run
from tuftwork.flow.checkpoint import settling_fault
from tuftwork.flow.judge import Forecast
from tuftwork.flow.over_time import OverTime
from tuftwork.flow.slab_crew import mpi_world
from tuftwork.flow.statistics import SeriesMean
from tuftwork.study.flow.case import Built, built_case, flow_of, run_named
from tuftwork.study.flow.files import Form, check_forms, export_run, slugs
from tuftwork.study.flow.gentle import gently
from tuftwork.study.flow.over_time import GROWING, kept_as, wish_of
from tuftwork.study.flow.process import already, born, here, host_of, seen_from_here
from tuftwork.study.flow.record import record_tree
from tuftwork.study.flow.register import register_run
from tuftwork.study.flow.spoken import prepared_or_spoken, spoken, spoken_text

_STATE, _STOP, _CHECKPOINT, _LOG = "run.json", "stop", "state.npz", "log.txt"
_EVERY = 0.5
"""Time between two writings of the state. [s]"""
_POINTS = 400
"""Points of the kept history."""
_KEPT = ("settle", "travel", "seconds", "doubts", "downforce", "drag", "history")
"""What of a state still holds when its run goes on from its checkpoint."""
GOING = ("preparing", "running", "finishing")

Tell = Callable[[dict[str, Any]], None]


def _nobody(state: dict[str, Any]) -> None:
    """Nobody watches."""


@dataclass(slots=True)
class Desk:
    """One run's folder and what is written there.

    Attributes
    ----------
    folder
        Of the run.
    state
        What ``run.json`` says.
    tell
        Called with the state whenever it is written.
    """

    folder: Path
    tell: Tell = _nobody
    state: dict[str, Any] = field(default_factory=dict)
    written: float = 0.0
    first: tuple[float, float] | None = None
    """Travel and time at the first look of this process. [body lengths], [s]"""

    @classmethod
    def of(cls, project: Path, digest: str, tell: Tell = _nobody) -> "Desk":
        """Return the desk of a case; its folder is made when something is written."""
        return cls(folder=project / "results" / "flow" / digest[:16], tell=tell)

    @property
    def checkpoint(self) -> Path:
        """Where the state of the flow is kept."""
        return self.folder / _CHECKPOINT

    def note(self, **news: Any) -> None:
        """Change the state and write it down."""
        self.state |= news | {"updated": datetime.now(UTC).isoformat(timespec="seconds")}
        self.folder.mkdir(parents=True, exist_ok=True)
        write_atomic(self.folder / _STATE, json.dumps(self.state).encode())
        self.written = time.monotonic()
        self.tell(self.state)

    def read(self) -> dict[str, Any] | None:
        """Return the state on disk; a run whose process has gone is ``lost``.

        Of a run on another host ``elsewhere`` is its name; where nothing was heard of it for a
        while it is ``unheard``.
        """
        try:
            state: dict[str, Any] = json.loads((self.folder / _STATE).read_text("utf-8"))
        except (OSError, ValueError):
            return None
        state["can_resume"] = self.checkpoint.is_file()
        is_going = state.get("state") in GOING
        return state | (seen_from_here(state, state["can_resume"]) if is_going else {})

    def so_far(self, settle: float) -> dict[str, Any]:
        """Return how far a run is that goes on from its checkpoint, nothing where it begins.

        Its loads so far are not among it where it is averaged from another travel on now.
        """
        none: dict[str, Any] = {"history": []}
        before = self.read()
        if before is None or not before["can_resume"]:
            return none
        keys = _KEPT if before.get("settle") in (None, settle) else _KEPT[:4]
        return none | {key: before[key] for key in keys if before.get(key) is not None}

    def ask_to_stop(self) -> bool:
        """Ask a run to stop at its next sample; False where none is going."""
        state = self.read()
        if state is None or state["state"] not in GOING:
            return False
        (self.folder / _STOP).touch()
        return True

    def watch(self, progress: Progress) -> bool:
        """Write down how far the run is; False stops it."""
        history = self.state.setdefault("history", [])
        if self.first is None:
            self.first = (progress.travel, progress.seconds)
            # what was told after the checkpoint was written is run once more
            history[:] = [row for row in history if row[0] < progress.travel]
        gone = progress.travel - self.first[0]
        down, drag = progress.downforce_area, progress.drag_area
        if down is not None and drag is not None:
            history.append(
                [round(progress.travel, 4), down.mean, down.error, drag.mean, drag.error]
            )
            if len(history) > _POINTS:
                del history[1:-1:2]
        # known at every sample, so that whatever ends it says where it stood; written seldom
        self.state |= {"travel": progress.travel, "seconds": progress.seconds}
        if time.monotonic() - self.written > _EVERY:
            self.note(
                state="running", step=progress.step, rate=progress.rate,
                # of this process: a run that goes on from a checkpoint has travelled before it
                pace=(progress.seconds - self.first[1]) / gone if gone > 0 else None,
                downforce=_pair(down), drag=_pair(drag),
                doubts=[doubt.text for doubt in progress.doubts],
            )  # fmt: skip
        return not (self.folder / _STOP).exists()


def _pair(found: SeriesMean | None) -> list[float] | None:
    return None if found is None else [found.mean, found.error]


def judged(built: Built, desk: Desk, cards: int = 0) -> Forecast:
    """Return the forecast of a case, with what keeps it from going on from its checkpoint."""
    seen, state = built.forecast(cards=cards), desk.read()
    if state is None or not state["can_resume"] or state.get("settle") is None:
        return seen
    settle, travel = built.run.settle, state.get("travel") or 0.0
    fault = settling_fault(state["settle"], settle, travel)
    return seen if fault is None else replace(seen, faults=(*seen.faults, spoken(fault)))


def refuse(faults: Sequence[InputError], name: str) -> None:
    """Raise every fault of a case at once, none of them where there is none.

    Raises
    ------
    FileFault
        With all of them.
    """
    if faults:
        raise FileFault([
            Fault(what=f.limit, key=f"flow.cases.{name}: {f.name}",
                  found=f"{f.value:g} {f.unit}".strip() if isinstance(f.value, int | float)
                  else f"{f.value} {f.unit}".strip(), cure=f.cure)
            for f in faults
        ])  # fmt: skip


def prepare_case(opened: OpenProject, name: str = "") -> tuple[Built, Prepared]:
    """Return a case ready to run.

    Raises
    ------
    FileFault
        With everything that speaks against it.
    """
    built = built_case(opened.project, opened.folder, run_named(opened.project, name))
    prepared, faults = prepared_or_spoken(built.case, built.forecast())
    refuse(faults, built.run.name)
    assert prepared is not None
    return built, prepared


def run_case(
    folder: Path, name: str = "", *, tell: Tell = _nobody, fields: Sequence[Form] = (),
    register: bool = True, cards: int = 0,
) -> dict[str, Any]:  # fmt: skip
    """Run a case of a project to its end and register it as evidence.

    Parameters
    ----------
    folder
        Of the project.
    name
        Of the case; the first unless given.
    tell
        Called with the state as it is written, about twice a second.
    fields
        Forms in which the whole field is exported too.
    register
        Whether the finished run becomes evidence of the project.
    cards
        How many graphics cards share the box; as the case says where 0.

    Returns
    -------
    state
        The last one: loads, files, evidence.

    Raises
    ------
    FileFault
        If the case is refused; every fault is in it.
    NotConverged, Cancelled
        As the solver says; the state on disk says so too.
    KeyboardInterrupt
        After Ctrl-C; the run has come to its next sample and kept a checkpoint.
    """
    check_forms(fields)
    opened = read_project(folder)
    cards = cards or run_named(opened.project, name).cards
    if cards > 1:
        mpi_world()  # whoever waits for this process under MPI is sent home when it ends
    built = built_case(opened.project, opened.folder, run_named(opened.project, name))
    desk = Desk.of(opened.folder, built.digest, tell)
    with holding(desk.folder) as is_mine:  # two may begin at the same moment
        going = desk.read()
        is_going = going is not None and going["state"] in GOING
        is_own = going is not None and going.get("pid") == os.getpid() and not host_of(going)
        if not is_mine or (is_going and not is_own):
            raise InputError("case", f"'{built.run.name}'", "", already(going),
                             "Watch it on the page Flow, or cancel it first.")  # fmt: skip
        return _begun(opened, built, desk, (fields, register, cards))


def _begun(
    opened: OpenProject, built: Built, desk: Desk, wanted: tuple[Sequence[Form], bool, int]
) -> dict[str, Any]:
    """Note that a run begins, and carry it out."""
    (desk.folder / _STOP).unlink(missing_ok=True)
    seen = judged(built, desk, wanted[2])
    desk.note(
        state="preparing", case=built.run.name, digest=built.digest, pid=os.getpid(),
        born=born(os.getpid()), host=here(),
        started=datetime.now(UTC).isoformat(timespec="seconds"),
        back_end=built.run.back_end, longest=built.run.longest, asked="", pace=None,
        text="", faults=[], **desk.so_far(built.run.settle),
    )  # fmt: skip
    with gently((desk.folder / _STOP).touch, lambda: desk.state["state"] != "preparing"):
        return _noted(opened, built, desk, wanted, seen)


def _noted(
    opened: OpenProject, built: Built, desk: Desk, wanted: tuple[Sequence[Form], bool, int],
    seen: Forecast,
) -> dict[str, Any]:  # fmt: skip
    """Carry a run out and note how it ends, whatever happens."""
    try:
        return _carried_out(opened, built, desk, wanted, seen)
    except Cancelled as error:
        desk.note(state="cancelled", text=spoken_text(error))
        raise Cancelled(spoken_text(error)) from error
    except (TuftworkError, OSError, MemoryError) as error:
        word = "failed" if isinstance(error, NotConverged) else "refused"
        faults = spoken_faults(error, built.run.name)
        desk.note(state=word, text=spoken_text(error), faults=faults)
        if isinstance(error, NotConverged):
            raise NotConverged(spoken_text(error)) from error
        raise (spoken(error) if isinstance(error, InputError) else error) from None
    except KeyboardInterrupt:
        begun = desk.state["state"] != "preparing"
        text = "stopped at once; it goes on from its last checkpoint, if there is one"
        desk.note(state="cancelled", text=text if begun else "stopped before it began")
        raise
    except BaseException as error:
        desk.note(state="failed", text=f"{type(error).__name__}: {error}")
        raise


def spoken_faults(error: BaseException, name: str) -> list[str]:
    """Return what is wrong with a case, a sentence for each, without the key it stands under."""
    if not isinstance(error, FileFault):
        return [spoken_text(error)]
    return [str(fault).removeprefix(f"flow.cases.{name}: ") for fault in error.faults]


def _carried_out(
    opened: OpenProject, built: Built, desk: Desk, wanted: tuple[Sequence[Form], bool, int],
    seen: Forecast,
) -> dict[str, Any]:  # fmt: skip
    fields, register, cards = wanted
    prepared, faults = prepared_or_spoken(built.case, seen)
    refuse(faults, built.run.name)
    assert prepared is not None
    desk.note(state="running", n_cell=prepared.n_cell, step=0, asked=built.rule.asked,
              settle=built.run.settle, travel=desk.state.get("travel") or 0.0)  # fmt: skip
    wish = wish_of(built.run, prepared)
    grows = desk.folder / GROWING
    if wish is None:
        set_aside(grows)  # kept before a stop, and not asked for since
    result = run(
        prepared, rule=built.rule, backend=built.run.back_end,
        precision=built.run.precision or None, cards=cards,
        checkpoint=FlowStateFile(desk.checkpoint), watch=desk.watch,
        over_time=None if wish is None else OverTime(wish=wish, shelf=TimeFile(grows)),
    )  # fmt: skip
    desk.note(state="finishing", travel=result.travel, seconds=result.made_with["seconds"])
    own = slugs(case.name for case in flow_of(opened.project).cases)[built.run.name]
    stem = f"flow-{own}"
    target, series = desk.folder / f"{stem}.npz", None
    if wish is not None:
        series = kept_as(grows, desk.folder / f"{stem}-over-time.nc")
    record = record_tree(result, built, series)
    write_flow_record(target, record)
    target_folder = opened.folder / "out" / "flow" / own
    written = export_run(
        result, target_folder, wheelbase=built.wheelbase, fields=fields, series=series
    )
    evidence = register_run(opened.folder, built.run.name, target) if register else ""
    desk.checkpoint.unlink(missing_ok=True)
    grows.unlink(missing_ok=True)
    desk.note(
        state="done", evidence=evidence, record=target.name, files=written,
        travel=result.travel, reached=result.reached, loads=record["loads"],
        bias=record["bias"], notices=record["notices"],
    )  # fmt: skip
    return desk.state


def start_process(folder: Path, built: Built) -> dict[str, Any]:
    """Start a run as a process of its own and return its first state.

    Raises
    ------
    FileFault
        If the forecast refuses the case.
    InputError
        If it runs already.
    """
    desk = Desk.of(folder, built.digest)
    going = desk.read()
    if going is not None and going["state"] in GOING:
        raise InputError("case", f"'{built.run.name}'", "", already(going), "Cancel it first.")
    refuse(judged(built, desk).faults, built.run.name)
    before = desk.so_far(built.run.settle)
    desk.folder.mkdir(parents=True, exist_ok=True)
    (desk.folder / _STOP).unlink(missing_ok=True)
    code = "from tuftwork.cli import main; main()"
    command = [sys.executable, "-c", code, "flow", "run", str(folder), "--case", built.run.name]
    with (desk.folder / _LOG).open("wb") as log:
        process = subprocess.Popen(
            [*command, "--json"], stdout=log, stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
    Thread(target=process.wait, daemon=True).start()
    said = desk.read()
    if said is not None and said.get("pid") == process.pid:
        return said  # it was quicker than this process, and knows better
    desk.note(state="preparing", case=built.run.name, digest=built.digest, pid=process.pid,
              born=born(process.pid), host=here(), back_end=built.run.back_end,
              longest=built.run.longest, pace=None, text="", faults=[],
              **before)  # fmt: skip
    return desk.state
