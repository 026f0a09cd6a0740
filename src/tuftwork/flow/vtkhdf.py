"""Fields as a VTK HDF file: an image in HDF5, read in pieces by scientific viewers.

The layout is that of the open specification, major version 2: a group ``VTKHDF`` whose attributes
say what it is and where its points lie, and the values under ``PointData``, slowest axis z first.
"""

from collections.abc import Mapping
from io import BytesIO

import numpy as np
import numpy.typing as npt

from tuftwork.errors import InputError
from tuftwork.flow.output import State, about, fields
from tuftwork.flow.result import FlowResult

Floats = npt.NDArray[np.float64]
VERSION = (2, 0)
"""Of the layout; images have not changed since."""
_LARGEST_CHUNK = 64
"""Points along one side of a stored block. [-]"""


def vtkhdf_bytes(result: FlowResult, state: State = "mean") -> bytes:
    """Return pressure, velocity and total-pressure loss as a VTK HDF image.

    Parameters
    ----------
    result
        A finished run.
    state
        Mean or last instant.
    """
    prepared = result.prepared
    told = about(result) | {"state": state, "lengths": "m", "velocity": "over car speed"}
    return image_bytes(fields(result, state), prepared.origin, prepared.case.cell, told)


def image_bytes(
    named: Mapping[str, Floats],
    origin: tuple[float, float, float],
    spacing: float,
    about: Mapping[str, str] | None = None,
) -> bytes:
    """Return fields on an even grid as a VTK HDF image.

    Parameters
    ----------
    named
        Name → values: scalars (lz, ly, lx), vectors (3, lz, ly, lx). Kept in single precision.
    origin
        Place of the first point. [m]
    spacing
        Distance of the points. [m]
    about
        Words kept beside the image, in a group of their own.

    Raises
    ------
    InputError
        If the fields are not of one size.
    """
    import h5py

    sizes = {values.shape[-3:] for values in named.values()}
    if len(sizes) != 1:
        raise InputError("fields", str(sorted(sizes)), "", "must all have one size")
    lz, ly, lx = sizes.pop()
    buffer = BytesIO()
    with h5py.File(buffer, "w") as file:
        root = file.create_group("VTKHDF")
        root.attrs.create("Version", np.array(VERSION, np.int64))
        root.attrs.create("Type", np.bytes_("ImageData"))  # fixed length, ASCII: as is asked for
        root.attrs.create("WholeExtent", np.array([0, lx - 1, 0, ly - 1, 0, lz - 1], np.int64))
        root.attrs.create("Origin", np.array(origin, np.float64))
        root.attrs.create("Spacing", np.full(3, spacing, np.float64))
        root.attrs.create("Direction", np.eye(3).ravel())
        point = root.create_group("PointData")
        for name, values in named.items():
            data = np.moveaxis(values, 0, -1) if values.ndim == 4 else values
            chunk = tuple(min(n, _LARGEST_CHUNK) for n in (lz, ly, lx)) + data.shape[3:]
            point.create_dataset(
                name, data=data.astype(np.float32), chunks=chunk, compression="gzip",
                compression_opts=1, shuffle=True,
            )  # fmt: skip
        for role, count in (("Scalars", 3), ("Vectors", 4)):
            first = next((n for n, v in named.items() if v.ndim == count), None)
            if first is not None:
                point.attrs.create(role, np.bytes_(first))
        words = file.create_group("about")
        for key, value in (about or {}).items():
            words.attrs[key] = value
    return buffer.getvalue()
