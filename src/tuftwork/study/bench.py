"""One open project: its pages, its chains, its live answers, its runs."""

import csv
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from io import StringIO
from pathlib import Path
from threading import Lock, RLock
from time import perf_counter
from typing import Any

import numpy as np

from tuftwork import __version__
from tuftwork.errors import FileFault, InputError, NotCovered, UnknownName
from tuftwork.files import OpenProject, parse_project, read_project, write_atomic
from tuftwork.study.ahead import compiled_ahead
from tuftwork.study.answers import Answers
from tuftwork.study.job import Job
from tuftwork.study.job_step import job_steps
from tuftwork.study.ledger import Ledger
from tuftwork.study.register import runs_page
from tuftwork.study.registry import CHAINS, LIVE, OPEN_CHAINS, OPEN_LIVE, PAGES, found, page_entry
from tuftwork.study.sheet import BUDGET_COLUMNS, PATH_COLUMNS, budget_lines, path_lines
from tuftwork.study.step import Progress, digests_of, run_steps
from tuftwork.study.store import Store, digest_of

_LAST = "last-project.toml"

Watch = Callable[[float, str, float | None], None]


def _unseen(share: float, step: str, left_s: float | None) -> None:
    """Nobody watches."""


class Bench:
    """A project folder with its results; safe to be asked from several threads.

    Parameters
    ----------
    folder
        The project folder.
    scheduler
        Address of a Dask scheduler for large sweeps.
    runs_itself
        Whether a page that needs results nobody computed yet computes them. Commands do, so that
        one command is enough; the app does not, so that a page never keeps anyone waiting.
    """

    def __init__(
        self, folder: Path | str, *, scheduler: str | None = None, runs_itself: bool = True
    ) -> None:
        self._reading = Lock()
        self._opened = read_project(folder)
        self.folder = self.opened.folder
        self.scheduler = scheduler
        self.runs_itself = runs_itself
        self.store = Store(self.folder / "results")
        self._answers: Answers | None = None
        self._shown = ""
        self._mark = self._file_mark()
        self._ledger: Ledger | None = None
        self._lock = RLock()
        self.starts = Lock()
        """Held while a process is started: of two pages that start it at once, one is refused."""

    @property
    def opened(self) -> OpenProject:
        """The project as it was last read or saved."""
        return self._opened

    @opened.setter
    def opened(self, opened: OpenProject) -> None:
        with self._reading:  # what is being read at this moment was there before it was saved
            self._opened = opened

    @property
    def ledger(self) -> Ledger:
        """The ledger of runs; made when it is first needed."""
        if self._ledger is None:
            self._ledger = Ledger(self.folder / "results" / "ledger.sqlite")
        return self._ledger

    def run(
        self, progress: Watch = _unseen, cancelled: Callable[[], bool] = lambda: False
    ) -> dict[str, Any]:
        """Run the study and return its line of the run log.

        Raises
        ------
        Cancelled
            When ``cancelled()`` turned true; everything finished so far is kept.
        FileFault
            If the project cannot be read.
        """

        def watch(now: Progress) -> None:
            progress(now.done, now.title, now.left_s)

        opened = read_project(self.folder)
        job = Job.of(opened.project, self.scheduler, self.folder)
        begun = perf_counter()
        with compiled_ahead(job_steps(job), self.store) as steps:
            results = run_steps(
                steps, self.store, self.ledger,
                what=opened.project.about.title, version=__version__, watch=watch,
                is_cancelled=cancelled,
            )  # fmt: skip
        write_atomic(self.folder / "results" / _LAST, opened.text.encode())
        with self._lock:
            self._answers, self._shown = Answers(job=job, results=results), opened.digest
        with suppress(FileFault):  # changed meanwhile into something that cannot be read
            self._refresh()
        line: dict[str, Any] = runs_page(self.ledger)["runs"][0]
        return line | {"took_s": perf_counter() - begun}

    @property
    def answers(self) -> Answers:
        """Results to be asked: today's, else those of the last run, else computed now.

        Raises
        ------
        NotCovered
            If nothing was computed yet and this bench does not run by itself.
        """
        with self._lock:
            if self._answers is None or (self.runs_itself and self.is_stale()):
                self._answers = self._held()
            if self._answers is not None:
                return self._answers
        if not self.runs_itself:
            raise NotCovered("Nothing has been computed yet. Run the study first.")
        self.run()
        with self._lock:
            assert self._answers is not None
            return self._answers

    def page(self, name: str, **query: str) -> dict[str, Any]:
        """Return a page as a plain tree.

        Raises
        ------
        UnknownName
            If there is no such page.
        NotCovered
            If it has nothing to show yet.
        """
        entry = page_entry(name)
        if entry is None:
            raise UnknownName("page", name, [e.name for e in PAGES])
        for key in query:
            if key not in entry.query:
                raise UnknownName("query", key, entry.query or ("none",))
        self._refresh()
        given: dict[str, Callable[[], Any]] = {
            "answers": lambda: self.answers,
            "opened": lambda: self.opened,
            "ledger": lambda: self.ledger,
            "bench": lambda: self,
        }
        tree: dict[str, Any] = found(entry.make)(given[entry.takes](), **query)
        return tree

    def why(self, name: str) -> dict[str, Any]:
        """Return the chain behind one number.

        Raises
        ------
        UnknownName
            If no number has this address.
        """
        own = OPEN_CHAINS.get(name.partition("/")[0])
        if own is not None:
            chain: dict[str, Any] = found(own)(self, name)
            return chain
        answers = self.answers
        chains = answers.book.chains
        if name not in chains:
            self._work_out(answers, name)
        if name not in chains:
            raise UnknownName("chain", name, list(chains)[:200])
        return chains[name]

    def live(self, message: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
        """Answer one live request with a header and arrays."""
        wanted = str(message.get("do"))
        if wanted in OPEN_LIVE:
            shown: tuple[dict[str, Any], dict[str, np.ndarray]] = found(OPEN_LIVE[wanted])(
                self, message
            )
            return shown
        if wanted not in LIVE:
            raise UnknownName("do", wanted, LIVE)
        answer: tuple[dict[str, Any], dict[str, np.ndarray]] = found(LIVE[wanted])(
            self.answers, message
        )
        return answer

    def save_map(self, path: Path | str) -> str:
        """Write the map of all states to a netCDF file and return its path."""
        from tuftwork.files.map import write_map
        from tuftwork.study.survey_header import full_header

        answers = self.answers
        if not answers.has_platform:
            raise NotCovered("No map: it needs parts and both axles.")
        target = Path(path)
        target.parent.mkdir(parents=True, exist_ok=True)
        made = answers.aero_map()
        write_map(target, replace(made, header=full_header(answers, made.header)))
        return str(target)

    def export(self, folder: Path | str | None = None) -> list[str]:
        """Write the map, the budget and the path for other programs; return the files' paths."""
        out = Path(folder) if folder else self.folder / "out"
        out.mkdir(parents=True, exist_ok=True)
        written = []
        if self.answers.has_platform:
            written.append(self.save_map(out / "map.nc"))
            rows = [row for s in self.answers.states for row in path_lines(self.answers, s)]
            written.append(_write_table(out / "path.csv", PATH_COLUMNS, rows))
        rows = [row for s in self.answers.states for row in budget_lines(self.answers, s)]
        written.append(_write_table(out / "budget.csv", BUDGET_COLUMNS, rows))
        return written

    def digest(self) -> str:
        """Return the short digest of the project as it is now."""
        if self._file_mark() != self._mark:
            with suppress(FileFault):
                self._refresh()
        return self.opened.digest.removeprefix("sha256:")[:12]

    def results_digest(self) -> str:
        """Return a digest of the whole project, its results and the program's version."""
        answers = self.answers
        digests = digests_of(job_steps(answers.job))
        return digest_of([__version__, self.opened.digest, digests])

    def is_stale(self) -> bool:
        """Return whether the project changed since the shown results were computed."""
        if self._answers is None:
            return False
        if self._file_mark() != self._mark:
            try:
                self._refresh()
            except FileFault:
                return True  # it changed into something that cannot be read
        return self._shown != self.opened.digest

    def is_readable(self) -> bool:
        """Return whether the project file can be read as it is now."""
        if self._file_mark() == self._mark:
            return True
        try:
            self._refresh()
        except FileFault:
            return False
        return True

    def close(self) -> None:
        """Let go of the project."""

    def _refresh(self) -> None:
        """Read the project again; a file that cannot be read now is refused, results stay."""
        with self._reading:  # of two who read at once, the later reading is kept
            mark = self._file_mark()
            self._opened, self._mark = read_project(self.folder), mark

    def _file_mark(self) -> tuple[int, int]:
        """Return time and size of the project file: cheap to ask every second."""
        try:
            found = self.opened.path.stat()
        except OSError:
            return (0, 0)
        return found.st_mtime_ns, found.st_size

    def answers_or_none(self) -> Answers | None:
        """Return results where there are any."""
        try:
            return self.answers
        except NotCovered:
            return None

    def _held(self) -> Answers | None:
        """Return today's results from the store, or else those of the last run."""
        found = self._from_store(self.opened)
        if found is not None:
            self._shown = self.opened.digest
            return found
        if self.runs_itself:
            return None
        last = self.folder / "results" / _LAST
        if last.is_file():
            opened = parse_project(last.read_bytes(), self.folder)
            self._shown = opened.digest
            return self._from_store(opened)
        return None

    def _from_store(self, opened: OpenProject) -> Answers | None:
        job = Job.of(opened.project, self.scheduler, self.folder)
        steps = job_steps(job)
        results = {}
        for name, digest in digests_of(steps).items():
            results[name] = self.store.load(digest)
            if results[name] is None:
                return None
        return Answers(job=job, results=results)

    def _work_out(self, answers: Answers, name: str) -> None:
        """Work out the chain of an address that no page asked for yet."""
        maker = CHAINS.get(name.partition("/")[0])
        if maker is None:
            return
        try:
            found(maker)(answers, name)
        except (ValueError, KeyError) as error:
            if isinstance(error, InputError):
                raise
            raise UnknownName("chain", name, list(answers.book.chains)[:200]) from None


def _write_table(path: Path, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    buffer = StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    write_atomic(path, buffer.getvalue().encode())
    return str(path)
