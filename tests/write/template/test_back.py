"""The back at full size: what is drawn there, and the backing's edge, mirrored as the back is seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pypdfium2 as pdfium
import pytest
import shapely
from shapely import MultiPolygon

from cutout.job.schema import BackingPart
from cutout.pattern import Panel, Zone
from cutout.write.drawing import Drawing
from cutout.write.template.template import back_pdf, on_the_back
from cutout.write.work import Work


@pytest.fixture
def faced(make_work: Callable[..., Work]) -> Work:
    """A panel with a stile drawn on its back, a rail on its show face, and a backing that reaches 10 mm further."""
    drawn = (
        Zone("stile drawn on the back", MultiPolygon([shapely.box(0, 0, 25, 180)])),
        Zone("rail drawn on the show face", MultiPolygon([shapely.box(0, 0, 240, 20)])),
    )
    work = make_work(panel=Panel(240.0, 180.0, 18.0, drawn=drawn))
    return replace(work, job=work.job.model_copy(update={"backing": BackingPart(overlap=10.0)}))


def test_only_what_belongs_on_the_back(faced: Work) -> None:
    areas = {zone.name: zone.area for zone in on_the_back(faced)}
    assert list(areas) == ["stile", "backing sheet"]
    x0, y0, x1, y1 = faced.pattern.waste.bounds
    assert areas["backing sheet"].bounds == pytest.approx((x0 - 10, y0 - 10, x1 + 10, y1 + 10))


def test_it_is_named_said_to_be_the_back_and_mirrored(faced: Work) -> None:
    pages = [page.get_textpage().get_text_range() for page in pdfium.PdfDocument(back_pdf(faced))]
    assert "stile" in pages[-1] and "backing sheet" in pages[-1]
    assert "MIRRORED, glue on the BACK" in pages[-1]
    job = faced.job.model_copy(update={"template": faced.template.model_copy(update={"back": True})})
    drawing = Drawing.of(replace(faced, job=job), on_the_back(faced))
    stile = drawing.edge_of(drawing.more[0])
    # 25 mm from the left edge on the show face is 25 mm from the right one on the back.
    assert shapely.bounds(stile)[0] == pytest.approx(215.0) == shapely.bounds(stile)[2]
