"""Commands ``section`` and ``wing``: one shape at one setting, and what a wing makes of it."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tuftwork.cli.frame import JsonOption, command, print_json
from tuftwork.cli.show import show_lines, show_table

if TYPE_CHECKING:
    from tuftwork.section import Polar
    from tuftwork.study.job import Job

ProjectOrOutline = Annotated[
    str,
    typer.Argument(
        help="Folder of a project, a coordinates file, or 'NACA 4412'.", show_default=True
    ),
]
WingOption = Annotated[str, typer.Option(help="Wing of the project; the rearmost unless given.")]
StateOption = Annotated[str, typer.Option(help="State of the car; the baseline unless given.")]


@command("section")
def section(
    shape: ProjectOrOutline = ".",
    wing: WingOption = "",
    state: StateOption = "",
    incidence: Annotated[
        float | None, typer.Option(help="Degrees; as set in the project, else 4.")
    ] = None,
    reynolds: Annotated[float, typer.Option(help="On the whole chord.")] = 1e6,
    height: Annotated[
        float | None, typer.Option(help="Lowest point over the road, in chords; far unless given.")
    ] = None,
    with_polar: Annotated[bool, typer.Option("--polar", help="Work out a polar too.")] = False,
    export: Annotated[
        str, typer.Option(help="Folder for coordinates (CSV) and drawing (DXF).")
    ] = "",
    scale: Annotated[float, typer.Option(help="Chord of the exported files in mm.")] = 1000.0,
    as_json: JsonOption = False,
) -> int:
    """Show a section: shape, one point with its layers, a polar; export it."""
    import numpy as np

    from tuftwork.section import Condition, analyse, describe, polar, slot_notices

    design, chord_mm = design_named(shape, wing, state)
    angle = float(np.rad2deg(design.incidence)) if incidence is None else incidence
    stack, condition = design.stack(), Condition(reynolds=reynolds)
    point = analyse(stack, condition, np.deg2rad(angle), height=height)
    tree: dict[str, Any] = {
        "section": stack.name,
        "elements": [
            _shape(describe(c)) for c in (design.main, *(f.contour for f in design.flaps))
        ],
        "point": _point(point, angle, reynolds),
        "notices": [*point.notices, *slot_notices(design)],
    }
    if with_polar:
        alphas = np.deg2rad(np.arange(-6.0, 18.1, 1.0 if len(stack.elements) == 1 else 2.0))
        tree["polar"] = _polar_rows(polar(stack, condition, alphas, height=height, has_band=True))
    if export:
        tree["files"] = _write(stack, Path(export), chord_mm or scale)
    if as_json:
        print_json(tree)
    else:
        _show_section(tree)
    return 0


@command("wing")
def wing_command(
    project: Annotated[str, typer.Argument(help="Folder of the project.")] = ".",
    wing: WingOption = "",
    state: StateOption = "",
    speed: Annotated[str, typer.Option(help="Like '220 km/h'; the study's unless given.")] = "",
    incidence: Annotated[float | None, typer.Option(help="Degrees; as set unless given.")] = None,
    hinge: Annotated[
        float | None, typer.Option(help="Hinge behind the nose, in chords; the project's, or 0.25.")
    ] = None,
    lever: Annotated[
        float | None, typer.Option(help="Arm of what holds it about the hinge, in mm.")
    ] = None,
    export: Annotated[
        str, typer.Option(help="Folder for coordinates (CSV), drawing (DXF), solid (STL).")
    ] = "",
    as_json: JsonOption = False,
) -> int:
    """Show a wing in straight air: loads, span loading, stall margin, hinge moment, mounts."""
    tree = _wing_tree(project, wing, state, speed, incidence, hinge, lever)
    if export:
        from tuftwork.study.section_export import write_section_files

        tree["files"] = write_section_files(tree["case"], tree["design"], Path(export))
    shown = {k: v for k, v in tree.items() if k not in ("case", "design")}
    if as_json:
        print_json(shown)
        return 0
    show_table(
        tree["at"], ("what", "number"),
        [(row["label"], row["number"]) for row in tree["loads"]],
    )  # fmt: skip
    rows = [
        (text_of(y, 3), text_of(c, 3), text_of(i, 3), text_of(m, 1))
        for y, c, i, m in zip(*(tree["span"][k] for k in _SPAN), strict=True)
    ][::4]
    show_table(
        "Along the span", ("y [m]", "load [m²/m]", "elliptic [m²/m]", "stall margin [°]"), rows
    )
    if tree["edge"] is not None:
        show_lines([tree["edge"]["text"]])
    show_lines(tree["notices"])
    show_lines(tree["cautions"])
    show_lines(f"Wrote {name}" for name in tree.get("files", ()))
    return 0


_SPAN = ("y_m", "load", "ideal", "margin_deg")


def _wing_tree(
    project: str, wing: str, state: str, speed: str, incidence: float | None,
    hinge: float | None, lever: float | None,
) -> dict[str, Any]:  # fmt: skip
    from dataclasses import replace

    import numpy as np

    from tuftwork.files import read_project
    from tuftwork.quantity import to_si
    from tuftwork.study.fastest import PROOF
    from tuftwork.study.job import Job
    from tuftwork.study.number import number_of_quantity
    from tuftwork.study.section_case import case_of, design_table, ranged, solve_span
    from tuftwork.study.section_help import edge_of
    from tuftwork.study.section_live import said, span_numbers
    from tuftwork.study.section_page import CAUTIONS, span_page
    from tuftwork.wing import mount_factor, service_load

    opened = read_project(project)
    case = case_of(opened.project, opened.folder, wing, state)
    design = case.design
    if incidence is not None:
        design = replace(design, incidence=float(np.deg2rad(incidence)))
    job = Job.of(opened.project, folder=opened.folder)
    v = _speed(speed, job.top_speed, to_si)
    result = solve_span(case, design, design_table(case, design))
    pressure = 0.5 * float(job.air().density) * v**2
    at = said(case, design, v)
    found = span_numbers(result, pressure, at)
    own = case.part.section
    if hinge is None:
        hinge = own.hinge.best if own is not None and own.hinge is not None else 0.25
    if lever is None and own is not None and own.lever is not None:
        lever = 1e3 * own.lever.best
    service = service_load(
        result, pressure, hinge_x=hinge * case.chord, lever=lever / 1e3 if lever else None
    )

    def number(value: float, dimension: str, unit: str) -> dict[str, Any]:
        return number_of_quantity(ranged(value, "downforce", dimension, unit, at))

    loads = [
        {"label": "CzS", "number": found["downforce"]},
        {"label": "CxS", "number": found["drag"]},
        {"label": "downforce", "number": found["force"]},
        {"label": "stall margin", "number": found["margin"]},
        {"label": f"hinge moment at {hinge:g} chord, towards more incidence",
         "number": number(service.hinge_moment, "moment", "N m")},
        {"label": "tip vortex, circulation over road speed", "number": found["vortex"]},
    ]  # fmt: skip
    most, slow = _fastest(project, state, job)
    fastest_at = said(case, design, most)
    greatest = service.downforce * (most / v) ** 2
    loads.append({
        "label": f"least proof load at this setting, {PROOF:g} times that at {3.6 * most:.0f} km/h",
        "number": number_of_quantity(
            ranged(PROOF * greatest, "downforce", "force", "N", fastest_at)
        ),
    })  # fmt: skip
    if lever:
        loads.append(
            {"label": "actuator force", "number": number(service.actuator_force, "force", "N")}
        )
    mount = own.mount if own is not None else "none"
    _, low, high = mount_factor(mount)
    return {
        "wing": case.part.name, "at": at, "outline": case.outline,
        "is_stand_in": case.is_stand_in, "loads": loads, "span": span_page(result),
        "edge": edge_of(case, result),
        "mount": {"kind": mount, "left_low": low, "left_high": high},
        "notices": list(result.notices) + (
            [f"No section named: {case.outline} stands in from camber and thickness."]
            if case.is_stand_in else []) + ([slow] if slow else []),
        "cautions": list(CAUTIONS), "case": case, "design": design,
    }  # fmt: skip


def _fastest(project: str, state: str, job: "Job") -> tuple[float, str]:
    """Return the fastest this car goes [m/s], and what to heed where that is not known."""
    from tuftwork.study import Bench
    from tuftwork.study.fastest import fastest

    answers = Bench(project).answers_or_none()
    if answers is None:
        return job.top_speed, (
            "No study stands yet, so the car's top speed is not known: the proof load is for the "
            "fastest speed studied. Run the study first."
        )
    most = fastest(answers, answers.state_named(state) if answers.project.states else "")
    return most.speed, most.notice


def _speed(text: str, usual: float, to_si: Any) -> float:
    from tuftwork.errors import InputError

    if not text:
        return usual
    number, _, unit = text.strip().partition(" ")
    try:
        value = float(to_si(float(number), unit or "km/h", "speed"))
    except (ValueError, InputError):
        raise InputError("speed", f"'{text}'", "", "not a speed", "Like '220 km/h'.") from None
    if not 5.0 < value < 120.0:
        raise InputError("speed", value, "m/s", "must lie between 5 and 120")
    return value


def design_named(shape: str, wing: str, state: str) -> tuple[Any, float | None]:
    """Return the design a shape names, and its chord in mm where a project gives one."""
    import numpy as np

    from tuftwork.files import read_project
    from tuftwork.files.section import read_section
    from tuftwork.section import Design, naca
    from tuftwork.study.section_case import case_of

    path = Path(shape)
    if path.is_dir():
        opened = read_project(path)
        case = case_of(opened.project, opened.folder, wing, state)
        return case.design, 1e3 * case.chord
    is_code = shape.strip().upper().startswith("NACA") or shape.strip().isdigit()
    main = naca(shape) if is_code and not path.is_file() else read_section(path)
    return Design(main=main, incidence=float(np.deg2rad(4.0))), None


def _shape(report: Any) -> dict[str, Any]:
    keys = (
        "chord", "thickness", "thickness_at", "camber", "camber_at", "nose_radius",
        "edge_thickness", "edge_angle", "smoothness",
    )  # fmt: skip
    return {k: float(getattr(report, k)) for k in keys} | {"notices": list(report.notices)}


def _point(point: Any, angle: float, reynolds: float) -> dict[str, Any]:
    return {
        "incidence_deg": angle, "reynolds": reynolds, "height": point.height,
        "lift": point.lift, "drag": point.drag, "moment": point.moment,
        "element_lift": [float(v) for v in point.element_lift],
        "nose_suction": point.nose_suction, "is_separated": point.is_separated,
        "is_settled": point.is_settled, "residual": point.residual,
        "layers": [
            {"element": ln.element + 1, "side": ln.side, "transition": ln.transition,
             "separation": ln.separation, "shape_factor_at_edge": float(ln.shape_factor[-1])}
            for ln in point.lines if ln.side != "wake"
        ],
        "slots": [
            {"gap": s.gap, "layers": s.layers, "is_confluent": s.is_confluent} for s in point.slots
        ],
    }  # fmt: skip


def _polar_rows(found: "Polar") -> list[dict[str, Any]]:
    import numpy as np

    def value(v: float) -> float | None:
        return float(v) if np.isfinite(v) else None

    return [
        {
            "incidence_deg": float(np.rad2deg(found.alpha[k])),
            "lift": value(found.lift[k]), "lift_low": value(found.lift_low[k]),
            "lift_high": value(found.lift_high[k]), "drag": value(found.drag[k]),
            "moment": value(found.moment[k]), "state": found.state[k],
        }
        for k in range(found.alpha.size)
    ]  # fmt: skip


def _write(stack: Any, folder: Path, scale: float) -> list[str]:
    from tuftwork.files.section import write_section_csv, write_section_dxf

    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / "section.csv", folder / "section.dxf"]
    write_section_csv(paths[0], stack, scale=scale)
    write_section_dxf(paths[1], stack, scale=scale)
    return [str(p) for p in paths]


def _show_section(tree: dict[str, Any]) -> None:
    rows = [
        (k, f"{100 * e['thickness']:.1f} at {100 * e['thickness_at']:.0f}",
         f"{100 * e['camber']:.2f} at {100 * e['camber_at']:.0f}",
         f"{100 * e['nose_radius']:.2f}", f"{100 * e['edge_thickness']:.2f}",
         f"{e['smoothness']:.2f}")
        for k, e in enumerate(tree["elements"], 1)
    ]  # fmt: skip
    show_table(
        tree["section"],
        ("element", "thickness [%]", "camber [%]", "nose radius [%]", "edge [%]", "smoothness"),
        rows,
    )
    p = tree["point"]
    show_lines([
        f"At {p['incidence_deg']:.1f}°, Re {p['reynolds']:.2g}: cl {p['lift']:.3f}, "
        f"cd {p['drag']:.5f}, cm {p['moment']:.4f}, nose suction {100 * p['nose_suction']:.0f} % "
        "of its limit".replace("-", "\u2212")
    ])  # fmt: skip
    for layer in p["layers"]:
        turns = "laminar" if layer["transition"] is None else (
            f"turbulent from {layer['transition']:.2f}")  # fmt: skip
        leaves = "" if layer["separation"] is None else f", separates at {layer['separation']:.2f}"
        show_lines([f"  element {layer['element']}, {layer['side']}: {turns}{leaves}"])
    if "polar" in tree:
        lines = [
            (f"{r['incidence_deg']:.0f}", text_of(r["lift"], 3),
             f"{text_of(r['lift_low'], 3)} to {text_of(r['lift_high'], 3)}", text_of(r["drag"], 5),
             r["state"])
            for r in tree["polar"]
        ]  # fmt: skip
        show_table("Polar", ("incidence [°]", "cl", "band of constants", "cd", "state"), lines)
    show_lines(tree["notices"])
    show_lines(f"Wrote {name}" for name in tree.get("files", ()))


def text_of(value: float | None, places: int) -> str:
    """Return a number for a table, a dash where there is none."""
    return "–" if value is None else f"{value:.{places}f}".replace("-", "\u2212")
