"""Pictures to numbers: cameras from marks, measurements with ranges, what openings may be for."""

from tuftwork.reading.assemble import Lens, ask_of, picture_of, planes_of, scene_of, scenes_of
from tuftwork.reading.camera import (
    Camera,
    circle_poses,
    cross_ratio,
    focal_from_square,
    height_from_reference,
    on_plane,
    project,
    vanishing_point,
)
from tuftwork.reading.kind import KINDS
from tuftwork.reading.measure import Ask, Reading, Trace, measure
from tuftwork.reading.outline import TracedShape, section_coordinates, traced_shape
from tuftwork.reading.scene import (
    Affine,
    Dimension,
    Length,
    Parallel,
    Picture,
    Plane,
    Point,
    Rim,
    Scene,
    Sighting,
    outline_plane,
    tied,
    wheel_points,
)
from tuftwork.reading.solve import Hint, Solution, solve_scene
from tuftwork.reading.together import correlations

__all__ = [
    "KINDS",
    "Affine",
    "Ask",
    "Camera",
    "Dimension",
    "Hint",
    "Length",
    "Lens",
    "Parallel",
    "Picture",
    "Plane",
    "Point",
    "Reading",
    "Rim",
    "Scene",
    "Sighting",
    "Solution",
    "Trace",
    "TracedShape",
    "ask_of",
    "circle_poses",
    "correlations",
    "cross_ratio",
    "focal_from_square",
    "height_from_reference",
    "measure",
    "on_plane",
    "outline_plane",
    "picture_of",
    "planes_of",
    "project",
    "scene_of",
    "scenes_of",
    "section_coordinates",
    "solve_scene",
    "tied",
    "traced_shape",
    "vanishing_point",
    "wheel_points",
]
