"""Reference cases of the lattice flow in lattice units: one function a case, for every back end.

The tests run them small on the CPU; the recorded figures of a card come from the same functions.
Lengths are in cells, times in steps.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tuftwork.flow.edge import REACH, edge_points, hold_edges, sharp_edges
from tuftwork.flow.engine import AbstractEngine, build_engine
from tuftwork.flow.layer import add_layer
from tuftwork.flow.setup import Setup, Surface, WallLinks
from tuftwork.flow.walls import Body, staircase, wrap_bodies

Backend = tuple[str, str | None]
CPU: Backend = ("cpu", None)


def loads_of(engine: AbstractEngine, surface: int) -> Callable[[], np.ndarray]:
    """Return a function that takes the force on a surface now, on the card where it is."""
    main = engine.setup.walls.counted() == surface
    if engine.backend == "cpu":
        weight = main.astype(float)
        return lambda: engine._rows[:3] @ weight
    import cupy

    on_card = cupy.asarray(main.astype(np.float32))
    return lambda: engine._rows[:3] @ on_card


def gathered(rows: list) -> np.ndarray:
    """Return taken forces as one array on this side. Shape (n, 3)."""
    if not rows or isinstance(rows[0], np.ndarray):
        return np.array(rows)
    import cupy

    return cupy.stack(rows).get().astype(float)


def sampled(
    engine: AbstractEngine, surface: int, steps: int, every: int = 10,
    mean_after: int | None = None, look: Callable[[AbstractEngine], None] | None = None,
) -> np.ndarray:  # fmt: skip
    """Advance and return the force at every ``every`` steps; sample means after ``mean_after``."""
    take, rows = loads_of(engine, surface), []
    for n in range(steps // every):
        engine.advance(every // 2)
        rows.append(take())
        if look is not None:
            look(engine)
        if mean_after is not None and n * every >= mean_after and n % 5 == 0:
            engine.sample()
    out = gathered(rows)
    assert np.isfinite(out).all(), "diverged"
    return out


def prism(corner: np.ndarray) -> np.ndarray:
    """Triangles of a prism along z through the layer k = 0, from its outline (n, 2)."""
    from tuftwork.shape.loft import loft

    rings = [np.column_stack([corner, np.full(len(corner), z)]) for z in (-2.0, 3.0)]
    mesh = loft("prism", np.array(rings))
    return mesh.vertices[mesh.faces]


def circle(x: float, y: float, radius: float, n: int = 360) -> np.ndarray:
    """Outline of a circle."""
    t = 2 * np.pi * np.arange(n) / n
    return np.column_stack([x + radius * np.cos(t), y + radius * np.sin(t)])


def fading(count: int, width: int, most: float = 0.05) -> np.ndarray:
    """Sponge that grows towards the end of a row, where the stream is prescribed."""
    out = most * np.clip((np.arange(count) - (count - 1 - width)) / width, 0, 1) ** 2
    out[-1] = 1.0
    return out


# The cylinder in a channel, Schäfer & Turek 1996: 2.2 × 0.41 m, D = 0.1 m at (0.2, 0.2) m.


@dataclass(frozen=True, kw_only=True)
class DuctCylinder:
    """The channel with ``diameter`` cells over the cylinder, mean speed ``speed``."""

    diameter: int
    reynolds: float
    speed: float
    length: float = 22.0

    @property
    def rows(self) -> int:
        return round(4.1 * self.diameter)

    def profile(self, factor: float = 1.0) -> np.ndarray:
        """Parabola over the rows j = 1 … n; the wall row holds nothing. Shape (3, 1, n + 1)."""
        y = np.arange(self.rows + 1) - 0.5
        u = 6 * self.speed * factor * y * (self.rows - y) / self.rows**2
        return np.stack([np.maximum(u, 0.0), 0 * u, 0 * u])[:, None, :]

    def surfaces(self, factor: float = 1.0) -> tuple[Surface, ...]:
        """Walls, cylinder, inflow: its parabola is the surface's own."""
        centre, fall = 0.5 * self.rows + 0.5, 4.0 / self.rows**2
        inflow = Surface(
            name="inflow",
            velocity=(1.5 * self.speed * factor, 0.0, 0.0),
            centre=(0.0, centre, 0.0),
            fall=(0.0, fall, 0.0),
        )
        return Surface(name="walls"), Surface(name="cylinder"), inflow

    def setup(self) -> Setup:
        d = self.diameter
        shape = (round(self.length * d) + 1, self.rows + 1, 1)
        removed = np.zeros(shape[::-1], np.uint8)
        label = np.zeros_like(removed)
        removed[:, 0], removed[:, :, 0] = 1, 1
        label[:, :, 0] = 2  # the corner too: its diagonals balance
        body = Body(triangles=prism(circle(2 * d + 0.5, 2 * d + 0.5, d / 2)), surface=1)
        mark, links = wrap_bodies(
            shape, [body], self.surfaces(), skin=0.0, surroundings=removed, around_label=label
        )
        return Setup(
            shape=shape,
            viscosity=self.speed * d / self.reynolds,
            mark=mark,
            walls=links,
            profile=self.profile(),
            sponge=(fading(shape[0], 2 * d), np.zeros(shape[1]), np.zeros(1)),
        )

    def coefficients(self, force: np.ndarray) -> np.ndarray:
        """Drag and lift coefficient on D and the mean speed. Shape (n, 2)."""
        return force[:, :2] / (0.5 * self.speed**2 * self.diameter)

    def pressure_step(self, engine: AbstractEngine) -> float:
        """Pressure between the foremost and rearmost point, for ρ = 1 and mean speed 0.2 m/s."""
        d = self.diameter
        rows = engine.moments().density[0, 2 * d : 2 * d + 2].mean(axis=0)
        ahead, behind = round(1.5 * d), round(2.5 * d) + 1
        share = np.array([1.875, -1.25, 0.375])  # to the wall, half a cell from the first centre
        front = share @ rows[[ahead, ahead - 1, ahead - 2]]
        rear = share @ rows[[behind, behind + 1, behind + 2]]
        return float((front - rear) / 3 / self.speed**2 * 0.2**2)


