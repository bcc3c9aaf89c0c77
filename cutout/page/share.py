"""The walk of the job under way, read only, for a phone in the same network: one page behind a key, nothing else.

It is served at an address of its own, on a socket of its own; what comes in there never reaches the page itself.
"""

from __future__ import annotations

import hmac
import html
import socket
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import segno
from starlette.types import Receive, Scope, Send

from cutout.errors import WriteError

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
}
"""Sent with every answer: the one file holds all it needs, and may ask nobody for more."""

_WALK = "/walk/"
_QUIET = 2
"""Empty modules round the code: four by the standard (ISO/IEC 18004), two are enough on a screen, as readers show."""

Walk = Callable[[], Awaitable[bytes | str]]
"""The walk as an HTML file; or, as text, why there is none yet."""


class App(Protocol):
    """An application that can be told to end the work under way."""

    stop: Callable[[], None]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one connection."""


@dataclass(frozen=True, slots=True)
class Shared:
    """Where the walk is shared: this machine's address in its network, the port taken, the key of this run."""

    host: str
    port: int
    key: str

    @property
    def address(self) -> str:
        """What a phone opens."""
        return f"http://{self.host}:{self.port}{_WALK}{self.key}"

    def code(self) -> tuple[tuple[bool, ...], ...]:
        """The address as a QR code, row by row, dark where true; its quiet border is part of it."""
        rows = segno.make(self.address, error="m", micro=False).matrix_iter(border=_QUIET)
        return tuple(tuple(bool(module) for module in row) for row in rows)


class Sharing:
    """Connections to the shared port get the walk or a refusal; all others go to the page."""

    def __init__(self, page: App, shared: Shared, walk: Walk) -> None:
        self.stop = page.stop
        self._page = page
        self._shared = shared
        self._walk = walk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One connection, told apart by the socket that took it."""
        if scope["type"] == "lifespan" or (scope.get("server") or ("", 0))[1] != self._shared.port:
            await self._page(scope, receive, send)
        elif scope["type"] == "http":
            await _answer(send, *await self._of(scope), head=scope["method"] == "HEAD")

    async def _of(self, scope: Scope) -> tuple[int, bytes]:
        """Status and body for a request at the shared address."""
        hosts = [value for name, value in scope["headers"] if name.lower() == b"host"]
        if hosts != [f"{self._shared.host}:{self._shared.port}".encode()]:
            return 400, _page("Open the address that was printed.")
        if scope["method"] not in ("GET", "HEAD"):
            return 405, _page("This can only be looked at.")
        path: str = scope["path"]
        if not path.startswith(_WALK) or "/" in path.removeprefix(_WALK):
            return 404, _page("There is nothing here.")
        if not hmac.compare_digest(path.removeprefix(_WALK).encode(), self._shared.key.encode()):
            return 403, _page("The key is wrong: open the address that was printed this time.")
        found = await self._walk()
        return (503, _page(found, again=5)) if isinstance(found, str) else (200, found)


def code_path(rows: Sequence[Sequence[bool]]) -> str:
    """The code as SVG path data, a unit a module."""
    runs = []
    for y, row in enumerate(rows):
        runs += [f"M{x} {y}h1v1h-1z" for x, dark in enumerate(row) if dark]
    return "".join(runs)


def code_text(rows: Sequence[Sequence[bool]], colour: bool) -> str:
    """The code for a terminal, two rows of it a line; `colour`: black on white whatever the terminal's own are.

    Without colour the light modules are drawn: right where letters are light on dark, and read by most cameras
    the other way round too.
    """
    blank = tuple(False for _ in rows[0])
    pairs = [(rows[n], rows[n + 1] if n + 1 < len(rows) else blank) for n in range(0, len(rows), 2)]
    drawn = " ▄▀█"
    lines = []
    for upper, lower in pairs:
        dark = [2 * up + down for up, down in zip(upper, lower, strict=True)]
        text = "".join(drawn[d if colour else 3 - d] for d in dark)
        lines.append(f"\x1b[30;107m{text}\x1b[0m" if colour else text)
    return "\n".join(lines)


def lan_address() -> str:
    """This machine's address in the network it is in. Raises WriteError where it is in none.

    A datagram socket is only pointed at an address that belongs to nobody (RFC 5737): nothing is sent.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))
            found = str(asked.getsockname()[0])
        except OSError:
            found = "127.0.0.1"
    if found.startswith("127."):
        raise WriteError(
            "this computer is in no network: connect it to the one your phone is in, or leave --share out."
        )
    return found


def _page(text: str, again: int = 0) -> bytes:
    """A few words as a page, to be asked for again after some seconds."""
    refresh = f'<meta http-equiv="refresh" content="{again}">' if again else ""
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="color-scheme" content="light dark">'
        f'<meta name="viewport" content="width=device-width">{refresh}<title>The walk</title>'
        f'<p style="font: 1.4rem system-ui; margin: 2rem">{html.escape(text)}</p></html>\n'
    ).encode()


async def _answer(send: Send, status: int, body: bytes, head: bool) -> None:
    own = {"content-type": "text/html; charset=utf-8", "content-length": str(len(body))}
    if status == 405:
        own["allow"] = "GET, HEAD"
    headers = [(name.encode(), value.encode()) for name, value in {**own, **HEADERS}.items()]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": b"" if head else body})
