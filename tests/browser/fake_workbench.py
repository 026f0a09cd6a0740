"""A stand-in for the study, with invented but plausible data of the demo car.

By hand, from the repository's root: ``python -m tests.browser.fake_workbench [mood]`` serves it
and prints the address. Moods: plain, empty, broken, long.
"""

import sys
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.browser import fake_text
from tests.browser.fake_car import STATES, G, ToyCar, number, pressure

from tuftwork.app import Progress, serve
from tuftwork.errors import (
    Cancelled,
    Fault,
    FileFault,
    InputError,
    NotConverged,
    NotCovered,
    UnknownName,
)

SPEEDS = [140.0, 160.0, 180.0, 200.0, 220.0, 240.0]
PAGES = ["overview", "evidence", "claims", "budget", "map", "states", "words", "runs"]
PARTS = {  # front, rear, drag [m²], half-width of the 80 % range, note
    "splitter": (0.46, -0.02, 0.045, 0.05, ""),
    "floor and diffuser": (0.22, 0.31, 0.02, 0.11, "in force reduction below 60 mm"),
    "rear wing": (-0.085, 0.737, 0.098, 0.04, "8°, 15 mm gurney"),
    "body and wheels": (0.02, -0.21, 0.63, 0.06, "area and coefficient with range"),
    "front coolers": (0.03, 0.0, 0.055, 0.01, "momentum of the cooling air"),
}
MIXED = {
    "wing on diffuser": (0.0, 0.05, 0.004, 0.03, "upwash draws on the exit"),
    "splitter on floor": (0.03, -0.06, 0.0, 0.04, "less mass flow under the car"),
}