def duct_cylinder_steady(diameter: int, speed: float, through: float, backend: Backend = CPU):
    """2D-1, Re 20: drag, lift, pressure step after ``through`` passages of the channel."""
    case = DuctCylinder(diameter=diameter, reynolds=20, speed=speed)
    engine = build_engine(case.setup(), *backend)
    engine.start_uniform()
    steps = round(through * 22 * diameter / speed)
    force = sampled(engine, 1, steps, 20)
    drag, lift = case.coefficients(force[-20:]).mean(axis=0)
    return {"drag": drag, "lift": lift, "pressure": case.pressure_step(engine)}


def peaks(series: np.ndarray) -> np.ndarray:
    """Heights of the maxima of a smooth series, by parabolas."""
    n = np.flatnonzero((series[1:-1] > series[:-2]) & (series[1:-1] >= series[2:])) + 1
    a, b, c = series[n - 1], series[n], series[n + 1]
    return b + (c - a) ** 2 / (8 * np.maximum(2 * b - a - c, 1e-30))


def frequency(series: np.ndarray, spacing: float) -> float:
    """Frequency from upward crossings of the mean, interpolated."""
    x = series - series.mean()
    n = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0))
    at = n - x[n] / (x[n + 1] - x[n])
    return float((len(at) - 1) / (at[-1] - at[0]) / spacing)


def smooth(series: np.ndarray, width: int) -> np.ndarray:
    """Running mean; ``width`` samples."""
    return np.convolve(series, np.ones(width) / width, mode="valid") if width > 1 else series


def duct_cylinder_shedding(
    diameter: int, speed: float, settle: float, keep: float, backend: Backend = CPU
):
    """2D-2, Re 100: ends of drag and lift, Strouhal number; times in D over mean speed."""
    case = DuctCylinder(diameter=diameter, reynolds=100, speed=speed)
    engine = build_engine(case.setup(), *backend)
    engine.start_uniform()
    unit = diameter / speed
    sampled(engine, 1, round(settle * unit), 100)
    every = max(2, 2 * round(unit / 200))
    force = sampled(engine, 1, round(keep * unit), every)
    width = max(1, round(unit / every / 40))
    drag, lift = (smooth(row, width) for row in case.coefficients(force).T)
    return {
        "drag_max": float(np.median(peaks(drag))),
        "drag_min": float(-np.median(peaks(-drag))),
        "lift_max": float(np.median(peaks(lift))),
        "lift_span": float(np.median(peaks(lift)) + np.median(peaks(-lift))),
        "strouhal": frequency(lift, every / unit),
    }


