"""The sawn outline in colour over the photograph: where wood stands outside the line, where the saw went inside
it."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image, ImageDraw

from cutout.draw import fonts
from cutout.gauge.compare import Compared
from cutout.gauge.light import Light
from cutout.geom.curve import FloatArray
from cutout.say import Words
from cutout.units import Units
from cutout.write.gauge_picture import broken, codes

_LONG = 1800
"""Longer side of the picture (px)."""
_UNTOLD = (150, 150, 150)
"""Colour of what could not be told."""
_MOST_SPOTS = 9
"""Spots that are numbered, each by one figure."""


def compare_png(colour: Light, found: Compared, words: list[str], units: Units = "mm") -> bytes:
    """The first photograph, pale, its outline coloured by how far it lies from its line: red where wood stands
    outside, blue where the saw went inside, green on the line, grey where it could not be told; numbers at the
    spots; a scale and the words below. Same photograph, same bytes."""
    shown = found.shown[0]
    shrink = max(colour.shape[:2]) / _LONG
    size = (round(colour.shape[1] / shrink), round(colour.shape[0] / shrink))
    grey = Image.fromarray(codes(colour.mean(axis=2))).resize(size, Image.Resampling.BOX)
    pale = grey.point(lambda v: 110 + v * 145 / 255)
    lines = [line for text in words for line in broken(fonts.plain(text), size[0] - 28)]
    picture = Image.new("RGB", (size[0], size[1] + 26 * len(lines) + 84), (255, 255, 255))
    picture.paste(Image.merge("RGB", (pale, pale, pale)), (0, 0))
    draw = ImageDraw.Draw(picture)
    at = shown.camera.pixels(found.places) / shrink
    most = max(0.3, float(np.nanpercentile(np.abs(found.off), 99)))
    colours = shade(found.off, most)
    for k in range(len(at) - 1):
        if found.ring[k] == found.ring[k + 1] and np.hypot(*(found.places[k + 1] - found.places[k])) < 2.0:
            tint = tuple(colours[k].tolist()) if np.isfinite(found.off[k]) else _UNTOLD
            draw.line((*at[k], *at[k + 1]), fill=tint, width=5)
    font = fonts.picture_font(18)
    for n, spot in enumerate(found.spots[:_MOST_SPOTS], start=1):
        x, y = shown.camera.pixels(np.array([spot.at]))[0] / shrink
        draw.ellipse((x - 14, y - 14, x + 14, y + 14), outline=(0, 0, 0), width=2)
        draw.text((x + 16, y - 10), str(n), fill=(0, 0, 0), font=font)
    _scale(draw, size, most, units)
    for n, text in enumerate(lines):
        draw.text((14, size[1] + 70 + 26 * n), text, fill=(20, 20, 20), font=font)
    stream = io.BytesIO()
    picture.save(stream, "PNG")
    return stream.getvalue()


def shade(off: FloatArray, most: float) -> np.ndarray:
    """Colours (n, 3) of offsets: blue at -most, green at 0, red at +most; light and dark differ too, for eyes that
    don't tell red from green."""
    stops = np.array(
        [[30, 60, 220], [90, 170, 235], [20, 130, 60], [245, 150, 40], [190, 20, 20]], dtype=float
    )
    x = np.clip(np.nan_to_num(off) / most, -1, 1) * 2 + 2
    k = np.minimum(x.astype(int), 3)
    share = (x - k)[:, None]
    return np.asarray(stops[k] * (1 - share) + stops[k + 1] * share + 0.5).astype(np.uint8)


def _scale(draw: ImageDraw.ImageDraw, size: tuple[int, int], most: float, units: Units) -> None:
    """A bar of the colours with what they mean."""
    font = fonts.picture_font(18)
    left, top, wide = 20, size[1] + 12, min(500, size[0] - 300)
    for k, colour in enumerate(shade(np.linspace(-most, most, wide), most).tolist()):
        draw.line((left + k, top, left + k, top + 16), fill=tuple(colour))
    far = Words(units).fine(most)
    for share, text in ((0.0, f"-{far}"), (0.5, "on the line"), (1.0, f"+{far}: wood left")):
        draw.text((left + share * wide, top + 20), text, fill=(20, 20, 20), font=font)
    draw.line((left + wide + 30, top + 8, left + wide + 60, top + 8), fill=_UNTOLD, width=5)
    draw.text((left + wide + 66, top - 2), "not told", fill=(20, 20, 20), font=font)
