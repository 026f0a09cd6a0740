"""Every uncertain number of a project, under one name, with a label and its draws.

One ensemble serves the whole study: parts in all states, springs, ride heights and weather. Two
states then differ draw by draw only in what was changed.
"""

from collections.abc import Mapping

from tuftwork.aeromap.part import Coefficient, coefficients_of, project_inputs, role_coefficients
from tuftwork.aeromap.platform import platform_quantities
from tuftwork.car import Floor, Part, Project, Splitter, Table, WingPart, quantities_in
from tuftwork.quantity import Quantity
from tuftwork.study.registry import LABELS, QUANTITIES, gathered

SAME_TAPE = 0.9
"""Correlation of ride heights at rest set in one garage with one tape: a change between two
settings is known better than either of them. Common practice, no source. [-]"""


_ENGINE_TABLES = {
    "wing": ("wing", "estimate"),
    "front section": ("wing", "estimate"),
    "beam wing": ("wing", "estimate"),
    "dive plane": ("aeromap.part", "dive_plane"),
    "floor": ("floor", "estimate"),
    "splitter": ("floor", "splitter"),
    "body": ("aeromap.part", "body"),
    "wheels": ("aeromap.part", "body"),
    "lump": ("aeromap.part", "body"),
    "cooling": ("aeromap.part", "cooling"),
    "air net": ("aeromap.part", "air_net"),
}
"""Kind of part → room and table of its engine's coefficients."""


def study_quantities(project: Project) -> dict[str, Quantity]:
    """Return every uncertain number of the study, by name."""
    found: dict[str, Quantity] = {}
    if project.parts:
        found |= project_inputs(project)
    if has_platform(project):
        for state in state_names(project):
            found |= platform_quantities(project, state=state)
    for name, quantity in quantities_in(project.weather, "weather."):
        found[name] = quantity
    for key in ("power", "driveline", "rolling_resistance"):
        own = getattr(project.car, key)
        if own is not None:
            found[f"car.{key}"] = own
    for more in gathered(QUANTITIES, project):
        found |= more
    return found


def ride_height_correlations(quantities: Mapping[str, Quantity]) -> dict[tuple[str, str], float]:
    """Return the correlations of ride heights at rest that were set with the same tape."""
    found: dict[tuple[str, str], float] = {}
    for axle in ("ride_height_front", "ride_height_rear"):
        names = [n for n, q in quantities.items() if n.endswith(f".{axle}") and not q.is_exact]
        for i, first in enumerate(names):
            for second in names[i + 1 :]:
                found[first, second] = SAME_TAPE
    return found


def has_platform(project: Project) -> bool:
    """Return whether both axles are described, so that ride heights follow the loads."""
    return project.car.front is not None and project.car.rear is not None


def state_names(project: Project) -> tuple[str, ...]:
    """Return the names of the project's states, the baseline first."""
    return tuple(s.name for s in project.states) or (project.state().name,)


def labels_of(project: Project) -> dict[str, str]:
    """Return what a person calls every number: part and key, or what an engine says of it."""
    found: dict[str, str] = {}
    for part in project.parts:
        found |= _table_labels(part, f"{part.name}.", part.name)
        if isinstance(part, Floor) and part.channel is not None:
            found |= _channel_labels(part)
        if isinstance(part, Splitter) and part.channel is not None:
            found |= front_labels(part)
        for name, coefficient in _coefficients(part).items():
            said = f"{part.name}: {_start_small(coefficient.called)}"
            found[f"{part.name}.model.{name}"] = said
    found |= _table_labels(project.car, "car.", "car")
    for axle, table in (("front", project.car.front), ("rear", project.car.rear)):
        if table is not None:
            found |= _table_labels(table, f"car.{axle}.", f"{axle} axle")
    for mass in project.mass_states:
        found |= _table_labels(mass, f"mass_states.{mass.name}.", mass.name)
    for state in project.states:
        found |= _table_labels(state, f"states.{state.name}.", state.name)
    for more in gathered(LABELS, project):
        found |= more
    return found | _table_labels(project.weather, "weather.", "weather")


def hints_of(project: Project) -> dict[str, str]:
    """Return what numbers with a short label are, in a sentence."""
    return {
        f"{part.name}.model.{name}": coefficient.meaning
        for part in project.parts
        for name, coefficient in _coefficients(part).items()
        if coefficient.label
    }


def _coefficients(part: Part) -> dict[str, Coefficient]:
    engine = _ENGINE_TABLES[part.kind]
    if isinstance(part, WingPart) and part.section is not None:
        engine = ("wing", "engine")
    if isinstance(part, Floor) and part.channel is not None:
        engine = ("floor", "engine")
    if isinstance(part, Splitter) and part.channel is not None:
        engine = ("floor", "front")
    return {**coefficients_of(*engine), **role_coefficients(part.kind)}


def _channel_labels(part: Floor) -> dict[str, str]:
    assert part.channel is not None
    found = {}
    for k, row in enumerate(part.channel.side):
        place = f"beside it at {row.station.best:.2f} m"
        found[f"{part.name}.channel.side.{k}.pressure"] = f"{part.name}: pressure {place}"
    for k, block in enumerate(part.channel.blocks):
        place = f"the block from {block.start.best:.2f} to {block.end.best:.2f} m"
        found[f"{part.name}.channel.blocks.{k}.share"] = f"{part.name}: share closed by {place}"
        found[f"{part.name}.channel.blocks.{k}.loss"] = f"{part.name}: loss of {place}"
    return found


def front_labels(part: Splitter) -> dict[str, str]:
    """Return what a person calls the numbers of the channels under a splitter."""
    assert part.channel is not None
    return {
        f"{part.name}.{path}": f"{part.name}: {path.removeprefix('channel.').replace('.', ', ')}"
        .replace("_", " ")
        for path, _ in quantities_in(part.channel, "channel.")
    } | {
        f"{part.name}.channel.vent.{key}": f"{part.name}: vent, {word}"
        for key, word in (("discharge", "discharge"), ("pressure", "surface pressure"),
                          ("gain", "downforce of its jet"))
    }  # fmt: skip


def _table_labels(table: Table, prefix: str, owner: str) -> dict[str, str]:
    return {
        f"{prefix}{key}": f"{owner}: {key.replace('_', ' ')}" for key in type(table).model_fields
    }


def _start_small(text: str) -> str:
    return text[:1].lower() + text[1:] if text[1:2].islower() else text
