"""Openings of closed bodies: what goes in comes out, and agrees with the cooling net."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.flow import brick

from tuftwork.cooling import AirNet, Cooler, Core, Exit, Inlet, Surroundings
from tuftwork.cooling.single_duct import SingleDuct, single_duct_flow
from tuftwork.errors import InputError, NotConverged, UnknownName
from tuftwork.flow import (
    Box,
    FlowCase,
    FlowPart,
    NetTie,
    Opening,
    Prepared,
    StopRule,
    prepare,
    run,
)
from tuftwork.flow.engine import AbstractEngine, build_engine
from tuftwork.flow.lattice import VELOCITY, WEIGHT
from tuftwork.flow.setup import Setup, Surface
from tuftwork.flow.through import add_openings, face_row
from tuftwork.flow.wall_recipe import KEPT
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.shape import block

LOW, HIGH = (8.5, 6.5, 6.5), (16.5, 13.5, 13.5)
SHAPE = (30, 20, 20)


def open_body(flow: float, kinds: tuple[str, ...]) -> Setup:
    """A block in a periodic box that swallows at its nose and blows at its back."""
    body = Body(triangles=block("body", LOW, HIGH).triangles, surface=1)
    surfaces = [Surface(name="road"), Surface(name="body")]
    mark, links = wrap_bodies(SHAPE, [body], surfaces, skin=0.0)
    wanted = []
    for kind, x, way in (("inlet", LOW[0], -1.0), ("outlet", HIGH[0], 1.0)):
        if kind in kinds:
            low, high = (x - 0.2, 7.6, 7.6), (x + 0.2, 12.4, 12.4)
            wanted.append((
                Opening(name=kind, part="body", kind=kind, low=low, high=high,
                        facing=(way, 0.0, 0.0), mass_flow=0.0), 1,
            ))  # fmt: skip
    lx, ly, _ = SHAPE
    n = links.cell
    at = np.stack([n % lx, (n // lx) % ly, n // (lx * ly)])
    links, faces = add_openings(links, wanted, at - links.geometry[3] * links.geometry[:3], 1.0)
    row = {f.surface: face_row(f.opening, flow / f.area.sum()) for f in faces}
    opened = [replace(s, velocity=tuple(row[n])) if n in row else s
              for n, s in enumerate(links.surfaces)]  # fmt: skip
    links = replace(links, surfaces=tuple(opened))
    return Setup(shape=SHAPE, viscosity=0.02, mark=mark, walls=links)


def whole(engine: AbstractEngine) -> tuple[float, np.ndarray]:
    """Mass less its start, and momentum of all air."""
    air = engine.setup.mark != 1
    now = engine.moments()
    momentum = np.einsum("kji,akji->a", now.density * air, now.velocity)
    return float((now.density - 1.0)[air].sum()), momentum


def test_what_goes_in_comes_out_to_rounding(backend: tuple[str, str]) -> None:
    """Exact: mass stays; budget 1e-6 of what passed, in single precision rounding of the sum."""
    flow, pairs = 0.4, 100
    engine = build_engine(open_body(flow, ("inlet", "outlet")), *backend)
    engine.start_uniform()
    engine.advance(pairs)
    passed = 2 * pairs * flow
    bound = {"float64": 1e-6, "float32": 2e-3, "float16": 2e-2}[engine.precision]
    assert abs(whole(engine)[0]) < bound * passed


def test_an_inlet_alone_takes_what_it_is_told_to(backend: tuple[str, str]) -> None:
    """Exact: what the last step of a pair takes more, the next step takes less."""
    flow, pairs = 0.1, 50
    engine = build_engine(open_body(flow, ("inlet",)), *backend)
    engine.start_uniform()
    engine.advance(pairs)
    owed = given_back_next(engine)
    assert abs(owed) < 1e-3 * 2 * pairs * flow
    bound = {"float64": 1e-9, "float32": 2e-3, "float16": 2e-2}[engine.precision]
    assert whole(engine)[0] == pytest.approx(-2 * pairs * flow - owed, rel=bound)


def given_back_next(engine: AbstractEngine) -> float:
    """Mass that openings let out in the next step beside what they are told to."""
    walls = engine.setup.walls
    swing = engine.wall_rows()[KEPT + 1 : KEPT + 4]
    opens = np.array([s.is_opening for s in walls.surfaces])[walls.surface_of] & (walls.cut > 0)
    return float((6 * WEIGHT[1:, None] * (VELOCITY[1:] @ swing) * opens).sum())


def test_the_load_of_a_body_with_openings_is_what_the_air_loses() -> None:
    """Exact: the momentum of the air in a periodic box changes by the load, step for step."""
    engine = build_engine(open_body(0.4, ("inlet", "outlet")))
    engine.start_uniform()
    engine.advance(30)
    _, before = whole(engine)
    given = np.zeros(3)
    for _ in range(20):
        engine.advance(1)
        loads = engine.part_loads()
        np.testing.assert_array_equal(loads[2:], 0.0)  # openings count to their body
        given += 2 * loads[1, :3]
    _, after = whole(engine)
    np.testing.assert_allclose(before - after, given, atol=1e-9)


BRICK = block("brick", (0.0, -0.15, 0.15), (0.6, 0.15, 0.45))
BOX = Box(ahead=0.5, behind=0.7, beside=0.5, above=0.5)
SPEED, CORE_AREA = 30.0, 0.04


def through_a_brick(flow: float, *, y: float, z: float, wide: float, tall: float) -> Prepared:
    """A brick in cells of 25 mm that takes air in at its nose and gives it out behind, alike."""

    def face(kind: str, x: float, way: float) -> Opening:
        return Opening(name=kind, part="brick", kind=kind, low=(x - 0.01, y, z),
                       high=(x + 0.01, y + wide, z + tall), facing=(way, 0.0, 0.0),
                       mass_flow=flow)  # fmt: skip

    whole = brick.prepared_brick(cell=0.025)
    openings = (face("inlet", 0.0, -1.0), face("outlet", 0.5, 1.0))
    return prepare(replace(whole.case, openings=openings))


def beside_an_inlet(taken: float, lengths: float) -> tuple[float, np.ndarray, np.ndarray]:
    """Speed told, mean of an inlet's cells away from its rim and of the next ones, middle line.

    All over the stream's; the line leads out from the middle of the inlet.
    """
    flow = 1.225 * SPEED * taken * 0.2**2
    prepared = through_a_brick(flow, y=-0.1, z=0.25, wide=0.2, tall=0.2)
    setup, fast = prepared.setup, prepared.case.lattice_speed
    engine = build_engine(setup, "cpu", "float32")
    engine.start_uniform()
    engine.advance(round(lengths * 0.5 / prepared.case.cell / fast / 2))
    (lx, ly, _), n = setup.shape, setup.walls.cell
    y = prepared.origin[1] + prepared.case.cell * (n // lx % ly)
    z = prepared.origin[2] + prepared.case.cell * (n // (lx * ly))
    beside = (setup.walls.geometry[0] < -0.7) & (abs(y) < 0.07) & (z > 0.28) & (z < 0.42)
    along = engine.moments().velocity[0].reshape(-1) / fast
    middle = n[beside][np.argmin(abs(y[beside] - 0.01) + abs(z[beside] - 0.35))]
    told = flow / (1.225 * SPEED * prepared.passages[0].area * prepared.case.cell**2)
    mean = np.array([along[n[beside] - k].mean() for k in (0, 1)])
    return told, mean, along[middle - np.arange(6)]


@pytest.mark.parametrize("taken", [0.3, 0.8, 1.4])
def test_air_beside_an_inlet_is_as_fast_as_what_is_taken_in(taken: float) -> None:
    """Exact: as much mass goes in as is told; the speed leads one way from there to the next cells.

    Momentum that turns round from step to step grew without end: 1.5 times what is taken after
    four lengths, then waves from cell to cell. So nor does the speed change back and forth.
    """
    told, (cell, beyond), line = beside_an_inlet(taken, 4.0)
    assert min(told, beyond) - 0.01 < cell < max(told, beyond) + 0.01
    step = np.diff(line) * np.sign(1.0 - taken)
    assert step.min() > -0.02


def test_air_beside_an_inlet_does_not_run_away_in_a_long_run() -> None:
    """Steady to a hundredth from four lengths to ten, where it had broken up after eight."""
    (_, one, early), (_, two, late) = beside_an_inlet(0.8, 4.0), beside_an_inlet(0.8, 10.0)
    np.testing.assert_allclose(two, one, atol=0.01)
    np.testing.assert_allclose(late, early, atol=0.02)


@pytest.mark.parametrize("place", [0.0, 0.2, 0.5, 0.7])
@pytest.mark.parametrize(("wide", "tall"), [(0.2, 0.2), (0.23, 0.16)])
def test_an_opening_lets_air_through_the_area_that_is_drawn(
    place: float, wide: float, tall: float
) -> None:
    """Exact where its sides are whole cells; else within half a cell's width along them."""
    cell = 0.025
    y, z = -wide / 2 + place * cell, 0.27 + 0.3 * place * cell
    prepared = through_a_brick(0.3, y=y, z=z, wide=wide, tall=tall)
    off = 0.0 if wide == tall else (wide + tall) * cell / 2
    for passage in prepared.passages:
        assert passage.area * cell**2 == pytest.approx(wide * tall, abs=off + 1e-9)


