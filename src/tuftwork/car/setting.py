"""A car in one of its states: the state's values put into the parts they belong to."""

from tuftwork.car.part import Part
from tuftwork.car.project import Project, State
from tuftwork.errors import InputError, UnknownName


def parts_in_state(project: Project, state: State) -> tuple[Part, ...]:
    """Return the project's parts as they stand in a state.

    Raises
    ------
    InputError
        If the state sets a key that the part does not have, or an impossible value.
    UnknownName
        If it names a part that is not in the project.
    """
    for name in state.without:
        project.part(name)
    changes: dict[str, dict[str, str | float]] = {}
    for path, value in state.values.items():
        part, key = split_path(path, project)
        changes.setdefault(part, {})[key] = value
    return tuple(
        part.with_values(changes[part.name]) if part.name in changes else part
        for part in project.parts
        if part.name not in state.without
    )


def split_path(path: str, project: Project) -> tuple[str, str]:
    """Return the part's name and key of ``rear wing.incidence``."""
    name, dot, key = path.rpartition(".")
    if not dot:
        cure = "Write it like 'rear wing.incidence'."
        raise InputError("set", f"'{path}'", "", "needs a part and a key", cure)
    part = project.part(name)
    keys = [k for k in type(part).model_fields if k not in ("name", "kind", "place", "origin")]
    if key not in keys:
        raise UnknownName(f"set '{path}': key", key, keys)
    return name, key
