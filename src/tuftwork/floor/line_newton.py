"""Newton's method for the width-averaged channel, and its way in from a level one."""

import numpy as np

from tuftwork.floor.line_kernel import N_UNKNOWN, all_residuals, banded_solve, jacobian
from tuftwork.quantity import Array

_DONE = 1e-9  # [-] root mean square of the scaled residuals
_ROUNDED = 1e-7  # [-] residual that counts where no step makes it less
_LEAST_DEPTH = 0.02  # [-] of the gap that the layer must leave while iterating
_FIRST, _LATER = 0.34, 1.6  # first step of the ramp's growth, and how steps grow


def newton_line(
    z: Array, geo: Array, dx: Array, par: Array, ends: Array, limit: int, values: Array
) -> tuple[float, int]:
    """Solve from ``z`` in place; return residual and iterations (negative: not converged)."""
    n = z.shape[0]
    res, trial_res = np.empty(N_UNKNOWN * n), np.empty(N_UNKNOWN * n)
    band = np.empty((N_UNKNOWN * n, 27))
    scale = np.array([1e-3, 1e-2, geo[0, 0] * geo[0, 1], 1.0, 1.0, 1e-3])
    size = all_residuals(z, geo, dx, par, ends, scale, values, res)
    for it in range(limit):
        if size < _DONE:
            return size, it
        jacobian(z, geo, dx, par, ends, scale, values, band)
        step = -res
        if not banded_solve(band, step, 10, 6):
            return size, -it - 1
        move = step.reshape(n, N_UNKNOWN)
        share = allowed_step(z, move)
        for _ in range(12):
            trial = z + share * move
            # thickness and shape factor keep a third of their room: each place for itself
            np.maximum(trial[:, 0], 0.3 * z[:, 0], out=trial[:, 0])
            np.maximum(trial[:, 1], 0.7 + 0.3 * z[:, 1], out=trial[:, 1])
            # thicknesses, shape factor and the core's depth stay positive
            left = geo[:, 0] - trial[:, 0] * trial[:, 1] - trial[:, 5]
            if np.all(left >= _LEAST_DEPTH * geo[:, 0]):
                fresh = all_residuals(trial, geo, dx, par, ends, scale, values, trial_res)
                if fresh < (1.0 - 0.1 * share) * size or fresh < _DONE:
                    break
            share *= 0.5
        else:
            # a step too small to tell from rounding is an end, not a failure
            return size, it if size < _ROUNDED else -it - 1
        z[:, :] = trial
        res, trial_res, size = trial_res, res, fresh
    return size, -limit


def allowed_step(z: Array, move: Array) -> float:
    """Return the share of a step that leaves thickness above 0 and the shape factor above 1."""
    room = np.maximum(z[:, :2] - np.array([0.0, 1.0]), 1e-9)
    high = float((move[:, :2] / room).max())
    return min(1.0, 2.0 / max(high, 2.0))


def continued(
    z: Array, geo: Array, dx: Array, par: Array, ends: Array, values: Array
) -> tuple[float, int]:
    """Grow the ramp from a level channel to its shape; return as :func:`newton_line` does."""
    level = float(np.median(geo[:, 0]))
    now, kept = geo.copy(), z.copy()
    done, step, total, is_first = 0.0, _FIRST, 0, True
    while True:
        want = 0.0 if is_first else min(done + step, 1.0)
        now[:, 0] = level + want * (geo[:, 0] - level)
        now[:, 5] = want * geo[:, 5]
        size, count = newton_line(z, now, dx, par, ends, 60, values)
        total += abs(count)
        if count >= 0:
            kept[:, :] = z
            if want >= 1.0:
                return size, total
            done, step, is_first = want, _FIRST if is_first else step * _LATER, False
        elif is_first or step < 2.5e-3:
            return size, -max(total, 1)
        else:
            z[:, :] = kept
            step *= 0.4
