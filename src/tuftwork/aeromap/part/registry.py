"""From the parts of a project to their models."""

from collections.abc import Callable, Collection, Mapping, Sequence

from tuftwork.aeromap.interface import Field, PartModel
from tuftwork.aeromap.part.air_net import air_net_model
from tuftwork.aeromap.part.base import Reference
from tuftwork.aeromap.part.body import body_model
from tuftwork.aeromap.part.cooling import cooling_model
from tuftwork.aeromap.part.dive_plane import dive_plane_model
from tuftwork.aeromap.part.floor import floor_model
from tuftwork.aeromap.part.floor_engine import channel_floor
from tuftwork.aeromap.part.front_engine import channel_splitter
from tuftwork.aeromap.part.neighbour import neighbours_of
from tuftwork.aeromap.part.splitter import splitter_model
from tuftwork.aeromap.part.wing import wing_model
from tuftwork.aeromap.part.wing_engine import lattice_wing
from tuftwork.car import (
    AirNetPart,
    Body,
    CoolingFlow,
    DivePlane,
    Floor,
    Part,
    Project,
    Splitter,
    Wing,
    WingPart,
    parts_in_state,
)
from tuftwork.errors import InputError
from tuftwork.quantity import Ensemble, Quantity, values_at

_Builder = Callable[[Part, Reference, Collection[str]], PartModel]


def _wing(part: Part, reference: Reference, heard: Collection[str]) -> PartModel:
    assert isinstance(part, WingPart)
    if part.section is not None:
        return lattice_wing(part, reference, heard)
    return wing_model(part, reference, heard)


def _floor(part: Part, reference: Reference, heard: Collection[str]) -> PartModel:
    assert isinstance(part, Floor)
    if part.channel is not None:
        return channel_floor(part, reference)
    return floor_model(part, reference)


def _splitter(part: Part, reference: Reference, heard: Collection[str]) -> PartModel:
    assert isinstance(part, Splitter)
    if part.channel is not None:
        return channel_splitter(part, reference, heard)
    return splitter_model(part, reference, heard)


def _dive_plane(part: Part, reference: Reference, heard: Collection[str]) -> PartModel:
    assert isinstance(part, DivePlane)
    return dive_plane_model(part, reference)


def _body(part: Part, reference: Reference, heard: Collection[str]) -> PartModel:
    assert isinstance(part, Body)
    return body_model(part, reference, heard)


def _cooling(part: Part, reference: Reference, heard: Collection[str]) -> PartModel:
    assert isinstance(part, CoolingFlow)
    return cooling_model(part, reference, heard)


def _air_net(part: Part, reference: Reference, heard: Collection[str]) -> PartModel:
    assert isinstance(part, AirNetPart)
    return air_net_model(part, reference, heard)


PART_MODELS: Mapping[str, _Builder] = {
    "body": _body,
    "wheels": _body,
    "lump": _body,
    "cooling": _cooling,
    "air net": _air_net,
    "splitter": _splitter,
    "dive plane": _dive_plane,
    "front section": _wing,
    "beam wing": _wing,
    "wing": _wing,
    "floor": _floor,
}
"""Kind of part → how its model is built, in the order in which parts act on each other."""


def part_models(project: Project, state: str = "") -> tuple[PartModel, ...]:
    """Return the models of all parts in a state, in the order in which they act on each other.

    Each hears only those before it: body and cooling, splitter, dive planes, sections
    under the nose, beam wings, front wings, rear wings, floor.

    Parameters
    ----------
    project
        With its parts.
    state
        Name of a state; the baseline unless given.

    Raises
    ------
    InputError
        If a part lacks what its engine needs, or there is no part at all.
    UnknownName
        If the state, or a coefficient in a part's ``model`` table, is not known.
    """
    parts = parts_in_state(project, project.state(state))
    if not parts:
        raise InputError("parts", "none", "", "a budget needs at least one part")
    mass = project.mass_state()
    reference = Reference(
        wheelbase=project.car.wheelbase,
        frontal_area=project.car.frontal_area,
        ride_height_front=mass.ride_height_front.best,
        ride_height_rear=mass.ride_height_rear.best,
        project=project,
    )
    heard = _heard(parts, reference)
    order = {kind: place for place, kind in enumerate(PART_MODELS)}
    placed = sorted(
        parts, key=lambda p: (order[p.kind], p.station.best if isinstance(p, WingPart) else 0.0)
    )
    models = tuple(PART_MODELS[part.kind](part, reference, heard) for part in placed)
    # terms of place hang on geometry alone: they come first, so that everybody hears them
    return (*neighbours_of(parts, models, reference, project.interactions), *models)


def _heard(parts: Sequence[Part], reference: Reference) -> frozenset[str]:
    """Return the channels that some part hears; what nobody hears is no input."""
    middle = reference.wheelbase.best / 2
    heard: set[str] = set()
    if any(isinstance(part, Wing) and part.station.best > middle for part in parts):
        heard |= {"rear_wing_angle", "rear_wing_pressure"}
    if any(isinstance(part, Floor) for part in parts):
        heard |= {"exit_pressure", "floor_head"}
    return frozenset(heard)


def inputs_of(models: Sequence[PartModel]) -> dict[str, Quantity]:
    """Return every uncertain number the models use, by name."""
    return {name: quantity for model in models for name, quantity in model.inputs.items()}


def project_inputs(project: Project) -> dict[str, Quantity]:
    """Return every uncertain number of every state of a project, for one ensemble.

    The baseline's quantities come first; where only another state gives a number a range, that
    one stands, so that its draws have a column.
    """
    found = inputs_of(part_models(project))
    for state in project.states[1:]:
        for name, quantity in inputs_of(part_models(project, state.name)).items():
            if name not in found or (found[name].is_exact and not quantity.is_exact):
                found[name] = quantity
    return found


def draws_of(models: Sequence[PartModel], ensemble: Ensemble) -> dict[str, Field]:
    """Return the draws of every input of the models, ``(n_draw,)`` each [SI].

    A state has its own values (another wing angle): they are taken from the models, and the
    deviates from the ensemble, so that two states differ draw by draw only in what was changed.
    """
    found: dict[str, Field] = {}
    for name, quantity in inputs_of(models).items():
        column = ensemble.columns.get(name)
        if column is None or quantity.is_exact:
            found[name] = values_at(quantity, ensemble.deviates[:, :0].sum(axis=1))
        else:
            found[name] = values_at(quantity, ensemble.deviates[:, column])
    return found
