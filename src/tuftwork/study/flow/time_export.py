"""Fields over time as others like to have them: a group a plane, with speed, loss and rms."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from tuftwork.files.time_file import TimeSeries
from tuftwork.study.flow.over_time import FEWEST

if TYPE_CHECKING:
    import xarray

_BLOCK = 64_000_000
"""Numbers that are held at a time. [-]"""


def group_names(series: TimeSeries) -> list[str]:
    """Return the names of the groups: ``plane0`` and so on, ``surface``."""
    found = [f"plane{n}" for n in range(len(series.planes))]
    return [*found, *(["surface"] if series.n_vertex else [])]


def _blocks(series: TimeSeries, name: str) -> Iterator["xarray.Dataset"]:
    """Yield data sets that follow one another in time."""
    each = series.n_vertex
    if name != "surface":
        plane = series.planes[int(name.removeprefix("plane"))]
        each = 6 * plane.across.size * plane.up.size
    step = max(1, _BLOCK // max(1, each))
    for first in range(0, series.count, step):
        yield _dataset(series, name, slice(first, min(first + step, series.count)))


def _dataset(series: TimeSeries, name: str, some: slice) -> "xarray.Dataset":
    import xarray

    coords: dict[str, Any] = {
        "time": ("time", series.time[some], {"units": "s"}),
        "travel": ("time", series.travel[some], {"units": "1", "long_name": "body lengths"}),
    }
    about = {"origin": "computed"}
    if name == "surface":
        data: dict[str, Any] = {
            "pressure_coefficient": (("time", "vertex"), series.surface(some), {"units": "1"})
        }
        mesh = series.mesh()
        coords |= {axis: ("vertex", mesh[axis], {"units": "m"}) for axis in "xyz"}
        coords |= {
            "part": ("vertex", mesh["part"]), "triangles": (("triangle", "corner"), mesh["faces"])
        }  # fmt: skip
        if series.count >= FEWEST:
            words = {"units": "1", "long_name": f"standard deviation of {series.count} samples"}
            coords["pressure_coefficient_rms"] = ("vertex", series.surface_rms(), words)
        return xarray.Dataset(data, coords=coords, attrs=about | {"parts": mesh["parts"]})
    number = int(name.removeprefix("plane"))
    plane = series.planes[number]
    first, second = (a for a in "xyz" if a != plane.axis)
    coords |= {first: (first, plane.across, {"units": "m"}),
               second: (second, plane.up, {"units": "m"})}  # fmt: skip
    data = {}
    for key, values in series.plane(number, some).items():
        dims = ("time", *(("axis",) if key == "velocity" else ()), second, first)
        data[key] = (dims, values.astype(np.float32), {"units": "1"})
    return xarray.Dataset(data, coords=coords, attrs=about | {"axis": plane.axis, "at": plane.at})


def write_over_time(series: TimeSeries, path: Path) -> Path:
    """Write a netCDF file with a group for each plane and one for the surface.

    Parameters
    ----------
    series
        As it was kept.
    path
        The file.
    """
    import h5netcdf

    with h5netcdf.File(path, "w") as file:
        for name in group_names(series):
            group = file.create_group(name)
            for block in _blocks(series, name):
                _append(group, block)
    return path


def _append(group: Any, block: "xarray.Dataset") -> None:
    """Write a block behind what stands in a group."""
    start = group.dimensions["time"].size if "time" in group.dimensions else 0
    if not start:
        group.dimensions = {d: None if d == "time" else n for d, n in block.sizes.items()}
        for name, found in block.variables.items():
            made = group.create_variable(
                str(name), tuple(str(d) for d in found.dims), found.dtype, compression="gzip",
                fillvalue=np.nan if found.dtype.kind == "f" else None,
            )  # fmt: skip
            for key, value in found.attrs.items():
                made.attrs[key] = value
            if "time" not in found.dims:
                made[...] = found.values
        for key, value in block.attrs.items():
            group.attrs[key] = value
    group.resize_dimension("time", start + block.sizes["time"])
    for name, found in block.variables.items():
        if "time" in found.dims:
            group[str(name)][start:] = found.values


def add_to_store(series: TimeSeries, path: Path) -> None:
    """Add groups ``over_time/plane0`` and so on to a Zarr store.

    Parameters
    ----------
    series
        As it was kept.
    path
        The store.
    """
    for name in group_names(series):
        group = f"over_time/{name}"
        for k, block in enumerate(_blocks(series, name)):
            how: dict[str, Any] = {"append_dim": "time"} if k else {}
            block.to_zarr(path, group=group, mode="a", zarr_format=2, consolidated=False, **how)
