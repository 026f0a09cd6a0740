"""What each device and each height is worth: points per degree, per mm, per kg, ranked.

Changes are small and the platform settles. With h the ride heights, K the axle rates and p what is
turned,

    (I + q K⁻¹ ∂C/∂h) δh = δh₀ − q K⁻¹ ∂C/∂p δp,   δC = ∂C/∂p δp + ∂C/∂h δh,

draw by draw, so that every entry and its place in the ranking has a range.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.part import draws_of
from tuftwork.aeromap.platform import STANDARD_GRAVITY
from tuftwork.quantity import Draws
from tuftwork.study.answers import Answers
from tuftwork.study.car.motion import motion_of

_MM, _DEGREE = 1e-3, np.pi / 180
LEVERS: Mapping[str, tuple[tuple[str, float, str], ...]] = {
    "wing": (
        ("incidence", _DEGREE, "1 °"), ("gurney", _MM, "1 mm"), ("height", 10 * _MM, "10 mm"),
        ("station", 10 * _MM, "10 mm"), ("chord", 10 * _MM, "10 mm"),
        ("span", 10 * _MM, "10 mm"), ("end_plate_height", 10 * _MM, "10 mm"),
    ),
    "front section": (("incidence", _DEGREE, "1 °"), ("height", _MM, "1 mm")),
    "beam wing": (("incidence", _DEGREE, "1 °"),),
    "dive plane": (("incidence", _DEGREE, "1 °"),),
    "splitter": (("projection", 10 * _MM, "10 mm"), ("drop", _MM, "1 mm")),
    "floor": (
        ("diffuser_angle", _DEGREE, "1 °"), ("kick_station", 10 * _MM, "10 mm"),
        ("exit_station", 10 * _MM, "10 mm"), ("edge_gap", _MM, "1 mm"),
    ),
}  # fmt: skip
"""Kind of part → key, step that a workshop would take, and how it is said."""
_BALLAST = 10.0  # [kg]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """What one step of one thing does, with the platform settled; every array ``(n_draw,)``.

    Attributes
    ----------
    name, step
        What is turned and by how much.
    total, front, drag
        Change of CzS, CzSf, CxS. [m²]
    share
        Change of the front share of the downforce. [-]
    held
        Change of CzS at unchanged ride heights; None for what moves nothing but the platform.
    rank
        Place among all, 1 the strongest. [-]
    """

    name: str
    step: str
    total: Draws
    front: Draws
    drag: Draws
    share: Draws
    held: Draws | None
    rank: Draws


def levers_of(answers: Answers, state: str, speed: float) -> tuple[Lever, ...]:
    """Return every lever of a car in a state at a speed, the strongest first.

    Draws that left the map are not in it. Worked out once.
    """
    key = f"levers {state} {speed}"
    if key not in answers.worked_out:
        answers.worked_out[key] = _levers(answers, state, speed)
    kept: tuple[Lever, ...] = answers.worked_out[key]
    return kept


_Change = tuple[Draws, Draws, Draws]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Here:
    """The car where it rides: loads, slopes over ride height, rates, pressure."""

    loads: _Change
    slopes: np.ndarray
    rate: tuple[Draws, Draws]
    pressure: Draws

    def settled(self, change: _Change, rise: tuple[Draws, Draws]) -> _Change:
        """Return the change of loads once the platform has settled."""
        q, k = self.pressure, self.rate
        s = self.slopes
        a, b = 1 + q * s[0, 0] / k[0], q * s[0, 1] / k[0]
        c, d = q * s[1, 0] / k[1], 1 + q * s[1, 1] / k[1]
        one = rise[0] - q * change[0] / k[0]
        two = rise[1] - q * change[1] / k[1]
        det = a * d - b * c
        det = np.where(np.abs(det) < 0.02, 0.02, det)  # at divergence nothing is small any more
        front, rear = (d * one - b * two) / det, (a * two - c * one) / det
        found = [change[i] + s[i, 0] * front + s[i, 1] * rear for i in range(3)]
        return found[0], found[1], found[2]


def _levers(answers: Answers, state: str, speed: float) -> tuple[Lever, ...]:
    keep = answers.kept(state)
    here = _here(answers, state, speed)
    zero = np.zeros(int(np.sum(keep)))
    found: list[tuple[str, str, _Change, Draws | None]] = []
    for name, step, change in _part_changes(answers, state, speed):
        cut = tuple(c[keep] for c in change)
        settled = here.settled((cut[0], cut[1], cut[2]), (zero, zero))
        found.append((name, step, settled, cut[0] + cut[1]))
    none = (zero, zero, zero)
    for axle, rise in (("front", (zero + _MM, zero)), ("rear", (zero, zero + _MM))):
        found.append((f"{axle} ride height at rest", "1 mm", here.settled(none, rise), None))
    for axle, place in (("front", 0), ("rear", 1)):
        sunk = -_BALLAST * STANDARD_GRAVITY / here.rate[place]
        rise = (sunk, zero) if place == 0 else (zero, sunk)
        found.append((f"ballast at the {axle} axle", "10 kg", here.settled(none, rise), None))
    size = np.array([np.abs(c[0] + c[1]) for _, _, c, _ in found])
    ranks = size.shape[0] - np.argsort(np.argsort(size, axis=0), axis=0).astype(float)
    front, total = here.loads[0], here.loads[0] + here.loads[1]
    levers = [
        Lever(
            name=name, step=step, total=change[0] + change[1], front=change[0], drag=change[2],
            share=(change[0] - front / total * (change[0] + change[1])) / total,
            held=held, rank=ranks[i],
        )
        for i, (name, step, change, held) in enumerate(found)
    ]  # fmt: skip
    return tuple(sorted(levers, key=lambda v: -float(np.median(np.abs(v.total)))))


def _here(answers: Answers, state: str, speed: float) -> _Here:
    motion = motion_of(answers, state)
    at = motion.at(speed)
    path, pressure = motion.path, motion.pressure[at]
    loads = path.downforce_front[at], path.downforce_rear[at], path.drag[at]
    rates = []
    for spring, load in zip(
        (motion.suspension.front, motion.suspension.rear), loads[:2], strict=True
    ):
        piece = np.sum((pressure * load)[:, None] >= spring.load[:, 1:], axis=1)
        rates.append(spring.rate[np.arange(piece.size), piece])
    return _Here(
        loads=loads, slopes=motion.slopes[:, :, at], rate=(rates[0], rates[1]), pressure=pressure
    )


def _part_changes(answers: Answers, state: str, speed: float) -> list[tuple[str, str, _Change]]:
    """Return what a step of every part's own number changes at unchanged ride heights."""
    models = answers.models(state)
    platform = answers.platform(state, speed)
    draws = draws_of(models, answers.ensemble)
    base = car_loads(models, platform, draws)
    found = []
    for part in answers.project.parts:
        for key, step, said in LEVERS.get(part.kind, ()):
            path = f"{part.name}.{key}"
            if path not in draws:
                continue
            moved = car_loads(models, platform, {**draws, path: draws[path] + step})
            size = answers.ensemble.size
            change = [
                np.broadcast_to(getattr(moved, f) - getattr(base, f), (size,))
                for f in ("downforce_front", "downforce_rear", "drag")
            ]
            name = f"{part.name}: {key.replace('_', ' ')}"
            if max(float(np.max(np.abs(c))) for c in change) > 0:
                found.append((name, said, (change[0], change[1], change[2])))
    return found
