"""The page of the 3-D flow: cases and their cost, the run under way, loads with their whole range.

It needs no run of the study, only the project.
"""

from pathlib import Path
from typing import Any

from tuftwork.car import FlowRun, Project
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.files.evidence import digest_of
from tuftwork.files.flow import read_flow_record
from tuftwork.quantity import Z80, Quantity
from tuftwork.study.answers import Answers
from tuftwork.study.flow.case import Built, built_case, run_named, shape_of
from tuftwork.study.flow.cost import cost_tree, spoken_time
from tuftwork.study.flow.desk import GOING, Desk, judged, spoken_faults
from tuftwork.study.flow.grid import grid_tree
from tuftwork.study.flow.inside import inside_rows
from tuftwork.study.flow.moments import moment_rows, plain, spoken_road
from tuftwork.study.flow.over_time import growing, said
from tuftwork.study.flow.record import in_metres
from tuftwork.study.flow.setting import setting_tree
from tuftwork.study.flow.sighting import Flown, flown_runs, lost_record
from tuftwork.study.number import Number, number_of_quantity
from tuftwork.study.support import counted

Page = dict[str, Any]
CAUTION = (
    "A 3-D run is a rival opinion with a stated bias, not a measurement: before anyone relies on a "
    "load, measure it on the car in small speed steps on a closed course."
)
_NONE_YET = (
    "No shape for the 3-D flow yet. Start from a generic car, or write [[flow.surfaces]] into "
    "project.toml for your own geometry."
)
_LOADS = (
    ("downforce", "CzS, whole car"), ("front", "CzSf, front axle"), ("rear", "CzSr, rear axle"),
    ("drag", "CxS"),
)  # fmt: skip


def flow_page(bench: Any, case: str = "") -> Page:
    """Return the page; without a shape it says how to begin."""
    project, folder = bench.opened.project, bench.folder
    if project.flow is None or not project.flow.cases:
        return {"cases": [], "case": "", "text": _NONE_YET, "kinds": ["coupe", "prototype",
                "open-wheeler"], "result": None, "run": None, "notices": []}  # fmt: skip
    from tuftwork.study.flow.sweep_desk import mark_of, sweep_tree  # they build on this page

    run = run_named(project, case)
    tree: Page = {
        "mark": mark_of(folder),
        "sweep": sweep_tree(bench),
        "cases": [_line(folder, project, other) for other in project.flow.cases],
        "case": run.name,
        "generic": project.flow.generic,
        "setting": setting_tree(run, None),
        "state": run.state,
        "counts": run.counts,
        "notices": [*filter(None, [lost_record(project, folder, run)]), CAUTION],
    }
    try:
        built = built_case(project, folder, run)
    except (InputError, FileFault, NotCovered) as error:
        told = spoken_faults(error, run.name)
        fault = {"faults": told, "rows": [], "can_run": False}
        return tree | {"parts": _parts_or_none(project, folder, run), "cost": fault, "run": None,
                       "result": _result(bench, run, None), "text": ""}  # fmt: skip
    desk = Desk.of(folder, built.digest)
    return tree | {
        "setting": setting_tree(run, built),
        "parts": part_rows(built),
        "cost": cost_tree(judged(built, desk), run, built.case),
        "run": state_tree(desk.read()),
        "kept": growing(desk.folder),
        "result": _result(bench, run, built),
        "text": "",
    }


def part_rows(built: Built) -> list[Page]:
    """Return the part list: every part as drawn, and whether it is left out."""
    kept = {p.name for p in built.case.parts}
    rolling = {p.name for p in built.case.parts if p.spin and p.spin.rate}
    passed = {p.name for p in built.case.parts if p.porous is not None}
    rows = []
    for mesh in built.shape.meshes:
        low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
        size = " × ".join(f"{1e3 * v:.0f}" for v in high - low)
        rows.append({
            "name": mesh.name, "in": mesh.name in kept, "rolls": mesh.name in rolling,
            "passes": mesh.name in passed,
            "is_plate": mesh.name in built.shape.plates, "size": f"{size} mm",
            "triangles": len(mesh.faces),
        })  # fmt: skip
    return rows


def _parts_or_none(project: Project, folder: Path, run: FlowRun) -> list[Page]:
    try:
        meshes = shape_of(project, folder).meshes
    except (InputError, FileFault, NotCovered):
        return []
    return [{"name": m.name, "in": True, "rolls": False, "passes": False, "is_plate": False,
             "size": "", "triangles": len(m.faces)} for m in meshes]  # fmt: skip


