"""The map: building it, its axes, its data set and its file."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.aeromap.dataset import from_dataset, to_dataset
from tuftwork.aeromap.grid import even_axis, fitted_axis
from tuftwork.aeromap.interface import PartLoad, PlatformState
from tuftwork.aeromap.interpolate import evaluate
from tuftwork.aeromap.map import (
    AeroMap,
    AirAt,
    CheckedSpan,
    MapHeader,
    build_map,
    map_surface,
    origin_of,
)
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.files.map import read_map, write_map

AIR = AirAt(speed=60.0, density=1.18, viscosity=1.8e-5)
CLIFF = np.random.default_rng(4).normal(0.060, 0.001, 16)


def cliff_car(platform: PlatformState) -> PartLoad:
    hf, hr = platform.ride_height_front, platform.ride_height_rear
    return PartLoad(
        downforce_front=0.7 - 8 * (hf - 0.05) + 0 * CLIFF,
        downforce_rear=0.65 + 0.3 / (1 + np.exp(-(hr - CLIFF) / 1.2e-3)),
        drag=np.full((1, 16), 0.9),
        notices=("outside the checked range below 30 mm",),
    )


def raised_car(platform: PlatformState) -> PartLoad:
    made = cliff_car(platform)
    return PartLoad(
        downforce_front=made.downforce_front + 0.1, downforce_rear=made.downforce_rear,
        drag=made.drag,
    )  # fmt: skip


def small_map(**more: object) -> AeroMap:
    return build_map(
        {"as raced": cliff_car, "wing up": raised_car},
        front=even_axis(0.03, 0.065, 6), rear=even_axis(0.04, 0.08, 7), air=AIR, **more,
    )  # fmt: skip


def test_cells_hold_what_the_loads_say_there() -> None:
    made = small_map()
    assert made.shape == (2, 6, 7, 16)
    there = PlatformState(
        ride_height_front=made.front[2:3, None], ride_height_rear=made.rear[4:5, None],
        speed=np.full((1, 1), 60.0), density=np.full((1, 1), 1.18), viscosity=np.full((1, 1), 2e-5),
    )  # fmt: skip
    np.testing.assert_array_equal(made.downforce_rear[0, 2, 4], cliff_car(there).downforce_rear[0])
    np.testing.assert_allclose(made.downforce_front[1] - made.downforce_front[0], 0.1)
    assert origin_of(made, 0, 2, 4) == "computed"
    assert made.notices == ("outside the checked range below 30 mm",)


def test_cells_outside_the_checked_range_are_marked() -> None:
    made = small_map(checked=CheckedSpan(front=(0.04, 0.06)))
    np.testing.assert_array_equal(
        made.extrapolated[0, :, 0], (made.front < 0.04) | (made.front > 0.06)
    )
    assert made.valid.all()


def test_cells_without_numbers_are_not_valid_and_cannot_be_read() -> None:
    def choked(platform: PlatformState) -> PartLoad:
        made = cliff_car(platform)
        low = platform.ride_height_front < 0.035
        return PartLoad(
            downforce_front=np.where(low, np.nan, made.downforce_front),
            downforce_rear=made.downforce_rear, drag=made.drag,
        )  # fmt: skip

    made = build_map(
        {"a": choked}, front=even_axis(0.03, 0.06, 4), rear=even_axis(0.04, 0.08, 5), air=AIR
    )
    assert not made.valid[0, 0].any()
    assert made.valid[0, 1:].all()
    with pytest.raises(NotCovered, match="5 cells of state 'a'"):
        map_surface(made)


def test_a_state_is_read_by_its_name() -> None:
    made = small_map()
    at = np.array([0.05]), np.array([0.06])
    first, second = evaluate(map_surface(made), *at), evaluate(map_surface(made, "wing up"), *at)
    np.testing.assert_allclose(second[0] - first[0], 0.1)
    with pytest.raises(UnknownName, match="wing up"):
        map_surface(made, "wing upp")


def test_impossible_maps_are_refused() -> None:
    axis = even_axis(0.03, 0.06, 4)
    for bad in (axis[::-1].copy(), np.array([0.0, 0.05]), np.array([0.05])):
        with pytest.raises(InputError, match="axis"):
            build_map({"a": cliff_car}, front=bad, rear=axis, air=AIR)
    with pytest.raises(InputError, match="states"):
        build_map({}, front=axis, rear=axis, air=AIR)


def test_a_fitted_axis_gathers_its_nodes_at_the_cliff() -> None:
    coarse = build_map(
        {"a": cliff_car}, front=even_axis(0.03, 0.065, 8), rear=even_axis(0.04, 0.08, 24), air=AIR
    )
    rear = fitted_axis(coarse, "rear", 15)
    even = np.ptp(rear) / 14
    gaps = np.diff(rear)
    assert rear[0] == pytest.approx(0.04)
    assert rear[-1] == pytest.approx(0.08)
    assert gaps[np.searchsorted(rear, 0.060) - 1] < 0.6 * even
    assert gaps.min() > 0.3 * even
    assert gaps.max() < 2.2 * even
    np.testing.assert_allclose(np.diff(fitted_axis(coarse, "front", 9)), 0.035 / 8, rtol=1e-6)


def test_a_fitted_axis_reads_the_cliff_better_than_an_even_one() -> None:
    coarse = build_map(
        {"a": cliff_car}, front=even_axis(0.03, 0.065, 8), rear=even_axis(0.04, 0.08, 24), air=AIR
    )
    at = np.full(400, 0.05), np.linspace(0.0401, 0.0799, 400)
    exact = 0.65 + 0.3 / (1 + np.exp(-(at[1][:, None] - CLIFF) / 1.2e-3))

    def error(rear: np.ndarray) -> float:
        made = build_map({"a": cliff_car}, front=even_axis(0.03, 0.065, 8), rear=rear, air=AIR)
        return float(np.sqrt(np.mean((evaluate(map_surface(made), *at)[1] - exact) ** 2)))

    assert error(fitted_axis(coarse, "rear", 15)) < 0.6 * error(even_axis(0.04, 0.08, 15))


def test_bad_axes_are_refused() -> None:
    coarse = small_map()
    with pytest.raises(InputError, match="axle"):
        fitted_axis(coarse, "middle", 9)
    with pytest.raises(InputError, match="span"):
        fitted_axis(coarse, "rear", 9, (0.01, 0.05))
    for bad in ((0.05, 0.04, 5), (0.0, 0.04, 5), (0.03, 0.04, 2)):
        with pytest.raises(InputError):
            even_axis(*bad)


def headed() -> AeroMap:
    header = MapHeader(
        car="Kessrick Halyard GT", configuration="wing 8°", author="a", day="2026-11-25"
    )
    return small_map(header=header, checked=CheckedSpan(rear=(0.05, 0.07)))


def test_the_data_set_says_axes_units_signs_ranges_and_origin() -> None:
    dataset = to_dataset(headed())
    assert dataset.attrs["Conventions"].startswith("CF-")
    assert "SAE J1594" in dataset.attrs["axes"]
    assert dataset["CzSr"].attrs["units"] == "m2"
    assert dataset["CzSr"].attrs["sign"] == "downforce positive"
    assert dataset["hf"].attrs["units"] == "m"
    assert (
        dataset["origin"].attrs["flag_meanings"].split()[dataset["origin"].to_numpy()[0, 0, 0]]
        == "computed"
    )
    low, best, high = (dataset[f"CzSr_{end}"].to_numpy() for end in ("low", "best", "high"))
    assert np.all((low <= best) & (best <= high))
    np.testing.assert_allclose(low, np.quantile(headed().downforce_rear, 0.1, axis=-1))


def test_a_file_gives_back_every_bit(tmp_path: Path) -> None:
    made = headed()
    back = read_map(write_map(tmp_path / "maps" / "race.nc", made))
    assert back.digest == made.digest
    assert back.header == made.header
    assert (back.air, back.states, back.notices) == (made.air, made.states, made.notices)
    np.testing.assert_array_equal(back.extrapolated, made.extrapolated)
    assert [f.name for f in (tmp_path / "maps").iterdir()] == ["race.nc"]


def test_a_changed_number_is_noticed() -> None:
    dataset = to_dataset(headed())
    dataset["CzSr"][0, 0, 0, 0] += 1e-9
    with pytest.raises(InputError, match="checksum"):
        from_dataset(dataset)
    with pytest.raises(InputError, match="form"):
        from_dataset(to_dataset(headed()).assign_attrs(form=99))
    with pytest.raises(InputError, match="CzSf"):
        from_dataset(to_dataset(headed()).drop_vars("CzSf"))


def test_missing_torn_and_foreign_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match="no such map"):
        read_map(tmp_path / "none.nc")
    whole = write_map(tmp_path / "map.nc", headed())
    torn = tmp_path / "torn.nc"
    torn.write_bytes(whole.read_bytes()[:2000])
    foreign = tmp_path / "foreign.nc"
    foreign.write_text("not a map")
    for bad in (torn, foreign):
        with pytest.raises(FileFault, match="not a readable netCDF map"):
            read_map(bad)


def test_writing_over_a_map_replaces_it_whole(tmp_path: Path) -> None:
    first = write_map(tmp_path / "map.nc", headed())
    write_map(first, small_map())
    assert read_map(first).header.car == ""
