"""Commands that answer about heat: cooling, brakes."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import NO, JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.show import show_lines, show_table


@command("cooling")
def cooling(
    project: ProjectArgument = ".",
    stint: Annotated[
        bool, typer.Option("--stint", help="Show a stint from cold and the soak after it.")
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Say what restricts the cooling, how hot each circuit becomes, and which area cures it."""
    from tuftwork.errors import NotCovered
    from tuftwork.study import Bench

    page = Bench(project).page("cooling")
    if stint and page["stint"] is None:
        raise NotCovered("No stint yet. Add [cooling.stint], and the masses of each circuit.")
    if as_json:
        print_json(page["stint"] if stint else page)
    elif stint:
        _show_stint(page["stint"])
        show_lines(["", *page["notices"]])
    else:
        _show_cooling(page)
    return NO if any(c["verdict"] == "over its limit" for c in page["circuits"]) else 0


@command("brakes")
def brakes(project: ProjectArgument = ".", as_json: JsonOption = False) -> int:
    """Show energy of a lap, disc, pad and fluid against their windows, and the duct they need."""
    from tuftwork.study import Bench

    page = Bench(project).page("brakes")
    if as_json:
        print_json(page)
    else:
        _show_brakes(page)
    windows = [w for axle in page["axles"] for w in axle["options"][-1]["windows"]]
    return NO if any(w["verdict"] == "too hot" for w in windows) else 0


def _show_stint(stint: dict[str, Any]) -> None:
    show_lines([stint["text"], ""])
    for row in stint["rows"]:
        for name, unit in (("trace", "min"), ("soak", "min after stopping")):
            times = row[name]["time_min"]
            every = max(1, len(times) // 12)
            rows = [
                (f"{times[k]:.1f}", *(f"{row[name][c][k]:.0f}" for c in ("low", "best", "high")))
                for k in range(0, len(times), every)
            ]
            title = f"{row['circuit']}, °C: best and 80 % range"
            show_table(title, (unit, "low", "best", "high"), rows)
        text = f"{row['circuit']}: highest of the stint {row['peak']['text']}"
        if row["over"] is not None:
            text += f", over its limit with a chance of {row['over']['text']}"
        text += f"; after stopping {row['rest']['text']}"
        if row["boiling"] is not None:
            text += f", boiling with a chance of {row['boiling']['text']}"
        show_lines([f"{text}."])


def _show_cooling(page: dict[str, Any]) -> None:
    show_lines([page["answer"], page["duty"], ""])
    rows = [
        (
            c["name"],
            c["hottest"],
            c["limit"],
            c["over"]["text"] if c["over"] else None,
            c["verdict"],
        )
        for c in page["circuits"]
    ]
    columns = ("circuit", "hottest", "limit", "chance of crossing", "verdict")
    show_table(f"Circuits at {page['at']}", columns, rows)
    parts = [
        (p["name"], p["kind"], p["flow"], p["loss"], p["outlet"], f"{100 * p['share']:.0f} %")
        for p in page["net"]["parts"]
    ]
    show_table(
        "The air net", ("part", "kind", "air", "loss", "air leaves at", "of the loss"), parts
    )
    if page["exits"]:
        places = [
            (f"{e['exit']}, {e['place']}", e["hottest"],
             e["needed"]["text"] if e["needed"] else "none suffices", e["drag"], e["front"],
             e["legality"])
            for e in page["exits"]
        ]  # fmt: skip
        heads = ("exit, place", "temperature", "area needed", "drag", "front", "class")
        show_table("Where the exit could be", heads, places)
    show_lines(["", *page["notices"]])


def _show_brakes(page: dict[str, Any]) -> None:
    show_lines([page["answer"], page["source"], ""])
    for axle in page["axles"]:
        for option in axle["options"]:
            rows = [
                (w["part"], w["working"], w["hottest"], w["over"]["text"], w["verdict"])
                for w in option["windows"]
            ]
            title = f"{axle['axle']} brakes, {option['name']}: {option['flow']['text']} of air"
            title += f", CxS {option['drag']['text']}" if option["flow"]["best"] > 0 else ""
            columns = ("part", "mean, last lap", "highest", "too hot", "verdict")
            show_table(title, columns, rows)
        need = axle["need"]
        if need["flow"] is not None:
            area = f", a duct of {need['area']['text']}" if need["area"] is not None else ""
            area += f", CxS {need['drag']['text']}," if need["drag"] is not None else ""
            text = f"Needs {need['flow']['text']}{area} to stay below {need['limit_c']:.0f} °C."
            show_lines([text])
        elif need["text"]:
            show_lines([need["text"]])
    show_lines(["", *page["notices"]])
