"""Porous cores and fans in the cells, hollow corners, and signs of a finite but wrong flow."""

from dataclasses import replace

import numpy as np
import pytest

from tuftwork.cooling import Core as CoolerCore
from tuftwork.cooling import Fan
from tuftwork.errors import InputError
from tuftwork.flow import (
    Box,
    FlowCase,
    FlowPart,
    Porous,
    StopRule,
    bands,
    cooler_core,
    fan_disc,
    prepare,
    run,
    slab_of,
)
from tuftwork.flow.core_flow import fan_doubts
from tuftwork.flow.corner import hold_corners, hollow_cells
from tuftwork.flow.doubt import Watch, extremes, jump_between_halves, looked_at
from tuftwork.flow.engine import build_engine
from tuftwork.flow.porous import add_cores, filled
from tuftwork.flow.setup import Core, Setup, Surface, no_walls, plain_box
from tuftwork.flow.walls import Body, wrap_bodies
from tuftwork.flow.zones import Zone
from tuftwork.shape import block


def test_cells_of_a_core_resist_alike_on_every_back_end(backend: tuple[str, str]) -> None:
    """Exact in one dimension: a leaning core and a fan on a ring take up what drives the air."""
    shape = (32, 1, 1)
    links = replace(no_walls(), surfaces=(Surface(name="road"), Surface(name="core")))
    core = Core(name="core", surface=1, axis=(1.0, 0.0, 0.0), linear=0.01, square=0.5)
    slab = block("core", (10.3, -0.5, -0.5), (16.9, 0.5, 0.5)).triangles
    mark, links, _ = add_cores(plain_box(shape), links, [(core, slab)])
    setup = Setup(shape=shape, viscosity=1e-2, mark=mark, walls=links, force=(4e-5, 0.0, 0.0))
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(3000)
    bound = {"float64": 1e-6, "float32": 2e-3, "float16": 5e-2}[engine.precision]
    assert engine.part_loads()[1, 0] == pytest.approx(32 * 4e-5, rel=bound)
    speed = engine.moments().velocity[0].mean()
    exact = (-0.01 + np.sqrt(1e-4 + 4 * 0.5 * 32 * 4e-5 / 6.6)) / (2 * 0.5)
    assert speed == pytest.approx(exact, rel=max(5e-3, bound))


def test_a_core_lets_nothing_pass_across_its_fins() -> None:
    shape = (24, 24, 1)
    links = replace(no_walls(), surfaces=(Surface(name="road"), Surface(name="core")))
    core = Core(name="core", surface=1, axis=(1.0, 0.0, 0.0), linear=0.02)
    slab = block("core", (9.0, -0.5, -0.5), (13.0, 23.5, 0.5)).triangles
    mark, links, _ = add_cores(plain_box(shape), links, [(core, slab)])
    engine = build_engine(Setup(shape=shape, viscosity=0.01, mark=mark, walls=links,
                                force=(1e-5, 0.0, 0.0)))  # fmt: skip
    velocity = np.zeros((3, 1, 24, 24))
    velocity[0], velocity[1] = 0.05, 0.05
    engine.start(np.ones((1, 24, 24)), velocity)
    engine.advance(60)
    across = np.abs(engine.moments().velocity[1, 0, 12])
    assert across[11:13].max() < 1e-3
    assert across[20] > 0.01


@pytest.mark.parametrize("start", [8.0, 8.3, 8.77])
def test_a_thin_core_keeps_its_depth_wherever_the_grid_lies(start: float) -> None:
    slab = block("core", (start, 2.0, 2.0), (start + 1.3, 9.0, 9.0)).triangles
    _, share = filled(slab, np.array([1.0, 0.0, 0.0]), (20, 12, 12))
    assert share.sum() == pytest.approx(1.3 * 7 * 7, rel=1e-6)


