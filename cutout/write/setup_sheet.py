"""One sheet for the machine: where its zero is, where screws and clamps may go, and what to do in which order."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.draw import fonts, looks
from cutout.draw.fonts import PT
from cutout.draw.paint import Paint
from cutout.draw.scene import Area, Disc, arrow_head, plus, span
from cutout.draw.scene import region as area
from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi, polygons_of
from cutout.kit import Bit, paper
from cutout.units import format_length, format_size
from cutout.write.gcode import DRY_RUN, PIN_DEPTH, PINS, listings, router_bits
from cutout.write.work import Work

CLEAR = 10.0
"""A screw's middle stays this far (mm) from where a bit goes, half a washer and as much again: common practice."""
EDGE = 12.0
"""And this far (mm) from the panel's edge, so that it does not split: common practice, no source."""
SCREWS = 8
"""So many screws for the panel; every loose part that has room gets one more."""
_GRID = 4.0  # mm between places that a screw is tried at
_LEAST = 300.0
"""A part smaller than this (mm^2 of room for screws) is not screwed down."""
_MARGIN, _FOOT, _SIZE = 14.0, 60.0, 9.0
"""Margin, room for the words under the panel (mm), and size of type (pt)."""


def router_setup(work: Work) -> bytes:
    """The sheet as a PDF on the job's paper, A4 where that is a roll; same work, same bytes."""
    sheet = work.paper if work.paper.height is not None else paper("a4")
    short, long = sheet.width, sheet.height or sheet.width
    panel = work.pattern.panel
    width, height = (long, short) if panel.width > panel.height else (short, long)
    scale = min((width - 2 * _MARGIN - 8) / panel.width, (height - 2 * _MARGIN - _FOOT - 14) / panel.height)
    paint = Paint(f"{work.title}: router, setting up")
    paint.page(width, height)
    paint.fill(0.0)
    paint.text(_MARGIN, height - _MARGIN - 2, f"{work.title}: setting up the router", 13, bold=True)
    left = (width - panel.width * scale) / 2
    low = height - _MARGIN - 12 - panel.height * scale
    swept, screws = sweep(work), screw_places(work)
    _panel(paint, work, swept, (left, low), scale)
    for n, (x, y) in enumerate(screws, 1):
        _screw(paint, left + x * scale, low + y * scale, str(n))
    _zero(paint, left, low)
    _words(paint, _lines(work, screws), (_MARGIN, low - 9, width - 2 * _MARGIN))
    paint.end_page()
    if len(work.router.tiles) > 1:
        _tiles_page(paint, work, (width, height))
    return paint.bytes()


def _tiles_page(paint: Paint, work: Work, page: tuple[float, float]) -> None:
    """A second sheet: what the machine reaches in each tile, the holes for the pins, and what to do for each."""
    width, height = page
    panel, lines = work.pattern.panel, _tile_lines(work)
    foot = (
        4.1 * sum(len(fonts.wrap(line, fonts.PLAIN, _SIZE, (width - 2 * _MARGIN) * PT)) for line in lines)
        + 12
    )
    scale = min((width - 2 * _MARGIN - 8) / panel.width, (height - 2 * _MARGIN - foot - 14) / panel.height)
    paint.page(width, height)
    paint.fill(0.0)
    paint.text(_MARGIN, height - _MARGIN - 2, f"{work.title}: the panel in tiles", 13, bold=True)
    left, low = (width - panel.width * scale) / 2, height - _MARGIN - 12 - panel.height * scale
    _panel(paint, work, sweep(work), (left, low), scale)
    for tile in work.router.tiles:
        x0, y0, x1, y1 = (v * scale for v in tile.reach)
        x0, y0 = max(x0, 0.0) + left, max(y0, 0.0) + low
        x1, y1 = min(x1, panel.width * scale) + left, min(y1, panel.height * scale) + low
        # Drawn a little smaller each, or the sides of neighbours would lie on each other.
        inset = 0.5 + 0.5 * (tile.number % 3)
        paint.pen(0.25, 0.2, (2.0, 1.0))
        paint.rect((x0 + inset, y0 + inset, x1 - inset, y1 - inset))
        paint.fill(0.0)
        paint.text((x0 + x1) / 2, (y0 + y1) / 2, str(tile.number), 16, bold=True, align="centre")
        for name, (px, py) in zip("ab", tile.pins, strict=False):
            x, y = (px + tile.shift[0]) * scale + left, (py + tile.shift[1]) * scale + low
            paint.draw([Disc(looks.RIM, (x, y), max(work.kit.bit.radius * scale, 0.8))])
            paint.text(x + 1.6, y + 0.8, f"{tile.number}{name}", _SIZE - 1, bold=True)
    _zero(paint, left, low)
    _words(paint, lines, (_MARGIN, low - 9, width - 2 * _MARGIN))
    paint.end_page()


