"""From a number's place to the marks it was read from, for chains of evidence."""

import re

from tuftwork.car import Project
from tuftwork.study.number import Link
from tuftwork.study.picture.page import pixels_of

_NAMED = re.compile(r"\bR[\w-]*\d+\b")


def mark_links(project: Project, place: str) -> list[Link]:
    """Return a step for every mark of every reading that a place names: ``reading R1: …``."""
    room = project.reading
    if room is None or "reading" not in place:
        return []
    readings = {r.id: r for r in room.readings}
    photos = {p.id: p for p in room.pictures}
    found = []
    for name in dict.fromkeys(_NAMED.findall(place)):
        asked = readings.get(name)
        if asked is None:
            continue
        found.append(
            Link(
                what=f"Reading {asked.id}: {asked.name}", origin="digitised",
                source=f"picture {asked.picture}",
                place=f"{asked.kind} of {', '.join(asked.marks)}",
            )
        )  # fmt: skip
        owner = photos[asked.picture]
        for mark in (*asked.marks, *asked.less):
            if mark in owner.marks:
                found.append(
                    Link(
                        what=f"Mark {mark}", origin="digitised",
                        source=f"picture {owner.id}, {owner.evidence}",
                        place=pixels_of(owner.marks[mark]),
                    )
                )  # fmt: skip
    return found
