"""Labels in lettering: their size by their text, and what each is drawn as."""

from __future__ import annotations

from cutout.draw.labels import Label, Placed, Style
from cutout.draw.looks import BOX, LEADER
from cutout.draw.scene import Item, Words, rectangle, ring, span
from cutout.draw.signs import NUMBER, WORDS, disc, disc_half, disc_tall, lettering_width

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
    width = lettering_width(text, tall)
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


def label_items(placed: Placed) -> tuple[Item, ...]:
    """A label where it was placed, with its leader."""
    leader = (span(LEADER, *placed.leader),) if placed.leader else ()
    return (*leader, *_sign(placed), *_text(placed))


def _sign(placed: Placed) -> tuple[Item, ...]:
    match placed.label.style:
        case "balloon":
            return (ring(BOX, placed.box),)
        case "ringed":
            return (rectangle(BOX, placed.box),)
        case _:
            return ()


def _text(placed: Placed) -> tuple[Item, ...]:
    x0, y0, x1, y1 = placed.box
    label = placed.label
    tall = HEIGHT[label.style]
    match label.style:
        case "disc":
            return disc(((x0 + x1) / 2, (y0 + y1) / 2), label.text, tall)
        case "balloon" | "ringed":
            at = ((x0 + x1) / 2, (y0 + y1 - tall) / 2)
            return (Words(label.text, at, tall, bold=True, align="centre"),)
        case "upright":
            return (Words(label.text, (x1 - DROP * tall, y0), tall, upright=True),)
        case "words":
            return (Words(label.text, (x0, y0 + DROP * tall), tall),)
        case _:
            return (Words(label.text, (x0, y0), tall, bold=label.style == "bold"),)
