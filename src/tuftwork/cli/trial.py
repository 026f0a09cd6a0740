"""Commands of a test day: plan, log, reduce, agree."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import NO, JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.show import show_lines, show_table

DayOption = Annotated[str, typer.Option(help="Test day; the last unless given.")]


@command("plan")
def plan(
    project: ProjectArgument = ".",
    sheet: Annotated[
        bool, typer.Option("--sheet", help="Write the run sheet as PDF and CSV into out/.")
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Plan the next test day: repeats, order, time, when to stop; run sheet on demand."""
    from tuftwork.study import Bench

    bench = Bench(project)
    page = bench.page("plan")
    written: dict[str, str] = {}
    if sheet:
        from tuftwork.report.runsheet import write_run_sheet

        written = write_run_sheet(bench)
    if as_json:
        print_json(page | {"written": written})
        return 0
    show_lines([page["question"], f"Rule: {page['rule']}", page["answer"], ""])
    powers = [(p["pairs"], f"{p['sees_points']:.1f} points", f"{p['chance_percent']} %", p["takes"])
              for p in page["powers"]]  # fmt: skip
    show_table("What so many pairs per state can see", ("pairs", "sees", "chance", "takes"), powers)
    rows = [(x["start"], x["block"], x["state"], "" if x["speed_kmh"] is None else
             f"{x['speed_kmh']} km/h", x["what"]) for x in page["lines"]]  # fmt: skip
    show_table("Run sheet", ("start", "block", "state", "speed", "what"), rows)
    show_lines(["", *(f"Stop: {text}" for text in page["stops"]),
                *(f"Caution: {text}" for text in page["safety"]),
                *(f"Note: {text}" for text in page["notices"]),
                *(f"Wrote {path}" for path in written.values())])  # fmt: skip
    return 0 if page["is_enough"] else NO


@command("log")
def log(
    project: ProjectArgument = ".",
    day: DayOption = "",
    take: Annotated[
        list[int] | None, typer.Option(help="Accept the cure of this card; may be given again.")
    ] = None,
    take_all: Annotated[bool, typer.Option("--take-all", help="Accept every cure.")] = False,
    undo: Annotated[
        list[int] | None, typer.Option(help="Take back this accepted cure, counted from 1.")
    ] = None,
    as_json: JsonOption = False,
) -> int:
    """Look for faults in a test day's log; accept cures or take them back. Logs never change."""
    from tuftwork.study import Bench
    from tuftwork.study.trial.take import take_cures, undo_cures

    bench = Bench(project)
    if undo:
        undo_cures(bench, day, undo)
    if take or take_all:
        take_cures(bench, day, None if take_all else take)
    page = bench.page("log", **({"day": day} if day else {}))
    if as_json:
        print_json(page)
    elif "refused" in page:
        show_lines(page["refused"])
    else:
        _show_log(page)
    return NO if page.get("refused") or page.get("left") else 0


def _show_log(page: dict[str, Any]) -> None:
    rows = [(str(f["n"]), f["title"], f["size"], "taken" if f["taken"] else f["cure"])
            for f in page["faults"]]  # fmt: skip
    title = f"Faults in the log of '{page['day']}'" if rows else "No fault found in the log"
    show_table(title, ("card", "what", "size", "cure"), rows)
    for fault in page["faults"]:
        show_lines([f"{fault['n']}. {line}" for line in fault["evidence"]])
        show_lines([f"   {fault['changes']}"] if fault["changes"] else [])
    show_lines(f"Worth knowing: {f['title']}, {f['size']}" for f in page["knowing"])
    compared = [
        (f"{x['speed_kmh']:.0f}", x["front_before"], x["front_after"], x["rear_before"],
         x["rear_after"])
        for x in page["before_after"]
    ]  # fmt: skip
    columns = ("km/h", "CzSf as read", "CzSf cured", "CzSr as read", "CzSr cured")
    show_table("Before and after", columns, compared)
    show_lines([*(f"Accepted: {c}" for c in page["cures"]),
                *(f"Note: {n}" for n in page["notices"]), page["how"]])  # fmt: skip