def _tile_lines(work: Work) -> list[str]:
    tiles, units, bit = work.router.tiles, work.units, work.kit.bit

    def long(mm: float) -> str:
        return format_length(mm, units)

    def places(at: tuple[tuple[float, float], ...]) -> str:
        return " and ".join(f"{n} {long(x)}, {long(y)}" for n, (x, y) in zip("ab", at, strict=False))

    x0, y0, x1, y1 = tiles[0].reach
    pins = f"{long(bit.diameter)} wide, {long(PIN_DEPTH + work.pattern.panel.thickness - 2)} long"
    lines = [
        "Tile by tile (dashed: what the machine reaches):",
        f"1. A spoil board at least {long(PIN_DEPTH + 5)} thick, fixed so that it never moves. With no panel on it "
        f"set X0 Y0 where the panel's corner will lie: the machine must reach from {long(x0)} to "
        f"{long(math.ceil(x1))} along X, from {long(y0)} to {long(math.ceil(y1))} along Y. Set Z0 on the spoil board "
        f"and run {PINS}. Never set X0 Y0 again.",
        "2. Lay the panel with its corner on X0 Y0 and its sides along X and Y, fix it, set Z0 on its upper face, "
        "and run the programs of tile 1.",
        f"3. For each later tile: loosen the panel, put two pins ({pins}) into the spoil board at its places, lay "
        "the panel on them with its own holes, fix it, set Z0 again. Take out pins of other tiles.",
    ]
    for tile in tiles:
        names = (
            ", ".join(name for name, one in listings(work).items() if one.tile == tile) or "nothing is cut"
        )
        laid = tuple((x + tile.shift[0], y + tile.shift[1]) for x, y in tile.pins)
        where = (
            f" Pins at {places(tile.pins)} from X0 Y0; in the panel's holes {places(laid)}."
            if tile.pins
            else ""
        )
        lines.append(f"Tile {tile.number}: {names}.{where}")
    return lines


def sweep(work: Work) -> MultiPolygon:
    """All the wood the bits go through, on the panel."""
    ways = [shapely.buffer(shapely.LinearRing(p.ring.points(0.05)), p.bit.radius) for p in work.router.passes]
    whole = shapely.union_all(ways) if ways else MultiPolygon()
    return as_multi(shapely.intersection(whole, work.pattern.panel.polygon))


def screw_places(work: Work) -> tuple[tuple[float, float], ...]:
    """Where screws hold the panel and every loose part that has room, whole mm, clear of every bit and of zones.

    Spread as far apart as they go, from the lower left.
    """
    board = work.pattern.panel.polygon
    swept = sweep(work)
    taken = [shapely.buffer(swept, CLEAR), *(zone.area for zone in work.pattern.panel.zones)]
    room = shapely.difference(shapely.buffer(board, -EDGE), shapely.union_all(taken))
    parts = sorted(polygons_of(shapely.difference(board, swept)), key=lambda p: -p.area)
    places: list[tuple[float, float]] = []
    for n, part in enumerate(parts):
        own = shapely.intersection(part, room)
        if own.area >= _LEAST or (n == 0 and own.area > 0):
            places += _spread(own, SCREWS if n == 0 else 1)
    return tuple(places)


def _spread(room: shapely.Geometry, count: int) -> list[tuple[float, float]]:
    x0, y0, x1, y1 = shapely.bounds(room).tolist()
    grid = np.stack(
        np.meshgrid(np.arange(math.ceil(x0), x1, _GRID), np.arange(math.ceil(y0), y1, _GRID)), axis=-1
    ).reshape(-1, 2)
    spots: FloatArray = grid[shapely.contains_xy(room, grid[:, 0], grid[:, 1])]
    if not len(spots):
        spot = shapely.point_on_surface(room)
        return [(spot.x, spot.y)]
    if count == 1:
        middle = shapely.point_on_surface(room)
        spots = spots[np.argsort(np.hypot(*(spots - (middle.x, middle.y)).T), kind="stable")][:1]
    chosen = [int(np.argmin(spots.sum(axis=1)))]
    apart = np.hypot(*(spots - spots[chosen[0]]).T)
    while len(chosen) < count and apart.max() > 3 * CLEAR:
        chosen.append(int(np.argmax(apart)))
        apart = np.minimum(apart, np.hypot(*(spots - spots[chosen[-1]]).T))
    return [(float(x), float(y)) for x, y in spots[chosen]]


