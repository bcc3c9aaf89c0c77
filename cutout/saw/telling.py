"""How far planning or proving has come: a share that only rises, told to whoever wants to know."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

Tell: TypeAlias = Callable[[float], None]
"""Called while it is planned or proved, with the share (0..1) that is done."""


def untold(share: float) -> None:
    """Nobody listens."""


def rising(tell: Tell) -> Tell:
    """Tells only what is more than was told before: work that has to be done again takes nothing back."""
    most = 0.0

    def told(share: float) -> None:
        nonlocal most
        if share > most:
            most = share
            tell(min(share, 1.0))

    return told


def part(tell: Tell, begins: float, ends: float) -> Tell:
    """What is told of a part of the work, as a share of the whole in which that part lies."""
    return lambda share: tell(begins + (ends - begins) * share)
