"""What the car as a system says that is worth acting on."""

import numpy as np

from tuftwork.study.answers import Answers
from tuftwork.study.car.device import devices_of
from tuftwork.study.car.motion import motion_of
from tuftwork.study.car.page import bounce_of
from tuftwork.study.finding import Finding

_KMH = 3.6
_LIKELY = 0.1  # [-] share of draws from which a bounce is worth a word


def car_findings(answers: Answers) -> list[Finding]:
    """Return findings on bouncing and on devices that stick."""
    if not answers.project.parts:
        return []
    found = _bounces(answers) if answers.has_platform else []
    return found + _sticks(answers)


def _bounces(answers: Answers) -> list[Finding]:
    base = answers.states[0]
    share = motion_of(answers, base).onset.share
    if share < _LIKELY:
        return []
    page = bounce_of(answers, base, answers.speeds[-1])
    if page["onset"] is None:
        return []
    return [
        Finding(
            title="The car may bounce by itself at speed",
            text=f"{page['text']} The floor loses load on coming lower, and late air feeds the "
            "swing. Dampers and the lag of the load decide.",
            verdict="needs an assumption",
            page="car",
            worth=0.03 * share,
            numbers=(
                page["onset"] | {"label": "starts at"},
                page["damping"] | {"label": "damping at the top speed"},
            ),
            test="Damper pots at 200 Hz through the fast speeds: look for one sharp line in heave.",
            why=page["onset"]["why"],
        )
    ]


def _sticks(answers: Answers) -> list[Finding]:
    found = []
    for device in devices_of(answers):
        worst = max(device["stuck"], key=lambda r: abs(r["share"]["best"]), default=None)
        if worst is None or abs(worst["share"]["best"]) < 2.0:
            continue
        found.append(
            Finding(
                title=f"{device['name']}: '{worst['state']}' moves the balance",
                text=f"Instead of '{worst['wanted']}' the front share changes by "
                f"{worst['share']['text']} and CzS by {worst['total']['text']}: the car feels "
                f"{worst['feels']}.",
                verdict="consistent",
                page="car",
                worth=float(np.abs(worst["total"]["best"])),
                numbers=(
                    worst["share"] | {"label": "front share moved"},
                    worst["total"] | {"label": "CzS changed"},
                ),
                test="Hold the device there at half speed on a straight and read both axles.",
                why=worst["share"]["why"],
            )
        )
    return found
