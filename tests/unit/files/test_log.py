"""Logs as they come: separators, decimal commas, units anywhere or nowhere, faults with lines."""

from pathlib import Path

import numpy as np
import pytest

from tuftwork.errors import FileFault, UnknownName
from tuftwork.files.log import LogWish, merged, read_log
from tuftwork.trial.guess import guess_roles, guess_unit, split_unit

TIME = np.arange(300) / 100


def put(folder: Path, name: str, text: str, encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def rows(separator: str = ",", start: float = 0.0, last: str = "\n") -> str:
    lines = [separator.join(f"{x:.2f}" for x in (start + t, 150 + t, 5 + t)) for t in TIME]
    return "\n".join(lines) + last


def test_semicolons_decimal_comma_and_a_preamble(tmp_path: Path) -> None:
    body = rows(";").replace(".", ",")
    path = put(
        tmp_path, "a.txt", f"Recorder 7\nDate;1\n\nTime [s];GPS Speed [km/h];Susp_FL [mm]\n{body}"
    )
    read = read_log(path)
    assert [c.role for c in read.columns] == ["time", "speed over ground", "pot front left"]
    assert read.log.of("speed over ground").values[0] == pytest.approx(150 / 3.6)
    assert read.log.of("pot front left").values[-1] == pytest.approx(7.99e-3)
    assert read.notices == ()


@pytest.mark.parametrize("separator", [",", ";", "\t", "|", "   "])
def test_any_separator(tmp_path: Path, separator: str) -> None:
    head = separator.join(("time", "speed", "potFL"))
    read = read_log(put(tmp_path, "a.log", f"{head}\n{rows(separator)}"))
    assert read.rows == 300
    assert read.log.of("speed over ground").values[-1] == pytest.approx((150 + 2.99) / 3.6)
    assert any("states no unit" in n for n in read.notices)


def test_units_in_a_row_of_their_own_several_rates_and_a_mark_at_the_start(tmp_path: Path) -> None:
    body = "\n".join(f"{t:.2f},{150 + t:.2f},{'' if i % 5 else 50},60" for i, t in enumerate(TIME))
    path = put(
        tmp_path, "a.csv", f"\ufefftime,speed,laser front,laser rear\ns,km/h,mm,mm\n{body}\n"
    )
    read = read_log(path)
    assert read.log.of("laser front").time.size == 60
    assert read.log.of("laser front").rate == pytest.approx(20.0)
    assert read.log.of("laser rear").rate == pytest.approx(100.0)
    assert "byte-order mark" in read.notices[0]


def test_a_cut_off_file_is_named_with_its_line_and_can_be_kept(tmp_path: Path) -> None:
    path = put(tmp_path, "a.csv", f"time,speed,pot fl\n{rows()}3.10,150")
    with pytest.raises(FileFault) as caught:
        read_log(path)
    assert caught.value.faults[0].line == 302
    assert "cut off" in str(caught.value)
    kept = read_log(path, LogWish(keep_partial=True))
    assert kept.rows == 300
    assert any("302" in n for n in kept.notices)


def test_words_among_numbers_are_all_named(tmp_path: Path) -> None:
    text = rows().replace("151.00", "error").replace("152.00", "#N/A")
    with pytest.raises(FileFault) as caught:
        read_log(put(tmp_path, "a.csv", f"time,speed,pot fl\n{text}"))
    assert [f.line for f in caught.value.faults] == [102, 202]
    assert "not a number" in str(caught.value)


def test_time_that_runs_back_is_refused_and_time_that_stands_is_said(tmp_path: Path) -> None:
    back = rows() + rows(start=1.0)
    path = put(tmp_path, "a.csv", f"time,speed,pot fl\n{back}")
    with pytest.raises(FileFault, match="302: time runs backwards"):
        read_log(path)
    kept = read_log(path, LogWish(keep_partial=True))
    assert np.all(np.diff(kept.log.of("speed over ground").time) > 0)
    again = rows() + "2.99,150,5\n"
    read = read_log(put(tmp_path, "b.csv", f"time,speed,pot fl\n{again}"))
    assert any("stands still" in n and "302" in n for n in read.notices)


def test_letters_of_another_encoding_are_said_with_their_line(tmp_path: Path) -> None:
    text = f"Zeit;Geschwindigkeit [km/h];Dämpfer VL [mm]\n{rows(';')}"
    read = read_log(put(tmp_path, "a.csv", text, "latin-1"))
    assert "Line 1 is not UTF-8" in read.notices[0]
    assert read.log.has("speed over ground", "pot front left")


def test_an_empty_channel_and_a_name_used_twice_are_said(tmp_path: Path) -> None:
    body = "\n".join(f"{t:.2f},{150 + t:.2f},,1" for t in TIME)
    read = read_log(put(tmp_path, "a.csv", f"time,speed,pot fl,speed\n{body}\n"))
    assert any("'pot fl' is empty" in n for n in read.notices)
    assert any("used twice" in n for n in read.notices)


def test_ten_thousand_columns(tmp_path: Path) -> None:
    head = "time," + ",".join(f"c{i}" for i in range(9998)) + ",gps speed"
    line = ",1" * 9998 + ",150\n"
    body = "".join(f"{t:.2f}{line}" for t in TIME[:20])
    read = read_log(put(tmp_path, "a.csv", f"{head}\n{body}"))
    assert list(read.log.channels) == ["speed over ground"]
    assert any("10000 columns" in n for n in read.notices)


def test_a_unit_that_contradicts_its_values_is_said(tmp_path: Path) -> None:
    read = read_log(put(tmp_path, "a.csv", f"time [s],speed [m/s],pot fl [m]\n{rows()}"))
    said = " ".join(read.notices)
    assert "'pot fl' in m is impossible" in said
    assert "look like mm" in said or "mm" in said


def test_a_unit_of_another_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match="does not belong"):
        read_log(put(tmp_path, "a.csv", f"time [s],speed [hPa],pot fl\n{rows()}"))


