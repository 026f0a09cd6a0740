"""The marks of a project solved: cameras per picture, readings with ranges, kept while unchanged.

Needs no run of the study: pictures are the first thing there is.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.car import Asked, Photo, Pictures, Project
from tuftwork.errors import FileFault, InputError, NotConverged, NotCovered, UnknownName
from tuftwork.files import OpenProject
from tuftwork.files.evidence import FOLDER
from tuftwork.files.picture import PictureFile, picture_file
from tuftwork.reading import (
    Lens,
    Reading,
    Scene,
    Solution,
    ask_of,
    measure,
    scene_of,
    scenes_of,
    solve_scene,
)

LIVE_DRAWS = 160
Marks = Mapping[str, Sequence[Sequence[float]]]


@dataclass(kw_only=True)
class Desk:
    """A project's pictures on the desk.

    Attributes
    ----------
    project
        With its marks.
    folder
        Project folder.
    files
        Picture → what its file says; a picture that cannot be read is in ``faults``.
    faults
        Picture → why it has no camera.
    """

    project: Project
    folder: Path
    files: dict[str, PictureFile] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    solved: dict[str, tuple[str, Solution]] = field(default_factory=dict, repr=False)
    failed: dict[str, tuple[str, InputError | NotConverged]] = field(
        default_factory=dict, repr=False
    )
    read: dict[str, tuple[str, Reading]] = field(default_factory=dict, repr=False)

    @classmethod
    def of(cls, project: Project, folder: Path) -> "Desk":
        """Lay a project's pictures out."""
        desk = cls(project=project, folder=folder)
        for photo in desk.room.pictures:
            try:
                desk.files[photo.id] = picture_file(desk.path(photo.id))
            except FileFault as fault:
                desk.faults[photo.id] = str(fault.faults[0])
        return desk

    @property
    def room(self) -> Pictures:
        """The project's tables of pictures."""
        return self.project.reading or Pictures()

    @property
    def lenses(self) -> dict[str, Lens]:
        """What the files say of the lenses."""
        return {
            name: Lens(width=f.width, height=f.height, focal_35mm=f.focal_35mm)
            for name, f in self.files.items()
        }

    def photo(self, name: str) -> Photo:
        """Return a picture's table."""
        found = {p.id: p for p in self.room.pictures}
        if name not in found:
            raise UnknownName("picture", name, found)
        return found[name]

    def path(self, picture: str) -> Path:
        """Return a picture's file.

        Raises
        ------
        UnknownName
            If the picture or its evidence is not there.
        """
        wanted = self.photo(picture).evidence
        files = {e.id: e.file for e in self.project.evidence}
        if wanted not in files:
            raise UnknownName("evidence", wanted, files)
        return self.folder / FOLDER / files[wanted]

    def group(self, picture: str) -> tuple[str, ...]:
        """Return the pictures that are solved together with one."""
        for group in scenes_of(self.project, self.lenses):
            if picture in group:
                return group
        raise NotCovered(self.faults.get(picture, f"{picture} cannot be read."))

    def solution(self, picture: str) -> Solution:
        """Return the solved cameras of a picture and of those that share points with it.

        Raises
        ------
        InputError, NotConverged, NotCovered
            If there is none; the message says what to mark.
        """
        group = self.group(picture)
        scene = scene_of(self.project, self.lenses, group)
        key = repr(scene)
        held = self.solved.get(group[0])
        if held is not None and held[0] == key:
            return held[1]
        refused = self.failed.get(group[0])
        if refused is not None and refused[0] == key:
            raise refused[1]
        start = None
        if held is not None and held[1].model.scene.sightings:
            start = _same_shape(held[1], scene)
        try:
            solution = _solved(scene, start)
        except (InputError, NotConverged) as error:
            self.failed[group[0]] = (key, error)
            raise
        self.solved[group[0]] = (key, solution)
        return solution

    def reading(self, asked: Asked, *, n_draw: int = 400) -> Reading:
        """Return one reading.

        Raises
        ------
        InputError, NotConverged, NotCovered
            If it cannot be read; the message says why.
        """
        solution = self.solution(asked.picture)
        ask = ask_of(self.project, asked)
        key = f"{id(solution)} {ask!r} {n_draw}"
        held = self.read.get(asked.id)
        if held is None or held[0] != key:
            held = (key, measure(solution, ask, n_draw=n_draw))
            self.read[asked.id] = held
        return held[1]

    def asked(self, name: str) -> Asked:
        """Return the table of a reading."""
        found = {r.id: r for r in self.room.readings}
        if name not in found:
            raise UnknownName("reading", name, found)
        return found[name]

    def with_marks(self, picture: str, marks: Marks, on: Mapping[str, str]) -> "Desk":
        """Return the desk with other marks on one picture; what did not change stays solved."""
        photo = self.photo(picture)
        changed = photo.model_copy(
            update={
                "marks": {k: [(float(x), float(y)) for x, y in v] for k, v in marks.items()},
                "on": dict(on),
            }
        )
        pictures = tuple(changed if p.id == picture else p for p in self.room.pictures)
        room = self.room.model_copy(update={"pictures": pictures})
        project = self.project.model_copy(update={"reading": room})
        return Desk(
            project=project, folder=self.folder, files=self.files, faults=self.faults,
            solved=self.solved, failed=self.failed, read=self.read,
        )  # fmt: skip

    def residual(self, picture: str) -> float | None:
        """Return how far marks of known place lie from where the camera puts them. [pixel]"""
        try:
            solution = self.solution(picture)
        except (InputError, NotConverged, NotCovered):
            return None
        rows = solution.model.residuals(solution.theta)
        groups = np.array([g.startswith("mark") for g in solution.model.groups])
        click = self.photo(picture).click
        return float(click * np.sqrt(np.mean(rows[groups] ** 2))) if groups.any() else None


def _solved(scene: Scene, start: np.ndarray | None) -> Solution:
    """Return the solution from nearby, or from nothing where that way is blocked."""
    if start is not None:
        try:
            return solve_scene(scene, start)
        except (InputError, NotConverged):
            pass
    return solve_scene(scene)


def _same_shape(solution: Solution, scene: Any) -> np.ndarray | None:
    """Return the old unknowns where the new scene has the same ones."""
    old = solution.scene
    same = (
        [(s.picture, s.point) for s in old.sightings]
        == [(s.picture, s.point) for s in scene.sightings]
        and [(r.picture, r.centre, len(r.at)) for r in old.rims]
        == [(r.picture, r.centre, len(r.at)) for r in scene.rims]
        and old.points == scene.points
    )
    return solution.theta if same else None


def desk_of(bench: Any) -> Desk:
    """Return the desk of an open project, kept while its pictures, car and marks stay the same."""
    opened: OpenProject = bench.opened
    key = json.dumps(
        [
            opened.project.reading.model_dump(mode="json", fallback=str)
            if opened.project.reading
            else None,
            str(opened.project.car),
            [e.model_dump(mode="json") for e in opened.project.evidence],
        ]
    )
    held: tuple[str, Desk] | None = getattr(bench, "desk", None)
    if held is None or held[0] != key:
        bench.desk = held = (key, Desk.of(opened.project, opened.folder))
    return held[1]