class FakeWorkbench:
    """One invented project in one of four moods."""

    def __init__(self, mood: str = "plain", step_s: float = 0.25) -> None:
        self.mood = mood
        self.car = ToyCar()
        self.step_s = step_s
        self.closed = False
        self.go = threading.Event()
        """Cleared by a test that wants a run to stand still in its middle until it has looked."""
        self.go.set()
        self.stale = False
        self._runs: list[dict[str, Any]] = [] if mood == "empty" else [_entry("r1", "done")]
        self._lock = threading.Lock()

    def page(self, name: str, **query: str) -> dict[str, Any]:
        if name not in (*PAGES, "car"):
            raise UnknownName("page", name, PAGES)
        if self.mood == "broken" and name != "overview":
            raise FileFault(_faults())
        if self.mood == "empty" and name in ("budget", "map"):
            raise NotCovered(
                "No parts yet: there is nothing to add up. Add a [part.NAME] table to project.toml."
            )
        pages: dict[str, Callable[..., dict[str, Any]]] = {
            "overview": self._overview,
            "evidence": self._evidence,
            "claims": self._claims,
            "budget": self._budget,
            "map": self._map,
            "states": self._states,
            "car": self._car,
            "words": self._words,
            "runs": self._run_log,
        }
        return pages[name](**query)

    def why(self, name: str) -> dict[str, Any]:
        if name.startswith("nobody"):
            raise UnknownName("chain", name, ["total.downforce.220", "claim.C1"])
        at = "hf 44.9 mm, hr 57.0 mm, 220 km/h, as raced"
        long = self.mood == "long"
        return {
            "id": name,
            "title": _title(name) + (f" {fake_text.LONG}" if long else ""),
            "number": number((1.36, 1.44, 1.52), "m²", at=at, why=name, kg_per_m2=_kg(220)),
            "steps": [
                _step("Span from the side photo, marks 3 and 4", "digitised", "side.jpg",
                      "marks 3, 4", number((1.695, 1.70, 1.705), "m", "digitised")),
                _step("Ride heights with driver, corner weights", "measured", "setup.jpg",
                      "line 4", number((57, 58, 59), "mm", "measured")),
                _step("Section slope and stall band", "published", "abbott1945", "p. 462", None),
                _step("Rear wing: finite-wing estimate", "computed", "tuftwork 0.1.0",
                      "wing.estimate", number((0.61, 0.652, 0.69), "m²", at=at)),
                _step("Balance as the brochure has it", "claimed", "brochure.pdf", "p. 2",
                      number((42, 43, 44), "%", "claimed")),
                _step("Base pressure behind the diffuser", "assumed", "", "",
                      number((-0.28, -0.2, -0.12), "", "assumed")),
                _step("Tied to seven passes", "measured", "passes.csv", "rows 2 to 8",
                      number((1.38, 1.44, 1.50), "m²", "measured", at=at)),
            ],
            "dominates": [
                {"name": "floor.model.base_pressure", "label": "Base pressure of the diffuser",
                 "hint": "", "share": 0.41, "halved": 0.81},
                {"name": "rear.static", "label": "Rear ride height with driver", "hint": "",
                 "share": 0.27, "halved": 0.88},
                {"name": "wing.onset", "label": "Speed of the air at the wing",
                 "hint": "its speed over the car's", "share": 0.14, "halved": 0.94},
            ],
            "decision": "Whether to raise the rear before adding wing.",
            "notices": ["Rear ride height 57.0 mm is below the lowest checked one, 60 mm."]
            + ([fake_text.LONG] if long else []),
        }  # fmt: skip

    def live(
        self, message: Mapping[str, Any]
    ) -> tuple[dict[str, Any], dict[str, NDArray[np.float64]]]:
        if message.get("do") != "path_at":
            raise UnknownName("do", str(message.get("do")), ["path_at", "run", "cancel"])
        if self.mood == "broken":
            raise NotConverged("Platform loop: no equilibrium found between 20 and 120 mm.")
        speed, state = float(message["speed"]), str(message.get("state", "as raced"))
        static = float(message.get("front_mm", 58.0)), float(message.get("rear_mm", 71.0))
        if not 0 < speed < 400:
            raise InputError("speed", speed, "km/h", "must lie between 0 and 400")
        now = self.car.platform(speed, state, static)
        speeds = np.arange(80.0, 261.0, 20.0)
        path = [self.car.platform(float(v), state, static) for v in speeds]
        at = f"{now.at}, {state}"
        tail = f".{speed:g}"
        header = {
            "at": at,
            "kg_per_m2": _kg(speed),
            "numbers": {
                "front": number(now.front, "m²", at=at, why="front.downforce" + tail),
                "rear": number(now.rear, "m²", at=at, why="rear.downforce" + tail),
                "total": number(now.total, "m²", at=at, why="total.downforce" + tail),
                "drag": number(now.drag, "m²", at=at, why="total.drag" + tail),
                "share": number(now.share, "%", at=at, why="front.share" + tail),
                "front_mm": number(now.hf, "mm", why="hf" + tail),
                "rear_mm": number(now.hr, "mm", why="hr" + tail),
                "cliff_mm": number(now.hr - 60.0 - self.car.cliff, "mm", why="cliff" + tail),
            },
        }
        arrays = {
            "cloud_front_mm": now.hf,
            "cloud_rear_mm": now.hr,
            "cloud_front": now.front,
            "cloud_rear": now.rear,
            "path_speed_kmh": speeds,
            "path_front_mm": np.array([np.median(p.hf) for p in path]),
            "path_rear_mm": np.array([np.median(p.hr) for p in path]),
        }
        return header, arrays

    def run(self, progress: Progress, cancelled: Callable[[], bool]) -> dict[str, Any]:
        names = ["evidence", "claims", "parts", "budget", "platform", "map", "summary", "report"]
        for index, name in enumerate(names):
            for part in range(5):
                if cancelled():
                    with self._lock:
                        self._runs.insert(0, _entry(f"r{len(self._runs) + 1}", "cancelled"))
                    raise Cancelled(f"Stopped in step '{name}'. {index} steps are kept.")
                done = (index + part / 5) / len(names)
                progress(done, name, (1 - done) * 8 * self.step_s)
                time.sleep(self.step_s / 5)
            while index == 1 and not self.go.wait(0.02) and not cancelled():
                progress(1 / len(names), name, 7 * self.step_s)
        if self.mood == "broken":
            raise NotConverged("Platform loop: 31 of 256 draws found no equilibrium at 240 km/h.")
        self.stale = False
        entry = _entry(f"r{len(self._runs) + 1}", "done")
        with self._lock:
            self._runs.insert(0, entry)
        return entry

    def digest(self) -> str:
        return "9f31c0d2a4be77e1"

    def is_readable(self) -> bool:
        return self.mood != "broken"

    def is_stale(self) -> bool:
        return self.stale

    def close(self) -> None:
        self.closed = True

    def _overview(self, only: str = "") -> dict[str, Any]:
        if only == "rail":
            return self._first()
        at = self.car.platform(220.0, "as raced")
        state = {
            "mass state": "driver B, half fuel",
            "mass": number((1275, 1285, 1295), "kg", "measured", why="mass"),
            "front weight": number((47.2, 47.5, 47.8), "%", "measured", why="mass.front"),
            "static front": number((57, 58, 59), "mm", "measured", why="static.front"),
            "static rear": number((70, 71, 72), "mm", "measured", why="static.rear"),
            "air density": number((1.17, 1.18, 1.19), "kg/m³", "measured", why="air.density"),
        }
        rail = [dict(entry) for entry in fake_text.RAIL]
        if self.mood == "empty":
            return {
                "project": {"title": "Empty"}, "answer": "", "findings": [], "state": {},
                "rail": [{**entry, "support": "none", "note": ""} for entry in rail],
                "stale": False, "digest": self.digest(), "version": "0.1.0",
            }  # fmt: skip
        long = f" {fake_text.LONG}" if self.mood == "long" else ""
        return {
            "project": {**fake_text.PROJECT, "title": "Halyard" + long},
            "answer": "Raise the rear 11 mm before adding wing: the diffuser loses force below "
            "60 mm, and that, not the wing, is what moves in the two fastest corners." + long,
            "findings": _findings(at, long),
            "state": state,
            "rail": rail,
            "stale": self.stale,
            "digest": self.digest(),
            "version": "0.1.0",
            "partial": ["Cooling: no core data yet; the exit area is judged on photos alone."],
        }

    def _first(self) -> dict[str, Any]:
        """What is known before anything is looked up."""
        rail = [{**entry, "support": "none", "note": ""} for entry in fake_text.RAIL]
        return {
            "project": fake_text.PROJECT, "answer": "", "findings": [], "state": {},
            "rail": rail, "stale": False, "digest": self.digest(), "version": "0.1.0",
        }  # fmt: skip

    def _evidence(self) -> dict[str, Any]:
        if self.mood == "empty":
            return {"items": []}
        items = [dict(item) for item in fake_text.EVIDENCE]
        if self.mood == "long":
            items[0] |= {"title": fake_text.LONG, "note": fake_text.LONG, "used_by": ["x.y"] * 40}
        return {"items": items}

    def _claims(self) -> dict[str, Any]:
        if self.mood == "empty":
            together = {"verdict": "unknown", "conflicts": [], "text": ""}
            return {"claims": [], "together": together, "unknowns": []}
        claims = fake_text.claims()
        if self.mood == "long":
            claims[0] |= {"said": fake_text.LONG, "because": fake_text.LONG, "ask": fake_text.LONG}
            claims[0]["working"] = [fake_text.LONG] * 6
        unknowns = [
            ("CzSf", "front downforce area at 180 km/h", (0.63, 0.673, 0.71), (0.3, 0.6, 0.9)),
            ("CzSr", "rear downforce area at 180 km/h", (0.90, 0.956, 1.01), (0.4, 0.9, 1.4)),
            ("CxS", "drag area", (0.88, 0.90, 0.92), (0.7, 0.9, 1.2)),
        ]
        return {
            "claims": claims,
            "together": {
                "verdict": "contradicts",
                "conflicts": [["C2", "M3"], ["C3", "M1"], ["C4", "M2", "M7"]],
                "text": "C1 is impossible by itself. C2, C3 and C4 each contradict the passes; "
                "C5 stands if the gross louvre area was meant.",
            },
            "unknowns": [
                {"name": n, "label": label, "why": f"unknown.{n}",
                 "number": number(now, "m²", "computed", why=f"unknown.{n}"),
                 "prior": number(prior, "m²", "assumed")}
                for n, label, now, prior in unknowns
            ],
        }  # fmt: skip

    def _car(self, speed: str = "220", state: str = "as raced") -> dict[str, Any]:
        """Return the page of the car with nothing in it but its frame."""
        value = float(speed)
        return {
            "state": state, "states": list(STATES), "speeds": SPEEDS, "at": "",
            "speed": number((value, value, value), "km/h", "assumed"),
            "kg_per_m2": pressure(value) / G, "static": {"front_mm": 58.0, "rear_mm": 71.0},
            "together": None, "rows": [], "devices": [], "platform": None, "levers": [],
            "surveys": [], "partial": [], "notices": [],
        }  # fmt: skip

    def _budget(self, speed: str = "220", state: str = "as raced") -> dict[str, Any]:
        if state not in STATES:
            raise UnknownName("state", state, STATES)
        value = float(speed)
        at = self.car.platform(value, state)
        words = f"{at.at}, {state}"
        rows = [
            _row(name, "part", PARTS[name], words)
            for name in PARTS
            if not (state == "no wing" and name == "rear wing")
        ]
        rows += [_row(name, "interaction", MIXED[name], words) for name in MIXED]
        rows.append(_row_of_draws("total", "total", at.front, at.rear, at.drag, words))
        rows.append(
            _row("passes of 11 Sep", "measured", (0.675, 0.765, 0.911, 0.03, "7 passes"), words,
                 origin="measured")
        )  # fmt: skip
        rows.append(_row("total less passes", "difference", (0.01, -0.02, 0.004, 0.06, ""), words))
        return {
            "speed": number((value, value, value), "km/h", "assumed"),
            "state": state,
            "states": list(STATES),
            "speeds": SPEEDS,
            "rows": rows,
            "share": number(at.share, "%", at=words, why=f"front.share.{value:g}"),
            "measured": number((1.38, 1.44, 1.50), "m²", "measured", at=words, why="M5"),
            "at": words,
            "kg_per_m2": _kg(value),
        }

    def _map(self, state: str = "as raced") -> dict[str, Any]:
        if state not in STATES:
            raise UnknownName("state", state, STATES)
        hf = np.arange(34.0, 66.1, 2.0)
        hr = np.arange(48.0, 88.1, 2.0)
        grid_f, grid_r = np.meshgrid(hf, hr)
        front, rear, drag = self.car.loads(grid_f, grid_r, state, draws=False)
        total = front + rear
        valid = (grid_f + grid_r > 88).astype(float)
        half = 0.05 + 0.09 * np.exp(-(((grid_r - 58.5) / 4.0) ** 2))
        path = [self.car.platform(v, state) for v in SPEEDS]
        cliff_front = [34.0, 50.0, 66.0]
        return {
            "state": state,
            "states": list(STATES),
            "axes": {"front_mm": hf.tolist(), "rear_mm": hr.tolist()},
            "fields": {
                "total": total.tolist(),
                "front": front.tolist(),
                "rear": rear.tolist(),
                "drag": drag.tolist(),
                "share": (100 * front / total).tolist(),
                "half_range_total": half.tolist(),
                "valid": valid.tolist(),
            },
            "path": [
                {
                    "speed_kmh": p.speed,
                    "front_mm": float(np.median(p.hf)),
                    "rear_mm": float(np.median(p.hr)),
                    **{
                        key: number(
                            getattr(p, key),
                            "%" if key == "share" else "m²",
                            at=f"{p.at}, {state}",
                            why=f"{key}.{p.speed:g}",
                            kg_per_m2=_kg(p.speed),
                        )
                        for key in ("front", "rear", "total", "drag", "share")
                    },
                }
                for p in path
            ],
            "cliff": {
                "front_mm": cliff_front,
                "rear_mm": [60.5, 60.0, 59.2],
                "text": "Below this line the diffuser enters force reduction.",
            },
            "static": {"front_mm": 58.0, "rear_mm": 71.0},
            "equilibria": [
                {"speed_kmh": 220.0, "front_mm": 44.9, "rear_mm": 57.0, "stable": True},
                {"speed_kmh": 220.0, "front_mm": 45.2, "rear_mm": 53.0, "stable": False},
            ],
            "why_cell": "cell.{field}.{front_mm}.{rear_mm}",
        }

    def _states(self) -> dict[str, Any]:
        base = self.car.platform(220.0, "as raced")
        rows: list[dict[str, Any]] = []
        for name in () if self.mood == "empty" else ("wing 12", "no wing"):
            then = self.car.platform(220.0, name)
            held = sum(self.car.loads(base.hf, base.hr, name)[:2]) - base.total
            at = f"{then.at}, {name}"
            rows.append(
                {
                    "name": name + (f" {fake_text.LONG}" if self.mood == "long" else ""),
                    "gain": number(then.total - base.total, "m²", at=at, why=f"gain.{name}",
                                   noise=0.03),
                    "held": number(held, "m²", at=base.at, why=f"held.{name}"),
                    "drag": number(then.drag - base.drag, "m²", at=at, why=f"drag.{name}"),
                    "share": number(then.share, "%", at=at, why=f"share.{name}"),
                    "verdict": "gains" if name == "wing 12" else "loses",
                }
            )  # fmt: skip
        return {"baseline": "as raced", "at": "220 km/h", "rows": rows}

    def _words(self) -> dict[str, Any]:
        return {
            "text": "A page the app has no form for is shown as it comes.",
            "exit area": number((0.053, 0.056, 0.059), "m²", "digitised", why="cooling.exit"),
            "rows": [
                {"circuit": "Brackenholt", "lap": number((97.2, 97.36, 97.5), "s", why="lap.1")},
                {"circuit": "Brackenholt wet", "lap": number((104, 106, 109), "s", why="lap.2")},
            ],
            "notices": ["Nothing moves on this car."],
        }

    def _run_log(self) -> dict[str, Any]:
        with self._lock:
            return {"runs": [dict(entry) for entry in self._runs]}


