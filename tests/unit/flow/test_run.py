"""From a case to a result: refusals, run, stop, save, resume, outputs."""

import io
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from tuftwork.errors import Cancelled, FileFault, InputError, NotConverged
from tuftwork.files.flow_state import FlowStateFile
from tuftwork.flow import (
    Box,
    FlowCase,
    FlowPart,
    Prepared,
    Spin,
    StopRule,
    bands,
    car_parts,
    dataset,
    estimate_cost,
    fields,
    glb_bytes,
    prepare,
    run,
    vortex_strength,
    vti_bytes,
    vtp_bytes,
)
from tuftwork.flow.engine import CpuEngine
from tuftwork.flow.result import FlowResult
from tuftwork.shape import block, drum, generic_car

BRICK = block("brick", (0.0, -0.15, 0.15), (0.5, 0.15, 0.40))
WHEEL = drum("wheel", (0.25, 0.45, 0.14), 0.15, 0.12)
RULE = StopRule(error=1e-9, settle=1.0, longest=4.0)


def part(mesh, **more) -> FlowPart:
    return FlowPart(name=mesh.name, vertices=mesh.vertices, faces=mesh.faces, **more)


def small_case(**more) -> FlowCase:
    box = Box(ahead=0.5, behind=0.8, beside=0.5, above=0.6)
    wanted = {"parts": (part(BRICK),), "speed": 30.0, "cell": 0.05, "box": box} | more
    return FlowCase(**wanted)


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(small_case(parts=(part(BRICK), *car_parts([WHEEL], speed=30.0))))


@pytest.fixture(scope="module")
def result(prepared: Prepared) -> FlowResult:
    return run(prepared, rule=RULE)


def test_preparation_tells_size_blockage_and_cost(prepared: Prepared) -> None:
    assert prepared.frontal_area == pytest.approx(0.3 * 0.25 + 0.12 * 0.29, rel=0.12)
    assert prepared.blockage < 0.15
    assert prepared.gap_cells is not None
    one, two = (estimate_cost(prepared, lengths=n) for n in (1.0, 2.0))
    steps = [cost.seconds - cost.watching for cost in (one, two)]  # one look is the run's last
    assert steps[1] == pytest.approx(2 * steps[0])
    assert one.memory > 27 * 4 * prepared.setup.n_cell
    assert (
        estimate_cost(prepared, lengths=1, backend="cuda", precision="float16").memory < one.memory
    )


def test_result_names_what_made_it_and_says_when_the_error_was_not_reached(
    result: FlowResult,
) -> None:
    assert result.made_with["backend"] == "cpu"
    assert result.made_with["precision"] == "float32"
    assert not result.reached
    assert any("not reached" in n for n in result.notices)
    assert any("not as truth" in n for n in result.notices)


def test_a_brick_is_pushed_back_and_parts_and_bands_add_up(result: FlowResult) -> None:
    assert result.drag_area.mean / result.prepared.frontal_area > 0.3
    total = sum(p.drag_area for p in result.parts)
    assert total == pytest.approx(result.drag_area.mean, rel=0.05)
    _, drag, down = bands(result, width=0.1)
    np.testing.assert_allclose(drag.sum(axis=1), [p.drag_area for p in result.parts], rtol=1e-9)
    np.testing.assert_allclose(
        down.sum(axis=1), [p.downforce_area for p in result.parts], atol=1e-12
    )


def test_a_brick_drags_less_than_twice_its_frontal_area(result: FlowResult) -> None:
    assert result.drag_area.mean / result.prepared.frontal_area < 2.0


def test_pressure_is_highest_at_the_face_and_the_wake_has_lost_total_pressure(
    result: FlowResult,
) -> None:
    found = fields(result)
    cp = found["pressure_coefficient"]
    i, j, k = np.round((np.array([-0.05, 0.0, 0.27]) - result.prepared.origin) / 0.05).astype(int)
    assert 0.6 < cp[k, j, i] < 1.2
    i, j, k = np.round((np.array([0.8, 0.0, 0.27]) - result.prepared.origin) / 0.05).astype(int)
    assert found["total_pressure_loss"][k, j, i] > 0.3
    assert np.isfinite(vortex_strength(result)).all()


def test_the_stream_ahead_has_nearly_all_of_its_total_pressure(result: FlowResult) -> None:
    # a young flow in a small box still carries its starting pressure waves
    found = fields(result)
    _, j, k = np.round((np.array([0.8, 0.0, 0.27]) - result.prepared.origin) / 0.05).astype(int)
    assert abs(found["total_pressure_loss"][k, j, 2]) < 0.3


