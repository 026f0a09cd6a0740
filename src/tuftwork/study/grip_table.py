"""Circles of a project: written in it, or in tables of its evidence, every fault at once."""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from tuftwork.car import Circle, Project
from tuftwork.car.cornering import MEASURES
from tuftwork.car.table import limit_of
from tuftwork.errors import Fault, FileFault, InputError
from tuftwork.files.evidence import FOLDER
from tuftwork.files.testtable import WORD, Row, Wanted, read_test_table
from tuftwork.quantity import Z80, Quantity

COLUMNS: Mapping[str, Wanted] = {
    "id": Wanted(holds=WORD), "kind": Wanted(holds=WORD),
    "radius": Wanted(holds="length", unit="m"),
    "speed": Wanted(holds="speed", unit="km/h", must=False),
    "time": Wanted(holds="time", unit="s", must=False),
    "lateral": Wanted(holds="acceleration", unit="g", must=False),
    "uncertainty": Wanted(holds="share", unit="%", must=False),
    "radius uncertainty": Wanted(holds="length", unit="m", must=False),
    "bank": Wanted(holds="angle", unit="°", must=False),
    "temperature": Wanted(holds="temperature", unit="°C", must=False),
    "at": Wanted(holds=WORD, must=False), "gave up": Wanted(holds=WORD, must=False),
    "state": Wanted(holds=WORD, must=False), "mass state": Wanted(holds=WORD, must=False),
}  # fmt: skip
_KEYS = {"time": "round_time", "gave up": "gave_up", "mass state": "mass_state"}
_HOLDS = {
    "radius": ("length", "m"), "speed": ("speed", "km/h"), "round_time": ("time", "s"),
    "lateral": ("acceleration", "g"), "bank": ("angle", "°"), "temperature": ("temperature", "°C"),
}  # fmt: skip
DOUBT = 0.01  # [-] standard deviation of a measure whose table states none. Common practice
RADIUS_DOUBT = 0.005  # [-] the same, of a radius
_MOST = 12


def circles_of(project: Project, folder: Path | None) -> tuple[Circle, ...]:
    """Return every circle of a project.

    Raises
    ------
    FileFault
        With everything wrong in every table: files that are not there, cells, ids used twice,
        states and mass states nobody knows.
    """
    assert project.lap is not None
    assert project.lap.cornering is not None
    own = project.lap.cornering
    found, faults = list(own.runs), list[Fault]()
    known = {row.id: "project.toml" for row in own.runs}
    for item in own.tables:
        try:
            rows = _table(project, folder, item)
        except FileFault as why:
            faults += why.faults
            continue
        for line, name, circle in rows:
            if isinstance(circle, Fault):
                faults.append(circle)
                continue
            if circle.id in known:
                faults.append(Fault(what=f"this id stands in {known[circle.id]} already",
                                    file=name, line=line, found=circle.id))  # fmt: skip
            known[circle.id] = name
            faults += _unknown(project, circle, name, line)
            found.append(circle)
    faults += [
        Fault(what="its mass state has no cg_height, which a circle needs",
              key=f"lap.cornering: {row.id}", found=project.mass_state(row.mass_state).name)
        for row in found
        if row.mass_state in ("", *(m.name for m in project.mass_states))
        and project.mass_state(row.mass_state).cg_height is None
    ]  # fmt: skip
    if faults:
        raise FileFault(faults[:_MOST])
    return tuple(found)


def _table(
    project: Project, folder: Path | None, item: str
) -> list[tuple[int, str, Circle | Fault]]:
    evidence = next((e for e in project.evidence if e.id == item), None)
    name = evidence.file if evidence is not None else ""
    if not name:
        raise FileFault([Fault(what="is no evidence with a file", key="lap.cornering.tables",
                               found=item, cure="Add it to [[evidence]].")])  # fmt: skip
    path = folder / FOLDER / name if folder is not None else None
    if path is None or not path.is_file():
        raise FileFault([Fault(what="this file is not there", file=name,
                               cure=f"Copy the table into {FOLDER}/.")])  # fmt: skip
    table = read_test_table(path, COLUMNS)
    rows: list[tuple[int, str, Circle | Fault]] = []
    for line, row in zip(table.lines, table.rows, strict=True):
        try:
            rows.append((line, name, _circle(row, item, f"{name}:{line}")))
        except InputError as why:
            rows.append((line, name, Fault(what=str(why).rstrip("."), file=name, line=line)))
        except ValidationError as why:
            rows += [
                (line, name, Fault(what=_said(error["msg"]), file=name, line=line,
                                   key=".".join(str(k) for k in error["loc"])))
                for error in why.errors()
            ]  # fmt: skip
    return rows


def _circle(row: Row, item: str, place: str) -> Circle:
    given: dict[str, object] = {"evidence": item}
    for column, value in row.items():
        key = _KEYS.get(column, column)
        if isinstance(value, str):
            if value:
                given[key] = value
        elif np.isfinite(value) and key in _HOLDS:
            _check(key, float(value))
            arm = Z80 * _deviation(row, column, key, float(value))
            dimension, unit = _HOLDS[key]
            given[key] = Quantity(
                best=float(value), low=float(value) - arm, high=float(value) + arm, unit=unit,
                dimension=dimension, origin="measured", place=place,
            )  # fmt: skip
    return Circle.model_validate(given)


def _check(key: str, value: float) -> None:
    """Refuse what the same key of the project would not take."""
    limit = limit_of(Circle.model_fields[key])
    assert limit is not None
    if limit.positive and not value > 0.0:
        raise InputError(key, value, "", "must be above 0")
    if not (limit.least is None or value >= limit.least):
        raise InputError(key, value, "", f"must be at least {limit.least:g} in SI")
    if not (limit.most is None or value <= limit.most):
        raise InputError(key, value, "", f"must be at most {limit.most:g} in SI")


def _deviation(row: Row, column: str, key: str, value: float) -> float:
    if key in MEASURES:
        stated = float(row.get("uncertainty", np.nan))
        if stated < 0.0:
            raise InputError("uncertainty", 100 * stated, "%", "must not be below 0")
        return abs(value) * (stated if np.isfinite(stated) else DOUBT)
    if column == "radius":
        stated = float(row.get("radius uncertainty", np.nan))
        return stated if np.isfinite(stated) else RADIUS_DOUBT * abs(value)
    return 0.0


def _unknown(project: Project, circle: Circle, name: str, line: int) -> list[Fault]:
    states = tuple(s.name for s in project.states)
    masses = tuple(m.name for m in project.mass_states)
    return [
        Fault(what=f"no {what} of this name", file=name, line=line, found=value,
              expected=", ".join(known))
        for what, value, known in (
            ("state", circle.state, states), ("mass state", circle.mass_state, masses),
        )
        if value and value not in known
    ]  # fmt: skip


def _said(text: str) -> str:
    return text.removeprefix("Value error, ").rstrip(".")