def _panel(paint: Paint, work: Work, swept: MultiPolygon, at: tuple[float, float], scale: float) -> None:
    """The panel with the bits' way in grey, and round it, dotted, how near a screw may come."""
    panel = work.pattern.panel

    def placed(look: looks.Look, region: shapely.Geometry, exact: float) -> Area:
        simple = shapely.simplify(region, exact / scale)
        return area(look, shapely.transform(simple, lambda xy: xy * scale + np.array(at)))

    near = shapely.intersection(shapely.buffer(swept, CLEAR), panel.polygon)
    paint.draw(
        [
            placed(looks.SWEPT, swept, 0.05),
            placed(looks.CLAMPS, near, 0.1),
            placed(looks.FINE, work.pattern.waste, 0.02),
            placed(looks.EDGE, panel.polygon, 0.0),
        ]
    )
    paint.fill(0.0)
    size = format_size(panel.width, panel.height, work.units)
    paint.text(at[0] + panel.width * scale, at[1] + panel.height * scale + 1.5, size, _SIZE, align="right")


def _zero(paint: Paint, x: float, y: float) -> None:
    """The machine's zero at the panel's lower left corner, with its two axes."""
    paint.draw([Disc(looks.SOLID, (x, y), 1.6)])
    for dx, dy, name in ((16.0, 0.0, "X"), (0.0, 16.0, "Y")):
        paint.draw(
            [span(looks.AXIS, (x, y), (x + dx, y + dy)), arrow_head(x + dx, y + dy, math.atan2(dy, dx), 3.0)]
        )
        paint.text(x + dx + (1.5 if dx else -4.0), y + dy - (4.0 if dx else 1.0), name, _SIZE, bold=True)


def _screw(paint: Paint, x: float, y: float, name: str) -> None:
    paint.draw([Disc(looks.RIM, (x, y), 1.7), plus(looks.RIM, (x, y), 2.6)])
    paint.fill(0.0)
    paint.text(x + 2.2, y + 1.2, name, _SIZE - 1, bold=True)


def _words(paint: Paint, lines: list[str], box: tuple[float, float, float]) -> None:
    """What to do, in order, in two columns' width below the drawing; box: left, top, width."""
    left, y, width = box
    for line in lines:
        bold = line.endswith(":")
        for row in fonts.wrap(line, fonts.BOLD if bold else fonts.PLAIN, _SIZE, width * PT):
            paint.text(left, y, row, _SIZE, bold=bold)
            y -= 4.1


def _lines(work: Work, screws: tuple[tuple[float, float], ...]) -> list[str]:
    units, settings, machine = work.units, work.router.settings, work.kit.machine
    programs = ", then ".join(
        f"{name} ({', '.join(b.title for b in bits)})" for name, bits in _programs(work).items()
    )
    where = "; ".join(
        f"{n}: {format_length(x, units)}, {format_length(y, units)}" for n, (x, y) in enumerate(screws, 1)
    )
    runs = f"Run {DRY_RUN} with the spindle off: nothing may be touched. Then {programs or 'nothing: no bit fits'}."
    if len(work.router.tiles) > 1:
        runs = (
            f"The panel is cut in {len(work.router.tiles)} tiles: the next sheet says where it lies for each, and "
            "what is run. Run each tile's dry run first, with the spindle off: nothing may be touched."
        )
    bed = f" The machine travels {format_size(*machine.bed, units)}." if machine.bed else ""
    return [
        "Before you start:",
        f"1. Lay the panel show face up on a spoil board at least {format_length(settings.breakthrough + 5, units)} "
        f"thick, its sides along X and Y.{bed}",
        "2. Screws and clamps only outside the dotted lines: grey is where a bit goes. "
        f"They must lie lower than {format_length(settings.safe_height, units)} above the panel.",
        f"3. Places for screws, from the lower left corner: {where or 'none; clamp it or use tape'}. "
        "They leave holes: where those would show, use clamps or double-sided tape.",
        "4. Set X0 Y0 over the lower left corner (black dot), Z0 where the bit just touches the upper face; "
        "set Z0 again after each change of bit, with the spindle unplugged.",
        f"5. {runs}",
        "6. Eye and ear protection, dust mask; stay within reach of the stop. Your machine's manual comes first.",
    ]


def _programs(work: Work) -> dict[str, tuple[Bit, ...]]:
    """Names of the programs that cut something, and their bits."""
    return {name: one.bits for name, one in listings(work).items()} if router_bits(work) else {}