def test_a_brick_that_is_alike_left_and_right_is_not_pushed_aside() -> None:
    # its sides lie on the centres of cells
    alone = run(prepare(small_case()), rule=StopRule(error=1e-9, settle=0.5, longest=1.5))
    assert abs(alone.side_area.mean) < 5e-3 * alone.drag_area.mean


def test_open_forms_can_be_read_back(result: FlowResult, tmp_path: Path) -> None:
    image = vti_bytes(result)
    tree = ET.fromstring(image[: image.index(b"<AppendedData")] + b"</VTKFile>")
    extent = [int(n) for n in tree.find("ImageData").get("WholeExtent").split()]
    assert tuple(n + 1 for n in extent[1::2]) == result.prepared.setup.shape
    raw = image[image.index(b"\n_") + 2 :]
    size = int(np.frombuffer(raw[:8], "<u8")[0])
    cp = np.frombuffer(raw[8 : 8 + size], "<f4").reshape(result.prepared.setup.mark.shape)
    assert cp.max() == pytest.approx(np.nanmax(fields(result)["pressure_coefficient"]), rel=1e-5)
    surface = vtp_bytes(result, 0)
    tree = ET.fromstring(surface[: surface.index(b"<AppendedData")] + b"</VTKFile>")
    assert int(tree.find("PolyData/Piece").get("NumberOfPolys")) > 12
    scene = trimesh.load_scene(io.BytesIO(glb_bytes(result)), file_type="glb")
    assert set(scene.geometry) == {"brick", "wheel"}
    # glTF 2.0, section 3.4 (seen): +Y is up, one unit is a metre; the car's right is then −Z
    low, high = result.prepared.case.bounds()
    wanted = [[low[0], low[2], -high[1]], [high[0], high[2], -low[1]]]
    np.testing.assert_allclose(scene.bounds, wanted, atol=1e-6)
    assert scene.geometry["brick"].volume > 0  # turned, not mirrored
    path = tmp_path / "flow.nc"
    dataset(result).to_netcdf(path, engine="h5netcdf")
    assert path.stat().st_size > 1000
    # velocities are over the car's speed, loads over its dynamic pressure: the file says both
    told = dataset(result).attrs
    assert (told["car_speed"], told["density"]) == ("30 m/s", "1.225 kg/m3")


def test_a_run_goes_on_after_a_kill_as_if_nothing_had_happened(
    prepared: Prepared, result: FlowResult, tmp_path: Path
) -> None:
    path = tmp_path / "state.npz"
    shelf = FlowStateFile(path)
    with pytest.raises(Cancelled, match="body lengths"):
        run(prepared, rule=RULE, checkpoint=shelf, watch=lambda p: p.travel < 2.0)
    assert [p.name for p in tmp_path.iterdir()] == ["state.npz"]
    resumed = run(prepared, rule=RULE, checkpoint=shelf)
    np.testing.assert_array_equal(resumed.series, result.series)
    np.testing.assert_allclose(resumed.mean.velocity, result.mean.velocity)
    other = prepare(small_case())
    with pytest.raises(FileFault, match="belongs to another run"):
        run(other, rule=RULE, checkpoint=shelf)
    path.write_bytes(b"broken")
    with pytest.raises(FileFault, match="cannot be read"):
        run(prepared, rule=RULE, checkpoint=shelf)


