"""Signs, the same in every drawing: holes by their drill, lettered discs, dimension lines, a hand."""

from __future__ import annotations

from cutout.draw import fonts
from cutout.draw.looks import BRIDGE, FINE, MEASURE, PAPER, RIM, SOLID, TICK
from cutout.draw.scene import Disc, Item, Words, plus, polygon, ring, rounded, sector, span, spans

NUMBER = 3.5
"""Height of numbers and letters (mm): 20 minutes of arc at 600 mm, where ISO 9241-3, as quoted online, prefers 20
to 22; the first height of ISO 3098 (from memory: 1.8, 2.5, 3.5, 5, 7 mm) over that."""
WORDS = 2.8
"""Height of capitals in words (mm): 16 minutes of arc at 600 mm, the least the same standard asks."""
DISC = 6.4
"""Diameter of the disc round the letter of a step (mm)."""

PIN = 2.2
"""From the middle of a pin's sign to its corners (mm)."""

DRILLS = 6
"""Signs for holes that can be told apart; further sizes have theirs written beside them."""

_QUARTERS = ((0, 180), (180, 270), (90,), (0, 90, 180), (0, 90, 180, 270), ())
"""Which quarters of a hole are filled for the first, second, ... size of drill, by their first angle (degrees)."""


def size(height: float) -> float:
    """Points of lettering for figures and capitals of this height (mm)."""
    return height * fonts.PER_MM


def drill_quarters(kind: int) -> tuple[int, ...]:
    """Quarters filled in the sign of this kind of drill, by their first angle (degrees, counter-clockwise from the
    right); none for the last kind, which has an inner ring instead."""
    return _QUARTERS[min(kind, DRILLS - 1)]


def drill_sign(at: tuple[float, float], radius: float, kind: int, arm: float = 0.8) -> tuple[Item, ...]:
    """A hole for the drill of this kind (0, 1, ...): rim, cross through the centre, quarters filled by kind."""
    quarters = (sector(SOLID, at, radius, start, 90) for start in drill_quarters(kind))
    inner = (Disc(RIM, at, radius / 2),) if kind >= DRILLS - 1 else ()
    return (Disc(RIM, at, radius), *quarters, *inner, plus(FINE, at, radius + arm))


def pin_sign(at: tuple[float, float]) -> tuple[Item, ...]:
    """A pin through a stack: a square standing on its corner with a dot in it."""
    corners = [complex(*at) + PIN * 1j**n for n in range(4)]
    return polygon(RIM, [(z.real, z.imag) for z in corners]), Disc(SOLID, at, 0.4)


def disc(at: tuple[float, float], text: str, height: float = NUMBER) -> tuple[Item, ...]:
    """A letter, white in a black disc drawn out to the width of its text."""
    x, y = at
    half, tall = disc_half(lettering_width(text, height), height), disc_tall(height)
    black = ring(SOLID, (x - half, y - tall / 2, x + half, y + tall / 2))
    return black, Words(text, (x, y - height / 2), height, bold=True, align="centre", look=PAPER)


def disc_tall(height: float = NUMBER) -> float:
    """Height of a disc round letters of this height (mm)."""
    return DISC * height / NUMBER


def disc_half(width: float, height: float = NUMBER) -> float:
    """Half the width of a disc round text so wide (mm)."""
    return max(disc_tall(height), width + 3.0 * height / NUMBER) / 2


def lettering_width(text: str, height: float, font: str = fonts.LETTERS) -> float:
    """Width (mm) of text whose capitals are so high (mm)."""
    return fonts.text_width(fonts.plain(text, font), font, size(height)) / fonts.PT


def dimension(start: tuple[float, float], end: tuple[float, float], text: str) -> tuple[Item, ...]:
    """A dimension line between two points, level or upright, ended by oblique strokes (ISO 129-1's "architectural"
    ending, from memory), its number above it or left of it."""
    (x0, y0), (x1, y1) = start, end
    ticks = (((x - 1.1, y - 1.1), (x + 1.1, y + 1.1)) for x, y in (start, end))
    upright = abs(x1 - x0) < abs(y1 - y0)
    at = (x0 - 1.0, (y0 + y1) / 2) if upright else ((x0 + x1) / 2, y0 + 1.0)
    number = Words(text, at, NUMBER, align="centre", upright=upright)
    return span(MEASURE, start, end), spans(TICK, ticks), number


def hand(x: float, y: float, tall: float = 5.0) -> tuple[Item, ...]:
    """A flat hand, fingers up, its lower left at x, y: hold it."""
    unit = tall / 10
    palm = ((1.6, 0), (5.6, 0), (6.4, 2.4), (6.4, 5), (1.4, 5), (1.4, 4.2), (0, 5.4), (-0.7, 4.7), (1, 2.2))
    fingers = ((x + unit * (2.1 + 1.27 * n), top) for n, top in enumerate((8.6, 10.0, 9.6, 8.2)))
    return (
        polygon(SOLID, [(x + unit * (a + 0.7), y + unit * b) for a, b in palm]),
        *(
            rounded(SOLID, (left, y + unit * 4.0, left + unit * 1.1, y + unit * top), unit * 0.5)
            for left, top in fingers
        ),
    )


def tie(start: tuple[float, float], end: tuple[float, float], bar: float = 1.6) -> tuple[Item, ...]:
    """A line with a short bar across each end: what lies between is left standing."""
    along = complex(*end) - complex(*start)
    across = 1j * along / abs(along) * bar if abs(along) > 1e-9 else 1j * bar
    bars = ((z - across, z + across) for z in (complex(*start), complex(*end)))
    return (spans(BRIDGE, [(start, end), *(((a.real, a.imag), (b.real, b.imag)) for a, b in bars)]),)
