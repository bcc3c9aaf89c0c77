"""Holes the user placed by hand: used where a blade can come in through them, drilled and reported anyway."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from cutout.finding import Facts, Finding
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.saw.model import Hole
from cutout.saw.planner.state import State

ByHand = tuple[tuple[float, float], float]
"""Centre and diameter of a hole the user wants, mm."""


@dataclass(frozen=True, slots=True)
class HandHole(Facts):
    """No cut begins in a hole placed by hand; size: the hole, limit: what the blade needs."""


def by_hand_idle(state: State, by_hand: Sequence[ByHand], kit: Kit) -> list[Finding]:
    """A finding for each hole placed by hand in an opening through which no leg begins."""
    used = {cut.starts for cut in state.cuts}
    return [
        _finding(hole, state.area.id, kit)
        for hole, drilled in zip(by_hand, state.holes[: len(by_hand)], strict=True)
        if drilled.place not in used
    ]


def by_hand_unused(
    by_hand: Sequence[ByHand], pattern: Pattern, kit: Kit, holes_before: int
) -> tuple[list[Hole], list[Finding]]:
    """Holes placed by hand outside every opening, or that the plan has no use for: drilled all the same."""
    holes = []
    for n, (at, diameter) in enumerate(by_hand):
        spot = shapely.Point(at)
        nearest = min(pattern.openings, key=lambda o: (shapely.distance(o.region, spot), o.id))
        holes.append(Hole(holes_before + n + 1, at, diameter, ("relief",), nearest.id))
    found = [_finding(h, made.opening, kit) for h, made in zip(by_hand, holes, strict=True)]
    return holes, found


def _finding(hole: ByHand, opening: int, kit: Kit) -> Finding:
    at, diameter = hole
    need = kit.blade.hole_to_turn
    return Finding(
        kind="plan", severity="care", at=at, size=diameter, limit=need, opening=opening, facts=HandHole()
    )
