"""What one looks at in a finished run: planes, surfaces of equal value, streamlines, axle loads."""

from dataclasses import dataclass, replace
from math import hypot
from typing import Literal

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError, UnknownName
from tuftwork.flow.level import equal_surface
from tuftwork.flow.nest_view import Layer, join_layers, velocity_reader
from tuftwork.flow.output import State
from tuftwork.flow.prepare import body_length
from tuftwork.flow.result import FlowResult
from tuftwork.flow.statistics import SeriesMean, series_mean
from tuftwork.flow.vortex import Mark, vortex_mark

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Axis = Literal["x", "y", "z"]
_MOST_CELLS = 6e6
"""Cells in which vortices are sought; finer grids are thinned. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """Fields on a plane across one axis.

    Attributes
    ----------
    axis, at
        Axis it is normal to, and its place on it. [m]
    across, up
        Places along its two directions: y, z for x; x, z for y; x, y for z. Shapes (n,), (m,). [m]
    pressure_coefficient, total_pressure_loss, speed
        Not-a-number inside solids; speed over car speed. Shape (m, n). [-]
    """

    axis: Axis
    at: float
    across: Floats
    up: Floats
    pressure_coefficient: Floats
    total_pressure_loss: Floats
    speed: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface3d:
    """A surface of equal value.

    Attributes
    ----------
    vertices, faces
        Triangles. Shapes (n, 3) [m] and (m, 3).
    colour
        Another field at its corners. Shape (n,). [-]
    level
        The value. [-]
    """

    vertices: Floats
    faces: Ints
    colour: Floats
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Streamlines of the mean flow.

    Attributes
    ----------
    points
        All points, line by line. Shape (n, 3). [m]
    start
        First point of each line, and the number of points at the end. Shape (n_line + 1,).
    speed
        Over car speed. Shape (n,). [-]
    """

    points: Floats
    start: Ints
    speed: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class CarLoads:
    """Loads of the whole car at ground level, mid wheelbase (SAE J1594), with statistical error.

    Attributes
    ----------
    front, rear, downforce, drag, side
        Coefficient areas, downforce positive, side to the right. [m²]
    roll, pitch, yaw
        Moments over dynamic pressure: right side down, nose up, nose to the right positive. [m³]
    """

    front: SeriesMean
    rear: SeriesMean
    downforce: SeriesMean
    drag: SeriesMean
    side: SeriesMean
    roll: SeriesMean
    pitch: SeriesMean
    yaw: SeriesMean


def plane(result: FlowResult, axis: Axis, at: float, state: State = "mean") -> Plane:
    """Return the fields on a plane, between two layers of cells in proportion.

    Parameters
    ----------
    result
        A finished run.
    axis
        Axis the plane is normal to.
    at
        Its place. [m]
    state
        Mean or last instant.

    Returns
    -------
    plane
        Fields with their axes.

    Raises
    ------
    InputError
        If the plane lies outside the box.
    UnknownName
        If the axis is not x, y or z.
    """
    if axis not in ("x", "y", "z"):
        raise UnknownName("axis", axis, ("x", "y", "z"))
    if state not in ("mean", "last"):
        raise UnknownName("state", state, ("mean", "last"))
    number = "xyz".index(axis)
    layers = [_layer(result, number, at, state)]
    for box in result.boxes:
        own = box.prepared
        place = (at - own.origin[number]) / own.case.cell
        # the two outermost layers of a finer box belong to the box outside it
        if 2 <= place <= own.setup.shape[number] - 3:
            layers.append(_layer(box, number, at, state))
    across, up, (pressure, loss, speed) = join_layers(layers)
    return Plane(
        axis=axis,
        at=at,
        across=across,
        up=up,
        pressure_coefficient=pressure,
        total_pressure_loss=loss,
        speed=speed,
    )


def _layer(result: FlowResult, number: int, at: float, state: State) -> Layer:
    """Pressure coefficient, loss and speed on a plane through one box of cells."""
    prepared = result.prepared
    shape, cell = prepared.setup.shape, prepared.case.cell
    place = (at - prepared.origin[number]) / cell
    if not 0 <= place <= shape[number] - 1:
        low = prepared.origin[number]
        limit = f"must lie in the box, {low:.3f} to {low + cell * (shape[number] - 1):.3f} m"
        raise InputError("xyz"[number], at, "m", limit)
    layer = min(int(place), shape[number] - 2)
    share = place - layer
    moments = result.mean if state == "mean" else result.last
    speed = prepared.case.lattice_speed

    def cut(values: npt.NDArray[np.generic]) -> Floats:
        near, far = (np.take(values, layer + k, axis=values.ndim - 1 - number) for k in (0, 1))
        return np.asarray(near + share * (np.asarray(far, float) - near))

    is_solid = cut((prepared.setup.mark == 1).astype(np.int8)) > 1e-6  # the share may be round-off
    velocity = np.where(is_solid, np.nan, cut(moments.velocity) / speed)
    pressure = np.where(is_solid, np.nan, (cut(moments.density) - 1.0) / 1.5 / speed**2)
    first, second = (n for n in range(3) if n != number)
    axes = [
        np.asarray(prepared.origin[n] + cell * np.arange(shape[n]), dtype=float)
        for n in (first, second)
    ]
    square = np.square(velocity).sum(axis=0)
    return axes[0], axes[1], np.stack([pressure, 1.0 - pressure - square, np.sqrt(square)])


