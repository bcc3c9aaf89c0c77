"""Labels in lettering: their size by their text, and how each is drawn."""

from __future__ import annotations

from cutout.draw import fonts
from cutout.draw.labels import Label, Placed, Style
from cutout.draw.paint import PT, Paint
from cutout.draw.signs import NUMBER, WORDS, disc, disc_half, disc_tall, size

HEIGHT: dict[Style, float] = {
    "plain": NUMBER,
    "bold": NUMBER,
    "ringed": NUMBER,
    "disc": NUMBER,
    "balloon": NUMBER,
    "words": WORDS,
    "upright": WORDS,
}
"""Height of the capitals of each style of label (mm)."""

DROP = 0.26
"""How far letters like g reach below the line, over the height of capitals."""

_ROOM = 1.2
"""Paper between a number and the ring or box round it (mm)."""


def lettered(text: str, style: Style, anchors: tuple[tuple[float, float], ...], **more: object) -> Label:
    """A label as large as its text; `more` as Label takes it."""
    tall = HEIGHT[style]
    width = fonts.text_width(fonts.plain(text, fonts.LETTERS), fonts.LETTERS, size(tall)) / PT
    box = (width, tall)
    if style in ("disc", "balloon"):
        box = (2 * disc_half(width, tall), disc_tall(tall))
    elif style == "ringed":
        box = (max(width, tall) + 2 * _ROOM, tall + 2 * _ROOM)
    elif style in ("words", "upright"):
        box = (width, tall * (1 + DROP))
    if style == "upright":
        box = box[::-1]
    return Label(text, style, box, anchors, **more)  # type: ignore[arg-type]


def draw_label(paint: Paint, placed: Placed) -> None:
    """A label where it was placed, with its leader; a ringed one in a box."""
    x0, y0, x1, y1 = placed.box
    label = placed.label
    paint.fill(0)
    if placed.leader:
        paint.pen(0.13, 0.2)
        paint.line(*placed.leader[0], *placed.leader[1])
    tall = HEIGHT[label.style]
    if label.style == "disc":
        disc(paint, (x0 + x1) / 2, (y0 + y1) / 2, label.text, tall)
    elif label.style == "balloon":
        paint.fill(1)
        paint.pen(0.25)
        paint.ring(placed.box, fill=True)
        paint.fill(0)
        paint.text((x0 + x1) / 2, (y0 + y1 - tall) / 2, label.text, size(tall), bold=True, align="centre")
    elif label.style == "upright":
        paint.upright(x1 - DROP * tall, y0, label.text, size(tall))
    elif label.style == "ringed":
        paint.fill(1)
        paint.pen(0.25)
        paint.rect(placed.box, fill=True)
        paint.fill(0)
        paint.text((x0 + x1) / 2, y0 + _ROOM, label.text, size(tall), bold=True, align="centre")
    else:
        drop = DROP * tall if label.style == "words" else 0.0
        paint.text(x0, y0 + drop, label.text, size(tall), bold=label.style == "bold")
