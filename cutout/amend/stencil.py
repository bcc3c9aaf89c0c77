"""Bridges of letters, placed as a stencil cutter places them: one manner and one width for a whole sign.

Upright bridges run with the stems through the top and the bottom of each bowl, level ones with the base line. A bowl
is never crossed at mid-height where top and bottom serve, and no bridge runs into a stem: there the way through the
stroke is long. Where to put them: common practice of stencil faces, no source with numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Point, Polygon

from cutout.amend.curves import keep_curves
from cutout.amend.model import Bridge, Mending
from cutout.amend.rays import Edges, crossings
from cutout.amend.strength import Strength
from cutout.amend.strips import LANES, broad
from cutout.check.loose_piece import loose_pieces
from cutout.geom.curve import to_array
from cutout.geom.outline import Letter, as_multi, polygons_of
from cutout.kit import Kit
from cutout.pattern import Pattern, with_figure
from cutout.pattern.placing import stepped

SHARE = 0.3
"""Width of a bridge over the width of the narrowest bowl, as far as the wood allows: wider hides the letter."""
SMALL = 2.2
"""A bowl less than this many bridges across, or high, has room for one bridge only."""
LONGER = 1.6
"""Of two bridges of a bowl the one that takes this many times the wood is left out, as at the peak of an A."""
OFF_CENTRE = 0.8
"""What a bridge off the middle of its bowl costs, over how far it is off."""
SKEW = 1.0
"""What a slanting landing costs, over how much its ends differ."""
MARK = 0.5
"""A part of a kept letter less than this many cap heights square, and no further away, is a dot or an accent."""
STEM = 0.6
"""Width of the strip under a dot over the dot's own, as far as the wood allows."""
_PLACES = 33
"""Places for a strip that are tried along a side."""
_NEAR = 5.0
"""A bridge that was taken away by hand is not put back within this (mm)."""
_INSIDE = 1e-6
"""Lanes begin so far inside (mm), off the border itself."""
_LAP = 0.1
"""A strip reaches so far into the wood (mm), so that the union of both is one piece."""


@dataclass(frozen=True, slots=True)
class Lettered:
    """The pattern with the bridges of its letters, which are numbered once the others are known."""

    pattern: Pattern
    bridges: tuple[Bridge, ...] = ()

    def after(self, others: Sequence[Bridge]) -> tuple[Bridge, ...]:
        """The other bridges and these, numbered on from them."""
        return (*others, *(replace(b, id=n) for n, b in enumerate(self.bridges, len(others) + 1)))


@dataclass(frozen=True, slots=True)
class _Strip:
    """A way out of a bowl: where the bridge's middle line begins and ends, what it costs (mm), the piece it reaches.

    spare: how far (mm) it runs on into the wood at both ends, so that it meets all of a slanting edge.
    """

    start: complex
    end: complex
    cost: float
    target: int
    spare: float

    @property
    def middle(self) -> Point:
        """The middle of the bridge."""
        return _point((self.start + self.end) / 2)

    def area(self, width: float) -> Polygon:
        """The strip of wood, what it overlaps at both ends included."""
        way = _unit(self.end - self.start)
        side, first, last = 0.5j * width * way, self.start - self.spare * way, self.end + self.spare * way
        return Polygon([(z.real, z.imag) for z in (first - side, last - side, last + side, first + side)])


def bridged_letters(pattern: Pattern, kit: Kit, mending: Mending) -> Lettered:
    """The pattern with bridges for the loose insides of letters that are cut out of the panel; else as it is.

    Of letters that are kept, their dots and accents. Pieces no such bridge reaches, and those too small for one of
    the sign's width, are left to the search for other shapes. Bridges the user took away are not made again.
    """
    letters = pattern.outline.letters
    if not letters or pattern.keep_mode == "both" or not mending.bridge or mending.letters == "free":
        return Lettered(pattern)
    of_letters = [
        (p, letter) for p in loose_pieces(pattern) if (letter := _letter_of(p, letters)) is not None
    ]
    if not of_letters:
        return Lettered(pattern)
    taken_away = [Point(p).buffer(_NEAR) for p in mending.without]
    if pattern.keep_mode == "figure":
        width, found = _marks(pattern, kit, mending, of_letters)
        return _made(pattern, [s for s in found if not any(p.covers(s.middle) for p in taken_away)], width)
    manners = (mending.letters,) if mending.letters else ("upright", "level")
    # Upright unless level holds more bowls; each manner is whole or nothing, never mixed.
    tried = [_in_one_manner(pattern, kit, mending, of_letters, manner == "upright") for manner in manners]
    _, width, found = max(tried, key=lambda t: t[0])
    return _made(pattern, [s for s in found if not any(p.covers(s.middle) for p in taken_away)], width)


