"""What the test days say, for the client report and the correlation memo."""

from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from tuftwork.plot.style import house_style
from tuftwork.plot.trial import Measured, agreement, before_after
from tuftwork.report.figure import PAPER
from tuftwork.study import Bench
from tuftwork.study.answers import Answers
from tuftwork.study.trial.agree import agreement_page
from tuftwork.study.trial.page import log_page, results_page
from tuftwork.study.trial.session_page import has_sessions, session_parts
from tuftwork.study.trial.shown import day_named, days_of, tree_of, usual_version
from tuftwork.study.trial.sighted import predicted


def trial_section(bench: Bench, answers: Answers, folder: Path) -> dict[str, Any] | None:
    """Return the section of the last test day, with what tunnel, taps and notes say.

    Where no day can be reported, tunnel, taps and notes stand alone; None where there is neither.

    Parameters
    ----------
    bench, answers
        The project and its results.
    folder
        Figures are drawn into it.
    """
    days = days_of(answers)
    if days and "refused" not in tree_of(answers, day_named(answers)):
        return day_document(answers, "", folder)
    if not has_sessions(answers.project):
        return None
    return {"log": None, "results": session_parts(answers)}


def day_document(answers: Answers, day: str, folder: Path) -> dict[str, Any]:
    """Return everything the documents say of a day, figures drawn."""
    one = day_named(answers, day)
    log, results = log_page(answers, one.name), results_page(answers, one.name)
    agree = agreement_page(answers, one.name)
    base = answers.states[0]
    name = usual_version(tree_of(answers, one))
    before, after = (_rows(answers, one.name, v, base) for v in ("as read", name))
    _save(before_after(before, after, theme=PAPER), folder / "trial_before_after.svg")
    said = agree["rows"] != []
    if said:
        model = _model(answers, one.name, name, base)
        _save(agreement(after, model, theme=PAPER), folder / "trial_agreement.svg")
    return {
        "log": log, "results": results, "agreement": agree, "base": base, "has_model": said,
        "captions": {
            "before_after": f"CzSr of '{base}' over the rear ride height, as the log reads and "
            "with its cures: only the second shows what the diffuser does as the car sinks.",
            "agreement": f"'{base}' before any measurement narrowed the model: bands hold 80 % of "
            "its draws, bars what was measured.",
        },
    }  # fmt: skip


def _rows(answers: Answers, day: str, version: str, state: str) -> list[Measured]:
    tree = tree_of(answers, day_named(answers, day))
    return [
        Measured(speed=r["speed"], height_rear=np.asarray(r["height_rear"]),
                 front=np.asarray(r["front"]), rear=np.asarray(r["rear"]))
        for r in tree["results"][version] if r["state"] == state
    ]  # fmt: skip


def _model(answers: Answers, day: str, version: str, state: str) -> list[Measured]:
    tree = tree_of(answers, day_named(answers, day))
    found = []
    for row in tree["results"][version]:
        if row["state"] != state:
            continue
        front, rear = predicted(answers, row)
        found.append(Measured(speed=row["speed"], height_rear=np.asarray(row["height_rear"]),
                              front=front, rear=rear))  # fmt: skip
    return found


def _save(axes: Axes, path: Path) -> None:
    figure = axes.get_figure(root=True)
    assert figure is not None
    buffer = BytesIO()
    with house_style(PAPER):
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    path.write_bytes(buffer.getvalue())
