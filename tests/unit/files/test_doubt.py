"""Slips of a power of ten are doubted, a gurney no engine answers is refused, all at once."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from tuftwork.cli import program
from tuftwork.demo import DEMOS
from tuftwork.errors import FileFault
from tuftwork.files import new_project, read_project

WING = """
[[parts]]
name = "rear wing"
kind = "wing"
span = "1.70 m"
chord = "{chord}"
incidence = "8 °"
station = "2.9 m"
height = "1.1 m"
gurney = "{gurney}"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new_project(tmp_path / "car", title="A car").folder


def write(folder: Path, *, chord: str = "300 mm", gurney: str = "12 mm", more: str = "") -> None:
    path = folder / "project.toml"
    path.write_text(
        path.read_text("utf-8") + WING.format(chord=chord, gurney=gurney) + more, "utf-8"
    )


def set_ride(folder: Path, height: str) -> None:
    path = folder / "project.toml"
    lines = path.read_text("utf-8").splitlines(keepends=True)
    at = next(k for k, line in enumerate(lines) if line.startswith("ride_height_front"))
    lines[at] = f'ride_height_front = "{height}"\n'
    path.write_text("".join(lines), "utf-8")


def test_a_gurney_above_five_per_cent_is_refused_with_its_part(folder: Path) -> None:
    write(folder, gurney="20 mm")
    with pytest.raises(FileFault) as told:
        read_project(folder)
    (fault,) = told.value.faults
    assert fault.key == "parts.rear wing.gurney"
    assert fault.found == "20 mm, 6.7 % of the chord of 300 mm"
    assert fault.expected == "at most 5 % of the chord, 15.0 mm"
    assert fault.line
    assert fault.cure


def test_five_per_cent_itself_is_read(folder: Path) -> None:
    write(folder, gurney="15 mm")
    assert read_project(folder).doubts == ()


def test_a_state_that_raises_the_gurney_is_refused_too(folder: Path) -> None:
    state = '\n[[states]]\nname = "more"\nset = { "rear wing.gurney" = "18 mm" }\n'
    write(folder, more=state)
    with pytest.raises(FileFault) as told:
        read_project(folder)
    (fault,) = told.value.faults
    assert "states.more" in fault.key
    assert "18 mm" in fault.found


def test_slips_of_a_power_of_ten_are_doubted_all_at_once(folder: Path) -> None:
    write(folder, chord="2600 mm")
    set_ride(folder, "78 cm")
    opened = read_project(folder)
    told = {fault.key: fault for fault in opened.doubts}
    chord = told["parts.rear wing.chord"]
    assert (chord.found, chord.expected[:13]) == ("2600 mm", "30 to 1000 mm")
    assert chord.cure.startswith("Is 260 mm meant?")
    ride = next(fault for key, fault in told.items() if key.endswith("ride_height_front"))
    assert ride.found == "78 cm"
    assert ride.cure.startswith("Is 78 mm meant?")
    assert len(told) == 2
    assert all(fault.line for fault in told.values())
    assert set(opened.doubts) <= set(opened.notices)


def test_check_names_what_is_doubted_and_says_no(folder: Path) -> None:
    write(folder, chord="2600 mm")
    done = CliRunner().invoke(program, ["check", str(folder)])
    assert done.exit_code == 1
    said = " ".join(done.output.split())
    assert "Numbers to look at: parts.rear wing.chord." in said
    assert "Nothing wrong found" not in said


def test_a_refused_gurney_is_told_with_the_other_faults(folder: Path) -> None:
    write(folder, gurney="20 mm", more='\n[[parts]]\nname = "lump"\nkind = "lmp"\n')
    with pytest.raises(FileFault) as told:
        read_project(folder)
    assert {"parts.rear wing.gurney", "parts.lump.kind"} <= {f.key for f in told.value.faults}


@pytest.mark.parametrize("name", DEMOS)
def test_no_number_of_a_demo_is_doubted(name: str, tmp_path: Path) -> None:
    assert read_project(DEMOS[name](tmp_path / name)).doubts == ()


def set_car(folder: Path, *keys: str, power: bool) -> None:
    """Write keys into the car's table, its own power taken out or kept."""
    path = folder / "project.toml"
    lines = path.read_text("utf-8").splitlines(keepends=True)
    lines = [line for line in lines if not line.startswith("power")]
    at = next(k for k, line in enumerate(lines) if line.startswith("wheelbase"))
    more = ['power = "300 kW"\n'] if power else []
    path.write_text("".join([*lines[:at], *more, *(f"{k}\n" for k in keys), *lines[at:]]), "utf-8")


def test_an_aspiration_without_power_is_refused(folder: Path) -> None:
    set_car(folder, 'aspiration = "turbocharged"', power=False)
    with pytest.raises(FileFault) as told:
        read_project(folder)
    (fault,) = told.value.faults
    assert (fault.key, fault.found) == ("car.aspiration", "turbocharged")
    assert "power = " in fault.cure
    assert fault.line


def test_an_aspiration_with_power_is_read(folder: Path) -> None:
    set_car(folder, 'aspiration = "turbocharged"', power=True)
    assert read_project(folder).project.car.aspiration == "turbocharged"


def test_a_car_without_power_needs_no_aspiration(folder: Path) -> None:
    set_car(folder, power=False)
    assert read_project(folder).project.car.power is None
