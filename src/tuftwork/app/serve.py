"""Open a workbench in the browser, or print one of its pages without one."""

import contextlib
import secrets
import socket
import webbrowser
from collections.abc import Callable
from urllib.parse import parse_qsl, urlsplit

from tuftwork.app.frame import as_json
from tuftwork.app.workbench import Workbench


def serve(
    workbench: Workbench,
    open_browser: bool = True,
    *,
    port: int = 0,
    announce: Callable[[str], None] | None = None,
) -> None:
    """Serve a workbench on this machine until interrupted.

    The socket is bound before the address is announced, so the address answers from the first
    moment and no other program can take the port in between.

    Parameters
    ----------
    workbench
        What to show.
    open_browser
        Whether to open the address in the user's browser.
    port
        Port on 127.0.0.1; 0 takes a free one.
    announce
        Called once with the full address, token included.

    Raises
    ------
    OSError
        If the port is taken.
    """
    import uvicorn

    from tuftwork.app.server import create_app

    token = secrets.token_urlsafe(24)
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    with listener:
        listener.bind(("127.0.0.1", port))
        listener.listen(128)
        address = f"http://127.0.0.1:{listener.getsockname()[1]}/?token={token}"
        if announce is not None:
            announce(address)
        if open_browser:
            webbrowser.open(address)
        config = uvicorn.Config(
            create_app(workbench, token),
            log_level="warning",
            access_log=False,  # the first request carries the token
            ws="websockets-sansio",
            ws_per_message_deflate=False,  # on loopback compressing costs more than sending
            ws_max_size=64 * 2**20,
            timeout_graceful_shutdown=3,
            server_header=False,
        )
        with contextlib.suppress(KeyboardInterrupt):  # the ordinary way to stop it
            uvicorn.Server(config).run(sockets=[listener])


def get_page(workbench: Workbench, path: str) -> str:
    """Return one page as JSON text, as the server would send it: ``/budget?speed=220``.

    Raises
    ------
    UnknownName
        If there is no such page or chain.
    """
    parts = urlsplit(path)
    name = parts.path.strip("/").removesuffix(".json") or "overview"
    if name.startswith("why/"):
        return as_json(workbench.why(name.removeprefix("why/")))
    return as_json(workbench.page(name, **dict(parse_qsl(parts.query))))
