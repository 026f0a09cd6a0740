"""A day against the map as it stands: where the car is no longer the one that was measured.

The agreement page asks how far the model can be believed, so it holds a day against the model
before any row narrowed it, whose ranges are wide. Once measured rows narrowed the map, another
question is open: does a new day still show that car?
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.tie import TieSettings
from tuftwork.car.trial import TrialDay
from tuftwork.quantity import format_summary, summarise
from tuftwork.study.answers import Answers
from tuftwork.study.finding import Finding
from tuftwork.study.store import Tree
from tuftwork.study.trial.shown import at_of, simple_range, tree_of, usual_version

APART = 2.0  # [-]  standard deviations from which a value is told
LEAST = 0.02  # [m²]  two points; less is not worth a day
_AXLES = ("front", "rear")
_FIRST = 1.0  # [m²]  before every gain: gains on the map of another car are worth nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Strayed:
    """One axle at one speed: what was measured, what the map says there [m²], how far apart [-]."""

    axle: str
    at: str
    measured: np.ndarray
    said: np.ndarray
    apart: float

    @property
    def miss(self) -> float:
        """Measured less map. [m²]"""
        return float(np.median(self.measured) - np.median(self.said))

    @property
    def text(self) -> str:
        """In a sentence."""
        measured, said = (format_summary(summarise(d), "area") for d in (self.measured, self.said))
        return (
            f"CzS{self.axle[0]} at {self.at}: measured {measured}, the map as it stands says {said}"
        )


def strayed(answers: Answers, day: TrialDay) -> list[Strayed]:
    """Return where a day lies apart from the narrowed map, the farthest first; none untied."""
    tree = tree_of(answers, day)
    if not answers.is_tied or "refused" in tree or kept_of(answers, day):
        return []
    key = f"strayed {day.name}"
    if key not in answers.worked_out:
        rows = tree["results"][usual_version(tree)]
        found = [one for row in rows for one in _apart(answers, row)]
        answers.worked_out[key] = sorted(found, key=lambda s: -abs(s.apart))
    kept: list[Strayed] = answers.worked_out[key]
    return kept


def kept_of(answers: Answers, day: TrialDay) -> bool:
    """Return whether the map stands on this day's own results."""
    return any(m.place.startswith(f"day '{day.name}', ") for m in answers.project.measured)


def strayed_notices(answers: Answers, day: TrialDay) -> list[str]:
    """Return one sentence an axle for the page, none where the car is still the map's."""
    found = strayed(answers, day)
    worst = [next((s for s in found if s.axle == axle), None) for axle in _AXLES]
    return [f"The car is not the map's any more: {s.text}." for s in worst if s is not None]


def strayed_findings(answers: Answers, day: TrialDay) -> list[Finding]:
    """Return the finding that a day shows another car than the map."""
    found = strayed(answers, day)
    if not found:
        return []
    worst = max(found, key=lambda s: abs(s.miss))
    way = f"{abs(worst.miss) / 0.01:.0f} points {'less' if worst.miss < 0 else 'more'}"
    return [
        Finding(
            title=f"'{day.name}' shows another car than the map: {way} at the {worst.axle} axle",
            text=f"{worst.text}; {len(found)} values lie apart by more than both ranges hold. "
            "Something on the car changed, or a zero, a spring or a ride height of one day is "
            "wrong. Until that is settled map, laps and trim table are those of the earlier car.",
            verdict="contradicts", page="agreement", worth=_FIRST,
            test="The baseline at one speed, both ways, ride heights measured before and after; "
            f"then look over what loads the {worst.axle} axle: cracks, gaps, mounts, ground parts.",
        )
    ]  # fmt: skip


def _apart(answers: Answers, row: Tree) -> list[Strayed]:
    state = row["state"] if row["state"] in answers.states else answers.states[0]
    size = answers.ensemble.size
    heights = [np.resize(np.asarray(row[f"height_{axle}"], dtype=float), size) for axle in _AXLES]
    place = PlatformState(
        ride_height_front=heights[0], ride_height_rear=heights[1], speed=np.full(1, row["speed"]),
        density=np.asarray(answers.air.density).reshape(-1),
        viscosity=np.asarray(answers.air.viscosity).reshape(-1),
    )  # fmt: skip
    loads = answers.loads(state, place)
    found = []
    for axle, load in zip(_AXLES, (loads.downforce_front, loads.downforce_rear), strict=True):
        said = np.broadcast_to(load, size)
        best, doubt = simple_range(said)
        measured, own = simple_range(row[axle])
        model = TieSettings().discrepancy * abs(best)
        apart = (measured - best) / float(np.sqrt(doubt**2 + own**2 + model**2))
        if abs(apart) > APART and abs(measured - best) > LEAST:
            found.append(Strayed(axle=axle, at=at_of(row), measured=np.asarray(row[axle]),
                                 said=np.array(said), apart=apart))  # fmt: skip
    return found
