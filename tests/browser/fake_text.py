"""Invented texts of the demo project: claims, findings, evidence."""

from typing import Any

from tests.browser.fake_car import number

LONG = (
    "The previous supplier's brochure gives no method, no ride heights, no mass state, no wind "
    "and no date for this figure, and the page it stands on was scanned with its right edge cut "
    "off, so that the last column, which may have held the unit, cannot be read; the sentence is "
    "kept here as it was found, with Donaudampfschifffahrtsgesellschaftskapitänsmütze in it as a "
    "word that no column can break, because a real brochure will contain worse."
)

PROJECT = {
    "title": "Halyard",
    "client": "Lowmere Racing",
    "question": "Where does the downforce come from, and what should we change for Brackenholt?",
    "car": "Kessrick Halyard GT",
    "class": "National Open Coupe, Division 2",
    "day": "2026-09-18",
}

RAIL: list[dict[str, Any]] = [
    {"page": "overview", "title": "Overview", "support": "computed", "note": "5 findings"},
    {
        "page": "evidence",
        "title": "Evidence",
        "support": "measured",
        "note": "11 items, 1 changed",
        "results": False,
    },
    {"page": "claims", "title": "Claims", "support": "claimed", "note": "3 of 5 contradict"},
    {"page": "budget", "title": "Budget", "support": "computed", "note": "tied to 7 passes"},
    {"page": "map", "title": "Aero map", "support": "computed", "note": "cliff inside the range"},
    {"page": "states", "title": "States", "support": "computed", "note": "2 states"},
    {"page": "words", "title": "Words", "support": "assumed", "note": "a page without a form"},
    {
        "page": "runs",
        "title": "Runs",
        "support": "none",
        "note": "last run 6.2 s",
        "results": False,
    },
]

EVIDENCE: list[dict[str, Any]] = [
    {
        "id": f"E{n}",
        "title": title,
        "kind": kind,
        "file": f"evidence/{file}",
        "digest": f"{(n * 2654435761) % 2**32:08x}{(n * 40503) % 2**32:08x}",
        "day": day,
        "state": state,
        "used_by": [{"name": n, "why": n} if n.startswith("C") else n for n in used],
        "note": note,
    }
    for n, (title, kind, file, day, state, used, note) in enumerate(
        [
            ("Side, long lens", "photo", "side.jpg", "2026-09-04", "registered",
             ["wing.span", "rear.ride_height", "wheelbase"], "300 mm lens, 40 m away"),
            ("Front three-quarter", "photo", "front34.jpg", "2026-09-04", "registered",
             ["splitter.length"], "wide lens, 2 % barrel distortion removed"),
            ("Rear three-quarter", "photo", "rear34.jpg", "2026-09-04", "registered",
             ["diffuser.exit", "wing.height"], ""),
            ("Underside on the lift", "photo", "under.jpg", "2026-09-05", "registered",
             ["floor.length"], ""),
            ("Arch slots", "photo", "arch.jpg", "2026-09-05", "changed",
             ["cooling.exit_area", "C5"], "file differs from the one registered"),
            ("Bonnet", "photo", "bonnet.jpg", "2026-09-05", "registered", [], ""),
            ("Brochure page", "paper", "brochure.pdf", "2024-03-01", "registered",
             ["C1", "C2", "C3", "C4", "C5"], "previous supplier"),
            ("Setup sheet", "photo", "setup.jpg", "2026-08-29", "registered",
             ["static.front", "static.rear"], "taken without driver"),
            ("Rules, two pages", "paper", "rules.pdf", "2026-01-10", "missing",
             ["splitter.limit"], "file not found in the project folder"),
            ("Test day", "log", "passes.csv", "2026-09-11", "registered",
             ["M1", "M2", "M3", "M4", "M5", "M6", "M7"], "pots zeroed without driver; repaired"),
            ("Driver's notes", "text", "notes.txt", "2026-09-11", "not a file", [],
             "written down by hand"),
        ],
        start=1,
    )
]  # fmt: skip