def duct_cylinder_pulse(diameter: int, speed: float, backend: Backend = CPU):
    """2D-3: inflow sin(πt/8), 8 s from rest; largest drag and lift, their times, Δp(8).

    ``speed`` stands for the greatest mean speed, 1 m/s; Re 100 on it.
    """
    case = DuctCylinder(diameter=diameter, reynolds=100, speed=speed)
    engine = build_engine(case.setup(), *backend)
    shape = case.setup().shape[::-1]
    engine.start(np.ones(shape), np.zeros((3, *shape)))
    step_time = speed * 0.1 / diameter
    take, rows = loads_of(engine, 1), []
    pairs = round(8.0 / step_time / 2)
    for n in range(pairs):
        factor = float(np.sin(np.pi * (2 * n + 1) * step_time / 8))
        engine.set_stream(case.profile(factor))
        engine.set_surfaces(np.array([s.row() for s in case.surfaces(factor)]))
        engine.advance(1)
        if n % 5 == 4:
            rows.append(take())
    width = 9
    drag, lift = (smooth(row, width) for row in case.coefficients(gathered(rows)).T)
    time = (np.arange(len(drag)) + width // 2 + 1) * 10 * step_time
    return {
        "drag_max": float(drag.max()),
        "drag_time": float(time[drag.argmax()]),
        "lift_max": float(lift.max()),
        "lift_time": float(time[lift.argmax()]),
        # pressures for ρ = 1 and 1 m/s
        "pressure": case.pressure_step(engine) / 0.2**2,
    }


# The cylinder across a square duct, Schäfer & Turek 1996: 2.5 × 0.41 × 0.41 m, at (0.5, 0.2) m.


@dataclass(frozen=True, kw_only=True)
class SquareDuctCylinder:
    """The duct with ``diameter`` cells over the cylinder, mean speed ``speed``."""

    diameter: int
    reynolds: float
    speed: float
    length: float = 25.0

    @property
    def rows(self) -> int:
        return round(4.1 * self.diameter)

    def profile(self) -> np.ndarray:
        """Product of two parabolas, 9/4 of the mean at most. Shape (3, n + 1, n + 1)."""
        y = np.arange(self.rows + 1) - 0.5
        one = np.maximum(6 * y * (self.rows - y) / self.rows**2, 0.0)
        u = self.speed * one * one[:, None]
        return np.stack([u, 0 * u, 0 * u])

    def setup(self) -> Setup:
        d, n = self.diameter, self.rows
        shape = (round(self.length * d) + 1, n + 1, n + 1)
        removed = np.zeros(shape[::-1], np.uint8)
        label = np.zeros_like(removed)
        removed[0], removed[:, 0], removed[:, :, 0] = 1, 1, 1
        label[:, :, 0] = 2
        ring = circle(5 * d + 0.5, 2 * d + 0.5, d / 2, 180)
        from tuftwork.shape.loft import loft

        rings = [np.column_stack([ring, np.full(len(ring), z)]) for z in (-2.0, n + 3.0)]
        mesh = loft("cylinder", np.array(rings))
        body = Body(triangles=mesh.vertices[mesh.faces], surface=1)
        centre, fall = 0.5 * n + 0.5, 4.0 / n**2
        inflow = Surface(
            name="inflow", velocity=(2.25 * self.speed, 0.0, 0.0),
            centre=(0.0, centre, centre), fall=(0.0, fall, fall),
        )  # fmt: skip
        mark, links = wrap_bodies(
            shape, [body], (Surface(name="walls"), Surface(name="cylinder"), inflow), skin=0.0,
            surroundings=removed, around_label=label,
        )  # fmt: skip
        return Setup(
            shape=shape, viscosity=self.speed * d / self.reynolds, mark=mark, walls=links,
            profile=self.profile(),
            sponge=(fading(shape[0], 2 * d), np.zeros(shape[1]), np.zeros(shape[2])),
        )  # fmt: skip

    def pressure_step(self, engine: AbstractEngine) -> float:
        """Pressure between front and rear point half way across, for ρ = 1 and 0.2 m/s."""
        d, k = self.diameter, (self.rows + 1) // 2
        rows = engine.moments().density[k : k + 1, 2 * d : 2 * d + 2].mean(axis=(0, 1))
        ahead, behind = round(4.5 * d), round(5.5 * d) + 1
        share = np.array([1.875, -1.25, 0.375])  # to the wall, half a cell from the first centre
        front = share @ rows[[ahead, ahead - 1, ahead - 2]]
        rear = share @ rows[[behind, behind + 1, behind + 2]]
        return float((front - rear) / 3 / self.speed**2 * 0.2**2)


def square_duct_cylinder(
    diameter: int, reynolds: float, speed: float, through: float, backend: Backend = CPU,
    *, length: float = 25.0,
):  # fmt: skip
    """3D-1Z (Re 20) and 3D-2Z (Re 100), steady inflow: ends of drag and lift after ``through``.

    ``through``: passages of the duct at the mean speed; the last quarter of them is looked at.
    """
    case = SquareDuctCylinder(diameter=diameter, reynolds=reynolds, speed=speed, length=length)
    engine = build_engine(case.setup(), *backend)
    engine.start_uniform()
    steps = round(through * length * diameter / speed)
    every = max(2, 2 * round(diameter / speed / 40))
    sampled(engine, 1, round(0.75 * steps), 100)
    force = sampled(engine, 1, round(0.25 * steps), every)
    drag, lift = (force[:, :2] / (0.5 * speed**2 * diameter * case.rows)).T
    lift = smooth(lift, 3)
    swing = float(np.ptp(lift))
    return {
        "drag": float(drag.mean()), "drag_max": float(smooth(drag, 3).max()),
        "lift": float(lift.mean()), "lift_max": float(lift.max()), "lift_min": float(lift.min()),
        "pressure": case.pressure_step(engine),
        "strouhal": frequency(lift, every * speed / diameter) if swing > 1e-3 else float("nan"),
    }  # fmt: skip


# The cylinder in free air: the stream is prescribed all round.


@dataclass(frozen=True, kw_only=True)
class FreeCylinder:
    """A cylinder with ``reach`` diameters of air ahead and beside, ``behind`` behind."""

    diameter: int
    reynolds: float
    speed: float
    reach: float = 30.0
    behind: float = 40.0

    @property
    def centre(self) -> tuple[float, float]:
        d = self.diameter
        return round(self.reach * d) + 0.5, round(self.reach * d) + 0.5

    def setup(self) -> Setup:
        d = self.diameter
        shape = (round((self.reach + self.behind) * d), 2 * round(self.reach * d) + 2, 1)
        body = Body(triangles=prism(circle(*self.centre, d / 2)), surface=1)
        surfaces = [Surface(name="none"), Surface(name="cylinder")]
        mark, links = wrap_bodies(shape, [body], surfaces, skin=0.0)
        sx, sy = fading(shape[0], 8 * d), np.zeros(shape[1])
        sx[0] = sy[0] = sx[-1] = 1.0
        return Setup(
            shape=shape,
            viscosity=self.speed * d / self.reynolds,
            mark=mark,
            walls=links,
            stream=(self.speed, 0.0, 0.0),
            sponge=(sx, sy, np.zeros(1)),
        )

    def coefficients(self, force: np.ndarray) -> np.ndarray:
        return force[:, :2] / (0.5 * self.speed**2 * self.diameter)


def free_cylinder_steady(
    diameter: int, reynolds: float, speed: float, time: float, backend: Backend = CPU, **box: float
):
    """Drag, length of the wake over D from the rear point, angle of separation from it. [deg]."""
    case = FreeCylinder(diameter=diameter, reynolds=reynolds, speed=speed, **box)
    engine = build_engine(case.setup(), *backend)
    engine.start_uniform()
    force = sampled(engine, 1, round(time * diameter / speed), 20)
    drag = case.coefficients(force[-50:]).mean(axis=0)[0]
    half = case.coefficients(force[len(force) * 3 // 4 :][:50]).mean(axis=0)[0]
    velocity = engine.moments().velocity
    x0, y0 = case.centre
    line = velocity[0, 0, int(y0) : int(y0) + 2].mean(axis=0)
    first = int(np.ceil(x0 + diameter / 2 + 1))
    turn = first + int(np.flatnonzero(line[first:] > 0)[0])
    end = turn - 1 + line[turn - 1] / (line[turn - 1] - line[turn])
    return {
        "drag": drag,
        "drag_drift": drag / half - 1,
        "wake": (end - x0) / diameter - 0.5,
        "separation": separation(case, engine, velocity),
    }


def separation(case: FreeCylinder, engine: AbstractEngine, velocity: np.ndarray) -> float:
    """Angle from the rear point at which the speed along the wall turns. [deg]."""
    walls, shape = engine.setup.walls, engine.setup.shape
    x, y = walls.cell % shape[0], (walls.cell // shape[0]) % shape[1]
    x0, y0 = case.centre
    angle = np.degrees(np.arctan2(np.abs(y - y0), x - x0))
    side = np.sign(y - y0)
    u, v = velocity[0, 0, y, x], velocity[1, 0, y, x] * side
    a = np.radians(angle)
    along = (u * np.sin(a) - v * np.cos(a)) / np.maximum(walls.geometry[3], 0.2)
    near = (angle > 25) & (angle < 80) & (walls.geometry[3] < 1.2)
    fit = np.polyfit(angle[near], along[near], 3)
    roots = np.roots(fit)
    real = roots[(np.abs(roots.imag) < 1e-9) & (roots.real > 25) & (roots.real < 80)].real
    return float(real[0]) if len(real) else float("nan")


def free_cylinder_shedding(
    diameter: int, speed: float, settle: float, keep: float, backend: Backend = CPU, **box: float
):
    """Re 100: mean drag, amplitude of lift, Strouhal number."""
    case = FreeCylinder(diameter=diameter, reynolds=100, speed=speed, **box)
    engine = build_engine(case.setup(), *backend)
    kicked(engine, case)
    unit = diameter / speed
    sampled(engine, 1, round(settle * unit), 100)
    every = max(2, 2 * round(unit / 100))
    force = sampled(engine, 1, round(keep * unit), every)
    width = max(1, round(unit / every / 40))
    drag, lift = (smooth(row, width) for row in case.coefficients(force).T)
    return {
        "drag": float(drag.mean()),
        "lift": float((np.median(peaks(lift)) + np.median(peaks(-lift))) / 2),
        "strouhal": frequency(lift, every / unit),
    }


def kicked(engine: AbstractEngine, case: FreeCylinder) -> None:
    """Start from the free stream with a puff across behind the cylinder."""
    shape = engine.setup.shape
    x, y = np.arange(shape[0])[None], np.arange(shape[1])[:, None]
    d = case.diameter
    puff = np.exp(-(((x - case.centre[0] - 2 * d) / d) ** 2) - ((y - case.centre[1]) / d) ** 2)
    velocity = np.zeros((3, *shape[::-1]))
    velocity[0] = case.speed
    velocity[1, 0] = 0.2 * case.speed * puff
    engine.start(np.ones(shape[::-1]), velocity)


def free_cylinder_growth(
    diameter: int, reynolds: float, speed: float, time: float, backend: Backend = CPU, **box: float
) -> float:
    """Growth rate of the lift's swing, per D over speed, over the last half of ``time``."""
    case = FreeCylinder(diameter=diameter, reynolds=reynolds, speed=speed, **box)
    engine = build_engine(case.setup(), *backend)
    kicked(engine, case)
    unit = diameter / speed
    every = max(2, 2 * round(unit / 40))
    lift = case.coefficients(sampled(engine, 1, round(time * unit), every))[:, 1]
    lift = smooth(lift - lift[len(lift) // 2 :].mean(), 5)
    half = lift[len(lift) // 2 :]
    at = np.flatnonzero((half[1:-1] > half[:-2]) & (half[1:-1] >= half[2:]) & (half[1:-1] > 0)) + 1
    return float(np.polyfit(at * every / unit, np.log(half[at]), 1)[0])


# The sphere.


def ball(centre: float | np.ndarray, radius: float, rings: int = 64) -> np.ndarray:
    """Triangles of a sphere, by rings about x."""
    from tuftwork.shape.loft import loft

    t = np.linspace(0, np.pi, rings + 2)[1:-1]
    p = 2 * np.pi * np.arange(2 * rings) / (2 * rings)
    ring = np.stack([np.cos(p), np.sin(p)], axis=-1)
    rows = [np.column_stack([np.full(len(p), -np.cos(a)), np.sin(a) * ring]) for a in t]
    mesh = loft("ball", radius * np.array(rows))
    return mesh.vertices[mesh.faces] + centre


def sphere(
    diameter: int,
    reynolds: float,
    speed: float,
    settle: float,
    keep: float,
    backend: Backend = CPU,
    *,
    half: float = 4.0,
    ahead: float = 5.0,
    behind: float = 13.0,
):
    """Mean drag, mean and swing of the side force, Strouhal number."""
    d = diameter
    across = 2 * round(half * d) + 1
    shape = (round((ahead + behind) * d), across, across)
    centre = np.array([round(ahead * d), half * d + 0.5, half * d + 0.5])
    body = Body(triangles=ball(centre, d / 2), surface=1)
    surfaces = [Surface(name="none"), Surface(name="sphere")]
    mark, links = wrap_bodies(shape, [body], surfaces, skin=0.0)
    sx, sy = fading(shape[0], 3 * d), np.zeros(across)
    sx[0] = sy[0] = 1.0
    # a faint side wind of 2 % at first chooses the plane of the wake
    setup = Setup(
        shape=shape,
        viscosity=speed * d / reynolds,
        mark=mark,
        walls=links,
        stream=(speed, 0.0, 0.0),
        sponge=(sx, sy, sy),
    )
    engine = build_engine(setup, *backend)
    velocity = np.zeros((3, *shape[::-1]))
    velocity[0], velocity[2] = speed, 0.1 * speed
    engine.start(np.ones(shape[::-1]), velocity)
    unit = d / speed
    sampled(engine, 1, round(settle * unit), 100)
    every = max(2, 2 * round(unit / 40))
    force = sampled(engine, 1, round(keep * unit), every) / (0.5 * speed**2 * np.pi * d * d / 4)
    mean = force.mean(axis=0)
    side = mean[1:] / max(float(np.hypot(*mean[1:])), 1e-12)
    lift = smooth(force[:, 1:] @ side, 5)
    return {
        "drag": float(mean[0]),
        "side": float(np.hypot(*mean[1:])),
        "strouhal": frequency(lift, every / unit),
    }


# The plane channel with the wall law.


def law_walls(
    removed: np.ndarray, depth: int, *, shear_only: bool = False
) -> tuple[np.ndarray, WallLinks]:
    """Marks and links of cells beside ``removed`` ones: walls with the law, under a layer."""
    surfaces = [Surface(name="none"), Surface(name="walls", has_wall_law=True)]
    return add_layer(*staircase(removed, removed.copy(), surfaces), depth, shear_only=shear_only)


def law_profile(y: np.ndarray, half: float, friction: float, viscosity: float) -> np.ndarray:
    """Reichardt's law from both walls at the distances ``y``."""
    yp = np.minimum(y, 2 * half - y) * friction / viscosity
    return friction * (
        np.log(1 + 0.41 * yp) / 0.41 + 7.8 * (1 - np.exp(-yp / 11) - yp / 11 * np.exp(-yp / 3))
    )


def channel(
    half: int,
    bulk: float,
    reynolds: float,
    settle: float,
    keep: float,
    backend: Backend = CPU,
    *,
    size: tuple[float, float] = (6.0, 3.0),
    seed: int = 1,
    layer: int = 0,
    shear_only: bool = False,
):
    """Turbulent channel at a held bulk speed: friction coefficient, centre over bulk, profile.

    ``reynolds`` is U_b h/ν; times in h over bulk speed.
    """
    lx, ly, lz = round(size[0] * half), round(size[1] * half), 2 * half + 1
    removed = np.zeros((lz, ly, lx), np.uint8)
    removed[0] = 1
    mark, links = law_walls(removed, layer, shear_only=shear_only)
    viscosity = bulk * half / reynolds
    friction = bulk * np.sqrt(0.5 * 0.06 * reynolds**-0.25)
    pull = friction**2 / half
    setup = Setup(
        shape=(lx, ly, lz), viscosity=viscosity, mark=mark, walls=links, force=(pull, 0.0, 0.0)
    )
    engine = build_engine(setup, *backend)
    rng = np.random.default_rng(seed)
    y = np.arange(lz) - 0.5
    velocity = np.zeros((3, lz, ly, lx))
    velocity[0] = law_profile(np.clip(y, 0, 2 * half), half, friction, viscosity)[:, None, None]
    velocity[0] *= bulk / velocity[0, 1:].mean()
    puffs = rng.standard_normal((3, lz // 4 + 1, ly // 4 + 1, lx // 4 + 1))
    puffs = puffs.repeat(4, 1).repeat(4, 2).repeat(4, 3)[:, :lz, :ly, :lx]
    velocity += 0.1 * bulk * puffs
    engine.start(np.ones((lz, ly, lx)), velocity)
    take, unit, cells = loads_of(engine, 1), half / bulk, 2 * half * ly * lx
    pulls, every = [], max(2, 2 * round(unit / 20))
    total = round((settle + keep) * unit / every)
    for n in range(total):
        engine.advance(every // 2)
        if n % 10 == 0:
            now = engine.moments().velocity[0, 1:].mean() if engine.backend == "cpu" else (
                bulk_on_card(engine))  # fmt: skip
            wall = float(take()[0]) / cells
            pull = wall + (bulk - now) / (2 * unit)
            engine.set_force((pull, 0.0, 0.0))
        if n * every > settle * unit:
            pulls.append(take())
            if n % 10 == 0:
                engine.sample()
    wall = gathered(pulls)[:, 0].mean() / (2 * ly * lx)
    mean = engine.means()[0].velocity[0, 1:].mean(axis=(1, 2))
    mean = 0.5 * (mean + mean[::-1])[:half]
    own = mean.mean()
    shear = float(np.sqrt(wall))
    return {
        "friction": float(wall / (0.5 * own**2)),
        "centre": float((1.5 * mean[-1] - 0.5 * mean[-2]) / own),
        "y_plus": (np.arange(half) + 0.5) * shear / viscosity,
        "u_plus": mean / shear,
        "bulk": float(own / bulk),
    }


def bulk_on_card(engine: AbstractEngine) -> float:
    """Mean of u over the cells of a channel, on the card."""
    cp = engine._cupy
    rows = cp.zeros((4, engine.setup.n_cell), cp.float32)
    engine.kernel["fields"](*engine._cells(256), (engine._f, engine._mark, rows, np.int32(0)))
    return float(rows[1].sum() / (engine._mark != 1).sum())


# Bodies with edges: faces lie half way between cells, so the staircase is exact.


def square_cylinder(
    diameter: int, speed: float, settle: float, keep: float, backend: Backend = CPU,
    *, span: float = 4.0, height: float = 14.0, ahead: float = 6.0, behind: float = 14.0,
    reach: float = REACH, look: Callable[[AbstractEngine], None] | None = None,
):  # fmt: skip
    """Re 22 000: mean drag, Strouhal number, swing of lift, length of the mean wake.

    The mirror of the tunnel's walls stands in for them: the box is periodic across.
    """
    d = diameter
    shape = (round((ahead + behind) * d), round(height * d), round(span * d))
    removed = np.zeros(shape[::-1], np.uint8)
    i, j = round(ahead * d), (shape[1] - d) // 2
    removed[:, j : j + d, i : i + d] = 1
    surfaces = [Surface(name="none"), Surface(name="square", has_wall_law=True)]
    mark, links = staircase(removed, removed.copy(), surfaces)
    links = held_box(links, shape, (i, j, -4), (i + d, j + d, shape[2] + 4), reach)
    sx = fading(shape[0], 3 * d)
    sx[0] = 1.0
    setup = Setup(
        shape=shape, viscosity=speed * d / 22_000, mark=mark, walls=links,
        stream=(speed, 0.0, 0.0), sponge=(sx, np.zeros(shape[1]), np.zeros(shape[2])),
    )  # fmt: skip
    engine = build_engine(setup, *backend)
    noisy(engine, (speed, 0.0, 0.0), 0.05 * speed)
    unit = d / speed
    sampled(engine, 1, round(settle * unit), 100)
    every = max(2, 2 * round(unit / 40))
    force = sampled(engine, 1, round(keep * unit), every, mean_after=0, look=look)
    mean = engine.means()[0].velocity[0]
    own = float(mean[:, :, d].mean())  # what passes the section, one diameter behind the inflow
    force = force[:, :2] / (0.5 * own**2 * d * shape[2])
    line = mean[:, (shape[1] - d) // 2 + d // 2 - (1 - d % 2) : (shape[1] - d) // 2 + d // 2 + 1]
    line = line.mean(axis=(0, 1)) if line.ndim == 3 else line
    first = i + d + 3  # the first cells hold next to nothing, of either sign
    turn = first + int(np.flatnonzero(line[first:] > 0)[0])
    lift = smooth(force[:, 1], 5)
    return {
        "drag": float(force[:, 0].mean()),
        "strouhal": frequency(lift, every * own / d),
        "lift_rms": float(lift.std()),
        "wake": (turn - 0.5 - (i + d / 2 - 0.5)) / d,
        "own": own / speed,
    }


def held_box(
    links: WallLinks, shape: tuple[int, int, int], low: tuple, high: tuple, reach: float
) -> WallLinks:
    """Hold the edges of a box from its first cells to behind its last, as ``cut_case`` would."""
    from tuftwork.shape.loft import block

    mesh = block("box", *(tuple(c - 0.5 for c in corner) for corner in (low, high)))
    points = edge_points(sharp_edges(mesh.vertices, mesh.faces), (1.0, 0.0, 0.0))
    return hold_edges(links, shape, points, reach=reach)[0]


def noisy(engine: AbstractEngine, stream: tuple[float, float, float], swing: float) -> None:
    """Start from a stream with random puffs of four cells."""
    shape = engine.setup.shape[::-1]
    rng = np.random.default_rng(3)
    coarse = rng.standard_normal((3, *(n // 4 + 1 for n in shape)))
    puffs = coarse.repeat(4, 1).repeat(4, 2).repeat(4, 3)[:, : shape[0], : shape[1], : shape[2]]
    velocity = swing * puffs + np.array(stream).reshape(3, 1, 1, 1)
    engine.start(np.ones(shape), velocity)


def wall_cube(
    height: int, speed: float, settle: float, keep: float, backend: Backend = CPU,
    *, width: float = 7.0, ahead: float = 3.5, behind: float = 7.5, reach: float = REACH,
):  # fmt: skip
    """Cube on the wall of a channel of twice its height, Re_H 40 000 on the bulk speed.

    The inflow is the mean profile of a developed channel without its turbulence. Returns where
    the mean flow along the wall leaves ahead of the cube and comes back behind it, in heights.
    """
    h = height
    shape = (round((ahead + behind + 1) * h), round(width * h), 2 * h + 1)
    removed = np.zeros(shape[::-1], np.uint8)
    removed[0] = 1
    i, j = round(ahead * h), (shape[1] - h) // 2
    removed[1 : h + 1, j : j + h, i : i + h] = 1
    label = np.zeros_like(removed)
    label[1 : h + 1, j : j + h, i : i + h] = 1
    surfaces = [Surface(name=n, has_wall_law=True) for n in ("walls", "cube")]
    mark, links = staircase(removed, label, surfaces)
    links = held_box(links, shape, (i, j, -4), (i + h, j + h, h + 1), reach)
    viscosity = speed * h / 40_000
    friction = speed * np.sqrt(0.5 * 0.06 * 40_000**-0.25)
    y = np.clip(np.arange(shape[2]) - 0.5, 0, 2 * h)
    u = law_profile(y, h, friction, viscosity)
    u *= speed / u[1:].mean()
    profile = np.zeros((3, shape[2], shape[1]))
    profile[0] = u[:, None]
    sx = fading(shape[0], round(1.5 * h))
    sx[0] = 1.0
    setup = Setup(
        shape=shape, viscosity=viscosity, mark=mark, walls=links, profile=profile,
        sponge=(sx, np.zeros(shape[1]), np.zeros(shape[2])),
    )  # fmt: skip
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    unit = h / speed
    sampled(engine, 1, round(settle * unit), 100)
    force = sampled(engine, 1, round(keep * unit), max(2, 2 * round(unit / 20)), mean_after=0)
    mean = engine.means()[0].velocity[0]
    line = mean[1, shape[1] // 2 - 1 : shape[1] // 2 + 1].mean(axis=0)
    behind_cube, ahead_cube = line[i + h :], line[:i][::-1]
    back = np.flatnonzero(behind_cube[3:] > 0)
    off = np.flatnonzero(ahead_cube[2:] > 0)
    top = mean[h + 1, shape[1] // 2 - 1 : shape[1] // 2 + 1].mean(axis=0)[i : i + h]
    return {
        "back": float((back[0] + 3) / h) if back.size else float("nan"),
        "off": float((off[0] + 2) / h) if off.size else float("nan"),
        "drag": float(force[:, 0].mean() / (0.5 * speed**2 * h * h)),
        "top_reversed": float((top < 0).mean()),
    }
