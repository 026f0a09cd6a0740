"""The table of a ride-height sweep, read and checked against the floor it is to tie."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.part import ChannelFloor
from tuftwork.car import Floor
from tuftwork.errors import Fault, FileFault, InputError, NotCovered
from tuftwork.files.evidence import FOLDER
from tuftwork.files.testtable import Row, Wanted, read_test_table
from tuftwork.quantity import Array
from tuftwork.study.job import Job

COLUMNS: Mapping[str, Wanted] = {
    "hr": Wanted(holds="height", unit="mm"), "czs": Wanted(holds="area", unit="m^2"),
    "uncertainty": Wanted(holds="area", unit="m^2", must=False),
    "hf": Wanted(holds="height", unit="mm", must=False),
}  # fmt: skip
_LEAST = 3  # heights: fewer say nothing of how the load goes with height
_DOUBT = 0.03  # [-] standard deviation of CzS where the table states none. Common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorSweep:
    """A sweep in one direction, in the order of its file.

    Attributes
    ----------
    front, rear : (n,)
        Ride heights; the front ones keep the rake where the table has none. [m]
    downforce, deviation : (n,)
        CzS with its standard deviation. [m²]
    """

    front: Array
    rear: Array
    downforce: Array
    deviation: Array


def read_sweep(job: Job, part: Floor, model: ChannelFloor) -> FloorSweep:
    """Return the sweep a floor names, checked.

    Raises
    ------
    FileFault
        If it cannot be read, turns round, repeats a height, has too few of them or leaves the
        heights the floor's table reaches; each with its line.
    NotCovered
        If the project has no folder.
    """
    assert part.channel is not None
    if job.folder is None:
        raise NotCovered("The project has no folder, so its sweep cannot be read.")
    item = next((e for e in job.project.evidence if e.id == part.channel.sweep), None)
    if item is None or not item.file:
        raise InputError(f"{part.name}.channel.sweep", f"'{part.channel.sweep}'", "",
                         "is no evidence with a file", "Add it to [[evidence]].")  # fmt: skip
    path = job.folder / FOLDER / item.file
    if not path.is_file():
        raise FileFault([Fault(what="this file is not there", file=item.file,
                               cure=f"Copy the table into {FOLDER}/.")])  # fmt: skip
    table = read_test_table(path, COLUMNS)
    reference = model.reference
    rake = reference.ride_height_rear - reference.ride_height_front
    sweep = FloorSweep(
        rear=np.array([_f(r, "hr") for r in table.rows]),
        front=np.array([_f(r, "hf") if "hf" in r else _f(r, "hr") - rake for r in table.rows]),
        downforce=np.array([_f(r, "czs") for r in table.rows]),
        deviation=np.array([
            _f(r, "uncertainty") if "uncertainty" in r else _DOUBT * abs(_f(r, "czs"))
            for r in table.rows
        ]),
    )  # fmt: skip
    faults = _wrong(sweep, table.lines, item.file, model)
    if faults:
        raise FileFault(faults)
    return sweep


def _f(row: Row, key: str) -> float:
    return float(row[key])


def _wrong(sweep: FloorSweep, lines: Sequence[int], name: str, model: ChannelFloor) -> list[Fault]:
    """Return everything about a sweep that is not as it must be."""
    faults = []
    count = sweep.rear.size
    if count < _LEAST:
        faults.append(Fault(what="has too few ride heights", file=name, found=f"{count}",
                            expected=f"{_LEAST} or more"))  # fmt: skip
    step = np.diff(sweep.rear)
    ways = {1.0: "rising", -1.0: "falling"}
    for k, s in enumerate(step):
        line = lines[k + 1]
        if s == 0:
            faults.append(Fault(what="repeats the ride height above it", file=name, line=line,
                                found=_mm(sweep.rear[k + 1]),
                                cure="Give the mean of what was repeated."))  # fmt: skip
        elif step[0] != 0 and np.sign(s) != np.sign(step[0]):
            way = ways[float(np.sign(step[0]))]
            faults.append(Fault(
                what=f"turns round: the table was {way} up to here", file=name, line=line,
                found=_mm(sweep.rear[k + 1]),
                cure="Give one way of the sweep; up and down may differ by hysteresis.",
            ))  # fmt: skip
    spec = model.spec
    for k in range(count):
        for what, value, (low, high) in (
            ("rear", sweep.rear[k], spec.rear), ("front", sweep.front[k], spec.front)
        ):  # fmt: skip
            if not low <= value <= high:
                faults.append(Fault(
                    what=f"the {what} ride height lies beyond the floor's table", file=name,
                    line=lines[k], found=_mm(value), expected=f"{_mm(low)} to {_mm(high)}",
                ))  # fmt: skip
        if not sweep.downforce[k] > 0:
            faults.append(Fault(what="CzS must be above 0", file=name, line=lines[k],
                                found=f"{sweep.downforce[k]:g} m²"))  # fmt: skip
        if not sweep.deviation[k] > 0:
            faults.append(Fault(what="the uncertainty must be above 0", file=name, line=lines[k],
                                found=f"{sweep.deviation[k]:g} m²"))  # fmt: skip
    return faults[:12]


def _mm(value: float) -> str:
    return f"{1e3 * value:.1f} mm"