def test_axis_depth_and_face_of_a_slab_are_read_off_its_surface() -> None:
    slab = block("core", (0.0, -0.3, 0.1), (0.05, 0.3, 0.5))
    turn = np.array([[0.8, 0.0, 0.6], [0.0, 1.0, 0.0], [-0.6, 0.0, 0.8]])
    axis, depth, area = slab_of(slab.triangles @ turn.T)
    np.testing.assert_allclose(axis, turn @ [1.0, 0.0, 0.0], atol=1e-12)
    assert depth == pytest.approx(0.05)
    assert area == pytest.approx(0.24)


def test_the_law_of_a_cooler_and_of_a_fan_is_that_of_the_cooling_room() -> None:
    """The drop at a mass flow is kept whatever face was drawn; a fan's curve holds for its disc."""
    core = CoolerCore(face_area=0.2, linear_loss=20.0, square_loss=15.0, mass_velocity=(1.0, 9.0),
                      conductance=(50.0, 200.0), blanked=0.25)  # fmt: skip
    rho, nu = 1.2, 1.5e-5
    law = cooler_core(core, axis=(1, 0, 0), depth=0.05, face_area=0.24, density=rho, viscosity=nu)
    flow = 0.9
    through_open = flow / (rho * 0.15)
    assert law.drop(flow / (rho * 0.24)) == pytest.approx(
        float(core.loss(through_open, rho, rho * nu)), rel=1e-9
    )
    fan = Fan(name="fan", start="a", end="b", volume_flow=(0.0, 0.2, 0.4), rise=(200.0, 150.0, 0.0))
    disc = fan_disc(fan, axis=(1, 0, 0), depth=0.03, area=0.1, density=1.2)
    p0, p1, p2 = fan.fit()
    assert disc.drop(2.0) == pytest.approx(-(p0 - p1 * 0.2 - p2 * 0.04))
    with pytest.raises(InputError, match="needs a loss beside it"):
        Porous(axis=(1, 0, 0), depth=0.1, rise=10.0)
    with pytest.raises(InputError, match="depth"):
        Porous(axis=(1, 0, 0), depth=0.0)


SPEED, LOSS = 30.0, 12.0
DUCT = [
    block("roof", (0.0, -0.25, 0.45), (0.6, 0.25, 0.55)),
    block("floor", (0.0, -0.25, 0.15), (0.6, 0.25, 0.25)),
    block("left", (0.0, -0.25, 0.25), (0.6, -0.15, 0.45)),
    block("right", (0.0, 0.15, 0.25), (0.6, 0.25, 0.45)),
]
CORE = block("radiator", (0.25, -0.15, 0.25), (0.33, 0.15, 0.45))


def part(mesh, **more) -> FlowPart:
    return FlowPart(name=mesh.name, vertices=mesh.vertices, faces=mesh.faces, **more)


def ducted(**more) -> FlowCase:
    law = Porous(axis=(1.0, 0.0, 0.0), depth=0.08, square=0.5 * LOSS * 1.225)
    box = Box(ahead=0.5, behind=0.7, beside=0.6, above=0.6)
    wanted = {"parts": (*(part(m) for m in DUCT), part(CORE, porous=law)), "speed": SPEED,
              "cell": 0.04, "box": box} | more  # fmt: skip
    return FlowCase(**wanted)


