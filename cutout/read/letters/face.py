"""A font file: the glyphs it sets for a line of text, and their contours. Everything is in font units.

Shaping (pair kerning, ligatures, accents, letters that change with their neighbours, right-to-left lines) is
HarfBuzz's, through uharfbuzz.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import uharfbuzz as hb

from cutout.errors import ReadError
from cutout.geom.curve import Cubic, Line, Segment
from cutout.geom.outline import Note
from cutout.read.whole import file_bytes

if TYPE_CHECKING:
    from collections.abc import Callable

Contour: TypeAlias = tuple[Segment, ...]

USUAL_CAPITAL = 0.7
"""Height of a capital over the body size, where the font neither states it nor has an H. Common practice."""


@dataclass(frozen=True, slots=True)
class Glyph:
    """One glyph of a shaped line. at: where its origin lies; advance: how far it moves the pen; font units.

    letter: the character it stands for, the first one where it stands for several.
    """

    number: int
    letter: str
    at: complex
    advance: float


@dataclass(frozen=True, slots=True)
class Face:
    """An open font. capital: height of a capital; pitch: from base line to base line; slant: radians to the right."""

    name: str
    font: hb.Font
    capital: float
    pitch: float
    slant: float
    notes: tuple[Note, ...]
    _contours: dict[int, tuple[Contour, ...]] = field(default_factory=dict, compare=False)

    def shaped(self, line: str, *, apart: bool = False) -> tuple[Glyph, ...]:
        """The glyphs of a line, from left to right, its first glyph's origin at 0.

        apart: letters are spaced out, so that none may melt into a ligature.
        Raises ReadError for letters the font does not have and for lines that run in both directions.
        """
        if not line:
            return ()
        _one_direction(line)
        buffer = hb.Buffer()
        buffer.add_str(line)
        buffer.guess_segment_properties()
        hb.shape(self.font, buffer, {"kern": True, "liga": not apart, "clig": not apart})
        glyphs, pen = [], 0j
        for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            at = pen + complex(place.x_offset, place.y_offset)
            glyphs.append(Glyph(info.codepoint, line[info.cluster], at, float(place.x_advance)))
            pen += complex(place.x_advance, 0.0)
        self._all_there(glyphs)
        return tuple(glyphs)

    def contours(self, glyph: int) -> tuple[Contour, ...]:
        """The closed runs a glyph is drawn by."""
        if glyph not in self._contours:
            pen = _Pen()
            self.font.draw_glyph_with_pen(glyph, pen)
            self._contours[glyph] = tuple(pen.contours)
        return self._contours[glyph]

    def _all_there(self, glyphs: Sequence[Glyph]) -> None:
        missing = list(dict.fromkeys(g.letter for g in glyphs if g.number == 0))
        if missing:
            named = ", ".join(f'"{letter}" (U+{ord(letter):04X})' for letter in missing[:5])
            raise ReadError(f"{self.name}: has no {named}: use a font that does, or other letters.")


MAX_FONT = 64 * 2**20
"""No font file is longer (bytes); the largest with Chinese, Japanese and Korean are about 20 MB."""


def open_face(path: Path) -> Face:
    """The font in a file (the first of a collection). Raises ReadError."""
    face = hb.Face(file_bytes(path, MAX_FONT, "font file", "font"))
    tables = set(face.table_tags)
    if not tables or face.glyph_count == 0:
        raise ReadError(f"{path.name}: can't be read as a font: use a sound TTF or OTF file.")
    if not {"cmap", "head"} <= tables or not {"glyf", "CFF ", "CFF2"} & tables:
        raise ReadError(f"{path.name}: holds no letter outlines: use another TTF or OTF file.")
    font = hb.Font(face)
    capital, notes = _capital(font, face.upem)
    slant = -math.radians(font.get_style_value(hb.StyleTag.SLANT_ANGLE))
    return Face(path.name, font, capital, _pitch(font, face.upem), slant, notes)


def _capital(font: hb.Font, em: float) -> tuple[float, tuple[Note, ...]]:
    """Height of a capital: what the font states, else its H, else 0.7 of the body size."""
    stated = float(font.get_metric_position(hb.OTMetricsTag.CAP_HEIGHT) or 0)
    if 0.2 * em < stated < 1.5 * em:
        return stated, ()
    glyph = font.get_nominal_glyph(ord("H"))
    extents = font.get_glyph_extents(glyph) if glyph else None
    if extents is not None and extents.y_bearing > 0:
        return float(extents.y_bearing), ()
    text = f"the font states no cap height and has no H: {USUAL_CAPITAL:g} of its body size was taken for it."
    return USUAL_CAPITAL * em, (Note("cap height", text),)


def _pitch(font: hb.Font, em: float) -> float:
    """Base line to base line, as the font asks."""
    size = font.get_font_extents("ltr")
    pitch = float(size.ascender - size.descender + size.line_gap)
    return pitch if pitch > 0 else 1.2 * em


def _one_direction(line: str) -> None:
    """Refuses a line whose letters run both ways: the order of its parts is not for us to guess."""
    kinds = {unicodedata.bidirectional(letter) for letter in line}
    if kinds & {"R", "AL"} and kinds & {"L", "EN", "AN"}:
        raise ReadError(
            f'"{line}" mixes letters that run to the left with letters or figures that run to the right: '
            "write each on a line of its own, or draw the text elsewhere and read it as SVG."
        )


class _Pen:
    """Collects a glyph's contours as closed runs of segments."""

    def __init__(self) -> None:
        self.contours: list[Contour] = []
        self._run: list[Segment] = []
        self._start = self._here = 0j

    def moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802
        """Begin a contour."""
        self._run, self._start = [], complex(*point)
        self._here = self._start

    def lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802
        """A straight run."""
        self._to(complex(*point), lambda here, end: Line(here, end))

    def curveTo(self, *points: tuple[float, float]) -> None:  # noqa: N802
        """A cubic."""
        c1, c2, end = (complex(*p) for p in points)
        self._to(end, lambda here, to: Cubic(here, c1, c2, to))

    def qCurveTo(self, *points: tuple[float, float]) -> None:  # noqa: N802
        """A quadratic, raised to the cubic it is."""
        c, end = (complex(*p) for p in points)
        self._to(end, lambda here, to: Cubic(here, here + (c - here) * 2 / 3, to + (c - to) * 2 / 3, to))

    def closePath(self) -> None:  # noqa: N802
        """End a contour where it began."""
        self.lineTo((self._start.real, self._start.imag))
        if self._run:
            self.contours.append(tuple(self._run))
        self._run = []

    def endPath(self) -> None:  # noqa: N802
        """An open contour is closed all the same: letters are areas."""
        self.closePath()

    def _to(self, end: complex, made: Callable[[complex, complex], Segment]) -> None:
        if end != self._here:
            self._run.append(made(self._here, end))
        self._here = end
