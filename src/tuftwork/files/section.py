"""Read and write section coordinates: plain text, CSV and DXF."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tuftwork.errors import Fault, FileFault, InputError
from tuftwork.quantity import Array
from tuftwork.section import Contour, Stack, check_contour


def read_section(path: Path, *, name: str | None = None) -> Contour:
    """Return a section from a text, CSV or DXF file.

    Text and CSV hold one ``x y`` or ``x,y`` pair a line; lines without numbers are headings.
    Two lists that both start at the nose (upper side, then lower side) are joined. DXF: the
    longest polyline or spline.

    Raises
    ------
    FileFault
        If the file cannot be read; every faulty line is named.
    InputError
        If the outline is no section, see ``section.check_contour``.
    """
    if not path.is_file():
        raise FileFault([Fault(what="file not found", file=str(path))])
    label = name or path.stem
    points = _read_dxf(path) if path.suffix.lower() == ".dxf" else _read_text(path)
    return check_contour(*_joined(points).T, name=label)


def _read_text(path: Path) -> Array:
    rows: list[tuple[float, float]] = []
    faults: list[Fault] = []
    for number, line in enumerate(
        path.read_text(encoding="utf-8", errors="replace").splitlines(), 1
    ):
        words = line.replace(",", " ").replace(";", " ").split()
        if not words or line.lstrip().startswith("#"):
            continue
        try:
            values = [float(w) for w in words]
        except ValueError:
            if rows and any(ch.isdigit() for ch in words[0]):
                faults.append(
                    Fault(
                        what="not two numbers",
                        file=str(path),
                        line=number,
                        found=line.strip()[:40],
                        expected="x y",
                    )
                )
            continue
        if len(values) != 2:
            faults.append(
                Fault(
                    what=f"{len(values)} numbers",
                    file=str(path),
                    line=number,
                    found=line.strip()[:40],
                    expected="x y",
                )
            )
            continue
        if max(values) > 1.5 and not rows and all(v == int(v) for v in values):
            continue  # a heading with the numbers of points per side
        rows.append((values[0], values[1]))
    if faults:
        raise FileFault(faults)
    if not rows:
        raise FileFault([Fault(what="no coordinates found", file=str(path), expected="x y a line")])
    return np.array(rows)


def _read_dxf(path: Path) -> Array:
    from ezdxf.entities.lwpolyline import LWPolyline
    from ezdxf.entities.polyline import Polyline
    from ezdxf.entities.spline import Spline
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    try:
        drawing = readfile(path)
    except (OSError, DXFError) as why:
        raise FileFault([Fault(what=f"not a DXF drawing: {why}", file=str(path))]) from why
    found: list[Array] = []
    for item in drawing.modelspace():
        if isinstance(item, LWPolyline):
            found.append(np.array([(p[0], p[1]) for p in item.get_points()]))
        elif isinstance(item, Polyline):
            found.append(np.array([(v.dxf.location.x, v.dxf.location.y) for v in item.vertices]))
        elif isinstance(item, Spline):
            found.append(np.array([(p.x, p.y) for p in item.flattening(1e-4)]))
    if not found:
        raise FileFault([Fault(what="no polyline or spline in the drawing", file=str(path))])
    return max(found, key=len)


def _joined(points: Array) -> Array:
    """Two lists from the nose become one outline; anything else stays as it is."""
    x = points[:, 0]
    low = float(x.min())
    size = max(float(np.ptp(x)), 1e-12)
    back = np.flatnonzero((np.diff(x) < -0.5 * size) & (x[1:] < low + 0.02 * size))
    if x[0] < low + 0.02 * size and back.size == 1:
        cut = int(back[0]) + 1
        upper, lower = points[:cut], points[cut:]
        if np.allclose(upper[0], lower[0], atol=1e-9 * size):
            lower = lower[1:]
        return np.vstack([upper[::-1], lower])
    return points


def write_section_csv(
    path: Path, elements: Sequence[Contour] | Stack, *, scale: float = 1.0
) -> None:
    """Write coordinates of all elements as CSV: element, x, y.

    Parameters
    ----------
    path
        File to write.
    elements
        Contours, or a stack in place.
    scale
        Factor on the coordinates, for example the chord. [mm]
    """
    contours = elements.elements if isinstance(elements, Stack) else elements
    lines = ["element,x_mm,y_mm" if scale != 1.0 else "element,x,y"]
    for k, c in enumerate(contours, 1):
        lines += [f"{k},{scale * a:.6g},{scale * b:.6g}" for a, b in zip(c.x, c.y, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_section_dxf(path: Path, elements: Sequence[Contour] | Stack, *, scale: float) -> None:
    """Write elements in place as closed polylines, one layer each, with trailing edges marked.

    Parameters
    ----------
    path
        File to write.
    elements
        Contours, or a stack in place.
    scale
        Chord in drawing units. [mm]
    """
    from ezdxf import units
    from ezdxf.filemanagement import new

    if not scale > 0.0:
        raise InputError("scale", scale, "mm", "must be above 0")
    contours = elements.elements if isinstance(elements, Stack) else elements
    drawing = new("R2010")
    drawing.units = units.MM
    space = drawing.modelspace()
    for k, c in enumerate(contours, 1):
        layer = f"ELEMENT_{k}"
        drawing.layers.add(layer)
        points = [(scale * float(a), scale * float(b)) for a, b in zip(c.x, c.y, strict=True)]
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})
        tail = c.trailing_edge
        space.add_point((scale * tail[0], scale * tail[1]), dxfattribs={"layer": layer})
    drawing.saveas(path)
