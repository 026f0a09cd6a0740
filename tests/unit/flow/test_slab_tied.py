"""Openings tied to the cooling net, and a core, in finer boxes that cards share out."""

from collections.abc import Sequence

import numpy as np
import pytest
from tests.unit.flow.brick import Memory

from crew_here import ThreadCrew
from tuftwork.cooling import AirNet, Cooler, Core, Exit, Inlet, Surroundings
from tuftwork.errors import NotConverged
from tuftwork.flow import (
    Box,
    FlowCase,
    FlowPart,
    NetTie,
    Opening,
    Porous,
    StopRule,
    prepare,
    run,
    slab_nest_engine,
)
from tuftwork.flow.slab_nest import Stack
from tuftwork.flow.zones import Zone
from tuftwork.shape import block

SPEED = 30.0


def body_with_openings() -> FlowCase:
    """Mouth, vent and core cross the upper face of the finer box."""
    brick = block("brick", (0.0, -0.15, 0.15), (0.4, 0.15, 0.45))
    screen = block("screen", (0.55, -0.15, 0.15), (0.65, 0.15, 0.4))
    parts = (
        FlowPart(name="brick", vertices=brick.vertices, faces=brick.faces),
        FlowPart(name="screen", vertices=screen.vertices, faces=screen.faces,
                 porous=Porous(axis=(1.0, 0.0, 0.0), depth=0.1, square=2.0)),
    )  # fmt: skip
    openings = tuple(
        Opening(name=name, part="brick", kind=kind, low=(x - 0.01, -0.1, 0.2),
                high=(x + 0.01, 0.1, 0.4), facing=(way, 0.0, 0.0), mass_flow=0.3)
        for name, kind, x, way in (("mouth", "inlet", 0.0, -1.0), ("vent", "outlet", 0.4, 1.0))
    )  # fmt: skip
    core = Core(face_area=0.04, linear_loss=0.0, square_loss=2.3,
                mass_velocity=(1.0, 10.0), conductance=(10.0, 100.0))  # fmt: skip
    net = AirNet(elements=(
        Inlet(name="mouth", end="ahead", area=0.04),
        Cooler(name="core", start="ahead", end="behind", core=core),
        Exit(name="vent", start="behind", net_area=0.04, discharge=1.0),
    ))  # fmt: skip
    return FlowCase(
        parts=parts, speed=SPEED, cell=0.05, openings=openings,
        tie=NetTie(net=net, around=Surroundings(speed=SPEED)),
        zones=(Zone(level=1, low=(-0.1, -0.25, 0.0), high=(0.75, 0.25, 0.3)),),
        box=Box(ahead=0.4, behind=0.5, beside=0.4, above=0.4),
    )  # fmt: skip


def test_openings_and_a_core_answer_as_on_one_card(monkeypatch: pytest.MonkeyPatch) -> None:
    def crew(stacks: Sequence[Stack], precision: str) -> ThreadCrew:
        return ThreadCrew(stacks, "cpu")

    monkeypatch.setattr(slab_nest_engine, "crew_on_cards", crew)
    prepared = prepare(body_with_openings())
    # the net has been asked by then, but flow and net are still on their way to each other
    rule = StopRule(error=1e-9, settle=0.1, longest=1.6)
    shelves = Memory(), Memory()
    said = []
    for more, shelf in zip(
        ({"precision": "float64"}, {"backend": "cuda", "cards": 2}), shelves, strict=True
    ):
        with pytest.raises(NotConverged, match="they differ by") as caught:
            run(prepared, rule=rule, checkpoint=shelf, **more)
        said.append(str(caught.value))
    assert said[0] == said[1]
    series = [shelf.saved["series"] for shelf in shelves]
    np.testing.assert_allclose(series[1], series[0], rtol=0, atol=1e-9)
    assert np.abs(series[0][:, 2]).max() > 0  # the core resists
    tables = [shelf.saved["box1_surface"] for shelf in shelves]
    np.testing.assert_allclose(tables[1], tables[0], rtol=0, atol=1e-12)
    assert np.abs(tables[0] - prepared.nests[1].setup.walls.table()).max() > 1e-4
