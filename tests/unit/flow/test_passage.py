"""Openings, cores and fans over cells of several sizes: what goes in comes out, at every level."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.cooling import AirNet, Cooler, Core, Exit, Inlet, Surroundings
from tuftwork.errors import InputError
from tuftwork.flow import Box, FlowCase, FlowPart, NetTie, Opening, Porous, StopRule, prepare, run
from tuftwork.flow.lattice import VELOCITY, WEIGHT
from tuftwork.flow.nest import covered
from tuftwork.flow.nest_engine import NestedEngine, build_boxes
from tuftwork.flow.prepare import Prepared
from tuftwork.flow.result import FlowResult
from tuftwork.flow.zones import Zone
from tuftwork.shape import block

SPEED = 30.0
BRICK = block("brick", (0.0, -0.15, 0.15), (0.6, 0.15, 0.45))
BOX = Box(ahead=0.7, behind=1.0, beside=0.7, above=0.7)
NEAR = Zone(level=1, low=(-0.2, -0.35, 0.0), high=(0.9, 0.35, 0.65))
NOSE = Zone(level=1, low=(-0.15, -0.3, 0.0), high=(0.4, 0.3, 0.6))
LOW = Zone(level=1, low=(-0.15, -0.3, 0.0), high=(0.8, 0.3, 0.3))


def openings(flow: float, aside: float = 0.0) -> tuple[Opening, ...]:
    def one(name: str, kind: str, x: float, way: float) -> Opening:
        low, high = (x - 0.01, aside - 0.1, 0.2), (x + 0.01, aside + 0.1, 0.4)
        return Opening(name=name, part="brick", kind=kind, low=low, high=high,
                       facing=(way, 0.0, 0.0), mass_flow=flow)  # fmt: skip

    return one("mouth", "inlet", 0.0, -1.0), one("vent", "outlet", 0.6, 1.0)


def net(loss: float = 4.0) -> AirNet:
    core = Core(face_area=0.04, linear_loss=0.0, square_loss=loss * 0.5 * 1.1644,
                mass_velocity=(1.0, 10.0), conductance=(10.0, 100.0))  # fmt: skip
    return AirNet(elements=(
        Inlet(name="mouth", end="ahead", area=0.04),
        Cooler(name="core", start="ahead", end="behind", core=core),
        Exit(name="vent", start="behind", net_area=0.04, discharge=1.0),
    ))  # fmt: skip


def case(cell: float, *zones: Zone, aside: float = 0.0, flow: float = 0.3, **more) -> FlowCase:
    brick = FlowPart(
        name="brick", vertices=BRICK.vertices + np.array([0.0, aside, 0.0]), faces=BRICK.faces
    )
    wanted = {"parts": (brick,), "speed": SPEED, "cell": cell, "box": BOX, "zones": zones,
              "openings": openings(flow, aside)} | more  # fmt: skip
    return FlowCase(**wanted)


def passed(prepared: Prepared) -> dict[str, float]:
    """Mass through each opening by the links of the cells that answer for it. [kg/s]."""
    out = {o.name: 0.0 for o in prepared.case.openings}
    for box in (prepared, *prepared.boxes):
        walls, own = box.setup.walls, box.case
        table = walls.table()
        for number, surface in enumerate(walls.surfaces):
            if surface.is_opening:
                links = ((walls.surface_of == number) & (walls.cut > 0)).sum(axis=1)
                lattice = float((6 * WEIGHT[1:] * (VELOCITY[1:] @ table[number, 1:4])) @ links)
                out[surface.name] += abs(lattice) * own.density * own.cell**3 / own.step_time
    return out


@pytest.mark.parametrize("zone", [NEAR, NOSE, LOW], ids=["inside", "nose only", "lower half"])
def test_every_opening_passes_what_it_is_told_to_whichever_cells_have_it(zone: Zone) -> None:
    """Exact: the links of all boxes together let through 0.3 kg/s, in and out alike."""
    # half a cell aside no centre of a coarse cell lies on an edge of the openings
    prepared = prepare(case(0.1, zone) if zone is NEAR else case(0.05, zone, aside=0.025))
    through = passed(prepared)
    assert through["mouth"] == pytest.approx(0.3, rel=1e-6)
    assert through["vent"] == pytest.approx(through["mouth"], rel=1e-6)
    boxes = {p.opening.name: [q.box for q in p.pieces if q.cells.size] for p in prepared.passages}
    # read where cells lie away from its rim: none of the coarse ones in the lower half do
    wanted = {NEAR: ([1], [1]), NOSE: ([1], [0]), LOW: ([1], [1])}[zone]
    assert (boxes["mouth"], boxes["vent"]) == wanted
    # as drawn; across the edge between two levels slanted links are counted on one side only
    assert all(p.area * prepared.case.cell**2 == pytest.approx(0.04, rel=0.025)
               for p in prepared.passages)  # fmt: skip


def closed(nests: list) -> list:
    """Boxes without a sponge: what is in them stays, the faces' flows apart."""
    outer = replace(nests[0], setup=replace(nests[0].setup, sponge=None, stream=(0.0, 0.0, 0.0)))
    rest = [replace(n, setup=replace(n.setup, stream=(0.0, 0.0, 0.0))) for n in nests[1:]]
    return [outer, *rest]


def mass(engine: NestedEngine) -> float:
    """Mass of all air less its start, each cell by its size; in outermost cells."""
    total = 0.0
    for n, (nest, one) in enumerate(zip(engine.nests, engine.engines, strict=True)):
        own = nest.setup.mark != 1
        if nest.parent >= 0:
            inner = np.zeros_like(own)
            inner[2:-2, 2:-2, 2:-2] = True
            own = own & inner
        for child in engine.nests:
            if child.parent == n:
                own[covered(child)] = False
        total += float((one.moments().density - 1.0)[own].sum()) / nest.scale**3
    return total


