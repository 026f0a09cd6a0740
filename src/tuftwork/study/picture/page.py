"""The page of pictures: marks, readings with ranges, the stock of features, what to ask next."""

from typing import Any

import numpy as np

from tuftwork.car import Asked, Project, WingPart
from tuftwork.errors import InputError, NotConverged, NotCovered
from tuftwork.files.picture import TILE
from tuftwork.quantity import format_quantity, from_si, summarise
from tuftwork.reading import KINDS, Reading, planes_of, wheel_points
from tuftwork.study.number import Number, number_of_quantity, number_of_summary
from tuftwork.study.picture.desk import LIVE_DRAWS, Desk, desk_of

UNITS = {"length": "m", "height": "mm", "angle": "°", "area": "m²", "share": "%"}


def reading_page(bench: Any, picture: str = "") -> dict[str, Any]:
    """Return the page: all pictures, the marks of one, its readings, and the stock."""
    from tuftwork.study.picture.stocked import stock_tree
    from tuftwork.study.picture.traced import section_rows

    desk = desk_of(bench)
    if not desk.room.pictures:
        raise NotCovered(
            "No pictures yet. Register a photo as evidence, then add a [[reading.pictures]] table."
        )
    chosen = picture or desk.room.pictures[0].id
    photo = desk.photo(chosen)
    return {
        "project": desk.project.about.title,
        "pictures": [_line(desk, p.id) for p in desk.room.pictures],
        "picture": picture_tree(desk, chosen),
        "readings": [reading_row(desk, asked) for asked in desk.room.readings],
        "kinds": {name: kind.words for name, kind in KINDS.items()},
        "points": sorted({*wheel_points(), *(p.name for p in desk.room.points)}),
        "sections": section_rows(desk, chosen),
        "wings": [p.name for p in desk.project.parts if isinstance(p, WingPart)],
        "planes": list(planes_of(desk.project)),
        "features": stock_tree(bench, desk),
        "notices": list(desk.files[photo.id].notices) if photo.id in desk.files else [],
    }


def picture_tree(desk: Desk, name: str) -> dict[str, Any]:
    """Return one picture with its marks, its camera and what may be said of it."""
    photo = desk.photo(name)
    tree: dict[str, Any] = {
        "id": name,
        "title": photo.title,
        "tile": TILE,
        "click": photo.click,
        "marks": {k: [[x, y] for x, y in v] for k, v in photo.marks.items()},
        "on": dict(photo.on),
        "along": dict(photo.along),
        **camera_tree(desk, name),
    }
    if name in desk.files:
        tree |= {"width": desk.files[name].width, "height": desk.files[name].height}
    return tree


def camera_tree(desk: Desk, name: str) -> dict[str, Any]:
    """Return what is known of a picture's camera, or why nothing is."""
    try:
        solution = desk.solution(name)
    except (InputError, NotConverged, NotCovered) as error:
        return {"fault": desk.faults.get(name, str(error)), "camera": None, "notices": []}
    camera = solution.camera(name)
    place = camera.place()
    spread = float(np.sqrt(solution.covariance[at := solution.model.index[f"camera {name} 0"], at]))
    film = (
        float(camera.focal)
        * np.hypot(36.0, 24.0)
        / np.hypot(desk.files[name].width, desk.files[name].height)
    )
    return {
        "fault": "",
        "camera": {
            "focal_35mm": {
                "text": f"{film:.1f} mm ({film * (1 - 1.2816 * spread):.1f} to "
                f"{film * (1 + 1.2816 * spread):.1f})",
                "best": film, "low": film * np.exp(-1.2816 * spread),
                "high": film * np.exp(1.2816 * spread), "unit": "mm", "origin": "computed",
            },
            "distortion": float(camera.distortion),
            "place": [round(float(v), 3) for v in place],
            "miss_pixel": desk.residual(name),
            "strength": solution.strength(name),
        },
        "notices": [n for n in solution.notices if name in n or "click" in n],
    }  # fmt: skip


def reading_row(desk: Desk, asked: Asked, *, live: bool = False) -> dict[str, Any]:
    """Return one reading as pages show it."""
    row: dict[str, Any] = {
        "id": asked.id,
        "name": asked.name,
        "kind": asked.kind,
        "picture": asked.picture,
        "marks": list(asked.marks),
        "less": list(asked.less),
        "fills": asked.fills,
        "number": None,
        "shares": [],
        "differs": "",
        "fault": "",
    }
    try:
        found = desk.reading(asked, n_draw=LIVE_DRAWS if live else 400)
    except (InputError, NotConverged, NotCovered) as error:
        return row | {"fault": str(error)}
    row["number"] = number_of_reading(asked, found)
    row["shares"] = [{"name": n, "share": s} for n, s in found.shares[:4]]
    row["differs"] = differs(desk, asked, found) if asked.fills else ""
    return row


