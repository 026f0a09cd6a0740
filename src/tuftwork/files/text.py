"""A user's text file, read once with every way it can be unreadable told apart."""

import tomllib
from pathlib import Path
from typing import Any

from tuftwork.errors import Fault, FileFault

MOST_BYTES = 5_000_000
"""A project file is a few hundred lines; anything this large is another file. [byte]"""

_MARKS = ((b"\xff\xfe", "UTF-16"), (b"\xfe\xff", "UTF-16"))


def read_bytes(path: Path, *, most: int = MOST_BYTES) -> bytes:
    """Return a file's bytes, refusing what is not a file or too large before reading it.

    Raises
    ------
    FileFault
        If there is no such file, it is a folder, links run in a circle, it may not be read, or it
        is larger than ``most`` [byte].
    """
    try:
        status = path.stat()
        if path.is_dir():
            raise _fault(path, "is a folder, not a file")
        if not path.is_file():
            raise _fault(path, "is neither a file nor a folder")
        if status.st_size > most:
            found, limit = f"{status.st_size / 1e6:.1f} MB", f"at most {most / 1e6:.0f} MB"
            cure = "Is this another file under its name?"
            raise _fault(path, "is too large to be what it should be", found, limit, cure)
        return path.read_bytes()
    except FileNotFoundError:
        what = "is a link to something that is not there" if path.is_symlink() else "is not there"
        raise _fault(path, what) from None
    except PermissionError:
        raise _fault(path, "may not be read by you", cure="Check its rights.") from None
    except OSError as error:
        what = "cannot be read"
        if "symbolic links" in str(error.strerror):
            what = "is a link that leads back to itself"
        raise _fault(path, what, found=str(error.strerror)) from None


def decode(data: bytes, path: Path) -> str:
    """Return a file's text; it must be UTF-8.

    Raises
    ------
    FileFault
        With the line of the first byte that is not UTF-8, or of a zero byte.
    """
    for mark, name in _MARKS:
        if data.startswith(mark):
            cure = "Save it again as UTF-8 from your editor."
            raise _fault(path, "is not UTF-8 text", name, "UTF-8", cure, line=1)
    if b"\0" in data:
        line = data[: data.index(b"\0")].count(b"\n") + 1
        what = "holds zero bytes: it was cut off while being written, or is no text file"
        raise _fault(path, what, "a zero byte", "UTF-8 text", line=line)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        found = f"byte 0x{data[error.start]:02X}"
        cure = "Save it again as UTF-8 from your editor."
        raise _fault(path, "is not UTF-8 text", found, "UTF-8", cure, line=line) from None


def parse_toml(text: str, path: Path) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Raises
    ------
    FileFault
        With the line of the first place that is not TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileFault([_syntax(str(error), text, path)]) from None
    except RecursionError:
        raise _fault(path, "is nested too deeply to be a project") from None


def _syntax(message: str, text: str, path: Path) -> Fault:
    what, _, place = message.partition(" (at ")
    lines = text.splitlines() or [""]
    line = len(lines)
    if place.startswith("line "):
        line = int(place.removeprefix("line ").split(",")[0])
    shown = lines[min(line, len(lines)) - 1].strip()[:60]
    key = shown.partition("=")[0].strip() if "=" in shown else ""
    cut = "end of document" in place
    return Fault(
        file=path.name,
        line=line,
        key=key,
        what=f"not TOML: {what[:1].lower()}{what[1:]}" + (", and the file ends here" * cut),
        found=shown or "nothing",
        expected='key = "value", [table] or [[list of tables]], all quotes and brackets closed',
        cure="Was the file cut off? " * cut + "What follows can be checked once this is mended.",
    )


def _fault(
    path: Path,
    what: str,
    found: str = "",
    expected: str = "",
    cure: str = "",
    *,
    line: int | None = None,
) -> FileFault:
    name = path.name or str(path)
    return FileFault(
        [Fault(what=what, file=name, line=line, found=found, expected=expected, cure=cure)]
    )
