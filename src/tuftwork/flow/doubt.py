"""Finite but wrong: signs in a running flow that its numbers mean nothing, and where they are."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from tuftwork.flow.statistics import SeriesMean, series_mean

if TYPE_CHECKING:
    from tuftwork.flow.engine import AbstractEngine
    from tuftwork.flow.prepare import Prepared

Floats = npt.NDArray[np.float64]
FASTEST = 3.0
"""Air is not faster than this many times the free stream around a car. [-]"""
MOST_TOTAL = 1.5
"""Total-pressure coefficient that a young or gusty flow may have at an instant; 1 is what the free
stream has, and only what moves can add to it. [-]"""
DENSITY = (0.8, 1.2)
"""Density over that of the free stream: beyond it the scheme is no longer incompressible. [-]"""
MASS = 0.01
"""Change of the air's whole mass in the box. [-]"""
RIPPLE = 0.3
"""Step of pressure from cell to cell and back, over dynamic pressure, that counts as ripple. [-]"""
RIPPLED = 0.002
"""Share of the cells that may ripple so. [-]"""
RIPPLE_REACH = 3
"""Cells on from the first of those in which a ripple shows. [-]"""
RIPPLE_ALONG = 8
"""Fewest cells of a box along which one looks for ripple. [-]"""
_YOUNG = 0.5
"""Travel before which only speed and density are looked at. [body lengths]"""
_JUMP = 0.05
"""Difference of the halves' means, over the drag of all parts, that noise need not explain. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """One sign that a flow has gone wrong though its numbers are finite.

    Attributes
    ----------
    kind
        ``"speed"``, ``"total"``, ``"density"``, ``"mass"``, ``"ripple"``, ``"jump"`` or
        ``"fan"``.
    value
        The worst seen.
    travel
        When it was seen first. [body lengths]
    seen
        How often.
    at
        Where the worst was; None for the whole box. Shape (3,). [m]
    part
        The part nearest to it; empty for the whole box.
    text
        In words.
    """

    kind: str
    value: float
    travel: float
    seen: int
    at: tuple[float, float, float] | None
    part: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Extremes:
    """The largest and smallest values of a moment, each with the flat number of its cell.

    Attributes
    ----------
    speed, total, dense, thin
        Speed over the free stream, total-pressure coefficient, density. (value, cell)
    ripple
        Largest ripple over dynamic pressure, and its cell.
    rippled
        Share of the cells whose ripple is above ``RIPPLE``. [-]
    mass
        Mean density of all air. [-]
    """

    speed: tuple[float, int]
    total: tuple[float, int]
    dense: tuple[float, int]
    thin: tuple[float, int]
    ripple: tuple[float, int]
    rippled: float
    mass: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """Where one looks. Shapes (lz, ly, lx).

    Attributes
    ----------
    air
        Cells with air in which the stream is not prescribed.
    still
        Those in which nothing that moves can have added total pressure.
    """

    air: npt.NDArray[np.bool_]
    still: npt.NDArray[np.bool_]


def looked_at(prepared: "Prepared") -> Looked:
    """Return where to look: clear of the sponge, and of wheels, fans, the road and their wakes."""
    case, setup = prepared.case, prepared.setup
    air = setup.mark != 1
    sx, sy, sz = setup.sponge_lines()
    for axis, line in zip((2, 1, 0), (sx, sy, sz), strict=True):
        shape = [1, 1, 1]
        shape[axis] = line.size
        air &= (line < 0.999).reshape(shape)
    still = air.copy()
    origin, h = np.array(prepared.origin), case.cell
    for part in case.parts:
        is_fan = part.porous is not None and part.porous.rise > 0
        turns = part.spin is not None and part.spin.rate != 0
        if not turns and not is_fan:
            continue
        low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
        room = 0.5 * float((high - low).max())
        a = np.maximum(np.floor((low - room - origin) / h).astype(int), 0)
        b = np.ceil((high + room - origin) / h).astype(int) + 1
        still[a[2] : b[2], a[1] : b[1], a[0] :] = False
    for passage in prepared.passages:
        o = passage.opening
        if o.kind == "outlet":
            a = np.maximum(np.floor((np.array(o.low) - origin) / h).astype(int) - 4, 0)
            b = np.ceil((np.array(o.high) - origin) / h).astype(int) + 5
            still[a[2] : b[2], a[1] : b[1], a[0] :] = False
    if case.road == "moving" or case.box.belt is not None:
        still[:6] = False
    return Looked(air=air, still=still)


def extremes(
    xp: Any, rows: Any, air: Any, still: Any, speed: float,
    *, own: int | None = None, tall: int | None = None,
) -> Extremes:  # fmt: skip
    """Return the extremes of a moment, with NumPy or its likeness on a card.

    Parameters
    ----------
    xp
        The array library.
    rows : (4, lz, ly, lx)
        Density and velocity; not-a-number counts as worst.
    air, still : (lz, ly, lx)
        As of ``Looked``.
    speed
        Of the free stream. [cells/step]
    own, tall
        Where these are some layers of a box: how many of them count, those above being there for
        ripple that begins in them, and how many the box has. All unless given.
    """
    q = 0.5 * speed * speed
    whole, all_air, tall = rows[0], air, tall or len(air)
    rows, air, still = rows[:, :own], air[:own], still[:own]
    density = rows[0]
    square = rows[1] * rows[1] + rows[2] * rows[2] + rows[3] * rows[3]

    def peak(values: Any, where: Any) -> tuple[float, int]:
        kept = xp.where(where, xp.nan_to_num(values, nan=xp.inf), -xp.inf).reshape(-1)
        n = int(kept.argmax())
        return float(kept[n]), n

    fast, where_fast = peak(square, air)
    total = ((density - 1.0) / 3.0 + 0.5 * density * square) / q
    thin, where_thin = peak(-density, air)
    worst, place, count = 0.0, 0, 0
    for axis in range(3):
        seen, open_ = (density, air) if axis else (whole, all_air)
        along = seen.shape[axis] if axis else tall
        if seen.shape[axis] < RIPPLE_REACH + 1 or along < RIPPLE_ALONG:
            continue
        cut = [_four(seen, axis, s) for s in range(4)]
        sound = _four(open_, axis, 0) & _four(open_, axis, 1)
        sound &= _four(open_, axis, 2) & _four(open_, axis, 3)
        saw = xp.abs(cut[0] - 3.0 * cut[1] + 3.0 * cut[2] - cut[3]) / (24.0 * q)
        value, n = peak(saw, sound)
        count += int((saw[sound] > RIPPLE).sum())
        if value > worst:
            at = list(np.unravel_index(n, saw.shape))
            at[axis] += 1
            worst, place = value, int(np.ravel_multi_index(at, whole.shape))
    n_air = max(int(air.sum()), 1)
    return Extremes(
        speed=(max(fast, 0.0) ** 0.5 / speed, where_fast),  # none where layers hold no air
        total=peak(total, still),
        dense=peak(density, air),
        thin=(-thin, where_thin),
        ripple=(worst, place),
        rippled=count / n_air,
        mass=float(density[air].sum()) / n_air,
    )


def _four(field: Any, axis: int, start: int) -> Any:
    """Return a field from ``start`` cells on along an axis, three cells short of its end."""
    cut = [slice(None)] * 3
    cut[axis] = slice(start, field.shape[axis] - 3 + start)
    return field[tuple(cut)]


@dataclass(slots=True)
class Watch:
    """Keeps the worst of each kind while a run goes on.

    Attributes
    ----------
    prepared
        What runs.
    found
        Worst doubt of each kind so far.
    mass
        Mean density when the flow was young; None before.
    """

    prepared: "Prepared"
    found: dict[str, Doubt]
    mass: float | None = None

    def look(self, seen: Extremes, travel: float) -> None:
        """Take note of what the extremes say."""
        value, cell = seen.speed
        if not value <= FASTEST:
            self._note("speed", value, travel, cell,
                       f"the air reaches {value:.1f} times the free stream")  # fmt: skip
        for value, cell in (seen.dense, seen.thin):
            if not DENSITY[0] <= value <= DENSITY[1]:
                self._note("density", value, travel, cell,
                           f"its density is {value:.2f} times that of the free stream")  # fmt: skip
        if travel < _YOUNG:
            self.mass = seen.mass
            return
        value, cell = seen.total
        if not value <= MOST_TOTAL:
            self._note("total", value, travel, cell,
                       f"its total pressure is {value:.2f} times that of the free stream, with "
                       "nothing there that could add to it")  # fmt: skip
        value, cell = seen.ripple
        if seen.rippled > RIPPLED:
            self._note("ripple", value, travel, cell,
                       f"the pressure jumps from cell to cell by up to {value:.1f} times the "
                       f"dynamic pressure, in {100 * seen.rippled:.1f} % of the cells")  # fmt: skip
        start = 1.0 if self.mass is None else self.mass
        change = seen.mass - start
        if not abs(change) <= MASS:
            told = f"the air in the box has changed by {100 * change:+.1f} % of its mass"
            self._note("mass", change, travel, None, told.replace("-", "\u2212"))

    def _note(self, kind: str, value: float, travel: float, cell: int | None, said: str) -> None:
        old = self.found.get(kind)
        seen = 1 if old is None else old.seen + 1
        first = travel if old is None else old.travel
        if old is not None and _badness(kind, old.value) >= _badness(kind, value):
            self.found[kind] = _again(old, seen)
            return
        at, part = (None, "") if cell is None else place_of(self.prepared, cell)
        where = ""
        if at is not None:
            where = f" at x {at[0]:.2f}, y {at[1]:.2f}, z {at[2]:.2f} m, near ".replace(
                "-", "\u2212"
            )
            where += part
        text = f"Doubtful: {said}{where}"
        doubt = Doubt(kind=kind, value=value, travel=first, seen=seen, at=at, part=part, text=text)
        self.found[kind] = _again(doubt, seen)

    def told(self) -> tuple[Doubt, ...]:
        """Return the doubts so far."""
        return tuple(self.found.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Lookout:
    """Watches every box of cells and tells the worst of each kind.

    Attributes
    ----------
    watches
        One a box, the outermost first.
    looked
        Where in each box one looks.
    """

    watches: tuple[Watch, ...]
    looked: tuple[Looked, ...]

    @classmethod
    def over(cls, prepared: "Prepared") -> "Lookout":
        """Return the lookout over all boxes of a case."""
        boxes = (prepared, *prepared.boxes)
        return cls(
            watches=tuple(Watch(prepared=box, found={}) for box in boxes),
            looked=tuple(looked_at(box) for box in boxes),
        )

    def look(self, engines: Sequence["AbstractEngine"], speed: float, travel: float) -> None:
        """Look at the whole field.

        Parameters
        ----------
        engines
            One a box.
        speed
            Of the free stream. [cells/step]
        travel
            Now. [body lengths]
        """
        for watch, looked, engine in zip(self.watches, self.looked, engines, strict=True):
            watch.look(engine.extremes(looked, speed), travel)

    def told(self) -> tuple[Doubt, ...]:
        """Return the worst doubt of each kind so far, over all boxes."""
        worst: dict[str, Doubt] = {}
        for doubt in (d for watch in self.watches for d in watch.told()):
            old = worst.get(doubt.kind)
            if old is None or _badness(doubt.kind, doubt.value) > _badness(old.kind, old.value):
                worst[doubt.kind] = doubt
        return tuple(worst.values())


def _badness(kind: str, value: float) -> float:
    return abs(value - 1.0) if kind == "density" else abs(value)


def _again(doubt: Doubt, seen: int) -> Doubt:
    stem = doubt.text.split(" (first after ")[0].rstrip(".")
    often = "once" if seen == 1 else f"{seen} times"
    text = f"{stem} (first after {doubt.travel:.1f} lengths, seen {often})."
    return Doubt(kind=doubt.kind, value=doubt.value, travel=doubt.travel, seen=seen, at=doubt.at,
                 part=doubt.part, text=text)  # fmt: skip


def place_of(prepared: "Prepared", cell: int) -> tuple[tuple[float, float, float], str]:
    """Return where a cell is, in metres, and the part nearest to it."""
    walls = prepared.setup.walls
    lx, ly, _ = prepared.setup.shape
    x, y, z = cell % lx, (cell // lx) % ly, cell // (lx * ly)
    o, h = prepared.origin, prepared.case.cell
    at = (o[0] + h * x, o[1] + h * y, o[2] + h * z)
    to = walls.counted()
    n_part = len(prepared.case.parts)
    own = np.flatnonzero((to > 0) & (to <= n_part))
    if not own.size:  # no part reaches into this box of cells
        away = [float(np.square(p.vertices - at).sum(axis=1).min()) for p in prepared.case.parts]
        return at, f"'{prepared.case.parts[int(np.argmin(away))].name}'"
    n = walls.cell[own]
    apart = (n % lx - x) ** 2 + ((n // lx) % ly - y) ** 2 + (n // (lx * ly) - z) ** 2
    return at, f"'{walls.surfaces[int(to[own[int(apart.argmin())]])].name}'"


def jump_between_halves(loads: Sequence[tuple[str, Floats]], travel: float) -> Doubt | None:
    """Return a doubt where a load's mean changes between the halves by more than its noise.

    Parameters
    ----------
    loads
        Name and samples (n,) of each load, drag last. [m²]
    travel
        Now. [body lengths]
    """
    size = abs(float(np.mean(loads[-1][1])))
    for name, rows in loads:
        if len(rows) < 32:
            return None
        half = len(rows) // 2
        one, two = (series_mean(part, n_start=0) for part in (rows[:half], rows[half:]))
        apart = two.mean - one.mean
        if abs(apart) > max(_JUMP * size, 3.0 * _noise(one, two)):
            way = "higher" if apart > 0 else "lower"
            text = (
                f"Doubtful: {name} is {abs(apart):.3f} m² {way} in the second half of what was "
                "averaged than in the first, more than its noise explains: the flow changed its "
                "state or had not settled."
            )
            return Doubt(kind="jump", value=apart, travel=travel, seen=1, at=None, part="",
                         text=text)  # fmt: skip
    return None


def _noise(one: SeriesMean, two: SeriesMean) -> float:
    return float(np.hypot(one.error, two.error))
