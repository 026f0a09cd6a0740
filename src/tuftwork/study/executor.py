"""Where a sweep's tasks run: here, in processes on this machine, or on a Dask scheduler.

One small interface; a task is a module-level function and one argument, both picklable.
"""

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from itertools import islice
from multiprocessing import get_context
from typing import Any, Protocol, TypeVar, runtime_checkable

from tuftwork.errors import Cancelled, InputError

Task = TypeVar("Task")
Answer = TypeVar("Answer")
_AHEAD = 3  # tasks a core of a scheduler holds or waits for


def _never() -> bool:
    return False


@runtime_checkable
class Executor(Protocol):
    """Runs one function over many tasks and yields answers as they come."""

    name: str

    def each(
        self,
        function: Callable[[Task], Answer],
        tasks: Sequence[Task],
        is_cancelled: Callable[[], bool] = _never,
    ) -> Iterator[tuple[int, Answer]]:
        """Yield ``(index of the task, answer)`` in any order."""
        ...


class InLine:
    """Runs tasks one after the other in this process: for work too small to share out."""

    name = "this process"

    def each(
        self,
        function: Callable[[Task], Answer],
        tasks: Sequence[Task],
        is_cancelled: Callable[[], bool] = _never,
    ) -> Iterator[tuple[int, Answer]]:
        """Yield answers in the order of the tasks."""
        for index, task in enumerate(tasks):
            _stop_if(is_cancelled)
            yield index, function(task)


class Processes:
    """Runs tasks in fresh processes on this machine, one per core.

    With ``keeps`` they stay for the next sweep, until ``close``: what a process has built of a car
    is then built once.
    """

    def __init__(self, workers: int | None = None, *, keeps: bool = False) -> None:
        self.workers = workers or os.cpu_count() or 1
        self.name = f"{self.workers} processes"
        self._keeps = keeps
        self._pool: ProcessPoolExecutor | None = None

    def each(
        self,
        function: Callable[[Task], Answer],
        tasks: Sequence[Task],
        is_cancelled: Callable[[], bool] = _never,
    ) -> Iterator[tuple[int, Answer]]:
        """Yield answers as they come; a cancelled sweep ends its processes."""
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self.workers, mp_context=get_context("spawn"))
        try:
            waiting = {self._pool.submit(function, task): i for i, task in enumerate(tasks)}
            for future in as_completed(waiting):
                _stop_if(is_cancelled)
                yield waiting[future], future.result()
        except BaseException:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self.close()
            raise
        if not self._keeps:
            self.close()

    def close(self) -> None:
        """Let the processes end."""
        if self._pool is not None:
            self._pool.shutdown()
            self._pool = None


class Cluster:
    """Runs tasks on a Dask scheduler given by its address (extra ``cluster``)."""

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            cure = "Install it with: pip install 'tuftwork[cluster]'."
            raise InputError("scheduler", address, "", "needs dask.distributed", cure) from None
        try:
            self._client = Client(address, timeout="10s", set_as_default=False)
        except (OSError, ValueError) as error:
            cure = "Is the scheduler running, and is its address like tcp://127.0.0.1:8786?"
            raise InputError("scheduler", address, "", f"no answer ({error})", cure) from None
        self.name = f"scheduler {address}"

    def each(
        self,
        function: Callable[[Task], Answer],
        tasks: Sequence[Task],
        is_cancelled: Callable[[], bool] = _never,
    ) -> Iterator[tuple[int, Answer]]:
        """Yield answers as they come; a cancelled sweep drops what has not begun.

        Only a few tasks a core are handed over at a time: what waits here is neither sent nor, if
        this machine is lost, computed for nobody.
        """
        from distributed import as_completed as as_they_come

        index: dict[Any, int] = {}
        waiting = iter(enumerate(tasks))

        def handed(count: int) -> list[Any]:
            some = []
            for i, task in islice(waiting, count):
                future = self._client.submit(function, task, pure=False)
                index[future.key] = i
                some.append(future)
            return some

        futures = set(handed(self._cores() * _AHEAD))
        try:
            with self._client.as_current():
                arrivals = as_they_come(list(futures), with_results=True)
            for future, answer in arrivals:
                _stop_if(is_cancelled)
                futures.discard(future)
                more = handed(1)
                futures |= set(more)
                arrivals.update(more)
                yield index[future.key], answer
        except BaseException:
            self._client.cancel(list(futures))
            raise

    def _cores(self) -> int:
        """Return how many tasks the workers run at once."""
        return max(1, int(sum(self._client.nthreads().values())))

    def close(self) -> None:
        """Let go of the scheduler."""
        self._client.close()


def executor_for(
    scheduler: str | None, *, seconds: float, tasks: int, workers: int | None = None
) -> Executor:
    """Return where a sweep should run.

    A scheduler the user named is always used. Otherwise processes, unless the whole sweep is
    expected to take less time here than starting them would.

    Parameters
    ----------
    scheduler
        Address of a Dask scheduler, or None.
    seconds
        What the whole sweep would take in one process. [s]
    tasks
        How many tasks there are. [-]
    """
    if scheduler:
        return Cluster(scheduler)
    if tasks < 2 or seconds < 8.0 or (os.cpu_count() or 1) < 2:
        return InLine()
    return Processes(workers)


def _stop_if(is_cancelled: Callable[[], bool]) -> None:
    if is_cancelled():
        raise Cancelled("The sweep was stopped. What was finished is kept.")
