"""Which states of a car somebody may choose, and which are what a device does or how it fails."""

from tuftwork.car import Project


def is_choice(project: Project, state: str) -> bool:
    """Return whether a state is a setting that may be chosen for a run.

    Positions and failures of a device, and whatever is stuck, are answered by the device's own
    table: a lost wing is not a change that "costs points", nor a wrong first move.
    """
    own = project.state(state)
    moved = {name for device in project.devices for name in (*device.positions, *device.failures)}
    return not own.stuck and state not in moved


def proposed(project: Project) -> frozenset[str]:
    """Return the states that ``[[lap.changes]]`` propose; every choice where none are written."""
    written = {change.state for change in project.lap.changes} if project.lap else set()
    every = {state.name for state in project.states if is_choice(project, state.name)}
    return frozenset(written or every)
