"""From the project's tables to a case of the 3-D flow: shape, ride heights, box, air."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from tuftwork.air import air_of
from tuftwork.car import Flow, FlowRun, FlowSurface, Project
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.files.mesh import read_meshes
from tuftwork.flow import FlowCase, FlowPart, StopRule, car_parts
from tuftwork.flow.engine import PRECISIONS
from tuftwork.flow.judge import Forecast, forecast
from tuftwork.flow.zones import zones_round
from tuftwork.quantity import Quantity
from tuftwork.shape import Mesh, at_ride_heights, generic_car, generic_numbers, mend
from tuftwork.study.flow.around import box_of
from tuftwork.study.flow.case_digest import case_digest, shape_digest
from tuftwork.study.flow.inside import (
    drawn_slabs,
    name_faults,
    opening_boxes,
    openings_of,
    split_openings,
    with_porous,
)
from tuftwork.study.flow.names import matches, numbers_of, raise_all, unmatched
from tuftwork.study.flow.over_time import keeping_faults, keeping_memory
from tuftwork.study.flow.spoken import ending_fault, seen_as, spoken
from tuftwork.study.flow.stance import (
    LENGTH,
    UNITS,
    SurfaceFile,
    belt_fault,
    length_fault,
    stance_faults,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """The parts as drawn.

    Attributes
    ----------
    meshes
        In car axes, front axle line at x = 0, road at z = 0.
    wheels, plates
        Names of parts that roll, and of open surfaces meant as plates.
    drawn_front, drawn_rear
        Ride heights they were drawn at; None where nobody said. [m]
    files
        That they were read from; none where they were drawn from numbers.
    notes
        What was mended.
    """

    meshes: tuple[Mesh, ...]
    wheels: tuple[str, ...]
    plates: tuple[str, ...]
    drawn_front: float | None
    drawn_rear: float | None
    files: tuple[SurfaceFile, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """A case with what it was made from.

    Attributes
    ----------
    run
        As the project has it.
    case
        For the solver.
    wheelbase, front, rear
        Of the car, and its ride heights in this case; None where nobody said. [m]
    shape
        The parts as drawn, those left out included.
    digest
        Of everything that changes the answer.
    folder
        Of the project.
    """

    run: FlowRun
    case: FlowCase
    wheelbase: float
    front: float | None
    rear: float | None
    shape: Shape
    digest: str
    folder: Path

    @property
    def form(self) -> str:
        """Digest of the parts as they are run, and of what passes through them."""
        return shape_digest(self.case)

    @property
    def rule(self) -> StopRule:
        """When the run may end."""
        run = self.run
        share = None if run.error_share is None else run.error_share.best
        return StopRule(error=run.error.best, share=share, settle=run.settle, longest=run.longest)

    def forecast(self, free: float | None = None, cards: int = 0) -> Forecast:
        """Return size, cost and faults before anything runs."""
        run = self.run
        found = forecast(
            self.case, lengths=run.longest, settle=run.settle, backend=run.back_end,
            precision=run.precision if run.precision in PRECISIONS[run.back_end] else None,
            free=free,
            cards=cards or run.cards, samples=keeping_memory(self.case, run),
        )  # fmt: skip
        own, more = self._doubts(), found.faults
        if any(fault.name == LENGTH for fault in own):  # held against this car it says more
            more = tuple(fault for fault in more if fault.name != "parts")
        return replace(found, faults=(*own, *(spoken(fault) for fault in more)))

    def _doubts(self) -> tuple[InputError, ...]:
        """Return what only the project can know: the size of this car, the back end's storage."""
        low, high = self.case.bounds()
        files, base = self.shape.files, self.wheelbase
        size = length_fault(float(high[0] - low[0]), base, files)
        faults = [size] if size else [*stance_faults(self.case.parts, base, files)]
        run = self.run
        if run.precision and run.precision not in PRECISIONS[run.back_end]:
            limit = f"the {run.back_end} back end offers {', '.join(PRECISIONS[run.back_end])}"
            cure = "Take it away: the back end's first is used then."
            faults.append(InputError("precision", run.precision, "", limit, cure))
        faults += (*belt_fault(self.case.box.belt, self.case.parts), *ending_fault(run))
        faults += unmatched("leave_out", run.leave_out, (m.name for m in self.shape.meshes))
        return (*faults, *keeping_faults(self.case, self.run, self.folder))

    @property
    def run_is_generic(self) -> bool:
        """Whether the shape was drawn from numbers, not read from files."""
        return not self.shape.files


def flow_of(project: Project) -> Flow:
    """Return the project's table of the 3-D flow.

    Raises
    ------
    NotCovered
        If there is none.
    """
    if project.flow is None:
        raise NotCovered(
            "No shape for the 3-D flow yet. Add a [flow] table with 'generic' or "
            "[[flow.surfaces]], and [[flow.cases]] with speed and cell."
        )
    return project.flow


