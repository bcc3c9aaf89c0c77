"""The typeface of the printed pages, embedded so that every reader shows the same letters.

Bitstream Vera comes with reportlab; its licence allows embedding and passing on. It holds Latin letters
only: a character it lacks is printed as a question mark.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import reportlab
from PIL import ImageFont
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN = "CutoutSans"
BOLD = "CutoutSans-Bold"
FAMILY = "Bitstream Vera Sans"
_FILES = {PLAIN: "Vera.ttf", BOLD: "VeraBd.ttf"}


@cache
def _face(font: str) -> TTFont:
    face = TTFont(font, _path(font))
    pdfmetrics.registerFont(face)
    return face


def register() -> None:
    """Make both faces known to reportlab; safe to call again."""
    for font in _FILES:
        _face(font)


def files() -> tuple[str, ...]:
    """The files of both faces, for renderers that load their own."""
    return tuple(_path(font) for font in _FILES)


def picture_font(size: int) -> ImageFont.FreeTypeFont:
    """The bold face for drawing on pictures, `size` pixels high."""
    return ImageFont.truetype(_path(BOLD), size)


def _path(font: str) -> str:
    return str(Path(reportlab.__file__).parent / "fonts" / _FILES[font])


def plain(text: str) -> str:
    """The text with every character the face lacks replaced by "?"."""
    known = _face(PLAIN).face.charToGlyph
    return "".join(c if ord(c) in known else "?" for c in text)


def text_width(text: str, font: str, size: float) -> float:
    """Width in points of `text` set in `font` at `size` points."""
    return float(_face(font).stringWidth(text, size))


def wrap(text: str, font: str, size: float, width: float) -> list[str]:
    """Lines of `text` no wider than `width` points; a word longer than a line is broken."""
    lines: list[str] = []
    line = ""
    for word in plain(text).split():
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
    return lines
