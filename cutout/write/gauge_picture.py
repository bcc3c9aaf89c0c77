"""What was found, drawn over the photograph of the card."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
from PIL import Image, ImageDraw

from cutout.draw import fonts
from cutout.gauge.light import Light
from cutout.gauge.reading import Reading
from cutout.gauge.slot import Slot
from cutout.geom.curve import FloatArray, to_array
from cutout.read.picture.edge import coded

_LONG = 2000
"""Longer side of the picture (px)."""
Places = Callable[[FloatArray], list[tuple[float, float]]]
"""From places on the card (n, 2; mm) to places on the picture."""
_GOOD, _BAD, _DOUBT, _FRAME = (0, 150, 90), (205, 40, 30), (120, 120, 120), (20, 90, 200)
"""Red, green, blue of 255; words below say the same. Taste."""


def gauge_png(light: Light, reading: Reading, words: list[str]) -> bytes:
    """The photograph, grey, with marks and dots framed, the edges of every slot drawn, arcs green where followed, red
    where not and grey where they could not be told; below it what was read. Same photograph, same bytes."""
    shrink = max(light.shape) / _LONG
    small = Image.fromarray(codes(light)).resize(
        (round(light.shape[1] / shrink), round(light.shape[0] / shrink)), Image.Resampling.BOX
    )
    font = fonts.picture_font(18)
    words = [line for text in words for line in broken(fonts.plain(text), small.width - 28)]
    foot = 26 * len(words) + 24
    picture = Image.new("RGB", (small.width, small.height + foot), (255, 255, 255))
    picture.paste(Image.merge("RGB", (small, small, small)), (0, 0))
    draw = ImageDraw.Draw(picture)

    def at(xy: FloatArray) -> list[tuple[float, float]]:
        return [(float(x), float(y)) for x, y in reading.found.fitted.camera.pixels(xy) / shrink]

    for mark in reading.found.marks:
        quad = [tuple(p) for p in (mark.quad / shrink).tolist()]
        draw.line([*quad, quad[0]], fill=_FRAME, width=3)
    for x, y in at(reading.found.dots):
        draw.ellipse((x - 2, y - 2, x + 2, y + 2), fill=_FRAME)
    for slot in reading.slots:
        _slot(draw, at, slot, _GOOD if reading.kerf is not None else _DOUBT)
    for rung in reading.rungs:
        colour = _DOUBT if rung.followed is None else _GOOD if rung.followed else _BAD
        draw.line(at(rung.slot.trail.points()), fill=colour, width=1)
        _slot(draw, at, rung.slot, colour)
    for corner in reading.corners:
        if corner.at is not None:
            (x, y) = at(np.array([corner.at]))[0]
            draw.line((x - 8, y, x + 8, y), fill=_FRAME, width=2)
            draw.line((x, y - 8, x, y + 8), fill=_FRAME, width=2)
    for n, text in enumerate(words):
        draw.text((14, small.height + 12 + 26 * n), text, fill=(20, 20, 20), font=font)
    stream = io.BytesIO()
    picture.save(stream, "PNG")
    return stream.getvalue()


def codes(light: Light) -> np.ndarray:
    """Light as sRGB codes."""
    return np.round(coded(light)).astype(np.uint8)


def broken(text: str, width: float) -> list[str]:
    """A line of text as several no wider than `width` pixels."""
    font, lines = fonts.picture_font(18), [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if font.getlength(longer) <= width or not lines[-1]:
            lines[-1] = longer
        else:
            lines.append(f"    {word}")
    return lines


def _slot(draw: ImageDraw.ImageDraw, at: Places, slot: Slot, colour: tuple[int, int, int]) -> None:
    """Both edges of a slot, where they were told."""
    z, way = slot.trail.at(slot.s)
    for side in (-0.5, 0.5):
        edge = to_array(z - 1j * way * (slot.middle + side * slot.width))
        for run in np.split(np.arange(len(edge)), np.flatnonzero(np.diff(slot.seen.astype(int))) + 1):
            if len(run) > 1 and slot.seen[run[0]]:
                draw.line(at(edge[run]), fill=colour, width=2)
