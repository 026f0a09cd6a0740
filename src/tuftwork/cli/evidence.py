"""Commands about evidence: what the project rests on, and how a file becomes part of it."""

from typing import Annotated

import typer

from tuftwork.cli.frame import NO, JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.show import show_lines, show_table


@command("evidence show")
def show(project: ProjectArgument = ".", as_json: JsonOption = False) -> int:
    """Show the register: every piece of evidence, how it stands, what rests on it."""
    from tuftwork.files import read_project
    from tuftwork.study.register import evidence_page

    page = evidence_page(read_project(project))
    lost = [i for i in page["items"] if i["state"] in ("missing", "changed", "not registered")]
    if as_json:
        print_json(page)
        return NO if lost else 0
    rows = [
        (i["id"], i["title"], i["kind"], i["source"], i["day"], i["state"], f"{len(i['used_by'])}")
        for i in page["items"]
    ]
    columns = ("id", "what", "kind", "source", "day", "state", "uses")
    show_table("Evidence", columns, rows)
    if page["loose"]:
        show_lines(["", f"Below evidence/, named by no row: {', '.join(page['loose'])}."])
    if any(i["state"] == "not registered" for i in lost):
        show_lines(["", "'tuftwork evidence keep' writes the digests of files that have none."])
    return NO if lost else 0


@command("evidence add")
def add(
    file: Annotated[str, typer.Argument(help="The original: copied into evidence/, only read.")],
    project: ProjectArgument = ".",
    kind: Annotated[
        str,
        typer.Option(
            help="photo, drawing, sheet, log, scan, statement, paper, table or run.",
            show_default=False,
        ),
    ] = "",
    source: Annotated[str, typer.Option(help="Who made or sent it.", show_default=False)] = "",
    day: Annotated[str, typer.Option(help="When it was made, as 2026-05-03.")] = "",
    title: Annotated[str, typer.Option(help="What it is; the file's name unless given.")] = "",
    note: Annotated[str, typer.Option(help="Anything worth remembering.")] = "",
    id: Annotated[str, typer.Option(help="Short name; the next free one unless given.")] = "",
    as_json: JsonOption = False,
) -> int:
    """Register a file as evidence, with its digest.

    The project file gains one block and is otherwise the same, byte for byte. Rows of the project
    then name it by its id: evidence = "E3", from = "E3, line 4".
    """
    from tuftwork.files import Offered, add_evidence, read_project

    offered = Offered(file=file, kind=kind, source=source, day=day, title=title, note=note, id=id)
    _, kept = add_evidence(read_project(project), offered)
    if as_json:
        print_json(kept.model_dump(mode="json"))
        return 0
    show_lines([
        f"{kept.id} is registered: evidence/{kept.file}, {kept.kind} from {kept.source}.",
        f"Digest {kept.digest}.",
        *([] if kept.day else ["No day is given: say when it was made, where that is known."]),
    ])  # fmt: skip
    return 0


@command("evidence keep")
def keep(project: ProjectArgument = ".", as_json: JsonOption = False) -> int:
    """Keep the digest of every file that the project names without one."""
    from tuftwork.files import read_project, record_digests

    before = read_project(project)
    after = record_digests(before)
    was = {item.id: item.digest for item in before.project.evidence}
    kept = {i.id: i.digest for i in after.project.evidence if i.digest and not was[i.id]}
    if as_json:
        print_json({"kept": kept})
        return 0
    show_lines([f"{name}: {digest}" for name, digest in kept.items()]
               or ["No file was without a digest."])  # fmt: skip
    return 0
