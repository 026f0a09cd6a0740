"""Pages of a study as plain trees; the app, ``--json`` and the report show the same ones."""

from typing import Any

import numpy as np

from tuftwork.aeromap.budget import SMALL_SHARE, Budget, BudgetRow
from tuftwork.aeromap.map import FIELDS as MAP_FIELDS
from tuftwork.quantity import Origin, exact, format_number
from tuftwork.study.answers import FIELDS, Answers
from tuftwork.study.cliff import cliff_of
from tuftwork.study.finding import Gain, state_gain
from tuftwork.study.flow.page import budget_rows
from tuftwork.study.number import Link, Number, json_ready, number_of_quantity

_KMH = 3.6
Page = dict[str, Any]


def budget_page(answers: Answers, *, speed: str = "", state: str = "") -> Page:
    """Return where downforce and drag come from, in a state at a speed."""
    name = answers.state_named(state)
    at_speed = answers.speed_named(speed, usual=_usual_speed(answers))
    found = answers.budget(name, at_speed)
    at = answers.at(name, at_speed)
    rows = [_budget_row(answers, row, name, at_speed, at) for row in found.rows]
    share = (
        answers.ride_number(name, "share", at_speed)
        if answers.has_platform
        else _share(answers, found.total, name, at_speed, at)
    )
    measured = next((r["total"] for r in rows if r["kind"] == "measured"), None)
    others = _others(answers, found, name, at_speed, at)
    rows += budget_rows(answers.project, answers.job.folder, name, answers.states[0])
    return {
        "speed": number_of_quantity(exact(at_speed, "speed", unit="km/h")),
        "state": name,
        "states": list(answers.states),
        "speeds": [round(v * _KMH, 1) for v in answers.speeds],
        "rows": rows,
        "others": others,
        "share": share,
        "measured": measured,
        "at": at,
        "kg_per_m2": answers.kilograms(at_speed),
        "notices": answers.notices(name) if answers.has_platform else [],
    }


def _others(answers: Answers, found: Budget, state: str, speed: float, at: str) -> Page | None:
    """Return the small interactions as one row, and which rows it stands for."""
    row = found.others
    if row is None:
        return None
    bound = format_number(found.small_bound, 3)
    whole = "downforce" if _is_loaded(found) else "drag"
    said = (
        f"Each under {100 * SMALL_SHARE:.0f}\u202f% of the whole car's {whole} ({bound}\u202fm²), "
        "front, rear, together and in drag."
    )
    return {
        "row": _budget_row(answers, row, state, speed, at),
        "names": [small.name for small in found.small],
        "said": said,
    }


def _is_loaded(found: Budget) -> bool:
    whole = found.total.summaries
    return abs(whole["total"].best) >= abs(whole["drag"].best)


def _budget_row(answers: Answers, row: BudgetRow, state: str, speed: float, at: str) -> Page:
    origin: Origin = "measured" if row.kind == "measured" else "computed"
    model = next((m for m in answers.models(state) if m.name == row.name), None)
    links = [
        Link(what=f"{row.name}: {source.key}", origin="computed", source=source.key,
             place=source.place)
        for source in (model.sources if model else ())
    ]  # fmt: skip
    if row.kind in ("total", "difference"):
        links = answers.car_links(state)

    def number(field: str, draws: np.ndarray) -> Number:
        key = row.name.replace("/", " ")
        return answers.book.number(
            f"budget/{state}/{speed * _KMH:.0f}/{key}/{field}", draws, "area",
            title=f"{row.name}: {FIELDS[field][2].split(',')[0]} at {speed * _KMH:.0f} km/h",
            links=links, origin=origin, at=at, keep=answers.kept(state),
            among=answers.inputs_in(state),
            notices=(row.note,) if row.note else (),
        )  # fmt: skip

    return {
        "name": row.name,
        "kind": row.kind,
        "front": number("front", row.front),
        "rear": number("rear", row.rear),
        "total": number("total", row.total),
        "drag": number("drag", row.drag),
        "note": row.note,
    }


def _share(answers: Answers, row: BudgetRow, state: str, speed: float, at: str) -> Number:
    return answers.book.number(
        f"budget/{state}/{speed * _KMH:.0f}/share", row.front / row.total, "share",
        title="Front share of the downforce", links=answers.car_links(state), at=at,
    )  # fmt: skip