def run_named(project: Project, name: str = "") -> FlowRun:
    """Return a case by name, the first where none is given."""
    cases = flow_of(project).cases
    if not cases:
        raise NotCovered("No case for the 3-D flow yet. Add [[flow.cases]] with speed and cell.")
    found = {case.name: case for case in cases}
    if name and name not in found:
        raise UnknownName("case", name, found)
    return found[name or cases[0].name]


def shape_of(project: Project, folder: Path) -> Shape:
    """Return the parts as drawn: a generic car, or surfaces from files, mended.

    Raises
    ------
    FileFault
        If a file is missing or damaged.
    InputError
        If a number of the generic car is unknown or impossible.
    """
    table = flow_of(project)
    if table.generic:
        return _generic(project, table)
    shapes = _read_all(table.surfaces, folder)
    stands: dict[str, str] = {}
    for surface, shape in zip(table.surfaces, shapes, strict=True):
        for mesh in shape.meshes:
            other = stands.setdefault(mesh.name, surface.file)
            if other is not surface.file:
                limit = f"stands in {other} and in {surface.file}"
                cure = "Rename one of the two, or leave it out."
                if other == surface.file:
                    limit = f"is read twice: {other} stands in two [[flow.surfaces]]"
                    cure = "Take one of them away."
                raise InputError("part", f"'{mesh.name}'", "", limit, cure)
    first = shapes[0]
    return Shape(
        meshes=tuple(m for s in shapes for m in s.meshes),
        wheels=tuple(n for s in shapes for n in s.wheels),
        plates=tuple(n for s in shapes for n in s.plates),
        drawn_front=first.drawn_front,
        drawn_rear=first.drawn_rear,
        files=tuple(f for s in shapes for f in s.files),
        notes=tuple(n for s in shapes for n in s.notes),
    )


def _read_all(surfaces: Sequence[FlowSurface], folder: Path) -> list[Shape]:
    """Read every file of surfaces, or refuse all that is wrong with any of them."""
    shapes: list[Shape] = []
    faults: list[InputError | FileFault] = []
    for surface in surfaces:
        try:
            shapes.append(_from_file(surface, folder))
        except (InputError, FileFault) as fault:
            faults.append(fault)
    raise_all(faults)
    return shapes


def _generic(project: Project, table: Flow) -> Shape:
    car = project.car
    known: dict[str, float] = {"wheelbase": car.wheelbase.best}
    for axle, own in (("front", car.front), ("rear", car.rear)):
        if own is not None:
            known[f"tyre_diameter_{axle}"] = own.tyre_diameter.best
    known |= numbers_of(table.generic, table.numbers, known)
    numbers = generic_numbers(table.generic, **known)
    meshes = generic_car(table.generic, **known)
    return Shape(
        meshes=meshes,
        wheels=tuple(m.name for m in meshes if m.name.startswith("wheel")),
        plates=(),
        drawn_front=numbers.ride_height_front,
        drawn_rear=numbers.ride_height_rear,
    )


def _from_file(surface: FlowSurface, folder: Path) -> Shape:
    root = (folder / "evidence").resolve()
    path = (root / surface.file.removeprefix("evidence/")).resolve()
    if not path.is_relative_to(root):
        cure = "Copy it below evidence/ and name it from there."
        raise InputError("file", surface.file, "", "lies outside evidence/", cure)
    written = path.stat().st_mtime_ns if path.is_file() else 0
    return _placed(surface, path, written)


@lru_cache(maxsize=4)
def _placed(surface: FlowSurface, path: Path, written: int) -> Shape:
    """Read, place and mend one file; kept, because a page asks again for every move of a slider."""
    up = surface.up or ("y" if path.suffix.lower() == ".glb" else "z")
    read = read_meshes(path, unit=UNITS[surface.unit], up=up)
    raise_all([
        fault for key in ("leave_out", "plates", "wheels") if key in surface.model_fields_set
        for fault in unmatched(key, getattr(surface, key), [m.name for m in read])
    ])  # fmt: skip
    found = [m for m in read if not matches(m.name, surface.leave_out)]
    if not found:
        raise NotCovered(f"Every part of {surface.file} is left out.")
    turn = np.array([1.0, 1.0, 1.0]) if surface.nose == "-x" else np.array([-1.0, -1.0, 1.0])
    axle = np.array([surface.front_axle.best, 0.0, surface.road.best])
    meshes, notes = [], list[str]()
    for mesh in found:
        placed = replace(mesh, vertices=(mesh.vertices - axle) * turn)
        if not matches(mesh.name, surface.plates):
            placed, done = mend(placed)
            notes += [f"{mesh.name}: {text}" for text in done]
        meshes.append(placed)
    front, rear = surface.ride_height_front, surface.ride_height_rear
    length = float(np.ptp(np.concatenate([m.vertices for m in meshes]), axis=0).max())
    return Shape(
        meshes=tuple(meshes),
        wheels=tuple(m.name for m in meshes if matches(m.name, surface.wheels)),
        plates=tuple(m.name for m in meshes if matches(m.name, surface.plates)),
        drawn_front=front.best if front is not None else None,
        drawn_rear=rear.best if rear is not None else None,
        files=(SurfaceFile(name=surface.file, unit=surface.unit, length=length),),
        notes=tuple(notes),
    )