def number_of_reading(asked: Asked, found: Reading) -> Number:
    """Return a reading as a number that says why."""
    from dataclasses import replace

    summary = replace(summarise(found.draws), best=found.best, low=found.low, high=found.high)
    unit = UNITS[found.dimension]
    return number_of_summary(
        summary, found.dimension, unit=unit, origin="digitised", why=f"reading/{asked.id}"
    )


def reading_chain(bench: Any, address: str) -> dict[str, Any]:
    """Return the chain of a reading: number, marks with pixels, camera, what it was held to."""
    desk = desk_of(bench)
    asked = desk.asked(address.removeprefix("reading/"))
    found = desk.reading(asked)
    number = number_of_reading(asked, found)
    evidence = {e.id: e for e in desk.project.evidence}
    photo = desk.photo(asked.picture)
    item = evidence[photo.evidence]
    steps = [
        _step(f"Picture {photo.id}: {photo.title or item.title}", "measured",
              f"{item.id} {item.file}", item.digest.removeprefix("sha256:")[:12]),
    ]  # fmt: skip
    for name in (*asked.marks, *asked.less):
        for owner in desk.room.pictures:
            if name in owner.marks and (owner.id == photo.id or name not in photo.marks):
                steps.append(
                    _step(f"Mark {name}", "digitised", f"picture {owner.id}", pixels_of(
                        owner.marks[name]) + (f", on plane {owner.on[name]}"
                                              if name in owner.on else ""))
                )  # fmt: skip
    for plane in desk.room.planes:
        if any(photo.on.get(m) == plane.name for m in (*asked.marks, *asked.less)):
            steps.append(
                _step(f"Plane {plane.name}", plane.at.origin, "project.toml", plane.at.place,
                      number_of_quantity(plane.at))
            )  # fmt: skip
    wheelbase = desk.project.car.wheelbase
    steps += [
        _step("Wheelbase and tyres as rulers", wheelbase.origin, "project.toml", wheelbase.place,
              number_of_quantity(wheelbase)),
        _step("Camera from marks: least squares on all marks of the picture", "computed",
              "hartley2004", "section 18.1"),
        _step(f"{asked.kind} of {', '.join(asked.marks)}", "computed", "reading", asked.id, number),
    ]  # fmt: skip
    return {
        "id": address,
        "title": f"{asked.id}: {asked.name}",
        "number": number,
        "steps": steps,
        "dominates": [
            {"name": n, "label": n, "share": s, "halved": float(np.sqrt(1 - 0.75 * s))}
            for n, s in found.shares[:5]
        ],
        "decision": f"Source of {asked.fills}." if asked.fills else "",
        "notices": list(found.notices),
    }


def pixels_of(at: list[tuple[float, float]]) -> str:
    """Return a mark's pixels in words."""
    shown = ", ".join(f"({x:.1f}, {y:.1f})" for x, y in at[:6])
    return f"pixel {shown}" + (f" and {len(at) - 6} more" if len(at) > 6 else "")


def support_of_reading(project: Project, answers: Any) -> tuple[str, str]:
    """Return how well pictures support anything: digitised counts as measured."""
    room = project.reading
    if room is None or not room.pictures:
        return "none", ""
    count = len(room.readings)
    return "measured", f"{count} reading{'' if count == 1 else 's'}"


def text_of_reading(found: Reading) -> str:
    """Return a reading as a project file writes it."""
    unit = UNITS[found.dimension]
    best, low, high = (
        from_si(v, unit, found.dimension) for v in (found.best, found.low, found.high)
    )
    half = (high - low) / 2
    places = max(0, 1 - int(np.floor(np.log10(max(half, 1e-9)))))
    shown = {"m²": "m^2"}.get(unit, unit)
    return f"{best:.{places}f} {shown} ± {half:.{places}f} {shown}"


def differs(desk: Desk, asked: Asked, found: Reading) -> str:
    """Return what is wrong where the key a reading fills now says something else."""
    from tuftwork.study.picture.save import quantity_at

    held = quantity_at(desk.project, asked.fills)
    if held is None:
        return ""
    spread = max(found.high - found.low, held.high - held.low) / 2.0
    if abs(held.best - found.best) <= spread:
        return ""
    return f"{asked.fills} says {format_quantity(held)}, the marks say {text_of_reading(found)}."


def _line(desk: Desk, name: str) -> dict[str, Any]:
    photo = desk.photo(name)
    state = camera_tree(desk, name)
    strength = state["camera"]["strength"] if state["camera"] else None
    return {
        "id": name,
        "title": photo.title,
        "marks": len(photo.marks),
        "fault": state["fault"],
        "strength": strength,
        "weak": bool(strength is not None and strength > 0.04),
    }


def _step(
    what: str, origin: str, source: str, place: str, number: Number | None = None
) -> dict[str, Any]:
    return {"what": what, "origin": origin, "source": source, "place": place, "number": number}
