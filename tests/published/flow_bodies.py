"""Bodies over a moving road for the lattice flow: the diffuser body and a wing upside down.

The recorded figures of a card come from these functions. A row of ride heights is run as in a
tunnel: each height starts from the flow that the last one left.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.flow.case import Box, FlowCase, FlowPart
from tuftwork.flow.nest_engine import NestedEngine
from tuftwork.flow.prepare import Prepared, prepare
from tuftwork.flow.statistics import series_mean
from tuftwork.flow.zones import Zone
from tuftwork.shape.diffuser_body import HALF_WIDTH, HEIGHT, KICK, LENGTH, diffuser_bluff_body
from tuftwork.shape.loft import block
from tuftwork.shape.mesh import Mesh

Corner = tuple[float, float, float]


def boxes_about(low: Corner, high: Corner, levels: int, room: float) -> tuple[Zone, ...]:
    """Boxes about a space: each coarser one wider by ``room`` of its size, twice that behind."""
    out = []
    for level in range(1, levels + 1):
        grow = room * (2.2 ** (levels - level) - 1)
        bottom = max(0.0, low[2] - grow) if low[2] > 0 else 0.0
        out.append(Zone(
            level=level, low=(low[0] - grow, low[1] - grow, bottom),
            high=(high[0] + 2 * grow, high[1] + grow, high[2] + grow),
        ))  # fmt: skip
    return tuple(out)


def diffuser_case(
    angle: float, height: float, cell: float, *, levels: int = 3, top: float | None = None,
    speed: float = 0.075, plate: float = 0.005, layer: int | None = None, room: float = 0.20,
    under: float = 0.0,
) -> FlowCase:  # fmt: skip
    """The diffuser body at 20 m/s over the moving road; ``cell`` round the body, angle in degrees.

    ``top``: ride height up to which the boxes reach, so that a row of heights shares its cells.
    ``under``: height of one more box, of half the cell, on the road under the body; 0: none.
    """
    body = diffuser_bluff_body(np.radians(angle), height, plate=plate)
    high = max(height, top or 0.0) + HEIGHT + 0.05
    near = ((-0.08, -HALF_WIDTH - 0.05, 0.0), (LENGTH + 0.22, HALF_WIDTH + 0.05, high))
    zones = boxes_about(*near, levels, room)
    if under:
        low, beyond = (0.0, -HALF_WIDTH - 0.02, 0.0), (LENGTH + 0.04, HALF_WIDTH + 0.02, under)
        zones += (Zone(level=levels + 1, low=low, high=beyond),)
    return FlowCase(
        parts=(FlowPart(name="body", vertices=body.vertices, faces=body.faces),),
        speed=20.0, viscosity=1.5e-5, cell=cell * 2**levels, lattice_speed=speed, layer=layer,
        box=Box(ahead=2.0, behind=4.0, beside=1.5, above=2.1 - HEIGHT - height),
        zones=zones,
    )  # fmt: skip


def section(name: str, y: tuple[float, float], upper: np.ndarray, lower: np.ndarray) -> Mesh:
    """Closed surface of one section between two stations; sides (n, 2) share their x."""
    n = len(upper)
    ring = np.concatenate([upper[::-1], lower[1:]])
    number = np.arange(len(ring))
    after = np.roll(number, -1)
    at, top = len(ring), number[n - 1 :: -1]
    bottom = np.concatenate([[n - 1], number[n:]])
    sides = np.concatenate([
        np.stack([number, after, after + at], axis=1),
        np.stack([number, after + at, number + at], axis=1),
    ])  # fmt: skip
    end = np.concatenate([
        np.stack([top[:-1], top[1:], bottom[1:]], axis=1),
        np.stack([top[:-1], bottom[1:], bottom[:-1]], axis=1)[1:],
    ])  # fmt: skip
    faces = np.concatenate([sides, end, end[:, ::-1] + at])
    points = np.concatenate([np.insert(ring, 1, station, axis=1) for station in y])
    mesh = Mesh(name=name, vertices=points, faces=faces)
    return mesh if mesh.volume > 0 else replace(mesh, faces=faces[:, ::-1].copy())


def smooth_sides(points: np.ndarray, station: np.ndarray) -> list[np.ndarray]:
    """Upper and lower side at ``station``: a cubic over the square root of x, round at the nose."""
    from scipy.interpolate import CubicSpline

    root = np.sqrt(points[:, 0])
    return [CubicSpline(root, points[:, side])(np.sqrt(station)) for side in (1, 2)]


CHORD, SPAN, INCIDENCE = 0.2234, 1.1, 3.45
"""Wing of the rung: aspect ratio and incidence seen, chord from memory. [m], [m], [deg]"""


def wing_parts(points: np.ndarray, height: float, *, plates: bool = True) -> tuple[FlowPart, ...]:
    """The section, smooth, upside down at its true incidence, lowest at ``height``, with plates.

    ``points``: x, upper and lower side over the chord. Shape (n, 3). Plates of 0.30 × 0.10 m are
    a choice of our own.
    """
    turn = np.radians(INCIDENCE)
    station, sides = 0.5 * (1 - np.cos(np.linspace(0, np.pi, 121))), []
    for side in smooth_sides(points, station):
        x, z = station * CHORD, -side * CHORD
        sides.append(np.stack([x * np.cos(turn) - z * np.sin(turn),
                               x * np.sin(turn) + z * np.cos(turn)], axis=1))  # fmt: skip
    drop = min(s[:, 1].min() for s in sides) - height
    upper, lower = (s - [0.0, drop] for s in sides)
    half = SPAN / 2
    meshes = [section("wing", (-half, half), upper, lower)]
    if plates:
        foot = max(height - 0.01, 0.006)
        meshes += [
            block(f"plate {name}", (-0.04, y - 0.003, foot), (0.26, y + 0.003, foot + 0.10))
            for name, y in (("left", -half), ("right", half))
        ]
    return tuple(FlowPart(name=m.name, vertices=m.vertices, faces=m.faces) for m in meshes)


def wing_case(
    points: np.ndarray, height: float, cell: float, *, levels: int = 4, top: float | None = None,
    speed: float = 0.075, layer: int | None = None, plates: bool = True,
) -> FlowCase:  # fmt: skip
    """The wing at 30 m/s over the moving road, ``height`` in metres, ``cell`` the finest."""
    parts = wing_parts(points, height, plates=plates)
    bottom = 0.0 if height < 0.3 else height - 0.06
    high = max(height, top or 0.0) + 0.11
    near = ((-0.07, -SPAN / 2 - 0.04, bottom), (0.34, SPAN / 2 + 0.04, high))
    return FlowCase(
        parts=parts, speed=30.0, viscosity=1.5e-5, cell=cell * 2**levels, lattice_speed=speed,
        layer=layer,
        # the outer box is as high at every height of a row
        box=Box(ahead=1.6, behind=3.2, beside=1.3, above=1.4 + high - max(
            float(p.vertices[:, 2].max()) for p in parts)),
        zones=boxes_about(*near, levels, 0.08),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Left:
    """What a run left behind: ride height, and density and velocity of every box."""

    height: float
    fields: tuple[np.ndarray, ...]


def left_by(engine: NestedEngine, height: float) -> Left:
    """Take the present flow along, calm inside solids."""
    fields = []
    for part in engine.engines:
        now = part.moments()
        rows = np.concatenate([now.density[None], now.velocity]).astype(np.float32)
        rows[:, part.setup.mark == 1] = np.array([[1.0], [0.0], [0.0], [0.0]], np.float32)
        fields.append(np.clip(rows, -0.4, 1.15))
    return Left(height=height, fields=tuple(fields))


def go_on(engine: NestedEngine, prepared: Prepared, left: Left, height: float) -> None:
    """Start from what another height left: the gap stretched, the rest moved with the body."""
    for box, part, rows in zip(
        (prepared, *prepared.boxes), engine.engines, left.fields, strict=True
    ):
        z = box.origin[2] + box.case.cell * np.arange(rows.shape[1])
        old = np.where(z < height, z * left.height / height, z + left.height - height)
        at = np.clip((old - box.origin[2]) / box.case.cell, 0, len(z) - 1.001)
        low, share = at.astype(int), (at % 1).astype(np.float32)[:, None, None]
        moved = rows[:, low] * (1 - share) + rows[:, low + 1] * share
        part.start(moved[0], moved[1:])
    engine.step = 0


def advance(
    engine: NestedEngine, prepared: Prepared, length: float, lengths: float, settle: float,
    alive: Callable[[], bool] = lambda: True, parts: int = 1,
) -> np.ndarray:  # fmt: skip
    """Run and sample means after ``settle``; rows of travel and loads (6) in m² and m³."""
    case = prepared.case
    per = length / case.cell / case.lattice_speed
    pairs = max(1, round(per / 2 / 64))
    rows = []
    while engine.step < lengths * per and alive():
        engine.advance(pairs)
        load = engine.part_loads()[1 : parts + 1].sum(axis=0) * prepared.area_per_force
        rows.append((engine.step / per, *load))
        if not np.isfinite(load).all() or abs(load[0]) > 100:
            break
        if engine.step > settle * per and len(rows) % 3 == 0:
            engine.sample()
    return np.array(rows)


def mean_of(rows: np.ndarray, settle: float) -> dict[str, float]:
    """Means after ``settle`` with their statistical errors, and both halves of the downforce."""
    kept = rows[rows[:, 0] > settle]
    down, drag, side = (series_mean(s, n_start=0) for s in (-kept[:, 3], kept[:, 1], kept[:, 2]))
    half = len(kept) // 2
    return {
        "CzS": down.mean, "CzS_error": down.error, "CxS": drag.mean, "CxS_error": drag.error,
        "CyS": side.mean, "CyS_swing": float(kept[:, 2].std()),
        "CzS_halves": (float(-kept[:half, 3].mean()), float(-kept[half:, 3].mean())),
    }  # fmt: skip


def walls_of(engine: NestedEngine, prepared: Prepared) -> Iterator[dict[str, np.ndarray]]:
    """Place, normal, pressure, force [m²] and speed of the walls that each box answers for."""
    case = prepared.case
    for part, box, nest in zip(
        engine.engines, (prepared, *prepared.boxes), engine.nests, strict=True
    ):
        mean, rows = part.means()
        links = part.setup.walls
        own = (part.counted > 0) & (links.counted() > 0)
        own &= links.counted() <= len(case.parts)
        lx, ly, _ = part.setup.shape
        n = links.cell[own]
        at = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)]) * box.case.cell
        yield {
            "at": at + np.array(box.origin)[:, None],
            "normal": links.geometry[:3, own],
            "cp": rows[3, own] / 3 / (0.5 * case.lattice_speed**2),
            "force": rows[:3, own] * prepared.area_per_force / nest.scale**2,
            "speed": mean.velocity[0].reshape(-1)[n] / case.lattice_speed,
            "part": links.counted()[own],
            "cell": np.full(n.size, box.case.cell),
        }


def floor_of(engine: NestedEngine, prepared: Prepared, height: float) -> dict[str, object]:
    """What the floor of the diffuser body carries: its load, place, pressures, the ramp's state."""
    rows: dict[str, np.ndarray] = {}
    for box in walls_of(engine, prepared):
        rows = {k: np.concatenate([rows[k], v], axis=-1) if rows else v for k, v in box.items()}
    x, y, z = rows["at"]
    under = (rows["normal"][2] < -0.7) & (z < height + 0.6 * np.maximum(x - KICK, 0) + 0.02)
    inner = np.abs(y) < HALF_WIDTH - 0.01
    down = -rows["force"][2]
    ramp = under & inner & (x > KICK) & (x < LENGTH)
    stations = np.linspace(0, LENGTH, 67)
    number = np.digitize(x, stations) - 1

    def line(kept: np.ndarray, what: np.ndarray) -> list[float]:
        count = np.bincount(number[kept], minlength=67)[:66]
        total = np.bincount(number[kept], weights=what[kept], minlength=67)[:66]
        return [round(float(v), 3) for v in total / np.maximum(count, 1)]

    middle, side = np.abs(y) < 0.02, np.abs(np.abs(y) - 0.11) < 0.015
    return {
        "floor_CzS": float(down[under].sum()),
        "floor_place": float((down * x)[under].sum() / down[under].sum()),
        "place": float((down * x).sum() / down.sum()),
        "cp": line(under & middle, rows["cp"]),
        "cp_left": line(under & side & (y < 0), rows["cp"]),
        "cp_right": line(under & side & (y > 0), rows["cp"]),
        "cp_mean": line(under & inner, rows["cp"]),
        "speed": line(under & middle, rows["speed"]),
        "base_cp": float(rows["cp"][(x > LENGTH - 0.01) & (rows["normal"][0] > 0.9)].mean()),
        "reversed": float((rows["speed"][ramp] < 0).mean()),
        "reversed_left": float((rows["speed"][ramp & (y < -0.05)] < 0).mean()),
        "reversed_right": float((rows["speed"][ramp & (y > 0.05)] < 0).mean()),
        "reversed_middle": float((rows["speed"][ramp & (np.abs(y) < 0.05)] < 0).mean()),
    }


def ready(case: FlowCase) -> Prepared:
    """Prepare a case; apart, so that other processes can do so ahead of the card."""
    return prepare(case)
