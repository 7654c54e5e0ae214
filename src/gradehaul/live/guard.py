"""Access control: the token, the host, the origin, the size of a body, and the headers of every response."""

from __future__ import annotations

import hmac
from collections.abc import Callable, MutableMapping
from typing import Any

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 2_000_000
"""Of a request, bytes: the text of a plan."""
LARGEST_DRAWING = 60_000_000
"""Of a drawing that is dropped on the page, bytes."""

_HEADERS = {
    b"x-content-type-options": b"nosniff",
    b"referrer-policy": b"no-referrer",
    b"cache-control": b"no-store",
    b"cross-origin-resource-policy": b"same-origin",
    b"cross-origin-opener-policy": b"same-origin",
    b"x-frame-options": b"DENY",
}


class Guard:
    """Lets through what the page itself requests: by the token that every path begins with, and a host it knows."""

    def __init__(self, app: ASGIApp, token: str, known_host: Callable[[str], bool]) -> None:
        self._app = app
        self._token = token.encode()
        self._known_host = known_host

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            status, words = refusal
            await PlainTextResponse(words, status, {"connection": "close"})(scope, receive, _with_headers(send))
            return
        prefix = len(self._token) + 1
        inner: MutableMapping[str, Any] = {**scope, "path": scope["path"][prefix:] or "/", "raw_path": None}
        limit = LARGEST_DRAWING if inner["path"] == "/drawing" else LARGEST_BODY
        await self._app(inner, _limited(receive, limit), _with_headers(send))

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self._known_host(host):
            return 421, "Wrong address for this page."
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{host}":
            return 403, "Requests from other pages are refused."
        followed = scope["method"] == "GET" and headers.get("sec-fetch-mode") == "navigate"  # a link in a mail, say
        if headers.get("sec-fetch-site", "none") not in {"none", "same-origin"} and not followed:
            return 403, "Requests from other pages are refused."
        if scope["method"] not in {"GET", "POST"}:
            return 405, "No such request."
        if scope["method"] == "POST" and origin is None:
            return 403, "Requests from other pages are refused."
        own = scope["path"].encode("utf-8", "replace")[1 : 1 + len(self._token)]
        rest = scope["path"][1 + len(self._token) :]
        if not hmac.compare_digest(own, self._token) or not rest.startswith("/"):
            return 404, "Open the link that gradehaul live printed: it has the key to this page."
        limit = LARGEST_DRAWING if rest == "/drawing" else LARGEST_BODY
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > limit:
            return 413, _too_large(limit)
        return None


def _too_large(limit: int) -> str:
    return f"A request has at most {limit / 1e6:.0f} MB."


def _limited(receive: Receive, limit: int) -> Receive:
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > limit:
            raise HTTPException(413, _too_large(limit), {"connection": "close"})
        return message

    return limited


def _with_headers(send: Send) -> Send:
    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            present = {name.lower() for name, _ in message["headers"]}
            message["headers"] += [(name, value) for name, value in _HEADERS.items() if name not in present]
        await send(message)

    return with_headers
