"""Circuits from radii and lengths, closed by the smallest change that does it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.errors import InputError, NotConverged
from tuftwork.lap.circuit import Circuit, Corner, circuit_of, class_of_radius
from tuftwork.quantity import Array

_LARGE = 0.05  # [-]  a change of a piece by more is no slip of the tape, and is told by name
_TOLD = 3  # pieces told by name


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A straight (radius None) or a corner of a circuit.

    Attributes
    ----------
    length
        Length of a straight. [m]
    radius, angle
        Radius of a corner [m] and its turn, left positive [rad].
    transition
        Length over which curvature grows and falls at each end of a corner. [m]
    name
        Name of the corner.
    fixed
        Whether the closure may not touch it.
    """

    length: float = 0.0
    radius: float | None = None
    angle: float = 0.0
    transition: float = 0.0
    name: str = ""
    fixed: bool = False
    bank: float = 0.0


def circuit_from_radii(
    name: str, pieces: Sequence[Piece], *, closed: bool = True, length: float | None = None
) -> Circuit:
    """Build a circuit from straights and corners; a closed one is closed by least change.

    Straights are scaled and corner angles shifted, each by as little as possible in the sense of
    least squares, until heading, x, y and, if given, the length agree.

    Parameters
    ----------
    name : ()
        Name of the circuit. [-]
    pieces : (n_piece,)
        Straights and corners in driving order. [-]
    closed : ()
        Whether the circuit is a loop. [-]
    length : ()
        Length the loop has to have. [m]

    Returns
    -------
    circuit : ()
        Curvature is exact: constant or straight-line between its stations. [-]

    Raises
    ------
    InputError
        If a piece is impossible.
    NotConverged
        If no small change closes the loop.
    """
    for piece in pieces:
        _check(piece)
    done = list(pieces)
    if closed:
        done = _close(done, length)
    station, curvature, bank, corners = _lay(done)
    x, y = _plan(station, curvature)
    return circuit_of(
        name, station, curvature, (x, y), bank=bank, closed=closed, corners=corners,
        notices=_changes(pieces, done),
    )  # fmt: skip


def _changes(given: Sequence[Piece], done: Sequence[Piece]) -> tuple[str, ...]:
    """Return what closing the loop changed: by name and size where it is more than a slip."""
    share = [_size(after) / _size(before) - 1.0 for before, after in zip(given, done, strict=True)]
    worst = sorted(range(len(share)), key=lambda i: -abs(share[i]))
    if not worst or abs(share[worst[0]]) < 1e-9:
        return ()
    most = 100 * abs(share[worst[0]])
    said = f"closing the loop changed a length or angle by up to {most:.1f} %"
    large = [_changed(given, done, i) for i in worst[:_TOLD] if abs(share[i]) > _LARGE]
    if large:
        said += f": {'; '.join(large)}. The pieces as entered do not meet: check those first"
    return (said,)


def _size(piece: Piece) -> float:
    return piece.length if piece.radius is None else abs(piece.angle)


def _changed(given: Sequence[Piece], done: Sequence[Piece], index: int) -> str:
    """Return one piece as entered and as driven, in words."""
    before, after = given[index], done[index]
    change = f"({100 * (_size(after) / _size(before) - 1):+.0f} %)".replace("-", "\u2212")
    if before.radius is not None:
        turns = [f"{np.degrees(abs(p.angle)):.0f}°" for p in (before, after)]
        return f"turn of {before.name or 'a corner'} {turns[0]}, driven as {turns[1]} {change}"
    following = [*given[index + 1 :], *given[:index]]
    corner = next((p.name for p in following if p.radius is not None and p.name), "a corner")
    return (
        f"straight before {corner} {before.length:.0f} m, driven as {after.length:.0f} m {change}"
    )


def _check(piece: Piece) -> None:
    """Refuse a piece that cannot be laid."""
    if piece.radius is None:
        if not piece.length > 0.0:
            raise InputError("length", piece.length, "m", "a straight must be longer than 0")
        return
    if not piece.radius > 0.0 or not 0.0 < abs(piece.angle) < 7.0:
        raise InputError(
            "angle", piece.angle, "rad", "a corner needs a radius above 0 and a turn below 7",
            "Degrees given? Multiply by pi/180.",
        )  # fmt: skip
    if piece.transition > abs(piece.angle) * piece.radius * 0.999:
        raise InputError(
            "transition", piece.transition, "m", "longer than the corner allows",
            f"At most {abs(piece.angle) * piece.radius:.0f} m here.",
        )  # fmt: skip