def openings(flow: float) -> tuple[Opening, ...]:
    return (
        Opening(name="mouth", part="brick", kind="inlet", low=(-0.01, -0.1, 0.2),
                high=(0.01, 0.1, 0.4), facing=(-1.0, 0.0, 0.0), mass_flow=flow),
        Opening(name="vent", part="brick", kind="outlet", low=(0.59, -0.1, 0.2),
                high=(0.61, 0.1, 0.4), facing=(1.0, 0.0, 0.0), mass_flow=flow),
    )  # fmt: skip


def net(loss: float = 4.0) -> AirNet:
    square = loss * 0.5 * 1.1644
    core = Core(face_area=CORE_AREA, linear_loss=0.0, square_loss=square,
                mass_velocity=(1.0, 10.0), conductance=(10.0, 100.0))  # fmt: skip
    return AirNet(elements=(
        Inlet(name="mouth", end="ahead", area=0.04),
        Cooler(name="core", start="ahead", end="behind", core=core),
        Exit(name="vent", start="behind", net_area=0.04, discharge=1.0),
    ))  # fmt: skip


def case(**more: object) -> FlowCase:
    part = FlowPart(name="brick", vertices=BRICK.vertices, faces=BRICK.faces)
    wanted = {
        "parts": (part,), "speed": SPEED, "cell": 0.05, "box": BOX, "openings": openings(0.3),
        "tie": NetTie(net=net(), around=Surroundings(speed=SPEED)),
    } | more  # fmt: skip
    return FlowCase(**wanted)


