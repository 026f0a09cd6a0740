"""The demo's photographs: drawn from the invented car, marked with clicks that miss a little."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from io import BytesIO
from pathlib import Path

import numpy as np

from tuftwork.demo.mould import Mould
from tuftwork.reading import Camera, project
from tuftwork.reading.begin import looking_at

SIZE = (1500, 1000)  # [pixel]
CLICK = 1.0  # [pixel]
SEED = 20260
_FILM = float(np.hypot(36.0, 24.0))  # [mm]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One photograph: where the camera stands, and what is marked on it.

    Attributes
    ----------
    target, azimuth, elevation, distance
        What it looks at [m] and from where: azimuth from ahead over the right [degree], [m].
    focal_35mm, distortion
        Lens. [mm], [-]
    wheels
        Wheels whose hub, tyre top and contact are marked: ``front right``.
    tyres
        Wheels whose outline is marked.
    marks
        Name → points of the car.
    on
        Mark → plane.
    silhouette
        Name of the mark that follows the car's outline against the background, if any.
    """

    id: str
    title: str
    target: tuple[float, float, float]
    azimuth: float
    elevation: float
    distance: float
    focal_35mm: float
    distortion: float = 0.0
    wheels: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    tyres: tuple[str, ...] = ()
    marks: Mapping[str, np.ndarray] = field(default_factory=dict)
    on: Mapping[str, str] = field(default_factory=dict)
    on_lift: bool = False
    silhouette: str = ""

    def camera(self) -> Camera:
        """Return the true camera."""
        focal = self.focal_35mm / _FILM * float(np.hypot(*SIZE))
        middle = np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2])
        vector = looking_at(
            np.array(self.target), np.radians(self.azimuth), np.radians(self.elevation),
            self.distance, focal, middle,
        )  # fmt: skip
        return replace(Camera.of_vector(vector), distortion=self.distortion)

    def clicks(self, mould: Mould) -> dict[str, np.ndarray]:
        """Return the marks as a careful person would set them ``(n, 2)``. [pixel]"""
        rng = np.random.default_rng([SEED, sum(map(ord, self.id))])
        camera = self.camera()
        places: dict[str, np.ndarray] = {}
        for wheel, kinds in self.wheels.items():
            axle, side = wheel.split()
            for kind in kinds:
                places[f"{kind} {wheel}"] = mould.wheel(axle, side, kind)[None]
        for wheel in self.tyres:
            axle, side = wheel.split()
            places[f"tyre {wheel}"] = mould.tyre(axle, side, (20, 60, 100, 140, 180, 210, -25))
        places |= {name: np.atleast_2d(at) for name, at in self.marks.items()}
        found = {
            name: np.round(project(camera, at) + rng.normal(0, CLICK, (len(at), 2)), 1)
            for name, at in places.items()
        }
        if self.silhouette:
            around = outline_of(mould, camera)
            found[self.silhouette] = np.round(around + rng.normal(0, CLICK, around.shape), 1)
        return found


_FINE = 4  # drawn this much larger for the outline


def outline_of(mould: Mould, camera: Camera) -> np.ndarray:
    """Return the car's outline in a picture, as corners a person would click ``(n, 2)``. [pixel]"""
    import cv2

    mask = np.zeros((SIZE[1] * _FINE, SIZE[0] * _FINE), dtype=np.uint8)
    for surface in mould.surfaces():
        seen = project(camera, np.asarray(surface.vertices, dtype=float))
        for corners in np.round(_FINE * seen[np.asarray(surface.faces)]).astype(np.int32):
            cv2.fillConvexPoly(mask, corners, 255)
    lines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(lines, key=cv2.contourArea)
    return np.asarray(cv2.approxPolyDP(longest, 1.0 * _FINE, closed=True)[:, 0, :] / _FINE)


ALL = ("hub", "top", "ground")


