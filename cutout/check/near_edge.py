"""Cuts too near the panel's edge or inside a keep-out zone."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from cutout.finding import Finding
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length

_REACHES = 0.01
"""Less than this (mm, mm^2) is touching."""


def near_edge(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Openings nearer to the panel's edge than the limit, and cuts that enter a keep-out zone."""
    yield from _edges(pattern, kit)
    yield from _zones(pattern, kit)


def _edges(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """The nearest place of each opening to each side of the panel; nothing where the figure alone survives.

    With the panel kept, an opening that reaches its edge cuts it open: that stops the job.
    """
    if pattern.keep_mode == "figure":
        return
    limit, panel = kit.limits.edge, pattern.panel
    for opening in pattern.openings:
        xy = shapely.get_coordinates(opening.region.exterior)
        away = {
            "left": xy[:, 0],
            "right": panel.width - xy[:, 0],
            "bottom": xy[:, 1],
            "top": panel.height - xy[:, 1],
        }
        for side, distance in away.items():
            nearest = int(np.argmin(distance))
            size = max(float(distance[nearest]), 0.0)
            if size < limit:
                at = (float(xy[nearest, 0]), float(xy[nearest, 1]))
                cut_open = size < _REACHES and pattern.keep_mode == "panel"
                yield Finding(
                    "too near the edge", "stop" if cut_open else "care", at, size, limit, opening.id,
                    _near(opening.id, size, side, kit),
                    "Move the pattern away from that edge, make it smaller, or take a larger panel.",
                )  # fmt: skip


def _near(opening: int, size: float, side: str, kit: Kit) -> str:
    if size < _REACHES:
        return f"Opening {opening} reaches the panel's {side} edge: no wood closes it there."
    return (
        f"Opening {opening} leaves {format_length(size, kit.units)} of wood at the panel's {side} edge; "
        f"{format_length(kit.limits.edge, kit.units)} is the least."
    )


def _zones(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Each opening that enters a keep-out zone, and how far at most."""
    for zone in pattern.panel.zones:
        for opening in pattern.openings:
            inside = shapely.intersection(opening.region, zone.area)
            if inside.area < _REACHES:
                continue
            xy = shapely.get_coordinates(inside)
            deep = np.asarray(shapely.distance(shapely.points(xy), shapely.boundary(zone.area)))
            furthest = int(np.argmax(deep))
            size, at = float(deep[furthest]), shapely.point_on_surface(inside)
            text = f"Opening {opening.id} runs {format_length(size, kit.units)} into the {zone.name}."
            if size < _REACHES:
                text = f"Opening {opening.id} runs right across the {zone.name}."
            remedy = f"Move the pattern clear of the {zone.name}, or make it smaller."
            yield Finding("too near the edge", "stop", (at.x, at.y), size, 0.0, opening.id, text, remedy)