def vortex_surface(
    result: FlowResult, level: float = 40.0, state: State = "mean", mark: Mark = "q"
) -> Surface3d:
    """Return the surface on which Q or −λ2 has a value, coloured by the loss of total pressure.

    Parameters
    ----------
    result
        A finished run.
    level
        Q or −λ2 times (length over speed)²; 40 shows the strong vortices of a car. [-]
    state
        Mean or last instant.
    mark
        ``"q"`` or ``"lambda2"``.
    """
    found = [_vortices(box, level, state, mark) for box in (result, *result.boxes)]
    start = np.cumsum([0, *(len(s.vertices) for s in found)])
    return Surface3d(
        vertices=np.concatenate([s.vertices for s in found]),
        faces=np.concatenate([s.faces + n for s, n in zip(found, start, strict=False)]),
        colour=np.concatenate([s.colour for s in found]),
        level=level,
    )


def _vortices(result: FlowResult, level: float, state: State, mark: Mark) -> Surface3d:
    """Surfaces of equal strength in the air that one box of cells answers for."""
    from scipy.ndimage import binary_dilation, map_coordinates

    prepared = result.prepared
    window, every = _near(result)
    near = (slice(None), *window)
    moments = result.mean if state == "mean" else result.last
    velocity = np.asarray(moments.velocity[near], dtype=float) / prepared.case.lattice_speed
    scale = body_length(prepared.case.parts) / (every * prepared.case.cell)
    solid = binary_dilation(prepared.setup.mark[window] == 1, iterations=2)
    strength = np.where(solid, np.nan, vortex_mark(velocity, 1.0, mark) * scale**2)
    cells, faces = equal_surface(strength, level)
    pressure = (moments.density[window] - 1.0) / 1.5 / prepared.case.lattice_speed**2
    loss = np.nan_to_num(1.0 - pressure - np.square(velocity).sum(axis=0))
    colour = map_coordinates(loss, cells[:, ::-1].T, order=1, mode="nearest")
    start = [window[2 - n].start for n in range(3)]
    vertices = np.asarray(prepared.origin) + prepared.case.cell * (start + every * cells)
    return Surface3d(vertices=vertices, faces=faces, colour=colour, level=level)


def _near(result: FlowResult) -> tuple[tuple[slice, slice, slice], int]:
    """Return the cells around the car and its wake as slices z, y, x, thinned to a few million."""
    prepared = result.prepared
    low, high = prepared.case.bounds()
    length = body_length(prepared.case.parts)
    reach = (np.array([0.1, 0.15, 0.2]) * length, np.array([1.0, 0.15, 0.2]) * length)
    shape = np.array(prepared.setup.shape)
    # the two outermost layers hold the imposed stream or a wall, not vortices
    first = np.clip(((low - reach[0] - prepared.origin) / prepared.case.cell).astype(int), 2, shape)
    last = np.clip(
        ((high + reach[1] - prepared.origin) / prepared.case.cell).astype(int), 0, shape - 2
    )
    every = max(1, int(np.ceil((np.prod((last - first).astype(float)) / _MOST_CELLS) ** (1 / 3))))
    x, y, z = (slice(int(a), int(b), every) for a, b in zip(first, last, strict=True))
    return (z, y, x), every


