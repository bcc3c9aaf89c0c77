"""The preview: a picture of the panel as it will look, with its findings marked."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from cutout.draw import fonts
from cutout.draw.labels import Label, Placed, Room
from cutout.draw.shapes import cut_lines
from cutout.finding import Finding
from cutout.geom.outline import polygons_of
from cutout.pattern import Panel
from cutout.write.changed import eased_places
from cutout.write.cutsheet.finding_rows import finding_numbers
from cutout.write.drawing import segments
from cutout.write.work import Work

_LONG_SIDE = 1600
_BORDER = 32
_SMOOTH = 2
"""Drawn this many times larger, then reduced, so that edges are smooth."""

_SHOWN = 60
"""Findings marked at most; the cut sheet lists all."""

_DIAMOND = 8
"""Half the height of the sign for an eased place, in pixels."""

_BACK = (238, 238, 236)
_WOOD = np.array([222.0, 190.0, 143.0])
_SHEET = np.array([205.0, 190.0, 168.0])


def preview_png(work: Work) -> bytes:
    """A PNG of the cut panel from the show face, 1600 pixels on its longer side, openings seen through.

    Holes are dotted in, findings that are left carry a number and a shape: triangle = must be settled,
    square = care. A small diamond marks a place where the outline was eased. Same work, same bytes.
    """
    panel = work.pattern.panel
    scale = (_LONG_SIDE - 2 * _BORDER) / max(panel.width, panel.height)
    size = (round(panel.width * scale), round(panel.height * scale))
    picture = Image.new("RGB", (size[0] + 2 * _BORDER, size[1] + 2 * _BORDER), _BACK)
    wood = _wood_mask(work, size, scale)
    _shadow(picture, wood)
    picture.paste(
        Image.fromarray(_board(panel, size, has_grain=work.kit.wood.has_grain)), (_BORDER, _BORDER), wood
    )
    draw = ImageDraw.Draw(picture)
    draw.rectangle((_BORDER, _BORDER, _BORDER + size[0] - 1, _BORDER + size[1] - 1), outline=(170, 170, 170))
    for polygon in polygons_of(work.pattern.keep):
        for ring in (polygon.exterior, *polygon.interiors):
            draw.line(_pixels(shapely.get_coordinates(ring), panel, scale), fill=(70, 45, 20), width=2)
    for hole in work.plan.holes:
        (x, y), r = _pixels(np.array([hole.at]), panel, scale)[0], hole.diameter / 2 * scale
        draw.ellipse((x - r, y - r, x + r, y + r), outline=(40, 40, 40), width=2)
    eased = eased_places(work)
    for x, y in _pixels(np.array(eased).reshape(-1, 2), panel, scale):
        _diamond(draw, x, y)
    for placed in _marks(work, scale, eased):
        _mark(draw, placed, panel, scale)
    out = BytesIO()
    picture.save(out, "PNG", compress_level=4)
    return out.getvalue()


def _pixels(xy: NDArray[np.float64], panel: Panel, scale: float) -> list[tuple[float, float]]:
    """Panel points (n, 2) as picture points, y down, border added."""
    x, y = xy[:, 0] * scale + _BORDER, (panel.height - xy[:, 1]) * scale + _BORDER
    return list(zip(x.tolist(), y.tolist(), strict=True))


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
        return np.broadcast_to(_SHEET.astype(np.uint8), (height, width, 3)).copy()
    # Every second dot is worked out; between them the tone is even enough.
    y, x = np.mgrid[0:height:2, 0:width:2].astype(np.float32)
    across = -x * np.sin(panel.grain) - y * np.cos(panel.grain)
    along = x * np.cos(panel.grain) - y * np.sin(panel.grain)
    # Growth lines that wander a little; sums of sines, so that every run paints the same board.
    bent = across + 9 * np.sin(along / 260) + 4 * np.sin(along / 97 + across / 180)
    lines = 0.5 * np.sin(bent / 5.5) + 0.3 * np.sin(bent / 2.3 + 1.0) + 0.6 * np.sin(bent / 41)
    tone = 1.0 + 0.045 * lines
    fine = np.repeat(np.repeat(tone, 2, axis=0), 2, axis=1)[:height, :width]
    return np.asarray(np.clip(_WOOD.astype(np.float32) * fine[..., None], 0, 255), dtype=np.uint8)


def _diamond(draw: ImageDraw.ImageDraw, x: float, y: float) -> None:
    r = _DIAMOND
    corners = [(x, y - r), (x + r, y), (x, y + r), (x - r, y)]
    draw.polygon(corners, fill=(255, 255, 255), outline=(20, 20, 20), width=2)


def _marks(work: Work, scale: float, eased: tuple[tuple[float, float], ...]) -> tuple[Placed, ...]:
    """Where the findings' signs go: beside their place, clear of lines, of eased places and of each other."""
    panel = work.pattern.panel
    shown = finding_numbers(work)[:_SHOWN]
    labels = [_sign(n, f, scale) for n, f in shown]
    lines = segments([cut_lines(work.pattern), panel.polygon.exterior])
    signs = [shapely.Point(at).buffer(_DIAMOND / scale, quad_segs=1) for at in eased]
    room = Room(np.concatenate([lines, np.array(signs, dtype=object)]), (0.0, 0.0, panel.width, panel.height))
    placed, left = room.place(labels)
    squeezed = tuple(Placed(label, _box_at(label.anchors[0], label.size[0]), None) for label in left)
    return (*placed, *squeezed)


def _sign(number: int, finding: Finding, scale: float) -> Label:
    """Signs of what must be settled are larger than those of what needs care."""
    stop = finding.severity == "stop"
    side = (38 if stop else 25) / scale
    return Label(f"{'!' if stop else '?'}{number}", "ringed", (side, side), (finding.at,))


def _box_at(at: tuple[float, float], side: float) -> tuple[float, float, float, float]:
    return (at[0] - side / 2, at[1] - side / 2, at[0] + side / 2, at[1] + side / 2)


def _mark(draw: ImageDraw.ImageDraw, placed: Placed, panel: Panel, scale: float) -> None:
    (x0, y1), (x1, y0) = _pixels(np.array(placed.box).reshape(2, 2), panel, scale)
    if placed.leader:
        draw.line(_pixels(np.array(placed.leader), panel, scale), fill=(20, 20, 20), width=2)
    text = placed.label.text
    if text[0] == "!":
        corners = [((x0 + x1) / 2, y0 - 2), (x1 + 3, y1), (x0 - 3, y1)]
        draw.polygon(corners, fill=(255, 214, 204), outline=(138, 21, 0), width=3)
        drop = 5
    else:
        draw.rectangle((x0, y0, x1, y1), fill=(255, 243, 176), outline=(90, 74, 0), width=2)
        drop = 0
    draw.text(
        ((x0 + x1) / 2, (y0 + y1) / 2 + drop),
        text[1:],
        fill=(0, 0, 0),
        anchor="mm",
        font=fonts.picture_font(17 if drop else 13),
    )
