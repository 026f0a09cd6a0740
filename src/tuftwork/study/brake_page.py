"""The page "Brakes": energy of a lap, disc, pad and fluid against their windows, the ducts."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from tuftwork.car import Project
from tuftwork.car.brake import Brakes
from tuftwork.cooling import Surroundings, brake_duct_flow, disc_temperature
from tuftwork.cooling.disc import SOURCES
from tuftwork.cooling.notice import BRAKE_CAUTION
from tuftwork.errors import InputError, NotCovered, UnknownName
from tuftwork.quantity import exact, format_plain, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.brake_step import AXLES, CELLS, braking_case, disc_of, duct_of
from tuftwork.study.cooling_tell import certain
from tuftwork.study.finding import Finding
from tuftwork.study.number import (
    Link,
    Number,
    link_of_source,
    number_of_quantity,
    number_of_summary,
)
from tuftwork.study.support import Support, counted
from tuftwork.study.tell import RoomTeller

Page = dict[str, Any]
_KMH = 3.6
_KELVIN = 273.15
_FADE = 0.20  # [m²] of CzS brakes that fade are set against
_LIVE_DRAWS = 256
"""Draws behind the slider: all of a usual study, so that it meets the page where it stands."""
_DRAG = (
    "A duct's drag is that of its air at the lap's mean speed, both sides: what is lost of its "
    "momentum; 0 to 30\u202f% of the head of the jet at the disc is taken to come out of the wheel "
    "along the stream (common practice, no source). The drag of a scoop's outside is not in it, "
    "and the budget, whose body stands with the ducts it has, does not add it again."
)
_HOT = ("too hot", "doubtful")


def brake_support(project: Project, answers: Answers | None) -> Support:
    """Return the support of the brakes."""
    if project.brakes is None:
        return "none", ""
    if answers is not None and "stops" in answers.results.get("brakes", {}):
        return "computed", counted(len(answers.results["brakes"]["stops"]), "stop")
    return "computed", counted(len(project.brakes.stops), "stop")


def brake_chain(answers: Answers, address: str) -> None:
    """Keep the chains of the brakes' numbers."""
    answers.worked_out.pop("brakes page", None)
    brakes_page(answers)


def brakes_page(answers: Answers) -> Page:
    """Return the brakes over the stint; worked out once."""
    kept: Page | None = answers.worked_out.get("brakes page")
    if kept is None:
        kept = answers.worked_out["brakes page"] = _page(answers)
    return kept


def brakes_of(project: Project) -> Brakes:
    """Return the brakes' table, or say what is missing.

    Raises
    ------
    NotCovered
        If the project has none.
    """
    if project.brakes is None:
        raise NotCovered(
            "No brakes yet. Add [brakes] with the lap's stops and its discs to project.toml."
        )
    return project.brakes


class _Teller(RoomTeller):
    """Numbers of the brakes, each with its chain."""

    def __init__(self, answers: Answers) -> None:
        self.table = brakes_of(answers.project)
        found = answers.results["brakes"]
        if "refused" in found:
            raise NotCovered(str(found["refused"]))
        self.source = str(found["source"])
        lap = format_plain(found["lap_time"], "time", digits=1)
        air = format_plain(self.table.temperature.best, "temperature", digits=0)
        super().__init__(
            answers, "brakes", at=f"{self.table.laps} laps of {lap}, {air} air",
            among=("brakes.",),
            links=[
                Link(what=f"Power of the {self.source} into the brakes" if self.source else
                     "Entered stops at the limit of grip; what drag leaves heats the discs",
                     origin="computed", place="docs/models/brakes.md"),
                *(link_of_source("Heat transfer coefficients", s) for s in SOURCES),
            ],
            caution=BRAKE_CAUTION,
            decision="How large the brake duct must be, and which pad and fluid.",
        )  # fmt: skip


def _page(answers: Answers) -> Page:
    tell, found = _Teller(answers), answers.results["brakes"]
    axles = [_axle(tell, axle, tree) for axle, tree in found["axles"].items()]
    energy = tell.number("energy", found["energy"], "energy", "Energy to the brakes, one lap")
    power = tell.number("power", found["power"], "power", "Mean power of the brakes over a lap")
    return {
        "at": tell.at,
        "answer": _answer(tell, axles, energy),
        "source": _source(tell),
        "energy": energy,
        "power": power,
        "stops": [_stop(tell, i, row) for i, row in enumerate(found["stops"], 1)],
        "axles": axles,
        "kits": [_kit(row, found["kits"]) for row in found["kits"]],
        "notices": [BRAKE_CAUTION, *([_DRAG] if any(len(a["options"]) > 1 for a in axles) else [])],
    }


