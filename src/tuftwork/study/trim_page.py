"""The page "Trim": the table the driver holds, with its cautions on it."""

import csv
from io import StringIO
from typing import Any

import numpy as np

from tuftwork.car import Project, limit_of, parts_in_state, read_number, table_of_kind
from tuftwork.car.setting import split_path
from tuftwork.errors import InputError, NotCovered
from tuftwork.quantity import Quantity, column_digits, exact
from tuftwork.study.answers import Answers
from tuftwork.study.lap_answer import driver_of
from tuftwork.study.lap_car import lap_names
from tuftwork.study.number import Link, Number, number_of_quantity
from tuftwork.study.store import Tree
from tuftwork.study.support import Support, counted
from tuftwork.study.trim import trim_of

Page = dict[str, Any]

_FIELDS = {
    "lap": ("lap_change", "time", "Lap against the baseline"),
    "top": ("top_speed", "speed", "Top speed"),
    "first": ("first", "speed", "Slowest speed against the baseline"),
    "second": ("second", "speed", "Slowest speed against the baseline"),
    "downforce": ("downforce", "area", "CzS in fast corners"),
    "share": ("front_share", "share", "Front share in fast corners"),
}
"""What a row shows with a range: key → draws, dimension, words."""

CSV_COLUMNS = (
    "kind", "setting", "setting_values", "hf_rest_mm", "hr_rest_mm", "hf_fast_mm", "hr_fast_mm",
    "CzS_fast_m2", "CzS_fast_low_m2", "CzS_fast_high_m2", "front_share_percent",
    "lap_change_s", "lap_change_low_s", "lap_change_high_s", "top_speed_kmh",
    "first_corner_kmh", "second_corner_kmh", "no_go", "mind",
)  # fmt: skip
"""Columns of the trim table's file."""


def trim_support(project: Project, answers: Answers | None) -> Support:
    """Return how well the trim table is supported, and its length."""
    if answers is None or "trim" not in answers.results:
        return "none", ""
    found = answers.results["trim"]
    if "refused" in found:
        return "none", "no table"
    count = sum(row["group"] == "kept" for row in found["rows"])
    return ("measured" if answers.is_tied else "computed"), counted(count, "setting")


def trim_result(answers: Answers) -> Tree:
    """Return the result of the trim step.

    Raises
    ------
    NotCovered
        If none was asked for, or there is no table.
    """
    found = answers.results.get("trim")
    if found is None:
        raise NotCovered("No trim table: it needs [lap] and [lap.trim] in project.toml.")
    if "refused" in found:
        raise NotCovered(f"No trim table: {found['refused']}")
    return found


def trim_page(answers: Answers) -> Page:
    """Return the trim table as a page."""
    found = trim_result(answers)
    rows = [row_page(answers, row) for row in found["rows"] if row["group"] != "left out"]
    left = [left_row(row) for row in found["rows"] if row["group"] == "left out"]
    no_go = found["no_go"]
    return {
        "circuit": found["circuit"],
        "baseline": answers.states[0],
        "mass_state": found["mass_state"],
        "wanted": number_of_quantity(exact(found["front_share"], "share", unit="%")),
        "band": number_of_quantity(exact(found["band"], "share", unit="%")),
        "corners": found["corners"],
        "rows": [r for r in rows if r["group"] == "kept"],
        "special": [r for r in rows if r["group"] == "special"],
        "left_out": left,
        "first_step": found["first_step"],
        "no_go": no_go_words(no_go),
        "no_go_mm": {
            "rear": 1e3 * no_go["rear_below"] if no_go and no_go["rear_below"] else None,
            "front": 1e3 * no_go["front_below"] if no_go and no_go["front_below"] else None,
        },
        "blanking": [
            {"above": number_of_quantity(exact(above, "temperature", unit="°C")), "step": step}
            for above, step in found["blanking"]
        ],
        "noise": number_of_quantity(exact(round(driver_of(answers).noise, 3), "time", unit="s")),
        "live": live_form(answers),
        "csv": trim_csv(answers),
        "draws": int(np.size(found["chosen"])),
        "notices": found["notices"],
        "caution": found["caution"],
    }


