"""Command ``floor``: the channel under the car at one setting, with its sweep and prices."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import JsonOption, command, print_json
from tuftwork.cli.show import show_lines, show_table

StateOption = Annotated[str, typer.Option(help="State of the car; the baseline unless given.")]


@command("floor")
def floor(
    project: Annotated[str, typer.Argument(help="Folder of the project.")] = ".",
    floor: Annotated[str, typer.Option(help="Floor of the project; the first unless given.")] = "",
    state: StateOption = "",
    front: Annotated[float | None, typer.Option(help="Front ride height, mm.")] = None,
    rear: Annotated[float | None, typer.Option(help="Rear ride height, mm.")] = None,
    roll: Annotated[float, typer.Option(help="Roll, degrees, right side down positive.")] = 0.0,
    angle: Annotated[float | None, typer.Option(help="Ramp angle, degrees.")] = None,
    edge_gap: Annotated[float | None, typer.Option(help="Gap under the edges, mm.")] = None,
    calibrate: Annotated[
        bool, typer.Option("--calibrate", help="Show what the floor's ride-height sweep tied.")
    ] = False,
    as_json: JsonOption = False,
) -> int:
    """Show the floor in plan: load and place, leak, layer, sweep, prices of hard points."""
    from tuftwork.study import Bench
    from tuftwork.study.floor_live import asked, floor_numbers, flows_of, solved

    bench = Bench(project)
    query = {k: v for k, v in (("floor", floor), ("state", state)) if v}
    tree = bench.page("floor", **query)
    if calibrate:
        return _calibrated(tree, as_json)
    given = {
        "front_mm": front, "rear_mm": rear, "roll_deg": roll or None, "angle_deg": angle,
        "edge_gap_mm": edge_gap,
    }  # fmt: skip
    if any(v is not None for v in given.values()):
        message = {"floor": tree["floor"], "state": tree["state"], **given}
        what = asked(bench.answers, message)
        result = solved(bench.answers, what)
        tree["asked"] = {
            "at": what.said, "numbers": floor_numbers(bench.answers, what, result),
            "flows": flows_of(result), "notices": list(result.notices),
            "stalled_from_m": result.line.stalled_from,
        }  # fmt: skip
    if as_json:
        print_json(tree)
        return 0
    _show(tree)
    return 0


def _calibrated(tree: dict[str, Any], as_json: bool) -> int:
    from tuftwork.errors import InputError, NotCovered

    found = tree["calibration"]
    if found is None:
        raise InputError(f"{tree['floor']}.channel.sweep", "missing", "",
                         "there is no ride-height sweep to tie the floor to",
                         "Name its evidence: sweep = \"S1\" in [parts.channel].")  # fmt: skip
    if found["refused"]:
        raise NotCovered("\n".join(found["refused"]))
    if as_json:
        print_json(found)
    else:
        _show_calibration(found)
    return 0


def _show_calibration(found: dict[str, Any]) -> None:
    show_lines([found["answer"]])
    show_table("What the sweep tied", ("input", "before", "after"),
               [(r["label"], r["before"], r["after"]) for r in found["rows"]])  # fmt: skip
    levels = [
        (f"{p['rear_mm']:.1f}", p["measured"], f"{p['before']:.3f}", f"{p['after']:.3f}",
         f"{p['left_pct']:+.1f} %")
        for p in found["points"]
    ]  # fmt: skip
    show_table("CzS over rear ride height", ("hr [mm]", "measured", "before", "after", "left"),
               levels)  # fmt: skip
    show_lines(found["notices"])


_LABELS = {
    "downforce": "CzS on the car", "front": "of it at the front axle",
    "rear": "of it at the rear axle", "clean": "CzS of the clean floor",
    "least_pressure": "lowest Cp",
}  # fmt: skip


def _show(tree: dict[str, Any]) -> None:
    show_lines([tree["answer"]])
    if tree["calibration"] is not None:
        show_lines([tree["calibration"]["answer"], *tree["calibration"]["notices"]])
    if tree["level"] is not None:
        show_lines([tree["level"]["answer"]])
    loads = [(row["label"], row["number"]) for row in tree["loads"]]
    if loads:
        show_table(f"{tree['floor']}, {tree['state']}, {tree['at']}", ("what", "number"), loads)
    if "asked" in tree:
        own = tree["asked"]
        asked = [(label, own["numbers"][key]) for key, label in _LABELS.items()]
        show_table(f"Asked: {own['at']}", ("what", "number"), asked)
        show_lines(own["notices"])
    if tree["sweep"]:
        s = tree["sweep"]
        levels = [
            (f"{h:.1f}", f"{b:.3f}", f"{lo:.3f} to {hi:.3f}", f"{c:.3f}", f"{f:.2f}")
            for h, b, lo, hi, c, f in zip(
                s["rear_mm"], s["best"], s["low"], s["high"], s["budget"], s["shape_factor"],
                strict=True,
            )
        ]  # fmt: skip
        heads = ("hr [mm]", "CzS in plan [m²]", "80 %", f"budget, {tree['engine']}", "H")
        show_table("Lowered at its rake", heads, levels)
    if tree["cause"]:
        show_lines([tree["cause"]["answer"]])
        rivals = [
            (r["label"] + (" (the cause)" if r["is_cause"] else ""), r["returned"], r["evidence"])
            for r in tree["cause"]["rows"]
        ]
        show_table("Why it falls lower down", ("reading", "CzS back without it", "hangs on"),
                   rivals)  # fmt: skip
    prices = tree["prices"]
    if prices and prices["rows"]:
        hard = [(r["name"], "yes" if r["binds"] else "no", r["gain"], r["free"])
                for r in prices["rows"]]  # fmt: skip
        columns = ("hard point", "touches", f"{prices['moved_mm']} mm higher", "gone")
        show_table("Room over the ramp", columns, hard)
    if tree["levers"]:
        pays = [(r["name"], r["per_mm"], f"{r['force_n']} N") for r in tree["levers"]]
        show_table("Where a millimetre pays", ("move", "CzS per mm", "holds"), pays)
    show_lines(tree["notices"])
    show_lines(tree["cautions"])
