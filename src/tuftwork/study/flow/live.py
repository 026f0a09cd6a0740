"""Live requests of the flow page: cost as settings move, start, watch, cancel, save, look."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.car import Project
from tuftwork.errors import NotCovered
from tuftwork.files import NEW, REMOVE, OpenProject, edit_project, read_project, save_changes
from tuftwork.flow import Prepared
from tuftwork.flow.scale import round_end
from tuftwork.flow.setup import SOLID
from tuftwork.study.flow.case import Built, built_case, run_named
from tuftwork.study.flow.cost import cost_tree
from tuftwork.study.flow.desk import Desk, judged, start_process
from tuftwork.study.flow.moments import said_of_shape
from tuftwork.study.flow.page import part_rows, record_of, state_tree
from tuftwork.study.flow.setting import changed_run, moved
from tuftwork.study.flow.spoken import prepared_or_spoken, spoken_place
from tuftwork.study.flow.time_live import frames_tree

Answer = tuple[dict[str, Any], dict[str, np.ndarray]]


def _built(bench: Any, message: Mapping[str, Any]) -> Built:
    project, folder = bench.opened.project, bench.folder
    run = run_named(project, str(message.get("case", "")))
    run = changed_run(run, moved(project, folder, run, message))
    return built_case(project, folder, run)


def cost_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return size, cost and faults with the settings of a message, and the part list."""
    built = _built(bench, message)
    desk = Desk.of(bench.folder, built.digest)
    return {
        "cost": cost_tree(judged(built, desk), built.run, built.case), "parts": part_rows(built),
        "run": state_tree(desk.read()),
    }, {}  # fmt: skip


def prepare_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Cut the grid and return what only that shows: the narrowest gap, cells, notices."""
    built = _built(bench, message)
    prepared, faults = prepared_or_spoken(built.case, built.forecast())
    if prepared is None:
        return {"faults": [str(f) for f in faults], "rows": [], "notices": []}, {}
    gap = "nothing faces anything closely"
    if prepared.gap_cells is not None and prepared.gap_between and prepared.gap_at:
        gap = f"{prepared.gap_cells} cells, {' and '.join(prepared.gap_between)} at "
        gap += f"{spoken_place(prepared.gap_at)}"
    rows = [
        ("cells that are computed", f"{_computed(prepared) / 1e6:.2f} million"),
        ("cells beside walls", f"{prepared.setup.walls.cell.size / 1e3:.0f} thousand"),
        ("narrowest gap", gap),
        ("frontal area", f"{prepared.frontal_area:.3f} m²"),
    ]
    return {
        "faults": [], "rows": [{"label": a, "text": b} for a, b in rows],
        "notices": [
            *said_of_shape(is_generic=built.run_is_generic, counts=built.run.counts),
            *(f"Mended: {text}" for text in built.shape.notes), *prepared.notices,
        ],
    }, {}  # fmt: skip


def _computed(prepared: Prepared) -> int:
    """Return how many cells are no solid, in all boxes; finer ones take more steps."""
    outermost = int((prepared.setup.mark != SOLID).sum())
    return outermost + sum(box.n_plain for box in prepared.boxes)


def save_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Write the settings of a message into the project's case."""
    _, saved = _saved(bench, message)
    return {"saved": saved, "digest": bench.digest()}, {}


def _saved(bench: Any, message: Mapping[str, Any]) -> tuple[Project, int]:
    """Write the settings of a message; return the project with them, and how many there were."""
    count = 0

    def edits(opened: OpenProject) -> list[dict[Any, Any]]:
        nonlocal count
        run = run_named(opened.project, str(message.get("case", "")))
        changes = moved(opened.project, bench.folder, run, message)
        changed_run(run, changes)  # refused before anything is written
        count = len(changes)
        place = ("flow", "cases", run.name)
        found = {(*place, k): REMOVE if v is None else v for k, v in changes.items()}
        return [found] if found else []

    opened = edit_project(bench.folder, edits)
    bench.opened = opened
    return opened.project, count


