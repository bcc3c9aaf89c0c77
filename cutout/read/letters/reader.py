"""Text in, outline out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import shapely

from cutout.errors import ReadError
from cutout.geom.outline import Letter, Note, Outline, as_multi
from cutout.read.curves import CurveBook
from cutout.read.fill import fill
from cutout.read.letters import join
from cutout.read.letters.face import Face, open_face
from cutout.read.letters.setting import Lettering, Placed, lines_of, placed, set_straight
from cutout.read.specks import without_specks
from cutout.read.svg.affine import Affine

DEFAULT_CAP_HEIGHT = 100.0
"""Cap height (mm) where none is asked for; the outline then has no true size of its own."""


def read_text(text: str, font: Path, asked: Lettering) -> Outline:
    """The text as an outline, mm, y up, base line of the last line at y = 0 (round 0 on an arc).

    `Outline.letters` says where each letter stands. `scale` is None where no cap height is asked for.
    Raises ReadError for a font that can't be read, letters it does not have, and arcs too small for their line.
    """
    lines = lines_of(text, font.name)
    face = open_face(font)
    capital = asked.cap_height or DEFAULT_CAP_HEIGHT
    mm = capital / face.capital
    straight = set_straight(lines, face, asked, mm)
    letters = [p for p in placed(straight, asked, mm, font.name) if face.contours(p.glyph.number)]
    if not letters:
        raise ReadError(f"{font.name}: the letters of this text have no shape in this font.")
    book = CurveBook(0.005)
    notes = list(face.notes)
    if asked.join == "weld":
        if asked.arc is not None:
            raise ReadError("letters on an arc can't be made to overlap: join them by a bar.")
        moves, weak, merged = join.welded(
            letters, _regions(letters, face, CurveBook(0.05)), asked.joint * capital, capital
        )
        letters = join.shifted(letters, moves)
        notes += [_weak(letters[a], letters[b]) for a, b in weak]
        notes += [_merged(letters[a], letters[b]) for a, b in merged]
    regions = _regions(letters, face, book)
    if asked.join in ("bar", "frame"):
        if asked.join == "frame" and asked.arc is not None:
            raise ReadError("letters on an arc can't stand in a frame: join them by a bar.")
        regions += join.bars(straight, regions, asked, capital)
    region, _ = without_specks(as_multi(shapely.union_all(regions)), 0.0)
    where = tuple(_letter(p, face) for p in letters)
    scale = 1.0 if asked.cap_height is not None else None
    return Outline(book.rings(region), scale, tuple(notes), where)


def _regions(letters: Sequence[Placed], face: Face, book: CurveBook) -> list[shapely.Geometry]:
    """The filled shape of each letter; the book remembers their curves."""
    shapes = []
    for letter in letters:
        to_mm = Affine(letter.mm, 0j, letter.foot)
        rings = [book.flatten(to_mm.segments(c)) for c in face.contours(letter.glyph.number)]
        shapes.append(fill(rings, "nonzero"))
    return shapes


def _letter(letter: Placed, face: Face) -> Letter:
    """Where it stands: origin, advance, and the direction of its stems, a capital long."""
    up = letter.mm * face.capital * complex(math.tan(face.slant), 1.0)
    return Letter(letter.glyph.letter, letter.foot, letter.mm * letter.glyph.advance, up)


def _merged(a: Placed, b: Placed) -> Note:
    text = (
        f'"{a.glyph.letter}" and "{b.glyph.letter}" stand stem to stem and run together: overlap suits faces with '
        "joined strokes; join these letters by a bar."
    )
    return Note("joint", text)


def _weak(a: Placed, b: Placed) -> Note:
    text = (
        f'"{a.glyph.letter}" and "{b.glyph.letter}" overlap less than asked for, however close they stand: '
        "look at that joint, or join the letters by a bar."
    )
    return Note("joint", text)
