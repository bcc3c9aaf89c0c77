"""Easing: the smallest shift of the line that lets this blade and this wood do it; elsewhere nothing moves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from scipy.spatial import KDTree
from shapely import MultiLineString, MultiPolygon, Point, Polygon

from cutout import check
from cutout.amend.curves import keep_curves
from cutout.amend.model import Eased, Tell, untold
from cutout.amend.round import quad_segs, tips
from cutout.amend.spine import followed, spine, spine_at
from cutout.amend.strength import MARGIN
from cutout.choices import Corners
from cutout.finding import Finding
from cutout.geom.outline import as_multi, polygons_of
from cutout.kit import Kit
from cutout.kit.blade import SQUEEZE, TURNS
from cutout.measure.webs import breaking, webs
from cutout.measure.widths import Middle, middle_of_keep, middle_of_waste
from cutout.pattern import Opening, Pattern, with_figure, with_waste
from cutout.pattern.placing import stepped

ROUNDS = 4
"""How often opening up and thickening may push on one another before a way out is given up."""
PASSES = 20
"""How often one kind of step may be repeated; outlines settle long before."""
SINGLES = 6
"""How many single places are tried where mending them all at once gets nowhere."""
EFFORT = 120_000
"""Points of outline that may be checked in one easing, all its checks together; drawings full of detail end here."""
WALLS = 200_000
"""Points along walls that one easing may look at: needles have many for each vertex. Usual figures need 20,000, one
with much fine detail 50,000; so many take some twenty seconds."""
MENDS = ("narrow opening", "thin web", "short grain", "tight corner", "tight curve")
"""Kinds of finding that easing knows how to clear."""
WORTH = 3.0
"""An opening narrower than the saw cut that would grow more than so many times is left out instead."""
SMALL_ROUND = 2.0
"""A rounding of this radius (mm) or less is a change nobody sees; common practice, no source."""
_OPENED = 3 * MARGIN
"""A slit opened before is so much wider than the cut at most, as a share of it."""
_NEAR = 1.0
"""What was found within this of a place (mm) is found there."""
_AROUND = 3.0
"""A finding not to be made worse is spared so far round (mm); one further off than this is another one."""
_SAME = 1e-9
"""Distance (mm) that only rounding makes."""
_NOTHING = 1e-3
"""Slivers smaller than this (mm2) come from rounding: 0.01 mm by 0.1 mm."""


@dataclass(frozen=True)
class EasedPattern:
    """The eased pattern, how far it moved, what is found on it, and openings left out (filled with wood)."""

    pattern: Pattern
    eased: Eased
    findings: tuple[Finding, ...]
    left_out: tuple[Polygon, ...] = ()
    gave_up: bool = False
    """Whether EFFORT or WALLS was used up while stops were left."""


@dataclass
class _Effort:
    """Points checked so far, over all checks of one easing. Mutable by nature: trials that fail count too.

    tell: called after each of them.
    """

    tell: Tell
    points: int = 0
    walls: int = 0
    tries: int = 0

    @property
    def spent(self) -> bool:
        """Nothing more is tried."""
        return self.points > EFFORT or self.walls > WALLS

    def checked(self, pattern: Pattern) -> None:
        """Count a pattern whose checks were run: their middle lines are those they share."""
        self.points += int(shapely.get_num_coordinates(pattern.waste))
        self.walls += len(middle_of_keep(pattern).walls.z)
        if pattern.keep_mode != "both":
            self.walls += len(middle_of_waste(pattern).walls.z)
        self.tries += 1
        self.tell("patterns", self.tries, min(max(self.points / EFFORT, self.walls / WALLS), 1.0))


@dataclass(frozen=True)
class _State:
    """The pattern as far as it is eased, what is found on it, and the region it started from."""

    pattern: Pattern
    kit: Kit
    findings: tuple[Finding, ...]
    first: MultiPolygon
    effort: _Effort
    corners: Corners

    @property
    def stops(self) -> int:
        """How many findings stop the work, but for what sticks out over the panel: easing ends there anyway."""
        return sum(f.severity == "stop" and f.kind != "off the panel" for f in self.findings)

    def with_region(self, region: shapely.Geometry) -> _State:
        """The state with another waste (or figure, where both are kept), checked."""
        changed = _with(self.pattern, region)
        difference = shapely.symmetric_difference(_region(changed), _region(self.pattern))
        if shapely.area(difference) < _NOTHING:
            return self
        findings = check.run(changed, self.kit)
        self.effort.checked(changed)
        return replace(self, pattern=changed, findings=findings)

    def no_worse_than(self, other: _State) -> bool:
        """No more stops and no more findings."""
        return self.stops <= other.stops and len(self.findings) <= len(other.findings)

    @property
    def farthest(self) -> float:
        """How far (mm) the line may go from where it started."""
        return max(self.kit.blade.turning_radius, self.pattern.panel.thickness / 2)

    def better_than(self, other: _State) -> bool:
        """Fewer stops, and the line no farther from where it started than it may go."""
        moved = _moved(self.first, _region(self.pattern))[0].max_shift
        return self.stops < other.stops and moved < self.farthest

    def held_back(self, before: _State) -> _State:
        """The state with what was changed since `before` undone where it went too far."""
        new, old = _region(self.pattern), _region(before.pattern)
        changes = polygons_of(shapely.symmetric_difference(new, old))
        gone = MultiPolygon(_moved(old, new)[1])
        lines = (self.first, new)
        too_far = [
            c
            for c in changes
            if not gone.contains(c.representative_point())
            and max(_farthest(MultiPolygon([c]), line) for line in lines) >= self.farthest
        ]
        return self.with_region(shapely.symmetric_difference(new, MultiPolygon(too_far))) if too_far else self

    def stopped_by(self, kind: str, only: Finding | None) -> list[Finding]:
        """The stops of one kind, or the one of them asked for."""
        among = self.findings if only is None else (only,)
        return [f for f in among if f.kind == kind and f.severity == "stop"]


def ease(
    pattern: Pattern,
    kit: Kit,
    findings: Sequence[Finding] | None = None,
    corners: Corners = "cheapest",
    tell: Tell = untold,
) -> EasedPattern:
    """The pattern eased: openings made passable, webs made to hold, corners treated as `corners` says.

    Each step works only where a check found something, and is undone unless the checks then find less. The
    result settles: easing it again changes nothing. findings: of `pattern`, where the caller has them. tell: called
    after each pattern that was tried.
    """
    first = check.run(pattern, kit) if findings is None else tuple(findings)
    state = _State(pattern, kit, first, _region(pattern), _Effort(tell), corners)
    state.effort.checked(pattern)
    for step in (_fewer_stops, _rounded, _fewer_stops):
        for _ in range(PASSES):
            better = step(state)
            if better is state:
                break
            state = better
    moved, gone = _moved(_region(pattern), _region(state.pattern))
    return EasedPattern(state.pattern, moved, state.findings, gone, state.effort.spent and state.stops > 0)


def _fewer_stops(state: _State) -> _State:
    """A state with fewer stops, or the same state where none was found.

    All places are mended at once and again, as one may push on another; where that gets nowhere, one alone.
    """
    if state.stops == 0 or state.pattern.keep_mode == "both":
        return state
    trial = state
    for turn in range(ROUNDS):
        if state.effort.spent:
            return state
        before = trial
        trial = _mended(trial, None, wood_last=turn % 2 == 0)
        if trial.better_than(state):
            return trial
        if trial.stops < state.stops and (mild := trial.held_back(state)).better_than(state):
            return mild
        if trial is before:
            break
    stops = [f for f in state.findings if f.severity == "stop" and f.kind in MENDS]
    for finding in stops[:SINGLES]:
        if state.effort.spent:
            break
        trial = _mended(state, finding, wood_last=True)
        if trial.better_than(state):
            return trial
    return state


def _mended(state: _State, only: Finding | None, *, wood_last: bool) -> _State:
    """Openings made wide enough and webs thick enough, all or one; where they quarrel the last one wins."""
    waste: shapely.Geometry = state.pattern.waste
    wider, left_out = _opened_up(state, only)
    wood = _thickened(state, only)
    if wood_last:
        waste = shapely.difference(shapely.union(waste, wider), wood)
    else:
        waste = shapely.union(shapely.difference(waste, wood), wider)
    return state.with_region(shapely.difference(waste, MultiPolygon(left_out)))


def _opened_up(state: _State, only: Finding | None) -> tuple[shapely.Geometry, list[Polygon]]:
    """Waste to add so that the blade gets in, through and round, and openings not worth it."""
    stops: dict[int, list[Finding]] = {}
    for finding in state.stopped_by("narrow opening", only):
        stops.setdefault(finding.opening or 0, []).append(finding)
    wider = [_room_to_turn(state, only)]
    left_out: list[Polygon] = []
    for opening in state.pattern.openings:
        if opening.id in stops:
            alone = len(state.pattern.openings) == 1
            middle = middle_of_waste(state.pattern) if alone else _middle_of(opening.region)
            passable = _passable(opening, middle, stops[opening.id], state.kit)
            if _not_worth_it(opening.region, passable, state.kit):
                left_out.append(opening.region)
            else:
                wider.append(passable)
    return shapely.union_all(np.array(wider, dtype=object)), left_out


def _room_to_turn(state: _State, only: Finding | None) -> shapely.Geometry:
    """Waste to add round corners and curves where the blade has no room: the smallest hole it turns in."""
    hole = state.kit.drills.at_least(state.kit.blade.hole_to_turn)
    stops = [f for kind in ("tight corner", "tight curve") for f in state.stopped_by(kind, only)]
    if hole is None or not stops:
        return MultiPolygon()
    middle = middle_of_waste(state.pattern)
    places = [(complex(*f.at), hole, hole) for f in stops]
    return _widenings(middle, places, state.effort)


def _thickened(state: _State, only: Finding | None) -> shapely.Geometry:
    """Wood to add so that webs that would break while sawing no longer do, just so much."""
    weak = [w for w in webs(state.pattern, state.kit) if w.breaks]
    if only is not None:
        weak = [w for w in weak if abs(w.at - complex(*only.at)) < _NEAR]
    if not weak:
        return MultiPolygon()
    middle = middle_of_keep(state.pattern)
    places = [(w.at, w.length, breaking(w.limit)) for w in weak]
    return _widenings(middle, places, state.effort)


def _passable(opening: Opening, middle: Middle, stops: Sequence[Finding], kit: Kit) -> shapely.Geometry:
    """The opening widened to the cut where it is narrower, along a line the blade can follow, and round the smallest
    hole at its widest place.
    """
    cut, radius = kit.blade.kerf, TURNS * kit.blade.turning_radius
    region = MultiPolygon([opening.region])
    if middle.clearance.max(initial=0.0) < cut / 2:
        lines = [spine(middle, region, cut * (1 + MARGIN))]
    else:
        narrow = [(n.at, n.length) for n in middle.necks(cut - SQUEEZE, jams=True)]
        narrow += [(a.at, a.length) for a in middle.arms(cut, cut)]
        found = np.array([[at.real, at.imag] for at, _ in narrow]).reshape(-1, 2)
        away = np.atleast_1d(KDTree([f.at for f in stops]).query(found)[0])
        narrow = [n for n, d in zip(narrow, away.tolist(), strict=True) if d < _NEAR]
        lines = [_spine_near(middle, at, length, cut, radius) for at, length in narrow]
    kerfs = [_thick(followed(line, radius, cut), cut) for line in lines]
    wider = shapely.union_all(np.array([region, *kerfs], dtype=object))
    hole = kit.drills.at_least(kit.blade.hole_to_turn)
    circle = shapely.maximum_inscribed_circle(as_multi(wider), tolerance=0.005)
    if hole is None or opening.at_edge or 2 * circle.length >= hole:
        return wider
    radius = hole / 2 * (1 + MARGIN)
    disc = shapely.buffer(shapely.get_point(circle, 0), radius, quad_segs=quad_segs(radius))
    return shapely.union(wider, disc)


@lru_cache(maxsize=64)
def _middle_of(region: Polygon) -> Middle:
    """Middle line of one opening: most are the same in one trial and the next."""
    return Middle(MultiPolygon([region]))


def _not_worth_it(region: Polygon, wider: shapely.Geometry, kit: Kit) -> bool:
    x0, y0, x1, y1 = region.bounds
    if max(x1 - x0, y1 - y0) < kit.limits.speck:
        return True
    narrow = 2 * shapely.maximum_inscribed_circle(region, tolerance=0.01).length < kit.blade.kerf
    return bool(narrow and shapely.area(wider) > WORTH * region.area)


def _widenings(
    middle: Middle, places: Sequence[tuple[complex, float, float]], effort: _Effort
) -> shapely.Geometry:
    """What widens a region round several places (at, length, width): those reached before the effort is spent."""
    made: list[shapely.Geometry] = []
    for at, length, width in places:
        if effort.spent:
            break
        made.append(_widening(middle, at, length, width))
        effort.walls += int(shapely.get_num_coordinates(made[-1]))
    return shapely.union_all(np.array(made, dtype=object))


def _widening(middle: Middle, at: complex, length: float, width: float) -> shapely.Geometry:
    """What makes a region `width` mm wide along its middle line, round a narrow place `length` mm long."""
    lines = spine_at(middle, at, length / 2 + width, width * (1 + MARGIN))
    return _hanging_together(lines, at, width)


def _spine_near(middle: Middle, at: complex, length: float, cut: float, radius: float) -> MultiLineString:
    """The middle line of a place narrower than `cut`, so far as it hangs together with that place once thick.

    It goes on for a turning radius along what was opened before: a line that ended there would turn sharply into it.
    """
    lines = spine_at(middle, at, length / 2 + cut + radius, cut * (1 + _OPENED))
    thick = _hanging_together(lines, at, cut)
    return MultiLineString([line for line in lines.geoms if any(p.intersects(line) for p in thick.geoms)])


def _hanging_together(lines: MultiLineString, at: complex, width: float) -> MultiPolygon:
    """The middle line round a narrow place, made `width` mm thick: what hangs together with the place."""
    place = _point(at)
    return MultiPolygon([p for p in polygons_of(_thick(lines, width)) if p.distance(place) < _SAME])


def _point(z: complex) -> Point:
    return Point(z.real, z.imag)


def _thick(line: MultiLineString, width: float) -> shapely.Geometry:
    wide = width * (1 + MARGIN)
    # Its shake is less than the margin by far, and each point less is a corner less to round.
    lines = shapely.get_parts(shapely.simplify(line, 0.004 * width))
    # One by one: buffering a network of some hundred short lines at once took thirty times as long.
    return shapely.union_all(shapely.buffer(lines, wide / 2, quad_segs=quad_segs(wide / 2)))


def _rounded(state: _State) -> _State:
    """Corners and tight curves rounded, where that moves the line little, so far that the blade goes round.

    Within half a saw cut: to the turning radius with the plan's own margin, so that neither hole nor stop is needed.
    Deeper inside corners of an opening, up to the radius of the smallest hole in which the blade turns: as they are
    where corners are to be sharp, for a crisp corner sawn from both sides is better work; else by the same radius
    where a saw turns that tightly that this is a small change; and where all are to be round, what is left to that
    hole, which then is the corner.
    """
    blade = state.kit.blade
    hole = state.kit.drills.at_least(blade.hole_to_turn)
    radius, half_cut = TURNS * blade.turning_radius, blade.kerf / 2
    if state.pattern.keep_mode == "both":
        deepest = max(half_cut, hole / 2) if hole is not None else half_cut
        steps = [(radius, deepest, False), (radius, deepest, True)]
    else:
        steps = [(radius + half_cut, half_cut, False), (radius - half_cut, half_cut, True)]
        small = radius + half_cut <= SMALL_ROUND
        if hole is not None and (state.corners == "round" or (state.corners == "cheapest" and small)):
            steps.append((radius + half_cut, hole / 2, False))
        if hole is not None and state.corners == "round":
            steps.append((hole / 2, hole / 2, False))
    changed = _cut_tips(state, steps, ())
    if changed.no_worse_than(state):
        return changed
    # Some tips make more findings than they clear: leave those out.
    changed = _cut_tips(state, steps, [f for f in changed.findings if _new(f, state.findings)])
    return changed if changed.no_worse_than(state) else state


def _cut_tips(
    state: _State, steps: Sequence[tuple[float, float, bool]], sparing: Sequence[Finding]
) -> _State:
    """The state with its flagged tips rounded, those left out that lie at a place of `sparing`.

    steps: (radius, how deep a tip may be, whether it is keep's) in mm, one after the other.
    """
    flagged = [Point(f.at) for f in state.findings if f.kind in ("tight corner", "tight curve")]
    stops_at = _stops_at(state)
    if not flagged and stops_at == math.inf:
        return state
    near = shapely.STRtree(flagged)
    spared = shapely.union_all([Point(f.at).buffer(max(_AROUND, f.size or 0.0)) for f in sparing])
    board = state.pattern.panel.polygon
    region: shapely.Geometry = _region(state.pattern)
    for radius, deepest, of_keep in steps:
        if radius <= 0:
            continue
        inside = as_multi(shapely.difference(board, region) if of_keep else region)
        found = [t for t in tips(inside, radius, deepest) if t[0].distance(board.exterior) > _SAME]
        found = [(tip, depth) for tip, depth in found if not tip.intersects(spared)]
        if found:
            parts = np.array([tip for tip, _ in found], dtype=object)
            take = np.array([not of_keep and depth > stops_at for _, depth in found])
            take[near.query(parts, predicate="dwithin", distance=_NEAR)[0]] = True
            cut = shapely.union_all(parts[take])
            region = shapely.union(region, cut) if of_keep else shapely.difference(region, cut)
    return state.with_region(region)


def _stops_at(state: _State) -> float:
    """Depth (mm) from which on a corner of an opening is rounded, though no check complained: the saw stops there.

    Only for a blade that turns so tightly that its rounding is a small change, and where corners need not stay sharp.
    """
    blade = state.kit.blade
    small = TURNS * blade.turning_radius + blade.kerf / 2 <= SMALL_ROUND
    return state.kit.allow if small and state.corners != "sharp" else math.inf


def _new(finding: Finding, before: Sequence[Finding]) -> bool:
    """Whether nothing was found round that place before."""
    return all(math.dist(finding.at, f.at) > _AROUND for f in before)


def _region(pattern: Pattern) -> MultiPolygon:
    """The region whose edge is the line to saw: the waste, or the figure where both sides are kept."""
    return pattern.figure if pattern.keep_mode == "both" else pattern.waste


def _with(pattern: Pattern, region: shapely.Geometry) -> Pattern:
    whole = stepped(MultiPolygon([_clean(p) for p in polygons_of(region) if p.area > _NOTHING]))
    made = with_figure(pattern, whole) if pattern.keep_mode == "both" else with_waste(pattern, whole)
    return keep_curves(pattern, made)


def _clean(polygon: Polygon) -> Polygon:
    """The polygon without holes and steps that are rounding errors only."""
    holes = [h for h in polygon.interiors if Polygon(h).area > _NOTHING]
    return shapely.remove_repeated_points(Polygon(polygon.exterior, holes), 1e-6)


def _moved(old: MultiPolygon, new: MultiPolygon) -> tuple[Eased, tuple[Polygon, ...]]:
    """Greatest distance between the old line and the new one, either way, and the area between them; and the
    openings that are gone, which count in the area but not as a shift.
    """
    change = shapely.symmetric_difference(old, new)
    if change.is_empty:
        return Eased(0.0, 0.0), ()
    there = [bool(shapely.intersection(p, new).area > _NOTHING) for p in old.geoms]
    gone = tuple(p for p, still in zip(old.geoms, there, strict=True) if not still)
    rest = MultiPolygon([p for p, still in zip(old.geoms, there, strict=True) if still])
    return Eased(max(_farthest(rest, new), _farthest(new, rest)), float(change.area)), gone


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
