"""Fields and surfaces in open forms: VTI and VTP (VTK XML) and GLB as bytes, xarray for netCDF."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from tuftwork.errors import UnknownName
from tuftwork.flow.case import FlowCase
from tuftwork.flow.result import FlowResult
from tuftwork.flow.surface_map import SurfaceMap, outward, weights_of
from tuftwork.flow.vortex import Mark, vortex_mark

if TYPE_CHECKING:
    import xarray

Floats = npt.NDArray[np.float64]
State = Literal["mean", "last"]


def fields(result: FlowResult, state: State = "mean") -> dict[str, Floats]:
    """Return pressure coefficient, velocity over speed, and total-pressure loss.

    Parameters
    ----------
    result
        A finished run.
    state
        Mean or last instant.

    Returns
    -------
    named
        ``pressure_coefficient`` and ``total_pressure_loss`` (lz, ly, lx), ``velocity``
        (3, lz, ly, lx); not-a-number inside solids. [-]
    """
    if state not in ("mean", "last"):
        raise UnknownName("state", state, ("mean", "last"))
    moments = result.mean if state == "mean" else result.last
    u0 = result.prepared.case.lattice_speed
    solid = result.prepared.setup.mark == 1
    velocity = np.where(solid, np.nan, moments.velocity / u0)
    pressure = np.where(solid, np.nan, (moments.density - 1.0) / 3.0 / (0.5 * u0 * u0))
    loss = 1.0 - pressure - (velocity**2).sum(axis=0)
    return {"pressure_coefficient": pressure, "velocity": velocity, "total_pressure_loss": loss}


def vortex_strength(result: FlowResult, state: State = "mean", mark: Mark = "q") -> Floats:
    """Return Q or −λ2 times (length of the parts / speed)². Shape (lz, ly, lx). [-]."""
    from tuftwork.flow.prepare import body_length

    case = result.prepared.case
    moments = result.mean if state == "mean" else result.last
    scale = body_length(case.parts) / case.cell / case.lattice_speed
    return vortex_mark(np.asarray(moments.velocity, dtype=float) * scale, 1.0, mark)


def vti_bytes(result: FlowResult, state: State = "mean") -> bytes:
    """Return the fields as a VTK image file with raw appended data."""
    case, setup = result.prepared.case, result.prepared.setup
    lx, ly, lz = setup.shape
    found = fields(result, state)
    arrays = []
    for name, values in found.items():
        parts = 3 if values.ndim == 4 else 1
        flat = np.moveaxis(values, 0, -1) if parts == 3 else values
        arrays.append((name, parts, np.nan_to_num(flat).astype("<f4").ravel()))
    extent = f"0 {lx - 1} 0 {ly - 1} 0 {lz - 1}"
    origin = " ".join(f"{o:.9g}" for o in result.prepared.origin)
    head = (
        f'<ImageData WholeExtent="{extent}" Origin="{origin}" '
        f'Spacing="{case.cell:.9g} {case.cell:.9g} {case.cell:.9g}">\n<Piece Extent="{extent}">\n'
    )
    return _vtk_file(
        "ImageData", head + _declare("PointData", arrays), "</Piece>\n</ImageData>\n", arrays
    )


Named = tuple[str, int, npt.NDArray[np.generic]]
_VTK = {"<f4": "Float32", "<i8": "Int64", "|u1": "UInt8"}


def _declare(kind: str, arrays: list[Named], offset: int = 0) -> str:
    """Tags of arrays that follow one another in the appended data."""
    out = [f"<{kind}>"] if kind else []
    for name, parts, values in arrays:
        type_ = _VTK[values.dtype.str]
        out.append(
            f'<DataArray type="{type_}" Name="{name}" NumberOfComponents="{parts}" '
            f'format="appended" offset="{offset}"/>'
        )
        offset += 8 + values.nbytes
    return "\n".join([*out, f"</{kind}>\n" if kind else ""])


def _vtk_file(kind: str, body: str, tail: str, arrays: list[Named]) -> bytes:
    """Wrap declarations and raw data into one file."""
    head = (
        f'<?xml version="1.0"?>\n<VTKFile type="{kind}" version="1.0" byte_order="LittleEndian" '
        f'header_type="UInt64">\n{body}{tail}<AppendedData encoding="raw">\n_'
    )
    data = b"".join(
        np.uint64(v.nbytes).astype("<u8").tobytes() + np.ascontiguousarray(v).tobytes()
        for _, _, v in arrays
    )
    return head.encode() + data + b"\n</AppendedData>\n</VTKFile>\n"


def surface_values(
    result: FlowResult, part: int, *, size: float | None = None, state: State = "mean"
) -> tuple[Floats, npt.NDArray[np.int64], dict[str, Floats]]:
    """Return a part's triangles, split to about two cells, with its surface values.

    Parameters
    ----------
    result
        A finished run.
    part
        Number of the part, from 0.
    size
        Longest edge wanted; two cells unless given. [m]
    state
        Mean or last instant.

    Returns
    -------
    vertices : (n, 3)
        [m]
    faces : (m, 3)
        Corner numbers.
    values
        ``pressure_coefficient`` and ``friction_coefficient`` by vertex (n,), from the nearest cells
        beside this part. [-]
    """
    vertices, faces = split_surface(result.prepared.case, part, size)
    boxes = (result, *result.boxes)
    looks = outward(vertices, faces) if result.prepared.case.parts[part].is_closed else None
    weights = weights_of([box.prepared for box in boxes], part, vertices, looks)
    owner = np.full(len(vertices), part)
    kept = SurfaceMap(vertices=vertices, faces=faces, part=owner, weights=weights)
    rows = np.concatenate(
        [box.wall_rows if state == "mean" else box.last_rows for box in boxes], axis=1
    )
    found = coefficients(result.prepared.case, rows)
    values = {f"{key}_coefficient": kept.of(row) for key, row in found.items()}
    return vertices, faces, values


def split_surface(
    case: FlowCase, part: int, size: float | None = None
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Return a part's vertices (n, 3) [m] and triangles (m, 3), no edge above a size.

    Parameters
    ----------
    case
        Whose part it is.
    part
        Number of the part, from 0.
    size
        Two cells unless given. [m]
    """
    from tuftwork.flow.walls import split_long

    pieces = split_long(case.parts[part].triangles(), size or 2.0 * case.finest)
    vertices, number = np.unique(np.round(pieces.reshape(-1, 3), 7), axis=0, return_inverse=True)
    return vertices, number.reshape(-1, 3).astype(np.int64)


