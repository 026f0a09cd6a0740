"""Writing the demo projects: everything a client would bring, invented or published."""

from importlib.resources import files
from pathlib import Path

from tuftwork.demo.circuit import carr_moss
from tuftwork.demo.day import coast_table, day_table, demo_day
from tuftwork.demo.rig import laps_table, pressures_table, tunnel_table
from tuftwork.demo.truth import FORCE_SCATTER, PassRow, measured_passes
from tuftwork.errors import InputError
from tuftwork.files import read_project, record_digests
from tuftwork.quantity import Z80

_BROCHURE = """\
THE PREVIOUS SUPPLIER - AERO KIT FOR THE KESSRICK HALYARD GT            (invented for the demo)

p. 2  Our rear wing makes 260 kg at 160 km/h.
      The car makes 310 kg at 180 km/h and 600 kg at 240 km/h.
p. 3  Cd 0.38, top speed 272 km/h. Balance 43 % front, constant.
p. 4  Front cooler exit 0.090 m2 through the arch slots.
"""
_DRIVER = """\
Driver B, after the first day (invented for the demo)

Fine in the medium ones. In the two fastest corners the rear moves when I pick up the throttle.
The engineer wants more wing.
"""
_RULES = """\
NATIONAL OPEN COUPE, DIVISION 2 - BODYWORK, EXTRACT                     (invented for the demo)

3.1  Splitter at most 90 mm ahead of the bodywork in plan.
3.2  Ground clearance at least 50 mm with the driver on board.
3.3  Floor flat between the axles. The diffuser starts no earlier than the rear axle line; its exit
     is at most 200 mm above the reference plane and 100 mm behind the bumper.
3.4  One rear wing of one element, span at most 1.70 m, chord at most 300 mm, not above the roof,
     gurney at most 20 mm.
3.5  Nothing moves.
3.6  Bonnet vents at most 0.080 m2 net; the tyre must not be visible from above.
"""
_SHEET = """\
item,front,rear,unit
ride height (no driver),60,74,mm
wheel rate,72 N/mm,445 lbf/in,
tyre rate,265,265,N/mm
track,1.64,1.60,m
"""


def write_demo(folder: Path) -> Path:
    """Write the Halyard project into a new or empty folder and return it.

    Raises
    ------
    InputError
        If the folder exists and is not empty: nothing of a user's is ever overwritten.
    """
    _require_empty(folder)
    evidence = folder / "evidence"
    evidence.mkdir(parents=True)
    passes = measured_passes()
    for name, text in (
        ("brochure.txt", _BROCHURE),
        ("driver-notes.txt", _DRIVER),
        ("rules.txt", _RULES),
        ("setup-sheet.csv", _SHEET),
        ("passes.csv", _passes_table(passes)),
        ("day-1.csv", day_table(demo_day())),
        ("coast-1.txt", coast_table()),
        ("laps-1.csv", laps_table()),
        ("tunnel-1.csv", tunnel_table()),
        ("pressures-1.csv", pressures_table()),
        ("carr-moss.csv", carr_moss()),
    ):
        (evidence / name).write_text(text, encoding="utf-8")
    run = files("tuftwork.demo").joinpath("flow_close_look.npz").read_bytes()
    (evidence / "flow-close-look.npz").write_bytes(run)
    head = files("tuftwork.demo").joinpath("halyard.toml").read_text(encoding="utf-8")
    text = head + "\n" + "\n".join(_measured_row(i, row) for i, row in enumerate(passes, 1))
    text = _with_pictures(folder, text, "halyard_pictures.toml", HALYARD)
    (folder / "project.toml").write_text(text, encoding="utf-8")
    record_digests(read_project(folder))
    (folder / "project.toml.previous").unlink()  # a new project has no earlier version
    return folder


def write_prototype(folder: Path) -> Path:
    """Write the published component table as a project into a new or empty folder.

    Raises
    ------
    InputError
        If the folder exists and is not empty.
    """
    _require_empty(folder)
    (folder / "evidence").mkdir(parents=True)
    text = files("tuftwork.demo").joinpath("prototype.toml").read_text(encoding="utf-8")
    (folder / "project.toml").write_text(text, encoding="utf-8")
    return folder


