"""Slopes by hand are the slopes of the plan's residuals, wherever a term can stand."""

import numpy as np
import pytest

from tuftwork.floor import Block, FloorClosure, FloorShape, Stand, Strake, Strip, solve_line
from tuftwork.floor.plan_grid import plan_grid
from tuftwork.floor.plan_kernel import residuals
from tuftwork.floor.plan_slope import slopes

RAMP = ((-0.3, 0.0), (2.0, 0.0), (3.0, 0.15))
SHAPE = FloorShape(
    width=1.5, front=-0.3, exit=3.0, profile=((-0.3, 0.0), (3.0, 0.0)), tail=2.0,
    strips=(Strip(inner=0.0, outer=0.5, profile=RAMP),
            Strip(inner=0.0, outer=0.2, profile=((-0.3, -0.01), (3.0, 0.1)), has_walls=False)),
    strakes=(Strake(start=0.2, end=1.5, offset=0.4, gap=0.3),),
    blocks=(Block(start=-0.1, end=0.3, inner=0.5, outer=0.7, share=0.4, loss=0.5),),
)  # fmt: skip
CLOSURE = FloorClosure(outside=((0.0, -0.1), (2.0, 0.1)), inlet_loss=0.1)


@pytest.mark.parametrize("roll", [0.0, 0.01])
def test_slopes_by_hand_are_those_of_differences(roll: float) -> None:
    stand = Stand(front=0.05, rear=0.06, wheelbase=2.6, roll=roll)
    grid = plan_grid(SHAPE, stand, CLOSURE, solve_line(SHAPE, stand, CLOSURE), n_x=12, n_y=4)
    nx, ny = grid.active.shape
    n = 3 * ny + 1
    rng = np.random.default_rng(4)
    # any state will do: flow both ways through every kind of face
    state = [
        1.0 + 0.5 * rng.normal(size=(nx + 1, ny)),
        0.2 * rng.normal(size=(nx, ny + 1)),
        -0.3 + 0.2 * rng.normal(size=(nx, ny)),
    ]
    g = (grid.depth_u, grid.depth_v, grid.barrier, grid.active, grid.outside, np.diff(grid.x),
         np.diff(grid.y), grid.loss, grid.left, grid.right,
         np.zeros((3, nx + 1, ny + 1)))  # fmt: skip
    par = np.array([0.5, 0.1, 0.47, 0.1, -0.1, 0.003, 1e-3])
    size = nx * n + ny
    band = np.empty((3 * n + 1, size), order="F")
    slopes(*state, g, par, band)
    by_hand = np.zeros((size, size))
    for col in range(size):
        for row in range(max(0, col - n), min(size, col + n + 1)):
            by_hand[row, col] = band[2 * n + row - col, col]
    below, above = np.empty(size), np.empty(size)
    for col in range(size):
        station, local = divmod(col, n)
        kind = 0 if local < ny else (1 if local < 2 * ny + 1 else 2)
        at = (station, local - (0, ny, 2 * ny + 1)[kind])
        keep, step = state[kind][at], 1e-6
        for sign, out in ((-1.0, below), (1.0, above)):
            state[kind][at] = keep + sign * step
            residuals(*state, g, par, out)
        state[kind][at] = keep
        seen = (above - below) / (2 * step)
        np.testing.assert_allclose(by_hand[:, col], seen, rtol=2e-5, atol=2e-5)
