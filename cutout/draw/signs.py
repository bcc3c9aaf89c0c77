"""Signs drawn in PDF, the same on every sheet: holes by their drill, lettered discs, dimension lines, a hand."""

from __future__ import annotations

import cmath

from cutout.draw import fonts
from cutout.draw.paint import Paint

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


def drill_sign(paint: Paint, x: float, y: float, radius: float, kind: int, arm: float = 0.8) -> None:
    """A hole for the drill of this kind (0, 1, ...): rim, cross through the centre, quarters filled by kind."""
    paint.pen(0.25)
    paint.circle(x, y, radius)
    paint.fill(0.0)
    for start in _QUARTERS[min(kind, DRILLS - 1)]:
        paint.wedge(x, y, radius, start, 90)
    if kind >= DRILLS - 1:
        paint.circle(x, y, radius / 2)
    reach = radius + arm
    paint.pen(0.13)
    paint.line(x - reach, y, x + reach, y)
    paint.line(x, y - reach, x, y + reach)


def pin_sign(paint: Paint, x: float, y: float) -> None:
    """A pin through a stack: a square standing on its corner with a dot in it."""
    paint.pen(0.25)
    for n in range(4):
        start, end = PIN * 1j**n, PIN * 1j ** (n + 1)
        paint.line(x + start.real, y + start.imag, x + end.real, y + end.imag)
    paint.circle(x, y, 0.4, fill=True)


def disc(paint: Paint, x: float, y: float, text: str, height: float = NUMBER) -> None:
    """A letter, white in a black disc drawn out to the width of its text."""
    half = disc_half(paint.width(text, size(height), bold=True), height)
    paint.fill(0.0)
    paint.pen(0.2)
    paint.ring((x - half, y - disc_tall(height) / 2, x + half, y + disc_tall(height) / 2), fill=True)
    paint.fill(1.0)
    paint.text(x, y - height / 2, text, size(height), bold=True, align="centre")
    paint.fill(0.0)


def disc_tall(height: float = NUMBER) -> float:
    """Height of a disc round letters of this height (mm)."""
    return DISC * height / NUMBER


def disc_half(width: float, height: float = NUMBER) -> float:
    """Half the width of a disc round text so wide (mm)."""
    return max(disc_tall(height), width + 3.0 * height / NUMBER) / 2


def dimension(paint: Paint, start: tuple[float, float], end: tuple[float, float], text: str) -> None:
    """A dimension line between two points, level or upright, ended by oblique strokes (ISO 129-1's "architectural"
    ending, from memory), its number above it or left of it, beside its end where there is no room between."""
    (x0, y0), (x1, y1) = start, end
    paint.pen(0.18)
    paint.line(x0, y0, x1, y1)
    paint.pen(0.45)
    for x, y in (start, end):
        paint.line(x - 1.1, y - 1.1, x + 1.1, y + 1.1)
    paint.fill(0.0)
    points = size(NUMBER)
    if abs(x1 - x0) >= abs(y1 - y0):
        paint.text((x0 + x1) / 2, y0 + 1.0, text, points, align="centre")
    else:
        paint.upright(x0 - 1.0, (y0 + y1) / 2, text, points, align="centre")


def start_arrow(
    paint: Paint, x: float, y: float, angle: float, *, length: float = 8.0, width: float = 0.8
) -> None:
    """A heavy arrow that begins at x, y and shows which way the saw goes (radians)."""
    way = cmath.exp(1j * angle)
    tip = complex(x, y) + length * way
    neck = tip - 2.6 * way
    paint.pen(width)
    paint.line(x, y, neck.real, neck.imag)
    paint.fill(0.0)
    paint.arrow_head(tip.real, tip.imag, angle, 3.2)


def hand(paint: Paint, x: float, y: float, tall: float = 5.0) -> None:
    """A flat hand, fingers up, its lower left at x, y: hold it."""
    unit = tall / 10
    paint.fill(0.0)
    palm = [
        (1.6, 0),
        (5.6, 0),
        (6.4, 2.4),
        (6.4, 5.0),
        (1.4, 5.0),
        (1.4, 4.2),
        (0, 5.4),
        (-0.7, 4.7),
        (1.0, 2.2),
    ]
    paint.polygon([(x + unit * (a + 0.7), y + unit * b) for a, b in palm])
    for n, top in enumerate((8.6, 10.0, 9.6, 8.2)):
        left = x + unit * (2.1 + 1.27 * n)
        paint.rounded((left, y + unit * 4.0, left + unit * 1.1, y + unit * top), unit * 0.5)


def tie(paint: Paint, start: tuple[float, float], end: tuple[float, float], bar: float = 1.6) -> None:
    """A line with a short bar across each end: what lies between is left standing."""
    along = complex(*end) - complex(*start)
    across = 1j * along / abs(along) * bar if abs(along) > 1e-9 else 1j * bar
    paint.pen(0.5)
    paint.line(*start, *end)
    for z in (complex(*start), complex(*end)):
        a, b = z - across, z + across
        paint.line(a.real, a.imag, b.real, b.imag)
