"""Who may talk to the page, and how much they may send: one ASGI layer in front of everything else."""

from __future__ import annotations

import hmac
import json
from collections.abc import Callable
from contextlib import suppress

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

KEY_HEADER = "x-cutout-key"

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"
    ),
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
"""Sent with every answer: nothing is kept by the browser, nothing runs or loads but our own files."""

_RAW_HEADERS = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
_READING = frozenset({"GET", "HEAD"})
_ALLOWED = _READING | {"POST"}
_OWN_FETCHES = frozenset({"same-origin", "none"})


class RefusalError(Exception):
    """A request that goes no further: status and one sentence."""

    def __init__(self, status: int, text: str) -> None:
        super().__init__(text)
        self.status = status
        self.text = text


class Guard:
    """Lets a request through when it comes from the page itself, carries the key, and is not too large.

    key: the secret of this run; every address under /api needs it in the header `x-cutout-key`. limit: most
    bytes a body may have, by path. The port is read off the socket that took the request, so that a name
    an attacker makes point at this machine (DNS rebinding) is told from our own address. stop: ends the work
    under way, for a server that is about to stop and still has requests to answer.
    """

    def __init__(
        self, app: ASGIApp, key: str, limit: Callable[[str], int], stop: Callable[[], None] = lambda: None
    ) -> None:
        self.stop = stop
        self._app = app
        self._key = key.encode()
        self._limit = limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection: refused, or handed on with our headers on the answer."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        try:
            self._admit(scope)
        except RefusalError as refusal:
            await _refuse(refusal, send)
            return
        # Who is gone before the end of an upload needs no answer, and nobody a traceback.
        with suppress(ClientDisconnect):
            await self._app(scope, _counted(receive, self._limit(scope["path"])), _with_headers(send))

    def _admit(self, scope: Scope) -> None:
        headers: list[tuple[bytes, bytes]] = scope["headers"]
        host = _only(headers, b"host")
        if host is None or host not in _own_hosts(scope.get("server")):
            raise RefusalError(400, "This page answers only at the address that `cutout page` printed.")
        if scope["method"] not in _ALLOWED:
            raise RefusalError(405, "The page takes GET and POST requests only.")
        if (_only(headers, b"sec-fetch-site") or "none") not in _OWN_FETCHES and not _is_opened(scope):
            raise RefusalError(403, "A request from another site was refused.")
        if scope["method"] not in _READING:
            self._admit_body(scope["path"], headers, host)
        if scope["path"].startswith("/api/") and not self._has_key(headers):
            raise RefusalError(
                403, "The key is missing or wrong: open the address that `cutout page` printed."
            )

    def _admit_body(self, path: str, headers: list[tuple[bytes, bytes]], host: str) -> None:
        if _only(headers, b"origin") != f"http://{host}":
            raise RefusalError(403, "A request from another site was refused.")
        length = _only(headers, b"content-length")
        if length is None or _only(headers, b"transfer-encoding") is not None:
            raise RefusalError(411, "Say how long the body is: a Content-Length is needed.")
        if not length.isdecimal() or int(length) > self._limit(path):
            raise RefusalError(
                413, f"That is too large: at most {_megabytes(self._limit(path))} can be sent here."
            )

    def _has_key(self, headers: list[tuple[bytes, bytes]]) -> bool:
        return hmac.compare_digest((_only(headers, KEY_HEADER.encode()) or "").encode(), self._key)


def _is_opened(scope: Scope) -> bool:
    """The page itself, opened as a page of its own by a link or by the file `cutout page` hands to the browser.

    Without the key it shows nothing, and nobody can frame or read it from elsewhere.
    """
    headers = scope["headers"]
    return (
        scope["method"] in _READING
        and scope["path"] == "/"
        and _only(headers, b"sec-fetch-mode") == "navigate"
        and _only(headers, b"sec-fetch-dest") == "document"
    )


def _own_hosts(server: tuple[str, int | None] | None) -> frozenset[str]:
    if server is None or server[1] is None:
        return frozenset()
    port = server[1]
    hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
    return frozenset(hosts | {"127.0.0.1", "localhost"} if port == 80 else hosts)


def _only(headers: list[tuple[bytes, bytes]], name: bytes) -> str | None:
    """The header's value; None when it is missing, and "" (never a value of ours) when it is sent twice."""
    found = [value for key, value in headers if key.lower() == name]
    if not found:
        return None
    return found[0].decode("latin-1") if len(found) == 1 else ""


def _counted(receive: Receive, limit: int) -> Receive:
    """Stops a body that turns out longer than was said while it streams in."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise HTTPException(413, f"That is too large: at most {_megabytes(limit)} can be sent here.")
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = [(key, value) for key, value in message.get("headers", []) if key.decode() not in HEADERS]
            message = {**message, "headers": [*own, *_RAW_HEADERS]}
        await send(message)

    return sending


async def _refuse(refusal: RefusalError, send: Send) -> None:
    body = json.dumps({"error": refusal.text}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        *_RAW_HEADERS,
    ]
    if refusal.status == 405:
        headers.append((b"allow", b"GET, HEAD, POST"))
    await send({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _megabytes(size: int) -> str:
    return f"{size / 1e6:g} MB" if size >= 1e6 else f"{size / 1e3:g} kB"
