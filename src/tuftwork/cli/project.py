"""Commands about a project folder: new, demo, check, open, doctor."""

from typing import Annotated

import typer

from tuftwork.cli.frame import NO, JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.show import show_lines, show_table


@command("new")
def new(
    folder: Annotated[str, typer.Argument(help="Folder to make.")],
    title: Annotated[str, typer.Option(help="What the work is about.")] = "Untitled study",
    as_json: JsonOption = False,
) -> int:
    """Make a project folder with a first page to fill in."""
    from tuftwork.files import new_project

    opened = new_project(folder, title=title)
    if as_json:
        print_json({"folder": str(opened.folder)})
    else:
        show_lines([f"Made {opened.folder}. Fill in project.toml, then: tuftwork check {folder}"])
    return 0


@command("demo")
def demo(
    folder: Annotated[str, typer.Argument(help="New folder for the demo project.")],
    which: Annotated[
        str, typer.Option(help="halyard (invented car) or prototype (published table).")
    ] = "halyard",
    as_json: JsonOption = False,
) -> int:
    """Write a demo project to try everything on."""
    from pathlib import Path

    from tuftwork.demo import DEMOS
    from tuftwork.errors import UnknownName

    if which not in DEMOS:
        raise UnknownName("which", which, DEMOS)
    made = DEMOS[which](Path(folder))
    if as_json:
        print_json({"folder": str(made), "demo": which})
    else:
        show_lines([f"Wrote the demo '{which}' to {made}. Next: tuftwork study {folder} --report"])
    return 0


@command("check")
def check(project: ProjectArgument = ".", as_json: JsonOption = False) -> int:
    """Read a project and list everything that is wrong or worth saying, at once."""
    from tuftwork.files import read_project, register_of

    opened = read_project(project)
    held = opened.project
    lines = register_of(held, opened.folder)
    lost = [line.evidence.id for line in lines if line.standing in ("missing", "changed")]
    if as_json:
        print_json(
            {
                "project": held.about.title,
                "notices": [str(n) for n in opened.notices],
                "doubts": [str(doubt) for doubt in opened.doubts],
                "evidence": {line.evidence.id: line.standing for line in lines},
            }
        )
        return NO if lost or opened.doubts else 0
    show_lines(
        [
            f"{held.about.title}",
            f"{len(held.parts)} parts, {len(held.states)} states, {len(held.claims)} claims, "
            f"{len(held.measured)} measured rows, {len(held.evidence)} pieces of evidence.",
            *(f"Note: {notice}" for notice in opened.notices),
            *([f"Numbers to look at: {', '.join(d.key for d in opened.doubts)}."]
              if opened.doubts else []),
            *([f"Evidence to look at: {', '.join(lost)}."] if lost else []),
            *(["Nothing wrong found."] if not lost and not opened.doubts else []),
        ]
    )  # fmt: skip
    return NO if lost or opened.doubts else 0


@command("open")
def open_app(
    project: ProjectArgument = ".",
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
    page: Annotated[str, typer.Option(help="Print this page as JSON and stop.")] = "",
) -> int:
    """Open a project in the browser: a local page, nothing leaves this machine."""
    from tuftwork.app import get_page, serve
    from tuftwork.study import Bench

    bench = Bench(project, runs_itself=bool(page))
    try:
        if page:
            typer.echo(get_page(bench, page))
        else:
            serve(bench, browser, announce=lambda address: typer.echo(f"Open {address}"))
    finally:
        bench.close()
    return 0


@command("doctor")
def doctor(as_json: JsonOption = False) -> int:
    """Say what is installed: versions, extras, graphics card, browser."""
    from tuftwork.cli.doctor import findings

    found = findings()
    if as_json:
        print_json(found)
        return 0
    rows = [(row["what"], row["found"], row["for"]) for row in found]
    show_table("What this machine has", ("what", "found", "needed for"), rows)
    return 0
