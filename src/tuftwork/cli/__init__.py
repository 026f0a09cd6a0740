"""The command ``tuftwork``: one thin function per verb, which calls the study and shows it."""

from tuftwork.cli import answer, project, trial
from tuftwork.cli.frame import EXIT_CODES, program

__all__ = ["EXIT_CODES", "answer", "main", "program", "project", "trial"]


def main() -> None:
    """Run the program."""
    program()