def _kg(speed: float) -> float:
    return pressure(speed) / G


def _title(name: str) -> str:
    words = name.replace(".", " ").replace("_", " ")
    return words[:1].upper() + words[1:]


def _step(
    what: str, origin: str, source: str, place: str, value: dict[str, Any] | None
) -> dict[str, Any]:
    return {"what": what, "origin": origin, "source": source, "place": place, "number": value}


def _row(
    name: str,
    kind: str,
    values: tuple[float, float, float, float, str],
    at: str,
    origin: str = "computed",
) -> dict[str, Any]:
    front, rear, drag, half, note = values
    key = name.replace(" ", "_")
    return {
        "name": name,
        "kind": kind,
        "front": number((front - half, front, front + half), "m²", origin, at, f"{key}.front"),
        "rear": number((rear - half, rear, rear + half), "m²", origin, at, f"{key}.rear"),
        "total": number(
            (front + rear - 1.3 * half, front + rear, front + rear + 1.3 * half),
            "m²", origin, at, f"{key}.total",
        ),
        "drag": number((drag - half / 4, drag, drag + half / 4), "m²", origin, at, f"{key}.drag"),
        "note": note,
    }  # fmt: skip


def _row_of_draws(
    name: str, kind: str, front: Any, rear: Any, drag: Any, at: str
) -> dict[str, Any]:
    return {
        "name": name,
        "kind": kind,
        "front": number(front, "m²", at=at, why=f"{name}.front"),
        "rear": number(rear, "m²", at=at, why=f"{name}.rear"),
        "total": number(front + rear, "m²", at=at, why=f"{name}.total"),
        "drag": number(drag, "m²", at=at, why=f"{name}.drag"),
        "note": "",
    }


