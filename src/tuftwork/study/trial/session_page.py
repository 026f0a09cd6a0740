"""What tunnel sessions, pressures, laps and flow notes say, for the Results page."""

from typing import Any

import numpy as np

from tuftwork.car import Project
from tuftwork.car.session import FlowNote, PressureTest, Tap, TunnelSession
from tuftwork.quantity import format_plain, format_quantity
from tuftwork.study.answers import Answers
from tuftwork.study.number import Link, Number
from tuftwork.study.store import Tree
from tuftwork.study.trial.session import draws_about
from tuftwork.trial.tunnel_case import FIELDS

Page = dict[str, Any]
KMH = 3.6
MINUS = "\u2212"
_WORDS = {"front": "CzSf", "rear": "CzSr", "drag": "CxS", "total": "CzS"}


def has_sessions(project: Project) -> bool:
    """Return whether the project holds anything measured beside days on a track."""
    return bool(project.tunnels or project.pressures or project.flow_notes)


def session_parts(answers: Answers) -> Page:
    """Return the parts of the Results page that belong to no single day."""
    return {
        "tunnels": [tunnel_part(answers, one) for one in answers.project.tunnels],
        "pressures": [pressure_part(answers, one) for one in answers.project.pressures],
        "notes": notes_part(answers.project, answers),
    }


def tunnel_tree(answers: Answers, one: TunnelSession) -> Tree:
    """Return what a session's step found."""
    missing = {"refused": ["This session has not been worked through yet."]}
    found: Tree = answers.results.get(f"tunnel {one.name}", missing)
    return found


def tunnel_part(answers: Answers, one: TunnelSession) -> Page:
    """Return one tunnel session."""
    tree = tunnel_tree(answers, one)
    if "refused" in tree:
        return {"name": one.name, "refused": list(tree["refused"])}
    test, road = tree["reynolds"]
    return {
        "name": one.name, "points": tree["points"], "correction": tree["correction"],
        "about": f"{100 * tree['scale']:.0f} % model, {one.jet} section, {one.ground}, blockage "
        f"{100 * tree['blockage']:.1f} %, Reynolds number {1e-6 * test:.2g} million "
        f"(road {1e-6 * road:.2g} million)",
        "axes": one.axes,
        "rows": [
            {
                "state": r["state"], "front_mm": _mm(r["height_front"]),
                "rear_mm": _mm(r["height_rear"]), "count": r["count"],
                **{f: tunnel_number(answers, one, r, f) for f in (*FIELDS, "total")},
                "gap_points": None if r["gap"] is None else round(r["gap"] / 0.01, 1),
            }
            for r in sorted(tree["rows"], key=_place)
        ],
        "methods": [
            {"method": str(m["method"]), "ratio": round(float(m["pressure"]), 4),
             "drag": format_plain(float(m["drag"]), "area", digits=3),
             "total": format_plain(float(m["total"]), "area", digits=3)}
            for m in tree["methods"]
        ],
        "lines": _lines(tree),
        "sweeps": [_sweep_text(state, gap) for state, gap in tree["sweeps"].items()],
        "scatter": _scatter_text(tree), "notices": list(tree["notices"]),
    }  # fmt: skip


def _place(row: Tree) -> tuple[str, float, float]:
    return str(row["state"]), _mm(row["height_front"]), _mm(row["height_rear"])


def _mm(draws: Any) -> float:
    return round(1e3 * float(np.median(np.asarray(draws))), 1)


def _scatter_text(tree: Tree) -> str:
    if not tree["dof"]:
        return "never repeated"
    parts = ", ".join(f"{_WORDS[f]} {100 * tree['scatter'][f]:.2f}" for f in FIELDS)
    return f"one reading scatters by {parts} points ({tree['dof']} degrees of freedom)"


def _lines(tree: Tree) -> list[Page]:
    """Return the uncertainty budget of the row with the largest doubt of CzSr."""
    row = max(tree["rows"], key=lambda r: sum(x["rear"] ** 2 for x in r["lines"].values()))
    total = {f: sum(x[f] ** 2 for x in row["lines"].values()) or 1.0 for f in FIELDS}
    order = sorted(row["lines"].items(), key=lambda pair: -pair[1]["rear"])
    return [
        {"name": name, "at": f"{row['state']}, {_mm(row['height_front'])} / "
         f"{_mm(row['height_rear'])} mm",
         **{f: format_plain(sizes[f], "area", digits=4) for f in FIELDS},
         "rear_share": round(sizes["rear"] ** 2 / total["rear"], 3)}
        for name, sizes in order
    ]  # fmt: skip