def built_case(project: Project, folder: Path, run: FlowRun) -> Built:
    """Return a case of the project, ready to be judged.

    Raises
    ------
    InputError, FileFault
        If the shape or a setting cannot be used at all.
    """
    shape = shape_of(project, folder)
    shape = replace(shape, meshes=(*shape.meshes, *drawn_slabs(project)))
    unknown = tuple(name_faults(project, [m.name for m in shape.meshes]))
    if unknown:  # what is wrong besides is told with it
        raise_all([*unknown, *_faults_without_inside(project, folder, run)])
    base = project.car.wheelbase.best
    kept = tuple(m for m in shape.meshes if not matches(m.name, run.leave_out))
    if not kept:
        name, cure = seen_as("leave_out"), "Keep one at least."
        raise InputError(name, ", ".join(run.leave_out), "", "leaves no part", cure)
    front, rear = _height(run.ride_height_front), _height(run.ride_height_rear)
    meshes = (*kept, *opening_boxes(project))
    for asked, drawn, axle in (
        (front, shape.drawn_front, "front"),
        (rear, shape.drawn_rear, "rear"),
    ):
        if asked is not None and drawn is None:
            cure = f"Add ride_height_{axle} to [[flow.surfaces]]: the height it was drawn at."
            limit = "nobody said at which ride height the shape was drawn"
            name = seen_as(f"ride_height_{axle}")
            raise InputError(name, round(1e3 * asked, 3), "mm", limit, cure)
    now_front = front if front is not None else shape.drawn_front
    now_rear = rear if rear is not None else shape.drawn_rear
    if shape.drawn_front is not None and shape.drawn_rear is not None:
        meshes = at_ride_heights(
            meshes, wheelbase=base, change_front=(now_front or 0.0) - shape.drawn_front,
            change_rear=(now_rear or 0.0) - shape.drawn_rear, left_alone=shape.wheels,
        )  # fmt: skip
    solid, boxes = split_openings(meshes)
    air = air_of(**_weather(project))
    rho, nu = float(air.density), float(air.viscosity) / float(air.density)
    parts = with_porous(project, _parts(solid, shape, run), density=rho, viscosity=nu)
    openings, tie = openings_of(project, boxes, [p.name for p in parts], run.speed.best)
    box = box_of(parts, run)
    zones = zones_round(parts, box, levels=run.levels, has_road=run.road != "none")
    try:
        case = FlowCase(
            parts=parts, speed=run.speed.best, cell=run.cell.best * 2**run.levels, box=box,
            zones=zones, yaw=run.yaw.best, road=run.road, density=rho, viscosity=nu,
            lattice_speed=run.lattice_speed, openings=openings, tie=tie,
        )  # fmt: skip
    except InputError as fault:
        raise spoken(fault) from fault
    return Built(
        run=run, case=case, wheelbase=base, front=now_front, rear=now_rear, shape=shape,
        digest=case_digest(case, run), folder=folder,
    )  # fmt: skip


def _faults_without_inside(
    project: Project, folder: Path, run: FlowRun
) -> tuple[InputError | FileFault, ...]:
    """Return what would be wrong with a case if no air passed cores, fans and openings."""
    bare = {"cores": (), "fans": (), "openings": ()}
    flow = flow_of(project).model_copy(update=bare)
    try:
        case = built_case(project.model_copy(update={"flow": flow}), folder, run)
    except (InputError, FileFault) as fault:
        return (fault,)
    except NotCovered:
        return ()
    return case.forecast().faults


def _parts(meshes: Sequence[Mesh], shape: Shape, run: FlowRun) -> tuple[FlowPart, ...]:
    out: list[FlowPart] = []
    for mesh in meshes:
        rolls = mesh.name in shape.wheels and _moves_under(mesh, run)
        stands = mesh.name in shape.wheels and run.road == "fixed"
        is_wheel = rolls or stands  # either touches the road, and may be pressed into it
        (part,) = car_parts([mesh], speed=run.speed.best, wheels=mesh.name if is_wheel else "\0")
        if part.spin is not None and not rolls:
            part = replace(part, spin=replace(part.spin, rate=0.0))
        out.append(replace(part, is_closed=mesh.name not in shape.plates))
    return tuple(out)


def _moves_under(mesh: Mesh, run: FlowRun) -> bool:
    """Return whether the road moves where a wheel stands: all of it, or a belt."""
    if run.belt is None:
        return run.road == "moving"
    x, y, _ = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    on = run.belt.start.best <= x <= run.belt.end.best
    return bool(on and abs(y) <= 0.5 * run.belt.width.best)


def _height(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.best


def _weather(project: Project) -> dict[str, float]:
    keys = ("temperature", "pressure", "altitude", "humidity")
    own = {key: getattr(project.weather, key) for key in keys}
    return {key: quantity.best for key, quantity in own.items() if quantity is not None}
