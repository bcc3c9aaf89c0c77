"""The preview: a picture of the panel as it will look, with its findings marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from io import BytesIO

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from cutout.draw.labels import Placed, Room
from cutout.draw.lettered import label_items
from cutout.draw.looks import FINE, RIM, SHEET, WALL, WOOD, WOOD_EDGE, rgb
from cutout.draw.raster import raster
from cutout.draw.scene import Disc, Layer, Scene, lines
from cutout.geom.outline import polygons_of
from cutout.pattern import Panel
from cutout.write.changed import eased_places
from cutout.write.cutsheet.picture import EASED_HALF, eased_sign, finding_labels, reduced
from cutout.write.drawing import Drawing, segments
from cutout.write.work import Work

_LONG = 250.0
"""The panel's longer side (mm) that lines and signs are drawn for."""
_LONG_SIDE = 1600  # pixels: a little more than a screen shows
_BORDER = 32  # pixels of wall round it
_SMOOTH = 2
"""Drawn this many times larger, then reduced, so that edges are smooth."""

_SHOWN = 60
"""Findings marked at most; the cut sheet lists all."""


def preview_png(work: Work) -> bytes:
    """A PNG of the cut panel from the show face, 1600 pixels on its longer side, openings seen through.

    Holes are dotted in, findings that are left carry a number and a shape: octagon = must be settled,
    triangle = care. A small diamond marks a place where the outline was eased. Same work, same bytes.
    """
    panel = work.pattern.panel
    scale = (_LONG_SIDE - 2 * _BORDER) / max(panel.width, panel.height)
    size = (round(panel.width * scale), round(panel.height * scale))
    picture = Image.new("RGB", (size[0] + 2 * _BORDER, size[1] + 2 * _BORDER), rgb(WALL.fill or 0.0))
    wood = _wood_mask(work, size, scale)
    _shadow(picture, wood)
    board = Image.fromarray(_board(panel, size, has_grain=work.kit.wood.has_grain))
    picture.paste(board, (_BORDER, _BORDER), wood)
    drawing = reduced(work, _LONG)
    over = raster(preview_scene(drawing), scale / abs(drawing.frame.a))
    picture.paste(over, (_BORDER, _BORDER), over)
    out = BytesIO()
    picture.save(out, "PNG", compress_level=4)
    return out.getvalue()


def preview_scene(drawing: Drawing) -> Scene:
    """What is drawn over the wood: its edges, holes, eased places, findings."""
    scale = abs(drawing.frame.a)
    eased = [drawing.at(at) for at in eased_places(drawing.work)]
    signs = tuple(item for placed in _marks(drawing, eased) for item in label_items(placed))
    layers = (
        Layer(
            "edge", (lines(FINE, drawing.board.exterior), lines(WOOD_EDGE, shapely.boundary(drawing.wood)))
        ),
        Layer("holes", tuple(Disc(RIM, drawing.at(h.at), h.diameter / 2 * scale) for h in drawing.holes)),
        Layer("eased", tuple(map(eased_sign, eased))),
        Layer("findings", signs),
    )
    return Scene(drawing.panel, layers)


def _marks(drawing: Drawing, eased: Sequence[tuple[float, float]]) -> Iterator[Placed]:
    """Findings' signs beside their places, clear of lines, of eased places and of each other; those that find no room
    right on their places."""
    outline = segments([drawing.cuts, drawing.board.exterior])
    diamonds = [shapely.Point(at).buffer(EASED_HALF, quad_segs=1) for at in eased]
    room = Room(np.concatenate([outline, np.array(diamonds, dtype=object)]), drawing.panel)
    placed, left = room.place(list(finding_labels(drawing, _SHOWN)))
    yield from placed
    for label in left:
        (x, y), (wide, tall) = label.anchors[0], label.size
        yield Placed(label, (x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2), None)


def _wood_mask(work: Work, size: tuple[int, int], scale: float) -> Image.Image:
    """White where wood stays, with smooth edges."""
    large = Image.new("L", (size[0] * _SMOOTH, size[1] * _SMOOTH), 0)
    draw = ImageDraw.Draw(large)
    height, zoom = work.pattern.panel.height, scale * _SMOOTH
    for polygon in sorted(polygons_of(work.pattern.keep), key=lambda p: -p.area):
        for ring, value in ((polygon.exterior, 255), *((inner, 0) for inner in polygon.interiors)):
            xy = (shapely.get_coordinates(ring) * [1, -1] + [0, height]) * zoom
            draw.polygon([(x, y) for x, y in xy.tolist()], fill=value)
    return large.resize(size, Image.Resampling.BOX)


def _shadow(picture: Image.Image, wood: Image.Image) -> None:
    """A soft shadow behind the panel, so that openings read as openings."""
    shade = Image.new("L", picture.size, 0)
    shade.paste(wood.point(lambda v: v // 2), (_BORDER + 8, _BORDER + 10))
    picture.paste((90, 90, 95), (0, 0), shade.filter(ImageFilter.GaussianBlur(7)))


def _board(panel: Panel, size: tuple[int, int], *, has_grain: bool) -> NDArray[np.uint8]:
    """Wood tone with faint lines along the grain; a plain tone for sheet goods."""
    width, height = size
    if not has_grain or panel.grain is None:
        return np.broadcast_to(np.array(rgb(SHEET.fill or 0.0), np.uint8), (height, width, 3)).copy()
    # Every second dot is worked out; between them the tone is even enough.
    y, x = np.mgrid[0:height:2, 0:width:2].astype(np.float32)
    across = -x * np.sin(panel.grain) - y * np.cos(panel.grain)
    along = x * np.cos(panel.grain) - y * np.sin(panel.grain)
    # Growth lines that wander a little; sums of sines, so that every run paints the same board.
    bent = across + 9 * np.sin(along / 260) + 4 * np.sin(along / 97 + across / 180)
    lines = 0.5 * np.sin(bent / 5.5) + 0.3 * np.sin(bent / 2.3 + 1.0) + 0.6 * np.sin(bent / 41)
    tone = 1.0 + 0.045 * lines
    coarse = np.array(rgb(WOOD.fill or 0.0), np.float32) * tone[..., None]
    shown = np.clip(coarse, 0, 255).astype(np.uint8)
    return np.repeat(np.repeat(shown, 2, axis=0), 2, axis=1)[:height, :width]
