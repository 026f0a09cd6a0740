"""The ledger of runs: what was computed when, from which inputs, how long, where."""

import platform
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

RunState = Literal["running", "done", "cancelled", "failed"]

_FORM = """
create table if not exists runs (
  id integer primary key, started text not null, took_s real, what text not null,
  digest text not null, version text not null, host text not null, state text not null,
  message text not null default '');
create table if not exists steps (
  run integer not null references runs(id), place integer not null, name text not null,
  title text not null, digest text not null, cached integer not null, took_s real not null);
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepEntry:
    """One step of one run."""

    name: str
    title: str
    digest: str
    cached: bool
    took_s: float


class Ledger:
    """One SQLite file; every entry is committed as it is made."""

    def __init__(self, path: Path) -> None:
        self.path = path
        path.parent.mkdir(parents=True, exist_ok=True)
        with self._open() as base:
            base.executescript(_FORM)

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        base = sqlite3.connect(self.path, timeout=30)
        base.row_factory = sqlite3.Row
        try:
            with base:
                yield base
        finally:
            base.close()

    def begin(self, *, what: str, digest: str, version: str) -> int:
        """Enter a run that has begun and return its number."""
        now = datetime.now(UTC).isoformat(timespec="seconds")
        with self._open() as base:
            done = base.execute(
                "insert into runs (started, what, digest, version, host, state)"
                " values (?, ?, ?, ?, ?, 'running')",
                (now, what, digest, version, f"{platform.system()} {platform.machine()}"),
            )
            return int(done.lastrowid or 0)

    def add_step(self, run: int, place: int, step: StepEntry) -> None:
        """Enter a step that has ended."""
        with self._open() as base:
            base.execute(
                "insert into steps values (?, ?, ?, ?, ?, ?, ?)",
                (run, place, step.name, step.title, step.digest, int(step.cached), step.took_s),
            )

    def end(self, run: int, *, state: RunState, took_s: float, message: str = "") -> None:
        """Enter how a run ended."""
        with self._open() as base:
            base.execute(
                "update runs set state = ?, took_s = ?, message = ? where id = ?",
                (state, took_s, message, run),
            )

    def runs(self, most: int = 50) -> list[dict[str, Any]]:
        """Return the latest runs with their steps, newest first."""
        with self._open() as base:
            rows = base.execute("select * from runs order by id desc limit ?", (most,)).fetchall()
            return [{**dict(row), "steps": self._steps(base, row["id"])} for row in rows]

    @staticmethod
    def _steps(base: sqlite3.Connection, run: int) -> list[dict[str, Any]]:
        rows = base.execute(
            "select name, title, digest, cached, took_s from steps where run = ? order by place",
            (run,),
        ).fetchall()
        return [{**dict(row), "cached": bool(row["cached"])} for row in rows]
