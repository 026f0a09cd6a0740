"""A floor of the project with a channel table, behind the engine that solves it in plan."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import WHEELBASE, EstimatedPart, Reference, around_of, loaded
from tuftwork.aeromap.part.coefficient import (
    coefficient_sources,
    coefficients_of,
    overridden,
    without,
)
from tuftwork.car import Floor, FloorChannel
from tuftwork.errors import InputError, NotCovered
from tuftwork.floor.shape import Block, Strake, Strip
from tuftwork.floor.spec import LENGTHS, FloorSpec
from tuftwork.floor.table import FloorTable, TableLoads, evaluate
from tuftwork.floor.theory import intact_share
from tuftwork.quantity import Quantity, Source

_SOURCES = (
    Source(key="head1958", place="entrainment of the layer"),
    Source(key="senior2001", place="abstract: regimes of force against ride height"),
)
_LEFT_OPEN = {"mixing": "edge_loss", "discharge": "discharge", "base_pressure": "base_pressure"}
"""Coefficient of the engine → key of the channel table that holds it."""
_TYRE = 0.35  # [m] radius about an axle line within which a block is the wheel
_FALL = ("peak_height", "fall_width", "fall", "fall_spread", "fall_drag")
_REFERENCE_RAMP = np.radians(17.0)  # [rad] for which the height of the peak is published
_SPEED, _KINEMATIC = 55.0, 1.5e-5  # [m/s], [m²/s] the table is made at


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelFloor(EstimatedPart):
    """A floor answered from its table; ``table`` is put in once it was computed.

    ``knows`` names the wheels where a block stands for the front ones: their wake is then in the
    channel, and no neighbour's term adds it again.
    """

    spec: FloorSpec
    has_fall: bool = False
    table: FloorTable | None = None
    knows: tuple[str, ...] = ()

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the floor's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        wheelbase, own = draws[WHEELBASE], self.coefficients(draws)
        found = self.read(platform, draws, around)
        table = self._table()
        keep = np.ones(1)
        if self.has_fall:
            angle = self.key("diffuser_angle", draws)
            peak = own["peak_height"] * self._half_width(draws) * angle / _REFERENCE_RAMP
            intact = intact_share(
                self._kick_height(platform, draws), np.maximum(peak, 1e-4), own["fall_width"]
            )
            keep = 1 - np.clip(own["fall"], 0.0, 1.0) * (1 - intact)
        gain = own["coverage"] * np.exp(own["table"] * table.error)
        down = found.downforce * gain * keep
        moment = down * found.centre
        wetted = self.key("width", draws) * (
            self.key("exit_station", draws) - self.key("front_station", draws)
        )
        drag = own["ramp_drag"] * found.drag * gain * keep + own["friction"] * wetted
        if self.has_fall:
            moment = moment - own["fall_spread"] * (1 - intact) * down
            drag = drag + own["fall_drag"] * (1 - intact)
        return loaded(down, moment, drag, wheelbase, notices=self._notices(found))

    def read(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> TableLoads:
        """Return what the table says of the clean floor."""
        own = self.coefficients(draws)
        given = [n for n in LENGTHS if f"{self.name}.{n}" in self.inputs]
        given += [n for n in self.spec.beside if f"{self.name}.{n}" in self.inputs]
        changes = {n: self.key(n, draws) - self.spec.value(n) for n in given}
        return evaluate(
            self._table(),
            front=platform.ride_height_front,
            rear=platform.ride_height_rear,
            exit_pressure=own["base_pressure"] + around_of(around, "exit_pressure"),
            discharge=own["discharge"],
            mixing=own["mixing"],
            head=1 + around_of(around, "floor_head"),
            lengths=changes,
        )

    def covers(self, front: Field, rear: Field) -> NDArray[np.bool_]:
        """Return whether its table reaches ride heights [m]; beyond, its edge is held."""
        table = self._table()
        inside = (front >= table.front[0] - 1e-9) & (front <= table.front[-1] + 1e-9)
        return np.asarray(inside & (rear >= table.rear[0] - 1e-9) & (rear <= table.rear[-1] + 1e-9))

    def _table(self) -> FloorTable:
        if self.table is None:
            raise NotCovered(
                f"{self.name}: the table of its channel has not been computed. Run the study."
            )
        return self.table

    def _half_width(self, draws: Mapping[str, Field]) -> Field:
        own = f"{self.name}.diffuser_width"
        return self.key("diffuser_width" if own in self.inputs else "width", draws) / 2

    def _kick_height(self, platform: PlatformState, draws: Mapping[str, Field]) -> Field:
        slope = (platform.ride_height_rear - platform.ride_height_front) / draws[WHEELBASE]
        return np.asarray(platform.ride_height_front + slope * self.key("kick_station", draws))

    def _notices(self, found: TableLoads) -> tuple[str, ...]:
        notices = [f"{self.name}: {text}." for text in self._table().notices]
        stalled = float(np.mean(found.shape_factor > 3))
        if stalled > 0.1:
            notices.append(
                f"{self.name}: the ramp's layer has separated in {100 * stalled:.0f} % of draws."
            )
        if np.any(found.off_heights):
            table = self._table()
            ends = [1e3 * float(v) for a in (table.front, table.rear) for v in (a[0], a[-1])]
            notices.append(
                f"{self.name}: its table reaches from {ends[0]:.0f} to {ends[1]:.0f} mm in front "
                f"and from {ends[2]:.0f} to {ends[3]:.0f} mm behind; beyond, where maps are "
                "hatched, its edge is held."
            )
        within = ~found.off_heights
        beyond = float(np.mean(found.is_outside[within])) if np.any(within) else 0.0
        if beyond > 0.1:
            notices.append(
                f"{self.name}: {100 * beyond:.0f} % of draws lie outside its table's losses; its "
                "edge is "
                "held."
            )
        return tuple(notices)


def channel_floor(part: Floor, reference: Reference) -> ChannelFloor:
    """Return the model of a floor with a channel table, its table still missing."""
    assert part.channel is not None
    coefficients = coefficients_of("floor", "engine")
    own = overridden(coefficients, part.model, part.name)
    own = without(own, () if part.channel.has_fall else _FALL, part.model, part.name)
    own = own | _left_open(part)
    given: dict[str, Quantity] = {k: q for k in LENGTHS if (q := getattr(part, k)) is not None}
    inputs = {f"{part.name}.{k}": q for k, q in (given | _beside(part.channel)).items()}
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    return ChannelFloor(
        name=part.name,
        kind=part.kind,
        inputs=inputs | {WHEELBASE: reference.wheelbase},
        sources=(*_SOURCES, *coefficient_sources(coefficients)),
        reference=reference,
        hears=("exit_pressure", "floor_head"),
        spec=floor_spec(part, reference),
        has_fall=part.channel.has_fall,
        knows=("wheels",) if _holds_front_wheels(part.channel) else (),
    )


def _left_open(part: Floor) -> dict[str, Quantity]:
    """Return what the channel table says of edge loss, discharge and base pressure.

    Raises
    ------
    InputError
        If the part's ``model`` table gives the same number again.
    """
    assert part.channel is not None
    found: dict[str, Quantity] = {}
    for name, key in _LEFT_OPEN.items():
        value: Quantity | None = getattr(part.channel, key)
        if value is None:
            continue
        if name in part.model:
            limit = f"stands in the channel table too, as {key}"
            raise InputError(f"{part.name}.model.{name}", f"'{part.model[name]}'", "", limit,
                             "Remove one of them.")  # fmt: skip
        found[name] = value
    return found


def _beside(channel: FloorChannel) -> dict[str, Quantity]:
    """Return pressures along the sides and what blocks close and cost, by their path in a part."""
    found = {f"channel.side.{k}.pressure": row.pressure for k, row in enumerate(channel.side)}
    for k, block in enumerate(channel.blocks):
        found |= {f"channel.blocks.{k}.share": block.share, f"channel.blocks.{k}.loss": block.loss}
    return found


def _holds_front_wheels(channel: FloorChannel) -> bool:
    """Return whether a block stands where the front wheels do and costs the air something."""
    return any(
        b.start.best < _TYRE and b.end.best > -_TYRE and (b.loss.best > 0 or b.share.best > 0)
        for b in channel.blocks
    )


def floor_spec(part: Floor, reference: Reference) -> FloorSpec:
    """Return a floor's best values as the engine takes them, with or without a channel table."""
    channel = part.channel or FloorChannel()
    width = part.width.best
    own = part.diffuser_width
    return FloorSpec(
        width=width,
        front_station=part.front_station.best,
        kick_station=part.kick_station.best,
        exit_station=part.exit_station.best,
        diffuser_angle=part.diffuser_angle.best,
        diffuser_width=min(own.best, width) if own is not None else width,
        edge_gap=part.edge_gap.best if part.edge_gap is not None else None,
        nose=tuple((p.station.best, p.height.best) for p in channel.nose),
        tunnels=tuple(
            Strip(inner=t.inner.best, outer=t.outer.best,
                  profile=tuple((p.station.best, p.height.best) for p in t.points))
            for t in channel.tunnels
        ),
        strakes=tuple(
            Strake(start=s.start.best, end=s.end.best, offset=s.offset.best, gap=s.gap.best)
            for s in channel.strakes
        ),
        blocks=tuple(
            Block(start=b.start.best, end=b.end.best, inner=b.inner.best, outer=b.outer.best,
                  share=b.share.best, loss=b.loss.best)
            for b in channel.blocks
        ),
        side=tuple((s.station.best, s.pressure.best) for s in channel.side),
        wheelbase=reference.wheelbase.best,
        front=_reach(reference.ride_height_front),
        rear=_reach(reference.ride_height_rear),
        reynolds=_SPEED / _KINEMATIC,
    )  # fmt: skip


def _reach(height: float) -> tuple[float, float]:
    """Return lowest and highest ride height of the table: what springs leave, and a raised car."""
    return (round(0.4 * height, 4), round(1.35 * height, 4))


def floored(models: Sequence[PartModel], tables: Mapping[str, FloorTable]) -> tuple[PartModel, ...]:
    """Return the models with the tables of their floors put in, where there are any."""
    return tuple(
        replace(m, table=tables.get(m.spec.key)) if isinstance(m, ChannelFloor) else m
        for m in models
    )
