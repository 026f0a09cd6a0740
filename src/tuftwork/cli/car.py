"""Commands that answer about the car as a system: map, states."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.progress import progress_bar
from tuftwork.cli.show import show_lines, show_table


@command("states")
def states(
    project: ProjectArgument = ".",
    speed: Annotated[str, typer.Option(help="Like '220 km/h'; the study's unless given.")] = "",
    lateral: Annotated[
        str, typer.Option(help="Of a corner, like '1.6 g'; the lap's at that speed unless given.")
    ] = "",
    as_json: JsonOption = False,
) -> int:
    """Show every state, device position and failure, and what it does to stick anywhere."""
    from tuftwork.study import Bench

    asked = {k: v for k, v in (("speed", speed), ("lateral", lateral)) if v}
    page = Bench(project).page("car", **asked)
    if as_json:
        keys = ("speed", "at", "rows", "devices", "levers", "platform", "partial", "notices")
        print_json({key: page[key] for key in keys})
        return 0
    kmh = page["speed"]["best"]
    rows = []
    for state in page["rows"]:
        row = min(state["rows"], key=lambda r: abs(r["speed_kmh"] - kmh))
        rows.append((state["name"], state["role"], row["total"], row["share"], row["drag"]))
    columns = ("state", "what it is", "CzS", "%F", "CxS")
    show_table(f"States at {page['speed']['text']}", columns, rows)
    for device in page["devices"]:
        _show_device(device)
    if page["platform"] is not None:
        _show_corner(page["platform"]["corner"])
    show_lines(["", *page["partial"]])
    return 0


def _show_corner(corner: dict[str, Any]) -> None:
    title = f"In a corner at {corner['lateral']['text']} ({corner['from']})"
    if corner["refused"]:
        show_lines(["", f"{title}: {corner['refused']}"])
        return
    rows = [(row["words"], row["number"]) for row in corner["numbers"]]
    show_table(title, ("what", "value"), rows)


def _show_device(device: dict[str, Any]) -> None:
    for schedule in device["schedules"]:
        ways = [key for key in schedule["rows"][0] if key != "speed_kmh"]
        rows = [(f"{r['speed_kmh']:.0f} km/h", *(r[w] for w in ways)) for r in schedule["rows"]]
        title = f"{device['name']}, schedule '{schedule['name']}'"
        show_table(title, ("speed", *ways), rows)
    rows = [
        (s["state"], s["wanted"], s["total"], s["share"], s["drag"], s["feels"])
        for s in device["stuck"]
    ]
    columns = ("in", "instead of", "CzS", "%F", "CxS", "feels")
    show_table(f"{device['name']}: what it does to stick, or to fail", columns, rows)


@command("map")
def map_command(
    project: ProjectArgument = ".",
    state: Annotated[str, typer.Option(help="State of the car; the baseline unless given.")] = "",
    save: Annotated[str, typer.Option(help="Write the study's map to this netCDF file.")] = "",
    survey: Annotated[
        int, typer.Option(help="Cells of a large map of all states; 0 makes none.")
    ] = 0,
    roll: Annotated[str, typer.Option(help="Slices in roll, like '1 °, 2 °'.")] = "",
    yaw: Annotated[str, typer.Option(help="Slices in yaw, like '3 °'.")] = "",
    steer: Annotated[str, typer.Option(help="Slices in steer, like '4 °'.")] = "",
    speed: Annotated[str, typer.Option(help="Slices in speed, like '120 km/h'.")] = "",
    share: Annotated[
        float, typer.Option(help="Share of the cells that is run; the rest is read between them.")
    ] = 1.0,
    scheduler: Annotated[
        str, typer.Option(help="Address of a Dask scheduler: tcp://host:8786.")
    ] = "",
    to: Annotated[str, typer.Option(help="File of the large map; maps/ unless given.")] = "",
    as_json: JsonOption = False,
) -> int:
    """Show loads against speed with the platform loop closed; make a large map on request.

    A large map resumes where it was stopped, by Ctrl-C or by a lost machine.
    """
    from tuftwork.study import Bench

    bench = Bench(project)
    if survey:
        slices = {"roll": roll, "yaw": yaw, "steer": steer, "speed": speed}
        return _survey(bench, (survey, share), slices, (scheduler, to), as_json)
    page = bench.page("map", **({"state": state} if state else {}))
    if save:
        bench.save_map(save)
    if as_json:
        print_json(page)
        return 0
    columns = ("speed", "hf", "hr", "CzSf", "CzSr", "CzS", "%F", "CxS")
    keys = ("speed", "height_front", "height_rear", "front", "rear", "total", "share", "drag")
    rows = [[row[key] for key in keys] for row in page["path"]]
    show_table(f"Along the platform path, {page['state']}", columns, rows, page["cliff"]["text"])
    return 0


def _survey(
    bench: Any, asked: tuple[int, float], slices: dict[str, str], place: tuple[str, str],
    as_json: bool,
) -> int:  # fmt: skip
    from tuftwork.study.survey import Survey, run_survey

    scheduler, to = place
    wanted = Survey.of(cells=asked[0], share=asked[1], **slices)
    with progress_bar(quiet=as_json) as watch:
        found = run_survey(bench, wanted, watch=watch, scheduler=scheduler or None, to=to or None)
    if as_json:
        print_json(found)
        return 0
    rows = [
        (s["state"], s["slice"], s["run"], s["between"], s["error"], s["covered"], s["next"])
        for s in found["slices"]
    ]
    columns = ("state", "slice", "cells run", "read between", "error held out", "in range", "next")
    show_table(f"Map of {found['cells']} cells", columns, rows, found["text"])
    show_lines([*filter(None, [found["held"]]), f"Wrote {found['file']}"])
    return 0