def made_by_the_edge(pairs: int, backend: tuple[str, str]) -> float:
    """Change of the air's mass in a closed box over what passed the body."""
    prepared = prepare(case(0.1, NEAR, road="none", box=replace(BOX, below=0.7)))
    engine = NestedEngine(closed(list(prepared.nests)), *backend)
    engine.start_uniform()
    engine.advance(pairs)
    unit = prepared.case.density * prepared.case.cell**3 / prepared.case.step_time
    return mass(engine) / (2 * pairs * 0.3 / unit)


@pytest.mark.xfail(
    strict=True,
    reason="miss: 2.3 % of what passed in the first 80 steps, where a jet two coarse cells wide "
    "crosses the edge",
)
def test_air_that_goes_through_a_body_in_finer_cells_is_not_lost(backend: tuple[str, str]) -> None:
    """The edge of finer cells is no exact balance: what it makes is under 2 % of what passed."""
    assert abs(made_by_the_edge(40, backend)) < 0.02


def test_nor_is_it_lost_in_the_long_run() -> None:
    """The same after 400 steps."""
    assert abs(made_by_the_edge(200, ("cpu", "float64"))) < 0.02


def test_flows_that_change_on_the_way_change_in_every_box(backend: tuple[str, str]) -> None:
    from tuftwork.flow.passage import with_flux

    prepared = prepare(case(0.05, LOW))
    engine = build_boxes(prepared, *backend)
    engine.start_uniform()
    engine.advance(2)  # on a card the second pair is recorded
    flux = np.array([0.031, 0.047])
    for n, one in enumerate(engine.each):
        one.set_surfaces(with_flux(one.surface_table(), prepared.passages, n, flux))
    engine.advance(1)
    kept = engine.state()
    other = build_boxes(prepared, *backend)
    other.restore({name: np.array(value) for name, value in kept.items()})
    for passage, value in zip(prepared.passages, flux, strict=True):
        for piece in passage.pieces:
            row = other.each[piece.box].surface_table()[piece.surface, 1:4]
            assert np.linalg.norm(row) == pytest.approx(value, rel=1e-6)


def tied(cell: float, *zones: Zone, **more) -> FlowResult:
    tie = NetTie(net=net(), around=Surroundings(speed=SPEED))
    made = prepare(case(cell, *zones, flow=0.6, tie=tie, **more))
    return run(made, rule=StopRule(error=1e-9, settle=1.5, longest=6.0))


def test_finer_cells_round_a_body_agree_with_its_net_as_fine_cells_everywhere_do() -> None:
    """Mass flow within 3 %, pressures within 0.06 of q: the wake beyond has coarser cells.

    The even grid is laid so that its cells lie as the finer ones do: half a cell aside.
    """
    even = tied(0.05, aside=0.025, box=replace(BOX, ahead=0.725))
    finer = tied(0.1, NEAR)
    for one, two in zip(even.openings, finer.openings, strict=True):
        assert two.area == pytest.approx(one.area, rel=1e-6)
        assert two.mass_flow == pytest.approx(two.net_flow, rel=0.01)
        assert two.mass_flow == pytest.approx(one.mass_flow, rel=0.03)
        assert two.pressure == pytest.approx(one.pressure, abs=0.06)
        assert two.total == pytest.approx(one.total, abs=0.06)
    mouth, vent = finer.openings
    assert mouth.mass_flow == pytest.approx(vent.mass_flow, rel=1e-6)


def test_a_fan_in_finer_cells_blows_as_in_fine_cells_everywhere() -> None:
    """Mass flow of a free fan disc within 3 %, its force within 6 %, as for a core."""
    law = Porous(axis=(1.0, 0.0, 0.0), depth=0.1, rise=3000.0, square=1.5, has_fins=False)
    mesh = block("fan", (0.0, -0.15, 0.25), (0.1, 0.15, 0.55))
    near = Zone(level=1, low=(-0.1, -0.25, 0.0), high=(0.4, 0.25, 0.65))
    found = []
    for cell, zones, off, ahead in ((0.05, (), 0.025, 0.725), (0.1, (near,), 0.0, 0.7)):
        aside = mesh.vertices + np.array([0.0, off, 0.0])
        disc = FlowPart(name="fan", vertices=aside, faces=mesh.faces, porous=law)
        made = FlowCase(parts=(disc,), speed=SPEED, cell=cell, zones=zones,
                        box=replace(BOX, ahead=ahead))  # fmt: skip
        result = run(prepare(made), rule=StopRule(error=1e-9, settle=3.0, longest=6.0))
        found.append(result.cores[0])
    even, finer = found
    assert finer.mass_flow == pytest.approx(even.mass_flow, rel=0.03)
    assert finer.drop == pytest.approx(even.drop, rel=0.06)
    assert finer.drop < 0


def test_an_opening_that_no_cells_stand_for_is_refused_over_all_boxes() -> None:
    mouth, vent = openings(0.3)
    gone = replace(mouth, low=(0.2, -0.1, 0.2), high=(0.3, 0.1, 0.4))
    with pytest.raises(InputError, match="no open face"):
        prepare(case(0.1, NEAR, openings=(gone, vent)))
    fast = tuple(replace(o, mass_flow=9.0) for o in (mouth, vent))
    with pytest.raises(InputError, match="must not pass faster than 2 times the car"):
        prepare(case(0.1, NEAR, openings=fast))
