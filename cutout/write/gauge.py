"""The test card: what the printer does to sizes, and what the user's own saw does in scrap."""

from __future__ import annotations

from cutout.kit import Kit, Paper
from cutout.units import Units
from cutout.write.paint import Paint
from cutout.write.tiling import MARGIN


def gauge_pdf(kit: Kit, paper: Paper, units: Units) -> bytes:
    """The test card as a PDF at 1:1 on the paper."""
    paint = Paint("test card")
    height = paper.height or 300.0
    paint.page(paper.width, height)
    paint.pen(0.2)
    paint.rect((MARGIN, height - MARGIN - 100, MARGIN + 100, height - MARGIN))
    paint.end_page()
    return paint.bytes()
