"""The invented cars' shapes, from a few numbers: surfaces to draw and true places to mark.

Axes: x rearward from the front axle line, y right, z up from the ground. [m]
"""

from dataclasses import dataclass

import numpy as np

Colour = tuple[float, float, float]
_BODY, _GLASS, _DARK, _TYRE, _METAL = (
    (0.20, 0.38, 0.42), (0.09, 0.11, 0.13), (0.045, 0.05, 0.055), (0.07, 0.07, 0.075),
    (0.55, 0.57, 0.58),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Triangles of one colour; ``smooth`` ones share normals at their corners."""

    vertices: np.ndarray
    faces: np.ndarray
    colour: Colour
    smooth: bool = False
    shine: float = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Mould:
    """What a car's shape follows from: the truth of the pictures. [m], [rad]"""

    wheelbase: float = 2.62
    radius_front: float = 0.325
    radius_rear: float = 0.325
    squat: float = 0.007
    face: float = 0.93
    side: float = 0.90
    clearance_front: float = 0.058
    clearance_rear: float = 0.071
    nose: float = -0.895
    splitter: float = -0.98
    splitter_width: float = 1.72
    tail: float = 3.50
    roof: float = 1.28
    belt: float = 0.80
    bonnet: float = 0.82
    cabin: tuple[float, float, float, float] = (0.75, 1.35, 2.15, 3.0)
    wing_span: float = 1.70
    wing_chord: float = 0.30
    wing_station: float = 2.96
    wing_height: float = 1.18
    wing_angle: float = np.radians(8.0)
    gurney: float = 0.015
    end_plate: float = 0.24
    kick: float = 2.62
    ramp_end: float = 3.597
    ramp_angle: float = np.radians(11.0)
    ramp_width: float = 1.10
    floor_width: float = 1.52
    vent: tuple[float, float, float, float] = (0.36, 0.66, 0.52, 0.67)
    blades: int = 4
    blade: float = 0.01417
    colour: Colour = _BODY
    nose_elements: int = 0

    def floor_at(self, x: float) -> float:
        """Height of the reference plane at a station."""
        slope = (self.clearance_rear - self.clearance_front) / self.wheelbase
        return self.clearance_front + slope * x

    @property
    def ramp_exit(self) -> float:
        """Height of the diffuser's exit above the ground."""
        run = self.ramp_end - self.kick
        return float(self.floor_at(self.kick) + run * np.tan(self.ramp_angle))

    def wheel(self, axle: str, side: str, what: str) -> np.ndarray:
        """Return hub, top or ground of a wheel, outer face."""
        radius = self.radius_front if axle == "front" else self.radius_rear
        hub = radius - self.squat
        z = {"hub": hub, "top": hub + radius, "ground": 0.0}[what]
        sign = 1.0 if side == "right" else -1.0
        return np.array([0.0 if axle == "front" else self.wheelbase, sign * self.face, z])

    def tyre(self, axle: str, side: str, degrees: tuple[float, ...]) -> np.ndarray:
        """Return points along a tyre's outline, outer face."""
        radius = self.radius_front if axle == "front" else self.radius_rear
        angle = np.radians(degrees)
        ring = np.stack([np.cos(angle), 0 * angle, np.sin(angle)], axis=1)
        return np.asarray(self.wheel(axle, side, "hub") + radius * ring)

    def wing_edge(self, share: float, side: float = 0.0) -> np.ndarray:
        """Return a point of the chord line; 0 at the leading edge."""
        run = share * self.wing_chord
        x = self.wing_station + run * np.cos(self.wing_angle)
        return np.array([x, side, self.wing_height + run * np.sin(self.wing_angle)])

    def wing_outline(self, side: float = 0.0) -> np.ndarray:
        """Return corners of the wing's section, tail first, over its upper side ``(n, 3)``."""
        nose, tail = self.wing_edge(0.0), self.wing_edge(1.0)
        share = 0.5 * (1.0 + np.cos(np.linspace(0.0, 2.0 * np.pi, 31)[:-1]))
        bulge = 0.12 * 4.2 * (0.2969 * np.sqrt(share) - 0.126 * share - 0.3516 * share**2
                              + 0.2843 * share**3 - 0.1036 * share**4)  # fmt: skip
        camber = -0.08 * 4 * share * (1 - share)
        sign = np.where(np.arange(len(share)) < 16, 1.0, -1.0)
        offset = self.wing_chord * (camber + sign * bulge / 2)
        ahead = (tail - nose) / self.wing_chord
        up = np.array([-ahead[2], 0.0, ahead[0]])
        line = nose + self.wing_chord * share[:, None] * ahead + offset[:, None] * up
        return np.asarray(line + np.array([0.0, side, 0.0]))

    def vent_outline(self, side: float = 1.0) -> np.ndarray:
        """Return the arch vent's outline."""
        x0, x1, z0, z1 = self.vent
        y = side * self.side
        return np.array([[x0, y, z0], [x1, y, z0], [x1, y, z1], [x0, y, z1]])

    def blade_outline(self, number: int, side: float = 1.0) -> np.ndarray:
        """Return one louvre blade's outline."""
        x0, x1, z0, z1 = self.vent
        y = side * self.side
        low = z0 + (number + 1) * (z1 - z0) / (self.blades + 1) - self.blade / 2
        high = low + self.blade
        return np.array([[x0, y, low], [x1, y, low], [x1, y, high], [x0, y, high]])

    def surfaces(self) -> list[Surface]:
        """Return everything to draw."""
        found = [self._body(), self._cabin(), *self._splitter(), *self._wing(), *self._ramp()]
        for axle in ("front", "rear"):
            for side in ("left", "right"):
                found += self._wheel(axle, side)
        for sign in (-1.0, 1.0):
            found += self._vent(sign)
        found += self._mouth()
        return found

    def _body(self) -> Surface:
        stations = np.concatenate([
            [self.nose], np.linspace(self.nose + 0.03, self.tail - 0.03, 38), [self.tail],
        ])  # fmt: skip
        rings = []
        for x in stations:
            t = (x - self.nose) / (self.tail - self.nose)
            end = np.clip(min(x - self.nose, self.tail - x) / 0.5, 0.0, 1.0)
            half = self.side * (0.78 + 0.22 * np.sqrt(end * (2 - end)))
            top = self.bonnet - 0.20 * np.clip((0.25 - x) / 1.1, 0, 1) ** 1.6 + 0.07 * t
            low = self.floor_at(x) + 0.002
            if x > self.kick:
                low += (x - self.kick) * np.tan(self.ramp_angle)
            rings.append(_rounded(x, half, low, float(top), 0.13))
        return _loft(np.array(rings), self.colour, smooth=True, shine=0.45)

    def _cabin(self) -> Surface:
        x0, x1, x2, x3 = self.cabin
        rings = []
        for x in np.linspace(x0, x3, 24):
            rise = np.clip((x - x0) / (x1 - x0), 0, 1) if x < x1 else np.clip(
                (x3 - x) / (x3 - x2), 0, 1)  # fmt: skip
            rise = rise * rise * (3 - 2 * rise)
            top = self.belt + 0.04 + (self.roof - self.belt - 0.04) * rise
            half = 0.80 - 0.16 * rise
            rings.append(_rounded(x, half, self.belt - 0.1, float(top), 0.17))
        return _loft(np.array(rings), _GLASS, smooth=True, shine=0.7)

    def _splitter(self) -> list[Surface]:
        z = self.clearance_front
        half = self.splitter_width / 2
        found = [_box((self.splitter, -half, z), (self.nose + 0.5, half, z + 0.018), _DARK)]
        for k in range(self.nose_elements):
            x = self.nose + 0.02 + 0.13 * k
            low = z + 0.05 + 0.075 * k
            found.append(_plank(x, x + 0.15, 0.62, low, low + 0.05, 0.012, _METAL))
        return found

    def _wing(self) -> list[Surface]:
        half = self.wing_span / 2
        nose, tail = self.wing_edge(0.0), self.wing_edge(1.0)
        ahead = (tail - nose) / self.wing_chord
        up = np.array([-ahead[2], 0.0, ahead[0]])
        line = self.wing_outline()
        rings = np.stack([line + np.array([0, y, 0]) for y in (-half + 0.004, half - 0.004)])
        found = [_loft(rings, _DARK, smooth=False)]
        flap = tail + self.gurney * up
        lip = np.stack([
            np.array([tail, tail + 0.003 * ahead, flap + 0.003 * ahead, flap]) + np.array([0, y, 0])
            for y in (-half + 0.004, half - 0.004)
        ])  # fmt: skip
        found.append(_loft(lip, _METAL))
        x0, x1 = nose[0] - 0.03, tail[0] + 0.03
        low, high = nose[2] + 0.06 - self.end_plate, nose[2] + 0.06
        for y in (-half, half):
            found.append(_box((x0, y - 0.004, low), (x1, y + 0.004, high), self.colour))
            section = line + np.array([0, y + np.sign(y) * 0.0055, 0])
            found.append(_sheet(section, _DARK))
            pylon = (nose[0] + 0.1, np.sign(y) * 0.38)
            top = nose[2] - 0.02
            found.append(
                _box((pylon[0], pylon[1] - 0.008, self.belt),
                     (pylon[0] + 0.12, pylon[1] + 0.008, top), _DARK)
            )  # fmt: skip
        return found

    def _ramp(self) -> list[Surface]:
        """Return the floor and the diffuser's roof, with fences."""
        half, narrow = self.floor_width / 2, self.ramp_width / 2
        a, b = self.floor_at(-0.35), self.floor_at(self.kick)
        found = [_sheet(np.array([[-0.35, -half, a], [self.kick, -half, b],
                                  [self.kick, half, b], [-0.35, half, a]]), _DARK)]  # fmt: skip
        z = self.ramp_exit
        ramp = np.array([[self.kick, -narrow, b], [self.ramp_end, -narrow, z],
                         [self.ramp_end, narrow, z], [self.kick, narrow, b]])  # fmt: skip
        found.append(_sheet(ramp, (0.16, 0.17, 0.18)))
        for y in np.linspace(-narrow, narrow, 4):
            found.append(_wedge(self.kick, self.ramp_end, float(y), b, z))
        return found

    def _wheel(self, axle: str, side: str) -> list[Surface]:
        radius = self.radius_front if axle == "front" else self.radius_rear
        sign = 1.0 if side == "right" else -1.0
        hub = self.wheel(axle, side, "hub")
        found = [_drum(hub, radius, -sign * 0.27, _TYRE, smooth=True)]
        inner = self.tyre(axle, side, tuple(np.linspace(0, 350, 36)))
        arch = hub + (inner - hub) * (0.375 / radius)
        arch[:, 1] = sign * (self.side + 0.0015)
        found.append(_sheet(arch[arch[:, 2] > 0.10], _DARK))
        rim = hub + 0.66 * (inner - hub) + [0, sign * 0.002, 0]
        found.append(_sheet(rim, _METAL))
        core = hub + 0.57 * (inner - hub) + [0, sign * 0.004, 0]
        found.append(_sheet(core, (0.10, 0.105, 0.11)))
        for k in range(5):
            spoke = np.array([[-8, 0.1], [8, 0.1], [5, 0.6], [-5, 0.6]])
            angle = np.radians(spoke[:, 0] + 72 * k + 18)
            reach = radius * spoke[:, 1:]
            way = np.stack([np.cos(angle), 0 * angle, np.sin(angle)], axis=1)
            found.append(_sheet(hub + reach * way + [0, sign * 0.006, 0], _METAL))
        small = hub + 0.035 / radius * (inner - hub) + [0, sign * 0.008, 0]
        found.append(_sheet(small, (0.75, 0.3, 0.16)))
        return found

    def _vent(self, side: float) -> list[Surface]:
        away = np.array([0, side * 0.002, 0])
        found = [_sheet(self.vent_outline(side) + away, (0.012, 0.012, 0.014))]
        for k in range(self.blades):
            found.append(_sheet(self.blade_outline(k, side) + 2 * away, (0.62, 0.63, 0.64)))
        return found

    def _mouth(self) -> list[Surface]:
        x = self.nose - 0.003
        z = self.clearance_front
        low, high = z + 0.10, z + 0.34
        mouth = np.array([[x, -0.42, low], [x, 0.42, low], [x, 0.36, high], [x, -0.36, high]])
        return [_sheet(mouth, (0.012, 0.012, 0.014))]


def _rounded(x: float, half: float, low: float, high: float, corner: float) -> np.ndarray:
    """Return a ring across the car with rounded corners, flat sides between."""
    corner = min(corner, 0.48 * (high - low), 0.9 * half)
    turn = np.linspace(0, np.pi / 2, 6)
    tight = 0.03
    ring: list[list[float]] = []
    for sy, sz, start in ((1, 1, 0.0), (-1, 1, 0.5), (-1, -1, 1.0), (1, -1, 1.5)):
        r = corner if sz > 0 else tight
        cy = sy * (half - r)
        cz = high - r if sz > 0 else low + r
        for t in turn:
            a = t + np.pi * start
            ring.append([x, cy + r * np.cos(a), cz + r * np.sin(a)])
    return np.array(ring)


def _loft(
    rings: np.ndarray, colour: Colour, *, smooth: bool = False, shine: float = 0.25
) -> Surface:
    n, m, _ = rings.shape
    number = np.arange(n * m).reshape(n, m)
    nxt = np.roll(number, -1, axis=1)
    a, b, c, d = number[:-1].ravel(), nxt[:-1].ravel(), nxt[1:].ravel(), number[1:].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    vertices = rings.reshape(-1, 3)
    ends, hubs = [], []
    for ring, hub in ((number[0], n * m), (number[-1], n * m + 1)):
        hubs.append(vertices[ring].mean(axis=0))
        ends.append(np.stack([np.full(m, hub), ring, np.roll(ring, -1)], 1))
    return Surface(
        vertices=np.concatenate([vertices, hubs]), faces=np.concatenate([faces, *ends]),
        colour=colour, smooth=smooth, shine=shine,
    )  # fmt: skip


def _box(low: tuple[float, ...], high: tuple[float, ...], colour: Colour) -> Surface:
    (x0, y0, z0), (x1, y1, z1) = low, high
    ring = np.array([[y0, z0], [y1, z0], [y1, z1], [y0, z1]])
    return _loft(np.stack([np.column_stack([np.full(4, x), ring]) for x in (x0, x1)]), colour)


def _plank(
    x0: float, x1: float, half: float, z0: float, z1: float, thick: float, colour: Colour
) -> Surface:
    side = np.array([[x0, 0, z0], [x1, 0, z1], [x1, 0, z1 + thick], [x0, 0, z0 + thick]])
    return _loft(np.stack([side + np.array([0, y, 0]) for y in (-half, half)]), colour)


def _wedge(x0: float, x1: float, y: float, z0: float, z1: float) -> Surface:
    side = np.array([[x0, 0, z0], [x1, 0, z0 + 0.03], [x1, 0, z1]])
    return _loft(
        np.stack([side + np.array([0, y + o, 0]) for o in (-0.004, 0.004)]), (0.3, 0.31, 0.32)
    )


def _sheet(outline: np.ndarray, colour: Colour) -> Surface:
    middle = outline.mean(axis=0)
    m = len(outline)
    faces = np.stack([np.full(m, m), np.arange(m), (np.arange(m) + 1) % m], axis=1)
    return Surface(vertices=np.concatenate([outline, [middle]]), faces=faces, colour=colour)


def _drum(hub: np.ndarray, radius: float, depth: float, colour: Colour, *, smooth: bool) -> Surface:
    angle = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    ring = np.stack([np.cos(angle), 0 * angle, np.sin(angle)], axis=1)
    rows = [(0.0, radius), (0.06 * np.sign(depth), radius), (depth, radius)]
    rings = np.stack([hub + r * ring + [0, o, 0] for o, r in rows])
    return _loft(rings, colour, smooth=False, shine=0.05)