def halyard_shots(mould: Mould) -> tuple[Shot, ...]:
    """Return the six photographs of the Halyard."""
    m = mould
    chord = np.stack([m.wing_edge(0.0, 0.85), m.wing_edge(1.0, 0.85)])
    tip = m.wing_edge(0.0, m.wing_span / 2) + np.array([-0.03, 0.0, 0.06])
    low = m.floor_at(m.kick)
    narrow, half = m.ramp_width / 2, m.floor_width / 2
    lip = np.array([m.splitter, m.splitter_width / 2, m.clearance_front])
    across = np.array([1.0, -1.0, 1.0])
    vent = {"arch vent": m.vent_outline()}
    vent |= {f"blade {k + 1}": m.blade_outline(k) for k in range(m.blades)}
    bonnet = np.array([[0.25, y, 0.842] for y in (-0.55, 0.55)]
                      + [[0.65, y, 0.842] for y in (0.55, -0.55)])  # fmt: skip
    return (
        Shot(id="P1", title="Right side, long lens", target=(1.3, 0.0, 0.55), azimuth=88,
             elevation=3, distance=12.2, focal_35mm=85,
             wheels={"front right": ALL, "rear right": ALL}, tyres=("front right", "rear right"),
             marks={"wing chord": chord, "wing tip right": tip,
                    "sill": np.array([1.3, m.side, m.floor_at(1.3)])},
             on={"wing chord": "end plate", "sill": "side"}),
        Shot(id="P2", title="Front three-quarter, wide", target=(0.9, 0.0, 0.45), azimuth=132,
             elevation=12, distance=4.9, focal_35mm=26, distortion=-0.027,
             wheels={"front right": ALL, "rear right": ALL}, tyres=("front right", "rear right"),
             marks={"splitter right": lip, "splitter left": lip * across},
             on={"splitter right": "splitter", "splitter left": "splitter"}),
        Shot(id="P3", title="Rear three-quarter", target=(1.9, 0.0, 0.6), azimuth=48,
             elevation=14, distance=5.4, focal_35mm=30, distortion=-0.02,
             wheels={"front right": ALL, "rear right": ALL}, tyres=("front right", "rear right"),
             marks={"wing tip right": tip, "wing tip left": tip * across,
                    "diffuser exit": np.array([m.ramp_end, 0.0, m.ramp_exit])},
             on={"diffuser exit": "diffuser exit"}),
        Shot(id="P4", title="Underside, on the lift", target=(1.4, 0.0, 0.05), azimuth=75,
             elevation=-48, distance=4.3, focal_35mm=26, distortion=-0.027, on_lift=True,
             wheels={"front right": ("hub", "ground"), "rear right": ("hub", "ground"),
                     "front left": ("ground",), "rear left": ("ground",)},
             tyres=("front right", "rear right"),
             marks={"kick line": np.array([m.kick, 0.0, low]),
                    "diffuser edges": np.array([[m.kick, -narrow, low], [m.kick, narrow, low]]),
                    "floor edges": np.array([[1.6, -half, m.floor_at(1.6)],
                                             [1.6, half, m.floor_at(1.6)]])},
             on={"kick line": "floor", "diffuser edges": "floor", "floor edges": "floor"}),
        Shot(id="P5", title="Front arch and its vent", target=(0.35, 0.9, 0.45), azimuth=100,
             elevation=8, distance=1.9, focal_35mm=40,
             wheels={"front right": ALL}, tyres=("front right",), marks=vent,
             on=dict.fromkeys(vent, "side")),
        Shot(id="P6", title="Bonnet from ahead", target=(-0.1, 0.0, 0.6), azimuth=142,
             elevation=30, distance=3.4, focal_35mm=28,
             wheels={"front right": ALL, "front left": ("top",), "rear right": ("top",)},
             tyres=("front right",), marks={"bonnet flat": bonnet}, on={"bonnet flat": "bonnet"}),
    )  # fmt: skip


ROAD = Mould(
    wheelbase=2.70, radius_front=0.345, radius_rear=0.36, face=0.985, side=0.95,
    clearance_front=0.095, clearance_rear=0.105, nose=-1.02, splitter=-1.06, splitter_width=1.70,
    tail=3.62, roof=1.15, belt=0.72, bonnet=0.74, cabin=(0.35, 1.05, 1.75, 2.9), wing_span=1.62,
    wing_chord=0.34, wing_station=3.12, wing_height=1.02, wing_angle=float(np.radians(11.0)),
    gurney=0.012, end_plate=0.16, kick=2.45, ramp_end=3.70, ramp_angle=float(np.radians(9.0)),
    floor_width=1.60, vent=(0.42, 0.86, 0.42, 0.60), blades=3, blade=0.012,
    colour=(0.46, 0.23, 0.12), nose_elements=3,
)  # fmt: skip
"""The invented road hypercar of the picture-only study."""


