"""Where each key of a TOML text stands: parsers say what a file holds, not on which line.

Reads text that a TOML parser has already accepted, so it only has to find its way through it.
"""

import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_SCALAR = re.compile(r"[^,\]}#\n]*[^,\]}#\s]")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}(?!")', re.DOTALL),
    re.compile(r"'''.*?'{3,5}(?!')", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a key stands: its line from 1, and the spans of key and value in the text."""

    line: int
    key: tuple[int, int]
    value: tuple[int, int]


def places(text: str) -> dict[Path, Place]:
    """Return the place of every key, table and list member, by its path.

    Parameters
    ----------
    text
        TOML that a parser has accepted.
    """
    return _Walk(text).found


def line_of(found: dict[Path, Place], path: Path) -> int | None:
    """Return the line of a path, or of the nearest table around it that is written down."""
    for end in range(len(path), 0, -1):
        if path[:end] in found:
            return found[path[:end]].line
    return 1 if found else None


class _Walk:
    """One pass over the text; ``found`` fills as it goes."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self._key_end = 0
        self.found: dict[Path, Place] = {}
        self._count: dict[Path, int] = {}
        self._ends = [i for i, c in enumerate(text) if c == "\n"]
        table: Path = ()
        self._skip(_BLANK)
        while self.at < len(text):
            if text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK)

    def _header(self) -> Path:
        start = self.at
        many = self.text.startswith("[[", start)
        self.at += 2 if many else 1
        keys = self._dotted()
        self.at += 2 if many else 1
        path: Path = ()
        for key in keys[:-1]:
            path = (*path, key)
            if path in self._count:
                path = (*path, self._count[path] - 1)
        path = (*path, keys[-1])
        if many:
            self._note(path, start, (self.at, self.at))
            self._count[path] = self._count.get(path, 0) + 1
            path = (*path, self._count[path] - 1)
        self._note(path, start, (self.at, self.at))
        return path

    def _pair(self, table: Path) -> None:
        start = self.at
        keys = self._dotted()
        end = self._key_end
        self.at += 1  # the equals sign
        self._skip(_SPACE)
        for depth in range(1, len(keys) + 1):
            self._note((*table, *keys[:depth]), start, (self.at, self.at), end=end)
        self._value((*table, *keys), start, end)

    def _dotted(self) -> list[str]:
        keys = []
        while True:
            self._skip(_SPACE)
            keys.append(self._key())
            self._key_end = self.at
            self._skip(_SPACE)
            if self.text[self.at : self.at + 1] != ".":
                return keys
            self.at += 1

    def _key(self) -> str:
        bare = _BARE.match(self.text, self.at)
        if bare:
            self.at = bare.end()
            return bare[0]
        token = self._string()
        return str(tomllib.loads(f"key = {token}")["key"])

    def _string(self) -> str:
        for form in _STRINGS:
            found = form.match(self.text, self.at)
            if found:
                self.at = found.end()
                return found[0]
        return ""

    def _value(self, path: Path, start: int, end: int) -> None:
        opened = self.at
        mark = self.text[opened : opened + 1]
        if mark == "[":
            self._members(path)
        elif mark == "{":
            self._inline(path)
        elif not self._string():
            self._skip(_SCALAR)
        self._note(path, start, (opened, self.at), end=end, again=True)

    def _members(self, path: Path) -> None:
        self.at += 1
        index = 0
        self._skip(_BLANK)
        while self.text[self.at : self.at + 1] not in ("]", ""):
            self._value((*path, index), self.at, self.at)
            index += 1
            self._comma()
        self.at += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        self._skip(_BLANK)
        while self.text[self.at : self.at + 1] not in ("}", ""):
            self._pair(path)
            self._comma()
        self.at += 1

    def _comma(self) -> None:
        self._skip(_BLANK)
        if self.text[self.at : self.at + 1] == ",":
            self.at += 1
        self._skip(_BLANK)

    def _skip(self, form: re.Pattern[str]) -> None:
        found = form.match(self.text, self.at)
        if found:
            self.at = found.end()

    def _note(
        self,
        path: Path,
        start: int,
        value: tuple[int, int],
        *,
        end: int | None = None,
        again: bool = False,
    ) -> None:
        if path in self.found and not again:
            return
        line = bisect_right(self._ends, start - 1) + 1
        self.found[path] = Place(line=line, key=(start, end or start), value=value)