def _source(tell: _Teller) -> str:
    """Return in words where the stops come from, and what a kit changes."""
    if tell.source:
        return (
            f"Stops are those of the {tell.source}; every state brakes as its own lap does: more "
            "grip brakes later and harder, and a faster straight has more to take off."
        )
    return (
        "Stops as entered. Each state takes the same corners at its own limit of grip; straights "
        "keep their end speed and the lap its time. More downforce brakes shorter and harder."
    )


def _stop(tell: _Teller, number: int, row: Page) -> Page:
    say = f"stop {number}"
    line: Page = {
        "number": number,
        "fast_kmh": round(_KMH * row["fast"], 1),
        "slow_kmh": round(_KMH * row["slow"], 1),
        "energy": tell.number(f"stop/{number}/energy", row["energy"], "energy",
                              f"Energy to the brakes, {say}", "MJ"),
        "duration": tell.number(f"stop/{number}/duration", np.round(row["duration"], 1), "time",
                                f"Duration of {say}"),
        "distance": tell.number(f"stop/{number}/distance", np.round(row["distance"]), "length",
                                f"Length of {say}"),
    }  # fmt: skip
    for axle in AXLES:
        if f"rise_{axle}" in row:
            line[f"rise_{axle}"] = tell.number(
                f"stop/{number}/rise/{axle}",
                row[f"rise_{axle}"],
                "temperature difference",
                f"Even rise of a {axle} disc, {say}",
            )
    return line


def _axle(tell: _Teller, axle: str, tree: Page) -> Page:
    options = []
    for name, found in tree["options"].items():
        key = f"{axle}/{name}"
        say = f"{axle} disc, {name}"
        options.append({
            "name": name,
            "flow": tell.number(f"{key}/flow", found["flow"], "mass flow", f"{say}: air led to it"),
            "drag": tell.number(f"{key}/drag", found["drag"], "area",
                                f"{say}: CxS of the air led to both discs"),
            **{
                field: tell.number(f"{key}/{field}", found[field], "temperature", f"{say}: {words}")
                for field, words in (
                    ("peak_surface", "highest of the surface"),
                    ("peak_mean", "highest of the whole disc"),
                    ("lap_mean", "mean of the last lap"),
                    ("peak_fluid", "highest of the fluid"),
                )
            },
            "trace": _trace(found),
            "windows": [_window(tell, key, w) for w in found["windows"]],
        })  # fmt: skip
    return {"axle": axle, "options": options, "need": _need(tell, axle, tree)}


def _trace(found: Page) -> Page:
    low, low_half, best, high_half, high = np.asarray(found["surface"]) - _KELVIN
    rows = {"low": low, "low_half": low_half, "best": best, "high_half": high_half, "high": high}
    return {
        "time_s": np.asarray(found["time"]).round(2).tolist(),
        **{name: row.round(1).tolist() for name, row in rows.items()},
    }


def _window(tell: _Teller, key: str, window: Page) -> Page:
    part = window["part"]
    return {
        "part": part,
        "low_c": None if window["low"] is None else window["low"] - _KELVIN,
        "high_c": window["high"] - _KELVIN,
        "peak_c": window["peak"] - _KELVIN,
        "working": tell.number(f"{key}/{part}/working", window["working"], "temperature",
                               f"{part}: mean of the last lap"),
        "hottest": tell.number(f"{key}/{part}/hottest", window["hottest"], "temperature",
                               f"{part}: highest"),
        "over": certain(window["over"], "share"),
        "under": certain(window["under"], "share"),
        "verdict": window["verdict"],
    }  # fmt: skip


def _need(tell: _Teller, axle: str, tree: Page) -> Page:
    need, disc = tree["need"], getattr(tell.table, axle)
    has = disc.duct.area if disc.duct is not None else None
    found: Page = {
        "limit_c": round(need["limit"] - _KELVIN, 1),
        "has": None if has is None else number_of_quantity(
            has, why=f"input/brakes.{axle}.duct.area"),
        "flow": None, "area": None, "drag": None, "text": need["text"],
    }  # fmt: skip
    if need.get("drag") is not None:
        found["drag"] = tell.number(
            f"{axle}/needed drag", need["drag"], "area", f"{axle} discs: CxS of the air they need"
        )
    if need["flow"] is not None:
        flow = round(need["flow"], 3)
        found["flow"] = number_of_quantity(exact(flow, "mass flow", unit="kg/s", origin="computed"))
    if need["area"] is not None:
        area = round(need["area"], 4)
        found["area"] = number_of_quantity(exact(area, "area", unit="cm²", origin="computed"))
    return found


def _kit(row: Page, rows: list[Page]) -> Page:
    base = rows[0]
    return {
        "state": row["state"],
        "energy": _change(row["energy"], base["energy"]),
        "power": _change(row["power"], base["power"]),
        "peak": number_of_summary(summarise(np.asarray(row["peak"])), "temperature"),
    }


def _change(now: float, before: float) -> Number:
    value = round(now / before - 1.0, 3) + 0.0  # no minus before a zero
    return number_of_quantity(exact(value, "share", unit="%", origin="computed"))


