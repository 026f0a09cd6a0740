"""A car's wing by its best values: what its tables and its lattice are made from."""

from dataclasses import dataclass

import numpy as np

from tuftwork.wing.planform import EndPlate, Onset, Wing, pair_of_plates, straight_wing

# [chord] height of the trailing edge below which polars are made over the road as well; above it
# the lattice's mirror image is all there is of the road (common practice, no source)
_LOW = 1.3


@dataclass(frozen=True, slots=True, kw_only=True)
class WingSpec:
    """A wing by best values; everything its tables depend on besides the outline's points.

    Attributes
    ----------
    span, chord, height, end_plate_height [m]
        ``height`` of the trailing edge over the road.
    incidence
        About which tables are made. [rad]
    gurney
        Over the chord. [-]
    reynolds
        On the chord. [-]
    turbulence
        [-]
    outline
        Name of the outline and of its flaps with their settings.
    onset
        Places across the car [m] and the share of the roof's effect left there; empty: even.
    """

    span: float
    chord: float
    height: float
    incidence: float
    gurney: float
    end_plate_height: float
    reynolds: float
    turbulence: float
    outline: tuple[tuple[str, ...], ...]
    onset: tuple[tuple[float, float], ...] = ()

    @property
    def key(self) -> str:
        """Name its tables lie under; incidence counts only where the road is near."""
        near = f"{self.incidence:.4f}" if self.is_low else ""
        numbers = (self.span, self.chord, self.height, self.gurney, self.end_plate_height)
        air = (self.reynolds, self.turbulence)
        text = " ".join(f"{v:.6g}" for v in (*numbers, *air))
        shaped = " ".join(f"{y:.4g}:{s:.4g}" for y, s in self.onset)
        outline = "; ".join(" ".join(row) for row in self.outline)
        return f"{text} {near} {outline} {shaped}".rstrip()

    @property
    def is_low(self) -> bool:
        """Whether the road is near enough to change the section's own flow."""
        return self.height < _LOW * self.chord

    @property
    def quarter_height(self) -> float:
        """Height of the quarter chord: the nose hangs below the trailing edge. [m]"""
        at = self.incidence if self.is_low else 0.0
        return self.height - 0.75 * self.chord * float(np.sin(at))


def shaped_onset(spec: WingSpec, angle: float) -> Onset:
    """Return the onset along the span with this angle in the middle, both sides alike [rad]."""
    y = np.array([row[0] for row in spec.onset])
    share = np.array([row[1] for row in spec.onset])
    both = np.concatenate([-y[::-1], y[y > 0.0]]) if y[0] == 0.0 else np.concatenate([-y[::-1], y])
    shares = (
        np.concatenate([share[::-1], share[y > 0.0]])
        if y[0] == 0.0
        else np.concatenate([share[::-1], share])
    )
    return Onset(y=both, angle=angle * shares, speed=np.ones(both.size))


def wing_of(spec: WingSpec) -> Wing:
    """Return the lifting surface of a wing of the project, plates a third above it."""
    plates: tuple[tuple[EndPlate, ...], ...] = ()
    high = spec.end_plate_height
    if high > 0.0:
        below = min(2.0 / 3.0 * high, 0.8 * spec.quarter_height)
        plates = (pair_of_plates(high - below, below),)
    return Wing(
        surfaces=(straight_wing(spec.span, spec.chord, spec.quarter_height),), plates=plates
    )
