"""Where the bit's middle may go, and what it leaves."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, box

from cutout.geom.outline import Outline, from_region
from cutout.kit import bit
from cutout.pattern import Panel, cut_pattern
from cutout.route import offset


def pattern(region, keep="panel"):
    return cut_pattern(Outline(from_region(region), 1.0), Panel(300.0, 200.0, 18.0), keep, 1.28)


def runs_of(region, keep="panel", name="6mm"):
    tool = bit(name)
    pat = pattern(region, keep)
    return [
        run
        for space in offset.spaces(pat, 4.5 * tool.radius)
        for run in offset.contours(space, offset.grow(space.region, -tool.radius), pat, tool)
    ]


RING = Polygon(box(50, 50, 150, 150).exterior, [box(80, 80, 120, 120).exterior.coords])


@pytest.mark.parametrize("radius", [0.5, 1.5, 3.0, 6.35])
def test_rounds_are_true_to_the_stated_error(radius):
    grown = offset.grow(box(0, 0, 10, 10), radius)
    corner = shapely.get_coordinates(grown)
    corner = corner[(corner[:, 0] < 0) & (corner[:, 1] < 0)]
    edge = shapely.LineString(sorted(corner.tolist()))
    middles = [edge.interpolate(k / 400, normalized=True) for k in range(401)]
    errors = [abs(math.hypot(p.x, p.y) - radius) for p in middles]
    assert max(errors) <= 2.25 * offset.SAGITTA


def test_inside_of_an_opening_clockwise_round_an_island_counter_clockwise():
    sides = {run.side: Polygon(run.xy).exterior.is_ccw for run in runs_of(RING)}
    assert sides == {"inside": False, "outside": True}


def test_keep_figure_goes_outside_the_figure_and_not_round_the_panel():
    runs = runs_of(RING, "figure")
    assert sorted((r.side, round(Polygon(r.xy).area)) for r in runs) == [
        ("inside", 34 * 34),
        ("outside", round(shapely.area(offset.grow(box(50, 50, 150, 150), 3)))),
    ]


def test_keep_both_keeps_the_figure_exact():
    outside = [r for r in runs_of(RING, "both") if r.side == "outside"]
    assert len(outside) == 1
    assert shapely.distance(shapely.LinearRing(outside[0].xy), RING) == pytest.approx(3.0, abs=2e-3)


def test_a_figure_standing_on_the_edge_is_gone_round_in_the_air():
    standing = box(100, 0, 160, 80)
    (run,) = runs_of(standing, "figure")
    assert run.side == "outside"
    assert Polygon(run.xy).contains(standing)


def test_an_opening_at_the_edge_is_cut_out_past_it():
    (run,) = runs_of(box(100, 0, 160, 80))
    swept = offset.grow(shapely.LinearRing(run.xy), 3.0)
    assert run.xy[:, 1].min() < -3.0
    walls = shapely.LineString([(100, 0), (100, 70)]).buffer(0.01)
    assert shapely.difference(walls & box(100, 0, 160, 80), swept.buffer(0.01)).area < 1e-6


def test_rest_of_a_square_is_its_four_corners():
    """Each corner keeps (1 - pi / 4) r^2 of wood."""
    square = box(0, 0, 40, 40)
    left = offset.rest(square, offset.grow(square, -3.0), 3.0)
    assert len(left.geoms) == 4
    assert left.area == pytest.approx(4 * (1 - math.pi / 4) * 9, rel=0.02)


@settings(max_examples=20, deadline=None)
@given(st.floats(1, 60), st.floats(1, 60), st.sampled_from(["3mm", "6mm", "8mm"]))
def test_clearing_leaves_no_piece_and_stays_in_what_was_cut(width, height, name):
    """A piece lies a bit's diameter from what stays, so nothing beyond one radius round it may be touched."""
    tool = bit(name)
    piece = box(0, 0, width, height)
    runs = offset.clearing(piece, 1, tool)
    swept = shapely.union_all([offset.grow(shapely.LinearRing(r.xy), tool.radius) for r in runs])
    assert shapely.difference(piece, swept).area < 0.02
    assert shapely.difference(swept, piece.buffer(tool.radius + 0.01, quad_segs=64)).area < 1e-6


def test_clearing_works_from_the_middle_outwards():
    areas = [Polygon(r.xy).area for r in offset.clearing(box(0, 0, 50, 50), 1, bit("6mm"))]
    assert areas == sorted(areas)


def test_a_gap_too_narrow_for_the_bit_is_left_whole():
    gap = box(0, 0, 5.5, 40)
    centre = offset.grow(gap, -3.0)
    assert centre.is_empty
    assert offset.rest(gap, centre, 3.0).area == pytest.approx(gap.area)


def test_nothing_grows_from_nothing():
    assert offset.grow(MultiPolygon(), 3.0).is_empty
