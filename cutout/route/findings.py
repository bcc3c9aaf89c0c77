"""What the user should know about the router's path."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.finding import Facts, Finding, Severity
from cutout.geom.curve import FloatArray
from cutout.geom.outline import polygons_of
from cutout.kit import Feeds, Kit
from cutout.pattern import Pattern
from cutout.route.model import Settings, Tile
from cutout.route.offset import Space
from cutout.route.tabs import LEAST, Piece
from cutout.route.tiles import joint_error

_SEEN = 0.05
"""Wood left in a corner that is no deeper than this (mm) is not worth a word."""
_CORNER = 2.5
"""A corner keeps wood no deeper than this many bit radii (about 33 degrees between its sides); more is a gap."""
_SHALLOW = 0.3
"""Wood no deeper than this (mm) between two reached sides is a ridge for the file, not a gap."""
_SLENDER = 4.0
"""Few bits cut deeper than this many of their diameters: common practice, no source."""
_CLEAR = 3.0
"""So many diameters beside a place where the bit runs out stay clear of clamps: common practice, no source."""
_EACH = 6
"""So many findings of one sort are given one by one, the largest; the others together."""


BedWay: TypeAlias = Literal["turn", "stick out", "pins anywhere", "no pins", "saw"]
"""What to do with a panel larger than the machine: turn it, let it stick out of it, allow pins anywhere where tiles
found no room for them in waste, or saw it (no pins: tiles find no room for theirs at all)."""


@dataclass(frozen=True, slots=True)
class RoundCorners(Facts):
    """The bit leaves inside corners round; size: the most wood that stays. radius: of the worst (mm).

    openings: how many share this finding, where it is about no single one.
    """

    count: int
    radius: float
    openings: int | None


@dataclass(frozen=True, slots=True)
class BitTooWide(Facts):
    """The bit can't enter some places; limit: its diameter. area: of the waste that stays (mm^2).

    more: where the finding is about no single opening, so many further places.
    """

    area: float
    more: int | None


@dataclass(frozen=True, slots=True)
class FewTabs(Facts):
    """A loose piece has no room for `tabs` tabs. area: of it (mm^2); more: it stands for so many smaller ones."""

    area: float
    tabs: int
    more: int | None


@dataclass(frozen=True, slots=True)
class OpeningGrows(Facts):
    """With both sides kept, the opening becomes larger all round; size: by the bit's diameter."""


@dataclass(frozen=True, slots=True)
class RunsOut(Facts):
    """The bit runs out past the panel's edge. clear: room to leave for it there (mm)."""

    clear: float


@dataclass(frozen=True, slots=True)
class NotSmaller(Facts):
    """The smaller bit is none; size and limit: the diameters. bits: names of the smaller and of the other."""

    small: str
    bit: str


@dataclass(frozen=True, slots=True)
class Rubs(Facts):
    """A bit takes less at each tooth than any chart gives; size: mm a tooth, limit: the least.

    feed: mm a minute. speed: turns a minute.
    """

    bit: str
    feed: float
    speed: float


@dataclass(frozen=True, slots=True)
class Climbs(Facts):
    """The bit is run in the climbing direction."""


@dataclass(frozen=True, slots=True)
class TooHigh(Facts):
    """The machine does not travel far enough up and down; size: wanted, limit: what there is."""

    machine: str


@dataclass(frozen=True, slots=True)
class LargerThanBed(Facts):
    """The panel is larger than what the machine travels; size: by how much. panel, bed: width and height (mm)."""

    panel: tuple[float, float]
    bed: tuple[float, float]
    machine: str
    way: BedWay


@dataclass(frozen=True, slots=True)
class SticksOutOfBed(Facts):
    """The panel is larger than the machine's bed, what is cut is not."""

    machine: str


@dataclass(frozen=True, slots=True)
class InTiles(Facts):
    """The panel is cut in tiles on pins; size: how far loose pins put two of them off. joints: runs cut in two."""

    tiles: int
    joints: int


@dataclass(frozen=True, slots=True)
class BedUnknown(Facts):
    """Tiles are asked for, and the machine says nothing of its bed."""

    machine: str


@dataclass(frozen=True, slots=True)
class ShortBit(Facts):
    """A bit does not cut as deep as it must; size: how deep it does, limit: how deep it must."""

    bit: str


@dataclass(frozen=True, slots=True)
class SlenderBit(Facts):
    """A bit must cut deep for its width; size: how deep, limit: what few bits exceed. times: depth over width."""

    bit: str
    times: float


@dataclass(frozen=True, slots=True)
class NoFinish(Facts):
    """No room to leave wood for a finishing turn; limit: how much. openings: how many, where it is not one."""

    openings: int | None


