"""Numbers in paths and widths of words, written and looked up in bulk: what they come to one by one."""

from __future__ import annotations

import numpy as np
import pytest
from reportlab.lib.rl_accel import fp_str
from reportlab.pdfbase import pdfmetrics

from cutout.draw import fonts
from cutout.draw.paint import Paint
from cutout.draw.svg import number, polyline_path, ring_path
from cutout.geom.curve import Arc, Cubic, Line
from cutout.geom.outline import Ring

SMALL_AND_LARGE = [0.0, 0.5, -0.5, 100.0, 10.05, -0.05, 1000.0, -100.0, 20.0001, -0.00001, 1e-9, -7.1]


def numbers(count: int) -> np.ndarray:
    rng = np.random.default_rng(5)
    drawn = rng.uniform(-3, 3, count - len(SMALL_AND_LARGE)) * 10.0 ** rng.integers(-4, 4, count - 12)
    return np.concatenate([SMALL_AND_LARGE, drawn])


def test_svg_paths_hold_numbers_in_their_shortest_form() -> None:
    xy = numbers(2000).reshape(-1, 2)
    assert polyline_path(xy, 0.0) == "M" + "L".join(f"{number(x)} {number(0.0 - y)}" for x, y in xy.tolist())
    a, b, c, d = complex(0, 100), complex(10.05, 0), complex(-0.00001, 5), complex(-100, 0.5)
    ring = Ring((Line(a, b), Arc(b, c, 0.5), Cubic(c, d, b, a)))
    radius = number(Arc(b, c, 0.5).radius)
    assert ring_path([ring], 100.0) == (
        f"M0 0L10.05 100A{radius} {radius} 0 0 0 0 95C-100 99.5 10.05 100 0 0Z"
    )


def test_pdf_paths_hold_numbers_as_the_library_writes_them() -> None:
    xy = numbers(400).reshape(-1, 2)
    told = [fp_str(*place) for place in (np.round(xy * fonts.PT, 2) + 0.0).tolist()]
    expected = f"n {told[0]} m " + " ".join(f"{place} l" for place in told[1:])
    assert Paint("numbers")._open([xy]).getCode() == expected


@pytest.mark.parametrize("font", [fonts.PLAIN, fonts.BOLD, fonts.LETTERS])
def test_words_are_as_wide_as_the_font_says(font: str) -> None:
    fonts.register()
    for words in ("", "x", "A jigsaw blade, 12.5 mm: \u00bd in", "\u03a9\u2200 are not in it"):
        for size in (7.3, 9.0):
            assert fonts.text_width(words, font, size) == pdfmetrics.stringWidth(words, font, size)