def test_no_time_column_needs_a_rate(tmp_path: Path) -> None:
    text = "speed,pot fl\n" + "\n".join(f"{150 + t:.2f},5.0" for t in TIME) + "\n"
    path = put(tmp_path, "a.csv", text)
    with pytest.raises(FileFault, match="no time column"):
        read_log(path)
    read = read_log(path, LogWish(rate=100.0))
    assert read.log.of("speed over ground").time[-1] == pytest.approx(2.99)


def test_what_the_user_says_goes_before_what_is_guessed(tmp_path: Path) -> None:
    path = put(tmp_path, "a.csv", f"time,ch1,ch2\n{rows()}")
    with pytest.raises(FileFault, match="no column could be given a role"):
        read_log(put(tmp_path, "b.csv", f"x1,ch1,ch2\n{rows()}"))
    read = read_log(path, LogWish(roles={"ch1": "speed over ground"}, units={"ch1": "mph"}))
    assert read.log.of("speed over ground").values[0] == pytest.approx(150 * 0.44704)
    assert not read.columns[1].is_guess
    with pytest.raises(UnknownName):
        read_log(path, LogWish(roles={"ch1": "sped over ground"}))
    with pytest.raises(UnknownName):
        read_log(path, LogWish(roles={"ch9": "speed over ground"}))


@pytest.mark.parametrize(
    ("content", "words"),
    [("", "is empty"), ("nothing here\nat all\n", "no table of numbers")],
)
def test_what_is_no_log_is_refused(tmp_path: Path, content: str, words: str) -> None:
    with pytest.raises(FileFault, match=words):
        read_log(put(tmp_path, "a.csv", content))


def test_bytes_that_are_no_text_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"time,speed\n1,2\n\x00\x01")
    with pytest.raises(FileFault, match="zero bytes"):
        read_log(path)
    with pytest.raises(FileFault, match="cannot be read"):
        read_log(tmp_path / "missing.csv")