@dataclass(frozen=True, eq=False, slots=True)
class Left:
    """Waste the bits can't reach: where, and how deep (mm) it lies behind what they clear.

    radius: of the bit that comes nearest to a corner, of the smallest bit at a gap.
    sides: from how many sides a bit comes up to it.
    """

    area: Polygon
    depth: float
    at: tuple[float, float]
    radius: float
    opening: int
    sides: int

    @property
    def corner(self) -> bool:
        """Whether it is only the round a bit leaves in a corner: reached from one side, and shallow."""
        return self.depth <= _CORNER * self.radius and (self.sides <= 1 or self.depth < _SHALLOW)


def measured(left: MultiPolygon, over: Sequence[tuple[MultiPolygon, float]], opening: int) -> Iterator[Left]:
    """Each place in `left` deep enough to matter; over: where the middle of each bit goes, and its radius.

    A place is as deep as its farthest point lies from what the nearest bit clears; infinite where no bit
    comes at all.
    """
    parts = polygons_of(left)
    if not parts:
        return
    least = min(radius for _, radius in over)
    dense = shapely.segmentize(np.array(parts, dtype=object), least / 4)
    xy, which = shapely.get_coordinates(shapely.get_exterior_ring(dense), return_index=True)
    away = np.array([_away(xy, centre) - radius for centre, radius in over])
    nearest, depths = away.argmin(axis=0), away.min(axis=0)
    for n, part in enumerate(parts):
        mine = np.flatnonzero(which == n)[:-1]
        deepest = mine[int(np.argmax(depths[mine]))]
        depth, (x, y) = float(depths[deepest]), xy[deepest].tolist()
        if math.isinf(depth):
            spot = shapely.point_on_surface(part)
            yield Left(part, depth, (spot.x, spot.y), least, opening, 0)
        elif depth > _SEEN:
            reached = depths[mine] < _SEEN / 2
            sides = int(np.count_nonzero(reached & ~np.roll(reached, 1)))
            place = Left(part, depth, (x, y), over[int(nearest[deepest])][1], opening, sides)
            yield place if place.corner else replace(place, radius=least)


def _away(xy: FloatArray, centre: MultiPolygon) -> FloatArray:
    """Distance of each point (n, 2) outside `centre` from it; infinite when it is empty."""
    if centre.is_empty:
        return np.full(len(xy), np.inf)
    corner, which = shapely.get_coordinates(shapely.get_parts(shapely.boundary(centre)), return_index=True)
    same = which[1:] == which[:-1]
    edges = np.asarray(shapely.linestrings(np.stack([corner[:-1][same], corner[1:][same]], axis=1)))
    tree = shapely.STRtree(edges)
    _, away = tree.query_nearest(shapely.points(xy), return_distance=True, all_matches=False)
    return np.asarray(away)


def corners(left: Sequence[Left]) -> Iterator[Finding]:
    """One finding per opening whose corners keep wood: how many, the radius they get, the worst.

    Openings beyond the worst few share one.
    """
    by_opening: dict[int | None, list[Left]] = {}
    for place in left:
        if place.corner:
            by_opening.setdefault(place.opening, []).append(place)
    groups = sorted(by_opening.items(), key=lambda group: -max(place.depth for place in group[1]))
    shown, others = groups[:_EACH], groups[_EACH:]
    if others:
        shown.append((None, [place for _, places in others for place in places]))
    for opening, places in shown:
        worst = max(places, key=lambda place: (round(place.depth, 4), place.at))
        facts = RoundCorners(len(places), worst.radius, len(others) if opening is None else None)
        yield _found("care", worst.at, facts, size=worst.depth, opening=opening)


def gaps(left: Sequence[Left]) -> Iterator[Finding]:
    """A finding for each place the bit can't enter, the largest first; those beyond the largest few in one."""
    places = [place for place in left if not place.corner]
    places.sort(key=lambda place: (-round(place.area.area, 3), place.opening, place.at))
    for place in places[:_EACH]:
        facts = BitTooWide(place.area.area, None)
        yield _found("care", place.at, facts, limit=2 * place.radius, opening=place.opening)
    if rest := places[_EACH:]:
        total = math.fsum(place.area.area for place in rest)
        yield _found("care", rest[0].at, BitTooWide(total, len(rest)), limit=2 * rest[0].radius)


def loose(short: Iterable[Piece]) -> Iterator[Finding]:
    """A finding for each loose piece with no room for enough tabs, beyond the largest few in one."""
    pieces = sorted(short, key=lambda piece: -round(piece.area.area, 3))
    for n, piece in enumerate(pieces[: _EACH + 1]):
        more = len(pieces) - _EACH
        facts = FewTabs(piece.area.area, LEAST, more if n == _EACH and more > 1 else None)
        yield _found("care", _inside(piece.area), facts, limit=float(LEAST))


