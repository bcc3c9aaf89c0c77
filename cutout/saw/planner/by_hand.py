"""Holes the user placed by hand: used where a blade can come in through them, drilled and reported anyway."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

from cutout.finding import Finding
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.saw.model import Hole
from cutout.saw.planner.state import State
from cutout.units import format_length

ByHand = tuple[tuple[float, float], float]
"""Centre and diameter of a hole the user wants, mm."""


def by_hand_idle(state: State, by_hand: Sequence[ByHand], kit: Kit) -> list[Finding]:
    """A finding for each hole placed by hand in an opening through which no leg begins."""
    used = {cut.starts for cut in state.cuts}
    return [
        _finding(hole, state.area.id, kit)
        for hole, drilled in zip(by_hand, state.holes[: len(by_hand)], strict=True)
        if drilled.name not in used
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
    size = format_length(diameter, kit.units)
    if diameter < need:
        text = f"The {size} hole you placed is too small for the blade, which needs {format_length(need, kit.units)}."
    else:
        text = f"The {size} hole you placed is drilled, but no cut begins in it."
    return Finding(
        "plan", "care", at, diameter, need, opening, text, "Move it, enlarge it, or leave it out of the job."
    )
