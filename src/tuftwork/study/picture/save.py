"""Live answers of the picture page, and saving marks into the project file."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.car import Photo, Project, quantities_in, read_number
from tuftwork.car.table import limit_of
from tuftwork.errors import InputError, NotConverged, NotCovered
from tuftwork.files import REMOVE, read_project, save_changes
from tuftwork.files.picture import picture_tile
from tuftwork.quantity import Quantity, parse_quantity
from tuftwork.study.picture.desk import Desk, desk_of
from tuftwork.study.picture.page import camera_tree, reading_row, text_of_reading
from tuftwork.study.picture.traced import section_rows

Answer = tuple[dict[str, Any], dict[str, np.ndarray]]


def tile_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return one tile of a picture as JPEG bytes."""
    path = desk_of(bench).path(str(message.get("picture", "")))
    level, column, row = (int(message.get(k, 0)) for k in ("level", "column", "row"))
    data = picture_tile(path, level, column, row)
    return {"level": level}, {"jpeg": np.frombuffer(data, dtype=np.uint8)}


def marks_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return every reading of one picture as it would be with the marks of a message."""
    desk = _moved(bench, message)
    name = str(message["picture"])
    rows = [r for r in desk.room.readings if r.picture in desk.group(name)]
    return {
        "readings": [reading_row(desk, asked, live=True) for asked in rows],
        "sections": section_rows(desk, name, live=True),
        **camera_tree(desk, name),
    }, {}


def save_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Write the marks of a message into the project, and the keys that readings fill.

    Where the message says what the marks ``was``, ``marks`` and ``on``, when it began, only what
    was moved since is written: another page may have saved other marks.
    """
    opened = read_project(bench.folder)
    bench.opened = opened
    name = str(message.get("picture", ""))
    old = desk_of(bench).photo(name)
    desk = _moved(bench, _joined(message, old))
    new = desk.photo(name)
    base = ("reading", "pictures", name)
    edits: dict[Any, Any] = {}
    for mark, at in new.marks.items():
        if old.marks.get(mark) != at:
            edits[(*base, "marks", mark)] = [[round(x, 2), round(y, 2)] for x, y in at]
    for mark in old.marks:
        if mark not in new.marks:
            edits[(*base, "marks", mark)] = REMOVE
    if dict(old.on) != dict(new.on):
        edits[(*base, "on")] = dict(new.on)
    filled = _fills(desk, desk.group(name) if name in desk.files else (name,))
    if edits:
        edits |= filled
        bench.opened = save_changes(opened, edits)
    return {"saved": len(edits), "digest": bench.digest()}, {}


def _joined(message: Mapping[str, Any], old: Photo) -> Mapping[str, Any]:
    """Return a message with the marks of others in it, where it says what its own were."""
    was = message.get("was")
    if not isinstance(was, Mapping):
        return message
    joined = {}
    for key in ("marks", "on"):
        mine, before = message.get(key), was.get(key)
        if not isinstance(mine, Mapping) or not isinstance(before, Mapping):
            raise InputError(key, "none", "", "must be a name and a value for each mark")
        here = {k: _as_sent(v) for k, v in getattr(old, key).items()}
        moved = {k: v for k, v in mine.items() if before.get(k) != v}
        joined[key] = {k: v for k, v in here.items() if k in mine or k not in before} | moved
    return {**message, **joined}


def _as_sent(value: Any) -> Any:
    return value if isinstance(value, str) else [list(p) for p in value]


