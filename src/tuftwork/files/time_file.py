"""Fields of a 3-D flow over time in a netCDF file that grows sample by sample.

The classic form with 64-bit offsets: what never changes comes first, samples follow one another,
and their number stands in the header. It is raised last, so that a sample is there whole or not at
all, whenever the run that writes it is killed, and any reader may look while it grows.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.errors import Fault, FileFault
from tuftwork.files.atomic import write_atomic
from tuftwork.flow.over_time import Arrays, Layout, Variable

_DIMENSION, _VARIABLE, _ATTRIBUTE = 10, 11, 12
_TYPES = {"i4": 4, "f4": 5, "f8": 6}
_CHARACTER = 2
_COUNT_AT = 4
"""Place of the number of samples in the file. [B]"""


@dataclass(slots=True)
class TimeFile:
    """A file of fields over time, being written.

    Attributes
    ----------
    path
        The file; it need not be there yet.
    """

    path: Path
    kind: np.dtype[np.void] = field(default_factory=lambda: np.dtype([]), init=False)
    head: int = field(default=0, init=False)

    def begin(self, layout: Layout, step: int) -> int:
        """Make ready to go on after a step and return how many samples stand there.

        Later ones are cut off. A file laid out otherwise is set aside and begun anew; at step 0
        any is begun anew.
        """
        head = _head(layout)
        self.kind, self.head = _record_type(layout), len(head)
        count = self._kept(head, step) if step > 0 else 0
        if step > 0 and not self._is_alike(head):
            set_aside(self.path)
        if not count:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            write_atomic(self.path, head)
            return 0
        with self.path.open("r+b") as file:
            _set_count(file, count)
            file.truncate(self.head + count * self.kind.itemsize)
        return count

    def add(self, sample: Arrays) -> None:
        """Keep one more sample: first its values, then that there is one more."""
        row = np.zeros((), self.kind)
        for name in self.kind.names or ():
            row[name] = sample[name]
        try:
            with self.path.open("r+b") as file:
                count = _count(file)
                file.seek(self.head + count * self.kind.itemsize)
                file.write(row.tobytes())
                file.flush()
                os.fsync(file.fileno())
                _set_count(file, count + 1)
        except OSError as error:
            fault = Fault(
                what="cannot keep another sample of fields over time", file=self.path.name,
                found=str(error), cure="Make room on the disk; then run the case again.",
            )  # fmt: skip
            raise FileFault([fault]) from error

    def _kept(self, head: bytes, step: int) -> int:
        """How many samples up to a step stand in a file that is laid out like this."""
        if not self._is_alike(head):
            return 0
        with self.path.open("rb") as file:
            told = _count(file)
        whole = min(told, (self.path.stat().st_size - self.head) // self.kind.itemsize)
        if whole <= 0:
            return 0
        rows = np.memmap(self.path, self.kind, "r", offset=self.head, shape=(whole,))
        return int(np.searchsorted(rows["step"], step, side="right"))

    def _is_alike(self, head: bytes) -> bool:
        """Whether a file is there that is laid out like this, whatever its number of samples."""
        if not self.path.is_file():
            return False
        with self.path.open("rb") as file:
            there = file.read(len(head))
        return there[:_COUNT_AT] + there[8:] == head[:_COUNT_AT] + head[8:]


def set_aside(path: Path) -> Path | None:
    """Give a file of samples that nothing is added to any more a name of its own beside it.

    Parameters
    ----------
    path
        The file; None is returned where there is none, or no sample in it.
    """
    try:
        with path.open("rb") as file:
            if not _count(file):
                return None
    except OSError:
        return None
    number = 1
    while (aside := path.with_name(f"{path.name.split('.')[0]}-before-{number}.nc")).exists():
        number += 1
    path.replace(aside)
    return aside


def _set_count(file: Any, count: int) -> None:
    file.seek(_COUNT_AT)
    file.write(count.to_bytes(4, "big"))
    file.flush()


def _count(file: Any) -> int:
    file.seek(_COUNT_AT)
    return int.from_bytes(file.read(4), "big")


def _record_type(layout: Layout) -> np.dtype[np.void]:
    """Return how one sample lies in the file."""
    fields = [
        (v.name, f">{v.dtype}", tuple(layout.dims[d] for d in v.dims[1:]))
        for v in layout.variables
        if v.values is None
    ]
    return np.dtype(fields)


def _head(layout: Layout) -> bytes:
    """Return the header and everything that never changes."""
    begin = len(_tables(layout, {}))
    places: dict[str, int] = {}
    blocks = []
    for v in layout.variables:
        if v.values is not None:
            places[v.name] = begin
            blocks.append(np.ascontiguousarray(v.values, f">{v.dtype}").tobytes())
            begin += len(blocks[-1])
    for v in layout.variables:
        if v.values is None:
            places[v.name] = begin
            begin += _size(layout, v)
    return _tables(layout, places) + b"".join(blocks)


def _tables(layout: Layout, places: Mapping[str, int]) -> bytes:
    """Return the header alone."""
    names = list(layout.dims)
    out = [b"CDF\x02", _int(0), _int(_DIMENSION), _int(len(names))]
    for name in names:
        out += [_text(name), _int(layout.dims[name])]
    out += [_attributes(layout.about, None), _int(_VARIABLE), _int(len(layout.variables))]
    for v in layout.variables:
        out += [_text(v.name), _int(len(v.dims)), *(_int(names.index(d)) for d in v.dims)]
        fill = v.dtype if v.dtype == "f4" else None
        out += [_attributes(v.about, fill), _int(_TYPES[v.dtype])]
        # a size that does not fit is written as the largest: readers work it out anyway
        out += [min(_size(layout, v), 2**32 - 4).to_bytes(4, "big")]
        out += [places.get(v.name, 0).to_bytes(8, "big")]
    return b"".join(out)


def _size(layout: Layout, v: Variable) -> int:
    """Bytes of a variable, of one sample where it changes; all types are multiples of four."""
    lengths = [layout.dims[d] for d in v.dims if layout.dims[d]]
    return int(np.prod(lengths, dtype=np.int64)) * int(v.dtype[1])


def _int(value: int) -> bytes:
    return value.to_bytes(4, "big")


def _text(text: str) -> bytes:
    raw = text.encode()
    return _int(len(raw)) + raw + b"\0" * (-len(raw) % 4)


def _attributes(about: Mapping[str, str], fill: str | None) -> bytes:
    count = len(about) + (fill is not None)
    if not count:
        return _int(0) + _int(0)
    out = [_int(_ATTRIBUTE), _int(count)]
    for name, text in about.items():
        out += [_text(name), _int(_CHARACTER), _text(text)]
    if fill is not None:
        out += [_text("_FillValue"), _int(_TYPES[fill]), _int(1), np.array(np.nan, ">f4").tobytes()]
    return b"".join(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimePlane:
    """A plane in a file of fields over time: axis, place [m], places along both directions [m]."""

    axis: str
    at: float
    across: np.ndarray
    up: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeSeries:
    """What a file of fields over time holds.

    Attributes
    ----------
    path
        The file.
    time, travel
        Of every sample. Shapes (n,). [s], [body lengths]
    planes
        In the order in which they were asked for.
    n_vertex
        Places on the surface; 0 where its pressure was not kept.
    """

    path: Path
    time: np.ndarray
    travel: np.ndarray
    planes: tuple[TimePlane, ...]
    n_vertex: int

    @property
    def count(self) -> int:
        """Number of samples."""
        return len(self.time)

    def plane(self, plane: int, sample: int | slice) -> dict[str, np.ndarray]:
        """Return pressure coefficient, speed, loss and velocity on a plane at a sample.

        Parameters
        ----------
        plane
            Its number.
        sample
            Number of the sample, or a slice of samples: arrays then have time ahead.
        """
        with _opened(self.path) as file:
            found = file.variables
            pressure = _native(found[f"plane{plane}_pressure_coefficient"][sample])
            velocity = _native(found[f"plane{plane}_velocity"][sample])
            del found
        square = np.square(velocity).sum(axis=-3)
        return {
            "pressure_coefficient": pressure, "speed": np.sqrt(square),
            "total_pressure_loss": 1 - pressure - square, "velocity": velocity,
        }  # fmt: skip

    def surface(self, sample: int | slice) -> np.ndarray:
        """Return the pressure coefficient on the surface at a sample or a slice of them."""
        with _opened(self.path) as file:
            return _native(file.variables["surface_pressure_coefficient"][sample])

    def mesh(self) -> dict[str, Any]:
        """Return the surface: ``x``, ``y``, ``z``, ``part`` (n,), ``faces`` (m, 3), ``parts``."""
        names = {"part": "part", "faces": "triangles"} | {a: a for a in "xyz"}
        with _opened(self.path) as file:
            found = {k: _native(file.variables[f"surface_{v}"].data) for k, v in names.items()}
            return found | {"parts": file.parts.decode()}

    def surface_rms(self) -> np.ndarray:
        """Return the standard deviation of the surface's pressure coefficient. Shape (n_vertex,).

        Over all samples; not-a-number where there are fewer than two.
        """
        mean, total = np.zeros(self.n_vertex), np.zeros(self.n_vertex)
        for n in range(self.count):
            now = self.surface(n).astype(float)
            step = now - mean
            mean += step / (n + 1)
            total += step * (now - mean)
        if self.count < 2:
            return np.full(self.n_vertex, np.nan)
        return np.asarray(np.sqrt(total / (self.count - 1)))


def read_time_file(path: Path) -> TimeSeries:
    """Return what a file of fields over time holds; it may still be growing.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    FileFault
        If it is missing or damaged.
    """
    with _opened(path) as file:
        found = file.variables
        planes: list[TimePlane] = []
        while f"plane{len(planes)}_velocity" in found:
            head = f"plane{len(planes)}_"
            pressure = found[f"{head}pressure_coefficient"]
            axis, _, at, _ = pressure.plane.decode().split()
            up, across = (_native(found[name].data) for name in pressure.dimensions[1:])
            planes.append(TimePlane(axis=axis, at=float(at), across=across, up=up))
            del pressure
        out = TimeSeries(
            path=path, time=_native(found["time"].data), travel=_native(found["travel"].data),
            planes=tuple(planes), n_vertex=file.dimensions.get("vertex", 0),
        )  # fmt: skip
        del found
    return out


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    from scipy.io import netcdf_file

    try:
        file = netcdf_file(path, "r", mmap=True)
    except FileNotFoundError:
        raise FileFault([Fault(what="no such file", file=path.name)]) from None
    except (OSError, ValueError, TypeError, KeyError, IndexError) as error:
        fault = Fault(what="cannot be read as fields over time", file=path.name, found=str(error))
        raise FileFault([fault]) from error
    try:
        yield file
    finally:
        file.close()


def _native(values: Any) -> np.ndarray:
    """Return a copy in this machine's order of bytes: the file is closed while it is used."""
    found = np.array(values)
    return found.astype(found.dtype.newbyteorder("="))
