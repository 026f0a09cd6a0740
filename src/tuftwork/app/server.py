"""The server: pages as JSON, chains of evidence as JSON, one socket, one static bundle."""

import asyncio
import logging
import mimetypes
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from os import PathLike, stat_result
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request, WebSocket
from fastapi.staticfiles import StaticFiles
from starlette.responses import Response
from starlette.types import Scope

from tuftwork.app.answer import refusal
from tuftwork.app.frame import as_json
from tuftwork.app.guard import Guard
from tuftwork.app.socket import Switchboard
from tuftwork.app.workbench import Workbench

DIST = Path(__file__).parent / "dist"
_LOG = logging.getLogger(__name__)

# Some systems map .js to text/plain in their registry; browsers then refuse module scripts.
mimetypes.add_type("text/javascript", ".js")
mimetypes.add_type("font/woff2", ".woff2")


class FreshFiles(StaticFiles):
    """Static files under fixed names: the browser may keep them but must ask each time."""

    def file_response(
        self,
        full_path: str | PathLike[str],
        stat_result: stat_result,
        scope: Scope,
        status_code: int = 200,
    ) -> Response:
        """Return the file with the order to ask again."""
        response = super().file_response(full_path, stat_result, scope, status_code)
        response.headers["Cache-Control"] = "no-cache"
        return response


def create_app(workbench: Workbench, token: str) -> FastAPI:
    """Return the app for one workbench; every request needs the token."""
    switchboard = Switchboard(workbench)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await switchboard.runner.close()
        await asyncio.to_thread(workbench.close)

    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan)
    app.add_middleware(Guard, token=token)

    @app.get("/why/{name:path}.json")
    async def why(name: str) -> Response:
        return await _as_page(lambda: workbench.why(name))

    @app.get("/{name}.json")
    async def page(name: str, request: Request) -> Response:
        query = {key: value for key, value in request.query_params.items() if key != "token"}
        return await _as_page(lambda: workbench.page(name, **query))

    @app.websocket("/socket")
    async def socket(socket: WebSocket) -> None:
        await switchboard.serve(socket)

    app.mount("/", FreshFiles(directory=DIST, html=True, check_dir=False))
    return app


async def _as_page(build: Callable[[], dict[str, Any]]) -> Response:
    try:
        tree, status = await asyncio.to_thread(build), 200
    except Exception as fault:  # noqa: BLE001 - the page must say why
        error, status = refusal(fault)
        if status >= 500:
            _LOG.exception("page failed")
        tree = {"error": error}
    return Response(
        as_json(tree),
        status,
        {"Cache-Control": "no-store"},
        media_type="application/json",
    )
