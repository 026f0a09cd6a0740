"""Air through the car, its load taken from the solved air net of [cooling].

What stands in the budget is what cooling adds: loads of the net less those of the same net with
its inlets shut. The net itself is solved for the draws asked for, once for each speed; only where
draws move hundreds of times (letting what was measured narrow them) a response surface answers.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from tuftwork.aeromap.interface import Field, PartLoad, PartModel, PlatformState
from tuftwork.aeromap.part.base import FRONTAL_AREA, EstimatedPart, Reference
from tuftwork.aeromap.part.coefficient import coefficients_of, overridden, without
from tuftwork.aeromap.part.net_way import Way, telling, told_of, ways_of
from tuftwork.aeromap.part.response import Response, response_of
from tuftwork.car import AirNetPart, Project
from tuftwork.cooling import Surroundings, cooling_cost, cooling_loads, solve_cooling
from tuftwork.cooling.case import (
    CoolingCase,
    air_pressure,
    cooling_quantities,
    net_quantities,
)
from tuftwork.cooling.case_loop import Of
from tuftwork.cooling.cost import SOURCES
from tuftwork.cooling.element import Exit
from tuftwork.cooling.network import AirFlow
from tuftwork.cooling.surroundings import GAS_CONSTANT
from tuftwork.errors import InputError
from tuftwork.quantity import Array, Numeric, draw_ensemble

FIELDS = (
    "front", "rear", "drag", "low_drag", "jet_front", "jet_rear", "well_front", "well_rear",
    "mass_flow",
)  # fmt: skip
"""What a net gives: CzSf, CzSr, CxS, the share of CxS whose air leaves downward, of the loads what
jets do to the surfaces they leave by and what the air in the wheel wells lifts [m²]; air taken in
through its inlets [kg/s]."""
_QUICK = 4  # of them stand behind the response surface
_SPEEDS = (30.0, 50.0, 70.0)  # [m/s] of the response surface; in between it is nearly flat
_DRAWS = 512  # of the inputs, to which the response surface is fitted
_SEED = 20260
_MOST_KEPT = 64  # answers, some 0.1 MB each: a slider asks for one after the other


@dataclass(frozen=True, slots=True, kw_only=True)
class NetCooling(EstimatedPart):
    """The air net as a part; it leaves slow air to the rear wing (upward) or to the floor.

    ``ways`` are the nodes a splitter's channels leave by too: it is told how the air stands there.
    """

    project: Project
    ways: tuple[Way, ...] = ()
    kept: dict[tuple[float, bytes], Array] = field(default_factory=dict, compare=False, repr=False)

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the net's load; see :class:`tuftwork.aeromap.interface.PartModel`."""
        fields = self.solved(platform, draws)
        own = _part_load(self, fields[: len(FIELDS)], draws)
        return telling(own, self.ways, fields[len(FIELDS) :], draws)

    def solved(self, platform: PlatformState, draws: Mapping[str, Field]) -> Array:
        """Return ``FIELDS``, then those of the ways, at every speed: ``(n_field, ..., n_draw)``."""
        speed = np.asarray(platform.speed, dtype=float)
        density = np.asarray(platform.density, dtype=float)
        if speed.size == 1 and density.ndim <= 1:
            return self._at(float(speed.reshape(-1)[0]), density, draws)
        rows = np.broadcast_arrays(speed, density)
        if rows[0].shape[-1] != 1:
            raise InputError("speed", str(rows[0].shape), "", "of a net must be one for all draws")
        found = [
            self._at(float(v), np.array([rho]), draws)
            for v, rho in zip(rows[0].ravel(), rows[1].ravel(), strict=True)
        ]
        return np.stack(found, axis=1).reshape(len(found[0]), *rows[0].shape[:-1], -1)

    def _at(self, speed: float, density: Array, draws: Mapping[str, Field]) -> Array:
        """Return ``FIELDS`` at one speed, ``(n_field, n_draw)``; what was solved before is kept."""
        own = np.stack(np.broadcast_arrays(density, *(draws[name] for name in self.net_inputs)))
        key = (speed, own.tobytes())
        found = self.kept.get(key)
        if found is None:
            found = self._solve(speed, density, draws, own.shape[-1])
            if len(self.kept) >= _MOST_KEPT:
                self.kept.clear()
            self.kept[key] = found
        return found

    def _solve(self, speed: float, density: Array, draws: Mapping[str, Field], count: int) -> Array:
        pressure = air_pressure(self.project)
        around = Surroundings(
            speed=np.full(count, speed), temperature=pressure / (GAS_CONSTANT * density),
            pressure=pressure,
        )  # fmt: skip
        exact = cooling_quantities(self.project)

        def of(name: str) -> Numeric:
            return draws[name] if name in draws else exact[name].best

        case = CoolingCase.of_project(self.project, of, around)
        state = solve_cooling(case.system, case.around)
        cost = cooling_cost(case.system.air, state.air, case.wheelbase, wells=case.wells)
        low = sum(
            (row[0] * _downward(case, name) for name, row in cost.parts.items()), np.zeros(count)
        )
        beside = [
            sum((row[axle] for name, row in cost.parts.items() if name.startswith(f"{kind}, ")),
                np.zeros(count))
            for kind in ("jet", "wheel well") for axle in (1, 2)
        ]  # fmt: skip
        told = self._told(case, state.air, of, around, count)
        return np.stack(
            [cost.CzSf, cost.CzSr, cost.CxS, low, *beside, _taken(case, state.air), *told]
        )

    def _told(
        self, case: CoolingCase, air: AirFlow, of: Of, around: Surroundings, count: int
    ) -> list[Array]:
        """Return what the splitter is told, way by way: the net with its air fed in, too."""
        rows: list[Array] = []
        for way in self.ways:
            rows.append(told_of(case, air, way, count))
            given: list[Array] = []
            for flow in way.flows:
                fed = CoolingCase.of_project(self.project, of, around, fed={way.node: flow})
                there = solve_cooling(fed.system, fed.around).air
                rows.append(told_of(fed, there, way, count))
                given.extend(_given(fed, there) - _given(case, air))
            rows += given
        return rows

    @property
    def net_inputs(self) -> tuple[str, ...]:
        """Names of the inputs on which the net depends."""
        return tuple(name for name in self.inputs if _is_of_net(name))


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickNet(EstimatedPart):
    """The same part behind a response surface in those inputs that tell."""

    response: Response
    ways: tuple[Way, ...] = ()

    def load(
        self, platform: PlatformState, draws: Mapping[str, Field], around: Mapping[str, Field]
    ) -> PartLoad:
        """Return the load the response surface gives."""
        inputs = np.stack(np.broadcast_arrays(*(draws[n] for n in self.response.names)))
        fields = self.response.at(inputs, platform.speed)
        own = _part_load(self, fields[:_QUICK], draws)
        return telling(own, self.ways, fields[_QUICK:], draws)