def _sweep_text(state: str, gap: list[Any]) -> str:
    at, largest, noise, is_two = gap
    verdict = "two branches, or a slow mount" if is_two else "no more than repeats explain"
    return (f"{state}: up and down sweeps differ by at most {100 * largest:.1f} points at hr "
            f"{1e3 * at:.1f} mm, where repeats give {100 * noise:.1f}: {verdict}.")  # fmt: skip


def tunnel_draws(row: Tree, field: str) -> np.ndarray:
    """Return one field of a session's row, draw by draw."""
    if field == "total":
        return np.asarray(np.asarray(row["front"]) + np.asarray(row["rear"]))
    return np.asarray(row[field])


def tunnel_at(row: Tree) -> str:
    """Return where a tunnel row holds, in words."""
    return f"hf {_mm(row['height_front'])} mm, hr {_mm(row['height_rear'])} mm, {row['state']}"


def tunnel_number(answers: Answers, one: TunnelSession, row: Tree, field: str) -> Number:
    """Return one number of a tunnel session with its chain."""
    place = f"{row['state']}/{field}/{_mm(row['height_front'])}-{_mm(row['height_rear'])}"
    walls = f"Walls: {one.correction}"
    links = [
        Link(what=f"{row['count']} readings at this point", origin="measured", source=one.data),
        Link(what="Supports, buoyancy and the balance's own centre taken out", origin="computed",
             source="sae1594", place=one.axes),
        Link(what=walls, origin="computed", place="the other methods are part of the range"),
        Link(what=f"Model of {100 * one.scale.best:.0f} %: areas over its square",
             origin="computed"),
    ]  # fmt: skip
    return answers.book.number(
        f"tested/tunnel/{one.name}/{place}", tunnel_draws(row, field), "area", origin="measured",
        title=f"{_WORDS[field]} in the tunnel, {one.name}", links=links, at=tunnel_at(row),
        decision="Whether the model is believed at ride heights no track day reached.", among=(),
    )  # fmt: skip


def pressure_part(answers: Answers, one: PressureTest) -> Page:
    """Return one pressure test: taps, wakes and ducts."""
    missing = {"refused": ["This test has not been worked through yet."]}
    tree = answers.results.get(f"pressures {one.name}", missing)
    if "refused" in tree:
        return {"name": one.name, "refused": list(tree["refused"])}
    size = answers.ensemble.size
    taps = {t.name: t for t in one.taps}
    rows = [
        {
            "tap": r["tap"], "kind": r["kind"], "at": r["at"], "state": r["state"],
            "count": r["count"], "hypothesis": r["hypothesis"],
            "value": _pressure_number(answers, one, taps[r["tap"]], r, size),
        }
        for r in tree["rows"]
    ]  # fmt: skip
    ducts = [
        {
            "duct": d["duct"], "state": d["state"], "tubes": d["tubes"],
            "speed_kmh": round(d["speed"] * KMH), "backward": d["backward"],
            "unevenness": f"{100 * d['unevenness']:.0f} %",
            "flow": answers.book.number(
                f"tested/duct/{one.name}/{d['state']}/{d['duct']}",
                draws_about(d["flow"], d["doubt"], size, f"{one.name} {d['duct']} {d['state']}")
                * d["density"], "mass flow", origin="measured",
                title=f"Flow through '{d['duct']}', rake of {d['tubes']} tubes",
                links=[Link(what="Speed of every tube times the area it stands for",
                            origin="measured", source=one.data)],
                at=f"{d['speed'] * KMH:.0f} km/h, {d['state']}", among=(),
            ),
        }
        for d in tree["ducts"]
    ]  # fmt: skip
    return {"name": one.name, "rows": rows, "ducts": ducts, "notices": list(tree["notices"])}


