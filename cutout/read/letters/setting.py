"""Where each letter of a text goes: spacing, lines, alignment, straight or round an arc. Millimetres, y up."""

from __future__ import annotations

import cmath
import math
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cutout.choices import Join, TextSide
from cutout.errors import Length, ReadError
from cutout.read.letters.face import Face, Glyph


@dataclass(frozen=True, slots=True, kw_only=True)
class Lettering:
    """How words are set.

    cap_height: height of a capital in mm; None leaves the size to the layout.
    spacing: room added between letters, in cap heights; below 0 closes them up.
    pitch: from line to line, in what the font asks for. side: which ends of the lines stand above each other.
    arc: radius (mm) of the circle the last base line runs along, over its top; below 0 along its bottom, letters
    upright at the lowest point; None: straight. With no cap height the radius is in the units of the outline.
    join: what holds the letters of a figure together: nothing, overlap, a bar under each line, or bars in a frame.
    joint: height or width of what joins them, in cap heights.
    """

    cap_height: float | None = None
    spacing: float = 0.0
    pitch: float = 1.0
    side: TextSide = "middle"
    arc: float | None = None
    join: Join = "none"
    joint: float = 0.14


@dataclass(frozen=True, slots=True)
class Placed:
    """A glyph in its place: foot is its origin, mm a font unit's length turned as the letter stands.

    line: counted from the top. run: counts words joined without a space between.
    """

    glyph: Glyph
    foot: complex
    mm: complex
    line: int
    word: int


@dataclass(frozen=True, slots=True)
class Line:
    """A line set straight: glyphs and where each starts, mm from the lines' middle; base: height of its base line."""

    glyphs: tuple[Glyph, ...]
    starts: tuple[float, ...]
    width: float
    base: float


def lines_of(text: str, name: str) -> list[str]:
    """The lines of a text, composed, without spaces at their ends. Raises ReadError where there are none."""
    composed = unicodedata.normalize("NFC", text).replace("\t", " ")
    lines = [line.strip() for line in composed.strip("\r\n").splitlines()]
    if not any(lines):
        raise ReadError(f"{name}: there is no text to set.")
    return lines


def set_straight(lines: Sequence[str], face: Face, asked: Lettering, mm: float) -> tuple[Line, ...]:
    """Every line, spaced and aligned, the last base line at 0. mm: length of a font unit."""
    room = asked.spacing * face.capital * mm
    made = []
    for number, text in enumerate(lines):
        glyphs = face.shaped(text, apart=asked.spacing != 0.0)
        # Marks stand on the letter before them and take no room of their own.
        gaps = [room if g.advance > 0 else 0.0 for g in glyphs]
        before = [sum(gaps[:k]) for k in range(len(gaps))]
        starts = [g.at.real * mm + b for g, b in zip(glyphs, before, strict=True)]
        width = sum(g.advance for g in glyphs) * mm + sum(gaps[:-1])
        base = face.pitch * asked.pitch * mm * (len(lines) - 1 - number)
        made.append(Line(glyphs, tuple(s - width / 2 for s in starts), width, base))
    return _aligned(made, asked.side)


def _aligned(lines: Sequence[Line], side: TextSide) -> tuple[Line, ...]:
    widest = max(line.width for line in lines)
    shift = {"left": -0.5, "middle": 0.0, "right": 0.5}[side]
    return tuple(
        Line(
            line.glyphs, tuple(s + shift * (widest - line.width) for s in line.starts), line.width, line.base
        )
        for line in lines
    )


def placed(lines: Sequence[Line], asked: Lettering, mm: float, name: str) -> Iterator[Placed]:
    """Every glyph where it stands, straight or bent round the arc. Raises ReadError for too small a circle."""
    word = 0
    for number, line in enumerate(lines):
        _fits_round(line, asked, name)
        for glyph, start in zip(line.glyphs, line.starts, strict=True):
            if glyph.letter.isspace():
                word += 1
                continue
            rise = glyph.at.imag * mm
            if asked.arc is None:
                yield Placed(glyph, complex(start, line.base + rise), complex(mm), number, word)
                continue
            half = glyph.advance * mm / 2
            foot, turn = bent(complex(start + half, line.base), asked.arc)
            yield Placed(glyph, foot + turn * complex(-half, rise), mm * turn, number, word)
        word += 1


def bent(at: complex, arc: float) -> tuple[complex, complex]:
    """Where a point of the straight setting goes on the circle round 0, and the unit vector along the line there.

    arc: radius of the line of height 0, letters over the top of the circle; below 0: under it.
    """
    radius = arc + at.imag
    angle = at.real / radius
    turn = cmath.exp(-1j * angle)
    return 1j * radius * turn, turn


def _fits_round(line: Line, asked: Lettering, name: str) -> None:
    if asked.arc is None:
        return
    radius = asked.arc + line.base
    if radius * asked.arc <= 0 or line.width > 2 * math.pi * abs(radius):
        raise ReadError(
            f"{name}: a line of ",
            Length(line.width),
            " does not go round a circle with a radius of ",
            Length(abs(radius)),
            ": make the circle larger or the letters smaller.",
        )