def _lay(pieces: Sequence[Piece]) -> tuple[Array, Array, Array, tuple[Corner, ...]]:
    """Return stations, curvature, bank and corners of pieces laid end to end."""
    s, station, curvature, bank = 0.0, [], [], []
    corners: list[Corner] = []
    for piece in pieces:
        if piece.radius is None:
            parts = [(0.0, 0.0), (piece.length, 0.0)]
        else:
            k = np.sign(piece.angle) / piece.radius
            arc = abs(piece.angle) * piece.radius - piece.transition
            t = piece.transition
            parts = [(0.0, k), (arc, k)]
            if t > 0.0:
                parts = [(0.0, 0.0), (t, k), (t + arc, k), (2 * t + arc, 0.0)]
            total = parts[-1][0]
            corners.append(
                Corner(
                    name=piece.name or f"T{len(corners) + 1}",
                    direction="left" if k > 0 else "right",
                    start=s, apex=s + 0.5 * total, end=s + total, radius=piece.radius,
                    corner_class=class_of_radius(piece.radius),
                )
            )  # fmt: skip
        side = np.sign(piece.angle)
        for ds, k in parts:
            station.append(s + ds)
            curvature.append(k)
            bank.append(side * piece.bank)
        s += parts[-1][0]
    return np.array(station), np.array(curvature), np.array(bank), tuple(corners)


def _plan(station: Array, curvature: Array) -> tuple[Array, Array]:
    """Return x and y at the stations by Gauss quadrature of the heading (quadratic inside)."""
    node = np.array([-1, 0, 1]) * np.sqrt(0.6)
    weight = np.array([5, 8, 5]) / 9
    ds, k0, k1 = np.diff(station), curvature[:-1], curvature[1:]
    heading = np.r_[0.0, np.cumsum(0.5 * (k0 + k1) * ds)]
    n_sub = 40
    dx, dy = np.zeros_like(ds), np.zeros_like(ds)
    for j in range(n_sub):
        for a, w in zip(node, weight, strict=True):
            u = (j + 0.5 * (1 + a)) / n_sub
            theta = heading[:-1] + ds * (k0 * u + 0.5 * (k1 - k0) * u * u)
            dx += 0.5 * w / n_sub * ds * np.cos(theta)
            dy += 0.5 * w / n_sub * ds * np.sin(theta)
    return np.r_[0.0, np.cumsum(dx)], np.r_[0.0, np.cumsum(dy)]


def _close(pieces: list[Piece], length: float | None) -> list[Piece]:
    """Return pieces that close."""
    free = [i for i, p in enumerate(pieces) if not p.fixed]
    sense = np.sign(sum(p.angle for p in pieces)) or 1.0

    def moved(delta: Array) -> list[Piece]:
        out = list(pieces)
        for i, d in zip(free, delta, strict=True):
            p = out[i]
            out[i] = (
                replace(p, length=p.length * (1 + d))
                if p.radius is None
                else replace(p, angle=p.angle * (1 + d))
            )
        return out

    def gap(delta: Array) -> Array:
        laid = moved(delta)
        station, curvature, _, _ = _lay(laid)
        x, y = _plan(station, curvature)
        scale = station[-1]
        turn = sum(p.angle for p in laid) - sense * 2 * np.pi
        miss = [turn, x[-1] / scale, y[-1] / scale]
        if length is not None:
            miss.append((station[-1] - length) / length)
        return np.array(miss)

    delta = np.zeros(len(free))
    for _ in range(60):
        miss = gap(delta)
        if np.max(np.abs(miss)) < 1e-12:
            return moved(delta)
        jac = np.stack(
            [(gap(delta + e) - gap(delta - e)) / 2e-6 for e in 1e-6 * np.eye(len(free))], axis=1
        )
        # least change from the pieces as given, not from the last step
        delta = np.linalg.lstsq(jac, jac @ delta - miss, rcond=None)[0]
        if np.max(np.abs(delta)) > 0.9:
            break
    raise NotConverged(
        "closing the circuit needs changes above 90 %: check the turns' signs and the lengths"
    )