def start_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Save the settings of a message and start the run as a process of its own."""
    project, _ = _saved(bench, message)
    built = built_case(project, bench.folder, run_named(project, str(message.get("case", ""))))
    with bench.starts:
        start_process(bench.folder, built)
    return {"run": state_tree(Desk.of(bench.folder, built.digest).read())}, {}


def watch_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return how far the run of a case is, with its history of means and errors."""
    project = bench.opened.project
    built = built_case(project, bench.folder, run_named(project, str(message.get("case", ""))))
    state = Desk.of(bench.folder, built.digest).read()
    rows = np.array((state or {}).get("history") or np.zeros((0, 5)), dtype=float).reshape(-1, 5)
    names = ("travel", "downforce", "downforce_error", "drag", "drag_error")
    return {"run": state_tree(state)}, {n: rows[:, k] for k, n in enumerate(names)}


def cancel_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Ask the run of a case to stop; it keeps its checkpoint."""
    project = bench.opened.project
    built = built_case(project, bench.folder, run_named(project, str(message.get("case", ""))))
    return {"asked": Desk.of(bench.folder, built.digest).ask_to_stop()}, {}


def add_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Write a generic car and one case into a project that has no shape."""
    opened = read_project(bench.folder)
    project = opened.project
    kind = str(message.get("kind", "coupe"))
    edits: dict[Any, Any] = {}
    if project.flow is None:
        edits["flow", "generic"] = kind
    speed = max((q.best for q in project.study.speeds), default=50.0)
    case = {
        "name": "first look", "speed": f"{3.6 * speed:.0f} km/h", "cell": "30 mm",
        "counts": False,
    }  # fmt: skip
    if project.flow is None or not project.flow.cases:
        edits["flow", "cases", NEW] = case
    if edits:
        bench.opened = save_changes(opened, edits)
    return {"case": case["name"]}, {}


def view_live(bench: Any, message: Mapping[str, Any]) -> Answer:
    """Return the pictures of a finished run: surface, vortices, lines, planes, bands."""
    name = run_named(bench.opened.project, str(message.get("case", ""))).name
    record = record_of(bench, name)
    surface, vortices, lines = record["surface"], record["vortices"], record["lines"]
    arrays: dict[str, np.ndarray] = {
        "vertices": surface["vertices"], "faces": surface["faces"],
        "pressure": surface["pressure"], "friction": surface["friction"],
        "vortex_vertices": vortices["vertices"], "vortex_faces": vortices["faces"],
        "vortex_loss": vortices["loss"], "points": lines["vertices"], "starts": lines["start"],
        "line_speed": lines["speed"], "band_start": record["bands"]["start"],
        "band_drag": record["bands"]["drag"].sum(axis=0),
        "band_downforce": record["bands"]["downforce"].sum(axis=0),
        "travel": record["series"]["travel"], "front": record["series"]["front"],
        "rear": record["series"]["rear"], "drag": record["series"]["drag"],
    }  # fmt: skip
    # records written before values of one instant were kept have none
    late = ("pressure_last", "friction_last", "pressure_rms")
    arrays |= {k: surface[k] for k in late if k in surface}
    rms = np.asarray(surface.get("pressure_rms", np.zeros(0)), dtype=float)
    planes = []
    for n, plane in enumerate(record["planes"]):
        planes.append({k: plane[k] for k in ("name", "axis", "at")})
        for key in ("across", "up", "pressure", "loss", "speed"):
            arrays[f"plane{n} {key}"] = plane[key]
    if not surface["vertices"].size:
        raise NotCovered("The record of this run holds no surface.")
    case = record["case"]
    return {
        "names": surface["names"], "planes": planes, "vortex_level": vortices["level"],
        "low": case["low"], "high": case["high"], "band_width": record["bands"]["width"],
        "settle": record["made_with"]["settle"],
        "over_time": frames_tree(record, bench.folder, planes),
        "rms_end": round_end(rms), "rms_most": float(np.nanmax(rms, initial=0.0)),
    }, {k: np.asarray(v, dtype=np.int32 if v.dtype.kind == "i" else np.float32)
        for k, v in arrays.items()}  # fmt: skip