def _findings(at: Any, long: str) -> list[dict[str, Any]]:
    words = f"{at.at}, as raced"
    total = number(at.total, "m²", at=words, why="total.downforce.220", kg_per_m2=_kg(220))
    return [
        {
            "rank": 1, "title": "The diffuser loses force at speed, and the sheet hid it" + long,
            "text": "Ride heights were taken without the driver: the rear is 3 mm lower than the "
            "sheet says, and from 180 km/h it passes the edge at 60 mm." + long,
            "numbers": [total, number(at.rear, "m²", at=words, why="rear.downforce.220",
                                      kg_per_m2=_kg(220))],
            "verdict": "contradicts", "value": number((-0.17, -0.11, -0.05), "s", why="value.rear"),
            "test": "Two passes at 220 km/h with the rear raised 5 mm, then back.",
            "page": "map", "why": "finding.1",
        },
        {
            "rank": 2, "title": "More wing is the wrong first move",
            "text": "8 to 12 degrees adds 13 points by itself and 3 on the car.",
            "numbers": [number((-0.02, 0.034, 0.08), "m²", at=words, why="wing.delta",
                               noise=0.04, kg_per_m2=_kg(220))],
            "verdict": "below noise", "value": number((-0.2, -0.14, -0.06), "s", why="value.wing"),
            "test": "A-B-A with 8, 12, 8 degrees at 200 km/h, three repeats.", "page": "budget",
            "why": "finding.2",
        },
        {
            "rank": 3, "title": "Three claims of the brochure cannot be true",
            "text": "The wing's 260 kg needs a coefficient no single element reaches.",
            "numbers": [number((3.9, 4.13, 4.35), "", "claimed", why="claim.C1.cz")],
            "verdict": "contradicts", "value": None,
            "test": "Ask at which speed and in which unit.", "page": "claims", "why": "finding.3",
        },
        {
            "rank": 4, "title": "The cooler exit is smaller than stated",
            "text": "Net slots, counted on the arch photo.",
            "numbers": [number((0.053, 0.056, 0.059), "m²", "digitised", why="cooling.exit")],
            "verdict": "needs an assumption", "value": number((107, 121, 137), "°C",
                                                                why="cooling.water"),
            "test": "Tape half the louvres and log the water.", "page": "claims",
            "why": "finding.4",
        },
        {
            "rank": 5, "title": "Drag is ordinary", "text": "Passes and laps agree.",
            "numbers": [number((0.89, 0.911, 0.93), "m²", "measured", at=words,
                               why="total.drag.220")],
            "verdict": "consistent", "value": None, "test": "", "page": "budget",
            "why": "finding.5",
        },
    ]  # fmt: skip