def streamlines(
    result: FlowResult, seeds: Floats, *, state: State = "mean", longest: float = 3.0
) -> Lines:
    """Follow the flow from some places downstream, by Heun's rule in steps of half a cell.

    Parameters
    ----------
    result
        A finished run.
    seeds : (n, 3)
        Starting points. [m]
    state
        Mean or last instant.
    longest
        Length after which a line ends, in lengths of the parts. [-]
    """
    prepared = result.prepared
    shape, origin = np.array(prepared.setup.shape, float), np.asarray(prepared.origin)
    cell = prepared.case.finest
    flow = velocity_reader(result, state)
    top = origin + prepared.case.cell * (shape - 1)
    at = np.asarray(seeds, dtype=float)
    lines: list[list[tuple[Floats, float]]] = [[] for _ in at]
    alive = np.arange(len(at))
    for _ in range(int(2 * longest * body_length(prepared.case.parts) / cell)):
        first = flow(at)
        speed = np.linalg.norm(first, axis=1)
        going = np.isfinite(speed) & (speed > 0.02) & ((at >= origin) & (at <= top)).all(axis=1)
        at, first, speed, alive = at[going], first[going], speed[going], alive[going]
        if not alive.size:
            break
        for n, place, v in zip(alive, at, speed, strict=True):
            lines[n].append((place, float(v)))
        step = 0.5 * cell / speed[:, None]
        second = flow(at + step * first)
        second = np.where(np.isfinite(second), second, first)
        at = at + 0.5 * step * (first + second)
    return _joined([line for line in lines if len(line) > 3])


def _joined(lines: list[list[tuple[Floats, float]]]) -> Lines:
    count = np.array([len(line) for line in lines], np.int64)
    points = [place for line in lines for place, _ in line]
    return Lines(
        points=np.array(points).reshape(-1, 3),
        start=np.concatenate([[0], np.cumsum(count)]),
        speed=np.array([v for line in lines for _, v in line]),
    )


def seeds_ahead(result: FlowResult, *, across: int = 7, up: int = 5) -> Floats:
    """Return starting points on a grid ahead of the car, denser near the road. (n, 3) [m]."""
    low, high = result.prepared.case.bounds()
    ahead = low[0] - 0.5 * min(result.prepared.case.box.ahead, high[0] - low[0])
    y = np.linspace(0.95 * low[1], 0.95 * high[1], across)
    z = high[2] * (0.04 + 1.0 * np.linspace(0, 1, up) ** 1.5)
    grid = np.stack(np.meshgrid(y, z, indexing="ij"), axis=-1).reshape(-1, 2)
    return np.column_stack([np.full(len(grid), ahead), grid])


def load_rows(result: FlowResult, *, wheelbase: float) -> dict[str, Floats]:
    """Return every sample's loads of the whole car, keys as in ``CarLoads``. Shapes (n,).

    Roll and yaw keep the senses that they had when x ran forward and z down: the edition of 2010
    turned the axes x and z round, not the moments.

    Parameters
    ----------
    result
        A finished run.
    wheelbase
        Front axle at x = 0, rear axle at x = ``wheelbase``. [m]

    References
    ----------
    [saeJ1594]
    """
    if not wheelbase > 0:
        raise InputError("wheelbase", wheelbase, "m", "must be above 0")
    prepared = result.prepared
    rows = result.series[:, 1 : len(prepared.case.parts) + 1].sum(axis=1)
    force, about_grid = rows[:, :3], rows[:, 3:] * prepared.case.cell
    middle = np.array([0.5 * wheelbase, 0.0, 0.0])
    moment = about_grid + np.cross(np.asarray(prepared.origin) - middle, force)
    down = -force[:, 2]
    rear = 0.5 * down + moment[:, 1] / wheelbase
    return {
        "front": down - rear, "rear": rear, "downforce": down, "drag": force[:, 0],
        "side": force[:, 1], "roll": -moment[:, 0], "pitch": moment[:, 1], "yaw": -moment[:, 2],
    }  # fmt: skip


def car_loads(result: FlowResult, *, wheelbase: float, settle: float) -> CarLoads:
    """Return loads at the axles and about mid wheelbase, with their statistical error.

    All are means over the same samples as the fields and the loads by part, so that they add up;
    what the start-up still moves one by counts to its error.

    Parameters
    ----------
    result
        A finished run.
    wheelbase
        [m]
    settle
        Travel left out, as in the stop rule. [body lengths]
    """
    rows = load_rows(result, wheelbase=wheelbase)
    skip = int(len(result.series) * settle / result.travel + 1e-6)  # fields begin beyond settle
    return CarLoads(**{name: _mean_from(row[skip:]) for name, row in rows.items()})


def _mean_from(row: Floats) -> SeriesMean:
    whole, late = series_mean(row, n_start=0), series_mean(row)
    return replace(whole, error=hypot(whole.error, whole.mean - late.mean), n_start=late.n_start)


def part_axle_loads(result: FlowResult, *, wheelbase: float) -> tuple[Floats, Floats]:
    """Return mean CzSf and CzSr of every part. Shapes (n_part,). [m²]."""
    low, high = result.prepared.case.bounds()
    middle = 0.5 * float(low[0] + high[0])
    down = np.array([p.downforce_area for p in result.parts])
    pitch = np.array([p.pitch_volume for p in result.parts])
    rear = (pitch + middle * down) / wheelbase
    return down - rear, rear