def test_parquet_and_hdf5(tmp_path: Path) -> None:
    import h5py
    import polars as pl

    columns = {"time [s]": TIME, "GPS speed [km/h]": 150 + TIME, "pot fl [mm]": 5 + TIME}
    pl.DataFrame(columns).write_parquet(tmp_path / "a.parquet")
    with h5py.File(tmp_path / "a.h5", "w") as file:
        for name, values in columns.items():
            plain, unit = split_unit(name)
            file[plain] = values
            file[plain].attrs["units"] = unit
    for name in ("a.parquet", "a.h5"):
        read = read_log(tmp_path / name)
        assert read.log.of("speed over ground").values[0] == pytest.approx(150 / 3.6)
        assert read.log.of("pot front left").unit == "mm"
    put(tmp_path, "b.parquet", "no")
    with pytest.raises(FileFault, match="no Parquet"):
        read_log(tmp_path / "b.parquet")
    put(tmp_path, "b.h5", "no")
    with pytest.raises(FileFault, match="no HDF5"):
        read_log(tmp_path / "b.h5")


def test_two_loggers_become_one_log(tmp_path: Path) -> None:
    one = read_log(put(tmp_path, "a.csv", f"time,gps speed,pot fl\n{rows()}"))
    two = read_log(put(tmp_path, "b.csv", f"time,gps speed,pitot\n{rows()}"))
    both = merged([one, two])
    assert both.log.has("speed over ground", "pot front left", "air speed")
    assert any("in two files" in n for n in both.notices)


def test_names_that_suggest_a_role() -> None:
    names = ["Time", "GPS_Speed", "Vpitot", "Pitot", "SuspFR", "damper_rr", "RH_F", "Laser Rear",
             "Acc_Long", "wheel speed FL", "Air Temp", "baro"]  # fmt: skip
    roles = {role: names[i] for role, i in guess_roles(names).items()}
    assert roles == {
        "time": "Time", "speed over ground": "GPS_Speed", "air speed": "Pitot",
        "pot front right": "SuspFR", "pot rear right": "damper_rr", "laser front": "RH_F",
        "laser rear": "Laser Rear", "acceleration along": "Acc_Long",
        "air temperature": "Air Temp", "air pressure": "baro",
    }  # fmt: skip


def test_units_from_the_size_of_values() -> None:
    assert guess_unit(np.array([0.0, 232.0]), "speed over ground") == "km/h"
    assert guess_unit(np.array([0.0, 14.2]), "pot rear left") == "mm"
    assert guess_unit(np.array([0.055]), "laser front") == "m"
    assert guess_unit(np.array([1011.0]), "air pressure") == "hPa"
    assert guess_unit(np.array([24.0]), "air temperature") == "°C"
    assert split_unit("speed_kmh") == ("speed", "km/h")
    assert split_unit("Damper FL (mm)") == ("Damper FL", "mm")


def test_sixteen_bit_text_with_its_mark_is_read(tmp_path: Path) -> None:
    read = read_log(put(tmp_path, "a.csv", f"time [s],speed [km/h],pot fl\n{rows()}", "utf-16"))
    assert read.rows == 300
    assert any("byte-order mark" in n for n in read.notices)


def test_another_encoding_far_down_the_file_is_named_with_its_line(tmp_path: Path) -> None:
    whole = "".join(f"{t / 100:.2f},150.00,5.00,ok\n" for t in range(20_000))
    path = put(tmp_path, "a.csv", f"time,speed,pot fl,gps speed\n{whole}".replace(",ok", ",151.0"))
    data = path.read_bytes().splitlines(keepends=True)
    data[15_000] = b"149.99,150.00,5\xb0,151.0\n"
    path.write_bytes(b"".join(data))
    with pytest.raises(FileFault) as caught:
        read_log(path)
    assert caught.value.faults[0].line == 15_001
    kept = read_log(path, LogWish(keep_partial=True))
    assert kept.rows == 19_999
