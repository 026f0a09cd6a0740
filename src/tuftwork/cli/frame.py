"""What every command shares: the program, ``--json``, errors in words, exit codes.

Exit codes stand in ``EXIT_CODES``.
"""

import json
from collections.abc import Callable
from functools import wraps
from typing import Annotated, Any, ParamSpec

import typer

from tuftwork.errors import (
    Cancelled,
    FileFault,
    InputError,
    NotConverged,
    NotCovered,
    TuftworkError,
)

P = ParamSpec("P")

DONE, NO, BAD_INPUT, NO_ANSWER, STOPPED = 0, 1, 2, 3, 130
EXIT_CODES = {
    DONE: "done",
    NO: 'the answer is "no": a check found faults, or a claim contradicts',
    BAD_INPUT: "an input or a file cannot be used; every fault is listed",
    NO_ANSWER: "a solver stopped short, or there is nothing to answer from",
    STOPPED: "stopped by the user; what was finished is kept",
}

program = typer.Typer(
    name="tuftwork",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Race-car aerodynamics with ranges, from a picture and a claim to the driver's page.",
    epilog="Desk estimates: verify by proof load, and by test in small speed steps on a closed "
    "course.",
)

JsonOption = Annotated[bool, typer.Option("--json", help="Print the answer as JSON.")]
ProjectArgument = Annotated[str, typer.Argument(help="Folder of the project.", show_default=True)]


def command(name: str) -> Callable[[Callable[P, int | None]], Callable[P, None]]:
    """Register a command; what it returns is the exit code, and errors become words on stderr."""

    def register(function: Callable[P, int | None]) -> Callable[P, None]:
        @wraps(function)
        def run(*args: P.args, **kwargs: P.kwargs) -> None:
            raise typer.Exit(_guarded(function, *args, **kwargs))

        group, _, verb = name.rpartition(" ")
        (_group(group) if group else program).command(verb)(run)
        return run

    return register


GROUPS = {
    "evidence": "What the project rests on: show, add, keep.",
    "flow": "The whole car in three dimensions: prepare, run, show.",
}
"""First words of commands with two words, and what they are about."""


def _group(name: str) -> typer.Typer:
    """Return the group of a two-word command, made where it is not there yet."""
    for held in program.registered_groups:
        if held.name == name and held.typer_instance is not None:
            return held.typer_instance
    made = typer.Typer(help=GROUPS[name], no_args_is_help=True)
    program.add_typer(made, name=name)
    return made


def _guarded(function: Callable[P, int | None], *args: P.args, **kwargs: P.kwargs) -> int:
    as_json = bool(kwargs.get("as_json", False))
    try:
        return function(*args, **kwargs) or DONE
    except (Cancelled, KeyboardInterrupt) as error:
        return _refuse(error, STOPPED, as_json)
    except (NotConverged, NotCovered) as error:
        return _refuse(error, NO_ANSWER, as_json)
    except (FileFault, InputError, TuftworkError, OSError) as error:
        return _refuse(error, BAD_INPUT, as_json)


def _refuse(error: BaseException, code: int, as_json: bool) -> int:
    if as_json:
        faults = [str(f) for f in error.faults] if isinstance(error, FileFault) else [str(error)]
        typer.echo(json.dumps({"error": type(error).__name__, "faults": faults}))
    else:
        typer.secho(str(error) or "Stopped.", fg=typer.colors.RED, err=True)
    return code


def print_json(tree: Any) -> None:
    """Print an answer for other programs."""
    typer.echo(json.dumps(tree, ensure_ascii=False, indent=2))
