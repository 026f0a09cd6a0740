"""A splitter with a channel table, behind the engine that solves what passes under it.

The middle hands over to the floor or up a vent, ramps into the front arches. Load, droop of the
lip and the pressures it hands over at are settled together, draw by draw. Alone it hands over to
still air; what floor, wheels and cooling do there are interactions.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import (
    FRONTAL_AREA,
    WHEELBASE,
    EstimatedPart,
    Reference,
    around_of,
    at_axles,
    loaded,
)
from tuftwork.aeromap.part.edge import edge_loss
from tuftwork.aeromap.part.front_answer import FrontAnswer, front_notices
from tuftwork.aeromap.part.front_channel import (
    FAR,
    FRONT_CHANNELS,
    GIVEN_WAY,
    WayOut,
    angle_at,
    given_by,
    given_way,
    open_share,
    way_of,
)
from tuftwork.aeromap.part.front_spec import Place, front_inputs, front_spec, places_behind
from tuftwork.car import Part, Splitter
from tuftwork.car.front import SplitterRamps, SplitterVent
from tuftwork.errors import NotCovered
from tuftwork.floor.front_spec import WALLED, FrontSpec
from tuftwork.floor.front_table import (
    FrontState,
    StripState,
    StripTable,
    evaluate,
)
from tuftwork.floor.nose import edge_tolerance
from tuftwork.floor.splitter import pool_load
from tuftwork.quantity import Source
from tuftwork.wing.horseshoe import horseshoe_angle

SOURCES = (
    Source(key="head1958", place="entrainment of the layer"),
    Source(key="swamee2008", place="entrance loss against edge radius", status="memory"),
    Source(key="bertin1979", place="horseshoe vortex", status="memory"),
)
_RELIEF = "interaction.nose_relief"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelSplitter(EstimatedPart):
    """A splitter answered from its tables; ``tables`` are put in once they were computed.

    ``knows`` holds ``nose`` and ``front pressures``: their terms of place reach it by channels.
    """

    spec: FrontSpec
    part: Splitter
    places: tuple[Place, ...] = ()
    tables: tuple[StripTable, ...] = ()
    knows: tuple[str, ...] = ("front",)

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the splitter's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        own, station = self.coefficients(draws), self.key("station", draws)
        found = self.read(platform, draws, around)
        down = found.downforce
        moment = down * station + found.arm
        strips = found.loads.strips
        drag = own["drag"] * np.abs(down) + own["ramp_drag"] * found.gain * sum(
            s.drag for s in strips
        )
        jet, within = self._jet(found, draws)
        made = loaded(
            down + jet, moment + jet * self._jet_station(draws), drag, draws[WHEELBASE],
            effects=self._effects(found, platform, draws, np.asarray(drag)),
            notices=front_notices(self.name, self.spec.strips, self.tables, found),
        )  # fmt: skip
        fed = self.fed(found, draws, around)
        if not fed:
            return replace(made, within=within)
        front, rear, more, taken = given_by(fed, around)
        net = next((p.name for p in self._parts() if p.kind == "air net"), "air net")
        return replace(
            made, downforce_front=made.downforce_front + front,
            downforce_rear=made.downforce_rear + rear, drag=made.drag + more, mass_flow=taken,
            within=within | {f"{self.name} → {net}": (front, rear, more)},
        )  # fmt: skip

    def fed(
        self, found: FrontAnswer, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> dict[str, Field]:
        """Return the air its channels bring to nodes of the net, over the car's speed [m²]."""
        own, flows = self.part.channel, dict[str, Field]()
        assert own is not None
        for strip, loads in zip(self.spec.strips, found.loads.strips, strict=True):
            way = own.ramps if strip.name == "ramps" else own.vent
            if way is None or not way.into or way_of(way.into)[0] not in around:
                continue
            share = self._way(strip.name, draws, around).share
            flows[way.into] = flows.get(way.into, np.zeros(1)) + share * loads.flow
        return flows

    def read(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field],
        *, bend: float = -1.0, rigid: bool = False,
    ) -> FrontAnswer:  # fmt: skip
        """Return what the tables say; ``bend`` imposes the droop over the gap."""
        if not self.tables:
            raise NotCovered(
                f"{self.name}: the tables of its channels have not been computed. Run the study."
            )
        own = self.coefficients(draws)
        slope = (platform.ride_height_rear - platform.ride_height_front) / draws[WHEELBASE]
        lip = self.key("station", draws)
        projection = np.maximum(self.key("projection", draws), 1e-3)
        lip_height = platform.ride_height_front + slope * lip - self.key("drop", draws)
        gap = lip_height + slope * projection
        head = self._or("head", draws, 1.0)
        width = self.key("width", draws)
        upper, centre = pool_load(width, own["upper_pressure"], own["pool"], projection)
        taken = around_of(around, "nose_flow") * draws.get(_RELIEF, np.zeros(1))
        upper = np.maximum(head * upper - taken, 0.0)
        onset = own["lip_angle"] + slope
        bears = edge_tolerance(
            np.maximum(self.key("lip_radius", draws), 1e-5), self.tables[0].length,
            limit=own["edge_limit"], head=head,
        )  # fmt: skip
        soft = np.zeros(1)
        if self.spec.bends and not rigid:
            pressure = 0.5 * platform.density * np.square(platform.speed)
            soft = pressure / np.maximum(self.key("stiffness", draws), 1.0)
        error = max(t.error for t in self.tables)
        gain = own["coverage"] * np.maximum(1 + own["table"] * error, 0.2)
        front = FrontState(
            gap=np.asarray(gap), slope=np.asarray(slope), head=head, upper=upper, softness=soft,
            projection=projection, lip_radius=self.key("lip_radius", draws),
            onset=np.asarray(onset), tolerance=bears, gain=gain,
        )  # fmt: skip
        states = tuple(self._state(k, gap, draws, around) for k in range(len(self.tables)))
        spans = tuple(s.rise for s in self.spec.strips)
        loads = evaluate(self.tables, spans, front, states, bend=bend)
        return FrontAnswer(
            loads=loads, upper=upper, upper_centre=centre,
            clearance=np.asarray(lip_height), gap=np.asarray(gap), tolerance=bears,
            onset=np.asarray(onset + loads.droop / projection), gain=gain,
        )  # fmt: skip

    def _state(
        self, k: int, gap: Field, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> StripState:
        """Return what one channel meets: its sides, its ramp, and where it lets its air go."""
        own, strip = self.coefficients(draws), self.spec.strips[k]
        assert self.part.channel is not None
        ramps, width = self.part.channel.ramps, self.key("width", draws)
        if strip.name == "ramps":
            across = 2 * (self._of("ramps.outer", draws) - self._of("ramps.inner", draws))
        elif ramps is not None:
            across = width - 2 * (self._of("ramps.outer", draws) - self._of("ramps.inner", draws))
        else:
            across = width
        across = np.maximum(across, 0.02)
        if self.spec.passage is not None and self.spec.strips[-1].name == "ramps":
            # air crosses: both answer to the sides and the rise of the ramps beside
            strip = self.spec.strips[-1]
        beside = 2 * (self._of("ramps.outer", draws) - self._of("ramps.inner", draws)) \
            if strip.name == "ramps" else across  # fmt: skip
        leak, passage = np.zeros(1), np.zeros(1)
        if strip.sides != WALLED:
            depth = self._or("footplate_depth", draws, 0.0)
            leak = 2 * self._closed("discharge", draws, own) * open_share(depth, gap)
            leak = leak * (strip.end - self.spec.lip) / np.maximum(beside, 0.02)
        rise = np.ones(1)
        if strip.ramp is not None:
            rise = self._of("ramps.rise", draws) / strip.rise
        if self.spec.passage is not None:
            fence = self._or("channel.ramps.fence_depth", draws, 0.0)
            passage = self._closed("discharge", draws, own) * open_share(fence, gap)
        way = self._way(self.spec.strips[k].name, draws, around)
        return StripState(
            width=across, pressure=way.pressure, beside=way.flow, outlet=way.outlet,
            share=way.share, leak=leak, mixing=self._closed("edge_loss", draws, own), rise=rise,
            passage=passage, loss=way.loss, node=way.node,
        )  # fmt: skip

    def _way(self, strip: str, draws: Mapping[str, Field], around: Mapping[str, Field]) -> WayOut:
        """Return where a channel's air goes."""
        assert self.part.channel is not None
        own = self.part.channel
        if strip == "ramps":
            assert own.ramps is not None
            if own.ramps.into:
                share = around_of(around, "well_share")
                if own.ramps.into_share is not None:
                    share = self._of("ramps.into_share", draws)
                return self._node(own.ramps.into, around, share)
            if own.ramps.pressure is not None:
                return WayOut(pressure=self._of("ramps.pressure", draws))
            return WayOut(pressure=around_of(around, "arch_pressure"))
        if own.vent is None:
            if own.pressure is not None:
                return WayOut(pressure=self._of("pressure", draws))
            return WayOut(pressure=around_of(around, "front_pressure"))
        return self._vented(draws, around)

    def _node(self, name: str, around: Mapping[str, Field], share: Field) -> WayOut:
        """Return a way out by a node of the net, whose other air the net has told."""
        nodes = sorted({w.into for w in _ways(self.part) if w.into})
        pressure, flow, outlet = (
            around.get(c, d)
            for c, d in zip(way_of(name), (np.zeros(1), np.zeros(1), FAR), strict=True)
        )
        return WayOut(
            pressure=pressure, flow=flow, outlet=outlet, share=share, node=nodes.index(name)
        )

    def _vented(self, draws: Mapping[str, Field], around: Mapping[str, Field]) -> WayOut:
        """Return the same for a vent: its own area, a cooler in series, a duct it shares."""
        assert self.part.channel is not None
        vent, one = self.part.channel.vent, np.ones(1)
        assert vent is not None
        area = self._of("vent.area", draws) * self._of("vent.discharge", draws)
        area = np.maximum(area * np.clip(self._or("vent_open", draws, 1.0), 0.0, 1.0), 1e-4)
        loss = 1 / np.square(area)
        if vent.cooler_area is not None:
            loss = loss + self._of("vent.cooler_loss", draws) / np.square(
                self._of("vent.cooler_area", draws)
            )
        if vent.into:
            return replace(self._node(vent.into, around, one), loss=loss)
        return WayOut(pressure=self._of("vent.pressure", draws), share=one, loss=loss)

    def _jet(
        self, found: FrontAnswer, draws: Mapping[str, Field]
    ) -> tuple[Field, dict[str, tuple[Field, Field, Field]]]:
        """Return what a vent's jet does to the surface it leaves by, as a neighbour's share."""
        assert self.part.channel is not None
        vent = self.part.channel.vent
        if vent is None or vent.into or vent.station is None:
            return np.zeros(1), {}
        flow = found.loads.strips[0].flow
        down = np.asarray(self._of("vent.gain", draws) * flow)
        front, rear = at_axles(down, down * self._jet_station(draws), draws[WHEELBASE])
        body = next((p.name for p in self._parts() if p.kind in ("body", "lump")), "surfaces")
        return down, {f"{self.name} → {body}": (front, rear, np.zeros(1))}

    def _jet_station(self, draws: Mapping[str, Field]) -> Field:
        name = f"{self.name}.channel.vent.station"
        return draws[name] if name in self.inputs else np.zeros(1)

    def _effects(
        self, found: FrontAnswer, platform: PlatformState, draws: Mapping[str, Field], drag: Field
    ) -> dict[str, Field]:
        """Return what it does behind it: head and edge of the floor, angle and q of wings."""
        own, effects = self.coefficients(draws), dict[str, Field]()
        middle = found.loads.strips[0]
        for place in self.places:
            angle = self.angle_at(place, found, platform, draws)
            if place.kind == "rear wing":
                # air that comes up takes incidence off a wing; the channel counts air coming down
                effects["rear_wing_angle"] = -angle
                share = own["slow_air"] * drag / (2 * draws[FRONTAL_AREA])
                effects["rear_wing_pressure"] = -share
            elif place.kind == "floor":
                head = self._or("head", draws, 1.0)
                lost = own["wake"] * np.minimum(middle.head - head, 0.0) + head - 1
                if place.has_nose:
                    radius = draws[f"{place.part}.edge_radius"]
                    lost = lost - edge_loss(angle, radius, own["edge_limit"])
                effects["floor_head"] = lost
            else:
                effects[angle_at(place.part)] = -angle
        return effects

    def angle_at(
        self, place: Place, found: FrontAnswer, platform: PlatformState, draws: Mapping[str, Field]
    ) -> Field:
        """Return the angle the plate turns the air by at a part behind it, up positive [rad]."""
        down = found.downforce
        slope = (platform.ride_height_rear - platform.ride_height_front) / draws[WHEELBASE]
        lever = found.arm / np.where(np.abs(down) > 1e-4, down, 1e-4)
        high = np.asarray(platform.ride_height_front + slope * place.station)
        if place.height is not None:
            high = np.full(1, place.height)
        return np.asarray(
            self.coefficients(draws)["upwash"]
            * horseshoe_angle(
                down, self.key("width", draws),
                behind=place.station - self.key("station", draws) - lever, above=high,
                height=found.clearance,
            )
        )  # fmt: skip

    def _of(self, key: str, draws: Mapping[str, Field]) -> Field:
        return draws[f"{self.name}.channel.{key}"]

    def _or(self, key: str, draws: Mapping[str, Field], other: float) -> Field:
        path = f"{self.name}.{key}"
        return draws[path] if path in self.inputs else np.full(1, other)

    def _closed(self, key: str, draws: Mapping[str, Field], own: Mapping[str, Field]) -> Field:
        """Return what the equations leave open: the project's own value stands in its place."""
        return own["mixing" if key == "edge_loss" else key]

    def _parts(self) -> Sequence[Part]:
        return self.reference.project.parts if self.reference.project is not None else ()


def channel_splitter(
    part: Splitter, reference: Reference, heard: Collection[str]
) -> ChannelSplitter:
    """Return the model of a splitter with a channel table, its tables still missing."""
    places = places_behind(part, reference)
    return ChannelSplitter(
        name=part.name, kind=part.kind, inputs=front_inputs(part, reference, places, heard),
        sources=SOURCES, reference=reference, hears=_hears(part),
        spec=front_spec(part, reference), part=part, places=places,
    )  # fmt: skip


def _ways(part: Splitter) -> tuple[SplitterRamps | SplitterVent, ...]:
    assert part.channel is not None
    return tuple(w for w in (part.channel.ramps, part.channel.vent) if w is not None)


def _hears(part: Splitter) -> tuple[str, ...]:
    nodes = {w.into for w in _ways(part) if w.into}
    ways = [(*way_of(n), *(c for w in GIVEN_WAY for c in given_way(w, n))) for n in sorted(nodes)]
    return (*FRONT_CHANNELS, *(channel for way in ways for channel in way))


def fronted(
    models: Sequence[PartModel], tables: Mapping[str, Sequence[StripTable]]
) -> tuple[PartModel, ...]:
    """Return the models with the tables of their splitters put in, where there are any."""
    return tuple(
        replace(m, tables=tuple(tables.get(m.spec.key, ())))
        if isinstance(m, ChannelSplitter) else m
        for m in models
    )  # fmt: skip
