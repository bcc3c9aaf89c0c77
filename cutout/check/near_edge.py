"""Cuts too near the panel's edge or inside a keep-out zone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import shapely

from cutout.finding import Facts, Finding
from cutout.geom.curve import FloatArray
from cutout.kit import Kit
from cutout.pattern import Pattern

_REACHES = 0.01
"""Less than this (mm, mm^2) is touching."""

Side: TypeAlias = Literal["left", "right", "bottom", "top"]


@dataclass(frozen=True, slots=True)
class NearEdge(Facts):
    """An opening leaves little wood at an edge; size: how much, limit: the least. reaches: it leaves none."""

    side: Side
    reaches: bool


@dataclass(frozen=True, slots=True)
class InZone(Facts):
    """An opening enters a zone to be kept clear; size: how far. across: it runs right across its corner or edge."""

    zone: str
    across: bool


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
    limit = kit.limits.edge
    x0, y0, x1, y1 = pattern.panel.polygon.bounds
    for opening in pattern.openings:
        xy = shapely.get_coordinates(opening.region.exterior)
        away: dict[Side, FloatArray] = {
            "left": xy[:, 0] - x0,
            "right": x1 - xy[:, 0],
            "bottom": xy[:, 1] - y0,
            "top": y1 - xy[:, 1],
        }
        for side, distance in away.items():
            nearest = int(np.argmin(distance))
            size = max(float(distance[nearest]), 0.0)
            if size < limit:
                at = (float(xy[nearest, 0]), float(xy[nearest, 1]))
                reaches = size < _REACHES
                yield Finding(
                    kind="too near the edge",
                    severity="stop" if reaches and pattern.keep_mode == "panel" else "care",
                    at=at,
                    size=size,
                    limit=limit,
                    opening=opening.id,
                    facts=NearEdge(side, reaches),
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
            yield Finding(
                kind="too near the edge",
                severity="stop",
                at=(at.x, at.y),
                size=size,
                limit=0.0,
                opening=opening.id,
                facts=InZone(zone.name, across=size < _REACHES),
            )