def quickened(models: Sequence[PartModel], density: float) -> tuple[PartModel, ...]:
    """Return the models with every air net put behind its response surface.

    Parameters
    ----------
    models
        Of a state.
    density
        Of the air. [kg/m³]
    """
    return tuple(_quick(m, density) if isinstance(m, NetCooling) else m for m in models)


def _quick(model: NetCooling, density: float) -> QuickNet:
    names = model.net_inputs
    ensemble = draw_ensemble({n: model.inputs[n] for n in names}, size=_DRAWS, seed=_SEED)
    draws = {name: ensemble.of(name) for name in names}
    solved = (model._solve(v, np.array([density]), draws, _DRAWS) for v in _SPEEDS)
    values = np.stack(
        [np.concatenate([fields[:_QUICK], fields[len(FIELDS) :]]) for fields in solved]
    )
    uncertain = {name: draws[name] for name in ensemble.uncertain}
    response = response_of(uncertain, np.array(_SPEEDS), values)
    out = {name for way in model.ways for o in way.outlets for name in o.names}
    kept = {*response.names, *out, *(n for n in model.inputs if not _is_of_net(n))}
    return QuickNet(
        name=model.name, kind=model.kind, sources=model.sources, reference=model.reference,
        inputs={n: q for n, q in model.inputs.items() if n in kept}, response=response,
        ways=model.ways,
    )  # fmt: skip