def claims() -> list[dict[str, Any]]:
    """Return the five demo claims, weighed."""
    return [
        {
            "id": "C1",
            "said": "rear wing 260 kg at 160 km/h",
            "by": "brochure p. 2, the previous supplier",
            "verdict": "contradicts",
            "because": "needs Cz 4.13 on its own area; one element of aspect ratio 5.7 reaches "
            "1.9 at most",
            "equation": "F = ½ ρ V² · CzS(wing)",
            "working": [
                "F = 260 kgf = 2550 N",
                "V = 160 km/h = 44.4 m/s, ρ = 1.225 kg/m³, q = 1210 Pa",
                "CzS = F/q = 2.11 m²",
                "Cz = CzS / (1.70 m × 0.30 m) = 4.13",
            ],
            "implied": [
                {"label": "CzS of the wing", "number": number((2.0, 2.11, 2.2), "m²", "claimed",
                                                              why="claim.C1.area")},
                {"label": "Cz on its own area", "number": number((3.9, 4.13, 4.35), "", "claimed",
                                                                 why="claim.C1.cz")},
            ],
            "bounds": [
                {"label": "one element, aspect ratio 5.7", "number": number((1.6, 1.75, 1.9), "",
                 "published", why="bound.wing"), "ok": False},
                {"label": "more than nothing", "number": number((0, 0, 0), "", "assumed"),
                 "ok": True},
            ],
            "slips": [
                {"label": "mph written as km/h", "odds": 0.55, "reading": "260 kg at 160 mph",
                 "number": number((1.52, 1.60, 1.68), "", "claimed", why="claim.C1.slip.mph")},
                {"label": "lb written as kg", "odds": 0.38, "reading": "260 lb at 160 km/h",
                 "number": number((1.78, 1.87, 1.96), "", "claimed", why="claim.C1.slip.lb")},
                {"label": "whole car, not the wing", "odds": 0.07, "reading": "car 260 kg at 160 "
                 "km/h", "number": number((1.98, 2.11, 2.24), "m²", "claimed")},
            ],
            "ask": "At which speed and in which unit was the wing's 260 measured, and on which "
            "scale?",
            "why": "claim.C1",
        },
        {
            "id": "C2",
            "said": "car 310 kg at 180 km/h and 600 kg at 240 km/h",
            "by": "brochure p. 2",
            "verdict": "contradicts",
            "because": "CzS would rise from 1.99 to 2.16 m² with speed; the passes show it falling "
            "from 1.63 to 1.39 m²",
            "equation": "F = ½ ρ V² · (CzSf + CzSr)",
            "working": ["310 kgf at 180 km/h: CzS = 1.99 m²", "600 kgf at 240 km/h: CzS = 2.16 m²"],
            "implied": [
                {"label": "CzS at 180 km/h", "number": number((1.9, 1.99, 2.08), "m²", "claimed",
                                                              why="claim.C2.180")},
                {"label": "CzS at 240 km/h", "number": number((2.07, 2.16, 2.25), "m²", "claimed",
                                                              why="claim.C2.240")},
            ],
            "bounds": [
                {"label": "coupe with flat floor", "number": number((1.0, 1.6, 2.4), "m²",
                 "published", why="bound.coupe"), "ok": True}
            ],
            "slips": [],
            "ask": "Were both figures measured, or was one scaled from the other?",
            "why": "claim.C2",
        },
        {
            "id": "C3",
            "said": "Cd 0.38, top speed 272 km/h",
            "by": "brochure p. 3",
            "verdict": "contradicts",
            "because": "CxS 0.775 m² would reach about 310 km/h on this power; 272 km/h needs "
            "1.17 m²",
            "equation": "P η = ½ ρ V³ · CxS + Crr m g V",
            "working": ["CxS = 0.38 × 2.04 m² = 0.775 m²", "P η = 355 kW × 0.89 = 316 kW",
                        "V for CxS 0.775: 310 km/h", "CxS for 272 km/h: 1.17 m²"],
            "implied": [
                {"label": "CxS from Cd", "number": number((0.74, 0.775, 0.81), "m²", "claimed",
                                                          why="claim.C3.drag")},
                {"label": "CxS from top speed", "number": number((1.08, 1.17, 1.26), "m²",
                                                                 "claimed", why="claim.C3.top")},
            ],
            "bounds": [],
            "slips": [{"label": "road car's Cd, before the kit", "odds": 0.6, "reading": "Cd 0.38 "
                       "without splitter and wing", "number": number((0.74, 0.775, 0.81), "m²",
                                                                      "claimed")}],
            "ask": "Was Cd 0.38 measured with the wing and splitter on?",
            "why": "claim.C3",
        },
        {
            "id": "C4",
            "said": "balance 43 % front, constant",
            "by": "brochure p. 2",
            "verdict": "contradicts",
            "because": "the passes give 39 to 49 % between 140 and 240 km/h",
            "equation": "%F = CzSf / (CzSf + CzSr)",
            "working": ["140 km/h: 39.3 %", "240 km/h: 49.5 %"],
            "implied": [{"label": "front share", "number": number((42, 43, 44), "%", "claimed",
                                                                  why="claim.C4")}],
            "bounds": [],
            "slips": [],
            "ask": "At which speed was 43 % found?",
            "why": "claim.C4",
        },
        {
            "id": "C5",
            "said": "front cooler exit 0.090 m²",
            "by": "brochure p. 4",
            "verdict": "needs an assumption",
            "because": "holds only if the gross louvre area was counted; net slots are 0.056 m²",
            "equation": "A(net) = A(gross) · open share",
            "working": ["arch photo, 14 slots: 0.056 m² ± 6 %"],
            "implied": [{"label": "exit area", "number": number((0.085, 0.09, 0.095), "m²",
                                                                "claimed", why="claim.C5")}],
            "bounds": [],
            "slips": [{"label": "gross area for net", "odds": 0.9, "reading": "0.090 m² gross",
                       "number": number((0.053, 0.056, 0.059), "m²", "digitised")}],
            "ask": "Is 0.090 m² the louvre panel or the open area?",
            "why": "claim.C5",
        },
    ]  # fmt: skip
