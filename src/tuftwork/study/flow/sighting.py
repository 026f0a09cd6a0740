"""Finished runs as sightings: loads with the statistical error and the stated bias, never as truth.

A run is one more opinion on the car at some ride heights. Its range is its own statistical error
together with how far this solver was from measured values at like resolution. All runs share that
bias, so several of them must not add up to certainty: with n runs each one's variance is n times
as large.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from pathlib import Path
from typing import Any

from tuftwork.car import Evidence, FlowRun, Measured, Project
from tuftwork.errors import FileFault
from tuftwork.files.evidence import digest_of
from tuftwork.files.flow import read_flow_record
from tuftwork.flow.bias import Bias
from tuftwork.quantity import Z80, Quantity
from tuftwork.study.number import Link

_AREA = ("m²", "area")


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """A finished run as the project has it.

    Attributes
    ----------
    run, evidence
        The case, and the evidence its record is.
    record
        Loads and words of the record, without its arrays.
    why_not
        Why it is not held against the car's models; empty where it is.
    """

    run: FlowRun
    evidence: Evidence
    record: dict[str, Any]
    why_not: str

    @property
    def state(self) -> str:
        """State of the car it stands for; empty for the first."""
        return self.run.state

    def area(self, name: str, share: float = 1.0) -> Quantity:
        """Return a load area with its whole range: statistical error and stated bias.

        Parameters
        ----------
        name
            front, rear, downforce, drag.
        share
            Factor on the range. [-]
        """
        loads, bias = self.record["loads"], self.record["bias"]
        mean, noise = loads[name]["mean"], Z80 * loads[name]["error"]
        drag = loads["drag"]["mean"]
        if name == "drag":
            down, up = mean * (1.0 - bias["low"]), mean * (bias["high"] - 1.0)
        else:
            stated = Bias(low=bias["low"], high=bias["high"], rows=())
            whole = stated.downforce_half_range(loads["downforce"]["mean"], drag)
            # what the whole may be off by, an axle may be off by half of
            own = stated.downforce_half_range(mean, 0.5 * drag)
            down = up = whole if name == "downforce" else max(own, 0.5 * whole)
        unit, dimension = _AREA
        low = mean - share * hypot(down, noise)
        if name == "drag":
            low = max(low, 0.1 * mean)
        return Quantity(
            best=mean, low=low, high=mean + share * hypot(up, noise), unit=unit,
            dimension=dimension, origin="computed", place=f"{self.evidence.id}, 3-D flow",
        )  # fmt: skip

    def measured_row(self, share: float) -> Measured:
        """Return the run as a row that the models are held against, ranges widened by a factor."""
        case = self.record["case"]

        def exactly(value: float, unit: str, dimension: str) -> Quantity:
            return Quantity(best=value, low=value, high=value, unit=unit, dimension=dimension,
                            origin="computed")  # fmt: skip

        return Measured(
            id=self.evidence.id,
            speed=exactly(case["speed"], "km/h", "speed"),
            ride_height_front=exactly(case["front"], "mm", "height"),
            ride_height_rear=exactly(case["rear"], "mm", "height"),
            downforce_front=self.area("front", share),
            downforce_rear=self.area("rear", share),
            drag=self.area("drag", share),
            state=self.run.state,
            evidence=self.evidence.id,
        )


def flown_runs(project: Project, folder: Path | None) -> tuple[Flown, ...]:
    """Return the finished runs whose record is there as it was registered.

    Parameters
    ----------
    project
        With its cases.
    folder
        Of the project; None gives none.
    """
    if project.flow is None or folder is None:
        return ()
    items = {item.id: item for item in project.evidence}
    found = []
    for run in project.flow.cases:
        item = items.get(run.evidence)
        record = None if item is None else _record_of(item, folder)
        if item is not None and isinstance(record, dict):
            why = _why_not(run, record)
            found.append(Flown(run=run, evidence=item, record=record, why_not=why))
    return tuple(found)


def _record_of(item: Evidence, folder: Path) -> dict[str, Any] | str:
    """Return a record as it was registered, or what has become of it."""
    path = folder / "evidence" / item.file
    if not item.file or not path.is_file():
        return "is not there"
    try:
        if digest_of(path) != item.digest:
            return "is not what was registered"
        return read_flow_record(path, arrays=False)
    except (OSError, FileFault):
        return "cannot be read"


def lost_record(project: Project, folder: Path, run: FlowRun) -> str:
    """Return in words what has become of the record of a finished case; empty where it is there.

    Parameters
    ----------
    project, folder
        With the case, and where it stands.
    run
        The case.
    """
    item = next((item for item in project.evidence if item.id == run.evidence), None)
    if not run.evidence:
        return ""
    if item is None:
        return f"'{run.name}' names {run.evidence}, and no evidence has that id: run it again."
    record = _record_of(item, folder)
    if not isinstance(record, str):
        return ""
    return (
        f"The record of '{run.name}', {item.id}, {record}: evidence/{item.file}. It is neither "
        "shown nor held against the car. Put the file back, or run the case again."
    )


_WRONG = ("speed", "density", "mass")
"""Doubts after which a run says nothing about the car."""


def _why_not(run: FlowRun, record: dict[str, Any]) -> str:
    case = record["case"]
    if not run.counts:
        return "The project says that this shape is not the car ('counts = false')."
    if case["front"] is None or case["rear"] is None:
        return "Nobody said at which ride heights the shape was drawn."
    if case["yaw"] != 0.0:
        return "It ran at yaw; the models of the parts are for straight air."
    box = case.get("box", {})  # older records do not say it: there were no tunnels
    if case["road"] == "none" or (case["road"] == "fixed" and "belt" not in box):
        return "No road moved under it; the models of the parts are for a moving one."
    if "belt" in box and "wheelbase" in case:
        start, end, _ = box["belt"]
        if start > 0.0 or end < case["wheelbase"]:
            return "Its belt did not reach under both axles; the models are for a moving road."
    if box.get("has_walls"):
        return "It ran between tunnel walls, and nothing corrects its loads for them."
    if not record["loads"]["drag"]["mean"] > 0:
        return "Its drag is not above zero, so it cannot be the car."
    for doubt in record.get("doubts", ()):
        if doubt["kind"] in _WRONG:
            return "Its flow looks wrong: see what is doubted about it."
    return ""


def sighted_rows(project: Project, folder: Path | None) -> tuple[Measured, ...]:
    """Return the runs that are held against the models, each with n times its own variance."""
    counted = [run for run in flown_runs(project, folder) if not run.why_not]
    share = sqrt(len(counted)) if counted else 1.0
    return tuple(run.measured_row(share) for run in counted)


def runs_held(project: Project, rows: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """Return the evidence ids of runs among the rows that the draws were held against."""
    measured = {row.id for row in project.measured}
    return tuple(dict.fromkeys(str(r["id"]) for r in rows if r["id"] not in measured))


def narrowed_by(project: Project, rows: Sequence[Mapping[str, Any]], *, is_tied: bool) -> str:
    """Return what narrowed the draws, as a map's header says it; empty where nothing did."""
    by = ["measured rows"] if is_tied else []
    held = runs_held(project, rows)
    if held:
        runs = ", ".join(held)
        by.append(f"this program's 3-D flow ({runs}), with its stated bias in the range")
    return f", narrowed by {' and by '.join(by)}" if by else ""


def flow_links(project: Project, rows: Sequence[Mapping[str, Any]]) -> list[Link]:
    """Return the step that runs of the 3-D flow make in every whole-car number."""
    held = runs_held(project, rows)
    what = "Draws held against the 3-D flow, its stated bias in the range"
    return [Link(what=what, origin="computed", source=", ".join(held))] if held else []
