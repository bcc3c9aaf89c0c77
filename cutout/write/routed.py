"""What the router leaves: the wood taken away by its programs, as read back from their own lines."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from io import BytesIO
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from cutout.draw import fonts
from cutout.draw.looks import WALL, WOOD, rgb
from cutout.geom.outline import polygons_of
from cutout.kit import Bit
from cutout.pattern import Panel
from cutout.route.readback import Move, read_back, shifted
from cutout.units import MM_PER_INCH, Units, count, format_length
from cutout.write.gcode import listings
from cutout.write.work import Work

_LONG_SIDE, _BORDER, _FOOT, _ROW = 1400, 24, 23, 21  # pixels, the last two of the words below. Taste
_LEVELS = 24
"""Into so many steps a way down is cut for the picture."""
_DEEP = (120.0, 78.0, 40.0)
"""Red, green and blue of wood at the foot of a cut, in its own shadow. Taste."""
_THROUGH = (250, 250, 248)
"""Colour of what is cut through."""

Depths = NDArray[np.float64]


def routed_png(work: Work, programs: Mapping[str, bytes]) -> bytes:
    """A PNG of the panel after `programs` (name to text): the darker the deeper, white where it is cut through.

    Same programs, same bytes.
    """
    panel = work.pattern.panel
    scale = (_LONG_SIDE - 2 * _BORDER) / max(panel.width, panel.height)
    depth = depths(work, programs, scale)
    board = Image.fromarray(_shaded(depth, panel.thickness, scale))
    through = _area(float((depth >= panel.thickness).mean()) * panel.width * panel.height, work.units)
    tabs = sum(len(p.tabs) for p in work.router.passes if p.purpose != "roughing")
    line = (
        f"Worked out from the program's own lines. White: cut through, {through}. "
        f"Darker: deeper. {count(tabs, 'tab')}, {format_length(panel.thickness, work.units)} thick."
    )
    font = fonts.picture_font(17)
    rows = textwrap.wrap(line, max(int(board.width / font.getlength("n")), 20))
    foot = _FOOT + _ROW * len(rows)
    size = (board.width + 2 * _BORDER, board.height + 2 * _BORDER + foot)
    picture = Image.new("RGB", size, rgb(WALL.fill or 0.0))
    picture.paste(board, (_BORDER, _BORDER))
    draw = ImageDraw.Draw(picture)
    frame = (_BORDER - 1, _BORDER - 1, _BORDER + board.width, _BORDER + board.height)
    draw.rectangle(frame, outline=(110, 110, 110))
    for n, row in enumerate(rows):
        draw.text((_BORDER, size[1] - foot + n * _ROW), row, fill=(30, 30, 30), font=font)
    out = BytesIO()
    picture.save(out, "PNG", compress_level=4)
    return out.getvalue()


def _area(mm2: float, units: Units) -> str:
    return f"{mm2 / MM_PER_INCH**2:.1f} square inches" if units == "in" else f"{mm2 / 100:.0f} square cm"


def depths(work: Work, programs: Mapping[str, bytes], scale: float) -> Depths:
    """How deep (mm) the wood is taken away at each point of a grid, `scale` points to a mm, first row on top."""
    panel = work.pattern.panel
    shape = (max(round(panel.height * scale), 1), max(round(panel.width * scale), 1))
    depth = np.zeros(shape)
    for name, listing in listings(work).items():
        moves: Sequence[Move] = read_back(programs[name].decode("ascii"), work.kit.machine.dwell).moves
        if listing.tile:
            moves = shifted(moves, listing.tile.shift)
        tools = sorted({move.tool for move in moves})
        bits = [b for b in listing.bits if any(p.bit == b for p in listing.passes(work))] or listing.bits
        for tool, bit in zip(tools, bits, strict=False):
            mine = [move for move in moves if move.tool == tool]
            for level, ways in _by_level(mine, panel.thickness):
                swept = _swept(ways, bit)
                np.maximum(depth, level, out=depth, where=_mask(swept, panel, scale, shape))
    return depth


def _by_level(moves: Sequence[Move], thickness: float) -> Iterator[tuple[float, list[NDArray[np.float64]]]]:
    """The ways (n, 2) below the face by how deep they certainly are; a way down is cut into short steps."""
    step = thickness / _LEVELS
    found: dict[float, list[NDArray[np.float64]]] = {}
    for move in moves:
        z0, z1 = move.start[2], move.end[2]
        if move.feed is None or min(z0, z1) >= 0:
            continue
        points = move.points()
        if abs(z1 - z0) < 1e-6:
            found.setdefault(-z0, []).append(points[:, :2])
            continue
        parts = max(2, round(abs(z1 - z0) / step) + 1)
        share = np.linspace(0.0, 1.0, max(parts, len(points)))
        fine = np.column_stack([np.interp(share, np.linspace(0, 1, len(points)), c) for c in points.T])
        for a, b in pairwise(fine):
            low = -max(a[2], b[2])
            if low > 0:
                found.setdefault(round(low / step) * step, []).append(np.stack([a[:2], b[:2]]))
    yield from sorted(found.items())


def _swept(ways: Sequence[NDArray[np.float64]], bit: Bit) -> shapely.Geometry:
    lines = [
        shapely.Point(way[0]) if np.ptp(way, axis=0).max() < 1e-9 else shapely.LineString(way) for way in ways
    ]
    return shapely.union_all(shapely.buffer(np.array(lines, dtype=object), bit.radius, quad_segs=12))


def _mask(region: shapely.Geometry, panel: Panel, scale: float, shape: tuple[int, int]) -> NDArray[np.bool_]:
    picture = Image.new("1", (shape[1], shape[0]), 0)
    draw = ImageDraw.Draw(picture)
    for polygon in sorted(polygons_of(region), key=lambda p: -p.area):
        for ring, value in ((polygon.exterior, 1), *((inner, 0) for inner in polygon.interiors)):
            xy = (shapely.get_coordinates(ring) * [1, -1] + [0, panel.height]) * scale
            draw.polygon([(x, y) for x, y in xy.tolist()], fill=value)
    return np.asarray(picture)


def _shaded(depth: Depths, thickness: float, scale: float) -> NDArray[np.uint8]:
    """The board seen from above, lit from the upper left."""
    share = np.clip(depth / thickness, 0.0, 1.0)[..., None]
    tone = np.array(rgb(WOOD.fill or 0.0)) * (1 - share) + np.array(_DEEP) * share
    dy, dx = np.gradient(-np.minimum(depth, thickness) * scale)
    light = np.clip(1.0 + 0.05 * (dx + dy), 0.7, 1.15)[..., None]
    picture: NDArray[np.uint8] = np.clip(tone * light, 0, 255).astype(np.uint8)
    picture[depth >= thickness] = _THROUGH
    return picture
