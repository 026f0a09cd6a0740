"""Refusals of the 3-D flow as a person reads them: labels of the page, keys of the project.

The solver's rooms call things by their own names, in SI; whoever writes a case or moves a slider
knows neither.
"""

from collections.abc import Sequence

from tuftwork.car import FlowRun
from tuftwork.errors import InputError, UnknownName
from tuftwork.flow import FlowCase, Prepared
from tuftwork.flow.judge import Forecast, prepared_or_faults

LABELS = {
    "speed": "Speed",
    "yaw": "Yaw",
    "ride_height_front": "Front ride height",
    "ride_height_rear": "Rear ride height",
    "cell": "Cell",
    "laid": "Cells laid",
    "levels": "Doublings outwards",
    "settle": "Settles for",
    "longest": "Runs at most",
    "error": "Statistical error",
    "error_share": "Statistical error",
    "back_end": "Runs on",
    "leave_out": "Parts",
    "over_time": "Kept over time",
    "over_time.every": "Kept over time, every",
    "over_time.planes": "Kept over time, plane",
}
"""Key of a case → what the page writes beside its field."""
_KEYS = {"share": "error_share", "back end": "back_end", "backend": "back_end"}
"""Name in the solver's rooms → key of a case, where they differ."""
_SHOWN = {
    "speed": ("m/s", 3.6, "km/h"),
    "yaw": ("rad", 57.29577951308232, "°"),
    "ride_height_front": ("m", 1e3, "mm"),
    "ride_height_rear": ("m", 1e3, "mm"),
    "cell": ("m", 1e3, "mm"),
}
"""Key of a case → its SI unit, factor and unit on the page."""
_ZONE = "zone on level"
LEAST_AVERAGED = 1.0
"""Travel that is averaged at least. [car lengths]"""


def seen_as(key: str) -> str:
    """Return how a person knows a key of a case: the page's label, and the key if it differs."""
    label = LABELS.get(key)
    if label is None:
        return key
    return label if label.lower() == key else f"{label} ({key})"


def spoken(fault: InputError) -> InputError:
    """Return a fault of the solver's rooms in the names and units of page and project.

    Parameters
    ----------
    fault
        As it was raised; one that names a list of names stays as it is.
    """
    if isinstance(fault, UnknownName):
        return fault
    name, value, unit, cure = fault.name, fault.value, fault.unit, fault.cure
    if name.startswith(_ZONE):
        name = f"{seen_as('levels')}, box{name.removeprefix('zone')}"
        cure = "Use fewer doublings, smaller cells or more air around."
    name = _KEYS.get(name, name).removeprefix("box.")
    si, factor, shown = _SHOWN.get(name, ("", 1.0, ""))
    if si and unit == si and isinstance(value, int | float):
        value, unit = float(f"{factor * value:.4g}"), shown
    return InputError(seen_as(name), value, _travel(unit), _travel(fault.limit), cure)


def _travel(text: str) -> str:
    """Return words in which a body on the lattice is a car."""
    return text.replace("body length", "car length")


def spoken_place(at: Sequence[float]) -> str:
    """Return a place in car axes to the centimetre, its letters and numbers kept together. [m]."""
    told = ", ".join(f"{axis}\u00a0{value:.2f}" for axis, value in zip("xyz", at, strict=True))
    return f"{told}\u00a0m".replace("-", "\u2212")


def spoken_text(error: BaseException) -> str:
    """Return what an error says, lengths of the body as lengths of the car."""
    return _travel(str(spoken(error) if isinstance(error, InputError) else error))


def ending_fault(run: FlowRun) -> tuple[InputError, ...]:
    """Return what is wrong with settling and longest travel together; nothing where they fit.

    Parameters
    ----------
    run
        As the project has it.
    """
    # what is told as the cure must do: 1.4 less 0.4 is short of 1 by a rounding
    if round(run.longest - run.settle, 9) >= LEAST_AVERAGED:
        return ()
    limit = f"must be at least {LEAST_AVERAGED:g} car length more than {seen_as('settle')} = "
    limit += f"{run.settle:g} car lengths, to average over"
    cure = f"Let it run {run.settle + LEAST_AVERAGED:g} or more"
    if run.longest > LEAST_AVERAGED:
        cure += f", or settle for {run.longest - LEAST_AVERAGED:g} or less"
    return (InputError(seen_as("longest"), run.longest, "car lengths", limit, f"{cure}."),)


def prepared_or_spoken(
    case: FlowCase, seen: Forecast
) -> tuple[Prepared | None, tuple[InputError, ...]]:
    """Return the case ready to run, or everything that speaks against it, as a person reads it.

    Parameters
    ----------
    case
        What to run.
    seen
        Its forecast, its faults already spoken; with faults in it nothing is cut.
    """
    prepared, faults = prepared_or_faults(case, seen)
    return prepared, faults if seen.faults else tuple(spoken(fault) for fault in faults)