def coefficients(case: FlowCase, rows: Floats) -> dict[str, Floats]:
    """Return pressure and friction coefficient of wall cells from their rows. Shapes (n_wall,)."""
    q = 0.5 * case.lattice_speed**2
    return {"pressure": rows[3] / 3.0 / q, "friction": np.linalg.norm(rows[4:7], axis=0) / q}


def vtp_bytes(result: FlowResult, part: int, state: State = "mean") -> bytes:
    """Return one part's surface with its values as a VTK surface file."""
    vertices, faces, values = surface_values(result, part, state=state)
    point = [(name, 1, v.astype("<f4")) for name, v in values.items()]
    place = [("Points", 3, vertices.astype("<f4").ravel())]
    offsets = 3 * np.arange(1, len(faces) + 1)
    cells = [
        ("connectivity", 1, faces.astype("<i8").ravel()),
        ("offsets", 1, offsets.astype("<i8")),
    ]
    arrays: list[Named] = [*point, *place, *cells]
    size = [8 + v.nbytes for _, _, v in arrays]
    body = (
        f'<PolyData>\n<Piece NumberOfPoints="{len(vertices)}" NumberOfPolys="{len(faces)}" '
        'NumberOfVerts="0" NumberOfLines="0" NumberOfStrips="0">\n'
        + _declare("PointData", list(point))
        + _declare("Points", list(place), sum(size[: len(point)]))
        + _declare("Polys", list(cells), sum(size[: len(point) + 1]))
    )
    return _vtk_file("PolyData", body, "</Piece>\n</PolyData>\n", arrays)