def plane_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return a plane of the picture seen square on, as JPEG bytes, with its scale."""
    from io import BytesIO

    import cv2
    from PIL import Image

    from tuftwork.files.picture import whole_picture
    from tuftwork.reading import on_plane, planes_of, project

    desk = _moved(bench, message)
    name, wanted = str(message["picture"]), str(message.get("plane", ""))
    planes = planes_of(desk.project)
    if wanted not in planes:
        raise InputError("plane", wanted, "", "not known", f"Known: {', '.join(planes)}.")
    plane, solution = planes[wanted], desk.solution(name)
    camera = solution.camera(name)
    row, constant = solution.model.affine_row(plane.at)
    offset = float(solution.theta @ row + constant)
    normal = np.eye(3)[plane.axis]
    pixels = [p for k, v in desk.photo(name).marks.items()
              if desk.photo(name).on.get(k) == wanted for p in v]  # fmt: skip
    if not pixels:
        raise NotCovered(f"No mark of {name} lies on plane {wanted}.")
    on = on_plane(camera, np.array(pixels), offset * normal, normal)
    across, up = {0: (1, 2), 1: (0, 2), 2: (0, 1)}[plane.axis]
    low, high = on.min(axis=0) - 0.15, on.max(axis=0) + 0.15
    scale = 900.0 / max(high[across] - low[across], high[up] - low[up])
    size = (int(scale * (high[across] - low[across])), int(scale * (high[up] - low[up])))
    u, v = np.meshgrid(np.arange(size[0]) / scale, np.arange(size[1]) / scale)
    places = np.zeros((*u.shape, 3))
    places[..., plane.axis] = offset
    places[..., across] = low[across] + u
    places[..., up] = high[up] - v
    where = project(camera, places.reshape(-1, 3)).reshape(*u.shape, 2).astype(np.float32)
    picture = np.asarray(whole_picture(desk.path(name), 6000))
    ratio = picture.shape[1] / desk.files[name].width
    seen = cv2.remap(picture, where[..., 0] * ratio, where[..., 1] * ratio, cv2.INTER_LINEAR)
    if camera.place()[1] > 0 and plane.axis == 1:
        seen = seen[:, ::-1]
    buffer = BytesIO()
    Image.fromarray(seen).save(buffer, format="JPEG", quality=88)
    header = {"plane": wanted, "pixel_per_m": scale, "width": size[0], "height": size[1]}
    return header, {"jpeg": np.frombuffer(buffer.getvalue(), dtype=np.uint8)}


def fill_keys(bench: Any, names: tuple[str, ...] = ()) -> dict[str, str]:
    """Write the keys that readings fill and return what was written, key by key."""
    opened = read_project(bench.folder)
    bench.opened = opened
    desk = desk_of(bench)
    edits: dict[Any, Any] = _fills(desk, tuple(p.id for p in desk.room.pictures), names)
    if edits:
        bench.opened = save_changes(opened, edits)
    return {k: v["value"] for k, v in edits.items()}


def _fills(desk: Desk, pictures: tuple[str, ...], names: tuple[str, ...] = ()) -> dict[Any, Any]:
    found = {}
    for asked in desk.room.readings:
        if not asked.fills or asked.picture not in pictures or (names and asked.id not in names):
            continue
        try:
            read = desk.reading(asked)
        except (InputError, NotConverged, NotCovered):
            continue
        key = asked.fills if asked.fills.startswith(("car.", "openings.", "mass_states.")) else (
            f"parts.{asked.fills}")  # fmt: skip
        found[key] = {
            "value": text_of_reading(read),
            "origin": "digitised",
            "from": f"reading {asked.id}: photo {asked.picture}, "
            f"mark{'s' if len(asked.marks) > 1 else ''} {', '.join(asked.marks)}",
        }
    return found


def quantity_at(project: Project, path: str) -> Quantity | None:
    """Return the number a key holds, None where there is none."""
    owner, _, key = path.rpartition(".")
    table: Any = project.car if owner == "car" else None
    for part in project.parts:
        if part.name == owner:
            table = part
    for opening in project.openings:
        if owner == f"openings.{opening.name}":
            table = opening
    found = getattr(table, key, None)
    return found if isinstance(found, Quantity) else None


def value_at(project: Project, path: str, text: str) -> float | None:
    """Return what a text would mean for a key, in SI; None where the key is not there."""
    owner, _, key = path.rpartition(".")
    for part in project.parts:
        if part.name == owner and key in type(part).model_fields:
            limit = limit_of(type(part).model_fields[key])
            return None if limit is None else read_number(text, limit).best
    room = project.cooling
    known = dict(quantities_in(room, "cooling.")) if room is not None else {}
    return parse_quantity(text, known[path].dimension).best if path in known else None


def _moved(bench: Any, message: Mapping[str, Any]) -> Desk:
    """Return the desk with the marks of a message on it."""
    desk = desk_of(bench)
    name = str(message.get("picture", ""))
    photo = desk.photo(name)
    marks, on = message.get("marks", photo.marks), message.get("on", photo.on)
    if not isinstance(marks, Mapping) or not isinstance(on, Mapping):
        raise InputError("marks", "none", "", "must be a name and pixels for each mark")
    for key, at in marks.items():
        good = isinstance(at, list | tuple) and len(at) > 0
        if not good or not all(
            len(p) == 2 and all(isinstance(v, int | float) and np.isfinite(v) for v in p)
            for p in at
        ):
            raise InputError(f"mark {key}", repr(at)[:40], "pixel", "must be pairs of numbers")
        _refuse_outside(desk, name, str(key), at)
    return desk.with_marks(name, marks, {k: v for k, v in on.items() if k in marks})


def _refuse_outside(desk: Desk, picture: str, mark: str, at: Any) -> None:
    size = desk.files.get(picture)
    if size is None:
        return
    for x, y in at:
        if not (-0.5 <= x <= size.width - 0.5 and -0.5 <= y <= size.height - 0.5):
            limit = f"lies outside picture {picture} of {size.width} × {size.height} pixels"
            raise InputError(f"mark {mark}", f"({x:.0f}, {y:.0f})", "pixel", limit, "Move it in.")
