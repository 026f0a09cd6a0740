"""A lap as speed and power over even steps of time: what cooling and brakes take from it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tuftwork.car import Project
from tuftwork.cooling.heat import Duty
from tuftwork.quantity import Array
from tuftwork.study.inputs import has_platform, state_names
from tuftwork.study.lap import step_name
from tuftwork.study.store import Tree

_MINUTE = 60.0  # [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class LapHistory:
    """One lap of the car in the middle of the draws.

    Attributes
    ----------
    source
        Which lap, in words.
    time, speed : (n_time,)
        Even steps from 0 to the lap time [s]; mean of the step before [m/s].
    drive, brake : (n_time,)
        Power out of the engine at the wheels, and into the brakes, mean of the step before. [W]
    spread : (n_draw,)
        What a draw's lap brakes away over that of the car in the middle, by its top speed and the
        speeds of its corners; 1 where a draw has no lap. [-]
    """

    source: str
    time: Array
    speed: Array
    drive: Array
    brake: Array
    spread: Array

    @property
    def lap_time(self) -> float:
        """Of the lap [s]."""
        return float(self.time[-1])

    def duty(self, full_power: float) -> Duty:
        """Return the share of full power at the wheels, lap's mean and worst minute [-]."""
        share = self.drive[1:] / full_power
        count = min(len(share), max(1, round(_MINUTE / float(self.time[1]))))
        round_again = np.r_[share, share[: count - 1]]
        minutes = np.convolve(round_again, np.full(count, 1.0 / count), mode="valid")
        return Duty(
            lap_mean=min(float(share.mean()), 1.0), worst_minute=min(float(minutes.max()), 1.0)
        )


def lap_wanted(project: Project) -> tuple[str, ...]:
    """Return the names of the steps that lap the first circuit in every state; none without."""
    if project.lap is None or not project.parts or not has_platform(project):
        return ()
    circuit = project.lap.circuits[0].name
    return tuple(step_name(circuit, state) for state in state_names(project))


def lap_history(
    project: Project, results: Mapping[str, Tree], n_time: int, state: str = ""
) -> LapHistory | None:
    """Return the lap of the first circuit in a state, None where none was run.

    Energy is kept: power of a step is what the lap gives between its ends.
    """
    wanted = lap_wanted(project)
    if not wanted or project.lap is None:
        return None
    state = state or state_names(project)[0]
    circuit = project.lap.circuits[0].name
    found = results.get(step_name(circuit, state))
    if found is None or "refused" in found:
        return None
    trace = {key: np.asarray(found["trace"][key], dtype=float) for key in (
        "speed", "duration", "drive_force")}  # fmt: skip
    passed = np.r_[0.0, np.cumsum(trace["duration"])]
    way = trace["speed"] * trace["duration"]
    time = np.linspace(0.0, passed[-1], n_time)

    def rate(total: Array) -> Array:
        upto = np.interp(time, passed, np.r_[0.0, np.cumsum(total)])
        each = np.diff(upto) / np.diff(time)
        return np.asarray(np.r_[each[0], each])

    force = trace["drive_force"]
    return LapHistory(
        source=f"lap of {circuit}, {state}", time=time, speed=rate(way),
        drive=rate(np.maximum(force, 0.0) * way), brake=rate(np.maximum(-force, 0.0) * way),
        spread=_spread(found),
    )  # fmt: skip


def _spread(found: Tree) -> Array:
    top, corner = (np.asarray(found[key], dtype=float) for key in ("top_speed", "corner_speed"))
    lost = top**2 - np.mean(corner**2, axis=0)
    return np.asarray(np.where(np.isfinite(lost), lost / np.nanmedian(lost), 1.0))


def duty_driven(project: Project, results: Mapping[str, Tree]) -> tuple[Duty, str] | None:
    """Return the duty of the lap with its source, None without a lap or the car's power."""
    history = lap_history(project, results, 400)
    if history is None or project.car.power is None:
        return None
    drive = project.car.driveline
    full = project.car.power.best * (drive.best if drive is not None else 1.0)
    return history.duty(full), history.source
