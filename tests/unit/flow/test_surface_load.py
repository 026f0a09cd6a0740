"""Loads by the pressure on the surfaces, against what a given pressure has to give."""

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.flow.brick import FINER, prepared_brick

from tuftwork.flow import FlowResult, StopRule, run
from tuftwork.flow.engine import lever
from tuftwork.flow.surface_load import said_of_books, surface_loads


@pytest.fixture(scope="module", params=["one box", "finer cells"])
def result(request: pytest.FixtureRequest) -> FlowResult:
    prepared = prepared_brick(zones=FINER if request.param == "finer cells" else (), cell=0.05)
    return run(prepared, rule=StopRule(error=1e-9, settle=0.5, longest=1.5))


def with_pressure(result: FlowResult, slope: np.ndarray, level: float = 0.0) -> FlowResult:
    """Give every wall cell the pressure coefficient ``level`` + ``slope`` · place; no friction."""
    prepared = result.prepared
    place = prepared.case.cell * lever(prepared.setup) + np.array(prepared.origin)[:, None]
    rows = np.zeros_like(result.wall_rows)
    u = prepared.case.lattice_speed
    rows[3] = 1.5 * u * u * (level + slope @ place)
    boxes = tuple(with_pressure(b, slope, level) for b in result.boxes)
    return replace(result, wall_rows=rows, boxes=boxes)


@pytest.mark.parametrize("slope", [(2.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.5)])
def test_a_pressure_that_grows_evenly_pushes_by_slope_times_volume(
    result: FlowResult, slope: tuple[float, float, float]
) -> None:
    # Archimedes; the pressure is taken where the cells' feet lie, half a cell from the edges
    (load,) = surface_loads(with_pressure(result, np.array(slope)))
    found = np.array([load.drag_area, load.side_area, -load.downforce_area])
    np.testing.assert_allclose(found, -0.5 * 0.3 * 0.3 * np.array(slope), rtol=0.1, atol=1e-3)
    assert load.wetted == 1.0


def test_an_even_pressure_does_not_push(result: FlowResult) -> None:
    (load,) = surface_loads(with_pressure(result, np.zeros(3), level=1.0))
    found = [load.drag_area, load.side_area, load.downforce_area, load.friction_drag_area]
    np.testing.assert_allclose(found, 0.0, atol=1e-9)


def test_friction_is_that_of_the_wall_law(result: FlowResult) -> None:
    (load,) = surface_loads(result)
    assert load.friction_drag_area == pytest.approx(result.parts[0].friction_drag_area, rel=1e-9)
    # on a coarse brick both books say the same within what the gap can be
    assert load.drag_area == pytest.approx(result.parts[0].drag_area, rel=0.5)


def test_both_books_are_told(result: FlowResult) -> None:
    (text,) = said_of_books(result)
    (load,) = surface_loads(result)
    assert f"are {load.drag_area:.3g} and {load.downforce_area:.3g} m²" in text
    assert f"{result.drag_area.mean:.3g} and {result.downforce_area.mean:.3g} m²" in text
