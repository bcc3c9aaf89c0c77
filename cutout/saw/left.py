"""What the saw leaves: slivers for a file, and what no cut frees."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon

from cutout.check.finding import Finding
from cutout.kit import Kit
from cutout.saw.model import LeftOver
from cutout.saw.state import State
from cutout.units import format_length

THIN = 0.05
"""Wood thinner than this (mm) holds nothing."""
DUST = 0.2
"""Slivers smaller than this (mm^2) are not worth a line."""


def left_over_of(state: State, kit: Kit) -> tuple[list[LeftOver], list[Finding]]:
    """Slivers that stay in corners for a file, and a `stop` for each piece too large for one."""
    slivers: list[LeftOver] = []
    stops: list[Finding] = []
    for piece in _pieces(state):
        sliver = _measured(piece, state)
        if sliver.area < DUST:
            continue
        slivers.append(sliver)
        if not small_enough(sliver, kit):
            stops.append(_stop(sliver, state, kit))
    return slivers, stops


def small_enough(sliver: LeftOver, kit: Kit) -> bool:
    """Whether a rasp and a file clear it in a moment: about a corner that the blade can't turn in."""
    return sliver.area <= max(5.0, 1.5 * kit.blade.hole_to_turn**2)


def _pieces(state: State) -> list[Polygon]:
    open_area = shapely.union_all([shapely.buffer(g, THIN, quad_segs=8) for g, _ in state.open])
    standing = shapely.difference(shapely.union_all(state.standing), open_area)
    parts = shapely.get_parts(standing)
    near = shapely.distance(parts, state.area.line) <= THIN / 2
    return [p for p in parts[near].tolist() if isinstance(p, Polygon)]


def _measured(piece: Polygon, state: State) -> LeftOver:
    open_area = shapely.union_all([g for g, _ in state.open]) if state.open else None
    xy = shapely.get_coordinates(piece)
    if open_area is None or shapely.is_empty(open_area):
        depth = np.full(len(xy), float(np.sqrt(piece.area)))
    else:
        depth = shapely.distance(shapely.points(xy), open_area)
    worst = int(np.argmax(depth))
    at = (round(float(xy[worst, 0]), 3), round(float(xy[worst, 1]), 3))
    return LeftOver(at, float(depth[worst]), float(piece.area))


def _stop(sliver: LeftOver, state: State, kit: Kit) -> Finding:
    return Finding(
        "plan", "stop", sliver.at, sliver.depth, None, state.area.id,
        f"No way was found to saw out {format_length(sliver.depth, kit.units)} of waste in opening "
        f"{state.area.id}: the {kit.blade.title} can't get there.",
        "Make the silhouette larger, take a narrower blade, or ease the outline here.",
    )  # fmt: skip
