"""Steps: what is said to the sawyer, a sentence each, lettered."""

from __future__ import annotations

from collections.abc import Sequence

from cutout.saw.model import Hole, Leg, Step


def steps_of(holes: Sequence[Hole], legs: Sequence[Leg]) -> tuple[Step, ...]:
    """Steps of a plan."""
    return ()
