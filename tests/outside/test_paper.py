"""Printed sizes and sheets against standards and arithmetic."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiLineString, box

from cutout.draw.fonts import PT
from cutout.kit import Paper, paper
from cutout.write.film import film_svg
from cutout.write.svg import pattern_svg
from cutout.write.template.template import template_pdf
from cutout.write.template.tiling import MARGIN, sheets_needed, tile
from cutout.write.work import Work


def test_a_hundred_millimetres() -> None:
    """100 mm = 283.4646 pt at 72 to the inch (ISO 32000, default user unit)."""
    assert pytest.approx(283.4646, abs=1e-4) == 100 * PT


def test_svg_is_true_to_size(work: Work) -> None:
    """Width and height in mm and a viewBox in the same mm: 1 user unit is 1 mm (SVG 1.1, 7.10; CSS 96 px an inch)."""
    for svg, width in ((pattern_svg(work), 240.0), (film_svg(work), None)):
        size = re.search(
            rb'width="([\d.]+)mm" height="([\d.]+)mm" viewBox="(\S+) (\S+) ([\d.]+) ([\d.]+)"', svg
        )
        assert size is not None
        assert float(size[1]) == float(size[5])
        assert float(size[2]) == float(size[6])
        assert width is None or float(size[1]) == width


@pytest.mark.parametrize(
    ("name", "width", "height"),
    [
        ("a4", 210.0, 297.0),
        ("a3", 297.0, 420.0),
        ("letter", 8.5 * 25.4, 11 * 25.4),
        ("legal", 8.5 * 25.4, 14 * 25.4),
        ("tabloid", 11 * 25.4, 17 * 25.4),
    ],
)
def test_papers(make_work: Callable[..., Work], name: str, width: float, height: float) -> None:
    """ISO 216 for A4 and A3; ANSI Y14.1 for the others (from memory). Read back from the PDF by pypdfium2."""
    page = pdfium.PdfDocument(template_pdf(make_work(paper_name=name)))[0]
    assert sorted(v / PT for v in page.get_size()) == pytest.approx([width, height], abs=0.01)


def test_printers_cannot_print_to_the_edge() -> None:
    """At least 6.7 mm clear all round: ink-jet and laser printer manuals."""
    assert MARGIN >= 6.7


def test_nothing_is_drawn_in_the_border(make_work: Callable[..., Work]) -> None:
    """The outer 6.7 mm of every page stays white, seen in pixels."""
    document = pdfium.PdfDocument(template_pdf(make_work(paper_name="letter")))
    for page in document:
        grey = np.asarray(page.render(scale=150 / 72, grayscale=True).to_pil())
        edge = int(6.7 / 25.4 * 150) - 1
        for strip in (grey[:edge], grey[-edge:], grey[:, :edge], grey[:, -edge:]):
            assert strip.min() > 250


def test_sheets_for_a_shutter() -> None:
    """600 x 900 mm on A4 with a 6.35 mm margin and 10 mm overlap: 15 sheets lying, 16 upright.

    Sheets per axis ceil((L - o) / (p - o)); plain arithmetic.
    """
    upright = (210 - 2 * 6.35, 297 - 2 * 6.35)
    lying = upright[::-1]
    assert sheets_needed(600, upright[0], 10) * sheets_needed(900, upright[1], 10) == 16
    assert sheets_needed(600, lying[0], 10) * sheets_needed(900, lying[1], 10) == 15


def test_the_way_of_the_paper_that_takes_fewer_sheets() -> None:
    area = (0.0, 0.0, 600.0, 900.0)
    lines = MultiLineString([[(4, y), (596, y)] for y in range(4, 900, 12)])
    tiling = tile(lines, area, area, paper("a4"), margin=6.35, overlap=10, strip=0)
    assert len(tiling.sheets) == 15
    assert tiling.page == (297, 210)


@settings(deadline=None, max_examples=60)
@given(length=st.floats(1, 5000), printable=st.floats(30, 1000), overlap=st.floats(0, 20))
def test_sheets_per_axis_cover_and_none_is_spare(length: float, printable: float, overlap: float) -> None:
    n = sheets_needed(length, printable, overlap)
    reach = n * (printable - overlap) + overlap
    assert reach >= length - 1e-6 * length
    assert n == 1 or (n - 1) * (printable - overlap) + overlap < length


def test_a_roll_takes_one_long_sheet() -> None:
    """A roll 610 mm (24 in) wide carries 500 x 1,500 mm in one piece."""
    area = (0.0, 0.0, 500.0, 1500.0)
    tiling = tile(box(*area), area, area, Paper("roll", "roll", 610.0, None, "invented"))
    assert len(tiling.sheets) == 1
    assert max(tiling.page) <= 5080, "a PDF page is at most 14,400 units (ISO 32000, annex C)"
