"""A finished run's record as open files: what ``flow show --export`` writes."""

from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.files import write_atomic
from tuftwork.files.time_file import TimeSeries
from tuftwork.flow.vtp import polydata_bytes
from tuftwork.study.flow.record import in_metres
from tuftwork.study.flow.time_export import write_over_time


def export_record(
    record: dict[str, Any], folder: Path | str, series: TimeSeries | None = None
) -> list[str]:
    """Write surface, vortices, streamlines, planes, bands and histories; return their paths.

    Parameters
    ----------
    record
        As ``files.flow.read_flow_record`` gives it.
    folder
        Made if it is not there.
    series
        What was kept over time.
    """
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    written = []
    for name, data in _surfaces(record).items():
        write_atomic(target / name, data)
        written.append(str(target / name))
    write_atomic(target / "bands.csv", _bands(record).encode())
    for name, found in (("planes.nc", _planes(record)), ("loads.nc", _loads(record))):
        for group, part in found.items():
            mode = "w" if group == next(iter(found)) else "a"
            part.to_netcdf(target / name, engine="h5netcdf", group=group or None, mode=mode)
    written += [str(target / name) for name in ("bands.csv", "planes.nc", "loads.nc")]
    if series is not None:
        written.append(str(write_over_time(series, target / "over-time.nc")))
    return written


def _surfaces(record: dict[str, Any]) -> dict[str, bytes]:
    car, lines = _metres(record["surface"]), _metres(record["lines"])
    out = {
        "surface.vtp": polydata_bytes(
            car["vertices"], faces=car["faces"],
            values={"part": car["part"]} | {
                f"{key}_coefficient{then}": car[key + then] for then in ("", "_last", "_rms")
                for key in ("pressure", "friction") if key + then in car
            },
        ),
        "streamlines.vtp": polydata_bytes(
            lines["vertices"], line_start=lines["start"], values={"speed": lines["speed"]}
        ),
    }  # fmt: skip
    for key, name in (("vortices", "vortices-q.vtp"), ("vortices_lambda2", "vortices-lambda2.vtp")):
        if key in record:
            block = _metres(record[key])
            out[name] = polydata_bytes(
                block["vertices"], faces=block["faces"],
                values={"total_pressure_loss": block["loss"]},
            )  # fmt: skip
    return out


def _metres(block: dict[str, Any]) -> dict[str, Any]:
    return in_metres(block) if block["vertices"].dtype.kind == "i" else block


def _bands(record: dict[str, Any]) -> str:
    """Bands along the car, a row a part and band."""
    bands, names = record["bands"], [p["name"] for p in record["parts"]]
    rows = ["# loads in bands along the car; areas in m2; x rearward from the front axle, m",
            "part,x_start,x_end,downforce_area,drag_area"]  # fmt: skip
    for n, name in enumerate(names):
        quoted = '"' + name.replace('"', '""') + '"' if set(name) & set(',"') else name
        for x, down, drag in zip(
            bands["start"], bands["downforce"][n], bands["drag"][n], strict=True
        ):
            rows.append(f"{quoted},{x:.4f},{x + bands['width']:.4f},{down:.6f},{drag:.6f}")
    return "\n".join(rows) + "\n"


def _planes(record: dict[str, Any]) -> dict[str, Any]:
    """One group of the netCDF file a plane."""
    import xarray

    out = {}
    for plane in record["planes"]:
        first, second = (a for a in "xyz" if a != plane["axis"])
        data = {
            name: ((second, first), np.asarray(plane[key], np.float32), {"units": "1"})
            for name, key in (("pressure_coefficient", "pressure"),
                              ("total_pressure_loss", "loss"), ("speed", "speed"))
        }  # fmt: skip
        coords = {first: (first, plane["across"], {"units": "m"}),
                  second: (second, plane["up"], {"units": "m"})}  # fmt: skip
        about = {"axis": plane["axis"], "at": float(plane["at"]), "title": plane["name"],
                 **_about(record)}  # fmt: skip
        out[plane["name"].replace(" ", "_").replace(",", "")] = xarray.Dataset(
            data, coords=coords, attrs=about
        )
    return out


def _loads(record: dict[str, Any]) -> dict[str, Any]:
    import xarray

    series = record["series"]
    data = {k: ("travel", series[k], {"units": "m2"}) for k in series if k != "travel"}
    coords = {"travel": ("travel", series["travel"], {"units": "1", "long_name": "body lengths"})}
    return {"": xarray.Dataset(data, coords=coords, attrs=_about(record))}


def _about(record: dict[str, Any]) -> dict[str, str]:
    """Return what turns coefficients into forces again, and where they hold."""
    case = record["case"]
    heights = {f"ride_height_{axle}": f"{case[axle]:.9g} m" for axle in ("front", "rear")
               if case[axle] is not None}  # fmt: skip
    return heights | {
        "case": str(case["name"]), "origin": "computed", "car_speed": f"{case['speed']:.9g} m/s",
        "density": f"{case['density']:.9g} kg/m3", "yaw": f"{np.degrees(case['yaw']):.9g} deg",
        "bias": record["bias"]["text"],
    }  # fmt: skip