def test_flow_and_net_come_to_agree_at_the_closed_form() -> None:
    """u/V = √[(η − Cp_e)/(K + (A_c/A_e)²)] at the pressures of the flow; 1 % is what is asked."""
    found = run(prepare(case()), rule=StopRule(error=1e-9, settle=2.0, longest=6.0))
    mouth, vent = found.openings
    assert mouth.mass_flow == pytest.approx(vent.mass_flow, rel=1e-6)
    assert mouth.mass_flow == pytest.approx(mouth.net_flow, rel=0.01)
    rho = float(Surroundings(speed=SPEED).density)
    closed = single_duct_flow(
        SingleDuct(speed=SPEED, density=rho, recovery=min(mouth.total, 1.02),
                   exit_pressure=vent.pressure, core_loss=4.0 * rho / 1.1644,
                   core_area=CORE_AREA, exit_area=0.04)
    )  # fmt: skip
    # the pressures are means over the run, the net was asked at those of a window
    assert mouth.mass_flow == pytest.approx(closed.mass_flow, rel=0.04)
    assert mouth.area == pytest.approx(0.04, rel=1e-6)
    assert 0.6 < mouth.total < 1.3
    assert vent.pressure < mouth.pressure


@pytest.mark.parametrize("name", ["mouth", "vent"])
def test_what_passes_an_opening_hands_over_its_momentum(name: str) -> None:
    """Exact: ṁ²/ρA into the body at either, beside the pressure on its pieces of surface."""
    prepared = prepare(case(tie=None))
    engine, walls = build_engine(prepared.setup), prepared.setup.walls
    engine.start_uniform()
    engine.advance(40)
    number = next(n for n, s in enumerate(walls.surfaces) if s.name == name)
    mine, rows = walls.main == number, engine.wall_rows()
    pushed = (rows[:3] + rows[3] / 3 * walls.facing)[:, mine].sum(axis=1)
    area = next(p.area for p in prepared.passages if p.opening.name == name)
    flow = 0.3 * prepared.case.step_time / (prepared.case.density * prepared.case.cell**3)
    way = 1.0 if name == "mouth" else -1.0
    np.testing.assert_allclose(pushed, [way * flow**2 / area, 0.0, 0.0], rtol=0.02, atol=1e-6)


def test_a_run_that_goes_on_remembers_its_flows_and_disagreement_is_an_error() -> None:
    with pytest.raises(NotConverged, match=r"do not agree to 1 % .* never asked"):
        run(prepare(case()), rule=StopRule(error=1e-9, settle=0.1, longest=1.2))


def test_openings_that_cannot_be_meant_are_refused() -> None:
    one, two = openings(0.3)
    for more, text in (
        ({"openings": (one,)}, "must equal what goes out"),
        ({"openings": (one, replace(one, kind="outlet"))}, "stands twice"),
        ({"openings": (replace(one, mass_flow=9.0), replace(two, mass_flow=9.0)), "tie": None},
         "must not pass faster than 2 times the car"),
        ({"openings": (replace(one, low=(0.2, -0.1, 0.2), high=(0.3, 0.1, 0.4)), two)},
         "no open face"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=text):
            prepare(case(**more))
    with pytest.raises(UnknownName, match="part"):
        case(openings=(replace(one, part="brik"), two))
    with pytest.raises(UnknownName, match="part"):
        case(openings=(replace(one, name="mooth"), two))