def test_a_ducted_core_of_a_case_tells_its_flow_its_drop_and_its_load() -> None:
    found = run(prepare(ducted()), rule=StopRule(error=1e-9, settle=1.0, longest=2.0))
    (core,) = found.cores
    assert core.name == "radiator"
    assert not core.is_fan
    assert core.area == pytest.approx(0.06, rel=0.01)
    assert core.mass_flow == pytest.approx(1.225 * core.speed * core.area, rel=0.02)
    # the drop is that of the squares; an uneven speed adds its variance
    assert core.drop == pytest.approx(core.law_drop * (1 + core.unevenness**2), rel=0.02)
    # friction of a duct five cells high lies between the two places too
    assert core.drop < core.pressure_drop < 1.3 * core.drop
    # ram: u/V = √((1 − Cp_e)/(K + 1)), a thick frame has a base pressure of −0.7 at the lowest
    assert 0.15 < core.speed / SPEED < 1.3 / np.sqrt(LOSS + 1)
    load = next(p for p in found.parts if p.name == "radiator")
    q = 0.5 * 1.225 * SPEED**2
    assert load.drag_area == pytest.approx(core.drop * core.area / q, rel=1e-3)
    _, drag, _ = bands(found, width=0.1)
    assert drag[4].sum() == pytest.approx(load.drag_area, rel=1e-9)


def test_cores_that_cannot_be_meant_are_refused() -> None:
    sunk = part(block("core", (0.1, -0.05, 0.47), (0.2, 0.05, 0.53)),
                porous=Porous(axis=(1, 0, 0), depth=0.1, square=5.0))  # fmt: skip
    with pytest.raises(InputError, match="must fill at least 1 cell of air"):
        prepare(ducted(parts=(*(part(m) for m in DUCT), sunk)))
    with pytest.raises(InputError, match="must be a closed part"):
        ducted(parts=(replace(sunk, is_closed=False),))
    thin = part(block("thin", (0.3, -0.2, 0.2), (0.31, 0.2, 0.5)),
                porous=Porous(axis=(1, 0, 0), depth=0.01, square=5.0))  # fmt: skip
    said = prepare(ducted(parts=(*(part(m) for m in DUCT), thin))).notices
    assert any("cells deep" in n for n in said)
    assert any("lies inside other parts" in n for n in said)


SURFACES = [Surface(name="road", has_wall_law=True), Surface(name="walls", has_wall_law=True)]


def room() -> tuple[np.ndarray, object]:
    """A closed room with wedges: two slabs that lean on one another over a floor."""
    size = 24
    floor = block("floor", (-9.0, -9.0, -9.0), (40.0, 9.0, 3.4)).triangles
    turn = np.array([[np.cos(0.35), 0, -np.sin(0.35)], [0, 1, 0], [np.sin(0.35), 0, np.cos(0.35)]])
    roof = block("roof", (-40.0, -9.0, 0.0), (60.0, 9.0, 60.0)).triangles @ turn.T
    bodies = [Body(triangles=floor, surface=1),
              Body(triangles=roof + np.array([3.3, 0.0, 4.1]), surface=1),
              Body(triangles=block("end", (20.5, -9.0, -9.0), (40.0, 9.0, 60.0)).triangles,
                   surface=1)]  # fmt: skip
    return wrap_bodies((size, 1, size), bodies, SURFACES, skin=0.0)


def test_slip_in_a_wedge_makes_air_and_holding_it_does_not() -> None:
    """Mass in a closed room stays; the interpolation along slopes loses a little."""

    def change(links) -> float:
        mark = room()[0]
        air = mark != 1
        engine = build_engine(Setup(shape=(24, 1, 24), viscosity=1e-5, mark=mark, walls=links))
        velocity = np.zeros((3, *mark.shape))
        velocity[0] = -0.05 * air
        engine.start(np.ones(mark.shape), velocity)
        engine.advance(40)
        return abs(float((engine.moments().density[air] - 1.0).mean()))

    _, links = room()
    held, count = hold_corners(links)
    assert count > 3
    assert change(held) < 0.5 * change(links)


def test_flat_and_bulging_walls_have_no_hollow_cells() -> None:
    import trimesh

    ball = trimesh.creation.icosphere(3, radius=5.3)
    body = Body(triangles=np.array(ball.triangles) + 9.4, surface=1)
    _, links = wrap_bodies((20, 20, 20), [body], SURFACES, skin=0.0)
    assert not hollow_cells(links).any()
    assert hold_corners(links)[1] == 0
    for surface, kept in zip(hold_corners(links)[0].surfaces, SURFACES, strict=True):
        assert surface == kept


