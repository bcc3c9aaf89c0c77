"""Opening the page in the browser without showing its key to whoever lists this machine's processes."""

from __future__ import annotations

import html
import os
import secrets
import threading
import time
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

_NAME = ".open-{}.html"
_STALE = 3600.0
"""Seconds after which a file of a run that was killed is taken away; its key is worth nothing any more."""


@contextmanager
def opened(address: str, folder: Path) -> Iterator[None]:
    """Open an address in the user's browser by way of a file only the user may read; it goes when this ends.

    A browser is given what it is to open on its command line, which everybody on a machine can list. It is started
    from a thread of its own: one that stays in the foreground, as `BROWSER` may name, keeps nobody waiting.
    """
    page = folder / _NAME.format(secrets.token_hex(8))
    _sweep(folder)
    where = html.escape(address, quote=True)
    text = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="referrer" content="no-referrer">'
        f'<title>The page</title><meta http-equiv="refresh" content="0; url={where}">'
        f'<p><a href="{where}">Open the page</a></p></html>\n'
    )
    handle = os.open(page, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with open(handle, "w", encoding="utf-8") as stream:  # noqa: PTH123
            stream.write(text)
        threading.Thread(target=_browse, args=(page.resolve().as_uri(),), daemon=True).start()
        yield
    finally:
        page.unlink(missing_ok=True)


def _browse(address: str) -> None:
    # Without a browser the printed address has to do.
    with suppress(webbrowser.Error, OSError):
        webbrowser.open(address)


def _sweep(folder: Path) -> None:
    for left in folder.glob(_NAME.format("*")):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > _STALE:
                left.unlink()
