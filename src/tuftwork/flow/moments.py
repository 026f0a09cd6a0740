"""What an engine shows: density and velocity of every cell, and rows of the wall cells."""

from dataclasses import dataclass

from tuftwork.flow.setup import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Density and velocity of every cell; solid cells are undefined.

    Attributes
    ----------
    density
        Density over reference density. Shape (lz, ly, lx). [-]
    velocity
        Velocity. Shape (3, lz, ly, lx). [cells/step]
    """

    density: Floats
    velocity: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What there is to see of one box of cells.

    Attributes
    ----------
    mean, last
        Mean moments and those now.
    rows, last_rows
        Mean wall rows and those now. Shape (15, n_wall).
    """

    mean: Moments
    last: Moments
    rows: Floats
    last_rows: Floats