def hottest_option(axle: Page) -> Page:
    """Return how an axle runs today: with its duct where it has one."""
    found: Page = axle["options"][-1]
    return found


def _answer(tell: _Teller, axles: list[Page], energy: Number) -> str:
    text = f"One lap gives the brakes {energy['text']}."
    for axle in axles:
        now = hottest_option(axle)
        bad = [w for w in now["windows"] if w["verdict"] != "inside"]
        words = ", ".join(f"{w['part']} {w['verdict']}" for w in bad) or "inside every window"
        text += (
            f" The {axle['axle']} disc's surface peaks at {now['peak_surface']['text']} "
            f"({now['name']}): {words}."
        )
    return text


def brake_findings(answers: Answers) -> list[Finding]:
    """Return the axles whose disc, pad or fluid leaves its window."""
    if answers.project.brakes is None:
        return []
    page = brakes_page(answers)
    return [f for axle in page["axles"] for f in _axle_finding(axle, page["at"])]


def _axle_finding(axle: Page, at: str) -> list[Finding]:
    now, need = hottest_option(axle), axle["need"]
    hot = [w for w in now["windows"] if w["verdict"] in _HOT and w["over"]["best"] >= 10.0]
    if not hot:
        return []
    worst = max(hot, key=lambda w: w["over"]["best"])
    cure = need["text"] or _cure(need)
    return [
        Finding(
            title=f"The {axle['axle']} brakes: {worst['part']} beyond its window",
            text=f"Over {at} it reaches {worst['hottest']['text']} where "
            f"{worst['peak_c']:.0f}\u202f°C is its limit, with a chance of "
            f"{worst['over']['text']}. {cure}",
            verdict="needs an assumption",
            page="brakes",
            worth=_FADE * worst["over"]["best"] / 100.0,
            numbers=(worst["hottest"] | {"label": worst["part"]},
                     worst["over"] | {"label": "chance of crossing its limit"}),
            test="Paint on the disc's edge and a strip on the caliper, one stint; then the duct "
            "taped half, one stint.",
            why=worst["hottest"]["why"],
        )
    ]  # fmt: skip


def _cure(need: Page) -> str:
    if need["flow"] is None or need["flow"]["best"] == 0:
        return ""
    text = f"{need['flow']['text']} of air would hold the disc below {need['limit_c']:.0f}\u202f°C"
    if need["area"] is not None and need["has"] is not None:
        text += f": a duct of {need['area']['text']}, today {need['has']['text']}"
    if need["drag"] is not None:
        text += f"; the air of both sides then costs CxS {need['drag']['text']}"
    return text + "."


def brakes_live(
    answers: Answers, message: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Return a disc's peak with its duct's areas multiplied and the air as asked."""
    table = brakes_of(answers.project)
    axle = str(message.get("axle", "front"))
    if axle not in AXLES:
        raise UnknownName("axle", axle, AXLES)
    disc = getattr(table, axle)
    if disc is None:
        raise NotCovered(f"No {axle} disc yet. Add [brakes.{axle}].")
    scale, air = (
        _given(message, key, low, high) for key, low, high in (
            ("duct", 0.0, 4.0), ("air_c", -20.0, 55.0))
    )  # fmt: skip
    case = braking_case(answers, _LIVE_DRAWS)
    trace = case.trace(axle)
    flow: Any = 0.0
    if disc.duct is not None and scale > 0.02:
        around = Surroundings(speed=float(np.mean(trace.speed)), temperature=air + _KELVIN)
        flow = brake_duct_flow(duct_of(disc.duct, case.of, axle, scale), around)
    history = disc_temperature(
        disc_of(disc, case.of, axle), trace, air + _KELVIN, duct_flow=flow, n_lap=table.laps,
        n_cell=CELLS,
    )  # fmt: skip
    at = f"{table.laps} laps, {air:.0f}\u202f°C air, duct areas times {scale:.2f}"
    numbers = {
        "peak_surface": number_of_summary(summarise(history.peak_surface), "temperature", at=at),
        "lap_mean": number_of_summary(summarise(history.lap_mean), "temperature", at=at),
        "flow": number_of_summary(
            summarise(np.broadcast_to(flow, history.peak_surface.shape)), "mass flow", at=at
        ),
    }
    return {"at": at, "numbers": numbers, "draws": int(history.peak_surface.size)}, {
        "peak_c": history.peak_surface - _KELVIN
    }


def _given(message: Mapping[str, Any], key: str, low: float, high: float) -> float:
    try:
        value = float(message[key])
    except (KeyError, TypeError, ValueError):
        raise InputError(key, repr(message.get(key)), "", "must be a number") from None
    if not low <= value <= high:
        raise InputError(key, value, "", f"must lie between {low:g} and {high:g}")
    return value
