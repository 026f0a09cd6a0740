"""Broken projects: each is refused with its place, and nothing on the disk is touched."""

# ruff: noqa: E501  a table of cases reads best with one case to a line

import hashlib
import random
from pathlib import Path

import pytest

from tuftwork.errors import Fault, FileFault
from tuftwork.files import parse_project, read_project

# what is broken, text replaced, by what, the place the message names, words it must hold
CHANGED = [
    ("unit missing", 'wheelbase = "2.620 m"', 'wheelbase = "2.620"', "car.wheelbase", "needs a unit"),
    ("bare number", 'wheelbase = "2.620 m"', "wheelbase = 2.620", "car.wheelbase", "needs a unit"),
    ("unit of something else", '"2.620 m"', '"2.620 kg"', "car.wheelbase", "unit of mass"),
    ("unit nobody knows", '"2.620 m"', '"2.620 furlongs"', "car.wheelbase", "unknown unit"),
    ("no number at all", '"2.620 m"', '"about two and a half"', "car.wheelbase", "not a length"),
    ("decimal comma", '"2.620 m"', '"2,620 m"', "car.wheelbase", "Found: '2,620 m'"),
    ("empty number", '"2.620 m"', '""', "car.wheelbase", "not a length"),
    ("negative length", '"2.620 m"', '"-2.620 m"', "car.wheelbase", "above zero"),
    ("zero mass", '"1285 kg"', '"0 kg"', "mass_states.race.mass", "above zero"),
    ("longer than any car", '"2.620 m"', '"26.2 m"', "car.wheelbase", "at most 6 m"),
    ("share above one", '"47.5 %"', '"475 %"', "mass_states.race.front_weight", "at most 100 %"),
    ("colder than cold", '"24 °C"', '"-300 °C"', "weather.temperature", "at least -73.15 °C"),
    ("nan as a number", '"24 °C"', "nan", "weather.temperature", "finite"),
    ("nan as text", '"24 °C"', '"nan °C"', "weather.temperature", "not a temperature"),
    ("infinity", '"24 °C"', "inf", "weather.temperature", "finite"),
    ("altitude beside a pressure", 'humidity = "40 %"', 'pressure = "1 bar"\naltitude = "90 m"', "weather", "changes nothing"),
    ("range upside down", '"40 %"', '"60..40 %"', "weather.humidity", "smaller"),
    ("boolean for a number", '"24 °C"', "true", "weather.temperature", "number with its unit"),
    ("list for a number", '"24 °C"', '["24 °C"]', "weather.temperature", "number with its unit"),
    ("text for a whole number", "draws = 256", 'draws = "256"', "study.draws", "a whole number"),
    ("fraction for a whole number", "draws = 256", "draws = 2.5", "study.draws", "a whole number"),
    ("too few draws", "draws = 256", "draws = 3", "study.draws", "at least 32"),
    ("text for yes or no", "constant = true", 'constant = "yes"', "claims.C4.constant", "true or false"),
    ("number for text", 'name = "Coupe"', "name = 7", "car.name", "text in quotes"),
    ("no such day", "day = 2026-05-03", 'day = "soon"', "about.day", "not a day"),
    ("unknown key", 'power = "355 kW"', 'powr = "355 kW"', "car.powr", "Did you mean 'power'"),
    ("unknown table", "[weather]", "[wether]", "wether", "Did you mean 'weather'"),
    ("unknown key in a part", 'span = "1.70', 'spam = "1.70', "parts.rear wing.spam", "Did you mean 'span'"),
    ("key missing", 'chord = "300 mm"\n', "", "parts.rear wing.chord", "this key is missing"),
    ("unknown kind of part", 'kind = "wing"', 'kind = "wign"', "parts.rear wing.kind", "Did you mean 'wing'"),
    ("kind missing", 'kind = "wing"\n', "", "parts.rear wing.kind", "'kind' is missing"),
    ("unknown kind of claim", 'kind = "balance"', 'kind = "ballance"', "claims.C4.kind", "Did you mean 'balance'"),
    ("unknown choice", 'role = "out"', 'role = "exit"', "openings.front cooler exit.role", "'in' or 'out'"),
    ("unknown origin", 'origin = "measured"', 'origin = "guessed"', "car.frontal_area", "One of: measured"),
    ("strange key in a number", 'from = "E1, front photo"', 'frm = "E1"', "car.frontal_area", "not known here"),
    ("number without its value", 'value = "2.04 m^2 ± 2 %", ', "", "car.frontal_area", "needs 'value'"),
    ("name used twice", 'name = "shell"', 'name = "rear wing"', "parts.rear wing.name", "used twice"),
    ("id used twice", 'id = "C4"', 'id = "C1"', "claims.C1.id", "used twice"),
    ("claim on a part that is not there", 'part = "rear wing"', 'part = "raer wing"', "claims.C1.part", "Did you mean 'rear wing'"),
    ("claim on a part without its name", 'part = "rear wing"\n', "", "claims.C1.on", "needs the part's name"),
    ("state that is not there", 'state = "as raced"', 'state = "as rcaed"', "measured.M1.state", "Did you mean 'as raced'"),
    ("evidence that is not there", 'evidence = "E1"', 'evidence = "E9"', "measured.M1.evidence", "no evidence of this name"),
    ("mass state that is not there", "draws = 256", 'mass_state = "rcae"', "study.mass_state", "Did you mean 'race'"),
    ("state sets a part that is not there", '"rear wing.incidence"', '"tail wing.incidence"', "states.more wing.set", "no part of this name"),
    ("state sets a key that is not there", '"rear wing.incidence"', '"rear wing.angle"', "states.more wing.set", "no key of this name"),
    ("state sets without a key", '"rear wing.incidence"', '"incidence"', "states.more wing.set", "needs a part and a key"),
    ("state sets another unit", '"12 °"', '"12 mm"', "states.more wing.set.rear wing.incidence", "unit of length"),
    ("state sets the impossible", '"12 °"', '"120 °"', "states.more wing.set.rear wing.incidence", "at most 68.75 °"),
    ("evidence file not there", '"front.jpg"', '"frnt.jpg"', "evidence.E1.file", "Did you mean 'front.jpg'"),
    ("evidence outside the folder", '"front.jpg"', '"../../etc/hosts"', "evidence.E1.file", "leads out of the project"),
    ("evidence by absolute path", '"front.jpg"', '"/etc/hosts"', "evidence.E1.file", "leads out of the project"),
    ("evidence is a folder", '"front.jpg"', '"."', "evidence.E1.file", "a folder, not a file"),
    ("digest cut short", 'file = "front.jpg"', 'file = "front.jpg"\ndigest = "sha256:12"', "evidence.E1.digest", "match pattern"),
    ("speed without a unit", '"180 km/h", ', '"180", ', "study.speeds.1", "needs a unit"),
    ("no speeds", '["140 km/h", "180 km/h", "220 km/h"]', "[]", "study.speeds", "at least 1"),
    ("one speed, no list", '["140 km/h", "180 km/h", "220 km/h"]', '"140 km/h"', "study.speeds", "a list"),
    ("number for a coefficient's text", 'slope = "0.9"', "slope = 0.9", "parts.rear wing.model.slope", "text in quotes"),
    ("table where a list belongs", "[[evidence]]", "[evidence]", "evidence", "a list"),
    ("form of the future", "form = 1", "form = 99", "form", "newer version"),
    ("form of another kind", "form = 1", 'form = "one"', "form", "one of 0, 1"),
    ("quote not closed", 'name = "Coupe"', 'name = "Coupe', "name", "not TOML"),
    ("key written twice", 'power = "355 kW"', 'wheelbase = "2.7 m"', "wheelbase", "not TOML"),
    ("bracket not closed", "[weather]", "[weather", "project.toml", "not TOML"),
    ("no value", 'temperature = "24 °C"', "temperature = ", "temperature", "not TOML"),
    ("table written twice", "[weather]", "[about]", "project.toml", "not TOML"),
]  # fmt: skip
NAMES = [case[0] for case in CHANGED]


