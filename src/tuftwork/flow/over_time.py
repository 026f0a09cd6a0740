"""Fields over time: chosen planes and the surface pressure, taken while a run goes on.

Where they are kept is not this room's business: whoever starts a run hands it a ``TimeShelf``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import prod
from typing import Literal, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from tuftwork.flow.case import FlowCase
from tuftwork.flow.engine import AbstractEngine
from tuftwork.flow.plane_map import PlaneMap, cells_of, lines_of, near_car, plane_map
from tuftwork.flow.prepare import Prepared, steps_for
from tuftwork.flow.surface_map import NEAREST, SurfaceMap

Floats = npt.NDArray[np.float64]
Arrays = Mapping[str, npt.NDArray[np.generic]]
Axis = Literal["x", "y", "z"]
POINTS = 260
"""Points of a kept plane along its longer side. [-]"""
SAMPLES_PER_LENGTH = 64
"""Load samples while the air travels one body length."""
_NUMBER = 4
"""Of a kept value. [B]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is kept over time.

    Attributes
    ----------
    every
        Travel between two samples. [body lengths]
    planes
        Axis that each is normal to, and its place. [m]
    surface
        The surface whose pressure is kept; None: it is not.
    """

    every: float
    planes: tuple[tuple[Axis, float], ...] = ()
    surface: SurfaceMap | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Variable:
    """Something in the file: its dimensions by name, its values where they never change.

    Attributes
    ----------
    name, dims
        The first dimension of what changes is ``time``.
    dtype
        ``"f4"``, ``"f8"`` or ``"i4"``.
    about
        Units and other attributes.
    values
        None for what changes.
    """

    name: str
    dims: tuple[str, ...]
    dtype: str = "f4"
    about: Mapping[str, str] = field(default_factory=dict)
    values: npt.NDArray[np.generic] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What a file of fields over time holds: sizes of its dimensions, variables, attributes."""

    dims: Mapping[str, int]
    variables: tuple[Variable, ...]
    about: Mapping[str, str]


@runtime_checkable
class TimeShelf(Protocol):
    """Where samples are kept, each whole or not at all."""

    def begin(self, layout: Layout, step: int) -> int:
        """Make ready to go on after a step and return how many samples stand there.

        Later ones are given up, and all of them where they were laid out otherwise.
        """
        ...

    def add(self, sample: Arrays) -> None:
        """Keep one more sample."""
        ...


