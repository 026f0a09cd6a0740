"""Small tables of a test: units in names, words and numbers, every fault with its line."""

from pathlib import Path

import pytest

from tuftwork.errors import FileFault
from tuftwork.files.testtable import WORD, Wanted, read_test_table

LAPS = {"state": Wanted(holds=WORD), "time": Wanted(holds="time", unit="s"),
        "use": Wanted(holds="", must=False)}  # fmt: skip


def put(folder: Path, text: str) -> Path:
    path = folder / "a.csv"
    path.write_bytes(text.encode())
    return path


def test_separators_units_minutes_and_comments(tmp_path: Path) -> None:
    text = "\ufeff# laps\nState;Time [min];Use;Note\nA;1,5;1;fine\nB;1:31.25;;\n"
    table = read_test_table(put(tmp_path, text), LAPS)
    assert table.rows[0] == {"state": "A", "time": 90.0, "use": 1.0}
    assert table.rows[1]["time"] == pytest.approx(91.25)
    assert table.lines == (3, 4)
    assert table.others == ("Note",)


def test_columns_nobody_named_can_be_read_as_one_kind(tmp_path: Path) -> None:
    path = put(tmp_path, "state,time,tap 1 [hPa],Tap B [Pa]\nA,90,1.5,-20\n")
    row = read_test_table(path, LAPS, more=Wanted(holds="pressure", unit="Pa")).rows[0]
    assert row["tap 1"] == pytest.approx(150.0)
    assert row["Tap B"] == pytest.approx(-20.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("state,use\nA,1\n", "no column 'time'"),
        ("state,time\n", "no row"),
        ("state,time\nA,90,3\n", "line 2: has another number of columns"),
        ("state,time\nA,90\nB,fast\n", "line 3: 'time' is not a number"),
        ("state,time\nA,90\nB,\n", "line 3: 'time' is not a number. Found: nothing"),
        ("state,time\nA,1e400\n", "not a number"),
        ("state,time [mm]\nA,90\n", "no unit of time"),
        ("state,time,time\nA,90,91\n", "'time' twice"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(FileFault) as caught:
        read_test_table(put(tmp_path, text), LAPS)
    said = str(caught.value)
    assert words in said or words.replace("line 2: ", ":2: ").replace("line 3: ", ":3: ") in said


def test_all_faults_come_at_once_and_bytes_that_are_no_text_are_named(tmp_path: Path) -> None:
    with pytest.raises(FileFault) as caught:
        read_test_table(put(tmp_path, "state,time\nA,x\nB,y\nC,90\n"), LAPS)
    assert len(caught.value.faults) == 2
    path = tmp_path / "b.csv"
    path.write_bytes(b"state,time\nA,90\nB\xff,91\n")
    with pytest.raises(FileFault) as caught:
        read_test_table(path, LAPS)
    assert caught.value.faults[0].line == 3
    with pytest.raises(FileFault, match="cannot be read"):
        read_test_table(tmp_path / "missing.csv", LAPS)
