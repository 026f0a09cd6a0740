"""A section traced on a picture, seen end-on, as coordinates for the section engine."""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError, UnknownName
from tuftwork.reading import on_plane, section_coordinates
from tuftwork.study.picture.desk import Desk


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
    note
        Where it was traced.
    """

    chord: float
    coordinates: np.ndarray
    is_turned_over: bool
    note: str

    def csv(self) -> str:
        """Return the coordinates as a file the section engine reads."""
        head = [f"# {self.note}", f"# chord {1e3 * self.chord:.1f} mm"]
        if self.is_turned_over:
            head.append("# turned over: on the car it pushes down")
        rows = [f"{x:.5f},{y:.5f}" for x, y in self.coordinates]
        return "\n".join([*head, *rows]) + "\n"


def trace_section(desk: Desk, picture: str, mark: str) -> TracedSection:
    """Return the coordinates of a section traced on a picture.

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
    corners = on_plane(camera, np.array(photo.marks[mark]), plane.at.best * normal, normal)
    found = section_coordinates(corners)
    # the mean line of both halves says which way it is cambered
    middle = len(found) // 2
    turned = float(found[:middle, 1].mean() + found[middle:, 1].mean()) < 0
    if turned:
        found = np.stack([found[:, 0], -found[:, 1]], axis=1)[::-1]
    flat = corners[:, [0, 2]]
    tail = flat[np.argmax(flat[:, 0])]
    chord = float(np.max(np.linalg.norm(flat - tail, axis=1)))
    return TracedSection(
        chord=chord, coordinates=found, is_turned_over=turned,
        note=f"traced on {picture}, mark {mark}, plane {plane.name}",
    )  # fmt: skip