def _made(pattern: Pattern, strips: Sequence[_Strip], width: float) -> Lettered:
    """The strips as wood of the pattern."""
    if not strips:
        return Lettered(pattern)
    areas = [s.area(width) for s in strips]
    wood = shapely.union_all(np.array(areas, dtype=object))
    bridges = []
    for strip, area in zip(strips, areas, strict=True):
        seen = polygons_of(shapely.intersection(area, pattern.waste))
        ends = [(z.real, z.imag) for z in (strip.start, strip.end)]
        bridges.append(Bridge(0, ends[0], ends[1], width, max(seen, key=lambda p: p.area, default=area)))
    change = shapely.difference if pattern.keep_mode == "panel" else shapely.union
    changed = with_figure(pattern, stepped(as_multi(change(pattern.figure, wood))))
    return Lettered(keep_curves(pattern, changed), tuple(bridges))


def _letter_of(piece: Polygon, letters: Sequence[Letter]) -> Letter | None:
    """The letter a piece is inside of, by the room the letters take on their base lines; None where it is in none."""
    x, y = piece.representative_point().coords[0]
    found: list[tuple[float, int]] = []
    for n, letter in enumerate(letters):
        if not letter.along:
            continue
        away = complex(x, y) - letter.foot
        across = (letter.along.conjugate() * letter.up).imag
        along = (away.real * letter.up.imag - away.imag * letter.up.real) / across
        up = (letter.along.conjugate() * away).imag / across
        # In letter widths and cap heights: slanted ones lean out, tails hang down, accents stand over capitals.
        if -0.15 <= along <= 1.15 and -0.5 <= up <= 1.6:
            found.append((abs(along - 0.5), n))
    return letters[min(found)[1]] if found else None


def _in_one_manner(
    pattern: Pattern, kit: Kit, mending: Mending, bowls: Sequence[tuple[Polygon, Letter]], upright: bool
) -> tuple[int, float, list[_Strip]]:
    """How many bowls are held with all bridges upright, or level; their width, and which they are."""
    pieces = list(polygons_of(pattern.keep))
    number = {p.wkb: n for n, p in enumerate(pieces)}
    edges = Edges.of(pieces)
    ways = [_unit(letter.up if upright else letter.along) for _, letter in bowls]
    width = _width(pattern, kit, mending, [p for p, _ in bowls], ways)
    strips: list[_Strip] = []
    held = 0
    of_bowl: dict[int, list[_Strip]] = {}
    for (piece, _), way in zip(bowls, ways, strict=True):
        own = number[piece.wkb]
        if broad(piece) < width:
            continue
        both = [_best(piece, own, edges, d, width) for d in (way, -way)]
        chosen = _chosen([s for s in both if s is not None], piece, way, width)
        # A bowl above another one shares the bridge between them.
        chosen = [s for s in chosen if not any(o.target == own for o in of_bowl.get(s.target, ()))]
        of_bowl[own] = chosen
        strips += chosen
        held += 1 if any(s is not None for s in both) else 0
    return held, width, strips


def _marks(
    pattern: Pattern, kit: Kit, mending: Mending, loose: Sequence[tuple[Polygon, Letter]]
) -> tuple[float, list[_Strip]]:
    """Dots and accents of letters that are kept: each held by one strip up its stem, all of one width.

    Whole letters that nothing joins are not marks: what holds them is for the words' setting to say.
    """
    marks = [(p, letter) for p, letter in loose if p.area < (MARK * abs(letter.up)) ** 2]
    if not marks:
        return 0.0, []
    pieces = list(polygons_of(pattern.keep))
    number = {p.wkb: n for n, p in enumerate(pieces)}
    edges = Edges.of(pieces)
    ways = [_unit(letter.up) for _, letter in marks]
    width = _width(pattern, kit, mending, [p for p, _ in marks], ways, STEM)
    found = []
    for (piece, letter), up in zip(marks, ways, strict=True):
        both = [_best(piece, number[piece.wkb], edges, way, width) for way in (-up, up)]
        near = [s for s in both if s is not None and abs(s.end - s.start) < MARK * abs(letter.up)]
        found += near[:1]
    return width, found


