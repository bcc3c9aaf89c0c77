"""The sheet for setting up the router: what it says, and that its screws are out of every bit's way."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
import shapely
from pdfplumber import open as open_pdf

from cutout.pattern import Panel
from cutout.route import tool_path
from cutout.write.setup_sheet import CLEAR, EDGE, router_setup, screw_places, sweep


@pytest.fixture(scope="module", params=["panel", "figure"])
def routed(request, make_work):
    work = make_work(keep=request.param)
    return replace(work, router=tool_path(work.pattern, work.kit))


def test_screws_are_out_of_the_way_of_every_bit_and_in_the_panel(routed):
    places = screw_places(routed)
    assert len(places) >= 3
    ways = [shapely.LinearRing(p.ring.points()) for p in routed.router.passes]
    for x, y in places:
        spot = shapely.Point(x, y)
        for cut, way in zip(routed.router.passes, ways, strict=True):
            assert spot.distance(way) >= cut.bit.radius + CLEAR - 0.05
        assert routed.pattern.panel.polygon.exterior.distance(spot) >= EDGE - 1e-6


def test_every_part_with_room_has_a_screw(routed):
    swept = sweep(routed)
    room = shapely.buffer(shapely.difference(routed.pattern.panel.polygon, swept), -CLEAR)
    for part in shapely.get_parts(room):
        inner = shapely.intersection(part, shapely.buffer(routed.pattern.panel.polygon, -EDGE))
        if inner.area > 320:
            assert any(part.buffer(1e-6).contains(shapely.Point(p)) for p in screw_places(routed))


def test_no_screw_in_a_place_that_is_to_be_kept_clear(make_work):
    from cutout.pattern.frame import rectangle_zone

    lock = rectangle_zone("lock", (0.0, 0.0), (120.0, 180.0))
    work = make_work(panel=Panel(240.0, 180.0, 18.0, 1.57, (lock,)))
    work = replace(work, router=tool_path(work.pattern, work.kit))
    assert all(x >= 120 for x, _ in screw_places(work))


def test_the_sheet_is_one_page_and_says_what_to_do(routed):
    data = router_setup(routed)
    assert data == router_setup(routed)
    with open_pdf(io.BytesIO(data)) as pdf:
        (page,) = pdf.pages
        text = " ".join((page.extract_text() or "").split())
        assert min(float(w["top"]) for w in page.extract_words()) > 0
        assert max(float(w["bottom"]) for w in page.extract_words()) < float(page.height)
    for words in (
        "lower left corner",
        "router-dry.ngc",
        "router.ngc",
        "Z0",
        "spoil board",
        "manual comes first",
    ):
        assert words in text
