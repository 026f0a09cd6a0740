"""Who may talk to the server: this machine, this page, this start's token.

The server listens on the loopback address only, but any page in the user's browser can reach that
address. So every request must name a loopback host, come from a page of this server (or from the
address bar), and carry the token of this start: once in the address, afterwards in a cookie that
scripts cannot read, or in a header for programs.
"""

import hashlib
import hmac
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEADER = "x-tuftwork-token"
_HOSTS = frozenset({"127.0.0.1", "localhost"})
_POLICY_VIOLATION = 4403  # private-use close code; mirrors HTTP 403

_LOCKED = (
    "This page belongs to a running tuftwork session.\n"
    "Open it with the full address that `tuftwork open` printed; the part after ?token= is the key."
)


class Guard:
    """ASGI layer that answers 400, 403 or 401 before the app sees the request."""

    def __init__(self, app: ASGIApp, token: str) -> None:
        self._app = app
        self._token = token
        # Cookies do not know ports: two projects open side by side need names of their own.
        self.cookie = "tuftwork_" + hashlib.sha256(token.encode()).hexdigest()[:12]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is None:
            await self._app(scope, receive, _sealed(send, headers.get("host", "")))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": _POLICY_VIOLATION})
        else:
            await refusal(scope, receive, send)

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        if host.rsplit(":", 1)[0] not in _HOSTS:
            return PlainTextResponse(f"Host '{host}' is not this machine.", 400)
        if not _is_own_page(scope, headers, host):
            return PlainTextResponse("Asked from another page. Refused.", 403)
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [""])[0]
        if given and self._fits(given) and scope["type"] == "http":
            return self._let_in(scope)
        if self._fits(headers.get(HEADER, "")) or self._fits(self._from_cookie(headers)):
            return None
        return PlainTextResponse(_LOCKED, 401)

    def _let_in(self, scope: Scope) -> Response:
        """Move the token out of the address and into a cookie."""
        answer = RedirectResponse(scope["path"], 303)
        answer.set_cookie(self.cookie, self._token, httponly=True, samesite="strict", path="/")
        answer.headers["Cache-Control"] = "no-store"
        answer.headers["Referrer-Policy"] = "no-referrer"
        return answer

    def _from_cookie(self, headers: Headers) -> str:
        jar: SimpleCookie = SimpleCookie()
        try:
            jar.load(headers.get("cookie", ""))
        except CookieError:
            return ""
        return jar[self.cookie].value if self.cookie in jar else ""

    def _fits(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self._token.encode())


def _is_own_page(scope: Scope, headers: Headers, host: str) -> bool:
    origin = headers.get("origin")
    if origin is not None and origin != f"http://{host}":
        return False
    if scope["type"] == "websocket":
        return True  # browsers always name the origin of a socket; programs need the token
    is_from_elsewhere = headers.get("sec-fetch-site", "none") in ("cross-site", "same-site")
    return not is_from_elsewhere or headers.get("sec-fetch-mode") == "navigate"


def _sealed(send: Send, host: str) -> Send:
    """Return ``send`` with headers that keep the page to itself and to this machine."""
    policy = (
        f"default-src 'self'; connect-src 'self' ws://{host}; img-src 'self' data: blob:; "
        "object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    extra = [
        (b"content-security-policy", policy.encode()),
        (b"x-content-type-options", b"nosniff"),
        (b"referrer-policy", b"no-referrer"),
        (b"cross-origin-resource-policy", b"same-origin"),
    ]

    async def sealed(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", []), *extra]}
        await send(message)

    return sealed
