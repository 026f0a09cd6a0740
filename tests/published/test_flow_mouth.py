"""Air that a body swallows at its nose, against Bernoulli's equation along its axis."""

import numpy as np
import pytest

from tuftwork.flow import Box, FlowCase, FlowPart, FlowResult, Opening, StopRule, prepare, run
from tuftwork.flow.zones import Zone

pytestmark = pytest.mark.published
SPEED, MOUTH, AROUND = 30.0, 0.1, 64


def nacelle() -> FlowPart:
    """A body of revolution from a round mouth of radius 0.1 m to 0.2 m and back, 1.1 m long."""
    lip, tail = np.linspace(0.0, np.pi / 2, 17), np.linspace(0.0, 1.0, 17)
    x = np.concatenate([0.4 * (1 - np.cos(lip)), 0.5 + 0.6 * tail])
    radius = np.concatenate([MOUTH + 0.1 * np.sin(lip), 0.15 + 0.05 * np.cos(np.pi * tail)])
    angle = 2 * np.pi * np.arange(AROUND) / AROUND
    rings = np.stack([np.repeat(x, AROUND), np.outer(radius, np.cos(angle)).ravel(),
                      np.outer(radius, np.sin(angle)).ravel()], axis=1)  # fmt: skip
    one = np.arange(AROUND)
    two = (one + 1) % AROUND
    faces = []
    for k in range(0, AROUND * (x.size - 1), AROUND):
        faces.append(np.stack([k + one, k + AROUND + one, k + two], axis=1))
        faces.append(np.stack([k + two, k + AROUND + one, k + AROUND + two], axis=1))
    last, nose = AROUND * (x.size - 1), len(rings)
    faces.append(np.stack([np.full(AROUND, nose), one, two], axis=1))
    faces.append(np.stack([np.full(AROUND, nose + 1), last + two, last + one], axis=1))
    vertices = np.concatenate([rings, [[x[0], 0, 0], [x[-1], 0, 0]]])
    every = np.concatenate(faces)
    corner = vertices[every]
    volume = (corner[:, 0] * np.cross(corner[:, 1], corner[:, 2])).sum() / 6
    return FlowPart(
        name="nacelle", vertices=vertices, faces=every if volume > 0 else every[:, ::-1]
    )


def swallowing(taken: float, shift: float) -> FlowResult:
    """The nacelle with so much of the stream's speed taken in, 8 cells across its mouth."""
    cell, flow = 0.025, 1.225 * SPEED * taken * np.pi * MOUTH**2

    def face(name: str, kind: str, x: float, way: float) -> Opening:
        low, high = (x - 0.01, -MOUTH, -MOUTH), (x + 0.01, MOUTH, MOUTH)
        return Opening(name=name, part="nacelle", kind=kind, low=low, high=high,
                       facing=(way, 0.0, 0.0), mass_flow=flow)  # fmt: skip

    box = Box(ahead=1.0 + shift * cell, behind=1.2, beside=0.8, above=0.8, below=0.8)
    near = Zone(level=1, low=(-0.3, -0.4, -0.4), high=(1.6, 0.4, 0.4))
    case = FlowCase(
        parts=(nacelle(),), speed=SPEED, cell=2 * cell, box=box, zones=(near,), road="none",
        layer=0, openings=(face("mouth", "inlet", 0.0, -1.0), face("exit", "outlet", 1.1, 1.0)),
    )  # fmt: skip
    return run(prepare(case), rule=StopRule(error=1e-9, settle=1.5, longest=2.5))


def on_axis(result: FlowResult, x: float) -> float:
    """Coefficient of total pressure in the outermost cell about a point of the axis."""
    case = result.prepared.case
    place = np.rint((np.array([x, 0.0, 0.0]) - np.array(result.prepared.origin)) / case.cell)
    i, j, k = place.astype(int)
    pressure = (result.mean.density[k, j, i] - 1.0) / 1.5 / case.lattice_speed**2
    speed = result.mean.velocity[:, k, j, i] / case.lattice_speed
    return float(pressure + (speed**2).sum())


@pytest.mark.parametrize(("taken", "shift"), [(0.3, 0.25), (0.6, 0.0), (0.6, 0.5), (1.0, 0.0)])
def test_air_ahead_of_a_mouth_loses_nothing_on_its_way_in(taken: float, shift: float) -> None:
    """Exact: Bernoulli, no friction on the way; 7 % of the head with 8 cells across the mouth.

    Half a metre ahead the box has 1.03 of the free stream's head, for the body blocks it.
    """
    result = swallowing(taken, shift)
    ahead, mouth = on_axis(result, -0.5), result.openings[0]
    assert ahead == pytest.approx(1.0, abs=0.04)
    assert mouth.total == pytest.approx(ahead, abs=0.07)