def road_shots(mould: Mould) -> tuple[Shot, ...]:
    """Return the five photographs of the road hypercar, all a magazine would print."""
    m = mould
    chord = np.stack([m.wing_edge(0.0, m.wing_span / 2), m.wing_edge(1.0, m.wing_span / 2)])
    tip = m.wing_edge(0.0, m.wing_span / 2) + np.array([-0.03, 0.0, 0.06])
    across = np.array([1.0, -1.0, 1.0])
    vent = {"side vent": m.vent_outline()}
    vent |= {f"blade {k + 1}": m.blade_outline(k) for k in range(m.blades)}
    lip = np.array([m.splitter, m.splitter_width / 2, m.clearance_front])
    mouth = np.array([
        [m.nose, y, m.clearance_front + z]
        for y, z in ((-0.42, 0.10), (0.42, 0.10), (0.36, 0.34), (-0.36, 0.34))
    ])  # fmt: skip
    return (
        Shot(id="P1", title="Side, from a magazine", target=(1.3, 0.0, 0.5), azimuth=91,
             elevation=3, distance=12.6, focal_35mm=85,
             wheels={"front right": ALL, "rear right": ALL}, tyres=("front right", "rear right"),
             marks={"wing chord": chord, "wing tip right": tip, **vent,
                    "sill front": np.array([0.6, m.side, m.floor_at(0.6)]),
                    "sill rear": np.array([2.0, m.side, m.floor_at(2.0)])},
             on={"wing chord": "end plate", "sill front": "side", "sill rear": "side",
                 **dict.fromkeys(vent, "side")}),
        Shot(id="P2", title="Front three-quarter", target=(0.9, 0.0, 0.4), azimuth=140,
             elevation=11, distance=5.2, focal_35mm=28, distortion=-0.02,
             wheels={"front right": ALL, "rear right": ALL}, tyres=("front right", "rear right"),
             marks={"splitter right": lip, "splitter left": lip * across, "nose mouth": mouth},
             on={"splitter right": "splitter", "splitter left": "splitter", "nose mouth": "nose"}),
        Shot(id="P3", title="Rear three-quarter", target=(2.0, 0.0, 0.55), azimuth=46,
             elevation=13, distance=5.6, focal_35mm=30, distortion=-0.02,
             wheels={"front right": ALL, "rear right": ALL}, tyres=("front right", "rear right"),
             marks={"wing tip right": tip, "wing tip left": tip * across,
                    "diffuser exit": np.array([m.ramp_end, 0.0, m.ramp_exit])},
             on={"diffuser exit": "diffuser exit"}),
        Shot(id="P4", title="Head-on, long lens", target=(1.0, 0.0, 0.55), azimuth=180,
             elevation=0.6, distance=42.0, focal_35mm=400,
             wheels={"front right": ("top", "ground"), "front left": ("top", "ground")},
             silhouette="silhouette", on={"silhouette": "outline from ahead"}),
        Shot(id="P5", title="Wing end, end-on", target=(3.0, 0.8, 0.68), azimuth=90,
             elevation=4, distance=3.1, focal_35mm=50,
             wheels={"rear right": ALL}, tyres=("rear right",),
             marks={"wing section": m.wing_outline(m.wing_span / 2)},
             on={"wing section": "end plate"}),
    )  # fmt: skip


def write_photo(path: Path, shot: Shot, mould: Mould, size: tuple[int, int] = SIZE) -> None:
    """Draw a photograph and write it as JPEG, with the lens in its header."""
    from PIL import Image

    from tuftwork.demo.draw import draw

    picture = Image.fromarray(
        draw(mould.surfaces(), shot.camera(), size, seed=SEED, on_lift=shot.on_lift)
    )
    header = Image.Exif()
    header[0x010F] = "invented for the demo"
    header.get_ifd(0x8769)[0xA405] = round(shot.focal_35mm)
    buffer = BytesIO()
    picture.save(buffer, format="JPEG", quality=84, exif=header)
    path.write_bytes(buffer.getvalue())


def picture_tables(shots: tuple[Shot, ...], mould: Mould, evidence: Callable[[Shot], str]) -> str:
    """Return the project's tables of pictures, with the marks as clicked."""
    lines: list[str] = []
    for shot in shots:
        lines += ["[[reading.pictures]]", f'id = "{shot.id}"', f'title = "{shot.title}"',
                  f'evidence = "{evidence(shot)}"', f"click = {CLICK}"]  # fmt: skip
        if shot.on:
            pairs = ", ".join(f'"{k}" = "{v}"' for k, v in shot.on.items())
            lines.append(f"on = {{ {pairs} }}")
        lines += ["", "[reading.pictures.marks]"]
        for name, at in shot.clicks(mould).items():
            pixels = ", ".join(f"[{x:.1f}, {y:.1f}]" for x, y in at)
            lines.append(f'"{name}" = [{pixels}]')
        lines.append("")
    return "\n".join(lines)