def write_road(folder: Path) -> Path:
    """Write the study of an invented road car from pictures into a new or empty folder.

    Raises
    ------
    InputError
        If the folder exists and is not empty.
    """
    _require_empty(folder)
    (folder / "evidence").mkdir(parents=True)
    head = files("tuftwork.demo").joinpath("road.toml").read_text(encoding="utf-8")
    text = _with_pictures(folder, head, "", ROAD_CAR)
    (folder / "project.toml").write_text(text, encoding="utf-8")
    record_digests(read_project(folder))
    (folder / "project.toml.previous").unlink()  # a new project has no earlier version
    return folder


HALYARD, ROAD_CAR = "halyard", "road"


def _with_pictures(folder: Path, text: str, more: str, which: str) -> str:
    """Draw the photographs into ``evidence/`` and return the project with their marks."""
    from tuftwork.demo.mould import Mould
    from tuftwork.demo.photo import ROAD, halyard_shots, picture_tables, road_shots, write_photo

    mould = Mould() if which == HALYARD else ROAD
    shots = halyard_shots(mould) if which == HALYARD else road_shots(mould)
    rows = []
    for number, shot in enumerate(shots, 1):
        name = f"photo-{shot.id.lower()}.jpg"
        write_photo(folder / "evidence" / name, shot, mould)
        rows.append(
            f'[[evidence]]\nid = "E{60 + number}"\ntitle = "{shot.title}"\nkind = "photo"\n'
            f'file = "{name}"\n'
        )
    text = text.replace("[[evidence]]", "\n".join(rows) + "\n[[evidence]]", 1)
    tables = picture_tables(shots, mould, lambda shot: f"E6{shot.id[1:]}")
    tail = files("tuftwork.demo").joinpath(more).read_text(encoding="utf-8") if more else ""
    return f"{text}\n{tail}\n{tables}"


def write_student(folder: Path) -> Path:
    """Write the student team's wing study, answered by sections and lattice, into a new folder.

    Raises
    ------
    InputError
        If the folder exists and is not empty.
    """
    from tuftwork.section import naca

    _require_empty(folder)
    (folder / "evidence").mkdir(parents=True)
    flap = naca("6411", n_point=161)
    rows = [f"{x:.6f},{y:.6f}" for x, y in zip(flap.x, flap.y, strict=True)]
    text = "# flap section, drawn by the team (invented)\n" + "\n".join(rows) + "\n"
    (folder / "evidence" / "flap.csv").write_text(text, encoding="utf-8")
    text = files("tuftwork.demo").joinpath("student.toml").read_text(encoding="utf-8")
    (folder / "project.toml").write_text(text, encoding="utf-8")
    record_digests(read_project(folder))
    (folder / "project.toml.previous").unlink()
    return folder


DEMOS = {
    "halyard": write_demo,
    "prototype": write_prototype,
    "road": write_road,
    "student": write_student,
}
"""Demo projects by name."""


def _require_empty(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        cure = "Give the name of a new folder."
        raise InputError("folder", f"'{folder}'", "", "already holds something", cure)


def _arm(speed: float) -> float:
    """Return half the 80 % range of an axle's CzS at a speed: forces scatter in newtons. [m²]"""
    return Z80 * FORCE_SCATTER / (0.5 * 1.18 * speed**2)


def _measured_row(number: int, row: PassRow) -> str:
    arm = _arm(row.speed) + 0.008  # the second term: air density, axle scales, GPS speed
    kmh = round(row.speed * 3.6)
    return f"""\
[[measured]]
id = "M{number}"
origin = "measured"
from = "passes.csv, {kmh} km/h both ways"
evidence = "E3"
speed = "{kmh} km/h ± 0.5 %"
ride_height_front = "{1e3 * row.ride_height_front:.1f} mm ± 0.4 mm"
ride_height_rear = "{1e3 * row.ride_height_rear:.1f} mm ± 0.4 mm"
downforce_front = "{row.front:.3f} m^2 ± {arm:.3f} m^2"
downforce_rear = "{row.rear:.3f} m^2 ± {arm:.3f} m^2"
drag = "{row.drag:.3f} m^2 ± {0.02 + arm / 2:.3f} m^2"
"""


def _passes_table(rows: tuple[PassRow, ...]) -> str:
    head = "speed_kmh,ride_height_front_mm,ride_height_rear_mm,CzSf_m2,CzSr_m2,CxS_m2"
    lines = [
        f"{row.speed * 3.6:.0f},{1e3 * row.ride_height_front:.1f},{1e3 * row.ride_height_rear:.1f},"
        f"{row.front:.3f},{row.rear:.3f},{row.drag:.3f}"
        for row in rows
    ]
    return "\n".join([head, *lines]) + "\n"
