"""Every register cross is printed whole on both of its sheets, seen in the pixels of pypdfium2."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pypdfium2 as pdfium
import pytest
from scipy import ndimage

from cutout.geom.outline import Outline, Ring
from cutout.pattern import Panel
from cutout.write.drawing import Drawing
from cutout.write.template.annotate import annotate
from cutout.write.template.register import ARM
from cutout.write.template.template import template_pdf, tiling_of
from cutout.write.template.tiling import MARGIN, STRIP, Sheet
from cutout.write.work import Work

DPI = 150
PX = DPI / 25.4
PAPERS = ("a4", "148x210mm", "letter")
PANELS = tuple((w, h) for w in (150.0, 240.0, 320.0, 400.0, 520.0) for h in (70.0, 120.0))


def wavy(width: float, height: float) -> Outline:
    """An invented figure with lobes, a little smaller than its panel."""
    turn = np.linspace(0, 2 * math.pi, 90, endpoint=False)
    reach = 1 - 0.18 * (1 + np.cos(5 * turn)) / 2
    x = width / 2 + (width / 2 - 6) * reach * np.cos(turn)
    y = height / 2 + (height / 2 - 6) * reach * np.sin(turn)
    return Outline((Ring.of_points(np.column_stack([x, y])),), 1.0)


def ink_of_cross(page: np.ndarray, sheet: Sheet, at: tuple[float, float]) -> float:
    """Share of a cross's two strokes (its outer thirds, clear of the small square) that is dark on the page."""
    x0, y0, _, _ = sheet.window
    x, y = MARGIN + at[0] - x0, MARGIN + STRIP + at[1] - y0
    out = np.linspace(1.5, ARM - 0.15, 12)
    along = np.concatenate([out, -out])
    points = np.concatenate(
        [np.column_stack([x + along, np.full(24, y)]), np.column_stack([np.full(24, x), y + along])]
    )
    column = np.round(points[:, 0] * PX - 0.5).astype(int)
    row = page.shape[0] - 1 - np.round(points[:, 1] * PX - 0.5).astype(int)
    darkest = ndimage.minimum_filter(page, 3)
    return float(np.mean(darkest[row, column] < 150))


@pytest.mark.parametrize("panel", PANELS)
def test_every_cross_is_whole_on_both_sheets(
    make_work: Callable[..., Work], panel: tuple[float, float]
) -> None:
    """Panels as low as a name sign, that end before their sheets do, on three papers each: thirty jobs in all."""
    for paper_name in PAPERS:
        work = make_work(outline=wavy(*panel), panel=Panel(*panel, 12.0), paper_name=paper_name)
        drawing = Drawing.of(work)
        tiling = tiling_of(drawing)
        marks = annotate(drawing, tiling).marks
        assert len(marks) == 2 * len(tiling.joins)
        document = pdfium.PdfDocument(template_pdf(work))
        first = len(document) - len(tiling.sheets)
        pages = {
            sheet.name: np.asarray(document[first + n].render(scale=DPI / 72, grayscale=True).to_pil())
            for n, sheet in enumerate(tiling.sheets)
            if len(tiling.sheets) > 1
        }
        sheets = {sheet.name: sheet for sheet in tiling.sheets}
        for mark in marks:
            for name in mark.sheets:
                assert ink_of_cross(pages[name], sheets[name], mark.at) > 0.95, (panel, paper_name, mark)
