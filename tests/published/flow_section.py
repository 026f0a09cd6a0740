"""Sections in a slice of one cell, with the far field of their own circulation.

Lengths are in cells. A section by two conformal maps has an exact potential flow; along walls
without friction the lattice flow must come to it. The outer cells are pulled to that flow with the
circulation that the load says, so that a box of two chords does.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from tuftwork.flow.blunt import as_knives
from tuftwork.flow.edge import edge_points, hold_edges, sharp_edges
from tuftwork.flow.engine import CpuEngine, build_engine
from tuftwork.flow.lattice import quiescent_departure
from tuftwork.flow.setup import SOLID, Setup, Surface
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape.loft import loft


@dataclass(frozen=True, kw_only=True)
class MappedSection:
    """A circle about ``centre`` through 1, mapped with a tail of ``tail`` degrees, at ``alpha``.

    The map and its flow are those of the reference tables (E2): z = k (1 + q)/(1 − q) with
    q = ((ζ − 1)/(ζ + 1))^k, k = 2 − tail/180°.
    """

    centre: complex
    tail: float
    alpha: float

    @property
    def power(self) -> float:
        return 2 - self.tail / 180

    @property
    def radius(self) -> float:
        return abs(1 - self.centre)

    @property
    def circulation(self) -> float:
        """Clockwise, for which the stream leaves the tail smoothly; speed 1."""
        turn = -np.angle(1 - self.centre)
        return float(4 * np.pi * self.radius * np.sin(np.radians(self.alpha) + turn))

    def contour(self, count: int = 400) -> np.ndarray:
        """Points from the tail over the upper side. Shape (count,), complex."""
        start = np.angle(1 - self.centre)
        angle = start + 2 * np.pi * np.arange(count) / count
        zeta = self.centre + self.radius * np.exp(1j * angle)
        zeta[0] = 1
        q = ((zeta - 1) / (zeta + 1)) ** self.power
        return self.power * (1 + q) / (1 - q)

    @property
    def chord(self) -> tuple[float, float]:
        """Foremost place and length."""
        x = self.contour().real
        return float(x.min()), float(np.ptp(x))

    @property
    def lift(self) -> float:
        """Exact lift coefficient."""
        return 2 * self.circulation / self.chord[1]

    def velocity(self, z: np.ndarray, circulation: float) -> np.ndarray:
        """Conjugate velocity outside the section; 0 or anything inside it."""
        k, a = self.power, np.radians(self.alpha)
        with np.errstate(all="ignore"):
            zeta = self._back(z)
            q1 = (zeta - 1) / (zeta + 1)
            away = zeta - self.centre
            flow = (
                np.exp(-1j * a)
                - self.radius**2 * np.exp(1j * a) / away**2
                + 1j * circulation / (2 * np.pi * away)
            )
            slope = 4 * k**2 * q1 ** (k - 1) / ((1 - q1**k) * (zeta + 1)) ** 2
            return flow / slope

    def _back(self, z: np.ndarray) -> np.ndarray:
        """From the section's plane to the circle's, on the branch outside the circle."""
        q = (z - self.power) / (z + self.power)
        size, angle = np.abs(q) ** (1 / self.power), np.angle(q)

        def branch(turn: float) -> np.ndarray:
            root = size * np.exp(1j * (angle + turn) / self.power)
            return (1 + root) / (1 - root)

        out = branch(0.0)
        for turn in (2 * np.pi, -2 * np.pi):
            zeta = branch(turn)
            swap = (self._far(out) < 0.9999) & (self._far(zeta) >= 0.9999)
            out = np.where(swap, zeta, out)
        return out

    def _far(self, zeta: np.ndarray) -> np.ndarray:
        return np.abs(zeta - self.centre) / self.radius


@dataclass(frozen=True, kw_only=True)
class SectionOverWall:
    """A circle and its mirror image about y = 0, mapped to a section with a cusp as its tail.

    Reference tables E4: z = ζ + A/(ζ − p) + conj(A)/(ζ − conj(p)) of the circle |ζ − iH| = 1,
    whose flow is that of two rows of image doublets and of a pair of vortices.
    """

    height: float
    pole: complex
    tail_at: float
    slope: complex
    lift: float
    alpha: float = 0.0

    @property
    def _p(self) -> complex:
        return 1j * self.height + self.pole

    def _map(self, zeta: np.ndarray) -> np.ndarray:
        a, p = self.slope, self._p
        return zeta + a / (zeta - p) + np.conj(a) / (zeta - np.conj(p))

    def _rate(self, zeta: np.ndarray) -> np.ndarray:
        a, p = self.slope, self._p
        return 1 - a / (zeta - p) ** 2 - np.conj(a) / (zeta - np.conj(p)) ** 2

    def contour(self, count: int = 400) -> np.ndarray:
        """Points from the tail round the section. Shape (count,), complex."""
        angle = self.tail_at + 2 * np.pi * np.arange(count) / count
        return self._map(1j * self.height + np.exp(1j * angle))

    @property
    def chord(self) -> tuple[float, float]:
        """Foremost place and length, from the tail to the point furthest from it."""
        z = self.contour()
        return float(z.real.min()), float(np.abs(z - z[0]).max())

    def _circle(self, zeta: np.ndarray, circulation: float) -> np.ndarray:
        out, y, strength = np.ones_like(zeta, complex), self.height, 1.0
        for _ in range(40):
            out = out - strength / (zeta - 1j * y) ** 2 - strength / (zeta + 1j * y) ** 2
            strength = strength / (self.height + y) ** 2
            y = self.height - 1 / (self.height + y)
        a = np.sqrt(self.height**2 - 1)
        pair = 1 / (zeta - 1j * a) - 1 / (zeta + 1j * a)
        return np.asarray(out + 1j * circulation / (2 * np.pi) * pair)

    @property
    def circulation(self) -> float:
        """Clockwise, for which the stream leaves the tail smoothly; speed 1."""
        tail = np.array([1j * self.height + np.exp(1j * self.tail_at)])
        still = self._circle(tail, 0.0)
        return float((-still / (self._circle(tail, 1.0) - still)).real[0])

    def velocity(self, z: np.ndarray, circulation: float) -> np.ndarray:
        """Conjugate velocity outside the section; anything inside it."""
        with np.errstate(all="ignore"):
            far = z - np.conj(self.slope) / (z - np.conj(self._p)) - self._p
            root = np.sqrt(far * far - 4 * self.slope)
            one, two = (far + root) / 2, (far - root) / 2
            zeta = self._p + np.where(np.abs(one) > np.abs(two), one, two)
            for _ in range(12):
                zeta = zeta - (self._map(zeta) - z) / self._rate(zeta)
            out = self._circle(zeta, circulation) / self._rate(zeta)
            return np.where(np.isfinite(out), out, 0)


class SectionSlice:
    """A mapped section in its slice, started from its exact flow.

    Parameters
    ----------
    section
        The section.
    cells
        Cells over the chord.
    reynolds
        On the chord, with the wall law; None: walls without friction.
    tail
        Where the tail lies between the centres of cells, over a wall along it only.
    room
        Length and height of the box over the chord.
    """

    def __init__(
        self, section: MappedSection | SectionOverWall, cells: int, *,
        reynolds: float | None = None, speed: float = 0.075, frame: int = 14,
        tail: tuple[float, float] | None = None, room: tuple[float, float] = (2.8, 1.8),
    ) -> None:  # fmt: skip
        self.section, self.cells, self.speed = section, cells, speed
        self.shape = (int(room[0] * cells), int(room[1] * cells), 1)
        front, length = section.chord
        self._size, self._turn = length / cells, np.exp(-1j * np.radians(section.alpha))
        self._pivot = front + length / 4
        over = isinstance(section, SectionOverWall)
        self._at = (room[0] / 2 - 0.35) * cells + 0.3, self.shape[1] // 2 + 0.37
        around = np.zeros(self.shape[::-1], np.uint8)
        if over:  # the wall lies half way between the lowest two rows
            self.shape = (int(2.6 * cells), int(1.3 * cells), 1)
            self._at = self._at[0], 0.5
            around = np.zeros(self.shape[::-1], np.uint8)
            around[:, 0] = 1
        if tail is not None:
            tip = (section.contour()[0] - self._pivot) * self._turn / self._size
            where = tip.real, tip.imag
            off = [t - (a + b) % 1 for t, a, b in zip(tail, self._at, where, strict=True)]
            self._at = self._at[0] + off[0], self._at[1] + (0.0 if over else off[1])
        place = (section.contour() - self._pivot) * self._turn / self._size
        outline = np.column_stack([place.real + self._at[0], place.imag + self._at[1]])
        mesh = loft("foil", np.array([np.insert(outline, 2, z, axis=1) for z in (-9.0, 10.0)]))
        foil = Surface(name="foil", has_wall_law=True, is_frictionless=reynolds is None)
        body = Body(triangles=mesh.triangles, surface=1)
        wall = Surface(name="wall", has_wall_law=True, is_frictionless=True)
        mark, links = wrap_bodies(self.shape, [body], [wall, foil], skin=0.0, surroundings=around,
                                  stream=(1.0, 0.0, 0.0))  # fmt: skip
        # the two sides of a cusp lie too close together at its tip to be told by the usual measure
        edges = sharp_edges(mesh.vertices, mesh.faces, close=1e-9)
        points = edge_points(as_knives(edges, (1.0, 0.0, 0.0)), (1.0, 0.0, 0.0))
        links, self.held = hold_edges(links, self.shape, points)
        viscosity = speed * cells / reynolds if reynolds else 1.5e-5
        engine = build_engine(Setup(shape=self.shape, viscosity=viscosity, mark=mark, walls=links))
        assert isinstance(engine, CpuEngine)
        self.engine = engine
        x, y = np.meshgrid(np.arange(self.shape[0]), np.arange(self.shape[1]))
        self._z = ((x - self._at[0]) + 1j * (y - self._at[1])) * self._size / self._turn
        self._z += self._pivot
        self.circulation = section.circulation
        density, velocity = self._exact(self._z)
        solid = mark[0] == SOLID
        density[solid], velocity[:, solid] = 1.0, 0.0
        engine.start(density[None], velocity[:, None])
        low = np.full(y.shape, frame) if over else y
        depth = np.minimum.reduce([x, self.shape[0] - 1 - x, low, self.shape[1] - 1 - y]).ravel()
        self._frame = np.flatnonzero((depth < frame) & ~solid.ravel())
        self._share_of_lift = section.circulation / section.lift
        depth = depth[self._frame]
        self._share = np.where(depth < 3, 1.0, 0.3 * ((frame - depth) / (frame - 3)) ** 2)

    def _exact(self, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Density and velocity of the potential flow in lattice units."""
        v = np.conj(self.section.velocity(z, self.circulation)) * self._turn * self.speed
        v = np.where(np.abs(v) < 3 * self.speed, v, 0)
        velocity = np.stack([v.real, v.imag, np.zeros(v.shape)])
        return 1 + 1.5 * (self.speed**2 - np.abs(v) ** 2), velocity

    def run(self, chords: float) -> np.ndarray:
        """Advance; return chords of travel, drag and lift coefficient. Shape (n, 3)."""
        own = self.engine.setup.walls.counted() == 1
        unit = 0.5 * self.speed**2 * self.cells
        every, rows = max(1, round(0.01 * self.cells / self.speed)), []
        for n in range(round(chords * self.cells / self.speed / 2 / every)):
            density, velocity = self._exact(self._z.ravel()[self._frame])
            target = quiescent_departure(density, velocity)
            load = np.zeros(2)
            for _ in range(every):
                self.engine.advance(1)
                f = self.engine.populations
                f[:, self._frame] += self._share * (target - f[:, self._frame])
                load += self.engine.wall_rows()[:2, own].sum(axis=1) / unit / every
            self.circulation += 0.05 * (load[1] * self._share_of_lift - self.circulation)
            rows.append((2 * (n + 1) * every * self.speed / self.cells, *load))
        return np.array(rows)

    def push(self, chords: float, *, only: Callable[[np.ndarray], np.ndarray]) -> float:
        """Drag by pressure at the wall on part of the contour, over the last quarter of a travel.

        ``only`` says of places on the contour, from its middle and over the chord, which count.
        """
        links = self.engine.setup.walls
        own = np.flatnonzero((links.counted() == 1) & (links.geometry[3] >= 0))
        sums, step = np.zeros(own.size), self.engine.advance
        last = 0.75 * chords * self.cells / self.speed
        taken = 0

        def watched(n_pair: int) -> None:
            nonlocal sums, taken
            step(n_pair)
            if self.engine.step > last:
                sums, taken = sums + self.engine.wall_rows()[3, own] / 3, taken + 1

        self.engine.advance = watched  # type: ignore[method-assign]
        self.run(chords)
        lx = self.engine.setup.shape[0]
        at = np.stack([links.cell[own] % lx, links.cell[own] // lx], axis=1)
        foot = at - (links.geometry[3, own] * links.geometry[:2, own]).T
        place = (self.section.contour(4000) - self._pivot) * self._turn / self._size
        corner = np.column_stack([place.real, place.imag]) + self._at
        middle = 0.5 * (corner + np.roll(corner, -1, axis=0))
        way = np.roll(corner, -1, axis=0) - corner
        out = np.column_stack([way[:, 1], -way[:, 0]])
        centre = middle.mean(axis=0)
        out *= np.sign(((middle - centre) * out).sum())
        far, near = cKDTree(foot).query(middle, k=4)
        weight = 1.0 / (far + 0.1)
        pressure = (weight * (sums / taken)[near]).sum(axis=1) / weight.sum(axis=1)
        kept = only((middle - centre) / self.cells)
        unit = 0.5 * self.speed**2 * self.cells
        return float(-(pressure * out[:, 0])[kept].sum() / unit)