def _part_load(part: EstimatedPart, fields: Array, draws: Mapping[str, Field]) -> PartLoad:
    front, rear, drag, low = fields[:_QUICK]
    own = part.coefficients(draws)
    effects: dict[str, Field] = {}
    if "mixing" in own:
        share = own["mixing"] / (2 * draws[FRONTAL_AREA])
        effects = {"rear_wing_pressure": -share * (drag - low), "floor_head": -share * low}
    beside = fields[_QUICK:]
    return PartLoad(
        downforce_front=front, downforce_rear=rear, drag=drag, effects=effects,
        within=_within(part, beside[:-1]), mass_flow=beside[-1] if len(beside) else None,
    )  # fmt: skip


def _within(part: EstimatedPart, beside: Array) -> dict[str, tuple[Field, Field, Field]]:
    """Return what jets and wells do to their neighbours, by ``source → target``."""
    project = part.reference.project
    if len(beside) == 0 or project is None:
        return {}
    names = {p.kind: p.name for p in project.parts}
    jet_front, jet_rear, well_front, well_rear = beside
    none = np.zeros(1)
    found = {
        f"{part.name} → {names.get('body', 'surfaces')}": (jet_front, jet_rear, none),
        f"{part.name} → {names.get('wheels', 'wheel wells')}": (well_front, well_rear, none),
    }
    return {k: v for k, v in found.items() if np.any(v[0]) or np.any(v[1])}


def _taken(case: CoolingCase, air: AirFlow) -> Array:
    """Return the air taken in through the net's inlets [kg/s]."""
    flows = [np.maximum(air.of(i.name), 0.0) for i in case.table.inlets]
    return np.asarray(sum(flows, np.zeros(air.flow.shape[1])))


def _given(case: CoolingCase, air: AirFlow) -> Array:
    """Return ``GIVEN_WAY`` of a solved net, ``(4, n_draw)``."""
    loads = cooling_loads(case.system.air, air, case.wheelbase, wells=case.wells)
    return np.stack([loads.CzSf, loads.CzSr, loads.CxS, _taken(case, air)])


def _is_of_net(name: str) -> bool:
    return name.startswith("cooling.") or name == "car.power"


def _downward(case: CoolingCase, name: str) -> float:
    """Return the share of a stream's slow air that goes below the car [-]."""
    owner = name.removeprefix("stream, ")
    if owner == name:
        return 0.0
    part = case.system.air.part(owner)
    angle = part.angle if isinstance(part, Exit) else 0.0
    return 0.5 * (1.0 - float(np.sin(angle)))


def air_net_model(part: AirNetPart, reference: Reference, heard: Collection[str]) -> NetCooling:
    """Return the model of the air net; its slow air matters where a part hears it.

    Raises
    ------
    InputError
        If the project has no [cooling].
    """
    project = reference.project
    if project is None or project.cooling is None:
        raise InputError(
            part.name, "air net", "", "needs the air net",
            "Add [cooling] with its inlets, cores and exits, or describe the stream by itself "
            "with kind 'cooling'.",
        )  # fmt: skip
    own = overridden(coefficients_of("aeromap.part", "air_net"), part.model, part.name)
    is_heard = "rear_wing_pressure" in heard or "floor_head" in heard
    own = without(own, () if is_heard else ("mixing",), part.model, part.name)
    inputs = dict(net_quantities(project))
    inputs |= {f"{part.name}.model.{k}": q for k, q in own.items()}
    if is_heard:
        inputs[FRONTAL_AREA] = reference.frontal_area
    return NetCooling(
        name=part.name, kind=part.kind, inputs=inputs, sources=SOURCES, reference=reference,
        project=project, ways=ways_of(project),
    )  # fmt: skip
