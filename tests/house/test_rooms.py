"""The order of the rooms and the size of the modules, kept by a machine."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SRC = ROOT / "src" / "tuftwork"
ROOMS = (
    *("errors", "quantity", "air", "car", "shape", "reading", "section", "wing", "floor"),
    *("cooling", "flow", "aeromap", "lap", "trial", "claims", "rules", "loads", "files"),
    *("plot", "study", "demo", "report", "app", "cli"),
)
"""A room imports only from rooms to its left and from itself."""
RIM = {"files", "plot", "study", "demo", "report", "app", "cli"}
LONGEST = 400
HEAVY = {"numba", "scipy", "matplotlib", "xarray", "polars", "cv2", "CoolProp", "fastapi", "pint"}
HEAVY |= {"pydantic", "numpy", "typst", "statsmodels", "sklearn", "trimesh"}


def modules() -> list[Path]:
    return sorted(p for p in SRC.rglob("*.py") if "dist" not in p.parts)


def room_of(path: Path) -> str:
    return path.relative_to(SRC).with_suffix("").parts[0]


def imported_rooms(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names = [node.module or ""]
            if node.module == "tuftwork":
                names = [f"tuftwork.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        found |= {n.split(".")[1] for n in names if n.startswith("tuftwork.") and "__" not in n}
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(SRC)))
def test_a_room_imports_only_from_rooms_before_it(path: Path) -> None:
    room = room_of(path)
    if room == "__init__":
        return
    assert room in ROOMS, f"{room} is not in the order of rooms"
    for other in imported_rooms(path):
        assert ROOMS.index(other) <= ROOMS.index(room), f"{room} imports {other}"


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(SRC)))
def test_physics_never_reaches_the_rim(path: Path) -> None:
    if room_of(path) not in RIM | {"__init__"}:
        assert not imported_rooms(path) & RIM


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(SRC)))
def test_a_module_is_short_and_says_what_it_is(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    about = ast.get_docstring(ast.parse(text)) or ""
    assert about
    assert len(text.splitlines()) <= LONGEST or "generated from" in about


def test_the_command_starts_without_heavy_libraries() -> None:
    code = f"import sys, tuftwork.cli; print(sorted(set(sys.modules) & {HEAVY!r}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_module_that_names_shapes_is_checked_while_tests_run(
    pytestconfig: pytest.Config,
) -> None:
    given = next(x for x in pytestconfig.getini("addopts") if "jaxtyping" in x)
    listed = set(given.partition("=")[2].split(",")) - {"shapecheck.checker"}
    named = {
        ".".join(p.relative_to(SRC.parent).with_suffix("").parts)
        for p in modules()
        if re.search(r"^(?:from|import) jaxtyping", p.read_text("utf-8"), re.MULTILINE)
    }
    assert listed == named
