"""Bridges: strips of wood left standing so that a loose piece stays attached."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from cutout.amend.curves import keep_curves
from cutout.amend.model import Bridge, HandBridge, Mending, Tell, untold
from cutout.amend.strength import Strength
from cutout.amend.strips import SLENDER, Site, Strip, broad, shortest_strip, strips_from
from cutout.check.loose_piece import loose_pieces
from cutout.errors import LayoutError
from cutout.finding import Facts, Finding
from cutout.geom.outline import as_multi, polygons_of
from cutout.kit import Kit
from cutout.pattern import Pattern, with_figure
from cutout.pattern.placing import stepped

TWIST = 2.0
"""A piece longer than this many times the width of its bridge would twist on one: it gets two."""
TRIES = (
    (1.0, SLENDER),
    (0.7, SLENDER),
    (0.45, SLENDER),
    (0.25, SLENDER),
    (0.0, 2 * SLENDER),
    (0.0, math.inf),
)
"""Parts of the wanted width, and lengths over widths, tried in turn where a piece has no room for better."""
MOST_PIECES = 150
"""Loose pieces that bridges are looked for at most: each takes about a fifth of a second."""
ENOUGH = 0.2
"""A piece hangs well enough from two places if it sags by less than this part of its length (see _sag)."""
NEAR = 5.0
"""A place the user points at means the bridge whose middle is within this distance (mm)."""
_OVERLAP = 1e-3
"""Shorter or nearer than this (mm) is nothing: a tenth of the working resolution."""
_HAIR = 1e-5
"""An opening is taken so much larger (mm) that a strip which touches its border lies in it."""


@dataclass(frozen=True, slots=True)
class HandBridgeMisses(Facts):
    """A bridge placed by hand does not reach wood at both ends and was left out."""


@dataclass(frozen=True, slots=True)
class Bridged:
    """The pattern with its bridges, what could not be done, and loose pieces too small to hold, made waste."""

    pattern: Pattern
    bridges: tuple[Bridge, ...]
    findings: tuple[Finding, ...] = ()
    left_out: tuple[Polygon, ...] = ()


@dataclass
class _Tie:
    """A piece tied on: by which attempt, with which strips, and what was held before."""

    piece: int
    attempt: int
    strips: list[Strip]
    before: frozenset[int]


@dataclass
class _Search:
    """What is held so far while pieces are tied on one after the other.

    tell: called after each piece that strips were looked for, and after each that was tied on.
    """

    site: Site
    held: set[int]
    loose: list[int]
    tell: Tell = untold
    ties: list[_Tie] = field(default_factory=list)
    known: dict[tuple[int, int], tuple[Strip, ...]] = field(default_factory=dict)
    clear: dict[tuple[int, int], tuple[int, Sequence[Strip]]] = field(default_factory=dict)
    """Of those known the ones clear of the first so many strips: these stay, so each pair is looked at once."""

    @property
    def strips(self) -> list[Strip]:
        """Every strip so far."""
        return [strip for tie in self.ties for strip in tie.strips]

    def tie(self, piece: int, attempt: int, strips: list[Strip]) -> None:
        """Hold a loose piece by strips from now on."""
        self.ties.append(_Tie(piece, attempt, strips, frozenset(self.held)))
        self.held.add(piece)
        self.loose.remove(piece)
        self.told()

    def told(self) -> None:
        """Tell how far it has come: looking at a piece for the first time takes about as long as all that follows."""
        tied, looked_at = len(self.ties), len({piece for piece, _ in self.known})
        self.tell("bridges", len(self.known), (tied + max(looked_at, tied)) / (2 * (tied + len(self.loose))))

    def strips_to_held(self, piece: int, attempt: int) -> list[Strip]:
        """Strips from `piece` to wood that is held, clear of the bridges there are."""
        at, placed = (piece, attempt), self.strips
        if at not in self.known:
            self.known[at] = strips_from(self.site, piece, *TRIES[attempt])
            self.told()
        seen, clear = self.clear.get(at, (0, self.known[at]))
        if new := placed[seen:]:
            clear = [s for s in clear if all(s.area.distance(o.area) > self.site.gap for o in new)]
            self.clear[at] = (len(placed), clear)
        return [s for s in clear if s.target in self.held]


def bridge(pattern: Pattern, kit: Kit, mending: Mending, tell: Tell = untold) -> Bridged:
    """The pattern with the bridges placed by hand and, where `mending` says so, one or two to each loose piece.

    With keep `panel` pieces are tied to the panel or to a piece that is held already; with `figure` the parts
    of the figure are tied to the largest; with `both` pieces are meant to drop and nothing is added. Loose
    pieces too small to carry the least bridge become waste. tell: called while places for bridges are looked for.
    Raises LayoutError for more than MOST_PIECES.
    """
    if pattern.keep_mode == "both":
        return Bridged(pattern, ())
    placed, findings = _by_hand(pattern, kit, mending.by_hand)
    pattern = _with_wood(pattern, [b.area for b in placed])
    if not mending.bridge:
        return Bridged(pattern, placed, findings)
    strength = Strength.of(pattern.panel, kit, mending)
    least = strength.least(strength.grain)
    small = tuple(p for p in loose_pieces(pattern) if broad(p) < least)
    pattern = _without_wood(pattern, small)
    found = _found(pattern, kit, mending, tell)
    taken_away = [Point(p).buffer(NEAR) for p in mending.without]
    found = [s for s in found if not any(p.covers(Point(_middle(s))) for p in taken_away)]
    pattern = _with_wood(pattern, [s.area for s in found])
    first = len(placed) + 1
    bridges = [Bridge(first + i, s.start, s.end, s.width, s.visible) for i, s in enumerate(found)]
    return Bridged(pattern, (*placed, *bridges), findings, small)


def _found(pattern: Pattern, kit: Kit, mending: Mending, tell: Tell) -> list[Strip]:
    loose = loose_pieces(pattern)
    if not loose:
        return []
    if len(loose) > MOST_PIECES:
        raise LayoutError(
            f"{len(loose)} loose pieces would need bridges, at most {MOST_PIECES} are tied on: leave the finest "
            "detail out, make the silhouette smaller, so that more of it is too small to hold, or take no bridges "
            "(--no-bridge)."
        )
    ties = {p.wkb for p in loose}
    held = [p for p in polygons_of(pattern.keep) if p.wkb not in ties]
    pieces = [*held, *loose]
    strength = Strength.of(pattern.panel, kit, mending)
    site = Site.of(pieces, pattern.waste, strength, kit.blade.hole_to_turn)
    search = _Search(site, set(range(len(held))), list(range(len(held), len(pieces))), tell)
    while search.loose and _tie_one(search, mending):
        pass
    if mending.bridge_count is None:
        _spare(search)
    return search.strips


def _tie_one(search: _Search, mending: Mending) -> bool:
    """Tie on the loose piece that takes the least wood; False when no piece left can be reached."""
    for attempt in range(len(TRIES)):
        offers = []
        for piece in search.loose:
            chosen = _choose(search, piece, attempt, mending.bridge_count)
            if chosen:
                offers.append((round(sum(s.cost for s in chosen), 3), piece, chosen))
        if offers:
            _, piece, chosen = min(offers, key=lambda offer: offer[:2])
            search.tie(piece, attempt, chosen)
            return True
    return _tie_nearest(search)


def _tie_nearest(search: _Search) -> bool:
    """The last resort: the shortest strip there is, whatever it lands on."""
    offers = []
    held = [p for i, p in enumerate(search.site.pieces) if i in search.held]
    held += [s.visible for s in search.strips]
    wood = shapely.union_all(np.array(held))
    for piece in search.loose:
        line = shapely.shortest_line(search.site.pieces[piece], wood)
        offers.append((round(line.length, 3), piece, line))
    if not offers:
        return False
    _, piece, line = min(offers, key=lambda offer: offer[:2])
    search.tie(piece, len(TRIES), [shortest_strip(search.site, line)])
    return True


def _spare(search: _Search) -> None:
    """Replace two strips of a piece by one where a piece tied on later, and held elsewhere too, props it up."""
    for tie in search.ties:
        props = [
            strip.end
            for other in search.ties
            if any(s.target in tie.before for s in other.strips)
            for strip in other.strips
            if strip.target == tie.piece
        ]
        if len(tie.strips) != 2 or not props:
            continue
        polygon = search.site.pieces[tie.piece]
        size = _longest(polygon)
        rest = [s for other in search.ties if other is not tie for s in other.strips]
        offers = []
        for strip in search.known[tie.piece, tie.attempt]:
            clear = all(strip.area.distance(o.area) > search.site.gap for o in rest)
            sag = min(_sag(polygon, size, strip.start, prop) for prop in props)
            if clear and strip.target in tie.before and sag < ENOUGH * size:
                offers.append((round(strip.cost + strip.width * sag, 3), strip.start, strip))
        if offers:
            tie.strips = [min(offers, key=lambda offer: offer[:2])[2]]


def _sag(polygon: Polygon, size: float, a: tuple[float, float], b: tuple[float, float]) -> float:
    """How badly (mm) a piece hangs from two places: its middle off the line between them, and these too close."""
    off = float(shapely.distance(shapely.linestrings([a, b]), polygon.centroid))
    return off + max(0.6 * size - math.dist(a, b), 0.0)


def _choose(search: _Search, piece: int, attempt: int, count: int | None) -> list[Strip]:
    """One strip, or the two (or more) that together hold the piece best, or none."""
    strips = search.strips_to_held(piece, attempt)
    if not strips:
        return []
    polygon = search.site.pieces[piece]
    single = min(strips, key=lambda s: (round(s.cost + s.width * _off_centre(polygon, s), 3), s.start))
    size = _longest(polygon)
    wanted = count if count is not None else (2 if size > TWIST * single.width else 1)
    if wanted == 1:
        return [single]
    pair = _pair(strips, polygon, size, search.site.gap)
    chosen = pair or [single]
    while pair and len(chosen) < wanted:
        more = [s for s in strips if all(s.area.distance(o.area) > search.site.gap for o in chosen)]
        if not more:
            break
        apart = [min(math.dist(s.start, o.start) for o in chosen) for s in more]
        best = min(range(len(more)), key=lambda i: (more[i].cost - apart[i] * more[i].width, more[i].start))
        chosen.append(more[best])
    return chosen


def _pair(strips: Sequence[Strip], polygon: Polygon, size: float, gap: float) -> list[Strip]:
    """The two strips with the least wood between which the piece hangs well: its middle near the line from
    one landing to the other, the landings far apart.
    """
    if len(strips) < 2:
        return []
    middle = polygon.centroid
    pairs = np.array(list(combinations(range(len(strips)), 2)))
    starts = np.array([s.start for s in strips])
    cost, width = np.array([s.cost for s in strips]), np.array([s.width for s in strips])
    spans = starts[pairs]
    off = shapely.distance(shapely.linestrings(spans), middle)
    short = np.maximum(0.6 * size - np.hypot(*(spans[:, 0] - spans[:, 1]).T), 0.0)
    total = cost[pairs].sum(axis=1) + width[pairs].mean(axis=1) * (off + short)
    areas = np.array([s.area for s in strips], dtype=object)
    for k in np.lexsort((pairs[:, 1], pairs[:, 0], np.round(total, 3))).tolist():
        a, b = pairs[k].tolist()
        if shapely.distance(areas[a], areas[b]) > gap:
            return [strips[a], strips[b]]
    return []


def _off_centre(polygon: Polygon, strip: Strip) -> float:
    (x0, y0), (x1, y1) = strip.start, strip.end
    length = max(math.hypot(x1 - x0, y1 - y0), 1e-9)
    middle = polygon.centroid
    return abs((x1 - x0) * (middle.y - y0) - (y1 - y0) * (middle.x - x0)) / length


def _longest(polygon: Polygon) -> float:
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    return float(np.hypot(*np.diff(box, axis=0).T).max())


def _middle(strip: Strip) -> tuple[float, float]:
    (x0, y0), (x1, y1) = strip.start, strip.end
    return (x0 + x1) / 2, (y0 + y1) / 2


def _with_wood(pattern: Pattern, strips: Sequence[Polygon]) -> Pattern:
    """The pattern with strips of its waste turned into keep."""
    if not strips:
        return pattern
    wood = shapely.union_all(np.array(strips, dtype=object))
    if pattern.keep_mode == "panel":
        return _with(pattern, pattern.figure.difference(wood))
    return _with(pattern, pattern.figure.union(wood.intersection(pattern.panel.polygon)))


def _without_wood(pattern: Pattern, pieces: Sequence[Polygon]) -> Pattern:
    """The pattern with pieces of its keep turned into waste."""
    if not pieces:
        return pattern
    gone = shapely.union_all(np.array(pieces, dtype=object))
    whole = pattern.figure.union(gone) if pattern.keep_mode == "panel" else pattern.figure.difference(gone)
    return _with(pattern, whole)


def _with(pattern: Pattern, figure: shapely.Geometry) -> Pattern:
    return keep_curves(pattern, with_figure(pattern, stepped(as_multi(figure))))


def _by_hand(
    pattern: Pattern, kit: Kit, asked: Sequence[HandBridge]
) -> tuple[tuple[Bridge, ...], tuple[Finding, ...]]:
    """The bridges the user placed, run out to the wood on both sides, and a finding for each that misses it."""
    bridges: list[Bridge] = []
    findings: list[Finding] = []
    for hand in asked:
        made = _run_out(pattern, hand, len(bridges) + 1)
        if made is None:
            findings.append(_misses(hand))
        else:
            bridges.append(made)
    return tuple(bridges), tuple(findings)


def _run_out(pattern: Pattern, hand: HandBridge, number: int) -> Bridge | None:
    """The strip through the hand bridge's middle across its opening, or None where it ends in the open."""
    opening = next((o.region for o in pattern.openings if o.region.covers(Point(hand.at))), None)
    if opening is None:
        return None
    d = complex(math.cos(hand.angle), math.sin(hand.angle))
    centre = complex(*hand.at)
    span = math.hypot(pattern.panel.width, pattern.panel.height)
    line = LineString([_xy(centre - span * d), _xy(centre + span * d)])
    part = min(shapely.get_parts(line.intersection(opening)), key=lambda p: p.distance(Point(hand.at)))
    if part.length < _OVERLAP:
        return None
    ends = sorted(
        (complex(*xy) for xy in shapely.get_coordinates(part)[[0, -1]].tolist()),
        key=lambda z: ((z - centre) * d.conjugate()).real,
    )
    if any(pattern.keep.distance(Point(_xy(z))) > 0.01 for z in ends):
        return None
    # Run on by the width at both ends, so that the strip meets slanting wood over all of its width.
    longer = LineString([_xy(ends[0] - hand.width * d), _xy(ends[1] + hand.width * d)])
    strip = longer.buffer(hand.width / 2, cap_style="flat")
    # Ending exactly at the edge of its opening it would leave a slit of rounding errors there.
    room = strip.intersection(opening.buffer(_HAIR, join_style="mitre"))
    seen = [p for p in polygons_of(room) if p.distance(Point(hand.at)) < _OVERLAP]
    if not seen:
        return None
    return Bridge(number, _xy(ends[0]), _xy(ends[1]), hand.width, seen[0], by_hand=True)


def _misses(hand: HandBridge) -> Finding:
    return Finding(kind="loose piece", severity="care", at=hand.at, facts=HandBridgeMisses())


def _xy(z: complex) -> tuple[float, float]:
    return z.real, z.imag
