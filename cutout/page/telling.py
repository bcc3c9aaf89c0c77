"""How far a task has come, told while it is under way: in a worker process the page's server listens."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager


def _to_nobody(stage: str, share: float) -> None:
    """Nobody listens: a task run by itself."""


_listener: Callable[[str, float], None] = _to_nobody


def tell(stage: str, share: float) -> None:
    """Say what begins now, and the share (0..1) of the task that is done."""
    _listener(stage, share)


@contextmanager
def heard_by(listener: Callable[[str, float], None]) -> Iterator[None]:
    """While this lasts, what is told goes to `listener`."""
    global _listener
    before, _listener = _listener, listener
    try:
        yield
    finally:
        _listener = before
