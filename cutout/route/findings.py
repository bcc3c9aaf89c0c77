"""What the user should know about the router's path, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.finding import Finding
from cutout.geom.curve import FloatArray
from cutout.geom.outline import polygons_of
from cutout.kit import Feeds, Kit
from cutout.pattern import Pattern
from cutout.route.model import Settings, Tile
from cutout.route.offset import Space
from cutout.route.tabs import LEAST, Piece
from cutout.route.tiles import joint_error
from cutout.units import MM_PER_INCH, Units, format_length, format_size

_SEEN = 0.05
"""Wood left in a corner that is no deeper than this (mm) is not worth a word."""
_CORNER = 2.5
"""A corner keeps wood no deeper than this many bit radii (about 33 degrees between its sides); more is a gap."""
_SHALLOW = 0.3
"""Wood no deeper than this (mm) between two reached sides is a ridge for the file, not a gap."""
_SLENDER = 4.0
"""Few bits cut deeper than this many of their diameters: common practice, no source."""
_EACH = 6
"""So many findings of one sort are given one by one, the largest; the others together."""


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


def corners(left: Sequence[Left], units: Units) -> Iterator[Finding]:
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
        radius, depth = format_length(worst.radius, units), format_length(worst.depth, units)
        what = "1 inside corner" if len(places) == 1 else f"{len(places)} inside corners"
        where = f"{len(others)} more openings" if opening is None else f"opening {opening}"
        yield Finding(
            "router", "care", worst.at, worst.depth, None, opening,
            f"The bit leaves {what} of {where} round, with a radius of {radius}; up to {depth} of wood stays.",
            "Finish them with a chisel or file, take a smaller bit, or saw them.",
        )  # fmt: skip


def gaps(left: Sequence[Left], units: Units) -> Iterator[Finding]:
    """A finding for each place the bit can't enter, the largest first; those beyond the largest few in one."""
    places = [place for place in left if not place.corner]
    places.sort(key=lambda place: (-round(place.area.area, 3), place.opening, place.at))
    for place in places[:_EACH]:
        yield _gap(place, place.area.area, f"1 place of opening {place.opening}", place.opening, units)
    if rest := places[_EACH:]:
        total = math.fsum(place.area.area for place in rest)
        yield _gap(rest[0], total, f"{len(rest)} more place{'s' * (len(rest) > 1)}", None, units)


def _gap(place: Left, area: float, what: str, opening: int | None, units: Units) -> Finding:
    bit = format_length(2 * place.radius, units)
    return Finding(
        "router", "care", place.at, None, 2 * place.radius, opening,
        f"A {bit} bit is too wide for {what}: {_area(area, units)} of waste stays.",
        "Take a smaller bit, or saw it out after routing.",
    )  # fmt: skip


def loose(short: Iterable[Piece], units: Units) -> Iterator[Finding]:
    """A finding for each loose piece with no room for enough tabs, beyond the largest few in one."""
    pieces = sorted(short, key=lambda piece: -round(piece.area.area, 3))
    for n, piece in enumerate(pieces[: _EACH + 1]):
        spot = shapely.point_on_surface(piece.area)
        more = len(pieces) - _EACH
        what = f"A loose piece of {_area(piece.area.area, units)} has"
        if n == _EACH and more > 1:
            what = f"{more} smaller loose pieces have"
        yield Finding(
            "router", "care", (spot.x, spot.y), None, float(LEAST), None,
            f"{what} no straight, firm stretch for {LEAST} tabs.",
            "Hold it with double-sided tape or a screw before the last turn round it.",
        )  # fmt: skip


