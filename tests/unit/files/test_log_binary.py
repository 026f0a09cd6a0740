"""Logs in open binary forms: files written by the general libraries themselves are read back."""

import gc
from pathlib import Path

import numpy as np
import pytest

from tuftwork.errors import FileFault
from tuftwork.files.log import LogWish, column_names, read_log

FAST, SLOW = np.linspace(0, 10, 1001), np.linspace(0, 10, 51)


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    """Return a file of two rates as the library of the format writes it."""
    asammdf = pytest.importorskip("asammdf", reason="the extra for MDF is not installed")
    whole = np.round(10 * (5 + FAST)).astype(np.int16)
    scaled = asammdf.blocks.conversion_utils.from_dict({"a": 0.1, "b": 0.0})
    with asammdf.MDF(version="4.10") as file:
        file.append([
            asammdf.Signal(whole, FAST, name="Damper FL", unit="mm", conversion=scaled),
            asammdf.Signal(101325 + 0 * FAST, FAST, name="Baro", unit="Pa"),
        ])  # fmt: skip
        file.append([
            asammdf.Signal(150 + SLOW, SLOW, name="GPS Speed", unit="km/h"),
            asammdf.Signal(1 + SLOW, SLOW, name="Damper FL", unit="mm"),
        ])  # fmt: skip
        path = tmp_path / "day.mf4"
        file.save(path)
    return path


def test_channels_of_an_mdf_file_keep_their_rates_units_and_conversions(recorded: Path) -> None:
    read = read_log(recorded)
    speed, pot = read.log.of("speed over ground"), read.log.of("pot front left")
    np.testing.assert_allclose(speed.values, (150 + SLOW) / 3.6)
    np.testing.assert_allclose(speed.time, SLOW)
    np.testing.assert_allclose(pot.values, np.round(5 + FAST, 1) * 1e-3, atol=1e-12)
    assert pot.rate == pytest.approx(100.0)
    assert read.log.of("air pressure").values[0] == 101325
    assert column_names(recorded) == ("Damper FL", "Baro", "GPS Speed", "Damper FL (2)")


def test_what_the_user_says_of_an_mdf_files_channels_counts(recorded: Path) -> None:
    wish = LogWish(roles={"Damper FL (2)": "pot front left"}, units={"Damper FL (2)": "in"})
    pot = read_log(recorded, wish).log.of("pot front left")
    np.testing.assert_allclose(pot.values, (1 + SLOW) * 25.4e-3)


# the library itself stumbles over its half-made object when it is thrown away
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("share", [0.0, 0.3, 0.6, 0.9])
def test_a_damaged_mdf_file_is_refused(recorded: Path, share: float) -> None:
    whole = recorded.read_bytes()
    path = recorded.with_name("cut.mf4")
    path.write_bytes(whole[: int(share * len(whole))] if share else b"t;v\n1;2\n")
    with pytest.raises(FileFault, match=r"cut\.mf4"):
        read_log(path)
    with pytest.raises(FileFault, match="cannot be read"):
        read_log(recorded.with_name("missing.mf4"))
    gc.collect()


def test_groups_of_an_hdf5_file_have_time_bases_of_their_own(tmp_path: Path) -> None:
    import h5py

    path = tmp_path / "a.h5"
    with h5py.File(path, "w") as file:
        for group, time, channels in (
            ("fast", FAST, {"Damper FL": 5 + FAST}), ("gps", SLOW, {"GPS Speed": 150 + SLOW}),
        ):  # fmt: skip
            file[f"{group}/time"] = time
            file[f"{group}/time"].attrs["units"] = "s"
            for name, values in channels.items():
                file[f"{group}/{name}"] = values
                file[f"{group}/{name}"].attrs["units"] = "mm" if group == "fast" else "km/h"
    log = read_log(path).log
    assert log.of("pot front left").rate == pytest.approx(100.0)
    assert log.of("speed over ground").rate == pytest.approx(5.0)
    assert column_names(path) == ("fast/Damper FL", "gps/GPS Speed")


def test_several_lengths_without_a_time_each_are_refused(tmp_path: Path) -> None:
    import h5py

    path = tmp_path / "b.h5"
    with h5py.File(path, "w") as file:
        file["time"], file["GPS Speed"] = FAST, 150 + SLOW
    with pytest.raises(FileFault, match="time"):
        read_log(path)
