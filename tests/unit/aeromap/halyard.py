"""The demo car as a project, the loads that were invented for it, and shorthand for tests."""

import tomllib
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import numpy as np

from tuftwork.aeromap.interface import PartModel, PlatformState
from tuftwork.aeromap.part import part_models, project_inputs, quickened
from tuftwork.aeromap.tie import Sighting, Tied, tie
from tuftwork.car import Measured, Project
from tuftwork.quantity import Ensemble, draw_ensemble

DENSITY, VISCOSITY = 1.18, 1.83e-5  # [kg/m³], [Pa s]
TRUTH = (
    # km/h, hf mm, hr mm, CzSf, CzSr, CxS: the demo's own table of invented loads
    (140, 53.0, 63.7, 0.639, 0.987, 0.895),
    (180, 49.2, 59.3, 0.673, 0.956, 0.900),
    (200, 47.2, 58.0, 0.673, 0.858, 0.906),
    (220, 44.9, 57.0, 0.675, 0.765, 0.911),
    (240, 42.1, 55.7, 0.687, 0.702, 0.914),
)


@cache
def project() -> Project:
    """Return the demo project without measured rows, its parts answered by their closed forms."""
    text = files("tuftwork.demo").joinpath("halyard.toml").read_text(encoding="utf-8")
    tree = tomllib.loads(text)
    for part in tree["parts"]:
        part.pop("channel", None)
    return Project.model_validate(tree)


def measured(share: float = 0.03) -> tuple[Measured, ...]:
    """Return the truth table as measured rows with a range of ± ``share`` [-]."""
    arm = f"{100 * share:g} %"
    return tuple(
        Measured.model_validate(
            {
                "id": f"M{number}",
                "speed": f"{speed} km/h",
                "ride_height_front": f"{hf} mm ± 0.4 mm",
                "ride_height_rear": f"{hr} mm ± 0.4 mm",
                "downforce_front": f"{front} m^2 ± {arm}",
                "downforce_rear": f"{rear} m^2 ± {arm}",
                "drag": f"{drag} m^2 ± {arm}",
            }
        )
        for number, (speed, hf, hr, front, rear, drag) in enumerate(TRUTH, 1)
    )


def platform(
    front_mm: float | np.ndarray, rear_mm: float | np.ndarray, speed_kmh: float
) -> PlatformState:
    """Return a platform state from ride heights in mm and a speed in km/h."""
    return PlatformState(
        ride_height_front=np.atleast_1d(np.asarray(front_mm, dtype=float)) * 1e-3,
        ride_height_rear=np.atleast_1d(np.asarray(rear_mm, dtype=float)) * 1e-3,
        speed=np.array([speed_kmh / 3.6]),
        density=np.array([DENSITY]),
        viscosity=np.array([VISCOSITY]),
    )


@cache
def prior() -> Ensemble:
    """Return the draws of all inputs before anything was measured."""
    return draw_ensemble(project_inputs(project()))


@cache
def quick_models() -> tuple[PartModel, ...]:
    """Return the models as a study ties them: the air net behind its response surface."""
    return quickened(part_models(project()), DENSITY)


def sightings_of_rows(rows: Sequence[Measured]) -> tuple[Sighting, ...]:
    """Return rows with the models that a study ties."""
    return tuple(
        Sighting(measured=row, models=quick_models(), density=DENSITY, viscosity=VISCOSITY)
        for row in rows
    )


@cache
def sightings(share: float = 0.03) -> tuple[Sighting, ...]:
    """Return the measured rows with their models."""
    return sightings_of_rows(measured(share))


@cache
def tied() -> Tied:
    """Return the ensemble once the truth table was measured, ± 3 %."""
    return tie(sightings(), prior())
