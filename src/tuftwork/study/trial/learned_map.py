"""The aero map as a day and tunnel sessions teach it: the untouched model plus its learned bias."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tuftwork.aeromap.car_load import CarLoad, car_loads
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.map import AeroMap, build_map
from tuftwork.aeromap.part import draws_of
from tuftwork.errors import NotCovered
from tuftwork.quantity import ORIGINS
from tuftwork.study.answers import Answers
from tuftwork.study.trial.shown import day_named, days_of
from tuftwork.study.trial.sighted import WELL_KNOWN, Learned, learned_of

_SEED = 7
AXLES = ("front", "rear")


def learned_map(answers: Answers, day: str = "") -> AeroMap:
    """Return the map of all states with the bias of what was measured put in.

    The bias is learned over ride heights, against the model before any measured row narrowed it,
    and put on every state alike; drag is the study's.

    Raises
    ------
    NotCovered
        If there is no map, or nothing measured can be read.
    """
    if not answers.has_platform:
        raise NotCovered("No map: it needs parts and both axles.")
    alone = not days_of(answers) and bool(answers.project.tunnels)
    one = None if alone else day_named(answers, day)
    known = {a: f for a in AXLES if (f := learned_of(answers, one, a)) is not None}
    if len(known) < len(AXLES):
        raise NotCovered("Nothing measured could be read: no bias was learned.")
    base = answers.aero_map()
    hf, hr = np.meshgrid(base.front, base.rear, indexing="ij")
    untouched = _untouched(answers, base)
    shake = np.random.default_rng(_SEED).standard_normal((len(AXLES), base.n_draw))
    fields: dict[str, Any] = {}
    is_measured = np.ones(hf.shape, dtype=bool)
    for k, axle in enumerate(AXLES):
        bias, doubt = known[axle].field.at(hf, hr)
        said = np.median(getattr(untouched, f"downforce_{axle}"), axis=-1)
        fields[f"downforce_{axle}"] = (said + bias)[..., None] + doubt[..., None] * shake[k]
        is_measured &= _measured(known[axle], hf, hr)
    origin = np.where(is_measured, ORIGINS.index("measured"), ORIGINS.index("computed"))
    source = one.name if one is not None else "tunnel sessions"
    return replace(
        base, **fields, origin=np.broadcast_to(origin, base.origin.shape).copy(),
        notices=(*base.notices, f"The bias learned from {source} is put on every state alike; drag "
                 "is the study's."),
        header=replace(base.header, method=f"part engines, with the bias learned from {source}"),
    )  # fmt: skip


def write_learned_map(answers: Answers, path: Path, day: str = "") -> str:
    """Write the learned map as netCDF and return its path."""
    from tuftwork.files.map import write_map
    from tuftwork.study.survey_header import full_header

    made = learned_map(answers, day)
    header = replace(full_header(answers, made.header), method=made.header.method)
    return str(write_map(path, replace(made, header=header)))


def _untouched(answers: Answers, base: AeroMap) -> AeroMap:
    """Return the map by the draws before any measured row narrowed them."""
    prior = answers.job.ensemble(answers.results["draws"])

    def load_of(state: str) -> Callable[[PlatformState], CarLoad]:
        models = answers.models(state)
        draws = draws_of(models, prior)
        return lambda platform: car_loads(models, platform, draws)

    return build_map(
        {state: load_of(state) for state in base.states}, front=base.front, rear=base.rear,
        air=base.air,
    )  # fmt: skip


def _measured(learned: Learned, hf: np.ndarray, hr: np.ndarray) -> np.ndarray:
    return np.asarray(learned.source(hf, hr, WELL_KNOWN) != "model")