def map_page(answers: Answers, *, state: str = "") -> Page:
    """Return a state's map: fields over ride heights, the path through the speeds, the cliff."""
    name = answers.state_named(state)
    ride, axes = answers.ride(name), answers.results["axes"]
    made = answers.results[f"map {name}"]
    keep = answers.kept(name)
    front, rear, drag = (np.asarray(made[f])[..., keep] for f in MAP_FIELDS)
    total = front + rear
    low, best, high = np.quantile(total, (0.1, 0.5, 0.9), axis=-1)
    fields = {
        "front": np.median(front, axis=-1),
        "rear": np.median(rear, axis=-1),
        "total": best,
        "drag": np.median(drag, axis=-1),
        "share": 100 * np.median(front / total, axis=-1),
        "half_range_total": (high - low) / 2,
        "valid": 1.0 - answers.beyond(name),
    }
    cliff = cliff_of(answers, name)
    rest = answers.project.state(name if answers.project.states else "")
    mass = answers.project.mass_state()
    return {
        "state": name,
        "states": list(answers.states),
        "axes": {
            "front_mm": json_ready(1e3 * np.asarray(axes["front"])),
            "rear_mm": json_ready(1e3 * np.asarray(axes["rear"])),
        },
        # rows by rear height: the page draws rear height upward
        "fields": {key: json_ready(np.asarray(field).T) for key, field in fields.items()},
        "path": [path_row(answers, name, float(v)) for v in ride["speed"]],
        "static": {
            "front_mm": 1e3 * (rest.ride_height_front or mass.ride_height_front).best,
            "rear_mm": 1e3 * (rest.ride_height_rear or mass.ride_height_rear).best,
        },
        "equilibria": _equilibria(ride),
        "cliff": cliff.page,
        "why_cell": f"cell/{name}/{{field}}/{{front_mm}}/{{rear_mm}}",
        "notices": answers.notices(name),
    }


def path_row(answers: Answers, state: str, speed: float) -> Page:
    """Return the loads and ride heights of a state at one speed."""
    numbers = {name: answers.ride_number(state, name, speed) for name in FIELDS}
    return {
        "speed_kmh": round(speed * _KMH, 1),
        "front_mm": numbers["height_front"]["best"],
        "rear_mm": numbers["height_rear"]["best"],
        "speed": number_of_quantity(exact(speed, "speed", unit="km/h")),
        **numbers,
    }


def _equilibria(ride: Any) -> list[Page]:
    found = []
    front, rear, margin = (np.asarray(ride["equilibria"][k]) for k in ("front", "rear", "margin"))
    for at, speed in enumerate(np.asarray(ride["speed"])):
        for root in range(front.shape[0]):
            if np.isfinite(front[root, at]):
                found.append(
                    {
                        "speed_kmh": round(float(speed) * _KMH, 1),
                        "front_mm": 1e3 * float(front[root, at]),
                        "rear_mm": 1e3 * float(rear[root, at]),
                        "stable": bool(margin[root, at] > 0),
                    }
                )
    return found


def ride_chain(answers: Answers, address: str) -> None:
    """Keep the chain of one number along the platform path."""
    state, field, kmh = address.split("/", 1)[1].rsplit("/", 2)
    answers.ride_number(state, field, answers.speed_named(kmh))


def budget_chain(answers: Answers, address: str) -> None:
    """Keep the chains of a budget's numbers."""
    state, kmh = address.split("/")[1:3]
    budget_page(answers, speed=kmh, state=state)


def state_chain(answers: Answers, address: str) -> None:
    """Keep the chains of what states gain over the baseline."""
    states_page(answers)


def cell_chain(answers: Answers, address: str) -> None:
    """Keep the chain of one cell of a map, worked out when it is asked for."""
    state, field, front_text, rear_text = address.split("/", 1)[1].rsplit("/", 3)
    front_mm, rear_mm = float(front_text), float(rear_text)
    axes, made = answers.results["axes"], answers.results[f"map {state}"]
    i = int(np.argmin(np.abs(1e3 * np.asarray(axes["front"]) - front_mm)))
    j = int(np.argmin(np.abs(1e3 * np.asarray(axes["rear"]) - rear_mm)))
    front, rear, drag = (np.asarray(made[f])[i, j] for f in MAP_FIELDS)
    draws = {
        "front": front, "rear": rear, "total": front + rear, "drag": drag,
        "share": front / (front + rear), "half_range_total": front + rear,
    }[field]  # fmt: skip
    kind = FIELDS["total" if field == "half_range_total" else field]
    at = (
        f"hf {1e3 * axes['front'][i]:.1f} mm, hr {1e3 * axes['rear'][j]:.1f} mm, "
        f"{answers.job.top_speed * _KMH:.0f} km/h, {state}"
    )
    answers.book.number(
        address, draws, kind[0], unit=kind[1],
        title=f"{kind[2][:1].upper()}{kind[2][1:]}, one cell of the map",
        links=answers.car_links(state), at=at, keep=answers.kept(state),
        among=answers.inputs_in(state), notices=answers.notices(state),
    )  # fmt: skip


def states_page(answers: Answers) -> Page:
    """Return every state against the baseline, differences taken draw by draw."""
    rows: list[Page] = []
    gains: list[Gain] = []
    if answers.has_platform:
        gains = [state_gain(answers, state) for state in answers.states[1:]]
    for gain in gains:
        noise = gain.total["low"] <= 0 <= gain.total["high"]  # nothing at all is no loss either
        better = "gains" if gain.total["best"] > 0 else "loses"
        rows.append(
            {
                "name": gain.state,
                "gain": gain.total,
                "held": gain.held,
                "drag": gain.drag,
                "share": gain.share,
                "verdict": "below noise" if noise else better,
            }
        )
    at = f"{gains[0].speed * _KMH:.0f} km/h" if gains else ""
    return {"baseline": answers.states[0], "at": at, "rows": rows}


def _usual_speed(answers: Answers) -> float:
    """Return the speed a budget is shown at first: the second highest studied."""
    return answers.speeds[-2] if len(answers.speeds) > 1 else answers.speeds[-1]
