"""What the saw leaves: slivers for a file, and what no cut frees."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import Polygon

from cutout.finding import Facts, Finding
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.saw.model import LeftOver
from cutout.saw.planner.state import SNAPS, State

NECK = 0.04
"""Pieces joined by a neck that is thicker than a skin by no more than this (mm) on each side are told apart."""
DUST = 0.1
"""Slivers smaller than this (mm^2) are not worth a line."""


@dataclass(frozen=True, slots=True)
class NoCut(Facts):
    """No way was found to saw out some waste; size: how deep it is. blade: its name."""

    blade: str


def left_over_of(state: State, kit: Kit) -> tuple[list[LeftOver], list[Finding]]:
    """Slivers that stay in corners for a file, and a `stop` for each piece too large for one."""
    slivers: list[LeftOver] = []
    stops: list[Finding] = []
    for piece in (p for held in state.held() for p in _thick(held, state)):
        sliver = _measured(piece, state)
        if sliver.area < DUST:
            continue
        hold = state.hold(piece)
        if hold <= SNAPS and not small_enough(sliver, kit):
            slivers.append(LeftOver(sliver.at, max(sliver.depth, hold), round(hold * hold, 3)))
            continue
        slivers.append(sliver)
        if not small_enough(sliver, kit):
            stops.append(_stop(sliver, state, kit))
    return slivers, stops


def _thick(held: Polygon, state: State) -> list[Polygon]:
    """The parts of a held piece thicker than a skin, parted where they hang together by hardly more than one."""
    found: list[Polygon] = []
    for part in polygons_of(state.fat(held)):
        finer = polygons_of(state.fat(part, NECK))
        found += finer if len(finer) > 1 else [part]
    return found


def small_enough(sliver: LeftOver, kit: Kit) -> bool:
    """Whether a rasp and a file clear it in a moment: about a corner that the blade can't turn in."""
    return sliver.area <= small_enough_area(kit)


def small_enough_area(kit: Kit) -> float:
    """Area (mm^2) up to which a piece that stays is left to the file."""
    return max(5.0, 1.5 * kit.blade.hole_to_turn**2)


def _measured(piece: Polygon, state: State) -> LeftOver:
    depth, at = state.depth(piece)
    return LeftOver((round(at[0], 3), round(at[1], 3)), depth, float(piece.area))


def _stop(sliver: LeftOver, state: State, kit: Kit) -> Finding:
    return Finding(
        kind="plan",
        severity="stop",
        at=sliver.at,
        size=sliver.depth,
        opening=state.area.id,
        facts=NoCut(kit.blade.title),
    )
