"""Outline drawings that nobody filled in: what the closed line of a pen stands for."""

from __future__ import annotations

import io
import math

import pytest
from PIL import Image, ImageDraw

from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture

OVER = 3
R = 110.0


def drawn(*loops: tuple[float, float, float, float, bool], gap: float = 0.0) -> bytes:
    """Circles (x, y, radius to the outer edge, width of the line, filled in) on white; `gap` degrees left open."""
    fine = Image.new("L", (300 * OVER, 260 * OVER), 255)
    pen = ImageDraw.Draw(fine)
    for x, y, radius, width, solid in loops:
        box = tuple(OVER * v for v in (x - radius, y - radius, x + radius, y + radius))
        if solid:
            pen.ellipse(box, fill=0)
        else:
            pen.arc(box, gap / 2, 360 - gap / 2, fill=0, width=round(width * OVER))
    out = io.BytesIO()
    fine.reduce(OVER).save(out, "PNG")
    return out.getvalue()


def traced(picture: bytes, **how: object) -> Outline:
    return read_picture(picture, "test", ReadOptions(speck=0.0, **how))  # type: ignore[arg-type]


def said(outline: Outline) -> str:
    return " ".join(note.text for note in outline.notes if note.kind == "fill")


DISC = math.pi * R**2
LOOP = (150.0, 130.0, R, 3.0, False)
EYE = (110.0, 110.0, 22.0, 3.0, False)
DOT = (110.0, 110.0, 22.0, 0.0, True)


def test_a_closed_thin_line_alone_is_filled_and_said() -> None:
    found = traced(drawn(LOOP))
    assert found.region().area == pytest.approx(DISC, rel=0.01)
    assert "was filled" in said(found)
    as_drawn = traced(drawn(LOOP), fill="as drawn")
    assert as_drawn.region().area == pytest.approx(2 * math.pi * (R - 1.5) * 3.0, rel=0.05)
    assert said(as_drawn) == ""


def test_with_something_in_it_it_is_asked_not_guessed() -> None:
    found = traced(drawn(LOOP, EYE))
    assert len(found.rings) == 4
    assert 'fill = "outline"' in said(found)


@pytest.mark.parametrize(("inner", "opening"), [(EYE, 19.0), (DOT, 0.0)])
def test_filled_as_asked_closed_lines_within_are_openings(inner: tuple, opening: float) -> None:
    found = traced(drawn(LOOP, inner), fill="outline")
    assert found.region().area == pytest.approx(DISC - math.pi * opening**2, rel=0.01)


@pytest.mark.parametrize(
    ("picture", "words"),
    [
        (drawn(LOOP, gap=8.0), "has a gap"),
        (drawn((150.0, 130.0, R, 9.0, False)), 'fill = "outline"'),  # a broad brush, or a ring
    ],
)
def test_what_may_be_meant_for_its_inside_stays_as_drawn_and_filling_is_offered(
    picture: bytes, words: str
) -> None:
    found = traced(picture)
    assert words in said(found)
    assert found.rings == traced(picture, fill="as drawn").rings


@pytest.mark.parametrize(
    "picture",
    [
        drawn((150.0, 130.0, R, 14.0, False)),  # a ring meant as one
        drawn(LOOP, gap=60.0),  # not closed
        drawn((150.0, 130.0, R, 0.0, True)),
    ],
)
def test_rings_open_lines_and_filled_figures_stay_as_drawn(picture: bytes) -> None:
    assert traced(picture) == traced(picture, fill="as drawn")
    assert said(traced(picture)) == ""


def test_asked_in_vain_is_said() -> None:
    found = traced(drawn(LOOP, gap=10.0), fill="outline")
    assert "Nothing was filled" in said(found)
    assert found.region().area < 0.1 * DISC
