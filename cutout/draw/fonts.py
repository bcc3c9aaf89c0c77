"""The typefaces of the printed pages, embedded so that every reader shows the same letters.

Running text of tables is set in Bitstream Vera, which comes with reportlab; its licence allows embedding and passing
on. What is read at arm's length is in Routed Gothic Narrow, a face drawn after draughtsmen's lettering, bundled
unchanged under the SIL Open Font License 1.1 (lettering/OFL.txt). Both hold Latin letters only: a character the face
lacks is printed as a question mark.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import reportlab
from PIL import ImageFont
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from cutout.units import MM_PER_INCH

PLAIN = "CutoutSans"
BOLD = "CutoutSans-Bold"
LETTERS = "CutoutLettering"
FAMILY = "Bitstream Vera Sans"
_FILES = {PLAIN: "Vera.ttf", BOLD: "VeraBd.ttf"}
_LETTERING = Path(__file__).parent / "lettering" / "routed-gothic-narrow.ttf"


@dataclass(frozen=True, slots=True)
class Face:
    """What a page is written in: names of the plain and the bold font; heavier: by how much of the size bold letters
    are drawn thicker where the face has no bold font of its own; text: points of running text."""

    plain: str
    bold: str
    heavier: float
    text: float


PT = 72 / MM_PER_INCH
"""Points per millimetre."""
CAPITALS = 736 / 1024
"""Height of capitals and figures over the size of type, by the lettering's own table; other faces come near it."""
PER_MM = PT / CAPITALS
"""Points of type for each millimetre of its capitals' height."""

SANS = Face(PLAIN, BOLD, 0.0, 9.0)
LETTERING = Face(LETTERS, LETTERS, 0.03, 2.8 * PER_MM)


@cache
def _face(font: str) -> TTFont:
    face = TTFont(font, _path(font))
    pdfmetrics.registerFont(face)
    return face


def register() -> None:
    """Make the fonts known to reportlab; safe to call again."""
    for font in (*_FILES, LETTERS):
        _face(font)


def files() -> tuple[str, ...]:
    """The files of the running text's fonts, for renderers that load their own."""
    return tuple(_path(font) for font in _FILES)


def picture_font(size: int) -> ImageFont.FreeTypeFont:
    """The bold face for drawing on pictures, `size` pixels high."""
    return ImageFont.truetype(_path(BOLD), size)


def _path(font: str) -> str:
    if font == LETTERS:
        return str(_LETTERING)
    return str(Path(reportlab.__file__).parent / "fonts" / _FILES[font])


def plain(text: str, font: str = PLAIN) -> str:
    """The text with every character the font lacks replaced by "?"."""
    known = _face(font).face.charToGlyph
    if known.keys() >= set(map(ord, text)):
        return text
    return "".join(c if ord(c) in known else "?" for c in text)


@lru_cache(maxsize=20_000)
def text_width(text: str, font: str, size: float) -> float:
    """Width in points of `text` set in `font` at `size` points: what the font itself says, several times as fast."""
    return 0.001 * size * sum(map(_widths(font).__getitem__, text))


class _Widths(dict[str, float]):
    """Widths of characters in thousandths of the size of type, looked up once."""

    def __init__(self, face: TTFont) -> None:
        super().__init__()
        self._face = face.face

    def __missing__(self, character: str) -> float:
        width: float = self._face.charWidths.get(ord(character), self._face.defaultWidth)
        return self.setdefault(character, width)


@cache
def _widths(font: str) -> _Widths:
    return _Widths(_face(font))


def wrap(text: str, font: str, size: float, width: float) -> list[str]:
    """Lines of `text` no wider than `width` points; a word longer than a line is broken."""
    return list(_wrapped(text, font, size, width))


@lru_cache(maxsize=2_000)
def _wrapped(text: str, font: str, size: float, width: float) -> tuple[str, ...]:
    """The same, remembered: layouts of different sizes are tried with the same words."""
    lines: list[str] = []
    line = ""
    for word in plain(text, font).split():
        trial = f"{line} {word}" if line else word
        if text_width(trial, font, size) <= width:
            line = trial
            continue
        if line:
            lines.append(line)
        line = word
        while text_width(line, font, size) > width and len(line) > 1:
            cut = next(
                (n for n in range(len(line) - 1, 1, -1) if text_width(line[:n], font, size) <= width), 1
            )
            lines.append(line[:cut])
            line = line[cut:]
    if line:
        lines.append(line)
    return tuple(lines)
