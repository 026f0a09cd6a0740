"""A splitter with the channels under it as the engine takes them, by best values."""

from dataclasses import dataclass

from tuftwork.floor.shape import FloorShape, Profile, Stand

OPEN, FOOTED, WALLED = "open", "footplates", "walls"
"""How a channel's sides stand: the plate's own clearance, footplates, or other channels beside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontStrip:
    """One channel under the plate, both sides of the car taken together. [m]

    Attributes
    ----------
    name
    width
        Of both sides together.
    end
        Station where it hands over: a flat floor, an arch, a vent.
    ramp, rise
        Station at which its underside begins to climb, and how high it is at the end.
    sides
        One of ``OPEN``, ``FOOTED``, ``WALLED``.
    is_throttled
        Whether a way out narrower than its own gap may hold its air back.
    """

    name: str
    width: float
    end: float
    ramp: float | None = None
    rise: float = 0.0
    sides: str = OPEN
    is_throttled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontSpec:
    """A splitter's plate and its channels. [m]

    Attributes
    ----------
    lip, projection
        Station of the leading edge; length of plate ahead of the bodywork.
    strips
        Channels under it, side by side.
    bends
        Whether the plate bends under its load.
    gap
        Lowest and highest clearance of the table, at the bodywork's edge.
    reynolds
        Per metre. [1/m]
    passage
        Least and greatest share of the clearance that stands open under the edge between the first
        two channels; None: a wall stands there. [-]
    """

    lip: float
    projection: float
    strips: tuple[FrontStrip, ...]
    bends: bool
    gap: tuple[float, float]
    reynolds: float
    passage: tuple[float, float] | None = None

    @property
    def key(self) -> str:
        """Name its table lies under."""
        return repr(self)

    @property
    def hinge(self) -> float:
        """Station at which the plate meets the bodywork. [m]"""
        return self.lip + self.projection


def strip_shape(
    spec: FrontSpec, strip: FrontStrip, *, gap: float, slope: float, droop: float = 0.0,
    rise: float = 1.0, edge: float | None = None,
) -> tuple[FloorShape, Stand]:  # fmt: skip
    """Return one channel's shape and how it stands.

    Parameters
    ----------
    spec, strip
        The plate and the channel.
    gap
        Clearance at the bodywork's edge. [m]
    slope
        Rise of the plate rearward. [rad]
    droop
        Of the lip: the plate bends about the bodywork's edge. [m]
    rise
        Factor on the ramp's own. [-]
    edge
        Gap under the sides; None: the clearance. [m]
    """
    points = {spec.lip: -droop, spec.hinge: 0.0, strip.end: 0.0}
    if strip.ramp is not None:
        start = max(strip.ramp, spec.hinge + 1e-3)
        points |= {start: 0.0, strip.end: rise * strip.rise}
    profile: Profile = tuple(sorted(points.items()))
    shape = FloorShape(
        width=strip.width, front=spec.lip, exit=strip.end, profile=profile, edge_gap=edge
    )
    front = gap - slope * spec.hinge
    return shape, Stand(front=front, rear=front + slope, wheelbase=1.0)
