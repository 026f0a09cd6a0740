"""Fields over time: the file as other libraries read it, against means, kills and goings on."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import xarray
from scipy.io import netcdf_file
from tests.unit.flow.brick import FINER, PLANES, prepared_brick, wish_for, with_core

from tuftwork.errors import Cancelled, FileFault, InputError
from tuftwork.files.flow_state import FlowStateFile
from tuftwork.files.time_file import TimeFile, TimeSeries, read_time_file, set_aside
from tuftwork.flow import FlowResult, Prepared, StopRule, run
from tuftwork.flow.engine import build_engine
from tuftwork.flow.look import plane
from tuftwork.flow.output import coefficients
from tuftwork.flow.over_time import Layout, OverTime, Sampler, Variable, Wish, foresee
from tuftwork.flow.plane_map import near_car
from tuftwork.flow.slab_here import slabs_here

RULE = StopRule(error=1e-9, settle=1.0, longest=2.5)
ROUNDING = 1e-6
EVERY = 1 / 64
"""As often as loads are sampled."""
named_brick = partial(prepared_brick, name="Brick 1")
wish_each = partial(wish_for, every=EVERY)


Kept = tuple[Prepared, FlowResult, TimeSeries]


@pytest.fixture(scope="module", params=["cells of one size", "finer cells"])
def kept(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Kept:
    prepared = named_brick(zones=FINER if request.param == "finer cells" else ())
    shelf = TimeFile(tmp_path_factory.mktemp("kept") / "over-time.nc")
    asked = OverTime(wish=wish_each(prepared), shelf=shelf)
    return prepared, run(prepared, rule=RULE, over_time=asked), read_time_file(shelf.path)


def test_the_mean_over_the_samples_is_the_averaged_plane_of_the_same_window(kept: Kept) -> None:
    """Exact but for single precision: the same samples are averaged."""
    prepared, result, series = kept
    for n, (axis, at) in enumerate(PLANES):
        mean = plane(result, axis, at)
        number = "xyz".index(axis)
        rows, columns = near_car(prepared.case, number, mean.across, mean.up, 260)
        wanted = mean.pressure_coefficient[np.ix_(rows, columns)]
        found = series.plane(n, slice(None))["pressure_coefficient"].astype(float).mean(axis=0)
        np.testing.assert_array_equal(np.isnan(found), np.isnan(wanted))
        np.testing.assert_allclose(found, wanted, atol=ROUNDING, rtol=0)
        assert np.nanstd(wanted) > 1e4 * ROUNDING  # a flat field would agree with anything


def test_the_mean_over_the_samples_is_the_averaged_pressure_on_the_surface(kept: Kept) -> None:
    """Exact but for single precision, on every box of cells."""
    prepared, result, series = kept
    surface = wish_each(prepared).surface
    rows = np.concatenate([box.wall_rows for box in (result, *result.boxes)], axis=1)
    wanted = surface.of(coefficients(prepared.case, rows)["pressure"])
    every = series.surface(slice(None)).astype(float)
    np.testing.assert_allclose(every.mean(axis=0), wanted, atol=1e-6, rtol=0)
    np.testing.assert_allclose(series.surface_rms(), every.std(axis=0, ddof=1), rtol=1e-5)
    assert every.std(axis=0).max() > 1e-3


def test_the_last_sample_is_the_last_instant(kept: Kept) -> None:
    prepared, result, series = kept
    last = plane(result, "x", 0.63, "last")
    rows, columns = near_car(prepared.case, 0, last.across, last.up, 260)
    found, grid = series.plane(1, -1), np.ix_(rows, columns)
    np.testing.assert_allclose(found["speed"], last.speed[grid], atol=1e-6)
    np.testing.assert_allclose(found["total_pressure_loss"], last.total_pressure_loss[grid],
                               atol=1e-5)  # fmt: skip
    assert series.travel[-1] == pytest.approx(result.travel)
    assert np.diff(series.travel) == pytest.approx(series.travel[1] - series.travel[0])
    length_time = 0.5 / prepared.case.speed  # [s] a body length of travel
    assert series.time == pytest.approx(series.travel * length_time, rel=0.02)


def test_samples_and_size_are_foretold_before_the_grid_is_cut(kept: Kept) -> None:
    prepared, _, series = kept
    told = foresee(prepared.case, wish_each(prepared), n_vertex=series.n_vertex, settle=RULE.settle,
                   longest=RULE.longest)  # fmt: skip
    assert told.count == series.count
    assert told.size == pytest.approx(series.path.stat().st_size, rel=0.1)
    with pytest.raises(InputError, match="must lie in the box"):
        foresee(prepared.case, Wish(every=0.1, planes=(("y", 9.0),)), n_vertex=0, settle=1.0,
                longest=2.0)  # fmt: skip


def test_other_libraries_read_the_file_with_units_and_axes(kept: Kept) -> None:
    _, _, series = kept
    with xarray.open_dataset(series.path, engine="scipy") as found:
        assert found.sizes["time"] == series.count
        assert found["time"].attrs["units"] == "s"
        assert found["plane0_x"].attrs["units"] == "m"
        velocity = found["plane0_velocity"]
        assert velocity.dims == ("time", "axis", "plane0_z", "plane0_x")
        assert velocity.attrs["plane"] == "y = 0 m"
        assert found.attrs["speed"] == "30 m/s"
        assert found.attrs["parts"] == "Brick 1"
        upstream = float(velocity.sel(axis=0).isel(plane0_z=-1, plane0_x=0)[-1])
        assert 0.9 < upstream < 1.1
        corner = found["surface_triangles"].values
        assert corner.max() == len(found["surface_x"]) - 1
        assert found["surface_x"].values.max() == pytest.approx(0.5, abs=1e-6)


def interrupted(folder: Path, harm: Callable[[TimeFile], None]) -> Path:
    """A run that is stopped, harmed and gone on with."""
    prepared = named_brick()
    shelf, state = TimeFile(folder / "part.nc"), FlowStateFile(folder / "state.npz")
    asked = OverTime(wish=wish_for(prepared, 3 / 64), shelf=shelf)
    with pytest.raises(Cancelled):
        run(prepared, rule=RULE, checkpoint=state, watch=lambda now: now.travel < 1.7,
            over_time=asked)  # fmt: skip
    harm(shelf)
    run(prepared, rule=RULE, checkpoint=state, over_time=asked)
    return shelf.path


def nothing(shelf: TimeFile) -> None:
    """Stopped on request."""


def went_further(shelf: TimeFile) -> None:
    """Killed after the checkpoint: two more samples stand there, and half of a third."""
    data = bytearray(shelf.path.read_bytes())
    size, count = shelf.kind.itemsize, int.from_bytes(data[4:8], "big")
    last = np.frombuffer(bytes(data[-size:]), shelf.kind).copy()
    for _ in range(2):
        last["step"] += 24
        data += last.tobytes()
    data[4:8] = (count + 2).to_bytes(4, "big")
    shelf.path.write_bytes(bytes(data) + b"\1" * (size // 2))


def lost_its_end(shelf: TimeFile) -> None:
    """Killed while a sample was being written that the header does not know yet."""
    with shelf.path.open("ab") as file:
        file.write(b"\1" * 1000)


@pytest.mark.parametrize("harm", [nothing, went_further, lost_its_end])
def test_a_run_that_goes_on_keeps_the_same_file_as_one_that_was_not_stopped(
    harm: Callable[[TimeFile], None], tmp_path: Path
) -> None:
    """Exact, byte for byte, in one process (the same kernels): no sample twice, none missing."""
    prepared = named_brick()
    whole = TimeFile(tmp_path / "whole.nc")
    run(prepared, rule=RULE, over_time=OverTime(wish=wish_for(prepared, 3 / 64), shelf=whole))
    assert interrupted(tmp_path, harm).read_bytes() == whole.path.read_bytes()


def test_a_file_laid_out_otherwise_is_set_aside_and_begun_anew(tmp_path: Path) -> None:
    first = Layout(dims={"time": 0, "x": 2}, about={}, variables=(
        Variable(name="step", dims=("time",), dtype="i4"), Variable(name="a", dims=("time", "x")),
    ))  # fmt: skip
    other = Layout(dims={"time": 0, "x": 3}, about={}, variables=first.variables)
    shelf = TimeFile(tmp_path / "a.nc")
    assert shelf.begin(first, 0) == 0
    for step in (4, 8, 12):
        shelf.add({"step": np.array(step), "a": np.array([step, -step])})
    assert TimeFile(shelf.path).begin(first, 8) == 2
    with netcdf_file(shelf.path, mmap=False) as found:
        np.testing.assert_array_equal(found.variables["a"].data, [[4, -4], [8, -8]])
    assert TimeFile(shelf.path).begin(other, 8) == 0
    with netcdf_file(shelf.path, mmap=False) as found:
        assert found.variables["a"].shape == (0, 3)
    aside = tmp_path / "a-before-1.nc"
    with netcdf_file(aside, mmap=False) as found:  # nothing that was kept is lost
        np.testing.assert_array_equal(found.variables["a"].data, [[4, -4], [8, -8]])
    assert set_aside(shelf.path) is None  # no sample in it
    assert set_aside(tmp_path / "none.nc") is None
    shelf.path.write_bytes(aside.read_bytes())
    assert set_aside(shelf.path) == tmp_path / "a-before-2.nc"
    assert not shelf.path.exists()


def test_a_run_that_goes_on_with_another_interval_begins_its_file_anew(tmp_path: Path) -> None:
    """Samples of two intervals behind each other would look like one even series."""
    prepared, shelf = named_brick(), TimeFile(tmp_path / "part.nc")
    often, seldom = (Sampler(prepared, wish_for(prepared, k / 64)).layout() for k in (2, 6))
    assert float(often.about["samples_every"].split()[0]) == pytest.approx(
        0.04
    )  # a length is 50 pairs of steps
    shelf.begin(often, 0)
    shelf.add(Sampler(prepared, wish_each(prepared)).take(build_engine(prepared.setup), 0.5))
    assert TimeFile(shelf.path).begin(often, 10) == 1
    assert TimeFile(shelf.path).begin(seldom, 10) == 0


def test_a_damaged_or_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match="no such file"):
        read_time_file(tmp_path / "none.nc")
    (tmp_path / "bad.nc").write_bytes(b"not netCDF")
    with pytest.raises(FileFault, match="cannot be read"):
        read_time_file(tmp_path / "bad.nc")


def test_slabs_give_the_samples_of_the_whole_box() -> None:
    prepared = named_brick()
    sampler = Sampler(prepared, wish_each(prepared))
    found = []
    for engine in (build_engine(prepared.setup), slabs_here(prepared.setup, 2)):
        engine.start_uniform()
        engine.advance(12)
        found.append(sampler.take(engine, 0.5))
        engine.close()
    assert set(found[0]) == {v.name for v in sampler.layout().variables if v.values is None}
    for name, values in found[0].items():
        np.testing.assert_allclose(found[1][name], values, atol=1e-6, err_msg=name)


@pytest.mark.parametrize("has_core", [False, True])
def test_every_back_end_hands_out_the_same_layers(backend: tuple[str, str], has_core: bool) -> None:
    """Layers are those of the whole field, the force of a core in it."""
    prepared = named_brick()
    setup = prepared.setup
    if has_core:
        setup = with_core(setup)
    engine = build_engine(setup, *backend)
    engine.start_uniform()
    engine.advance(10)
    now = engine.moments()
    rows = np.concatenate([now.density[None], now.velocity])
    along, across, up = engine.layers([(0, 7), (1, 3), (2, 5)])
    np.testing.assert_allclose(along, np.moveaxis(rows[..., 7:9], 3, 1), atol=1e-7)
    np.testing.assert_allclose(across, np.moveaxis(rows[:, :, 3:5], 2, 1), atol=1e-7)
    np.testing.assert_allclose(up, rows[:, 5:7], atol=1e-7)
