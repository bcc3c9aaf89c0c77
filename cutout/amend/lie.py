"""Checking and mending where every pattern lies alike, and what that came to brought back to the panel.

There a shape is the same to the last bit wherever it lay, and so is all that is worked out from it: what is
remembered of one that was only moved is what would come out anew.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree
from shapely import MultiPolygon

from cutout import check
from cutout.amend.curves import keep_curves
from cutout.amend.model import Bridge, GaveUp, HandBridge, Mended, Mending
from cutout.check.loose_piece import Loose
from cutout.check.near_edge import NearEdge, Side
from cutout.finding import Facts, Finding, ordered
from cutout.geom.curve import ComplexArray, FloatArray, to_array, to_complex
from cutout.geom.outline import as_multi
from cutout.kit import Kit
from cutout.measure.webs import edge_matters
from cutout.memory import Memory
from cutout.pattern import Opening, Panel, Pattern, with_figure
from cutout.pattern.placing import STEPS, Placing, placed_pattern

IntArray: TypeAlias = NDArray[np.intp]

_SIDES: dict[Side, complex] = {"right": 1, "top": 1j, "left": -1, "bottom": -1j}
"""Which way the sides of a panel lie from its middle."""


_SAME_VERTEX = 1e-5
"""A vertex that comes back this near (mm) to where one was is that one: many steps, and far less than any change."""

_mended: Memory[tuple[Pattern, Mended]] = Memory(4)  # as it is and as it was a moment ago, of two jobs


def lying_alike(
    mend: Callable[[Pattern, Mending], Mended], pattern: Pattern, kit: Kit, mending: Mending
) -> Mended:
    """What `mend` makes of the pattern, however it lies on its panel. kit: all that it goes by beside these.

    Rounding alone decides between two ways that are equally good: worked out in one place that only the shape of
    figure, panel and grain decides, it decides alike. Vertices nobody moved come back to the last bit.
    """
    there, placing = placed_pattern(pattern, edge_matters(pattern, kit))
    asked = _mending_there(mending, placing)
    there, done = _mended.recall((there, asked, kit), lambda: (there, mend(there, asked)))
    after = pattern if done.pattern is there else _back(done.pattern.figure, there, pattern, placing)
    was, is_now = _numbers(there, pattern, placing), _numbers(done.pattern, after, placing)
    found = (_found(f, was if f.cleared else is_now, placing, pattern.panel) for f in done.findings)
    bridges = tuple(_bridge(b, placing) for b in done.bridges)
    return Mended(after, bridges, done.eased, ordered(found))


def forget() -> None:
    """Forget what mending came to: whoever changed what it goes by, beside what it is asked, starts anew."""
    _mended.clear()


def checked(pattern: Pattern, kit: Kit) -> tuple[Finding, ...]:
    """What the checks find on a pattern, however it lies on its panel; those that mending begins with."""
    by = kit.to_saw_by
    there, placing = placed_pattern(pattern, edge_matters(pattern, by))
    numbers = _numbers(there, pattern, placing)
    return ordered(_found(f, numbers, placing, pattern.panel) for f in check.run(there, by))


def _mending_there(mending: Mending, placing: Placing) -> Mending:
    by_hand = (
        HandBridge(_spot(b.at, placing), placing.angle_there(b.angle), b.width) for b in mending.by_hand
    )
    without = tuple(_spot(at, placing) for at in mending.without)
    return replace(mending, by_hand=tuple(by_hand), without=without)


def _spot(at: tuple[float, float], placing: Placing) -> tuple[float, float]:
    """A place on the panel there, to the step."""
    x, y = placing.rounded(np.array([at]))[0].tolist()
    return x, y


def _back(figure: MultiPolygon, there: Pattern, pattern: Pattern, placing: Placing) -> Pattern:
    """The pattern with a figure that was mended there."""
    old = to_complex(shapely.get_coordinates(pattern.figure))
    known = shapely.get_coordinates(there.figure)
    tree = KDTree(placing.rounded(to_array(old)))
    away, nearest = (np.asarray(found) for found in tree.query(known, distance_upper_bound=_SAME_VERTEX))

    def home(xy: FloatArray) -> FloatArray:
        at = _same(known, xy)
        same = (at >= 0) & np.isfinite(away[at])
        z = placing.back(to_complex(xy))
        z[same] = old[nearest[at[same]]]
        return _on_the_edge(to_array(z), pattern.panel)

    moved = shapely.transform(figure, home)
    whole = moved if moved.is_valid else as_multi(shapely.make_valid(moved))
    return keep_curves(pattern, with_figure(pattern, whole))


def _same(known: FloatArray, xy: FloatArray) -> IntArray:
    """For each point (n, 2) the row of `known` that is the same to the last bit, -1 where none is."""
    rows, place = np.unique(to_complex(known), return_index=True)
    z = to_complex(xy)
    at = np.minimum(np.searchsorted(rows, z), len(rows) - 1)
    return np.where(rows[at] == z, place[at], -1)


def _on_the_edge(xy: FloatArray, panel: Panel) -> FloatArray:
    """Points a rounding off the panel's edge, on it."""
    for axis, far in ((0, panel.width), (1, panel.height)):
        for edge in (0.0, far):
            xy[:, axis] = np.where(np.abs(xy[:, axis] - edge) <= 2 / STEPS, edge, xy[:, axis])
    return xy


def _numbers(there: Pattern, here: Pattern, placing: Placing) -> dict[int, int]:
    """Which number the openings of one pattern have in the other, where they are counted from another corner."""
    if not here.openings:
        return {}
    inside = shapely.points([placing.spot_back(_inside(o)) for o in there.openings])
    nearest = np.atleast_1d(shapely.STRtree([o.region for o in here.openings]).nearest(inside))
    return {o.id: here.openings[n].id for o, n in zip(there.openings, nearest.tolist(), strict=True)}


def _inside(opening: Opening) -> tuple[float, float]:
    at = shapely.point_on_surface(opening.region)
    return at.x, at.y


def _found(finding: Finding, numbers: dict[int, int], placing: Placing, panel: Panel) -> Finding:
    opening = finding.opening
    of_all = finding.kind == "kit" or isinstance(finding.facts, GaveUp)
    return replace(
        finding,
        at=panel.middle if of_all else placing.spot_back(finding.at),
        opening=numbers.get(opening, opening) if opening is not None else None,
        facts=_facts(finding.facts, placing),
    )


def _facts(facts: Facts, placing: Placing) -> Facts:
    """Facts that tell left from right, or width from height."""
    match facts:
        case NearEdge(side):
            return replace(facts, side=_side(side, placing))
        case Loose(width, height) if placing.turn.imag:
            return replace(facts, width=height, height=width)
    return facts


def _side(side: Side, placing: Placing) -> Side:
    way: ComplexArray = replace(placing, origin=0j).back(np.array(_SIDES[side]))
    return min(_SIDES, key=lambda s: abs(_SIDES[s] - complex(way)))


def _bridge(bridge: Bridge, placing: Placing) -> Bridge:
    area = shapely.transform(bridge.area, lambda xy: to_array(placing.back(to_complex(xy))))
    return replace(
        bridge, start=placing.spot_back(bridge.start), end=placing.spot_back(bridge.end), area=area
    )