def state_tree(state: Page | None) -> Page | None:
    """Return the run under way as the page shows it: loads with their statistical error."""
    if state is None:
        return None
    live = state.get("state") in GOING
    keys = ("state", "case", "step", "travel", "rate", "seconds", "longest", "settle", "n_cell",
            "text", "faults", "back_end", "can_resume", "evidence", "files", "started",
            "asked", "elsewhere")  # fmt: skip
    doubts = [str(text) for text in state.get("doubts") or ()]
    numbers: dict[str, Number] = {}
    if state.get("state") == "refused" and state.get("faults"):
        state = state | {"text": " ".join(state["faults"])}
    tree: Page = {key: state.get(key) for key in keys} | {"is_going": live, "numbers": numbers,
                                                          "doubts": doubts}  # fmt: skip
    for name, label in (("downforce", "CzS so far"), ("drag", "CxS so far")):
        pair = state.get(name)
        if isinstance(pair, list):
            numbers[name] = _with_error(*pair) | {"label": label}
    longest, travel = state.get("longest"), state.get("travel")
    if live and longest and travel and state.get("seconds"):
        tree["progress"] = min(1.0, travel / longest)
        pace = state.get("pace")
        tree["left_s"] = None if pace is None else pace * max(0.0, longest - travel)
    return tree


def _with_error(mean: float, error: float) -> Number:
    return number_of_quantity(
        Quantity(best=mean, low=mean - Z80 * error, high=mean + Z80 * error, unit="m²",
                 dimension="area", origin="computed", place="statistical error only")
    )  # fmt: skip


def _line(folder: Path, project: Project, run: FlowRun) -> Page:
    return {
        "name": run.name,
        "speed": number_of_quantity(run.speed),
        "cell": number_of_quantity(run.cell),
        "evidence": run.evidence,
        "state": run.state,
    }


def flown_case(bench: Any, name: str) -> Flown:
    """Return the finished run of a case.

    Raises
    ------
    NotCovered
        If it has none.
    """
    for flown in flown_runs(bench.opened.project, bench.folder):
        if flown.run.name == name:
            return flown
    raise NotCovered(f"The case '{name}' has not been run to its end yet.")


def _result(bench: Any, run: FlowRun, built: Built | None) -> Page | None:
    try:
        flown = flown_case(bench, run.name)
    except NotCovered:
        return None
    record = flown.record
    made, grid, case = record["made_with"], record["grid"], record["case"]
    at = where_of(record)
    rows = []
    for key, label in _LOADS:
        quantity = flown.area(key)
        noise = Z80 * record["loads"][key]["error"]
        number = number_of_quantity(quantity, why=f"flow/{run.name}/{key}") | {"at": at}
        rows.append({"key": key, "label": label, "number": number,
                     "noise": f"±{noise:.3f} m² of it statistical"})  # fmt: skip
    parts = [
        {"name": p["name"], "front": plain(p["front"]), "rear": plain(p["rear"]),
         "total": plain(p["front"] + p["rear"]), "drag": plain(p["drag"]),
         "friction": plain(p["friction"])}
        for p in record["parts"]
    ]  # fmt: skip
    return {
        "evidence": flown.evidence.id,
        "at": at,
        "is_older": built is not None and not is_of(built, record),
        "loads": rows,
        "moments": moment_rows(record),
        "parts": parts,
        "inside": inside_rows(record, case["speed"]),
        "doubts": [d["text"] for d in record.get("doubts", ())],
        "bands": None,
        "bias": record["bias"]["text"],
        "why_not": flown.why_not,
        "facts": facts_of(record),
        "reached": made["reached"],
        "notices": record["notices"],
        "notes": record["notes"],
        "gap": _gap(grid),
        "over_time": said(record, bench.folder),
        "grid": grid_tree(bench.opened.project, bench.folder, run.name),
        "record": flown.evidence.file,
    }


def is_of(built: Built, record: Page) -> bool:
    """Return whether a record is of a case as the project has it now."""
    settle = record["made_with"].get("settle", built.run.settle)
    return bool(record["case"]["digest"] == built.digest and settle == built.run.settle)


def _gap(grid: Page) -> str:
    if grid["gap_cells"] is None:
        return "Nothing faces anything closely."
    between = " and ".join(grid["gap_between"])
    return f"{grid['gap_cells']} cells in the narrowest gap, between {between}."


def where_of(record: Page) -> str:
    """Return ride heights, speed and state of a run in words."""
    case = record["case"]
    heights = [f"h{axle[0]} {1e3 * case[axle]:.1f} mm" for axle in ("front", "rear")
               if case[axle] is not None]  # fmt: skip
    turned = f"{57.29577951308232 * case['yaw']:.1f}".replace("-", "\u2212")
    yaw = f", yaw {turned}°" if case["yaw"] else ""
    state = f", {case['state']}" if case["state"] else ""
    speed = f"{3.6 * case['speed']:.0f} km/h"
    return f"{', '.join([*heights, speed])}{yaw}{state}"


