"""Command ``section-search``: the setting that makes most lift at a drag price."""

from typing import Annotated, Any

import typer

from tuftwork.cli.frame import JsonOption, command, print_json
from tuftwork.cli.section import ProjectOrOutline, StateOption, WingOption, design_named, text_of
from tuftwork.cli.show import show_lines, show_table


@command("section-search")
def section_search(
    shape: ProjectOrOutline = ".",
    wing: WingOption = "",
    state: StateOption = "",
    price: Annotated[
        float, typer.Option(help="Lift coefficient worth giving up per unit of drag coefficient.")
    ] = 10.0,
    margin: Annotated[float, typer.Option(help="Incidence to the stall that must be left.")] = 2.0,
    reynolds: Annotated[float, typer.Option(help="On the whole chord.")] = 1e6,
    seconds: Annotated[float, typer.Option(help="Time to search.")] = 60.0,
    as_json: JsonOption = False,
) -> int:
    """Search incidence, flap angles and gaps for most lift at a drag price, with stall margin."""
    import numpy as np

    from tuftwork.section import Condition, search
    from tuftwork.study.section_help import GUST, ranges_of

    design, _ = design_named(shape, wing, state)
    found = search(
        design, Condition(reynolds=reynolds), ranges_of(design), price=price,
        onsets=(0.0, -GUST, GUST), stall_margin=np.deg2rad(margin),
        n_call=25 * (1 + 2 * len(design.flaps)), most_s=seconds,
    )  # fmt: skip
    rows = [("incidence [°]", *(f"{np.rad2deg(s.design.incidence):.2f}" for s in _pair(found)))]
    for k in range(len(design.flaps)):
        flaps = [s.design.flaps[k] for s in _pair(found)]
        rows.append(
            (f"flap {k + 1} deflection [°]", *(f"{np.rad2deg(f.deflection):.2f}" for f in flaps))
        )
        rows.append((f"flap {k + 1} gap [%]", *(f"{100 * f.gap:.2f}" for f in flaps)))
    rows += [
        ("cl", *(text_of(_finite(s.lift), 3) for s in _pair(found))),
        ("cd", *(text_of(_finite(s.drag), 5) for s in _pair(found))),
        ("least cl less price times cd", *(text_of(_finite(w), 3) for w in found.worst[::-1])),
    ]
    cut = "; time ran out before it settled" if found.is_cut else ""
    if as_json:
        print_json(
            {
                "tried": found.tried,
                "is_cut": found.is_cut,
                "rows": [{"what": r[0], "start": r[1], "found": r[2]} for r in rows],
            }
        )
        return 0
    show_table(f"{found.tried} designs tried{cut}", ("what", "start", "found"), rows)
    show_lines([s.reason for s in (found.best,) if s.reason])
    return 0


def _pair(found: Any) -> tuple[Any, Any]:
    return found.start, found.best


def _finite(value: float) -> float | None:
    return value if value == value else None