def glb_bytes(
    result: FlowResult, *, low: float = -1.5, high: float = 1.0, state: State = "mean"
) -> bytes:
    """Return all parts coloured by pressure coefficient as a binary glTF scene.

    Parameters
    ----------
    result
        A finished run.
    low, high
        Pressure coefficients at the ends of the colour scale. [-]
    state
        Mean or last instant.

    Returns
    -------
    data
        A GLB file with y up, as glTF has it: x rearward, z to the car's left. The colours run dark
        blue (suction) to white (rest) to dark red.
    """
    import trimesh
    from matplotlib import colormaps

    scene = trimesh.Scene()
    for n, part in enumerate(result.prepared.case.parts):
        vertices, faces, values = surface_values(result, n, state=state)
        cp = values["pressure_coefficient"]
        share = np.where(cp < 0, 0.5 - 0.5 * cp / low, 0.5 + 0.5 * cp / high)
        colour = (colormaps["RdBu_r"](np.clip(share, 0, 1)) * 255).astype(np.uint8)
        upright = vertices[:, [0, 2, 1]] * [1.0, 1.0, -1.0]
        mesh = trimesh.Trimesh(vertices=upright, faces=faces, vertex_colors=colour, process=False)
        scene.add_geometry(mesh, geom_name=part.name, node_name=part.name)
    data = scene.export(file_type="glb")
    return bytes(data)


def about(result: FlowResult) -> dict[str, str]:
    """Return what stands in the head of every file of numbers: how it was made, and of what air."""
    case = result.prepared.case
    return {key: str(value) for key, value in result.made_with.items()} | {
        "origin": "computed",
        "car_speed": f"{case.speed:.9g} m/s",
        "density": f"{case.density:.9g} kg/m3",
        "yaw": f"{np.degrees(case.yaw):.9g} deg",
        "axes": "SAE J1594: x rearward from the front axle, y to the right, z up from the road",
    }


def dataset(result: FlowResult, state: State = "mean") -> "xarray.Dataset":
    """Return the fields of one box of cells as a data set with axes and units.

    Parameters
    ----------
    result
        A finished run, or one of its ``boxes``; the air that another box answers for is
        not-a-number.
    state
        Mean or last instant.
    """
    import xarray

    prepared = result.prepared
    axes = {
        name: (
            name,
            prepared.origin[a] + prepared.case.cell * np.arange(prepared.setup.shape[a]),
            {"units": "m"},
        )
        for a, name in enumerate("xyz")
    }
    found = fields(result, state)
    data = {
        "pressure_coefficient": (
            ("z", "y", "x"),
            found["pressure_coefficient"].astype(np.float32),
            {"units": "1"},
        ),
        "total_pressure_loss": (
            ("z", "y", "x"),
            found["total_pressure_loss"].astype(np.float32),
            {"units": "1"},
        ),
        "velocity": (
            ("axis", "z", "y", "x"),
            found["velocity"].astype(np.float32),
            {"units": "1", "long_name": "velocity over speed"},
        ),
    }
    attributes = about(result) | {"state": state, "cell_size": f"{prepared.case.cell:.9g} m"}
    return xarray.Dataset(data, coords=axes, attrs=attributes)


def series_dataset(result: FlowResult, rows: Mapping[str, Floats]) -> "xarray.Dataset":
    """Return load histories as a data set over time, ready for netCDF.

    Parameters
    ----------
    result
        A finished run.
    rows
        Name → one value a sample, as ``look.load_rows`` gives them.
    """
    import xarray

    case = result.prepared.case
    count = len(result.series)
    steps = float(result.made_with["steps"]) / max(count, 1)
    time = case.step_time * steps * np.arange(1, count + 1)
    units = {"roll": "m3", "pitch": "m3", "yaw": "m3"}
    data = {
        name: ("time", np.asarray(row), {"units": units.get(name, "m2")})
        for name, row in rows.items()
    }
    coords = {"time": ("time", time, {"units": "s"})}
    return xarray.Dataset(data, coords=coords, attrs=about(result))
