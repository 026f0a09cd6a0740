"""The socket: live answers, runs, and news for every open page."""

import asyncio
import contextlib
import logging
from collections.abc import Coroutine
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from tuftwork.app.answer import refusal
from tuftwork.app.frame import pack, unpack
from tuftwork.app.run import Runner
from tuftwork.app.workbench import Workbench

_LOG = logging.getLogger(__name__)
_STALE_EVERY = 2.0  # [s]  how often the inputs on disk are compared with the shown results
_AT_ONCE = frozenset({"run", "cancel", "flow_cancel", "flow_sweep_stop"})
"""What nobody should have to wait for behind an answer that takes long."""


class Wire:
    """One page's socket: messages leave it in the order in which they were given.

    Requests are worked out one after the other too, in the order in which they came, so that a
    deed and the look that follows it cannot pass each other.
    """

    def __init__(self, socket: WebSocket) -> None:
        self.socket = socket
        self.turn = asyncio.Lock()  # wakes those who wait first come, first served
        self._out = asyncio.Lock()

    async def send(self, message: bytes) -> None:
        """Send one message after all that were given before it."""
        async with self._out:
            await self.socket.send_bytes(message)


class Switchboard:
    """Every open socket of one server, and what is said on them."""

    def __init__(self, workbench: Workbench) -> None:
        self._workbench = workbench
        self._wires: set[Wire] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._look: set[asyncio.Event] = set()
        self.runner = Runner(workbench, self.tell)

    async def serve(self, socket: WebSocket) -> None:
        """Answer one page until it leaves."""
        await socket.accept()
        wire = Wire(socket)
        self._wires.add(wire)
        watch = asyncio.create_task(self._watch(wire))
        try:
            while True:
                self._begin(self._answer(wire, await socket.receive_bytes()))
        except (WebSocketDisconnect, RuntimeError, KeyError):
            pass  # the page was closed, or sent text where a binary message was due
        finally:
            watch.cancel()
            self._wires.discard(wire)

    def tell(self, news: dict[str, Any]) -> None:
        """Send news to every open page."""
        message = pack(news)
        for wire in list(self._wires):
            self._begin(self._send(wire, message))
        if news.get("state") != "running":
            for look in self._look:  # results may be newer than what was said of the inputs
                look.set()

    def _begin(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _send(self, wire: Wire, message: bytes) -> None:
        try:
            await wire.send(message)
        except (WebSocketDisconnect, RuntimeError):
            self._wires.discard(wire)

    async def _answer(self, wire: Wire, raw: bytes) -> None:
        """Answer one message; whatever goes wrong becomes an answer with the same id."""
        name: Any = None
        try:
            message, _ = unpack(raw)
            name = message.get("id")
            if message.get("do") in _AT_ONCE:
                header, arrays = await self._do(message)
            else:
                async with wire.turn:
                    header, arrays = await self._do(message)
            reply = pack({"id": name, **header}, arrays)
        except Exception as fault:  # noqa: BLE001 - the socket must live on
            tree, status = refusal(fault)
            if status >= 500:
                _LOG.exception("message %s failed", name)
            reply = pack({"id": name, "error": tree})
        await self._send(wire, reply)

    async def _do(self, message: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
        match message.get("do"):
            case "run":
                return self.runner.start(str(message.get("run") or message.get("id"))), {}
            case "cancel":
                name = message.get("run")
                return self.runner.cancel(None if name is None else str(name)), {}
            case _:
                # Possibly many milliseconds of arithmetic: never on the event loop.
                return await asyncio.to_thread(self._workbench.live, message)

    async def _watch(self, wire: Wire) -> None:
        """Say once what is going on, then say whenever the inputs have changed."""
        look = asyncio.Event()
        self._look.add(look)
        try:
            await self._watch_inputs(wire, look)
        finally:
            self._look.discard(look)

    async def _watch_inputs(self, wire: Wire, look: asyncio.Event) -> None:
        said: tuple[str, bool, bool] | None = None
        if self.runner.latest is not None:
            await self._send(wire, pack(self.runner.latest))
        while wire in self._wires:
            look.clear()
            try:
                now = await asyncio.to_thread(self._inputs)
            except Exception:  # noqa: BLE001 - the socket must live on
                _LOG.exception("cannot tell whether the inputs changed")
                now = said or ("", False, True)
            if now != said:
                said = now
                told = dict(zip(("digest", "stale", "readable"), now, strict=True))
                await self._send(wire, pack({"news": "inputs", **told}))
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(look.wait(), _STALE_EVERY)

    def _inputs(self) -> tuple[str, bool, bool]:
        """Return the inputs' digest, whether results are of older ones, whether they can be read.

        What cannot be read is not compared with anything: it is the one thing to say.
        """
        bench = self._workbench
        readable = bench.is_readable()
        return bench.digest(), readable and bench.is_stale(), readable
