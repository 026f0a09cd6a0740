"""The open files of a run that has just ended: surfaces, scene, histories, whole fields.

Values of the mean flow and of one instant stand beside one another; fields of every box of cells.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from tuftwork.errors import InputError
from tuftwork.files import write_atomic
from tuftwork.files.time_file import TimeSeries
from tuftwork.flow import FlowResult
from tuftwork.flow.output import State
from tuftwork.study.flow.time_export import add_to_store

if TYPE_CHECKING:
    import xarray

Form = Literal["files", "zarr"]
"""Whole fields as VTI, VTK HDF and netCDF, or as one Zarr store with the histories."""
_LONGEST = 60
"""Of a file's name made from another name. [letters]"""
_STATES: tuple[State, State] = ("mean", "last")


def check_forms(forms: Sequence[Form]) -> None:
    """Refuse forms that cannot be written here, before a run begins.

    Raises
    ------
    InputError
        If the library of one is not installed.
    """
    if "zarr" in forms and find_spec("zarr") is None:
        cure = "Install it with: pip install 'tuftwork[zarr]'."
        raise InputError("--zarr", "asked", "", "needs the library zarr", cure)


def export_run(
    result: FlowResult, folder: Path, *, wheelbase: float, fields: Sequence[Form] = (),
    series: TimeSeries | None = None,
) -> list[str]:  # fmt: skip
    """Write the open files of a run and return their paths.

    Parameters
    ----------
    result
        A finished run.
    folder
        Made if it is not there.
    wheelbase
        Of the car. [m]
    fields
        Forms in which whole fields are written too.
    series
        What was kept over time; it goes into the Zarr store too.
    """
    from tuftwork.flow import glb_bytes, vti_bytes, vtp_bytes
    from tuftwork.flow.vtkhdf import vtkhdf_bytes

    folder.mkdir(parents=True, exist_ok=True)
    written = []

    def keep(name: str, data: bytes) -> None:
        write_atomic(folder / name, data)
        written.append(str(folder / name))

    named = slugs(part.name for part in result.prepared.case.parts)
    for state in _STATES:
        then = "" if state == "mean" else "-last"
        for n, part in enumerate(result.prepared.case.parts):
            keep(f"surface{then}-{named[part.name]}.vtp", vtp_bytes(result, n, state))
        keep(f"car{then}.glb", glb_bytes(result, state=state))
    loads = _loads(result, wheelbase)
    loads.to_netcdf(folder / "loads.nc", engine="h5netcdf")
    written.append(str(folder / "loads.nc"))
    if "files" in fields:
        for state in _STATES:
            for n, box in enumerate((result, *result.boxes)):
                stem = f"fields-{state}-box{n}" if n else f"fields-{state}"
                keep(f"{stem}.vti", vti_bytes(box, state))
                keep(f"{stem}.vtkhdf", vtkhdf_bytes(box, state))
            written.append(str(_netcdf(result, folder / f"fields-{state}.nc", state)))
    if "zarr" in fields:
        written.append(str(_store(result, loads, folder / "run.zarr")))
        if series is not None:
            add_to_store(series, folder / "run.zarr")
    return written


def _loads(result: FlowResult, wheelbase: float) -> "xarray.Dataset":
    from tuftwork.flow.look import load_rows
    from tuftwork.flow.output import series_dataset

    return series_dataset(result, load_rows(result, wheelbase=wheelbase))


def _netcdf(result: FlowResult, path: Path, state: State) -> Path:
    """Write every box of cells: the outermost at the root, ``box1`` and so on as groups."""
    from tuftwork.flow import dataset

    for n, box in enumerate((result, *result.boxes)):
        group, mode = (f"box{n}", "a") if n else (None, "w")
        dataset(box, state).to_netcdf(path, engine="h5netcdf", group=group, mode=mode)  # type: ignore[call-overload]
    return path


def _store(result: FlowResult, loads: "xarray.Dataset", path: Path) -> Path:
    """Write one Zarr store: ``loads``, and ``mean/box0``, ``last/box0`` and so on."""
    from tuftwork.flow import dataset

    groups = {"loads": loads}
    for state in _STATES:
        for n, box in enumerate((result, *result.boxes)):
            groups[f"{state}/box{n}"] = dataset(box, state)
    for k, (group, found) in enumerate(groups.items()):
        found.to_zarr(path, group=group, mode="a" if k else "w", zarr_format=2, consolidated=False)
    return path


def slug(name: str) -> str:
    """Return a name as a file's: small letters of any script, digits and dashes."""
    plain = unicodedata.normalize("NFC", name).lower()
    return re.sub(r"[\W_]+", "-", plain)[:_LONGEST].strip("-") or "case"


def slugs(names: Iterable[str]) -> dict[str, str]:
    """Return a file's name for each name; names that would share one get a number behind it.

    Parameters
    ----------
    names
        In the order in which they stand.
    """
    out: dict[str, str] = {}
    for name in names:
        own, count = slug(name), 1
        while own in out.values():
            count += 1
            own = f"{slug(name)}-{count}"
        out.setdefault(name, own)
    return out
