"""A splitter in closed form: a plate ahead of and under the nose.

On top stands the air the nose has stopped; below, the lip speeds up what passes under it, more the
closer the ground is, until boundary layers choke the gap. A sharp lip loses head at its edge.
"""

from dataclasses import dataclass

import numpy as np

from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, Source
from tuftwork.wing.estimate import ground_gain

SOURCES = (
    Source(key="swamee2008", place="entrance loss against edge radius", status="memory"),
    Source(key="zerihan2000", place="downforce against height, by analogy"),
)
CHOKES_BELOW = 0.085  # [-] clearance over length of the plate's suction at which the gain peaks


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitterGeometry:
    """Shape and place of a splitter. [m]

    Attributes
    ----------
    projection
        Ahead of the bodywork in plan.
    width
        Across the car.
    lip_radius
        Of the leading edge.
    clearance
        Of its underside over the ground, at the leading edge.
    """

    projection: Array
    width: Array
    lip_radius: Array
    clearance: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitterCoefficients:
    """What the formulas leave open; meanings, units and ranges in ``splitter.toml``."""

    upper_pressure: Array
    pool: Array
    reach: Array
    suction: Array
    ground: Array
    centre: Array
    drag: Array
    wake: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitterLoad:
    """What a splitter makes.

    Attributes
    ----------
    upper, under
        Downforce area from above and from below. [m²]
    moment
        Downforce area times its distance behind the leading edge. [m³]
    drag
        [m²]
    head
        Change of total pressure of the air it hands to the floor. [-]
    choke
        Clearance over that at which the gain peaks; below 1 it chokes. [-]
    """

    upper: Array
    under: Array
    moment: Array
    drag: Array
    head: Array
    choke: Array

    @property
    def downforce(self) -> Array:
        """CzS. [m²]"""
        return np.asarray(self.upper + self.under)


def estimate_splitter(g: SplitterGeometry, c: SplitterCoefficients) -> SplitterLoad:
    """Return the load of a splitter.

    Above: w p₀ l (1 − e^(−p/l)) for projection p and pool length l; it saturates. Below, over the
    length s = p + reach: w s σ G(h/s)/(1 + K(r/2h)), G the gain near the ground, K the loss of an
    entrance with a rounded edge.

    Raises
    ------
    InputError
        If a clearance, width or projection is not above zero, or the lip radius is negative.

    Notes
    -----
    No published splitter series stands behind the level: good to some 40 % before it is tied to a
    measurement. Not for plates with vents, ramps or fences.

    References
    ----------
    [zerihan2000], [swamee2008]
    """
    for name, value, least in (
        ("clearance", g.clearance, 0.0),
        ("width", g.width, 0.0),
        ("projection", g.projection, 0.0),
        ("lip radius", g.lip_radius, -1e-12),
    ):
        if not float(np.min(value)) > least:
            raise InputError(name, float(np.min(value)), "m", "must be above 0")
    upper, upper_centre = pool_load(g.width, c.upper_pressure, c.pool, g.projection)
    length = g.projection + c.reach
    loss = rounded_entrance_loss(g.lip_radius / (2 * g.clearance))
    near = 1 + c.ground * (ground_gain(g.clearance / length) - 1)
    under = g.width * length * c.suction * near / (1 + loss)
    return SplitterLoad(
        upper=upper,
        under=under,
        moment=upper * upper_centre + under * c.centre * length,
        drag=c.drag * (upper + under),
        head=np.asarray(-c.wake * loss * (1 + c.suction * near)),
        choke=np.asarray(g.clearance / length / CHOKES_BELOW),
    )


def rounded_entrance_loss(radius: Numeric) -> Array:
    """Return the loss of a rounded entrance: K = 0.5 / (1 + 36 (r/D)^1.2) [-].

    ``radius`` over hydraulic diameter; for a gap of height h that is 2 h.

    References
    ----------
    [swamee2008]
    """
    return np.asarray(0.5 / (1 + 36 * np.asarray(radius) ** 1.2))


def pool_load(
    width: Numeric, pressure: Numeric, pool: Numeric, projection: Numeric
) -> tuple[Array, Array]:
    """Return what the air the nose has stopped puts on top of a plate, and how far behind its lip.

    w p₀ l (1 − e^(−p/l)) for a Cp of p₀ at the foot of the nose, dying away ahead of it. [m²], [m]
    """
    load = np.asarray(width * np.asarray(pressure) * pool * -np.expm1(-projection / pool))
    # ∫ d e^(−d/l) / ∫ e^(−d/l), d ahead of the nose
    x = np.asarray(projection / pool)
    return load, np.asarray(projection - pool * (1 - x / np.expm1(x)))