def pairs_between(case: FlowCase) -> int:
    """Return the pairs of steps between two load samples."""
    return max(1, steps_for(case, 1.0) // (2 * SAMPLES_PER_LENGTH))


def samples_between(case: FlowCase, every: float) -> int:
    """Return the load samples between two kept ones."""
    per_length = steps_for(case, 1.0) / (2 * pairs_between(case))
    return max(1, round(every * per_length))


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What keeping fields over time will take.

    Attributes
    ----------
    count
        Samples until the longest travel.
    every
        Travel between them, a whole number of load samples. [body lengths]
    size
        Of all of them. [B]
    memory
        On a graphics card, to take one: two layers of each plane and the walls that are read. [B]
    """

    count: int
    every: float
    size: float
    memory: float


def foresee(case: FlowCase, wish: Wish, *, n_vertex: int, settle: float, longest: float) -> Kept:
    """Return how many samples a run keeps at most and their size, before any grid is cut.

    Parameters
    ----------
    case
        What is run.
    wish
        What is kept; the surface is only counted.
    n_vertex
        Places on the surface whose pressure is kept.
    settle, longest
        Of the stop rule. [body lengths]

    Raises
    ------
    InputError
        If a plane lies outside the box.
    """
    boxes = cells_of(case)
    numbers, layers = n_vertex, 0
    for axis, at in wish.planes:
        number = "xyz".index(axis)
        met, across, up = lines_of(boxes, number, at)
        rows, columns = near_car(case, number, across, up, POINTS)
        numbers += 4 * len(rows) * len(columns)
        layers += sum(2 * prod(boxes[n].shape) // boxes[n].shape[number] for n in met)
    between = samples_between(case, wish.every)
    one = 2 * pairs_between(case)
    apart = one * between
    # a run ends with the load sample that passes the longest travel
    first, last = steps_for(case, settle), -(-steps_for(case, longest) // one) * one
    count = max(0, last // apart - first // apart)
    memory = 4 * _NUMBER * layers + NEAREST * (_NUMBER + 8) * n_vertex
    return Kept(
        count=count, every=apart / steps_for(case, 1.0), size=count * (_NUMBER * numbers),
        memory=memory,
    )  # fmt: skip


class Sampler:
    """Takes samples from a running engine.

    Parameters
    ----------
    prepared
        What is run.
    wish
        What is kept.

    Raises
    ------
    InputError
        If a plane lies outside the box.
    """

    def __init__(self, prepared: Prepared, wish: Wish) -> None:
        self.case = prepared.case
        self.between = samples_between(prepared.case, wish.every)
        # in the file's head, so that one that goes on with another interval is begun anew
        apart = 2 * pairs_between(prepared.case) * self.between / steps_for(prepared.case, 1.0)
        self.every = f"{apart:.9g} body lengths"
        self.surface = wish.surface
        if wish.surface is not None:
            read = np.zeros(wish.surface.weights.shape[1], bool)
            read[wish.surface.weights.indices] = True
            self._read = read
        self.planes = [
            plane_map(prepared, "xyz".index(axis), at, POINTS) for axis, at in wish.planes
        ]

    def layout(self) -> Layout:
        """Return what the file will hold."""
        dims: dict[str, int] = {"time": 0}
        variables = [
            Variable(name="time", dims=("time",), dtype="f8", about={"units": "s"}),
            Variable(name="travel", dims=("time",), dtype="f8",
                     about={"units": "1", "long_name": "travel of the air over the length"}),
            Variable(name="step", dims=("time",), dtype="i4", about={"units": "1"}),
        ]  # fmt: skip
        if self.planes:
            dims["axis"] = 3
        for n, plane in enumerate(self.planes):
            _add_plane(n, plane, dims, variables)
        if self.surface is not None:
            _add_surface(self.surface, dims, variables)
        case = self.case
        about = {
            "title": "Fields of a 3-D flow over time", "origin": "computed",
            "parts": "; ".join(part.name for part in case.parts),
            "axes": "x rearward from the front axle line, y to the right, z up from the road, m",
            "speed": f"{case.speed:.9g} m/s", "density": f"{case.density:.9g} kg/m3",
            "cell_size": f"{case.finest:.9g} m", "samples_every": self.every,
            "total_pressure_loss": "1 - pressure_coefficient - speed squared",
        }  # fmt: skip
        return Layout(dims=dims, variables=tuple(variables), about=about)

    def take(self, engine: AbstractEngine, travel: float) -> Arrays:
        """Return the values now, by the names of the layout."""
        out: dict[str, npt.NDArray[np.generic]] = {
            "time": np.array(engine.step * self.case.step_time),
            "travel": np.array(travel), "step": np.array(engine.step, np.int32),
        }  # fmt: skip
        speed = self.case.lattice_speed
        layers = self._layers(engine.each)
        for n, plane in enumerate(self.planes):
            rows = plane.of(layers)
            out[f"plane{n}_pressure_coefficient"] = ((rows[0] - 1.0) / 1.5 / speed**2).astype("f4")
            out[f"plane{n}_velocity"] = (rows[1:] / speed).astype("f4")
        if self.surface is not None:
            value = self.surface.of(self._beside(engine.each) / 1.5 / speed**2)
            out["surface_pressure_coefficient"] = value.astype("f4")
        return out

    def _beside(self, each: Sequence[AbstractEngine]) -> Floats:
        """Return the density beside the walls as a result has it; only what is read is asked for.

        A result holds the walls that each box answers for, box after box.
        """
        assert self.surface is not None
        out: list[Floats] = []
        for engine in each:
            own = np.flatnonzero(engine.counted > 0)
            start = sum(rows.size for rows in out)
            values = np.zeros(own.size)
            read = np.flatnonzero(self._read[start : start + own.size])
            values[read] = engine.densities(own[read])
            out.append(values)
        return np.concatenate(out)

    def _layers(self, each: Sequence[AbstractEngine]) -> dict[tuple[int, int, int], Floats]:
        found = {}
        for number, engine in enumerate(each):
            wanted = sorted({(plane.axis, first) for plane in self.planes
                             for box, first, _ in plane.cuts if box == number})  # fmt: skip
            if wanted:
                for (axis, first), rows in zip(wanted, engine.layers(wanted), strict=True):
                    found[number, axis, first] = rows
        return found


def _add_plane(n: int, plane: PlaneMap, dims: dict[str, int], variables: list[Variable]) -> None:
    first, second = (a for k, a in enumerate("xyz") if k != plane.axis)
    names = f"plane{n}_{second}", f"plane{n}_{first}"
    dims |= {names[0]: len(plane.up), names[1]: len(plane.across)}
    where = f"{'xyz'[plane.axis]} = {plane.at:.9g} m"
    variables += [
        Variable(name=names[1], dims=names[1:], dtype="f8", about={"units": "m"},
                 values=plane.across),
        Variable(name=names[0], dims=names[:1], dtype="f8", about={"units": "m"}, values=plane.up),
        Variable(name=f"plane{n}_pressure_coefficient", dims=("time", *names),
                 about={"units": "1", "plane": where}),
        Variable(name=f"plane{n}_velocity", dims=("time", "axis", *names),
                 about={"units": "1", "plane": where, "long_name": "velocity over speed"}),
    ]  # fmt: skip


def _add_surface(surface: SurfaceMap, dims: dict[str, int], variables: list[Variable]) -> None:
    dims |= {"vertex": len(surface.vertices), "triangle": len(surface.faces), "corner": 3}
    for k, axis in enumerate("xyz"):
        variables.append(Variable(name=f"surface_{axis}", dims=("vertex",), about={"units": "m"},
                                  values=surface.vertices[:, k].astype("f4")))  # fmt: skip
    variables += [
        Variable(name="surface_part", dims=("vertex",), dtype="i4",
                 about={"units": "1", "long_name": "number of the part, from 0"},
                 values=surface.part.astype("i4")),
        Variable(name="surface_triangles", dims=("triangle", "corner"), dtype="i4",
                 about={"units": "1", "long_name": "numbers of the vertices, from 0"},
                 values=surface.faces.astype("i4")),
        Variable(name="surface_pressure_coefficient", dims=("time", "vertex"),
                 about={"units": "1"}),
    ]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class OverTime:
    """What is kept of a run over time, and where."""

    wish: Wish
    shelf: TimeShelf


@dataclass(slots=True, kw_only=True)
class Keeper:
    """Keeps samples of a run as it goes on."""

    sampler: Sampler
    shelf: TimeShelf
    settle: float
    count: int = 0

    @classmethod
    def of(cls, prepared: Prepared, asked: OverTime, *, settle: float, step: int) -> "Keeper":
        """Return a keeper that goes on after a step."""
        sampler = Sampler(prepared, asked.wish)
        count = asked.shelf.begin(sampler.layout(), step)
        return cls(sampler=sampler, shelf=asked.shelf, settle=settle, count=count)

    def look(self, engine: AbstractEngine, travel: float, n_sample: int) -> None:
        """Keep a sample where one is due: after ``n_sample`` load samples."""
        if travel > self.settle and n_sample % self.sampler.between == 0:
            self.shelf.add(self.sampler.take(engine, travel))
            self.count += 1
