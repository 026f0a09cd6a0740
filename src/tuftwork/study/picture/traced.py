"""Sections traced on a picture, seen end-on: numbers with ranges, coordinates, use as a wing's."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from tuftwork.car import Asked, WingPart
from tuftwork.errors import InputError, NotConverged, NotCovered, UnknownName
from tuftwork.reading import ask_of, measure, on_plane, traced_shape
from tuftwork.study.picture.desk import LIVE_DRAWS, Desk, desk_of

_LEAST = 8  # corners
_KINDS = ("chord", "thickness", "camber")
Answer = tuple[dict[str, Any], dict[str, np.ndarray]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedSection:
    """A traced outline.

    Attributes
    ----------
    chord
        [m]
    coordinates : (n_point, 2)
        x/c, y/c from the trailing edge over the upper side and back.
    is_turned_over
        Whether it hung upside down on the car: sections are kept so that they lift upward.
    miss
        How far the marks lie off the smooth outline, over the chord. [-]
    note
        Where it was traced.
    """

    chord: float
    coordinates: np.ndarray
    is_turned_over: bool
    miss: float
    note: str

    def csv(self) -> str:
        """Return the coordinates as a file the section engine reads."""
        head = [f"# {self.note}", f"# chord {1e3 * self.chord:.1f} mm"]
        if self.is_turned_over:
            head.append("# turned over: on the car it pushes down")
        rows = [f"{x:.5f},{y:.5f}" for x, y in self.coordinates]
        return "\n".join([*head, *rows]) + "\n"


def trace_section(desk: Desk, picture: str, mark: str) -> TracedSection:
    """Return the coordinates of a section traced on a picture, smooth between its marks.

    Parameters
    ----------
    picture, mark
        Outline of eight corners or more, on a plane square to the car's y axis.

    Raises
    ------
    UnknownName
        If there is no such mark.
    InputError
        If the mark lies on no plane across y, or has too few corners.
    """
    photo = desk.photo(picture)
    if mark not in photo.marks:
        raise UnknownName("mark", mark, photo.marks)
    planes = {p.name: p for p in desk.room.planes if p.axis == "y"}
    if photo.on.get(mark) not in planes:
        raise InputError("mark", f"'{mark}'", "", "lies on no plane across y",
                         "Say on which plane square to y it lies: the end plate.")  # fmt: skip
    plane = planes[photo.on[mark]]
    normal = np.array([0.0, 1.0, 0.0])
    camera = desk.solution(picture).camera(picture)
    shape = traced_shape(on_plane(camera, np.array(photo.marks[mark]), plane.at.best * normal,
                                  normal))  # fmt: skip
    found = shape.coordinates()
    turned = shape.camber > 0  # bends towards the road
    if turned:
        found = np.stack([found[:, 0], -found[:, 1]], axis=1)[::-1]
    return TracedSection(
        chord=shape.chord, coordinates=found, is_turned_over=turned, miss=shape.miss,
        note=f"traced on {picture}, mark {mark}, plane {plane.name}",
    )  # fmt: skip


def section_rows(desk: Desk, picture: str, *, live: bool = False) -> list[dict[str, Any]]:
    """Return every outline of a picture that may be a section: numbers, coordinates, or a fault."""
    photo = desk.photo(picture)
    across = {p.name for p in desk.room.planes if p.axis == "y"}
    named = {m for r in desk.room.readings if r.kind.startswith("section ") for m in r.marks}
    rows: list[dict[str, Any]] = []
    for mark, at in photo.marks.items():
        many = len(at) >= 2 * _LEAST or mark in named
        if many and photo.on.get(mark) in across:
            try:
                rows.append(_row(desk, picture, mark, live=live))
            except (InputError, NotConverged, NotCovered) as error:
                rows.append({"mark": mark, "numbers": [], "fault": str(error)})
    return rows


def _row(desk: Desk, picture: str, mark: str, *, live: bool) -> dict[str, Any]:
    from tuftwork.study.picture.page import number_of_reading

    traced = trace_section(desk, picture, mark)
    numbers = []
    n_draw = LIVE_DRAWS if live else 400
    for kind in _KINDS:
        asked = Asked(id="R0", name=kind, kind=f"section {kind}", picture=picture, marks=[mark])
        own = next((r for r in desk.room.readings if r.kind == asked.kind
                    and r.picture == picture and r.marks == [mark]), None)  # fmt: skip
        if own is not None:  # the page's own reading of the same number
            number = number_of_reading(own, desk.reading(own, n_draw=n_draw))
        else:
            found = measure(desk.solution(picture), ask_of(desk.project, asked), n_draw=n_draw)
            number = number_of_reading(asked, found)
            number["why"] = ""
        numbers.append({"label": kind, "number": number})
    return {
        "mark": mark, "numbers": numbers, "turned": traced.is_turned_over,
        "miss": traced.miss, "corners": len(desk.photo(picture).marks[mark]),
        "points": np.round(traced.coordinates, 4).tolist(), "csv": traced.csv(),
        "file": file_of(mark), "fault": "",
    }  # fmt: skip


def file_of(mark: str) -> str:
    """Return the name of a traced section's file."""
    return f"section-{re.sub(r'[^a-z0-9]+', '-', mark.lower()).strip('-') or 'traced'}.csv"


def section_use_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Put a traced section into evidence and make it the section of a wing, as saved."""
    from tuftwork.files import read_project, save_changes
    from tuftwork.files.start import register_evidence

    bench.opened = opened = read_project(bench.folder)
    desk = desk_of(bench)
    picture, mark, wing = (str(message.get(k, "")) for k in ("picture", "mark", "wing"))
    wings = {p.name: p for p in opened.project.parts if isinstance(p, WingPart)}
    if wing not in wings:
        raise UnknownName("wing", wing, wings)
    traced = trace_section(desk, picture, mark)
    taken = {e.id for e in opened.project.evidence}
    name = next(f"E{k}" for k in range(1, 10_000) if f"E{k}" not in taken)
    with TemporaryDirectory() as folder:
        path = Path(folder) / file_of(mark)
        path.write_text(traced.csv(), encoding="utf-8")
        opened = register_evidence(opened, path, id=name, title=f"Section {traced.note}",
                                   kind="drawing", note=f"smoothed; marks miss by "
                                   f"{100 * traced.miss:.1f} % of the chord")  # fmt: skip
    file = next(e.file for e in opened.project.evidence if e.id == name)
    bench.opened = save_changes(opened, _edits(desk, wings[wing], file))
    return {"evidence": name, "file": file, "digest": bench.digest()}, {}


def _edits(desk: Desk, wing: WingPart, file: str) -> dict[Any, Any]:
    """Return the changes: the outline, and away with keys and fills that it makes idle."""
    from tuftwork.files import REMOVE

    key = ("parts", wing.name, "section")
    edits: dict[Any, Any] = {(*key, "outline"): file} if wing.section else {key: {"outline": file}}
    for name in ("camber", "thickness"):
        if getattr(wing, name) is not None:
            edits["parts", wing.name, name] = REMOVE
        for reading in desk.room.readings:
            if reading.fills == f"{wing.name}.{name}":
                edits["reading", "readings", reading.id, "fills"] = REMOVE
    return edits