def no_go_words(no_go: Tree) -> str:
    """Return which ride heights are not to be run, and why."""
    if not no_go:
        return ""
    parts = [
        f"{axle} below {1e3 * no_go[f'{axle}_below']:.0f}\u202fmm"
        for axle in ("rear", "front")
        if no_go[f"{axle}_below"]
    ]
    reason = f": {no_go['reason']}" if no_go["reason"] else ""
    return f"Not to be run at rest: {', '.join(parts)}{reason}."


def row_page(answers: Answers, row: Tree) -> Page:
    """Return one row with its numbers."""
    warning = row["warning"]
    # a wet or damaged car stands where it stands: its heights are no proposal
    is_proposal = row["group"] != "special"
    told = [t for t in warning.split("; ") if is_proposal or not t.startswith("no-go")]
    return {
        "group": row["group"], "kind": row["kind"], "name": row["name"],
        "values": row["values"], "front_mm": 1e3 * row["ride_height_front"],
        "rear_mm": 1e3 * row["ride_height_rear"],
        "fast_mm": [1e3 * h for h in row["ride_height_fast"]],
        **{key: row_number(answers, row, key) for key in _FIELDS},
        "no_go": is_proposal and warning.startswith("no-go"), "mind": "; ".join(told),
        "outside": row["extrapolated"],
    }  # fmt: skip


def left_row(row: Tree) -> Page:
    """Return a row whose balance is outside the band: best values only."""
    return {
        "name": row["name"], "values": row["values"], "share": 100.0 * row["front_share"],
        "downforce": row["downforce"], "lap": row["lap_change"],
        "front_mm": 1e3 * row["ride_height_front"], "rear_mm": 1e3 * row["ride_height_rear"],
        "mind": row["warning"],
    }  # fmt: skip


def row_number(answers: Answers, row: Tree, key: str) -> Number:
    """Return one number of a row, its chain kept."""
    field, dimension, words = _FIELDS[key]
    draws = np.full(answers.ensemble.size, np.nan)
    some = np.asarray(row["draws"][field], dtype=float)
    draws[np.asarray(trim_result(answers)["chosen"], dtype=int)] = some
    number = answers.book.number(
        f"trim/{row['name']}/{key}", draws, dimension,
        title=f"{words}: {row['name']}", keep=np.isfinite(draws),
        links=[
            *answers.car_links(answers.states[0]),
            Link(what=f"Setting through part engines, map and lap, {some.size} draws",
                 origin="computed", place="trim table"),
        ],
        at=f"{row['name']}", decision="Which setting to run next.",
        among=answers.inputs_in(answers.states[0]) | lap_names(answers.project),
        digits=trim_digits(answers)[key],
    )  # fmt: skip
    return number | ({"noise": driver_of(answers).noise} if key == "lap" else {})


def trim_digits(answers: Answers) -> dict[str, int | None]:
    """Return the digits after the point of every column, by the middle of its rows' ranges."""
    if "trim digits" not in answers.worked_out:
        rows = [row["draws"] for row in trim_result(answers)["rows"] if row["draws"]]
        found: dict[str, int | None] = {}
        for key, (field, dimension, _) in _FIELDS.items():
            ends = [np.nanquantile(row[field], (0.1, 0.9)) for row in rows if field in row]
            found[key] = column_digits([float(b - a) / 2 for a, b in ends], dimension)
        answers.worked_out["trim digits"] = found
    kept: dict[str, int | None] = answers.worked_out["trim digits"]
    return kept


def trim_chain(answers: Answers, address: str) -> None:
    """Keep the chain of one number of the trim table."""
    name, key = address.split("/", 1)[1].rsplit("/", 1)
    rows = [r for r in trim_result(answers)["rows"] if r["name"] == name and r["draws"]]
    row_number(answers, rows[0], key) if rows else None