def _pressure_number(answers: Answers, one: PressureTest, tap: Tap, row: Tree, size: int) -> Number:
    is_loss = tap.kind in ("total", "duct total")
    name = f"{one.name}/{row['state']}/{tap.name}"
    return answers.book.number(
        f"tested/pressure/{name}", draws_about(row["value"], row["doubt"], size, name), "ratio",
        origin="measured",
        title=f"{'Loss of total pressure' if is_loss else 'Pressure coefficient'}, {tap.at}",
        links=[Link(what=f"{row['count']} readings, weighed with dynamic pressure",
                    origin="measured", source=one.data, place=tap.name)],
        at=row["state"], among=(),
    )  # fmt: skip


def notes_part(project: Project, answers: Answers | None = None) -> Page:
    """Return flow notes with their places, and what they say for and against each hypothesis."""
    says = {h.id: h.says for h in project.hypotheses}
    says |= {c.id: f"claim {c.id}" for c in project.claims if c.id not in says}
    rows = [_note(i, n, project) for i, n in enumerate(project.flow_notes, 1)]
    ideas = []
    for name in dict.fromkeys(
        [
            *(h.id for h in project.hypotheses),
            *(n.hypothesis for n in project.flow_notes if n.hypothesis),
        ]
    ):
        tied = [(i, n) for i, n in enumerate(project.flow_notes, 1) if n.hypothesis == name]
        taps = [f"{t.name} at {t.at}" for p in project.pressures for t in p.taps
                if t.hypothesis == name]  # fmt: skip
        count = {way: [i for i, n in tied if n.bears == way] for way in ("for", "against")}
        ideas.append({
            "id": name, "says": says.get(name, name), "for": count["for"],
            "against": count["against"], "taps": taps, "verdict": _verdict(count, taps),
        })  # fmt: skip
    return {"rows": rows, "hypotheses": ideas}


def _verdict(count: dict[str, list[int]], taps: list[str]) -> str:
    if count["for"] and count["against"]:
        return "contradicts"  # what was seen does not agree with itself
    if count["against"]:
        return "contradicts"
    return "consistent" if count["for"] else "unknown"


def _note(number: int, note: FlowNote, project: Project) -> Page:
    parts = {p.name for p in project.parts}
    openings = {o.name for o in project.openings}
    kind = "part" if note.at in parts else "opening" if note.at in openings else "place"
    return {
        "n": number, "at": note.at, "at_is": kind, "by": note.by, "seen": note.seen,
        "state": note.state, "picture": note.picture, "hypothesis": note.hypothesis,
        "speed": "" if note.speed is None else format_quantity(note.speed),
        "bears": note.bears, "note": note.note,
    }  # fmt: skip


def laps_part(answers: Answers, day: str) -> Page | None:
    """Return what a day's laps say of its states, None where no laps were noted."""
    tree = answers.results.get(f"laps {day}")
    if tree is None:
        return None
    if "refused" in tree:
        return {"refused": list(tree["refused"]), "rows": []}
    rows = []
    for r in tree["rows"]:
        draws = _student(r, answers.ensemble.size, f"{day} {r['state']}")
        number = answers.book.number(
            f"tested/laps/{day}/{r['state']}", draws, "time", unit="s", origin="measured",
            title=f"Lap time: '{r['state']}' less '{r['against']}'",
            links=[Link(what=f"{r['laps']} laps in {r['stints']} stints, {r['method']}",
                        origin="measured", source="laird1982")],
            decision="Whether the change is kept.", among=(),
        )  # fmt: skip
        below = number["low"] < 0 < number["high"]
        rows.append({
            "state": r["state"], "against": r["against"], "laps": r["laps"],
            "stints": r["stints"], "method": r["method"], "gain": number,
            "wear": f"{r['drift']:+.3f}\u202fs a lap".replace("-", MINUS),
            "verdict": "below noise" if below else "gains" if number["best"] < 0 else "loses",
        })  # fmt: skip
    return {"rows": rows, "laps": tree["laps"]}


def _student(row: Tree, size: int, name: str) -> np.ndarray:
    from zlib import crc32

    noise = np.random.default_rng(crc32(name.encode()))
    return np.asarray(row["size"] + row["uncertainty"] * noise.standard_t(max(row["dof"], 1), size))


def tested_chain(answers: Answers, address: str) -> None:
    """Keep the chains of tunnel, pressure and lap numbers."""
    session_parts(answers)
    for day in answers.project.days:
        laps_part(answers, day.name)
