"""Command ``splitter``: what it makes, bends and hands on, and what its plate has to hold."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import JsonOption, command, print_json
from tuftwork.cli.show import show_lines, show_table


@command("splitter")
def splitter(
    project: Annotated[str, typer.Argument(help="Folder of the project.")] = ".",
    state: Annotated[str, typer.Option(help="State of the car; the baseline unless given.")] = "",
    speed: Annotated[
        float | None,
        typer.Option(
            help="Speed, km/h; unless given the second highest studied, and the fastest the car "
            "goes for what its plate has to hold."
        ),
    ] = None,
    front: Annotated[float | None, typer.Option(help="Front ride height, mm.")] = None,
    rear: Annotated[float | None, typer.Option(help="Rear ride height, mm.")] = None,
    as_json: JsonOption = False,
) -> int:
    """Show a splitter's channels (load, droop, edge, upwash) and the load sheet of its plate."""
    from tuftwork.errors import InputError, NotCovered
    from tuftwork.study import Bench
    from tuftwork.study.front_hold import Asked, hold_rows
    from tuftwork.study.front_rows import channel_row, fronts_in

    answers = Bench(project).answers
    own = answers.state_named(state) or answers.states[0]
    speeds = sorted(q.best for q in answers.project.study.speeds)
    fast = speeds[-2] if len(speeds) > 1 else speeds[-1]
    if speed is not None:
        fast = speed / 3.6
        if not 0 < fast < 150:
            raise InputError("speed", speed, "km/h", "must lie between 0 and 540")
    for name, value in (("front", front), ("rear", rear)):
        if value is not None and not 2 <= value <= 300:
            raise InputError(name, value, "mm", "must lie between 2 and 300")
    rows = fronts_in(
        answers, own, fast, front=None if front is None else front / 1e3,
        rear=None if rear is None else rear / 1e3,
    )  # fmt: skip
    under = f"live/splitter/{own}"
    asked = Asked(
        speed=None if speed is None else fast, front=None if front is None else front / 1e3,
        rear=None if rear is None else rear / 1e3,
    )  # fmt: skip
    sheets = hold_rows(answers, own, under, asked)
    if not sheets:
        raise NotCovered(
            "No splitter in this state. Add a part of kind 'splitter', and [parts.channel] to it "
            "to have the channels under it solved."
        )
    told = [channel_row(answers, row, under) for row in rows]
    tree: dict[str, Any] = {"state": own, "speed_kmh": round(3.6 * fast, 1), "fronts": told,
                            "sheets": sheets}  # fmt: skip
    if as_json:
        print_json(tree)
        return 0
    for row in told:
        _show(row, tree)
    solved = {row["name"] for row in told}
    for sheet in sheets:
        _show_sheet(sheet, own, is_solved=sheet["name"] in solved)
    return 0


def _show_sheet(sheet: dict[str, Any], state: str, *, is_solved: bool) -> None:
    show_table(f"What {sheet['name']} has to hold, {state}", ("what", "number"),
               [(n["label"], n["number"]) for n in sheet["numbers"]])  # fmt: skip
    show_lines([sheet["text"], *sheet["notices"]])
    if not is_solved:
        show_lines(["The splitter is taken in closed form; [parts.channel] has the channels under "
                    "it solved: droop, choking, what it does behind it."])  # fmt: skip


def _show(row: dict[str, Any], tree: dict[str, Any]) -> None:
    show_lines([row["text"]])
    title = f"{row['name']}, {tree['state']}, {tree['speed_kmh']:.0f} km/h"
    show_table(title, ("what", "number"), [(n["label"], n["number"]) for n in row["numbers"]])
    s = row["sweep"]
    levels = [
        (f"{h:.0f}", f"{b:.3f}", f"{low:.3f} to {high:.3f}", f"{d:.1f}")
        for h, b, low, high, d in zip(
            s["clearance_mm"], s["best"], s["low"], s["high"], s["droop_mm"], strict=True
        )
    ]
    show_table("The nose moved up and down", ("lip [mm]", "CzS [m²]", "80 %", "droop [mm]"),
               levels)  # fmt: skip
    show_lines(row["notices"])