@command("reduce")
def reduce(
    project: ProjectArgument = ".",
    day: DayOption = "",
    version: Annotated[
        str, typer.Option(help="as read, accepted, or all cures; the best founded unless given.")
    ] = "",
    as_json: JsonOption = False,
) -> int:
    """Reduce a test day: CzSf and CzSr per state and speed, differences, budget, coast-down."""
    from tuftwork.errors import UnknownName
    from tuftwork.study import Bench
    from tuftwork.study.trial.shown import VERSIONS

    if version and version not in VERSIONS:
        raise UnknownName("version", version, VERSIONS)
    wanted = {k: v for k, v in (("day", day), ("version", version)) if v}
    page = Bench(project).page("results", **wanted)
    if as_json:
        print_json(page)
        return NO if "refused" in page else 0
    if "refused" in page:
        show_lines(page["refused"])
        return NO
    keys = ("height_front", "height_rear", "front", "rear", "total", "share")
    rows = [(f"{r['state']}, {r['speed_kmh']:.0f} km/h", r["passes"], *(r[k] for k in keys))
            for r in page["rows"]]  # fmt: skip
    columns = ("state", "passes", "hf", "hr", "CzSf", "CzSr", "CzS", "%F")
    show_table(f"{page['day']}, {page['version']}, {page['mass_state']}", columns, rows)
    gains = [(f"{d['state']}, {d['speed_kmh']:.0f} km/h", d["front"], d["rear"], d["total"],
              d["verdict"]) for d in page["differences"]]  # fmt: skip
    if gains:
        show_table("Against the baseline", ("state", "CzSf", "CzSr", "CzS", "verdict"), gains)
    coast = page["coast"]
    if coast:
        show_lines([f"Coast-down, {coast['runs']} runs, {coast['from']}: CxS "
                    f"{coast['drag']['text']}, rolling {coast['rolling']}, wind {coast['wind']}, "
                    f"grade {coast['grade']}, {coast['split']}."])  # fmt: skip
    for budget in page["budgets"][:1]:
        lines = [(x["name"], x["front"], f"{x['front_share']:.0%}", x["rear"],
                  f"{x['rear_share']:.0%}") for x in budget["lines"]]  # fmt: skip
        show_table(f"Standard uncertainty, {budget['state']}, {budget['speed_kmh']:.0f} km/h",
                   ("from", "CzSf", "share", "CzSr", "share"), lines)  # fmt: skip
    show_lines(f"Note: {n}" for n in page["notices"])
    return 0


@command("agree")
def agree(
    project: ProjectArgument = ".",
    day: DayOption = "",
    memo: Annotated[
        bool, typer.Option("--memo", help="Write the correlation memo as PDF into out/.")
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Hold the model against a test day: both ranges, what was learned, what to test next."""
    from tuftwork.study import Bench

    bench = Bench(project)
    page = bench.page("agreement", **({"day": day} if day else {}))
    written: dict[str, str] = {}
    if memo:
        from tuftwork.report.runsheet import write_memo

        written = write_memo(bench, day)
    if as_json:
        print_json(page | {"written": written})
        return _verdict(page)
    rows = [(f"{r['state']}, {r['speed_kmh']:.0f} km/h", r["front_measured"], r["front_predicted"],
             r["front_verdict"], r["rear_measured"], r["rear_predicted"], r["rear_verdict"])
            for r in page["rows"]]  # fmt: skip
    columns = ("state", "CzSf measured", "predicted", "", "CzSr measured", "predicted", "")
    show_table(f"Predicted against measured, {page['day']}", columns, rows)
    following = page.get("next")
    show_lines([*([f"Test next: {following['text']}"] if following else []),
                *(f"Note: {n}" for n in page["notices"]),
                *(f"Wrote {path}" for path in written.values())])  # fmt: skip
    return _verdict(page)


def _verdict(page: dict[str, Any]) -> int:
    words = [r[f"{axle}_verdict"] for r in page["rows"] for axle in ("front", "rear")]
    return NO if "contradicts" in words or not words else 0
