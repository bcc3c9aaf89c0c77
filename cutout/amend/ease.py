"""Easing: the smallest shift of the line that lets this blade and this wood do it; elsewhere nothing moves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon

from cutout import check
from cutout.amend.model import Eased
from cutout.amend.round import opened, quad_segs, tips
from cutout.amend.spine import spine
from cutout.check.finding import Finding
from cutout.geom.outline import as_multi, polygons_of
from cutout.kit import Kit
from cutout.pattern import Pattern, with_figure, with_waste

ROUNDS = 4
"""How often opening up and thickening may push on one another before a way out is given up."""
SINGLES = 12
"""How many single places are tried where mending them all at once gets nowhere."""
MARGIN = 0.02
"""Extra width (mm) beyond a limit, so that rounding errors do not bring the finding back."""
WORTH = 3.0
"""An opening narrower than the saw cut that would grow more than so many times is left out instead."""
STOP_SHARE = 0.25
"""Part of the web limit below which a web stops the work."""
_NEAR = 1.0
_SAME = 1e-9


@dataclass(frozen=True)
class EasedPattern:
    """The eased pattern, how far it moved, what is found on it, and openings left out (filled with wood)."""

    pattern: Pattern
    eased: Eased
    findings: tuple[Finding, ...]
    left_out: tuple[Polygon, ...] = ()


@dataclass(frozen=True)
class _State:
    """The pattern as far as it is eased, what is found on it, and the openings left out so far."""

    pattern: Pattern
    kit: Kit
    findings: tuple[Finding, ...]
    left_out: tuple[Polygon, ...] = ()

    @property
    def stops(self) -> int:
        """How many findings stop the work."""
        return sum(f.severity == "stop" for f in self.findings)

    def with_region(self, region: shapely.Geometry, left_out: Iterable[Polygon] = ()) -> _State:
        """The state with another waste (or figure, where both are kept), checked."""
        changed = _with(self.pattern, region)
        if shapely.equals_exact(_region(changed), _region(self.pattern), _SAME):
            return self
        findings = check.run(changed, self.kit)
        return _State(changed, self.kit, findings, (*self.left_out, *left_out))


def ease(pattern: Pattern, kit: Kit, findings: Sequence[Finding] | None = None) -> EasedPattern:
    """The pattern eased: openings made passable, webs made to hold, corners rounded to the smallest hole.

    Each step works only where a check found something, and is undone unless the checks then find less. The
    result settles: easing it again changes nothing. findings: of `pattern`, where the caller has them.
    """
    first = check.run(pattern, kit) if findings is None else tuple(findings)
    state = _State(pattern, kit, first)
    while (better := _fewer_stops(state)) is not state:
        state = better
    while (better := _rounded(state)) is not state:
        state = better
    return EasedPattern(state.pattern, _moved(pattern, state.pattern), state.findings, state.left_out)


def _fewer_stops(state: _State) -> _State:
    """A state with fewer stops, or the same state where none was found.

    All places are mended at once and again, as one may push on another; where that gets nowhere, one alone.
    """
    if state.stops == 0 or state.pattern.keep_mode == "both":
        return state
    trial = state
    for _ in range(ROUNDS):
        before = trial
        trial = _thickened(_opened_up(trial))
        if trial.stops < state.stops:
            return trial
        if trial is before:
            break
    for finding in [f for f in state.findings if f.severity == "stop"][:SINGLES]:
        trial = _thickened(_opened_up(state, finding), finding)
        if trial.stops < state.stops:
            return trial
    return state


def _opened_up(state: _State, only: Finding | None = None) -> _State:
    """Openings that stop the work made wide enough for the cut, with room for one starter hole each."""
    waste: shapely.Geometry = state.pattern.waste
    by_id = {o.id: o for o in state.pattern.openings}
    left_out = []
    for finding in state.findings if only is None else (only,):
        opening = by_id.get(finding.opening or 0)
        if finding.kind != "narrow opening" or finding.severity != "stop" or opening is None:
            continue
        wider = _passable(opening.region, opening.at_edge, state.kit)
        if _not_worth_it(opening.region, wider, state.kit):
            waste = shapely.difference(waste, opening.region)
            left_out.append(opening.region)
        else:
            waste = shapely.union(waste, wider)
    return state.with_region(waste, left_out) if waste is not state.pattern.waste else state


def _thickened(state: _State, only: Finding | None = None) -> _State:
    """Webs that would break while sawing made just thick enough that they no longer stop the work."""
    keep = state.pattern.keep
    wood = []
    for finding in state.findings if only is None else (only,):
        if finding.kind != "thin web" or finding.severity != "stop" or finding.limit is None:
            continue
        width = STOP_SHARE * finding.limit + MARGIN
        place = Point(finding.at)
        parts = [p for p in _narrow_parts(keep, width) if p.distance(place) < width / 2]
        wood.append(_widening(keep, width, parts))
    if not wood:
        return state
    return state.with_region(shapely.difference(state.pattern.waste, shapely.union_all(np.array(wood))))


def _passable(region: Polygon, at_edge: bool, kit: Kit) -> shapely.Geometry:
    """The opening widened to the cut where it is narrower, and round the smallest hole at its widest place."""
    cut = kit.blade.kerf + MARGIN
    wider = shapely.union(region, _widening(region, cut, _narrow_parts(region, cut)))
    hole = kit.drills.at_least(kit.blade.hole_to_turn)
    if hole is None or at_edge:
        return wider
    circle = shapely.maximum_inscribed_circle(as_multi(wider), tolerance=0.005)
    if 2 * circle.length >= hole:
        return wider
    radius = hole / 2 + MARGIN
    return shapely.union(
        wider, shapely.buffer(shapely.get_point(circle, 0), radius, quad_segs=quad_segs(radius))
    )


def _not_worth_it(region: Polygon, wider: shapely.Geometry, kit: Kit) -> bool:
    x0, y0, x1, y1 = region.bounds
    if max(x1 - x0, y1 - y0) < kit.limits.speck:
        return True
    narrow = 2 * shapely.maximum_inscribed_circle(region, tolerance=0.01).length < kit.blade.kerf
    return bool(narrow and shapely.area(wider) > WORTH * region.area)


def _narrow_parts(region: shapely.Geometry, width: float) -> list[Polygon]:
    """Parts of `region` narrower than `width` mm, blunt ends of corners left out."""
    rest = shapely.difference(region, opened(region, width / 2))
    least = (0.05 * width) ** 2
    return [p for p in polygons_of(rest) if p.area > least]


def _widening(region: shapely.Geometry, width: float, parts: Sequence[Polygon]) -> shapely.Geometry:
    """What makes `region` `width` mm wide along the middle lines of its narrow `parts`."""
    if not parts:
        return MultiPolygon()
    window = shapely.buffer(shapely.union_all(np.array(parts, dtype=object)), 0.1 * width)
    line = shapely.simplify(spine(region, window, width), MARGIN / 2)
    return shapely.buffer(line, width / 2, quad_segs=quad_segs(width / 2))


def _rounded(state: _State) -> _State:
    """Corners and tight curves rounded, where that moves the line little, so far that the blade goes round.

    Within half a saw cut: to the turning radius, so that no hole is needed. Otherwise an inside corner of an
    opening to the smallest hole in which the blade turns, where that shifts it by no more than the hole's
    radius: then the hole is the corner and no file work is left.
    """
    blade = state.kit.blade
    hole = state.kit.drills.at_least(blade.hole_to_turn)
    radius, half_cut = blade.turning_radius, blade.kerf / 2
    if state.pattern.keep_mode == "both":
        deepest = max(half_cut, hole / 2) if hole is not None else half_cut
        steps = [(radius, deepest, False), (radius, deepest, True)]
    else:
        steps = [(radius + half_cut, half_cut, False), (radius - half_cut, half_cut, True)]
        if hole is not None:
            steps.append((hole / 2, hole / 2, False))
    for step in steps:
        state = _cut_tips(state, *step)
    return state


def _cut_tips(state: _State, radius: float, deepest: float, of_keep: bool) -> _State:
    """The flagged tips of the waste (or of keep) rounded to `radius` where none moves more than `deepest` mm."""
    flagged = [Point(f.at) for f in state.findings if f.kind in ("tight corner", "tight curve")]
    if not flagged or radius <= 0:
        return state
    board = state.pattern.panel.polygon
    region = _region(state.pattern)
    inside = as_multi(shapely.difference(board, region)) if of_keep else region
    parts = [tip for tip, _ in tips(inside, radius, deepest) if tip.distance(board.exterior) > _SAME]
    if not parts:
        return state
    near = shapely.STRtree(flagged).query(parts, predicate="dwithin", distance=_NEAR)
    index = np.unique(near[0])
    if len(index) == 0:
        return state
    cut = shapely.union_all(np.array(parts, dtype=object)[index])
    changed = state.with_region(shapely.union(region, cut) if of_keep else shapely.difference(region, cut))
    worse = changed.stops > state.stops or len(changed.findings) > len(state.findings)
    return state if worse else changed


def _region(pattern: Pattern) -> MultiPolygon:
    """The region whose edge is the line to saw: the waste, or the figure where both sides are kept."""
    return pattern.figure if pattern.keep_mode == "both" else pattern.waste


def _with(pattern: Pattern, region: shapely.Geometry) -> Pattern:
    whole = as_multi(shapely.remove_repeated_points(region, 1e-5))
    whole = MultiPolygon([p for p in whole.geoms if p.area > 1e-4])
    return with_figure(pattern, whole) if pattern.keep_mode == "both" else with_waste(pattern, whole)


def _moved(before: Pattern, after: Pattern) -> Eased:
    """Greatest distance between the old line and the new one, either way, and the area between them."""
    old, new = _region(before), _region(after)
    change = shapely.symmetric_difference(old, new)
    if change.is_empty:
        return Eased(0.0, 0.0)
    shift = max(_farthest(old, new), _farthest(new, old))
    return Eased(shift, float(change.area))


def _farthest(line: MultiPolygon, other: MultiPolygon) -> float:
    """Greatest distance (mm) from a vertex of one region's edge to the other's edge."""
    at = np.atleast_1d(np.asarray(shapely.points(shapely.get_coordinates(line)), dtype=object))
    edges = shapely.get_rings(shapely.get_parts(other))
    points, ring = shapely.get_coordinates(edges, return_index=True)
    joined = ring[1:] == ring[:-1]
    ends = np.stack([points[:-1][joined], points[1:][joined]], axis=1)
    pieces = np.asarray(shapely.linestrings(ends), dtype=object)
    if len(at) == 0 or len(pieces) == 0:
        return 0.0
    return float(shapely.STRtree(pieces).query_nearest(at, return_distance=True)[1].max())
