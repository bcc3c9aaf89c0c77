"""The back at full size: what is drawn there, and the backing's edge, mirrored as the back is seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon

from cutout.job.schema import BackingPart, HardwarePart
from cutout.job.set_up import hardware_zones, panel_of
from cutout.pattern import Panel, Zone
from cutout.pattern.hardware import backing_screws, hardware_area
from cutout.write.drawing import Drawing
from cutout.write.template.back import on_the_back
from cutout.write.template.template import back_pdf
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
    areas = {zone.name: zone.area for zone in on_the_back(faced).areas}
    assert list(areas) == ["stile", "backing sheet"]
    x0, y0, x1, y1 = faced.pattern.waste.bounds
    assert areas["backing sheet"].bounds == pytest.approx((x0 - 10, y0 - 10, x1 + 10, y1 + 10))


def test_it_is_titled_named_said_to_be_the_back_and_mirrored(faced: Work) -> None:
    document = pdfium.PdfDocument(back_pdf(faced))
    assert document.get_metadata_value("Title") == "invented leaf: back"
    pages = [page.get_textpage().get_text_range() for page in document]
    assert "stile" in pages[-1] and "backing sheet" in pages[-1]
    assert "the BACK as you look at it" in pages[-1]
    job = faced.job.model_copy(update={"template": faced.template.model_copy(update={"back": True})})
    drawing = Drawing.of(replace(faced, job=job), on_the_back(faced).areas)
    stile = drawing.edge_of(drawing.more[0])
    # 25 mm from the left edge on the show face is 25 mm from the right one on the back.
    assert shapely.bounds(stile)[0] == pytest.approx(215.0) == shapely.bounds(stile)[2]


HARDWARE = (
    HardwarePart(what="turn-button", at=(120.0, 12.0), turn=90.0),
    HardwarePart(what="magnet", at=(20.0, 160.0), diameter=12.0),
    HardwarePart(what="finger hole", at=(220.0, 160.0)),
)


def test_hardware_is_shown_at_its_size_and_kept_clear_of(make_work: Callable[..., Work]) -> None:
    """On the back left and right change places, so a magnet 20 mm from the left edge is seen 20 mm from the right."""
    plain = make_work()
    part = plain.job.panel.model_copy(update={"hardware": HARDWARE, "width": 240.0, "height": 180.0})
    job = plain.job.model_copy(update={"panel": part})
    assert [zone.name for zone in panel_of(job).zones] == ["turn-button", "magnet", "finger hole"]
    work = replace(plain, job=job, pattern=replace(plain.pattern, panel=replace(panel_of(job))))
    shown = on_the_back(work)
    assert shown.centres == tuple(piece.at for piece in HARDWARE)
    sizes = {zone.name: np.ptp(np.reshape(zone.area.bounds, (2, 2)), axis=0) for zone in shown.areas}
    assert sizes["turn-button 16 mm"] == pytest.approx((16.0, 50.0), abs=0.01)
    assert sizes["magnet 12 mm"] == pytest.approx((12.0, 12.0), abs=0.05)
    document = pdfium.PdfDocument(back_pdf(work))
    text = "".join(page.get_textpage().get_text_range() for page in document)
    for name in ("turn-button 16 mm", "magnet 12 mm", "finger hole 25 mm", "thin cross"):
        assert name in text
    assert "keep clear" not in text, "said once"
    drawing = Drawing.of(
        replace(
            work, job=job.model_copy(update={"template": job.template.model_copy(update={"back": True})})
        ),
        shown.areas,
    )
    magnet = next(zone for zone in shown.areas if zone.name.startswith("magnet"))
    assert shapely.get_coordinates(shapely.centroid(drawing.geometry(magnet.area)))[
        0
    ].tolist() == pytest.approx([220.0, 160.0], abs=1e-6)


@settings(deadline=None, max_examples=40)
@given(
    turn=st.floats(0, np.pi), strain=st.floats(0.002, 0.02), wide=st.floats(80, 600), tall=st.floats(80, 600)
)
def test_every_screw_but_one_line_may_move_with_the_wood(
    turn: float, strain: float, wide: float, tall: float
) -> None:
    """Wherever the wood takes a screw, the hole in the sheet lets it be there; the fixed one stays in its place."""
    screws = backing_screws((0.0, 0.0, wide, tall), 8.0, 4.0, 150.0, turn, strain)
    corners = {(x, y) for x in (8.0, wide - 8.0) for y in (8.0, tall - 8.0)}
    assert corners <= {(round(s.at[0], 6), round(s.at[1], 6)) for s in screws} | corners
    across = np.array([-np.sin(turn), np.cos(turn)])
    fixed = np.array([wide / 2, 8.0])
    for share in (-1.0, 1.0):
        for screw in screws:
            off = np.subtract(screw.at, fixed) @ across
            moved = np.add(screw.at, share * strain * off * across)
            assert screw.hole.buffer(0.31).contains(shapely.Point(moved).buffer(1.99))
    held = min(screws, key=lambda s: float(np.hypot(*np.subtract(s.at, fixed))))
    assert held.travel == 0.0 and held.at == pytest.approx(tuple(fixed))


def test_where_nothing_moves_holes_are_round() -> None:
    screws = backing_screws((0.0, 0.0, 300.0, 200.0), 8.0, 4.0, 150.0, None, 0.01)
    assert all(s.travel == 0 and s.hole.area == pytest.approx(np.pi * 4, rel=0.01) for s in screws)
    gaps = sorted({round(s.at[0], 3) for s in screws if s.at[1] < 10})
    assert max(np.diff(gaps)) <= 150.0


def test_a_turn_button_is_never_shorter_than_wide() -> None:
    area = hardware_area("turn-button", (0.0, 0.0), 20.0, 5.0, 0.0)
    assert area.area == pytest.approx(np.pi * 100, rel=0.01)


def test_the_backings_screws_are_on_the_drawing(faced: Work) -> None:
    job = faced.job.model_copy(update={"backing": BackingPart(overlap=10.0, screws=4.0)})
    work = replace(faced, job=job)
    names = [zone.name for zone in on_the_back(work).areas]
    assert names.count("hole 4 mm") >= 1 and any(name.startswith("slot 4 x ") for name in names)
    assert len(on_the_back(work).centres) == len([n for n in names if n.startswith(("hole", "slot"))])
    assert hardware_zones(work.job) == ()
