"""Commands that answer: study, report, claims, budget, export."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import NO, JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.progress import progress_bar
from tuftwork.cli.show import show_lines, show_table

SchedulerOption = Annotated[
    str, typer.Option(help="Address of a Dask scheduler for large sweeps: tcp://host:8786.")
]
StateOption = Annotated[str, typer.Option(help="State of the car; the baseline unless given.")]
SpeedOption = Annotated[str, typer.Option(help="Like '220 km/h'; the study's unless given.")]


@command("study")
def study(
    project: ProjectArgument = ".",
    report: Annotated[bool, typer.Option("--report", help="Write the report too.")] = False,
    scheduler: SchedulerOption = "",
    as_json: JsonOption = False,
) -> int:
    """Run the main job: claims, budget, map with the platform loop, findings."""
    from tuftwork.study import Bench

    bench = Bench(project, scheduler=scheduler or None)
    with progress_bar(quiet=as_json) as watch:
        run = bench.run(watch, lambda: False)
    overview = bench.page("overview")
    written = _write_report(bench) if report else None
    if as_json:
        print_json({"run": run, "overview": overview, "report": written})
        return 0
    show_lines(_headlines(overview, run))
    if written:
        show_lines([f"Report: {written['pdf']}"])
    return 0


@command("report")
def report_command(project: ProjectArgument = ".", as_json: JsonOption = False) -> int:
    """Write the client report as PDF and JSON into the project's out/ folder."""
    from tuftwork.study import Bench

    bench = Bench(project)
    written = _write_report(bench)
    if as_json:
        print_json(written)
    else:
        show_lines([f"Report: {written['pdf']}", f"Same content as JSON: {written['json']}"])
    return 0


@command("claims")
def claims(project: ProjectArgument = ".", as_json: JsonOption = False) -> int:
    """Check what was said about the car, claim by claim and all together."""
    from tuftwork.study import Bench

    page = Bench(project).page("claims")
    if as_json:
        print_json(page)
    else:
        rows = [(c["id"], c["said"], c["verdict"], c["because"]) for c in page["claims"]]
        show_table("Claims", ("claim", "said", "verdict", "because"), rows)
        show_lines([page["together"]["text"]])
        show_lines(f"Ask about {c['id']}: {c['ask']}" for c in page["claims"] if c.get("ask"))
    return NO if any(c["verdict"] == "contradicts" for c in page["claims"]) else 0


@command("budget")
def budget(
    project: ProjectArgument = ".",
    speed: SpeedOption = "",
    state: StateOption = "",
    as_json: JsonOption = False,
) -> int:
    """Show where downforce and drag come from, with the ride heights at which that holds."""
    from tuftwork.study import Bench

    page = Bench(project).page("budget", **_given(speed=speed, state=state))
    if as_json:
        print_json(page)
        return 0
    rows = [(r["name"], r["front"], r["rear"], r["total"], r["drag"]) for r in page["rows"]]
    title = f"Budget at {page['speed']['text']}, {page['state']}"
    show_table(title, ("part", "CzSf", "CzSr", "CzS", "CxS"), rows, page["at"])
    return 0


@command("export")
def export(
    project: ProjectArgument = ".",
    to: Annotated[str, typer.Option(help="Folder; the project's out/ unless given.")] = "",
    as_json: JsonOption = False,
) -> int:
    """Write maps (netCDF), the budget and the path (CSV) for other programs."""
    from tuftwork.study import Bench

    written = Bench(project).export(to or None)
    if as_json:
        print_json({"files": written})
    else:
        show_lines(f"Wrote {name}" for name in written)
    return 0


def _write_report(bench: Any) -> dict[str, str]:
    from tuftwork.report import write_client_report

    return write_client_report(bench)


def _given(**texts: str) -> dict[str, str]:
    return {key: text for key, text in texts.items() if text}


def _headlines(overview: dict[str, Any], run: dict[str, Any]) -> list[str]:
    """Return the answer and the three findings that matter most."""
    lines = [overview["answer"], ""]
    for finding in overview["findings"][:3]:
        lines += [f"{finding['rank']}. {finding['title']}", f"   {finding['text']}"]
    took = "read from the store" if run["took_s"] < 1 else f"{run['took_s']:.1f} s"
    return [*lines, "", f"Study: {took}."]
