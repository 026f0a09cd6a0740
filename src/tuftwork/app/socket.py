"""The socket: live answers, runs, and news for every open page."""

import asyncio
import logging
from typing import Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from tuftwork.app.answer import refusal
from tuftwork.app.frame import pack, unpack
from tuftwork.app.run import Runner
from tuftwork.app.workbench import Workbench

_LOG = logging.getLogger(__name__)
_STALE_EVERY = 2.0  # [s]  how often the inputs on disk are compared with the shown results


class Switchboard:
    """Every open socket of one server, and what is said on them."""

    def __init__(self, workbench: Workbench) -> None:
        self._workbench = workbench
        self._sockets: set[WebSocket] = set()
        self._sending: set[asyncio.Task[None]] = set()
        self.runner = Runner(workbench, self.tell)

    async def serve(self, socket: WebSocket) -> None:
        """Answer one page until it leaves."""
        await socket.accept()
        self._sockets.add(socket)
        watch = asyncio.create_task(self._watch(socket))
        try:
            while True:
                await self._answer(socket, await socket.receive_bytes())
        except (WebSocketDisconnect, RuntimeError, KeyError):
            pass  # the page was closed, or sent text where a binary message was due
        finally:
            watch.cancel()
            self._sockets.discard(socket)

    def tell(self, news: dict[str, Any]) -> None:
        """Send news to every open page."""
        message = pack(news)
        for socket in list(self._sockets):
            task = asyncio.get_running_loop().create_task(self._send(socket, message))
            self._sending.add(task)
            task.add_done_callback(self._sending.discard)

    async def _send(self, socket: WebSocket, message: bytes) -> None:
        try:
            await socket.send_bytes(message)
        except (WebSocketDisconnect, RuntimeError):
            self._sockets.discard(socket)

    async def _answer(self, socket: WebSocket, raw: bytes) -> None:
        """Answer one message; whatever goes wrong becomes an answer with the same id."""
        name: Any = None
        try:
            message, _ = unpack(raw)
            name = message.get("id")
            header, arrays = await self._do(message)
            reply = pack({"id": name, **header}, arrays)
        except Exception as fault:  # noqa: BLE001 - the socket must live on
            tree, status = refusal(fault)
            if status >= 500:
                _LOG.exception("message %s failed", name)
            reply = pack({"id": name, "error": tree})
        await socket.send_bytes(reply)

    async def _do(self, message: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
        match message.get("do"):
            case "run":
                return self.runner.start(str(message.get("run") or message.get("id"))), {}
            case "cancel":
                return self.runner.cancel(), {}
            case _:
                # Possibly many milliseconds of arithmetic: never on the event loop.
                return await asyncio.to_thread(self._workbench.live, message)

    async def _watch(self, socket: WebSocket) -> None:
        """Say once what is going on, then say whenever the inputs have changed."""
        said: tuple[str, bool] | None = None
        if self.runner.latest is not None:
            await self._send(socket, pack(self.runner.latest))
        while socket in self._sockets:
            try:
                now = await asyncio.to_thread(self._inputs)
            except Exception:  # noqa: BLE001 - the socket must live on
                _LOG.exception("cannot tell whether the inputs changed")
                now = said or ("", False)
            if now != said:
                said = now
                await self._send(
                    socket, pack({"news": "inputs", "digest": now[0], "stale": now[1]})
                )
            await asyncio.sleep(_STALE_EVERY)

    def _inputs(self) -> tuple[str, bool]:
        return self._workbench.digest(), self._workbench.is_stale()