def layout(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """What the choice of what to keep, and an outline at the panel's edge, mean for the router."""
    bit = kit.bit
    if pattern.keep_mode == "both":
        at = _inside(pattern.figure)
        yield _found("care", at, OpeningGrows(), size=bit.diameter, limit=pattern.kerf)
    at_edge = [o for o in pattern.openings if o.at_edge] if pattern.keep_mode == "panel" else []
    for opening in at_edge:
        clear = _CLEAR * bit.diameter
        yield _found("care", _inside(opening.region), RunsOut(clear), opening=opening.id)
    small = kit.small_bit
    if small is not None and small.diameter >= bit.diameter:
        facts = NotSmaller(small.title, bit.title)
        yield _found("care", (0.0, 0.0), facts, size=small.diameter, limit=bit.diameter)


def machine(
    pattern: Pattern, kit: Kit, driven: Sequence[Feeds], settings: Settings, tiles: Sequence[Tile]
) -> Iterator[Finding]:
    """Whether panel and depth fit the machine and its bits, and whether it can feed them."""
    yield from _tiled(pattern, kit, tiles) if tiles else _bed(pattern, kit, settings)
    yield from _flutes(pattern, driven, settings)
    middle = (pattern.panel.width / 2, pattern.panel.height / 2)
    for drive in {d.bit: d for d in driven if d.rubs}.values():
        facts = Rubs(drive.bit.title, drive.feed, drive.speed)
        yield _found("care", middle, facts, size=drive.chip, limit=drive.load.least * drive.share)
    if settings.direction == "climb":
        yield _found("care", middle, Climbs())
    if (high := kit.machine.travel_z) is not None:
        wanted = settings.safe_height + pattern.panel.thickness + settings.breakthrough
        if wanted > high:
            yield _found("stop", middle, TooHigh(kit.machine.name), size=wanted, limit=high)


def too_large(pattern: Pattern, kit: Kit) -> bool:
    """Whether the panel is larger than the machine's bed, where that is known."""
    panel, bed = pattern.panel, kit.machine.bed
    return bed is not None and (panel.width > bed[0] or panel.height > bed[1])


def _tiled(pattern: Pattern, kit: Kit, tiles: Sequence[Tile]) -> Iterator[Finding]:
    """What cutting in tiles asks of whoever moves the panel."""
    middle = (pattern.panel.width / 2, pattern.panel.height / 2)
    if len(tiles) == 1:
        yield _found("care", middle, SticksOutOfBed(kit.machine.name))
        return
    joints = sum(p.part is not None for t in tiles for p in t.passes)
    yield _found("care", middle, InTiles(len(tiles), joints), size=joint_error(tiles))


def _bed(pattern: Pattern, kit: Kit, settings: Settings) -> Iterator[Finding]:
    panel, bed = pattern.panel, kit.machine.bed
    if bed is None and settings.tiles:
        yield _found("care", (panel.width / 2, panel.height / 2), BedUnknown(kit.machine.name))
    if bed is None or not too_large(pattern, kit):
        return
    over = max(panel.width - bed[0], panel.height - bed[1])
    x0, y0, x1, y1 = shapely.bounds(pattern.waste).tolist() if pattern.openings else (0.0, 0.0, 0.0, 0.0)
    way: BedWay = "saw"
    if settings.tiles:
        way = "pins anywhere" if settings.index_in == "waste" else "no pins"
    elif panel.width <= bed[1] and panel.height <= bed[0]:
        way = "turn"
    elif x1 - x0 <= bed[0] and y1 - y0 <= bed[1]:
        way = "stick out"
    facts = LargerThanBed((panel.width, panel.height), (bed[0], bed[1]), kit.machine.name, way)
    yield _found("stop", (panel.width / 2, panel.height / 2), facts, size=over)


def _flutes(pattern: Pattern, driven: Sequence[Feeds], settings: Settings) -> Iterator[Finding]:
    """Bits that are too short for the panel, or so slender for it that their length must be looked at."""
    depth = pattern.panel.thickness + settings.breakthrough
    middle = (pattern.panel.width / 2, pattern.panel.height / 2)
    for bit in dict.fromkeys(d.bit for d in driven):
        if bit.flute_length is not None and bit.flute_length < depth:
            yield _found("stop", middle, ShortBit(bit.title), size=bit.flute_length, limit=depth)
        elif bit.flute_length is None and depth > _SLENDER * bit.diameter:
            facts = SlenderBit(bit.title, depth / bit.diameter)
            yield _found("care", middle, facts, size=depth, limit=_SLENDER * bit.diameter)


def unfinished(spaces: Sequence[Space], settings: Settings) -> Iterator[Finding]:
    """One finding for the openings too narrow for a finishing turn."""
    if settings.finish <= 0 or not spaces:
        return
    several = len({space.opening for space in spaces})
    yield _found(
        "care",
        _inside(spaces[0].region),
        NoFinish(several if several > 1 else None),
        limit=settings.finish,
        opening=spaces[0].opening if several == 1 else None,
    )


def _inside(region: shapely.Geometry) -> tuple[float, float]:
    spot = shapely.point_on_surface(region)
    return spot.x, spot.y


def _found(
    severity: Severity,
    at: tuple[float, float],
    facts: Facts,
    *,
    size: float | None = None,
    limit: float | None = None,
    opening: int | None = None,
) -> Finding:
    return Finding(
        kind="router", severity=severity, at=at, size=size, limit=limit, opening=opening, facts=facts
    )