def facts_of(record: Page) -> str:
    """Return what made a run in a sentence."""
    made, case, grid = record["made_with"], record["case"], record["grid"]
    where = "the CPU" if made["backend"] == "cpu" else "a graphics card"
    shape = "generic shape" if case["is_generic"] else "imported shape"
    return (
        f"Lattice flow of tuftwork {made['version']} on {where}, {made['precision']} storage: "
        f"{_cells(record)}, "
        f"{made['steps']} steps, {made['travel']:.1f} car lengths, "
        f"{spoken_time(made['seconds'])}; {shape}, {spoken_road(case)}, "
        f"blockage {100 * grid['blockage']:.1f} %."
    )


def _cells(record: Page) -> str:
    """Return how many cells there were and their size; of several sizes the smallest."""
    made, grid, size = record["made_with"], record["grid"], f"{1e3 * record['case']['cell']:.4g} mm"
    count = made.get("cells", grid["n_plain"])
    # updates in a step of the largest cells, which are more than cells where there are smaller ones
    many = grid.get("boxes", 1) > 1 or grid["n_plain"] > count
    return f"{count / 1e6:.2f} million cells{', the smallest' if many else ''} of {size}"


def flow_chain(bench: Any, address: str) -> Page:
    """Return the chain behind one load of a run.

    Raises
    ------
    UnknownName
        If there is no such load.
    """
    name, _, key = address.removeprefix("flow/").rpartition("/")
    flown = flown_case(bench, name)
    labels = dict(_LOADS)
    if key not in labels:
        raise UnknownName("load", key, labels)
    record = flown.record
    loads, bias = record["loads"][key], record["bias"]
    quantity = flown.area(key)
    number = number_of_quantity(quantity, why=address) | {"at": where_of(record)}
    noise = _with_error(loads["mean"], loads["error"])
    steps = [
        _step(facts_of(record), place=f"{flown.evidence.id}, {flown.evidence.file}",
              source=", ".join(record["sources"])),
        _step("Its mean with the statistical error of that mean "
              f"({loads['independent']:.0f} independent samples)", number=noise),
        _step(f"Stated bias of the solver. {bias['text']}", place="flow/bias.csv"),
    ]  # fmt: skip
    return {
        "id": address, "title": f"{labels[key]}, 3-D flow '{name}'", "number": number,
        "steps": steps, "dominates": [],
        "decision": "Whether the parts' models and the 3-D flow tell the same story.",
        "notices": [CAUTION, *([flown.why_not] if flown.why_not else []), *record["notices"]],
    }  # fmt: skip


def _step(what: str, *, place: str = "", source: str = "", number: Number | None = None) -> Page:
    return {"what": what, "origin": "computed", "source": source, "place": place, "number": number}


def budget_rows(project: Project, folder: Path | None, state: str, first: str) -> list[Page]:
    """Return the finished runs of a state as rows beside a budget."""
    rows: list[Page] = []
    for flown in flown_runs(project, folder):
        if flown.why_not or (flown.state or first) != state:
            continue
        at = where_of(flown.record)

        def number(key: str, flown: Flown = flown, at: str = at) -> Number:
            why = f"flow/{flown.run.name}/{key}"
            return number_of_quantity(flown.area(key), why=why) | {"at": at}

        rows.append({
            "name": f"3-D flow {flown.run.name}, at {at}", "kind": "run", "front": number("front"),
            "rear": number("rear"), "total": number("downforce"), "drag": number("drag"),
            "note": f"at {at}; its range holds the stated bias of the solver",
        })  # fmt: skip
    return rows


def support_of_flow(project: Project, answers: Answers | None) -> tuple[str, str]:
    """Return whether any run stands behind the page."""
    if project.flow is None:
        return "none", ""
    done = sum(bool(case.evidence) for case in project.flow.cases)
    return ("computed" if done else "none"), counted(len(project.flow.cases), "case")


def record_of(bench: Any, name: str) -> Page:
    """Return the whole record of a case's finished run, arrays included."""
    flown = flown_case(bench, name)
    path = bench.folder / "evidence" / flown.evidence.file
    if digest_of(path) != flown.evidence.digest:
        raise NotCovered(f"{flown.evidence.file} has changed since it was registered.")
    record = read_flow_record(path)
    placed = ("surface", "vortices", "vortices_lambda2", "lines")
    return record | {key: in_metres(record[key]) for key in placed if key in record}
