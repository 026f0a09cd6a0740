"""Report section of the pictures: annotated pictures, readings, rival readings, what to ask."""

from pathlib import Path
from typing import Any

from tuftwork.study import Bench
from tuftwork.study.answers import Answers


def reading_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return the section, its pictures drawn into ``folder``; None where there are no pictures."""
    from tuftwork.report.picture import annotated
    from tuftwork.study.picture.desk import desk_of
    from tuftwork.study.picture.page import pixels_of

    desk = desk_of(bench)
    if not desk.room.pictures:
        return None
    page = bench.page("pictures")
    pictures = []
    for line in page["pictures"]:
        if line["fault"] or not any(r["picture"] == line["id"] for r in page["readings"]):
            continue
        name = f"picture-{line['id']}.svg"
        made = annotated(bench, line["id"])
        (folder / name).write_text(made.svg(), encoding="utf-8")
        pictures.append({"file": name, "title": f"{line['id']} {line['title']}"})
    readings = []
    for row in page["readings"]:
        marks = [
            f"{name}: {pixels_of(photo.marks[name])}"
            for photo in desk.room.pictures
            for name in (*row["marks"], *row["less"])
            if name in photo.marks and photo.id == row["picture"]
        ]
        readings.append(row | {"where": "; ".join(marks)})
    return {
        "pictures": pictures,
        "readings": readings,
        "features": page["features"]["list"],
        "loose": page["features"]["loose"],
        "ask": page["features"]["ask"],
        "paths": page["features"]["paths"],
        "mending": page["features"]["mending"],
    }