def test_extremes_name_the_cell_where_it_is_worst() -> None:
    shape = (12, 10, 14)
    rows = np.zeros((4, *shape))
    rows[0], rows[1] = 1.0, 0.1
    air = np.ones(shape, bool)
    air[:, :, 0] = False
    still = air.copy()
    still[:4] = False
    rows[1, 5, 4, 7], rows[0, 6, 6, 6], rows[0, 2, 2, 2] = 0.35, 1.3, 0.7
    rows[1, :, :, 0] = 9.0  # not looked at
    seen = extremes(np, rows, air, still, 0.1)
    cell = int(np.ravel_multi_index((5, 4, 7), shape))
    assert seen.speed == (pytest.approx(3.5), cell)
    assert seen.total[1] == int(np.ravel_multi_index((6, 6, 6), shape))
    assert seen.dense == (pytest.approx(1.3), int(np.ravel_multi_index((6, 6, 6), shape)))
    assert seen.thin == (pytest.approx(0.7), int(np.ravel_multi_index((2, 2, 2), shape)))
    smooth = rows.copy()
    smooth[0] = 1.0 + 0.02 * np.sin(np.arange(14) / 4.0)
    assert extremes(np, smooth, air, still, 0.1).ripple[0] < 0.05
    rippled = rows.copy()
    rippled[0] = 1.0 + 0.003 * (-1.0) ** np.arange(14)
    found = extremes(np, rippled, air, still, 0.1)
    # from cell to cell ±0.003 of density is ±0.001 of pressure: 0.2 of the dynamic pressure
    assert found.ripple[0] == pytest.approx(0.2, rel=1e-6)
    rows[0, 3, 3, 3] = np.nan
    assert not np.isfinite(extremes(np, rows, air, still, 0.1).dense[0])


def test_a_watch_tells_what_is_wrong_where_and_since_when() -> None:
    prepared = prepare(ducted())
    looked = looked_at(prepared)
    lz, ly, lx = prepared.setup.mark.shape
    rows = np.ones((4, lz, ly, lx))
    rows[1:] = np.array([0.1, 0.0, 0.0])[:, None, None, None]
    watch = Watch(prepared=prepared, found={})
    watch.look(extremes(np, rows, looked.air, looked.still, 0.1), 0.4)
    assert watch.told() == ()
    x, y, z = np.round((np.array([0.3, 0.0, 0.6]) - prepared.origin) / 0.04).astype(int)
    rows[1, z, y, x] = 0.5
    watch.look(extremes(np, rows, looked.air, looked.still, 0.1), 0.9)
    rows[1, z, y, x] = 0.42
    watch.look(extremes(np, rows, looked.air, looked.still, 0.1), 1.2)
    found = {d.kind: d for d in watch.told()}
    assert set(found) == {"speed", "total"}
    speed = found["speed"]
    assert speed.value == pytest.approx(5.0)
    assert speed.seen == 2
    assert speed.part == "'roof'"
    np.testing.assert_allclose(speed.at, (0.3, 0.0, 0.6), atol=0.03)
    assert "the air reaches 5.0 times the free stream at x 0.3" in speed.text
    assert "near 'roof' (first after 0.9 lengths, seen 2 times)" in speed.text
    rows[0] *= 1.02
    watch.look(extremes(np, rows, looked.air, looked.still, 0.1), 1.5)
    assert "changed by +2.0 % of its mass" in {d.kind: d for d in watch.told()}["mass"].text


def test_a_load_that_jumps_between_the_halves_is_doubted_and_noise_is_not() -> None:
    rng = np.random.default_rng(3)
    noise = 0.02 * rng.standard_normal(400)
    drag = 1.0 + noise
    assert jump_between_halves([("drag", drag)], 9.0) is None
    jumped = drag + 0.2 * (np.arange(400) > 200)
    doubt = jump_between_halves([("the downforce area", jumped), ("the drag area", drag)], 9.0)
    assert doubt is not None
    assert "the downforce area is 0.198 m²" in doubt.text
    assert "higher in the second half" in doubt.text


