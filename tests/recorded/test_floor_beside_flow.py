"""The floor's engine beside recorded runs of the 3-D lattice flow on the diffuser body.

Neither is a measurement: both are this package's own, made from different equations. Compared is
what the level floor and the ramp carry from 0.2 m behind the nose on, whose rounding is not in the
engine; the budget is the engine's own word on its level, 25 %.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tuftwork.floor import FloorClosure, Stand, plane_diffuser, solve_line

LINES = Path(__file__).parent / "data" / "flow_diffuser_pressure.csv"
HALF, FIRST, KICK, LAST = 0.157, 0.2, 0.775, 1.315  # [m]
CLOSURE = FloorClosure(inlet_thickness=1e-3, reynolds=20 / 1.5e-5)
LEVEL = 0.25
PLACE = 0.05 * LAST
"""Budget of the place of the load: a twentieth of the body, common practice, no source. [m]"""


@cache
def recorded() -> np.ndarray:
    return np.genfromtxt(
        (line for line in LINES.read_text("utf-8").splitlines() if not line.startswith("#")),
        delimiter=",", names=True, deletechars="",
    )  # fmt: skip


def carried(x: np.ndarray, pressure: np.ndarray) -> tuple[float, float]:
    """Load and its place. [m²], [m]."""
    g = np.linspace(FIRST, LAST, 2001)
    suction = -np.interp(g, x, pressure)
    load = float(np.trapezoid(suction, g) * 2 * HALF)
    return load, float(np.trapezoid(suction * g, g) * 2 * HALF / load)


@cache
def both(
    angle: int, height: float, cells: str = "mean"
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Load and place of the engine, and of the 3-D flow."""
    floor = plane_diffuser(width=2 * HALF, front=0.0, kick=KICK, exit=LAST, angle=np.radians(angle))
    stand = Stand(front=height * HALF, rear=height * HALF, wheelbase=1.0)
    ours = solve_line(floor, stand, CLOSURE)
    rows = recorded()
    return carried(ours.x, ours.pressure), carried(rows["x"], rows[f"{cells}_{angle}_{height:g}"])


def held(angle: int, height: float, miss: str = "") -> object:
    marks = [pytest.mark.xfail(strict=True, reason=f"miss: {miss}")] if miss else []
    return pytest.param(angle, height, marks=marks, id=f"{angle} deg, {height:g}")


@pytest.mark.parametrize(
    ("angle", "height"),
    [
        held(17, 0.7, "0.64 of the 3-D load"), held(17, 0.5), held(17, 0.38), held(17, 0.3),
        held(17, 0.22), held(17, 0.19), held(17, 0.16), held(17, 0.1),
        held(10, 0.38), held(10, 0.22),
    ],
)  # fmt: skip
def test_engine_and_flow_agree_on_the_level(angle: int, height: float) -> None:
    engine, flow = both(angle, height)
    assert engine[0] == pytest.approx(flow[0], rel=LEVEL)


@pytest.mark.parametrize(
    ("angle", "height"),
    [
        held(17, 0.7, "0.22 m too far back"), held(17, 0.5, "0.20 m"), held(17, 0.38, "0.17 m"),
        held(17, 0.3, "0.14 m"), held(17, 0.22, "0.10 m"), held(17, 0.19, "0.068 m"),
        held(17, 0.16), held(17, 0.1), held(10, 0.38, "0.25 m"), held(10, 0.22, "0.16 m"),
    ],
)  # fmt: skip
def test_engine_and_flow_agree_on_the_place(angle: int, height: float) -> None:
    engine, flow = both(angle, height)
    assert abs(engine[1] - flow[1]) <= PLACE


FINE_MISS = pytest.mark.xfail(strict=True, reason="miss: 0.71 of the 3-D load")


@pytest.mark.parametrize("height", [pytest.param(0.16, marks=FINE_MISS), 0.1])
def test_engine_and_flow_agree_on_the_level_with_2_mm_cells_under_the_floor(height: float) -> None:
    engine, flow = both(17, height, "fine")
    assert engine[0] == pytest.approx(flow[0], rel=LEVEL)


def test_engine_and_flow_agree_that_the_load_peaks_near_a_fifth() -> None:
    heights = (0.7, 0.5, 0.38, 0.3, 0.22, 0.19, 0.16, 0.1)
    engine, flow = zip(*(both(17, h) for h in heights), strict=True)
    peaks = [heights[int(np.argmax([row[0] for row in side]))] for side in (engine, flow)]
    assert abs(peaks[0] - peaks[1]) <= 0.05