def value_quantity(project: Project, text: str | float) -> Quantity:
    """Return a value of what is turned as a quantity of that key's dimension."""
    part_name, key = split_path(trim_of(project).vary, project)
    table = table_of_kind(project.part(part_name).kind)
    limit = limit_of(table.model_fields[key]) if table is not None else None
    if limit is None:
        raise InputError("vary", f"'{part_name}.{key}'", "", "is not a number that can be turned")
    return read_number(text, limit)


def live_form(answers: Answers) -> Page:
    """Return what the slider may ask for, in the units it is shown in."""
    project = answers.project
    trim, base = trim_of(project), project.state(answers.states[0] if project.states else "")
    quantities = [value_quantity(project, text) for text in trim.values]
    shown = [number_of_quantity(q) for q in quantities]
    mass = project.mass_state()
    part_name, key = split_path(trim.vary, project)
    own = next(p for p in parts_in_state(project, base) if p.name == part_name)
    now: Page = {"value": number_of_quantity(getattr(own, key))["best"]}
    for axle in ("front", "rear"):
        height = getattr(base, f"ride_height_{axle}") or getattr(mass, f"ride_height_{axle}")
        now[f"{axle}_mm"] = 1e3 * height.best
    heights: Page = {}
    axes = trim_result(answers)["axes"]
    for axle in ("front", "rear"):
        asked = [1e3 * q.best for q in getattr(trim, f"ride_height_{axle}")]
        asked.append(now[f"{axle}_mm"])
        top = 1e3 * float(np.asarray(axes[axle])[-1])
        heights[axle] = [round(min(asked) - 4.0), min(round(max(asked) + 4.0), int(top))]
    return {
        "label": trim.vary.replace(".", ", "), "unit": shown[0]["unit"],
        "low": shown[0]["best"], "high": shown[-1]["best"], "now": now, "heights_mm": heights,
    }  # fmt: skip


def trim_lines(answers: Answers) -> list[list[object]]:
    """Return the trim table's lines for a file, in the order of ``CSV_COLUMNS``."""
    lines: list[list[object]] = []
    for row in trim_result(answers)["rows"]:
        drawn = row["draws"]
        low_high = {
            key: np.nanquantile(drawn[key], (0.1, 0.5, 0.9)) if drawn else None
            for key in ("downforce", "lap_change")
        }
        ends = {
            key: ("", row[key], "") if q is None else tuple(float(v) for v in q)
            for key, q in low_high.items()
        }
        force, lap = ends["downforce"], ends["lap_change"]
        middle = dict(zip(("first", "second"), row["corner_change"], strict=True))
        middle |= {key: row[key] for key in ("front_share", "top_speed")}
        middle |= {key: float(np.nanmedian(drawn[key])) for key in middle if drawn}

        def text(value: Any, digits: int) -> str:
            return "" if value == "" else f"{value:.{digits}f}"

        lines.append(
            [
                row["kind"] if row["group"] != "left out" else "outside the band", row["name"],
                "; ".join(f"{k} {v}" for k, v in row["values"].items()),
                text(1e3 * row["ride_height_front"], 1), text(1e3 * row["ride_height_rear"], 1),
                *(text(1e3 * h, 1) for h in row["ride_height_fast"]),
                text(force[1], 3), text(force[0], 3), text(force[2], 3),
                text(100.0 * middle["front_share"], 2), text(lap[1], 3), text(lap[0], 3),
                text(lap[2], 3), text(3.6 * middle["top_speed"], 1),
                *(text(3.6 * middle[key], 2) for key in ("first", "second")),
                "yes" if row["warning"].startswith("no-go") else "no", row["warning"],
            ]
        )  # fmt: skip
    return lines


def trim_csv(answers: Answers) -> str:
    """Return the trim table as comma-separated text, its cautions on the first lines."""
    found = trim_result(answers)
    buffer = StringIO()
    buffer.write(f"# {found['caution']}\n")
    words = no_go_words(found["no_go"])
    if words:
        buffer.write(f"# {words}\n")
    buffer.write(
        f"# {found['circuit']}, mass state {found['mass_state']}, corners "
        f"{' and '.join(found['corners'])}, against '{answers.states[0]}'; ranges are 80 %\n"
    )
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    writer.writerows(trim_lines(answers))
    return buffer.getvalue()