def _width(
    pattern: Pattern,
    kit: Kit,
    mending: Mending,
    bowls: Sequence[Polygon],
    ways: Sequence[complex],
    share: float = SHARE,
) -> float:
    """One width for the sign: what the wood wants, but no more of the narrowest bowl than leaves it to be seen."""
    strength = Strength.of(pattern.panel, kit, mending)
    angles = [math.atan2(w.imag, w.real) for w in ways]
    wanted, least = max(map(strength.wanted, angles)), max(map(strength.least, angles))
    narrowest = min(_extent(p, 1j * w) for p, w in zip(bowls, ways, strict=True))
    return max(min(wanted, share * narrowest), least)


def _best(piece: Polygon, own: int, edges: Edges, way: complex, width: float) -> _Strip | None:
    """The cheapest straight way out of a bowl in a direction: short, square to the stroke, near the bowl's middle."""
    side = -1j * way
    xy = shapely.get_coordinates(piece.exterior)
    z = xy[:, 0] + 1j * xy[:, 1]
    across, along = (z * side.conjugate()).real, (z * way.conjugate()).real
    low, high = float(across.min()), float(across.max())
    if high - low < width:
        return None
    places = np.linspace(low + width / 2, high - width / 2, _PLACES)
    lanes = (places[:, None] + LANES * (width - 2 * _INSIDE)).ravel()
    far = float(along.max()) + 1.0
    outside = np.asarray(lanes * side + far * way, dtype=complex)
    here = Edges.of([piece])
    n, reach = len(lanes), float(np.ptp(along)) + 2.0
    back = crossings(here, to_array(outside), to_array(np.full(n, -way)), np.full(n, reach), 1).distance[:, 0]
    leaves = far - back
    start = lanes * side + (leaves + _INSIDE) * way
    start = np.where(np.isfinite(leaves), start, outside)
    ahead = crossings(edges, to_array(start), to_array(np.full(n, way)), np.full(n, 1e4), 1)
    shape = (_PLACES, len(LANES))
    leaves, length = leaves.reshape(shape), ahead.distance[:, 0].reshape(shape)
    target = ahead.owner[:, 0].reshape(shape)
    good = np.isfinite(leaves).all(1) & np.isfinite(length).all(1)
    good &= (target == target[:, :1]).all(1) & (target[:, 0] >= 0) & (target[:, 0] != own)
    if not good.any():
        return None
    lands = leaves + length
    with np.errstate(invalid="ignore"):
        skew = np.ptp(leaves, axis=1) + np.ptp(lands, axis=1)
        cost = length.mean(1) + SKEW * skew + OFF_CENTRE * np.abs(places - (low + high) / 2)
    cost = np.where(good, cost, np.inf)
    k = int(np.argmin(np.round(cost, 6)))
    start, end = (places[k] * side + float(v[k, 2]) * way for v in (leaves, lands))
    return _Strip(start, end, float(cost[k]), int(target[k, 0]), _LAP + float(skew[k]))


def _chosen(strips: list[_Strip], piece: Polygon, way: complex, width: float) -> list[_Strip]:
    """Both ends of the bowl, or the better one where it is small or the other takes much more wood."""
    if len(strips) < 2:
        return strips
    first, second = sorted(strips, key=lambda s: round(s.cost, 6))
    small = min(_extent(piece, way), _extent(piece, 1j * way)) < SMALL * width
    return [first] if small or second.cost > LONGER * first.cost else strips


def _extent(piece: Polygon, along: complex) -> float:
    xy = shapely.get_coordinates(piece.exterior)
    return float(np.ptp(xy[:, 0] * along.real + xy[:, 1] * along.imag))


def _point(z: complex) -> Point:
    return Point(z.real, z.imag)


def _unit(z: complex) -> complex:
    return z / abs(z)
