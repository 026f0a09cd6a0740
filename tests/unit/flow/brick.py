"""A brick over a road in a small box: what tests of fields, windows and going on begin with."""

from dataclasses import replace

import numpy as np

from tuftwork.flow import Box, FlowCase, FlowPart, Prepared, prepare
from tuftwork.flow.checkpoint import Saved
from tuftwork.flow.output import split_surface
from tuftwork.flow.over_time import Wish
from tuftwork.flow.porous import add_cores
from tuftwork.flow.setup import Core, Setup
from tuftwork.flow.surface_map import SurfaceMap, boxes_of, weights_of
from tuftwork.flow.zones import Zone
from tuftwork.shape import block

BRICK = block("brick", (0.0, -0.15, 0.2), (0.5, 0.15, 0.5))
FINER = (Zone(level=1, low=(-0.2, -0.35, 0.0), high=(0.8, 0.35, 0.7)),)
WIDE = Box(ahead=0.7, behind=0.9, beside=0.7, above=0.7)
PLANES = (("y", 0.0), ("x", 0.63), ("z", 0.31))


def prepared_brick(
    *, cell: float = 0.1, zones: tuple[Zone, ...] = (), name: str = "brick"
) -> Prepared:
    """Return the brick's case, ready to run."""
    part = FlowPart(name=name, vertices=BRICK.vertices, faces=BRICK.faces)
    return prepare(FlowCase(parts=(part,), speed=30.0, cell=cell, zones=zones, box=WIDE))


def wish_for(prepared: Prepared, every: float = 0.1) -> Wish:
    """Return three planes and the whole surface of the first part."""
    vertices, faces = split_surface(prepared.case, 0)
    weights = weights_of(boxes_of(prepared), 0, vertices)
    part = np.zeros(len(vertices), int)
    surface = SurfaceMap(vertices=vertices, faces=faces, part=part, weights=weights)
    return Wish(every=every, planes=PLANES, surface=surface)


def with_core(setup: Setup) -> Setup:
    """Return a setup with a porous core behind the brick."""
    law = Core(name="core", surface=1, axis=(1.0, 0.0, 0.0), linear=0.01, square=0.5)
    mesh = block("core", (12.0, 5.0, 3.0), (15.0, 9.0, 7.0)).triangles
    mark, walls, _ = add_cores(setup.mark, setup.walls, [(law, mesh)])
    return replace(setup, mark=mark, walls=walls)


class Memory:
    """Keeps a state in memory."""

    name = "memory"

    def __init__(self) -> None:
        self.saved: Saved = {}

    def read(self) -> Saved | None:
        """Return what was kept."""
        return self.saved or None

    def write(self, saved: Saved) -> None:
        """Keep copies: the engine goes on with its own arrays."""
        self.saved = {name: np.array(value) for name, value in saved.items()}

    def write_lost(self, saved: Saved) -> str:
        """Refuse: these runs do not diverge."""
        raise AssertionError("nothing is lost here")
