"""Aero maps as netCDF files: written whole or not at all, read only when their checksum holds."""

from pathlib import Path

from tuftwork.aeromap.dataset import from_dataset, to_dataset
from tuftwork.aeromap.map import AeroMap
from tuftwork.errors import Fault, FileFault, InputError
from tuftwork.files.atomic import write_atomic


def write_map(path: Path, aero_map: AeroMap) -> Path:
    """Write a map, replacing the file in one step.

    A crash or a full disk leaves the old map as it was.

    Parameters
    ----------
    path
        File to write, ending in ``.nc``; its folder is made if missing.
    aero_map
        The map.

    Returns
    -------
    path
        The same path.

    Raises
    ------
    FileFault
        If the file cannot be written.
    """
    dataset = to_dataset(aero_map)
    pressed = {"zlib": True, "complevel": 4, "shuffle": True}
    encoding = dict.fromkeys(dataset.data_vars, pressed)
    data = dataset.to_netcdf(engine="h5netcdf", encoding=encoding)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        found = error.strerror or str(error)
        fault = Fault(what="its folder cannot be made", file=path.name, found=found)
        raise FileFault([fault]) from error
    write_atomic(path, bytes(data))
    return path


def read_map(path: Path) -> AeroMap:
    """Read a map.

    Parameters
    ----------
    path
        File as :func:`write_map` makes it.

    Returns
    -------
    aero_map
        The map, bit for bit as it was written.

    Raises
    ------
    FileFault
        If the file is missing, is not such a map, is cut short, or was changed after writing.
    """
    import xarray as xr

    if not path.is_file():
        raise FileFault([Fault(what="no such map", file=path.name, cure="Run the study first.")])
    try:
        with xr.open_dataset(path, engine="h5netcdf") as opened:
            dataset = opened.load()
    except (OSError, ValueError, KeyError, RuntimeError) as error:
        fault = Fault(
            what="not a readable netCDF map", file=path.name, found=str(error)[:120],
            cure="Run the study again to write it anew.",
        )  # fmt: skip
        raise FileFault([fault]) from error
    try:
        return from_dataset(dataset)
    except (InputError, KeyError, ValueError) as error:
        fault = Fault(what=str(error), file=path.name, cure="Run the study again to write it anew.")
        raise FileFault([fault]) from error
