"""Measured results of days and tunnel sessions against the model before it saw any."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from tuftwork.aeromap.budget import car_loads
from tuftwork.aeromap.interface import PlatformState
from tuftwork.aeromap.part import draws_of as part_draws
from tuftwork.car.trial import TrialDay
from tuftwork.study.answers import Answers
from tuftwork.study.store import Tree
from tuftwork.study.trial.session_page import tunnel_tree
from tuftwork.study.trial.shown import KMH, simple_range, tree_of, usual_version
from tuftwork.trial.agreement import BiasField, Sighting, learn_bias

WELL_KNOWN = 0.5
"""Share of the prior doubt a test must remove for a cell to be called measured [-]."""


def covariance_of(tree: Tree, axle: str) -> np.ndarray:
    """Return how the measured results of an axle move together, draw by draw. [m⁴]"""
    rows = [np.asarray(r[axle]) for r in tree["results"][usual_version(tree)]]
    return np.atleast_2d(np.cov(np.stack(rows)))


def _prior(answers: Answers) -> Any:
    """Return the ensemble before any measured row narrowed it."""
    return answers.job.ensemble(answers.results["draws"])


def predicted(answers: Answers, row: Tree) -> tuple[np.ndarray, np.ndarray]:
    """Return what the untouched model says for a result, at the heights it was measured at. [m²]"""
    front, rear = (float(np.median(row[f"height_{axle}"])) for axle in ("front", "rear"))
    key = f"predicted {row['state']} {row['speed']:.3f} {front:.7f} {rear:.7f}"
    if key not in answers.worked_out:
        models = answers.models(row["state"] if row["state"] in answers.states else "")
        ensemble = _prior(answers)
        air = answers.job.air(ensemble)
        size = ensemble.size
        place = PlatformState(
            ride_height_front=np.full(size, front),
            ride_height_rear=np.full(size, rear),
            speed=np.full(1, row["speed"]),
            density=np.asarray(air.density).reshape(-1),
            viscosity=np.asarray(air.viscosity).reshape(-1),
        )
        loads = car_loads(models, place, part_draws(models, ensemble))
        answers.worked_out[key] = (
            np.broadcast_to(loads.downforce_front, size).copy(),
            np.broadcast_to(loads.downforce_rear, size).copy(),
        )
    kept: tuple[np.ndarray, np.ndarray] = answers.worked_out[key]
    return kept


def sightings_of(answers: Answers, day: TrialDay, axle: str) -> list[Sighting]:
    """Return every measured result of a day against the model before it saw any."""
    tree = tree_of(answers, day)
    found = []
    for row in tree["results"][usual_version(tree)]:
        front, rear = predicted(answers, row)
        said, doubt = simple_range(front if axle == "front" else rear)
        measured, own = simple_range(row[axle])
        found.append(
            Sighting(
                name=f"CzS{axle[0]}, {row['speed'] * KMH:.0f} km/h, {row['state']}",
                height_front=float(np.median(row["height_front"])),
                height_rear=float(np.median(row["height_rear"])),
                measured=measured, measured_doubt=own, predicted=said, predicted_doubt=doubt,
            )
        )  # fmt: skip
    return found


def tunnel_sightings(answers: Answers, axle: str) -> tuple[list[Sighting], list[np.ndarray]]:
    """Return every tunnel result of an axle against the model, and its draws."""
    found, draws = [], []
    for one in answers.project.tunnels:
        tree = tunnel_tree(answers, one)
        for row in tree.get("rows", []):
            front, rear = predicted(answers, row)
            said, doubt = simple_range(front if axle == "front" else rear)
            values = np.asarray(row[axle])
            measured, own = simple_range(values)
            hf, hr = (float(np.median(row[f"height_{a}"])) for a in ("front", "rear"))
            found.append(
                Sighting(
                    name=f"CzS{axle[0]}, tunnel '{one.name}', hf {1e3 * hf:.0f}, hr "
                    f"{1e3 * hr:.0f} mm, {row['state']}",
                    height_front=hf, height_rear=hr, measured=measured, measured_doubt=own,
                    predicted=said, predicted_doubt=doubt,
                )
            )  # fmt: skip
            draws.append(values)
    return found, draws


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What was learned of one axle.

    Attributes
    ----------
    sightings
        Everything measured, the day's first.
    field
        The bias by all of it.
    track
        The bias by the day alone, None without one.
    """

    sightings: list[Sighting]
    field: BiasField
    track: BiasField | None

    def source(self, front: Any, rear: Any, least: float) -> np.ndarray:
        """Return track, tunnel or model: what took so much of the doubt away at ride heights."""
        everything = self.field.support(front, rear) > least
        own = np.zeros_like(everything) if self.track is None else (
            self.track.support(front, rear) > least)  # fmt: skip
        return np.where(own, "track", np.where(everything, "tunnel", "model"))


def learned_of(answers: Answers, day: TrialDay | None, axle: str) -> Learned | None:
    """Return what day and tunnel sessions teach of an axle, None where nothing was measured."""
    own: list[Sighting] = []
    blocks: list[np.ndarray] = []
    track = None
    if day is not None:
        own = sightings_of(answers, day, axle)
        blocks.append(covariance_of(tree_of(answers, day), axle))
        track = learn_bias(own, covariance=blocks[0])
    more, draws = tunnel_sightings(answers, axle)
    if more:
        blocks.append(np.atleast_2d(np.cov(np.stack(draws))))
    if not own and not more:
        return None
    size = sum(b.shape[0] for b in blocks)
    covariance = np.zeros((size, size))
    place = 0
    for block in blocks:
        end = place + block.shape[0]
        covariance[place:end, place:end] = block
        place = end
    field = (
        track
        if track is not None and not more
        else learn_bias([*own, *more], covariance=covariance)
    )
    return Learned(sightings=[*own, *more], field=field, track=track)
