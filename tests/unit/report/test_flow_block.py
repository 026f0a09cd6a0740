"""The report's block of air through cores, fans and openings, typeset on its own."""

import json
from importlib.resources import files
from pathlib import Path

import pytest

from tuftwork.study.flow.inside import inside_rows

typst = pytest.importorskip("typst")
CORE = {
    "name": "radiator", "is_fan": False, "area": 0.24, "mass_flow": 1.314, "speed": 4.47,
    "drop": 96.2, "law_drop": 91.0, "pressure_drop": None, "unevenness": 0.24,
}  # fmt: skip
VENT = {"name": "vent in the wheel arch behind the front wheel", "kind": "outlet", "area": 0.0412,
        "mass_flow": 0.734, "pressure": -0.23, "total": -0.05, "net_flow": 0.731}  # fmt: skip


def words(part: object) -> str:
    """All text of a piece of a document."""
    if isinstance(part, dict):
        if part.get("func") == "space":
            return " "
        return "".join(
            words(part[key]) for key in ("text", "body", "child", "children") if key in part
        )
    return "".join(map(words, part)) if isinstance(part, list) else str(part)


def room_in(folder: Path) -> None:
    """Lay out the report's own files."""
    for name in ("house.typ", "section/flow.typ"):
        text = files("tuftwork.report").joinpath(*name.split("/")).read_text(encoding="utf-8")
        (folder / Path(name).name).write_text(text, encoding="utf-8")


@pytest.mark.parametrize("shown", [("fluctuation",), ("instants",), ("instants", "fluctuation")])
def test_what_was_kept_over_time_is_shown_without_planes_too(
    shown: tuple[str, ...], tmp_path: Path
) -> None:
    room_in(tmp_path)
    dot = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>'
    (tmp_path / "dot.svg").write_text(dot, encoding="utf-8")
    run = {"figures": dict.fromkeys(shown, "dot.svg"), "over_time": "Kept over time: 9 samples.",
           "captions": {"instants": "Four.", "fluctuation": "Swings."}}  # fmt: skip
    (tmp_path / "run.json").write_text(json.dumps(run), encoding="utf-8")
    page = tmp_path / "page.typ"
    text = '#import "flow.typ": over-time\n#over-time(json("run.json"))\n'
    page.write_text(text, encoding="utf-8")
    assert len(json.loads(typst.query(str(page), "image"))) == len(shown)


def test_every_core_and_opening_is_a_row_with_flow_pressure_and_note(tmp_path: Path) -> None:
    room_in(tmp_path)
    fan = CORE | {"name": "fan", "is_fan": True, "drop": -61.0}
    case = {"density": 1.18}
    rows = inside_rows({"case": case, "cores": [CORE, fan], "openings": [VENT]}, 61.1)
    (tmp_path / "rows.json").write_text(json.dumps(rows), encoding="utf-8")
    page = tmp_path / "page.typ"
    page.write_text('#import "flow.typ": inside\n#inside(json("rows.json"))\n', encoding="utf-8")
    (table,) = json.loads(typst.query(str(page), "table"))
    cells = [words(cell) for cell in table["children"] if "body" in cell]
    assert len(cells) == 4 * 6
    told = [" ".join(cells[k : k + 6]) for k in range(6, 24, 6)]
    for row, name, wanted in zip(
        told,
        ("radiator", "fan", VENT["name"]),
        (
            ("1.314", "falls by 96", "24"),
            ("rises by 61",),
            ("0.734", "15.1", "412", "Cp −0.23", "0.731"),
        ),
        strict=True,
    ):
        assert row.startswith(str(name))
        assert all(text in row for text in wanted)
