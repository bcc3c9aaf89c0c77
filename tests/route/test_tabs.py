"""Tabs: enough of them, on straight and firm wood, joined to wood that is held."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from cutout.geom.outline import Outline, from_region, polygons_of
from cutout.kit import Bit
from cutout.pattern import Panel, cut_pattern
from cutout.route import Settings, tool_path
from cutout.route.track import Track
from tests.kits import KIT
from tests.telling import text

RING = Polygon(box(100, 100, 300, 300).exterior, [box(160, 160, 240, 240).exterior.coords])


def pattern(region, keep="panel"):
    return cut_pattern(Outline(from_region(region), 1.0), Panel(500.0, 400.0, 18.0), keep, 1.28)


def tabs_of(path):
    return [(p, t) for p in path.passes for t in p.tabs]


def joined(pat, path):
    """Pieces of wood when everything but the tabs is cut to full depth."""
    cut = []
    for p in path.passes:
        track, gaps = Track(p.ring), [(t.start, t.end) for t in p.tabs]
        at = np.arange(0, track.length, 0.25)
        for a, b in gaps:
            at = at[(at - a) % track.length >= b - a]
        z, _ = track.samples(at)
        cut.append(
            shapely.union_all(shapely.buffer(shapely.points(z.real, z.imag), p.bit.radius, quad_segs=8))
        )
    return polygons_of(shapely.difference(pat.panel.polygon, shapely.union_all(cut)))


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_with_its_tabs_everything_stays_in_one_piece(keep):
    pat = pattern(RING, keep)
    path = tool_path(pat, KIT)
    assert len(tabs_of(path)) == 6
    assert len([p for p in joined(pat, path) if p.area > 1]) == 1


def test_three_tabs_or_more_on_each_part_and_more_on_a_long_one():
    path = tool_path(pattern(box(20, 20, 480, 380)), KIT)
    assert len(tabs_of(path)) == round(2 * (454 + 354) / 250)
    assert len(tabs_of(tool_path(pattern(box(20, 20, 100, 100)), KIT))) == 3


def test_a_tab_is_as_long_as_the_wood_wanted_and_the_bit():
    for wanted in (4.0, 8.0):
        path = tool_path(pattern(RING), KIT, Settings(tab_width=wanted))
        for _, tab in tabs_of(path):
            assert tab.end - tab.start == pytest.approx(wanted + 6.0)


def test_no_tab_on_a_corner_or_a_bend():
    star = Polygon(
        [
            (250 + r * math.cos(a), 200 + r * math.sin(a))
            for k in range(10)
            for r, a in [((150, 90)[k % 2], k * math.pi / 5)]
        ]
    )
    path = tool_path(pattern(star), KIT)
    assert len(tabs_of(path)) >= 3
    for p, tab in tabs_of(path):
        _, ahead = Track(p.ring).samples(np.linspace(tab.start, tab.end, 50))
        heading = np.unwrap(np.angle(ahead))
        assert np.ptp(heading) < math.radians(26)


@pytest.mark.parametrize("width", [5.0, 12.0])
def test_no_tab_beside_a_thin_web(width):
    """Two openings with a web between them: there is room elsewhere, so no tab leans on it."""
    two = shapely.union(box(100, 100, 200, 300), box(200 + width, 100, 300, 300))
    path = tool_path(pattern(two), KIT)
    tabs = tabs_of(path)
    assert len(tabs) >= 6
    web = box(200, 100, 200 + width, 300)
    assert all(web.distance(Point(t.at)) > 3.5 for _, t in tabs)


def test_an_island_hangs_on_what_itself_hangs_on_the_panel():
    path = tool_path(pattern(RING), KIT)
    assert {p.side: len(p.tabs) for p in path.passes} == {"inside": 3, "outside": 3}


def test_tabs_stand_where_they_say_and_no_higher_than_a_third():
    path = tool_path(pattern(RING), KIT, Settings(tab_height=50.0))
    for p, tab in tabs_of(path):
        assert p.tab_top == pytest.approx(-12.0)
        z = Track(p.ring).place((tab.start + tab.end) / 2)
        assert (z.real, z.imag) == pytest.approx(tab.at)


def test_small_waste_goes_to_chips_without_tabs():
    path = tool_path(pattern(box(100, 100, 120, 120)), KIT)
    assert not tabs_of(path)
    assert [p.purpose for p in path.passes][-1] == "outline"
    assert {p.purpose for p in path.passes} == {"clearing", "outline"}


def test_a_long_thin_slug_no_tab_can_hold_goes_to_chips():
    path = tool_path(pattern(box(100, 100, 400, 114)), KIT)
    assert not tabs_of(path)
    assert "clearing" in {p.purpose for p in path.passes}


def test_a_loose_figure_without_room_for_tabs_is_said():
    path = tool_path(pattern(Point(250, 200).buffer(9), "figure"), KIT)
    assert any("no straight, firm stretch" in text(f) for f in path.findings)


def test_no_tab_where_a_smaller_bit_still_has_to_cut():
    """Slits all round that only a very small bit enters hardly bend the path: tabs stay clear of their mouths."""
    tiny = Bit("own", "straight bit, 1 mm", 1.0, "invented", depth_per_pass=2.0)
    mouths = range(112, 290, 24)
    slits = [box(x, 90, x + 1.1, 310) for x in mouths] + [box(90, y, 310, y + 1.1) for y in mouths]
    path = tool_path(
        pattern(shapely.union_all([box(100, 100, 300, 300), *slits])), replace(KIT, small_bit=tiny)
    )
    fine = [shapely.LinearRing(p.ring.points()).buffer(p.bit.radius) for p in path.passes if p.bit == tiny]
    swept = shapely.union_all(fine)
    assert len(fine) >= 20
    tabs = tabs_of(path)
    assert len(tabs) >= 3
    for p, tab in tabs:
        z, _ = Track(p.ring).samples(np.linspace(tab.start + 3, tab.end - 3, 20))
        assert shapely.distance(shapely.points(z.real, z.imag), swept).min() > 3.0
