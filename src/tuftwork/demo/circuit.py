"""The demo's second circuit as a client would bring it: a line traced from a picture. Invented."""

import numpy as np

SEED = 20261
_RADIUS = 560.0  # [m]
_BENDS = ((2, 0.28, 0.4), (3, 0.16, 2.1), (5, 0.055, 0.9), (7, 0.024, 4.0))
"""Lobes around the loop, their size over the radius and where they lie [rad]."""
_SPACING = 6.0  # [m] between traced points
_NOISE = 0.15  # [m] standard deviation of a traced point
_HALF_WIDTH = 5.5  # [m]


def carr_moss() -> str:
    """Return the centre line of Carr Moss as a comma-separated table."""
    angle = np.linspace(0.0, 2.0 * np.pi, 20_001)
    radius = _RADIUS * (1.0 + sum(a * np.cos(n * angle + p) for n, a, p in _BENDS))
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    along = np.r_[0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y)))]
    at = np.linspace(0.0, along[-1], round(along[-1] / _SPACING) + 1)[:-1]
    noise = np.random.default_rng(SEED).normal(0.0, _NOISE, (2, at.size))
    rows = zip(np.interp(at, along, x) + noise[0], np.interp(at, along, y) + noise[1], strict=True)
    lines = [f"{a:.2f},{b:.2f},{_HALF_WIDTH:.1f},{_HALF_WIDTH:.1f}" for a, b in rows]
    return "\n".join(["x_m,y_m,width_right_m,width_left_m", *lines]) + "\n"
