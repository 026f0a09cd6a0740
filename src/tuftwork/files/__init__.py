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
from tuftwork.files.register import (
    EVIDENCE_KINDS,
    Offered,
    add_evidence,
    loose_files,
    next_id,
    offered_of,
)
from tuftwork.files.start import new_project, record_digests, register_evidence

__all__ = [
    "EVIDENCE_KINDS",
    "FOLDERS",
    "NEW",
    "PROJECT_FILE",
    "REMOVE",
    "Offered",
    "OpenProject",
    "RegisterLine",
    "add_evidence",
    "changed_text",
    "digest_of",
    "edit_project",
    "key_page",
    "loose_files",
    "new_project",
    "next_id",
    "offered_of",
    "parse_project",
    "read_project",
    "record_digests",
    "register_evidence",
    "register_of",
    "save_changes",
    "used_by",
    "write_atomic",
]
