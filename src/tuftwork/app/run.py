"""The run under way: started and cancelled from any page, its news sent to all of them."""

import asyncio
import contextlib
import logging
import threading
import time
from collections.abc import Callable
from typing import Any

from tuftwork.app.answer import refusal
from tuftwork.app.workbench import Workbench
from tuftwork.errors import Cancelled, InputError

_LOG = logging.getLogger(__name__)
_NEWS_EVERY = 0.1  # [s]  ten bars a second are plenty for an eye
News = Callable[[dict[str, Any]], None]


class Runner:
    """At most one run of the study at a time, in a thread of its own."""

    def __init__(self, workbench: Workbench, tell: News) -> None:
        self._workbench = workbench
        self._tell = tell
        self._task: asyncio.Task[None] | None = None
        self._stop = threading.Event()
        self.latest: dict[str, Any] | None = None

    def start(self, name: str) -> dict[str, Any]:
        """Begin a run under a name the client chose, so that news never precedes the name."""
        if self._task is not None and not self._task.done():
            running = self.latest["run"] if self.latest else "?"
            raise InputError("run", name, "", f"'{running}' is still running", "Cancel it first.")
        self._stop = threading.Event()
        self._note(run=name, state="running", progress=0.0, step="", left_s=None)
        self._task = asyncio.get_running_loop().create_task(self._run(name, self._stop))
        return {"run": name}

    def cancel(self, name: str | None = None) -> dict[str, Any]:
        """Ask the run under way to stop; it keeps what it has finished.

        A name that is not the latest run's comes from a page that is behind, and stops nothing.
        """
        latest = self.latest["run"] if self.latest else None
        if name is not None and name != latest:
            return {"cancelled": None}
        self._stop.set()
        return {"cancelled": latest}

    async def close(self) -> None:
        """Stop the run, if any, and wait until its thread has let go of the folder."""
        self._stop.set()
        if self._task is not None:
            with contextlib.suppress(asyncio.CancelledError):
                await self._task

    async def _run(self, name: str, stop: threading.Event) -> None:
        loop = asyncio.get_running_loop()
        last = 0.0

        def progress(share: float, step: str, left_s: float | None) -> None:
            nonlocal last
            now = time.monotonic()
            if share < 1.0 and now - last < _NEWS_EVERY:
                return
            last = now
            news = {"run": name, "state": "running", "progress": share, "step": step}
            loop.call_soon_threadsafe(lambda: self._note(**news, left_s=left_s))

        try:
            entry = await asyncio.to_thread(self._workbench.run, progress, stop.is_set)
        except Cancelled as fault:
            self._note(run=name, state="cancelled", text=str(fault))
        except Exception as fault:  # noqa: BLE001 - the run must end in news
            _LOG.exception("run %s failed", name)
            self._note(run=name, state="failed", error=refusal(fault)[0])
        else:
            self._note(run=name, state="done", progress=1.0, entry=entry)

    def _note(self, **news: Any) -> None:
        self.latest = {"news": "run", **news}
        self._tell(self.latest)
