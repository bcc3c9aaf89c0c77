"""Labels in lettering: their size by their text, and what each is drawn as."""

from __future__ import annotations

import math

from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.labels import Label, Placed, Style
from cutout.draw.looks import BOX, CARE, LEADER, MUST
from cutout.draw.scene import Area, Item, Words, polygon, rectangle, ring, span
from cutout.draw.signs import NUMBER, WORDS, disc, disc_half, disc_tall, lettering_width

HEIGHT: dict[Style, float] = {
    "plain": NUMBER,
    "bold": NUMBER,
    "ringed": NUMBER,
    "disc": NUMBER,
    "balloon": NUMBER,
    "words": WORDS,
    "upright": WORDS,
    "must": WORDS,
    "care": WORDS,
}
"""Height of the capitals of each style of label (mm)."""

DROP = 0.26
"""How far letters like g reach below the line, over the height of capitals."""

_ROOM = 1.2
"""Paper between a number and the ring or box round it (mm)."""
TRIANGLE, _BESIDE = 1.1, 0.4
"""Side of a triangle over its height, which is that of the number beside it; paper between the two (mm)."""


def lettered(text: str, style: Style, anchors: tuple[tuple[float, float], ...], **more: object) -> Label:
    """A label as large as its text; `more` as Label takes it."""
    tall = HEIGHT[style]
    # Pictures for the screen are lettered in whatever bold face is there; those are wider than the bundled one.
    width = lettering_width(text, tall, fonts.BOLD if style in ("must", "care") else fonts.LETTERS)
    box = (width, tall)
    if style in ("disc", "balloon"):
        box = (2 * disc_half(width, tall), disc_tall(tall))
    elif style == "care":
        box = (TRIANGLE * tall + _BESIDE + width, tall)
    elif style in ("ringed", "must"):
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
        case "care":
            x0, y0, _, y1 = placed.box
            return (triangle(x0, y0, y1 - y0),)
        case "must":
            return (octagon(placed.box),)
        case _:
            return ()


def triangle(x: float, y: float, tall: float) -> Area:
    """The sign of what needs care, so tall, its lower left corner at x, y."""
    side = TRIANGLE * tall
    return polygon(CARE, ((x, y), (x + side, y), (x + side / 2, y + tall)))


def octagon(box: Box) -> Area:
    """The sign of what must be settled: a box without its corners, so that a square becomes a regular octagon."""
    x0, y0, x1, y1 = box
    cut = (1 - math.sqrt(0.5)) * min(x1 - x0, y1 - y0)
    lower = (x0 + cut, y0), (x1 - cut, y0), (x1, y0 + cut), (x1, y1 - cut)
    upper = (x1 - cut, y1), (x0 + cut, y1), (x0, y1 - cut), (x0, y0 + cut)
    return polygon(MUST, (*lower, *upper))


def _text(placed: Placed) -> tuple[Item, ...]:
    x0, y0, x1, y1 = placed.box
    label = placed.label
    tall = HEIGHT[label.style]
    match label.style:
        case "disc":
            return disc(((x0 + x1) / 2, (y0 + y1) / 2), label.text, tall)
        case "care":
            return (Words(label.text, (x0 + TRIANGLE * tall + _BESIDE, y0), tall, bold=True),)
        case "balloon" | "ringed" | "must":
            at = ((x0 + x1) / 2, (y0 + y1 - tall) / 2)
            return (Words(label.text, at, tall, bold=True, align="centre"),)
        case "upright":
            return (Words(label.text, (x1 - DROP * tall, y0), tall, upright=True),)
        case "words":
            return (Words(label.text, (x0, y0 + DROP * tall), tall),)
        case _:
            return (Words(label.text, (x0, y0), tall, bold=label.style == "bold"),)
