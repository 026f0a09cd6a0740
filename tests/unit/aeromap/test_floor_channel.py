"""A floor with a channel table among its neighbours: whose ranges are drawn, who knows whom."""

from typing import Any

import numpy as np
import pytest
from tests.unit.aeromap import halyard

from tuftwork.aeromap.part import draws_of, part_models, project_inputs
from tuftwork.car import Floor, FloorChannel, Project
from tuftwork.errors import InputError
from tuftwork.quantity import draw_ensemble

BLOCK = {"inner": "0.55 m", "outer": "0.76 m", "share": "0.6", "loss": "0.4"}


def with_channel(model: dict[str, str] | None = None, **channel: Any) -> Project:
    project = halyard.project()
    parts = [
        p.with_values({"channel": FloorChannel.model_validate(channel), "model": model or {}})
        if isinstance(p, Floor) else p
        for p in project.parts
    ]  # fmt: skip
    return project.model_copy(update={"parts": tuple(parts)})


def test_ranges_of_the_channel_table_enter_the_ensemble() -> None:
    project = with_channel(
        edge_loss="0.3 ± 0.1", discharge="0.45 ± 0.05", base_pressure="-0.25 ± 0.02"
    )
    inputs = project_inputs(project)
    models = part_models(project)
    draws = draws_of(models, draw_ensemble(inputs, size=256))
    said = {"mixing": (0.2, 0.4), "discharge": (0.4, 0.5), "base_pressure": (-0.27, -0.23)}
    for name, ends in said.items():
        found = np.quantile(draws[f"floor.model.{name}"], [0.1, 0.9])
        np.testing.assert_allclose(found, ends, atol=0.012)


def test_a_number_given_twice_is_refused_and_a_limit_is_kept() -> None:
    with pytest.raises(InputError, match=r"floor\.model\.mixing.*edge_loss"):
        part_models(with_channel(model={"mixing": "0.4 ± 0.1"}, edge_loss="0.3 ± 0.1"))
    with pytest.raises(ValueError, match="must be at most 1"):
        with_channel(discharge="1.4 ± 0.1")


@pytest.mark.parametrize(
    ("start", "end", "is_known"),
    [("-0.2 m", "0.3 m", True), ("2.4 m", "2.6 m", False)],
)
def test_wakes_of_wheels_in_the_channel_are_not_counted_twice(
    start: str, end: str, is_known: bool
) -> None:
    project = with_channel(blocks=[BLOCK | {"start": start, "end": end}])
    names = [m.name for m in part_models(project)]
    assert ("wheels → floor" in names) is not is_known
    assert ("interaction.wheel_wake" in project_inputs(project)) is not is_known
