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
    matrix = page["matrix"]
    if matrix is not None:
        points = [(x["start"], x["state"], f"{x['front_mm']:.0f} / {x['rear_mm']:.0f} mm",
                   "again" if x["is_repeat"] else "", f"{x['answered_percent']} %")
                  for x in matrix["lines"]]  # fmt: skip
        show_table("Tunnel matrix, the most telling first",
                   ("start", "state", "hf / hr", "", "answered"), points)  # fmt: skip
        show_lines(matrix["marks"])
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
    role: Annotated[
        list[str] | None, typer.Option(help="Say what a column is: 'Damper FL=pot front left'.")
    ] = None,
    confirm: Annotated[
        bool, typer.Option("--confirm", help="Confirm every guessed role and unit.")
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Look for faults in a test day's log; accept cures or take them back. Logs never change."""
    from tuftwork.study import Bench
    from tuftwork.study.trial.roles import confirm_roles
    from tuftwork.study.trial.take import take_cures, undo_cures

    bench = Bench(project)
    if role:
        confirm_roles(bench, day, dict(_pair(text) for text in role))
    if confirm:
        confirm_roles(bench, day)
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


def _pair(text: str) -> tuple[str, str]:
    """Return column and role of ``column=role``; an empty role keeps a column out of use."""
    from tuftwork.errors import InputError

    name, sign, role = text.rpartition("=")
    if not sign or not name.strip():
        raise InputError("role", f"'{text}'", "", "must read column=role")
    return name.strip(), role.strip()


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
    guessed = [f"{c['name']} is {c['role']}" for c in page["columns"] if c["is_guess"]]
    show_lines([f"Guessed, not confirmed: {', '.join(guessed)}. Confirm with --confirm, or say "
                "otherwise with --role 'column=role'."] if guessed else [])  # fmt: skip
    show_lines([*(f"Accepted: {c}" for c in page["cures"]),
                *(f"Note: {n}" for n in page["notices"]), page["how"]])  # fmt: skip


@command("reduce")
def reduce(
    project: ProjectArgument = ".",
    day: DayOption = "",
    version: Annotated[
        str, typer.Option(help="as read, accepted, or all cures; the best founded unless given.")
    ] = "",
    keep: Annotated[
        bool,
        typer.Option(
            "--keep", help="Write the results into the project: the study stands on them."
        ),
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Reduce a test day: CzSf and CzSr per state and speed, differences, budget, coast-down."""
    from tuftwork.errors import UnknownName
    from tuftwork.study import Bench
    from tuftwork.study.trial.shown import VERSIONS

    if version and version not in VERSIONS:
        raise UnknownName("version", version, VERSIONS)
    wanted = {k: v for k, v in (("day", day), ("version", version)) if v}
    bench = Bench(project)
    page = bench.page("results", **wanted)
    kept: list[str] = []
    if keep and "refused" not in page:
        from tuftwork.study.trial.keep import keep_results

        kept = keep_results(bench, day, version)
    if as_json:
        print_json(page | ({"kept": kept} if keep else {}))
        return NO if "refused" in page else 0
    _show_sessions(page)
    if "refused" in page:
        show_lines(page["refused"])
        return NO
    if not page["rows"]:
        return 0
    keys = ("height_front", "height_rear", "front", "rear", "total", "share")
    rows = [(f"{r['state']}, {r['speed_kmh']:.0f} km/h", r["passes"], *(r[k] for k in keys))
            for r in page["rows"]]  # fmt: skip
    columns = ("state", "passes", "hf", "hr", "CzSf", "CzSr", "CzS", "%F")
    show_table(f"{page['day']}, {page['version']}, {page['mass_state']}", columns, rows)
    gains = [(f"{d['state']}, {d['speed_kmh']:.0f} km/h", d["front"], d["rear"], d["total"],
              d["verdict"]) for d in page["differences"]]  # fmt: skip
    if gains:
        show_table("Against the baseline", ("state", "CzSf", "CzSr", "CzS", "verdict"), gains)
    for one in page["paired"]:
        each = [(f"{r['speed_kmh']:.0f} km/h", r["gain"], r["verdict"]) for r in one["rows"]]
        show_table(f"'{one['state']}' less '{one['against']}', every pass: {one['method']}",
                   ("speed", "CzS", "verdict"), each)  # fmt: skip
        show_lines([f"Drift of the day {one['drift']}; one pass scatters by {one['scatter']}."])
    coast = page["coast"]
    if coast:
        show_lines([f"Coast-down, {coast['runs']} runs, {coast['from']}: CxS "
                    f"{coast['drag']['text']}, rolling {coast['rolling']}, wind {coast['wind']}, "
                    f"grade {coast['grade']}, {coast['split']}.",
                    *(f"Standard {text}." for text in coast["standards"])])  # fmt: skip
    for budget in page["budgets"][:1]:
        lines = [(x["name"], x["front"], f"{100 * x['front_share']:.0f} %", x["rear"],
                  f"{100 * x['rear_share']:.0f} %") for x in budget["lines"]]  # fmt: skip
        show_table(f"Standard uncertainty, {budget['state']}, {budget['speed_kmh']:.0f} km/h",
                   ("from", "CzSf", "share", "CzSr", "share"), lines)  # fmt: skip
    show_lines(f"Note: {n}" for n in page["notices"])
    if kept:
        show_lines([f"Kept as [[measured]]: {kept[0]} to {kept[-1]}. Run the study again: budget, "
                    "map, lap and claims then stand on them."])  # fmt: skip
    return 0


def _show_sessions(page: dict[str, Any]) -> None:
    """Show laps, tunnel sessions, pressures and flow notes."""
    laps = page.get("laps") or {"rows": []}
    rows = [(r["state"], r["gain"], r["wear"], r["verdict"], r["method"]) for r in laps["rows"]]
    if rows:
        columns = ("against the baseline", "lap time", "wear", "verdict", "how")
        show_table(f"Laps ({laps['laps']} used)", columns, rows)
    show_lines(laps.get("refused", []))
    for one in page["tunnels"]:
        _show_tunnel(one)
    for one in page["pressures"]:
        if "refused" in one:
            show_lines(one["refused"])
            continue
        taps = [
            (r["tap"], r["at"], "loss" if "total" in r["kind"] else "Cp", r["value"], r["state"])
            for r in one["rows"]
        ]
        show_table(f"Pressures, {one['name']}", ("tap", "at", "", "value", "state"), taps)
        ducts = [(d["duct"], d["flow"], f"{d['tubes']} tubes at {d['speed_kmh']} km/h",
                  d["unevenness"]) for d in one["ducts"]]  # fmt: skip
        if ducts:
            show_table("Flow through ducts", ("duct", "flow", "rake", "uneven by"), ducts)
    ideas = [
        (h["id"], h["verdict"], h["says"], ", ".join(map(str, h["for"])) or "none",
         ", ".join(map(str, h["against"])) or "none")
        for h in page["notes"]["hypotheses"]
    ]  # fmt: skip
    if ideas:
        show_table("Hypotheses and what was seen",
                   ("hypothesis", "verdict", "says", "notes for", "against"), ideas)  # fmt: skip
    show_lines(f"Note {n['n']}, {n['at']}, {n['by']}: {n['seen']} {n['speed']}. {n['note']}"
               for n in page["notes"]["rows"])  # fmt: skip


def _show_tunnel(one: dict[str, Any]) -> None:
    if "refused" in one:
        show_lines([f"Tunnel '{one['name']}' cannot be used: {one['refused'][0]}"])
        return
    rows = [(f"{r['state']}, {r['front_mm']:.0f} / {r['rear_mm']:.0f} mm", r["count"], r["front"],
             r["rear"], r["drag"], "" if r["gap_points"] is None else f"{r['gap_points']:+.1f}")
            for r in one["rows"]]  # fmt: skip
    columns = ("state, hf / hr", "readings", "CzSf", "CzSr", "CxS", "down less up, points")
    show_table(f"Tunnel '{one['name']}', {one['about']}, walls: {one['correction']}", columns, rows)
    methods = [(m["method"], f"{m['ratio']:.4f}", m["drag"], m["total"]) for m in one["methods"]]
    show_table("First point by every wall correction", ("method", "q ratio", "CxS", "CzS"), methods)
    show_lines([*one["sweeps"], f"Noise: {one['scatter']}.",
                *(f"Note: {n}" for n in one["notices"])])  # fmt: skip


@command("agree")
def agree(
    project: ProjectArgument = ".",
    day: DayOption = "",
    memo: Annotated[
        bool, typer.Option("--memo", help="Write the correlation memo as PDF into out/.")
    ] = False,
    learned: Annotated[
        bool,
        typer.Option("--map", help="Write the map with the learned bias into out/learned-map.nc."),
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
    if learned:
        from tuftwork.study.trial.learned_map import write_learned_map

        target = bench.folder / "out" / "learned-map.nc"
        written |= {"map": write_learned_map(bench.answers, target, day)}
    if as_json:
        print_json(page | {"written": written})
        return _verdict(page)
    rows = [(f"{r['state']}, {r['speed_kmh']:.0f} km/h", r["front_measured"], r["front_predicted"],
             r["front_verdict"], r["rear_measured"], r["rear_predicted"], r["rear_verdict"])
            for r in page["rows"]]  # fmt: skip
    columns = ("state", "CzSf measured", "predicted", "", "CzSr measured", "predicted", "")
    show_table(f"Predicted against measured, {page['day']}", columns, rows)
    ranked = [(d["name"], f"{d['miss_points']:+.1f}", f"{d['worth_points']:.1f}", d["verdict"])
              for d in page["ranked"] if d["verdict"] != "consistent"]  # fmt: skip
    if ranked:
        show_table("Disagreements, the most consequential first",
                   ("where", "miss, points", "beyond both ranges", "verdict"), ranked)  # fmt: skip
    following = page.get("next")
    show_lines([*([f"Test next: {following['text']}"] if following else []),
                *(f"Note: {n}" for n in page["notices"]),
                *(f"Wrote {path}" for path in written.values())])  # fmt: skip
    return _verdict(page)


def _verdict(page: dict[str, Any]) -> int:
    words = [r[f"{axle}_verdict"] for r in page["rows"] for axle in ("front", "rear")]
    words += [d["verdict"] for d in page["ranked"]]
    return NO if "contradicts" in words or not words else 0