def test_divergence_is_caught_saved_and_explained(
    prepared: Prepared, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def blow_up(self: CpuEngine, n_pair: int) -> None:
        self._rows[:] = np.nan
        self.step += 2 * n_pair

    monkeypatch.setattr(CpuEngine, "advance", blow_up)
    shelf = FlowStateFile(tmp_path / "state.npz")
    with pytest.raises(NotConverged, match=r"diverged at step 2 .*kept in state\.npz\.lost"):
        run(prepared, rule=RULE, checkpoint=shelf)
    assert (tmp_path / "state.npz.lost").is_file()


def test_the_run_stops_as_soon_as_the_error_is_small_enough(prepared: Prepared) -> None:
    found = run(prepared, rule=StopRule(error=10.0, settle=0.2, longest=50.0))
    assert found.reached
    assert found.travel < 5.0


def test_bad_input_is_refused_with_numbers_before_anything_runs() -> None:
    upside = replace(part(BRICK), faces=BRICK.faces[:, ::-1].copy())
    hole = replace(part(BRICK), faces=BRICK.faces[2:])
    box = Box(ahead=0.5, behind=0.8, beside=0.5, above=0.6)
    tight = replace(box, beside=0.2, above=0.2)
    low = block("low", (0.0, -0.15, 0.04), (0.5, 0.15, 0.3))
    for more, text in (
        ({"parts": (upside,)}, "inside out"),
        ({"parts": (hole,)}, r"open edges: the surface is not closed at x .* m"),
        ({"parts": (part(block("mm", (0, -150, 150), (500, 150, 400))),)}, "1000 times too long"),
        ({"parts": (part(block("sunk", (0, -0.1, -0.1), (0.5, 0.1, 0.2))),)}, "below the road"),
        ({"box": tight}, "fill more than 15 %"),
        ({"box": replace(box, ahead=0.1)}, "at least 4 cells"),
        ({"parts": (part(low),)}, r"smallest gap = 0\.8 cells: needs at least 2 cells \(between"),
        ({"cell": 0.0}, "cell = 0 m"),
        ({"lattice_speed": 0.5}, "0.005 to 0.2"),
        ({"yaw": 5.0}, "Radians"),
        ({"parts": ()}, "at least one"),
        ({"skin": 2.0}, "from 0 to 1"),
    ):
        with pytest.raises(InputError, match=text):
            prepare(small_case(**more))
    with pytest.raises(InputError, match="settle"):
        StopRule(settle=30.0)
    with pytest.raises(InputError, match="longest"):
        StopRule(settle=0.4, longest=1.39)
    assert StopRule(settle=0.4, longest=1.4).longest == 1.4  # short of 1 by a rounding


def test_yaw_pushes_to_the_side_the_air_comes_from_the_other() -> None:
    turned = prepare(small_case(yaw=0.2, road="none", box=Box(
        ahead=0.5, behind=0.8, beside=0.6, above=0.5, below=0.5)))  # fmt: skip
    found = run(turned, rule=StopRule(error=1.0, settle=1.0, longest=3.0))
    assert found.side_area.mean > found.side_area.error > 0.0


def test_a_tunnel_has_still_walls_and_a_belt() -> None:
    box = Box(ahead=0.5, behind=0.8, beside=0.5, above=0.6, has_walls=True, belt=(-0.2, 0.8, 0.3))
    tunnel = prepare(small_case(box=box, road="fixed"))
    names = {s.name: n for n, s in enumerate(tunnel.setup.walls.surfaces)}
    used = set(np.unique(tunnel.setup.walls.surface_of[tunnel.setup.walls.cut > 0]))
    assert used == {0, 1, names["still surroundings"]}
    assert tunnel.setup.walls.surfaces[0].velocity[0] == pytest.approx(0.1)
    air = tunnel.setup.mark[1:-1, 1:] != 1
    assert (air == air[:, ::-1]).all()  # the car stands in the middle
    assert tunnel.origin[1] + 0.05 == pytest.approx(0.05 * 0.5 * (1 - air.shape[1]))
    found = run(tunnel, rule=StopRule(error=1e-9, settle=2.0, longest=6.0))
    assert abs(found.side_area.mean) < 0.01 * found.drag_area.mean
    # nothing passes the walls: the same mass through every slice ahead of the car and behind it
    # that no stream is imposed on
    flow = (found.mean.density * found.mean.velocity[0] * (tunnel.setup.mark != 1)).sum((0, 1))
    x = tunnel.origin[0] + 0.05 * np.arange(flow.size)
    free = flow[(tunnel.setup.sponge[0] == 0) & ((x < 0.0) | (x > 0.5))]
    assert free.size > 15
    assert np.ptp(free) < 0.01 * free.mean()
    with pytest.raises(InputError, match="between tunnel walls"):
        small_case(box=box, road="fixed", yaw=0.1)


def test_a_plate_without_thickness_keeps_the_air_on_each_side(tmp_path: Path) -> None:
    sheet = FlowPart(
        name="sheet",
        vertices=np.array([[0.2, -0.2, 0.2], [0.2, 0.2, 0.2], [0.2, 0.2, 0.5], [0.2, -0.2, 0.5]]),
        faces=np.array([[0, 1, 2], [0, 2, 3]]),
        is_closed=False,
    )
    found = run(
        prepare(small_case(parts=(sheet,), wall="no slip")),
        rule=StopRule(error=1e-9, settle=2.0, longest=12.0),
    )
    plate = found.drag_area.mean / 0.12
    assert 0.7 < plate < 2.5


def test_wheels_of_a_generic_car_roll() -> None:
    parts = car_parts(generic_car("coupe"), speed=40.0)
    spins = [p.spin for p in parts if p.name.startswith("wheel")]
    assert len(spins) == 4
    assert all(isinstance(s, Spin) and s.rate < 0 for s in spins)
