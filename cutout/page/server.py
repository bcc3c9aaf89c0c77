"""Starting the page on this machine."""

from __future__ import annotations

import asyncio
import errno
import os
import secrets
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from typing import Any

import uvicorn

from cutout.errors import WriteError
from cutout.page.app import create_app
from cutout.page.opening import opened
from cutout.page.patience import Impatient
from cutout.page.share import App, Shared, code_text, lan_address

HOST = "127.0.0.1"
_NO_MORE = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)
"""What a system says that has no more open files to give, for now."""


def serve(
    port: int | None = None, open_browser: bool = True, folder: Path | None = None, share: bool = False
) -> None:
    """Serve the page on 127.0.0.1 until interrupted, and say its address.

    port: None takes any free one. folder: where jobs are kept; None is the user's own data folder. share: also show
    the walk of the job under way, and nothing else, in the network this machine is in.
    Raises WriteError when the port is taken, the folder can't be made, or there is no network to share in.
    """
    home = folder if folder is not None else _data_folder()
    key = secrets.token_urlsafe(24)
    with listening(port) as sock, _shared_socket(share) as (shared, other):
        address = f"http://{HOST}:{sock.getsockname()[1]}/#key={key}"
        try:
            app = create_app(key, home, shared)
        except OSError as error:
            raise WriteError(
                f"{home}: can't keep jobs there ({error.strerror}): choose another folder."
            ) from error
        print(f"The page is at {address}\nJobs are kept in {home}\nStop it with Ctrl+C.", flush=True)
        if shared is not None:
            print(_said(shared), flush=True)
        browser = opened(address, home) if open_browser else nullcontext()
        with suppress(KeyboardInterrupt), browser:
            server_of(app).run(sockets=[sock, *other])


@contextmanager
def _shared_socket(share: bool) -> Iterator[tuple[Shared | None, tuple[socket.socket, ...]]]:
    """Where the walk is shared, with a socket on this machine's address in its network; nothing unless wanted."""
    if not share:
        yield None, ()
        return
    host = lan_address()
    with listening(None, host) as sock:
        yield Shared(host, sock.getsockname()[1], secrets.token_urlsafe(24)), (sock,)


def _said(shared: Shared) -> str:
    """What is shared and with whom, and the code; left out where the terminal has no letters for it."""
    words = (
        "Shared: whoever is in your network and has this address can see the steps of the job that is open here, "
        "and nothing else.\nNothing can be changed there; it is not encrypted, and it ends with the page.\n"
        f"  {shared.address}"
    )
    code = code_text(shared.code(), colour=sys.stdout.isatty())
    try:
        code.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return words
    return f"{words}\n\n{code}\n"


def server_of(app: App) -> uvicorn.Server:
    """A server for the page: plain HTTP/1.1, an end to waiting, no web sockets, no trust in forwarding headers."""
    settings = uvicorn.Config(
        app,
        http=Impatient,
        ws="none",
        proxy_headers=False,
        server_header=False,
        access_log=False,
        # Not a line for every visitor who speaks no HTTP: anybody on this machine could fill the terminal with them.
        log_level="error",
        timeout_graceful_shutdown=2,
        # So many are taken at a time, before any of them is looked at: far fewer than files may be open.
        backlog=32,
    )
    return _Server(settings, app)


class _Server(uvicorn.Server):
    """Ends the work under way before it waits for the requests that wait for that work."""

    def __init__(self, settings: uvicorn.Config, page: App) -> None:
        super().__init__(settings)
        self._page = page

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        asyncio.get_running_loop().set_exception_handler(without_a_traceback)
        await super().startup(sockets)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._page.stop()
        await super().shutdown(sockets)


def without_a_traceback(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
    """Nothing is said where no more files may be open just now: the loop takes connections again in a second."""
    error = context.get("exception")
    if not (isinstance(error, OSError) and error.errno in _NO_MORE):
        loop.default_exception_handler(context)


@contextmanager
def listening(port: int | None, host: str = HOST) -> Iterator[socket.socket]:
    """A socket on 127.0.0.1, or another of this machine's addresses, that takes connections. Raises WriteError."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((host, port or 0))
            sock.listen(128)
        except (OSError, OverflowError) as error:
            raise WriteError(
                f"port {port} can't be used ({error}): leave --port out to take a free one."
            ) from error
        yield sock
    finally:
        sock.close()


def _data_folder() -> Path:
    """Where this system keeps a user's data (XDG base directories elsewhere than on Windows and macOS)."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "cutout" / "jobs"