def layout(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """What the choice of what to keep, and an outline at the panel's edge, mean for the router."""
    units, bit = kit.units, kit.bit
    if pattern.keep_mode == "both":
        spot = shapely.point_on_surface(pattern.figure)
        wider = format_length(bit.diameter, units)
        yield Finding(
            "router", "care", (spot.x, spot.y), bit.diameter, pattern.kerf, None,
            f"A router can't keep both: the figure stays exact, and its opening in the panel becomes {wider} larger "
            "all round.",
            "Saw it if the figure and its opening must fit each other.",
        )  # fmt: skip
    at_edge = [o for o in pattern.openings if o.at_edge] if pattern.keep_mode == "panel" else []
    for opening in at_edge:
        spot = shapely.point_on_surface(opening.region)
        yield Finding(
            "router", "care", (spot.x, spot.y), None, None, opening.id,
            f"Opening {opening.id} reaches the panel's edge: the bit runs out past it.",
            f"Keep clamps and fences {format_length(3 * bit.diameter, units)} clear of the edge there.",
        )  # fmt: skip
    if kit.small_bit is not None and kit.small_bit.diameter >= bit.diameter:
        yield Finding(
            "router", "care", (0.0, 0.0), kit.small_bit.diameter, bit.diameter, None,
            f"The {kit.small_bit.title} is no smaller than the {bit.title}: it is not used.",
            "Give a smaller bit for what the first one leaves.",
        )  # fmt: skip


def machine(
    pattern: Pattern, kit: Kit, driven: Sequence[Feeds], settings: Settings, tiles: Sequence[Tile]
) -> Iterator[Finding]:
    """Whether panel and depth fit the machine and its bits, and whether it can feed them."""
    yield from _tiled(pattern, kit, tiles) if tiles else _bed(pattern, kit, settings)
    yield from _flutes(pattern, kit, driven, settings)
    units, middle = kit.units, (pattern.panel.width / 2, pattern.panel.height / 2)
    for drive in {d.bit: d for d in driven if d.rubs}.values():
        yield Finding(
            "router", "care", middle, drive.chip, drive.load.least * drive.share, None,
            f"The {drive.bit.title} would rub and burn: at {drive.feed:.0f} mm a minute and {drive.speed:.0f} turns "
            f"each tooth takes {drive.chip:.2f} mm, less than any chart gives.",
            "Take a smaller bit or one with fewer flutes, or a machine that feeds faster or turns slower.",
        )  # fmt: skip
    if settings.direction == "climb":
        yield Finding(
            "router", "care", middle, None, None, None,
            "The bit climbs: it is pulled along the line, and can run away or lift the panel.",
            "Clamp well, feed by machine only, never by hand; take the other direction if the machine gives way.",
        )  # fmt: skip
    if (high := kit.machine.travel_z) is not None:
        wanted = settings.safe_height + pattern.panel.thickness + settings.breakthrough
        if wanted > high:
            yield Finding(
                "router", "stop", middle, wanted, high, None,
                f"The bit would have to travel {format_length(wanted, units)} up and down; the {kit.machine.name} "
                f"machine travels {format_length(high, units)}.",
                "Lower the height at which it travels, or take a thinner panel.",
            )  # fmt: skip


def too_large(pattern: Pattern, kit: Kit) -> bool:
    """Whether the panel is larger than the machine's bed, where that is known."""
    panel, bed = pattern.panel, kit.machine.bed
    return bed is not None and (panel.width > bed[0] or panel.height > bed[1])


def _tiled(pattern: Pattern, kit: Kit, tiles: Sequence[Tile]) -> Iterator[Finding]:
    """What cutting in tiles asks of whoever moves the panel."""
    panel, units = pattern.panel, kit.units
    middle, lies_out = (
        (panel.width / 2, panel.height / 2),
        "The machine must be open on the sides it sticks out of.",
    )
    if len(tiles) == 1:
        yield Finding(
            "router", "care", middle, None, None, None,
            f"The panel is larger than the {kit.machine.name} machine's bed, what is cut is not: it sticks out.",
            f"{lies_out} Support it outside at the height of the spoil board.",
        )  # fmt: skip
        return
    off, joints = joint_error(tiles), sum(p.part is not None for t in tiles for p in t.passes)
    cut = f"; runs are cut in {joints} stretches" if joints else "; no run is cut in two"
    yield Finding(
        "router", "care", middle, off, None, None,
        f"The panel is cut in {len(tiles)} tiles and laid on two pins for each after the first{cut}. Pins a "
        f"tenth of a millimetre loose put tiles up to {format_length(off, units)} off where they meet.",
        f"{lies_out} Support it outside; take pins that fit tight; never set X0 Y0 again between tiles.",
    )  # fmt: skip


def _bed(pattern: Pattern, kit: Kit, settings: Settings) -> Iterator[Finding]:
    panel, bed = pattern.panel, kit.machine.bed
    if bed is None and settings.tiles:
        yield Finding(
            "router", "care", (panel.width / 2, panel.height / 2), None, None, None,
            f"Tiles were asked for, but the {kit.machine.name} machine says nothing of its bed: all is cut in one.",
            "Choose your machine, or put it into your own kit file with its bed.",
        )  # fmt: skip
    if bed is None or not too_large(pattern, kit):
        return
    size, room = format_size(panel.width, panel.height, kit.units), format_size(*bed, kit.units)
    middle = (panel.width / 2, panel.height / 2)
    over = max(panel.width - bed[0], panel.height - bed[1])
    x0, y0, x1, y1 = shapely.bounds(pattern.waste).tolist() if pattern.openings else (0.0, 0.0, 0.0, 0.0)
    if settings.tiles:
        remedy = (
            "It can't be cut in tiles either: there is no room for two pins, in wood that falls away, between "
            'any two tiles. Allow them anywhere (index_in = "anywhere"), take a larger machine, or saw it.'
            if settings.index_in == "waste"
            else "It can't be cut in tiles either: no room for two pins between any two tiles. Take a larger "
            "machine, or saw it."
        )
    elif panel.width <= bed[1] and panel.height <= bed[0]:
        remedy = "Turn the job by 90 degrees: it would fit then."
    elif x1 - x0 <= bed[0] and y1 - y0 <= bed[1]:
        remedy = (
            "What is cut would fit: with the panel sticking out, clamp it and set X0 Y0 by a mark; or ask for tiles; "
            "or saw it."
        )
    else:
        remedy = "Cut it in tiles (--tiles), take a smaller panel or a larger machine, or saw it."
    yield Finding(
        "router", "stop", middle, over, None, None,
        f"The panel, {size}, is larger than the {room} that the {kit.machine.name} machine travels.", remedy,
    )  # fmt: skip


def _flutes(pattern: Pattern, kit: Kit, driven: Sequence[Feeds], settings: Settings) -> Iterator[Finding]:
    """Bits that are too short for the panel, or so slender for it that their length must be looked at."""
    depth, units = pattern.panel.thickness + settings.breakthrough, kit.units
    middle = (pattern.panel.width / 2, pattern.panel.height / 2)
    for bit in dict.fromkeys(d.bit for d in driven):
        deep = format_length(depth, units)
        if bit.flute_length is not None and bit.flute_length < depth:
            yield Finding(
                "router", "stop", middle, bit.flute_length, depth, None,
                f"The {bit.title} cuts {format_length(bit.flute_length, units)} deep at most; through this panel it "
                f"would have to cut {deep}.",
                "Take a longer bit, or a thinner panel.",
            )  # fmt: skip
        elif bit.flute_length is None and depth > _SLENDER * bit.diameter:
            yield Finding(
                "router", "care", middle, depth, _SLENDER * bit.diameter, None,
                f"The {bit.title} must cut {deep} deep, {depth / bit.diameter:.1f} times its width: few can.",
                "Measure its cutting length, and put it into your own kit file as flute_length.",
            )  # fmt: skip


def unfinished(spaces: Sequence[Space], settings: Settings, units: Units) -> Iterator[Finding]:
    """One finding for the openings too narrow for a finishing turn."""
    if settings.finish <= 0 or not spaces:
        return
    spot = shapely.point_on_surface(spaces[0].region)
    where = dict.fromkeys(space.opening for space in spaces)
    what = f"opening {spaces[0].opening}" if len(where) == 1 else f"{len(where)} openings"
    yield Finding(
        "router", "care", (spot.x, spot.y), None, settings.finish, spaces[0].opening if len(where) == 1 else None,
        f"No room to leave {format_length(settings.finish, units)} for a finishing turn in {what}: the bit goes "
        "along the line at once.",
        "Take a smaller bit if the edge must be clean there.",
    )  # fmt: skip


def _area(mm2: float, units: Units) -> str:
    if units == "in":
        return f"{mm2 / MM_PER_INCH**2:.2f} square inches"
    return f"{mm2 / 100:.1f} square cm" if mm2 >= 100 else f"{mm2:.1f} square mm"
