"""The only readers and writers of a user's files."""

from tuftwork.files.evidence import RegisterLine, register_of, used_by
from tuftwork.files.project import (
    FOLDERS,
    PROJECT_FILE,
    OpenProject,
    parse_project,
    read_project,
)

__all__ = [
    "FOLDERS",
    "PROJECT_FILE",
    "OpenProject",
    "RegisterLine",
    "parse_project",
    "read_project",
    "register_of",
    "used_by",
]
