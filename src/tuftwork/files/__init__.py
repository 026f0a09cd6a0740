"""The only readers and writers of a user's files."""

from tuftwork.files.atomic import write_atomic
from tuftwork.files.edit import NEW, REMOVE, changed_text, edit_project, save_changes
from tuftwork.files.evidence import RegisterLine, digest_of, register_of, used_by
from tuftwork.files.keypage import key_page
from tuftwork.files.project import (
    FOLDERS,
    PROJECT_FILE,
    OpenProject,
    parse_project,
    read_project,
)
from tuftwork.files.start import new_project, record_digests, register_evidence

__all__ = [
    "FOLDERS",
    "NEW",
    "PROJECT_FILE",
    "REMOVE",
    "OpenProject",
    "RegisterLine",
    "changed_text",
    "digest_of",
    "edit_project",
    "key_page",
    "new_project",
    "parse_project",
    "read_project",
    "record_digests",
    "register_evidence",
    "register_of",
    "save_changes",
    "used_by",
    "write_atomic",
]
