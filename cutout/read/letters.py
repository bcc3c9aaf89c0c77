"""Text set in a font the user has, as one outline in millimetres."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import shapely
from fontTools.pens.basePen import BasePen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont

from cutout.errors import ReadError
from cutout.geom.curve import Cubic, Line, Segment
from cutout.geom.outline import Note, Outline, as_multi
from cutout.read.curves import CurveBook
from cutout.read.fill import fill
from cutout.read.kerning import kerning_of
from cutout.read.specks import without_specks
from cutout.read.svg.affine import Affine
from cutout.regular import NotAFileError, read_whole

DEFAULT_CAP_HEIGHT = 100.0
"""Cap height (mm) where none is asked for; the outline then has no true size of its own."""

MAX_FONT = 64 * 2**20
"""No font file is longer (bytes); the largest with Chinese, Japanese and Korean are about 20 MB."""

Contour = tuple[Segment, ...]


def read_text(text: str, font: Path, cap_height: float | None) -> Outline:
    """The text as an outline, mm, y up, base line of the last line at y = 0; lines are centred.

    cap_height: height of a capital in mm; None leaves the size to the layout (`scale` is None then).
    Raises ReadError for a font that can't be read and for letters it does not have or that need more than
    setting one beside the other.
    """
    lines = _lines(text, font.name)
    face = _face(font, lines)
    mm = (cap_height or DEFAULT_CAP_HEIGHT) / face.capital
    book = CurveBook(0.005)
    regions = []
    for number, line in enumerate(lines):
        places, width = _places(line, face)
        base = face.pitch * (len(lines) - 1 - number)
        for letter, x in zip(line, places, strict=True):
            to_mm = Affine(complex(mm), 0j, mm * complex(x - width / 2, base))
            rings = [book.flatten(to_mm.segments(c)) for c in face.letters[letter].contours]
            regions.append(fill(rings, "nonzero"))
    region, _ = without_specks(as_multi(shapely.union_all(regions)), 0.0)
    if region.is_empty:
        raise ReadError(f"{font.name}: the letters of this text have no shape in this font.")
    return Outline(book.rings(region), 1.0 if cap_height is not None else None, face.notes)


@dataclass(frozen=True, slots=True)
class _Letter:
    width: float
    contours: tuple[Contour, ...]


@dataclass(frozen=True, slots=True)
class _Face:
    """What a text needs of a font, in font units. capital: height of a capital; pitch: from line to line."""

    letters: Mapping[str, _Letter]
    kerning: Mapping[tuple[str, str], float]
    capital: float
    pitch: float
    notes: tuple[Note, ...]


def _face(font: Path, lines: Sequence[str]) -> _Face:
    try:
        with TTFont(BytesIO(read_whole(font, MAX_FONT)), fontNumber=0, lazy=True) as face:
            return _needed(face, lines, font.name)
    except ReadError:
        raise
    except NotAFileError as error:
        raise ReadError(f"{font}: can't be read ({error.strerror}): name a font file.") from error
    except FileNotFoundError as error:
        raise ReadError(f"{font}: there is no such font file: check the name and the folder.") from error
    except PermissionError as error:
        raise ReadError(f"{font}: may not be read: check its permissions.") from error
    except Exception as error:  # what a damaged font sets off in the parser is not limited to its own errors
        raise ReadError(f"{font.name}: can't be read as a font: use a sound TTF or OTF file.") from error


def _needed(face: Any, lines: Sequence[str], name: str) -> _Face:
    if "cmap" not in face or not any(table in face for table in ("glyf", "CFF ", "CFF2")):
        raise ReadError(f"{name}: holds no letter outlines: use another TTF or OTF file.")
    glyphs, cmap = face.getGlyphSet(), face.getBestCmap() or {}
    _check(lines, cmap, name)
    used = sorted({letter for line in lines for letter in line})
    letters = {
        letter: _Letter(float(glyphs[cmap[ord(letter)]].width), _contours(glyphs, cmap[ord(letter)]))
        for letter in used
    }
    kern = kerning_of(face)
    pairs = sorted({pair for line in lines for pair in pairwise(line)})
    kerning = {(a, b): kern(cmap[ord(a)], cmap[ord(b)]) for a, b in pairs}
    capital, notes = _capital(face, glyphs, cmap)
    return _Face(letters, kerning, capital, _pitch(face), notes)


def _lines(text: str, name: str) -> list[str]:
    composed = unicodedata.normalize("NFC", text).replace("\t", " ")
    lines = [line.strip() for line in composed.strip("\r\n").splitlines()]
    if not any(lines):
        raise ReadError(f"{name}: there is no text to set.")
    return lines


def _check(lines: Sequence[str], cmap: Mapping[int, str], name: str) -> None:
    letters = dict.fromkeys(letter for line in lines for letter in line)
    missing = [letter for letter in letters if ord(letter) not in cmap]
    if missing:
        named = ", ".join(f'"{letter}" (U+{ord(letter):04X})' for letter in missing[:5])
        raise ReadError(f"{name}: has no {named}: use a font that does, or other letters.")
    for letter in letters:
        if unicodedata.bidirectional(letter) in ("R", "AL") or unicodedata.combining(letter):
            raise ReadError(
                f'"{letter}" (U+{ord(letter):04X}) belongs to a script whose letters change with their '
                "neighbours; draw the text elsewhere and read it as SVG with the letters turned into paths."
            )


def _capital(face: Any, glyphs: Any, cmap: Mapping[int, str]) -> tuple[float, tuple[Note, ...]]:
    """Height of a capital in font units: what the font states, else its H, else 0.7 of the em."""
    em = float(face["head"].unitsPerEm)
    stated = float(getattr(face["OS/2"], "sCapHeight", 0) or 0) if "OS/2" in face else 0.0
    if 0.2 * em < stated < 1.5 * em:
        return stated, ()
    if ord("H") in cmap:
        pen = BoundsPen(glyphs)
        glyphs[cmap[ord("H")]].draw(pen)
        if pen.bounds and pen.bounds[3] > 0:
            return float(pen.bounds[3]), ()
    text = "the font states no cap height and has no H: 0.7 of its body size was taken for it."
    return 0.7 * em, (Note("cap height", text),)


def _pitch(face: Any) -> float:
    """Base line to base line in font units, as the font asks."""
    hhea = face["hhea"]
    pitch = float(hhea.ascent - hhea.descent + hhea.lineGap)
    return pitch if pitch > 0 else 1.2 * float(face["head"].unitsPerEm)


def _places(line: str, face: _Face) -> tuple[list[float], float]:
    """Where each letter starts, and the width of the line, font units."""
    places, x = [], 0.0
    for k, letter in enumerate(line):
        places.append(x)
        x += face.letters[letter].width + face.kerning.get((letter, line[k + 1 : k + 2]), 0.0)
    return places, x


def _contours(glyphs: Any, name: str) -> tuple[Contour, ...]:
    pen = _SegmentPen(glyphs)
    glyphs[name].draw(pen)
    return tuple(pen.contours)


class _SegmentPen(BasePen):  # type: ignore[misc]
    """Collects a glyph's contours as closed runs of segments, components included."""

    def __init__(self, glyphs: Any) -> None:
        super().__init__(glyphs)
        self.contours: list[Contour] = []
        self._run: list[Segment] = []
        self._start = 0j

    def _moveTo(self, pt: tuple[float, float]) -> None:  # noqa: N802
        self._run, self._start = [], complex(*pt)

    def _lineTo(self, pt: tuple[float, float]) -> None:  # noqa: N802
        here, end = self._here(), complex(*pt)
        if here != end:
            self._run.append(Line(here, end))

    def _curveToOne(  # noqa: N802
        self, pt1: tuple[float, float], pt2: tuple[float, float], pt3: tuple[float, float]
    ) -> None:
        here, end = self._here(), complex(*pt3)
        self._run.append(Cubic(here, complex(*pt1), complex(*pt2), end))

    def _closePath(self) -> None:  # noqa: N802
        self._lineTo((self._start.real, self._start.imag))
        if self._run:
            self.contours.append(tuple(self._run))
        self._run = []

    def _endPath(self) -> None:  # noqa: N802
        self._closePath()

    def _here(self) -> complex:
        return self._run[-1].end if self._run else self._start
