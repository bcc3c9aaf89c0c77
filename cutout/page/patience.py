"""How long the page waits for what a connection owes it: half a request is not kept for ever."""

from __future__ import annotations

import asyncio
import math
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_WITHIN = 10.0
"""Seconds from a connection, or the end of an answer, to the last line of a request's head."""
BODY_WITHIN = 300.0
"""Seconds that a whole upload may take."""
STALL = 20.0
"""Seconds without a byte, in either direction, in the middle of a request or of an answer."""
MOST = 64
"""Connections at a time; a browser opens six to one page. A process is commonly given 256 files and more."""
_TICK = 1.0
"""Seconds between two looks at what has gone still: fine beside the shortest wait above."""


class Impatient(H11Protocol):
    """The server's HTTP, with an end to waiting: for a head, for a body, for who doesn't take the answer."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take the connection; with too many, the one that has owed a request longest goes first."""
        super().connection_made(transport)
        self._since = self._heard = self._taken = self.loop.time()
        self._before: tuple[Any, int] = (None, 0)
        if len(self.connections) > MOST:
            owing = [c for c in self.connections if isinstance(c, Impatient) and c is not self and c.owes]
            (min(owing, key=lambda c: c._since) if owing else self).transport.abort()
        self._watch()

    @property
    def owes(self) -> bool:
        """The other end has to send something before there can be an answer."""
        return self.conn.their_state in (h11.IDLE, h11.SEND_BODY)

    def data_received(self, data: bytes) -> None:
        """Bytes came."""
        cycle = self.cycle
        super().data_received(data)
        self._heard = self.loop.time()
        if self.cycle is not cycle:
            self._since = self._heard

    def _watch(self) -> None:
        if self.transport.is_closing():
            return
        now, state = self.loop.time(), self.conn.their_state
        unsent = self.transport.get_write_buffer_size()
        if (state, unsent) != self._before:
            self._since = now if state is not self._before[0] else self._since
            self._taken = now
            self._before = (state, unsent)
        within = {h11.IDLE: HEAD_WITHIN, h11.SEND_BODY: BODY_WITHIN}.get(state, math.inf)
        stalled = state is h11.SEND_BODY and now - self._heard > STALL
        if now - self._since > within or stalled or (unsent and now - self._taken > STALL):
            self.transport.abort()
            return
        self.loop.call_later(_TICK, self._watch)