def test_a_run_in_a_wrong_state_says_so_in_its_notices(monkeypatch: pytest.MonkeyPatch) -> None:
    from tuftwork.flow import doubt

    monkeypatch.setattr(doubt, "FASTEST", 1.1)
    brick = part(block("brick", (0.0, -0.15, 0.15), (0.5, 0.15, 0.40)))
    case = FlowCase(parts=(brick,), speed=30.0, cell=0.05,
                    box=Box(ahead=0.5, behind=0.8, beside=0.5, above=0.6))  # fmt: skip
    told = []

    def watch(progress) -> bool:
        told.append(progress.doubts)
        return True

    found = run(prepare(case), rule=StopRule(error=1e-9, settle=0.5, longest=1.6), watch=watch)
    speed = next(d for d in found.doubts if d.kind == "speed")
    assert speed.text in found.notices
    assert speed.part == "'brick'"
    assert any(d.kind == "speed" for d in told[-1])


def test_a_fan_pushed_beyond_its_curve_is_told_and_one_on_it_is_not() -> None:
    """Free flow by hand: 2 v + 0.8 v² = 100 Pa at 10 m/s, 0.6 m³/s through 0.06 m²."""
    law = Porous(axis=(1, 0, 0), depth=0.08, rise=100.0, linear=2.0, square=0.8, has_fins=False)
    box = Box(ahead=0.4, behind=0.5, beside=0.3, above=0.3)
    case = FlowCase(parts=(part(CORE, porous=law),), speed=30.0, cell=0.04, box=box)
    found = run(prepare(case), rule=StopRule(error=1e-9, settle=0.5, longest=3.0))
    (fan,) = found.cores
    (doubt,) = (d for d in found.doubts if d.kind == "fan")
    assert doubt.text in found.notices
    assert doubt.part == "'radiator'"
    assert doubt.value == pytest.approx(fan.speed / 10.0)
    assert doubt.value > 1.3
    assert f"{doubt.value:.1f} times its free flow of 0.6\u202fm³/s" in doubt.text
    for speed in (0.0, 5.0, 10.0):
        assert fan_doubts([replace(fan, speed=speed)], case.parts, 1.0) == ()
    (against,) = fan_doubts([replace(fan, speed=-2.0)], case.parts, 1.0)
    assert "0.12\u202fm³/s pass it backwards" in against.text


def test_a_core_that_leaves_its_box_of_finer_cells_is_one_core() -> None:
    """What passes it, and its load, are those with cells of one size, to a few percent."""
    law = Porous(axis=(1.0, 0.0, 0.0), depth=0.1, square=1.225)
    core = part(block("core", (0.0, -0.15, 0.25), (0.1, 0.15, 0.55)), porous=law)
    box = Box(ahead=0.5, behind=0.7, beside=0.5, above=0.5)
    zone = Zone(level=1, low=(-0.15, -0.3, 0.0), high=(0.3, 0.3, 0.4))
    found = []
    for zones in ((), (zone,)):
        case = FlowCase(parts=(core,), speed=30.0, cell=0.05, box=box, zones=zones)
        found.append(run(prepare(case), rule=StopRule(error=1e-9, settle=3.0, longest=6.0)))
    (alike,), (split,) = (result.cores for result in found)
    assert split.area == pytest.approx(0.09, rel=1e-6)
    assert split.mass_flow == pytest.approx(alike.mass_flow, rel=0.03)
    assert split.drop == pytest.approx(alike.drop, rel=0.06)
    q = 0.5 * 1.225 * 30.0**2
    assert found[1].parts[0].drag_area == pytest.approx(split.drop * 0.09 / q, rel=1e-3)