def _everything(folder: Path) -> dict[str, str]:
    """Return a digest of every file, so that a test can say nothing was touched."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def _refusal(folder: Path) -> FileFault:
    before = _everything(folder)
    with pytest.raises(FileFault) as caught:
        read_project(folder)
    assert _everything(folder) == before
    return caught.value


def test_the_project_they_are_broken_from_is_right(folder: Path) -> None:
    opened = read_project(folder)
    assert opened.project.car.name == "Coupe"
    assert opened.notices == ()


def test_there_are_enough_of_them() -> None:
    assert len(CHANGED) >= 40
    assert len(set(NAMES)) == len(NAMES)


@pytest.mark.parametrize(("what", "old", "new", "place", "words"), CHANGED, ids=NAMES)
def test_each_is_refused_with_file_line_and_key(
    folder: Path, good: str, what: str, old: str, new: str, place: str, words: str
) -> None:
    assert good.count(old) >= 1, what
    broken = good.replace(old, new, 1)
    (folder / "project.toml").write_text(broken, encoding="utf-8")
    refused = _refusal(folder)
    told = [f for f in refused.faults if place in (f.key or f.file) or f.key.startswith(place)]
    assert told, str(refused)
    assert any(words in str(f) for f in told), str(refused)
    assert all(f.file == "project.toml" and f.line for f in refused.faults), str(refused)
    lines = broken.splitlines()
    changed_on = good[: good.index(old)].count("\n") + 1
    # a key taken away, or two that clash, leave only their table to point at
    reach = 8 if new == "" or words == "changes nothing" else 1
    assert any(changed_on - reach <= (f.line or 0) <= changed_on + 1 for f in told), (
        changed_on,
        [(f.line, lines[(f.line or 1) - 1]) for f in told],
    )


def test_all_faults_are_told_at_once(folder: Path, good: str) -> None:
    broken = good
    for old, new in (
        ('"2.620 m"', '"2.620"'),
        ('chord = "300 mm"\n', ""),
        ('part = "rear wing"', 'part = "tail"'),
        ('"front.jpg"', '"/etc/hosts"'),
        ("draws = 256", "drwas = 256"),
    ):
        broken = broken.replace(old, new)
    (folder / "project.toml").write_text(broken, encoding="utf-8")
    refused = _refusal(folder)
    assert [f.key for f in refused.faults] == [
        "car.wheelbase",
        "parts.rear wing.chord",
        "claims.C1.part",
        "evidence.E1.file",
        "study.drwas",
    ]
    assert str(refused).startswith("5 faults")


def test_a_file_of_fifty_megabytes_is_refused_at_once(folder: Path) -> None:
    with (folder / "project.toml").open("r+b") as file:
        file.truncate(50_000_000)
    assert "50.0 MB" in str(_refusal(folder))


def test_text_in_another_encoding_names_the_line(folder: Path, good: str) -> None:
    (folder / "project.toml").write_bytes(good.encode("latin-1"))
    fault = _refusal(folder).faults[0]
    assert fault.what == "is not UTF-8 text"
    assert fault.line == 1 + good[: good.index("±")].count("\n")


def test_utf16_is_called_by_its_name(folder: Path, good: str) -> None:
    (folder / "project.toml").write_bytes(good.encode("utf-16"))
    assert "UTF-16" in str(_refusal(folder))


def test_a_mark_at_the_start_of_utf8_does_no_harm(folder: Path, good: str) -> None:
    (folder / "project.toml").write_bytes(good.encode("utf-8-sig"))
    assert read_project(folder).project.car.name == "Coupe"


def test_zero_bytes_say_that_the_file_was_cut_off(folder: Path, good: str) -> None:
    (folder / "project.toml").write_bytes(good[:300].encode() + b"\0" * 200)
    assert "cut off" in str(_refusal(folder))


@pytest.mark.parametrize("kept", [0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 0.97])
def test_a_truncated_file_is_refused(folder: Path, good: str, kept: float) -> None:
    data = good.encode()
    (folder / "project.toml").write_bytes(data[: int(kept * len(data))])
    assert all(fault.file == "project.toml" for fault in _refusal(folder).faults)


def test_a_truncated_file_names_the_version_that_can_be_read(folder: Path, good: str) -> None:
    (folder / "project.toml.previous").write_text(good, encoding="utf-8")
    (folder / "project.toml").write_text(good[:200], encoding="utf-8")
    assert "project.toml.previous" in str(_refusal(folder))


def test_an_empty_file_is_refused(folder: Path) -> None:
    (folder / "project.toml").write_text("  \n", encoding="utf-8")
    assert "is empty" in str(_refusal(folder))


def test_nesting_without_end_is_refused(folder: Path) -> None:
    (folder / "project.toml").write_text("a = " + "[" * 100_000, encoding="utf-8")
    assert "nested too deeply" in str(_refusal(folder))


def test_a_folder_without_a_project_is_refused(folder: Path) -> None:
    (folder / "project.toml").unlink()
    assert "project.toml: is not there" in str(_refusal(folder))


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFault, match="is not a project folder"):
        read_project(tmp_path / "nowhere")


def test_a_project_file_that_is_a_folder_is_refused(folder: Path) -> None:
    (folder / "project.toml").unlink()
    (folder / "project.toml").mkdir()
    assert "is a folder, not a file" in str(_refusal(folder))


def test_a_project_file_that_links_to_itself_is_refused(folder: Path) -> None:
    (folder / "project.toml").unlink()
    (folder / "project.toml").symlink_to(folder / "project.toml")
    assert "leads back to itself" in str(_refusal(folder))


def test_a_folder_that_links_to_itself_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    with pytest.raises(FileFault, match="back to itself"):
        read_project(tmp_path / "a")


def test_evidence_that_links_in_a_circle_is_refused(folder: Path) -> None:
    photo = folder / "evidence" / "front.jpg"
    photo.unlink()
    photo.symlink_to(photo)
    assert "lead back to themselves" in str(_refusal(folder))


def test_evidence_that_links_out_of_the_folder_is_refused(folder: Path, tmp_path: Path) -> None:
    outside = tmp_path / "elsewhere.jpg"
    outside.write_bytes(b"x")
    photo = folder / "evidence" / "front.jpg"
    photo.unlink()
    photo.symlink_to(outside)
    assert "leads out of the project folder" in str(_refusal(folder))


VALUES = ("nan", "true", "[]", "{}", '""', '"1 m"', "1", "[[1]]", "{value=1}", '{kind="wing"}',
          "2020-01-01", '{value={value="1 m"}}', "['a',{b=1}]", '"""x\ny"""', "-inf")  # fmt: skip
LINES = ("[car.front.x]", "[[parts.model]]", "[study.speeds]", "[[claims.speed]]", "parts = 3",
         'claims = {kind="force"}', "[[states.set]]", 'states = [1, "a"]')  # fmt: skip
N_MUTATION = 400


def test_mutations_are_read_or_refused_and_nothing_else(folder: Path, good: str) -> None:
    choose = random.Random(11)
    refused = 0
    without_line: list[Fault] = []
    for _ in range(N_MUTATION):
        data = _mutated(good.splitlines(), choose)
        try:
            parse_project(data, folder)
        except FileFault as fault:
            refused += 1
            without_line += [f for f in fault.faults if not f.line]
    assert without_line == []
    assert refused > N_MUTATION / 2


def _mutated(lines: list[str], choose: random.Random) -> bytes:
    for _ in range(choose.choice((1, 1, 2, 4))):
        at = choose.randrange(len(lines))
        line = lines[at]
        how = choose.randrange(5)
        if how == 0:
            del lines[at]
        elif how == 1:
            lines.insert(at, choose.choice(lines))
        elif how == 2 and "=" in line:
            lines[at] = line.split("=")[0] + "= " + choose.choice(VALUES)
        elif how == 3 and line:
            place = choose.randrange(len(line))
            lines[at] = line[:place] + choose.choice("\"[]{}=,.\\#\0é'") + line[place + 1 :]
        else:
            lines[at] = choose.choice(LINES)
    return "\n".join(lines).encode()
