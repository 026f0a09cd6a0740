"""Commands of the 3-D flow: ``flow prepare``, ``run``, ``sweep``, ``rerun``, ``show``."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

from tuftwork.cli.frame import NO, JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.show import show_lines, show_table

CaseOption = Annotated[
    str, typer.Option(help="A case of the project by name; its first unless given.")
]
CardsOption = Annotated[
    int,
    typer.Option("--cards", min=0, help="Graphics cards that share the box; as the case says."),
]


@command("flow prepare")
def prepare(
    project: ProjectArgument = ".",
    case: CaseOption = "",
    quick: Annotated[
        bool, typer.Option("--quick", help="Size and cost only; the grid is not cut.")
    ] = False,
    cards: CardsOption = 0,
    as_json: JsonOption = False,
) -> int:
    """Check a case of the 3-D flow and say what it will cost; nothing runs."""
    from tuftwork.files import read_project
    from tuftwork.study.flow.case import built_case, run_named
    from tuftwork.study.flow.cost import cost_tree
    from tuftwork.study.flow.inside import opening_tree
    from tuftwork.study.flow.moments import said_of_shape
    from tuftwork.study.flow.page import part_rows
    from tuftwork.study.flow.spoken import prepared_or_spoken

    opened = read_project(project)
    built = built_case(opened.project, opened.folder, run_named(opened.project, case))
    seen = built.forecast(cards=cards)
    cost = cost_tree(seen, built.run, built.case)
    tree: dict[str, Any] = {
        "case": built.run.name, "cost": cost["rows"], "parts": part_rows(built),
        "faults": cost["faults"], "mended": list(built.shape.notes),
        "openings": opening_tree(built.case),
        "notices": said_of_shape(is_generic=built.run_is_generic, counts=built.run.counts),
    }  # fmt: skip
    if not quick:
        prepared, faults = prepared_or_spoken(built.case, seen)
        tree["faults"] = [str(f) for f in faults]
        if prepared is not None:
            tree["notices"] += prepared.notices
            tree["openings"] = opening_tree(built.case, prepared.passages)
            tree["gap_cells"], tree["gap_between"] = prepared.gap_cells, prepared.gap_between
            tree["gap_at"], tree["n_plain"] = prepared.gap_at, prepared.n_plain
    if as_json:
        print_json(tree)
    else:
        _show_prepared(tree)
    return NO if tree["faults"] else 0


def _show_prepared(tree: dict[str, Any]) -> None:
    from tuftwork.study.flow.spoken import spoken_place

    does = {(True, False): "rolls", (False, True): "air passes"}
    rows = [(p["name"], "in" if p["in"] else "left out",
             does.get((p["rolls"], p["passes"]), ""), p["size"])
            for p in tree["parts"]]  # fmt: skip
    show_table(f"Parts of '{tree['case']}'", ("part", "", "", "size"), rows)
    if tree["openings"]:
        show_table(
            "Openings",
            ("opening", "", "in cells", "drawn", "flow", "speed"),
            [_opening_row(o) for o in tree["openings"]],
            "m², kg/s and m/s; one tied to the cooling net begins with what it says",
        )
    show_table("Size and cost", ("what", "is"), [(r["label"], r["text"]) for r in tree["cost"]])
    if tree.get("gap_cells") is not None:
        between, place = " and ".join(tree["gap_between"]), spoken_place(tree["gap_at"])
        show_lines([f"Narrowest gap: {tree['gap_cells']} cells, between {between} at {place}."])
    show_lines(f"Mended: {text}" for text in tree["mended"])
    show_lines(tree["notices"])
    faults = tree["faults"]
    if faults:
        show_lines([f"Refused, {len(faults)} fault{'s' if len(faults) > 1 else ''}:", *faults])


def _opening_row(o: dict[str, Any]) -> tuple[str, ...]:
    area = "not cut" if o["area"] is None else f"{o['area']:.4f}"
    return (o["name"], o["way"], area, f"{o['drawn']:.4f}", f"{o['mass_flow']:.3f}",
            f"{o['speed']:.1f}")  # fmt: skip


@command("flow run")
def run(
    project: ProjectArgument = ".",
    case: CaseOption = "",
    fields: Annotated[
        bool, typer.Option("--fields", help="Export the whole field too (VTI, VTK HDF, netCDF).")
    ] = False,
    zarr: Annotated[
        bool, typer.Option("--zarr", help="Export fields and load histories as a Zarr store.")
    ] = False,
    register: Annotated[
        bool, typer.Option(help="Register the finished run as evidence of the project.")
    ] = True,
    cards: CardsOption = 0,
    as_json: JsonOption = False,
) -> int:
    """Run a case of the 3-D flow; goes on from a checkpoint, Ctrl-C keeps one."""
    from tuftwork.files import read_project
    from tuftwork.study.flow.desk import run_case
    from tuftwork.study.flow.files import Form
    from tuftwork.study.flow.page import CAUTION

    folder = read_project(project).folder
    wanted: tuple[tuple[bool, Form], ...] = ((fields, "files"), (zarr, "zarr"))
    forms = tuple(form for is_wanted, form in wanted if is_wanted)
    with _watching(quiet=as_json) as tell:
        state = run_case(folder, case, tell=tell, fields=forms, register=register, cards=cards)
    kept = {k: v for k, v in state.items() if k not in ("history", "pid")}
    if as_json:
        print_json(kept)
        return 0
    show_lines([_said(state), state["bias"]["text"], *state["notices"], CAUTION])
    if state["evidence"]:
        why = _why_not(folder, state["evidence"])
        held = "does not hold it against the car." if why else "holds it against the car."
        show_lines([f"Registered as {state['evidence']}; the next study {held} {why}".rstrip()])
    show_lines(f"Wrote {name}" for name in state["files"])
    return 0


def _why_not(folder: Path, evidence: str) -> str:
    """Return why a run that is registered is not held against the car, empty where it is."""
    from tuftwork.files import read_project
    from tuftwork.study.flow.sighting import flown_runs

    runs = flown_runs(read_project(folder).project, folder)
    return next((one.why_not for one in runs if one.evidence.id == evidence), "")


def _said(state: dict[str, Any]) -> str:
    from tuftwork.study.flow.cost import spoken_time

    parts = [
        f"{label} {loads['mean']:.3f} ± {1.28 * loads['error']:.3f} m²".replace("-", "\u2212")
        for label, loads in (("CzSf", state["loads"]["front"]), ("CzSr", state["loads"]["rear"]),
                             ("CxS", state["loads"]["drag"]))
    ]  # fmt: skip
    reached = "" if state["reached"] else " The asked error was not reached."
    return (
        f"'{state['case']}' after {state['travel']:.1f} lengths and "
        f"{spoken_time(state['seconds'])}: {', '.join(parts)} (statistical error only).{reached}"
    )


@command("flow sweep")
def sweep(
    project: ProjectArgument = ".",
    case: Annotated[
        list[str] | None,
        typer.Option(help="Case to run; give it again for more. All unless given."),
    ] = None,
    base: Annotated[
        str, typer.Option(help="Case that heights and yaw are spread from; the first unless given.")
    ] = "",
    front: Annotated[str, typer.Option(help="Front ride heights, such as 30,40,50 mm.")] = "",
    rear: Annotated[str, typer.Option(help="Rear ride heights, such as 50,60.")] = "",
    yaw: Annotated[str, typer.Option(help="Yaw angles, such as 0,3,6.")] = "",
    cell: Annotated[str, typer.Option(help="Cells at the car, such as 12,17 mm.")] = "",
    scheduler: Annotated[
        str, typer.Option(help="Address of a Dask scheduler: tcp://host:8786.")
    ] = "",
    at_once: Annotated[int, typer.Option(min=1, help="Cases side by side on this machine.")] = 1,
    cards: CardsOption = 0,
    as_json: JsonOption = False,
) -> int:
    """Run many cases of the 3-D flow; what is done is not run again, what failed is told."""
    from tuftwork.files import read_project
    from tuftwork.study.flow.page import CAUTION
    from tuftwork.study.flow.sweep import listed, run_sweep, spread_cases, swept_rows

    opened = read_project(project)
    names = tuple(case or ())
    values = {"front": front, "rear": rear, "yaw": yaw, "cell": cell}
    if any(values.values()):
        asked = {name: listed(text) for name, text in values.items()}
        opened, spread = spread_cases(opened, base, asked)
        names += spread
    found = run_sweep(
        opened.folder, names, scheduler=scheduler, at_once=at_once, cards=cards,
        tell=lambda one, done, count: None if as_json else show_lines([
            f"{done} of {count}: '{one.name}' {one.state}. {one.text}".rstrip()
        ]),
    )  # fmt: skip
    rows = swept_rows(opened.folder, found)
    if as_json:
        print_json({"cases": rows})
    else:
        keys = ("name", "state", "front", "rear", "drag", "evidence")
        show_table(
            "Sweep of the 3-D flow", ("case", "state", "CzSf", "CzSr", "CxS", "evidence"),
            [tuple(r[key] for key in keys) for r in rows],
            "m², each with its statistical error and stated bias",
        )  # fmt: skip
        show_lines({r["why_not"]: None for r in rows if r["why_not"]})
        show_lines([CAUTION])
    return 0 if all(one.is_done for one in found) else NO


@command("flow rerun")
def rerun(
    project: ProjectArgument = ".",
    case: CaseOption = "",
    coarser: Annotated[
        float, typer.Option(help="Size of the cells over that of the case, 1.2 to 4 times.")
    ] = 1.4,
    laid: Annotated[
        float,
        typer.Option(
            help="Cells as large instead, laid this share of one further ahead, 0.1 to 0.9."
        ),
    ] = 0.0,
    cards: CardsOption = 0,
    as_json: JsonOption = False,
) -> int:
    """Run a case with other cells too, and say how far its loads depend on them.

    Both are judged first: what is refused leaves nothing behind.
    """
    from tuftwork.errors import InputError
    from tuftwork.files import read_project
    from tuftwork.study.flow.grid import COARSER, grid_tree
    from tuftwork.study.flow.rerun import rerun_coarser, rerun_laid

    if laid and coarser != COARSER:
        cure = "Run the one, then the other: each is held against the case alone."
        raise InputError("--laid", laid, "of a cell", "cannot go with --coarser", cure)
    folder = read_project(project).folder
    found = (
        rerun_laid(folder, case, laid, cards=cards)
        if laid
        else rerun_coarser(folder, case, coarser, cards=cards)
    )
    words = grid_tree(read_project(folder).project, folder, found[0].name)
    if as_json:
        print_json({"cases": [{"name": s.name, "state": s.state, "text": s.text} for s in found],
                    "grid": words})  # fmt: skip
    else:
        show_lines(f"'{s.name}' {s.state}. {s.text}".rstrip() for s in found)
        show_lines(words)
    return 0 if all(one.is_done for one in found) else NO


@command("flow show")
def show(
    project: ProjectArgument = ".",
    case: CaseOption = "",
    pictures: Annotated[str, typer.Option(help="Folder to draw pictures (PNG) into.")] = "",
    export: Annotated[
        str, typer.Option(help="Folder to write surfaces, lines, planes and loads into.")
    ] = "",
    as_json: JsonOption = False,
) -> int:
    """Show a run of the 3-D flow: state, loads with their range, bias; draw or export it."""
    from tuftwork.study import Bench
    from tuftwork.study.flow.page import CAUTION

    bench = Bench(project, runs_itself=False)
    page = bench.page("flow", **({"case": case} if case else {}))
    if pictures and page["result"]:
        from tuftwork.report.section.flow import write_flow_pictures

        page["pictures"] = write_flow_pictures(bench, page["case"], pictures)
    if export and page["result"]:
        from tuftwork.study.flow.export import export_record
        from tuftwork.study.flow.over_time import series_of
        from tuftwork.study.flow.page import record_of

        record = record_of(bench, page["case"])
        page["exported"] = export_record(record, export, series_of(record, bench.folder))
    done = NO if (pictures or export) and not page["result"] else 0  # asked for, and not there
    if as_json:
        print_json(page)
        return done
    if not page["cases"]:
        show_lines([page["text"]])
        return done
    if page["run"]:
        show_lines([f"Run of '{page['case']}': {_stands(page['run'])}"])
    if page["run"] and page["run"]["is_going"]:
        show_lines(page["run"]["doubts"])
    if page.get("kept"):
        show_lines([page["kept"]])
    if not page["result"]:
        show_lines(text for text in page["notices"] if text != CAUTION)
        show_lines([f"'{page['case']}' has not been run to its end yet. Next: tuftwork flow run"])
        return done
    result = page["result"]
    if result["is_older"]:
        show_lines(["The case has been changed since: what follows is what it was when it ran."])
    show_table(
        f"3-D flow '{page['case']}', {result['evidence']}", ("load", "with its range", ""),
        [(r["label"], r["number"], r["noise"]) for r in result["loads"]], result["at"],
    )  # fmt: skip
    show_lines(f"{row['label']}: {row['text']}" for row in result["moments"])
    show_table("By part, m²", ("part", "CzSf", "CzSr", "CxS", "of it friction"),
               [(p["name"], p["front"], p["rear"], p["drag"], p["friction"])
                for p in result["parts"]])  # fmt: skip
    if result["inside"]:
        keys = ("name", "kind", "flow", "speed", "pressure", "note")
        show_table("Air through cores, fans and openings",
                   ("where", "what", "mass flow", "speed or face", "pressure", ""),
                   [tuple(row[key] for key in keys) for row in result["inside"]])  # fmt: skip
    show_lines([result["over_time"]] if result["over_time"] else [])
    show_lines(result["grid"])
    show_lines([result["facts"], result["bias"], result["why_not"], *result["notices"],
                *page["notices"]])  # fmt: skip
    show_lines(f"Drew {name}" for name in page.get("pictures", ()))
    show_lines(f"Wrote {name}" for name in page.get("exported", ()))
    return 0


def _stands(run: dict[str, Any]) -> str:
    """Return how a run stands, with the time of all its processes where it is not at its end."""
    from tuftwork.study.flow.cost import spoken_time

    where = f" on {run['elsewhere']}" if run["is_going"] and run["elsewhere"] else ""
    said = f"{run['state']}{where}. {run['text'] or ''}".rstrip().removesuffix(".") + "."
    if run["state"] != "done" and run["seconds"]:
        said += f" {spoken_time(run['seconds'])} of computing so far."
    return said


@contextmanager
def _watching(*, quiet: bool) -> Iterator[Callable[[dict[str, Any]], None]]:
    """Show travel, loads with their error and the rate while a run goes on."""
    if quiet:
        yield lambda state: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(bar_width=24),
               TextColumn("{task.fields[loads]}"))  # fmt: skip
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Preparing", total=1.0, loads="")

        def tell(state: dict[str, Any]) -> None:
            travel, longest = state.get("travel") or 0.0, state.get("longest") or 1.0
            down, drag = state.get("downforce"), state.get("drag")
            loads = "settling"
            if down and drag:
                loads = f"CzS {down[0]:.3f} ± {down[1]:.3f}, CxS {drag[0]:.3f} ± {drag[1]:.3f} m²"
            rate = (state.get("rate") or 0.0) / 1e6
            said = f"{state['state']}, {travel:.2f} of {longest:g} lengths, {rate:.0f} M cells/s"
            bar.update(task, completed=travel / longest, description=said, loads=loads)

        yield tell