def _entry(name: str, state: str) -> dict[str, Any]:
    return {
        "id": name, "when": "2026-11-25 17:40", "took_s": 6.2, "what": "study, all steps",
        "digest": "9f31c0d2a4be77e1", "version": "0.1.0", "host": "this machine",
        "steps": [
            {"name": "evidence", "cached": True, "took_s": 0.01},
            {"name": "claims", "cached": True, "took_s": 0.02},
            {"name": "budget", "cached": False, "took_s": 1.4},
            {"name": "map", "cached": False, "took_s": 4.6},
        ],
        "state": state, "progress": 1.0, "left_s": 0.0,
    }  # fmt: skip


def _faults() -> list[Fault]:
    return [
        Fault(what="unit missing", file="project.toml", line=31, key="part.wing.span",
              found="1.70", expected='a length such as "1.70 m"', cure="Add the unit."),
        Fault(what="unknown key", file="project.toml", line=44, key="part.wing.angel",
              found="angel", expected="angle", cure="Write angle."),
    ]  # fmt: skip


if __name__ == "__main__":
    serve(
        FakeWorkbench(sys.argv[1] if len(sys.argv) > 1 else "plain"),
        open_browser=False,
        port=int(sys.argv[2]) if len(sys.argv) > 2 else 0,
        announce=lambda address: sys.stdout.write(address + "\n") and sys.stdout.flush(),
    )
