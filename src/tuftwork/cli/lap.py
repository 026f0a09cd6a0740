"""Commands about the lap: lap, value, trim."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import JsonOption, ProjectArgument, command, print_json
from tuftwork.cli.show import show_lines, show_table

CircuitOption = Annotated[str, typer.Option(help="Circuit; the first unless given.")]
StateOption = Annotated[str, typer.Option(help="State; the quickest unless given.")]


@command("lap")
def lap(
    project: ProjectArgument = ".",
    circuit: CircuitOption = "",
    state: StateOption = "",
    against: Annotated[str, typer.Option(help="State compared with; the baseline.")] = "",
    as_json: JsonOption = False,
) -> int:
    """Lap every state on the study's map, and say what each is worth in seconds."""
    page = _page(project, circuit=circuit, state=state, against=against)
    if as_json:
        print_json(page)
        return 0
    rows = [(r["name"], r["time"], r["change"], r["top"], r["verdict"]) for r in page["laps"]]
    noise = f"Below {page['noise']['text']} this driver's laps hide it ({page['driver']})."
    show_table(
        f"{page['circuit']}, {page['length']['text']}",
        ("state", "lap", "change", "top speed", "verdict"), rows, noise,
    )  # fmt: skip
    corners = [(c["name"], c["class"], c["speed"], c["change"]) for c in page["corners"]]
    show_table(
        f"Corner by corner: '{page['state']}' against '{page['against']}'",
        ("corner", "class", "slowest", "change"), corners,
    )  # fmt: skip
    for device in page["devices"]:
        _show_device(device)
    if page["grip"] is not None:
        _show_grip(page["grip"])
    show_lines([page["cliff"]["text"], *page["notices"], page["caution"]])
    return 0


@command("value")
def value(
    project: ProjectArgument = ".",
    circuit: CircuitOption = "",
    state: StateOption = "",
    as_json: JsonOption = False,
) -> int:
    """Say what a point of downforce, of drag, a kilogram or a millimetre is worth here."""
    page = _page(project, circuit=circuit, state=state)
    kept = ("circuit", "state", "noise", "value", "exchange", "elsewhere", "next", "said")
    if as_json:
        print_json({key: page[key] for key in kept})
        return 0
    rows = [(r["name"], r["number"], r["verdict"]) for r in page["value"]]
    show_table(
        f"What a unit is worth at {page['circuit']}, '{page['state']}'",
        ("one unit", "seconds", "verdict"), rows,
        f"One point of downforce may cost {page['exchange']['text']} points of drag.",
    )  # fmt: skip
    if page["next"]:
        changes = [
            (r["name"], ", ".join(r["after"]), r["gain"], f"{r['cost']:g}", r["verdict"])
            for r in page["next"]
        ]
        columns = ("change", "with", "counted on", "cost", "verdict")
        show_table("What next, by seconds for money", columns, changes)
    if page["said"]:
        said = page["said"]
        show_lines([f"Is it aero at all? {said['verdict']}. {said['next_step']}"])
    return 0


@command("trim")
def trim(
    project: ProjectArgument = ".",
    save: Annotated[
        bool, typer.Option("--save", help="Write trim.pdf and trim.csv into out/.")
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Show the trim table the driver holds: settings within the balance band, by downforce."""
    from tuftwork.study import Bench

    bench = Bench(project)
    page = bench.page("trim")
    written = _write_trim(bench) if save else None
    if as_json:
        print_json(page | {"files": written})
        return 0
    show_lines([f"CAUTION. {page['caution']}", page["no_go"]])
    rows = [_trim_row(r) for r in (*page["rows"], *page["special"])]
    columns = ("setting", "hf / hr", "CzS fast", "front", "lap", "top", *page["corners"])
    show_table(
        f"{page['circuit']}, {page['mass_state']}, against '{page['baseline']}'", columns, rows,
        f"Wanted {page['wanted']['text']} front, ±{page['band']['text']}; "
        f"{len(page['left_out'])} settings lie outside.",
    )  # fmt: skip
    show_lines([page["first_step"]])
    show_lines(f"From {b['above']['text']}: {b['step']}" for b in page["blanking"])
    show_lines(f"Wrote {path}" for path in (written or {}).values())
    return 0


def _show_grip(grip: dict[str, Any]) -> None:
    """Show what circles did to the tyres: as given, as driven, and what they cannot tell."""
    if grip["refused"]:
        show_lines([grip["answer"], *grip["refused"]])
        return
    friction = [
        (f"{r['axle']} friction at {r['load']}", r["before"], r["after"], *_moved(r))
        for r in grip["friction"]
    ]
    inputs = [(r["label"], r["before"], r["after"], *_moved(r)) for r in grip["inputs"]]
    show_table(
        "Tyres: tied to circles driven", ("", "as given", "as driven", "moved", "range left"),
        [*friction, *inputs], grip["answer"],
    )  # fmt: skip
    rows = [
        (r["id"], r["kind"], r["radius"], r["measured"], r["before"], r["after"],
         f"{r['miss']:+.1f}".replace("-", "\u2212"))
        for r in grip["rows"]
    ]  # fmt: skip
    columns = ("circle", "kind", "radius", "measured", "as given", "as driven", "left, in sd")
    show_table("To the side, circle by circle", columns, rows)
    change = f"A lap of the baseline changes by {grip['lap']['text']} with the tyres as driven."
    show_lines([*grip["says"], change, *grip["notices"]])


def _moved(row: dict[str, Any]) -> tuple[str, str]:
    moved = f"{row['moved']:+.1f} sd".replace("-", "\u2212")
    return moved, f"{row['left_pct']}\u202f%"


def _show_device(device: dict[str, Any]) -> None:
    title = f"{device['device']}, {device['name']}"
    if device["refused"]:
        show_lines([f"{title}: no lap. {device['refused']}"])
        return
    words = {"held": "stuck there", "failed": "failed"}
    rows = [
        (r["state"], words[r["kind"]], r.get("change"), r.get("verdict", r["refused"]))
        for r in device["rows"]
    ]
    show_table(
        f"{title}: lap {device['time']['text']}, {device['moves']} moves",
        ("instead", "how", "change", "verdict"), rows,
    )  # fmt: skip


def _trim_row(row: dict[str, Any]) -> tuple[Any, ...]:
    dry = row["kind"] == "dry"
    name = row["name"].rpartition(",")[0] if dry else f"{row['name']} ({row['kind']})"
    mark = "NOT TO BE RUN: " if row["no_go"] and dry else ""
    heights = f"{row['front_mm']:.0f} / {row['rear_mm']:.0f} mm"
    short = (row[k]["text"].partition(" (")[0] for k in ("downforce", "share"))
    rest = (row[k]["text"].partition(" (")[0] for k in ("top", "first", "second"))
    return (f"{mark}{name}", heights, *short, row["lap"], *rest)


def _page(project: str, **query: str) -> dict[str, Any]:
    from tuftwork.study import Bench

    return Bench(project).page("lap", **{key: text for key, text in query.items() if text})


def _write_trim(bench: Any) -> dict[str, str]:
    from tuftwork.report.trim import write_trim

    return write_trim(bench)
