"""Whether parts from files stand as the car does: unit of each file, axles, parts that roll."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.flow import FlowPart

UNITS = {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "in": 0.0254, "ft": 0.3048}
LENGTHS = (1.0, 2.6)
"""A car is this many wheelbases long; beyond it the unit is doubted. [-]"""
LENGTH = "length of the parts"
_LEAST_FILE = 0.01
"""All parts of a file together are at least this long; a gurney is longer. [wheelbases]"""
_WHEEL = (0.03, 0.5)
"""Height of a part that rolls, from a hub to a tyre. [wheelbases]"""
_ROUND = 1.25
"""Length over height of a part that rolls, or the inverse: one that is steered stays below. [-]"""
_OFF_AXLE, _OPEN_END = 0.1, 0.15
"""How far a wheel may stand from an axle line, and an axle line beyond the parts. [wheelbases]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceFile:
    """A file of surfaces as it was read.

    Attributes
    ----------
    name, unit
        As the project has them.
    length
        Largest extent of all its parts together. [m]
    """

    name: str
    unit: str
    length: float


def length_fault(
    length: float, wheelbase: float, files: Sequence[SurfaceFile]
) -> InputError | None:
    """Return a fault where the parts together cannot be a car with this wheelbase.

    Parameters
    ----------
    length, wheelbase
        [m]
    files
        That the parts stand in; none for a generic car.
    """
    low, high = (share * wheelbase for share in LENGTHS)
    if low <= length <= high:
        return None
    wrong = [file for file in files if file.length > high] or list(files)
    cure = ""
    if wrong:
        now = UNITS[wrong[0].unit]
        fits = [u for u, size in UNITS.items() if low <= length * size / now <= high]
        whose = f" of {wrong[0].name}" if len(files) > 1 else ""
        cure = f"In '{fits[0]}' it would fit: look at 'unit'{whose}." if fits else ""
    limit = f"a car with {wheelbase:.2f} m of wheelbase is {low:.1f} to {high:.1f} m long"
    return InputError(LENGTH, float(f"{length:.3g}"), "m", limit, cure)


def stance_faults(
    parts: Sequence[FlowPart], wheelbase: float, files: Sequence[SurfaceFile]
) -> Iterator[InputError]:
    """Yield what shows that the parts of files stand otherwise than the car does.

    Parameters
    ----------
    parts
        In car axes, together as long as a car.
    wheelbase
        [m]
    files
        That they stand in; without any nothing is asked, for the car drew itself.
    """
    if not files:
        return
    small = [file for file in files if file.length < _LEAST_FILE * wheelbase]
    if small:  # whatever else is wrong may come of that
        yield from (_too_small(file, wheelbase, files) for file in small)
        return
    corner = np.concatenate([part.vertices for part in parts])
    first, last = float(corner[:, 0].min()), float(corner[:, 0].max())
    room = _OPEN_END * wheelbase
    if first > room or last < wheelbase - room:
        limit = f"the parts lie from x {first:.2f} to {last:.2f} m".replace("-", "\u2212")
        cure = "Look at 'front_axle' (as drawn in the file) and 'nose', and at the wheelbase."
        yield InputError("axles", f"x 0 and {wheelbase:.2f}", "m", limit, cure)
        return
    for part in parts:
        if part.spin is not None and part.spin.rate:  # one that stands only stands
            yield from _wheel_faults(part, wheelbase)


def belt_fault(
    belt: tuple[float, float, float] | None, parts: Sequence[FlowPart]
) -> tuple[InputError, ...]:
    """Return what is wrong with a belt that lies under no part.

    Parameters
    ----------
    belt
        Ends and half width; None: there is none. [m]
    parts
        In car axes.
    """
    corner = np.concatenate([part.vertices for part in parts])[:, 0]
    first, last = float(corner.min()), float(corner.max())
    if belt is None or (belt[0] < last and belt[1] > first):
        return ()
    ends = f"{belt[0]:g} to {belt[1]:g}".replace("-", "\u2212")
    limit = f"lies under no part: they stand at x {first:.2f} to {last:.2f} m"
    cure = "Both ends are told from the front axle line, rearward positive."
    return (InputError("belt", ends, "m", limit.replace("-", "\u2212"), cure),)


def _too_small(file: SurfaceFile, wheelbase: float, files: Sequence[SurfaceFile]) -> InputError:
    """Return the fault of a file whose parts no car could show."""
    size = file.length / UNITS[file.unit]
    cure = "Look at its 'unit'."
    for unit in (*(other.unit for other in files), "m"):
        if _LEAST_FILE * wheelbase <= size * UNITS[unit] <= LENGTHS[1] * wheelbase:
            cure = f"In '{unit}' they would be {size * UNITS[unit]:.3g} m: look at its 'unit'."
            break
    limit = f"its parts together must be longer than {1e3 * _LEAST_FILE * wheelbase:.0f} mm"
    return InputError(file.name, float(f"{1e3 * file.length:.3g}"), "mm", limit, cure)


def _wheel_faults(part: FlowPart, wheelbase: float) -> Iterator[InputError]:
    low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
    long, _, tall = (float(v) for v in high - low)
    name, keep = f"part '{part.name}'", "name in 'wheels' of its file only what rolls"
    least, most = (share * wheelbase for share in _WHEEL)
    if not tall / _ROUND <= long <= tall * _ROUND:
        limit = "it is to roll and is not round seen from the side"
        cure = f"Give every wheel a part of its own, and {keep}."
        yield InputError(name, f"{1e3 * long:.0f} × {1e3 * tall:.0f}", "mm", limit, cure)
        return
    if not least <= tall <= most:
        limit = f"what rolls must be {1e3 * least:.0f} to {1e3 * most:.0f} mm tall"
        cure = f"Look at the unit of its file, or {keep}."
        yield InputError(name, float(f"{1e3 * tall:.3g}"), "mm", limit, cure)
        return
    middle = 0.5 * float(low[0] + high[0])
    off = min(abs(middle), abs(middle - wheelbase))
    if off > _OFF_AXLE * wheelbase:
        limit = f"it is to roll about x {middle:.2f} m, and the axle lines lie at x 0 and "
        limit += f"{wheelbase:.2f} m"
        cure = f"Look at 'front_axle' and 'nose' of its file and at the wheelbase, or {keep}."
        yield InputError(name, float(f"{1e3 * off:.0f}"), "mm", limit.replace("-", "\u2212"), cure)
