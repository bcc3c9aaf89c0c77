from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon, box

from cutout.geom.curve import Arc, Line, Similarity
from cutout.geom.outline import Note, Outline, Ring, as_multi, from_region, nest, polygons_of
from tests.figures import circle, square


def test_area_and_length_of_a_circle_either_way_round() -> None:
    ring = circle(5, 5, 10)
    assert ring.area == pytest.approx(math.pi * 100)
    assert ring.reversed().area == pytest.approx(-math.pi * 100)
    assert ring.length == pytest.approx(20 * math.pi)


def test_a_ring_of_points_drops_repeated_ones() -> None:
    ring = Ring.of_points(np.array([[0, 0], [1, 0], [1, 0], [1, 1], [0, 0]], dtype=float))
    assert len(ring.segments) == 3
    assert ring.area == pytest.approx(0.5)


def test_corners_are_where_the_direction_jumps() -> None:
    ring = Ring((Line(0j, 20 + 0j), Arc(20 + 0j, 20 + 10j, 1.0), Line(20 + 10j, 10j), Line(10j, 0j)))
    found = ring.corners()
    assert [z for z, _ in found] == [0j, 10j]
    assert [turn for _, turn in found] == pytest.approx([math.pi / 2, math.pi / 2])


def test_rings_nest_by_even_odd_in_any_order_and_sense() -> None:
    rings = [square(0, 0, 100), square(10, 10, 50, ccw=False), square(20, 20, 10), square(70, 70, 20)]
    expected = 100**2 - 50**2 + 10**2 - 20**2
    for order in ((0, 1, 2, 3), (3, 2, 1, 0), (1, 3, 0, 2)):
        region = nest([rings[i].points() for i in order])
        assert region.area == pytest.approx(expected)
        assert len(region.geoms) == 2
        assert region.is_valid


def test_rings_that_touch_or_cross_still_fill_even_odd() -> None:
    touching = nest([square(0, 0, 10).points(), square(0, 0, 4).points()])
    assert touching.is_valid
    assert touching.area == pytest.approx(84)
    crossing = nest([square(0, 0, 10).points(), square(5, 5, 10).points()])
    assert crossing.is_valid
    assert crossing.area == pytest.approx(150)
    bow_tie = nest([np.array([[0, 0], [10, 10], [10, 0], [0, 10]], dtype=float)])
    assert bow_tie.is_valid
    assert bow_tie.area == pytest.approx(50)


def test_nothing_in_nothing_out() -> None:
    assert nest([]).is_empty
    assert nest([np.array([[0.0, 0.0], [1.0, 1.0]])]).is_empty
    assert Outline(()).region().is_empty
    with pytest.raises(ValueError, match="no bounds"):
        _ = Outline(()).bounds


def test_a_region_and_its_rings_are_the_same_thing() -> None:
    (pierced,) = polygons_of(box(0, 0, 50, 50).difference(Point(25, 25).buffer(10)))
    region = MultiPolygon([pierced, box(60, 0, 70, 10)])
    rings = from_region(region)
    assert sorted(np.sign([r.area for r in rings])) == [-1, 1, 1]
    assert shapely.equals(Outline(rings).region(), region)


def test_a_mirrored_outline_keeps_its_promised_senses_and_scale() -> None:
    outline = Outline(
        (circle(0, 0, 20), circle(5, 0, 5, ccw=False)), 2.0, (Note("size", "as the file says"),)
    )
    mirrored = outline.transform(Similarity(3 + 0j, 1 + 2j, mirror=True))
    assert [math.copysign(1, r.area) for r in mirrored.rings] == [1, -1]
    assert mirrored.scale == pytest.approx(2 / 3)
    assert mirrored.notes == outline.notes
    assert mirrored.region().area == pytest.approx(9 * outline.region().area, rel=1e-3)


@given(st.floats(0.2, 5), st.floats(-4, 4), st.floats(-50, 50), st.booleans())
@settings(max_examples=30, deadline=None)
def test_bounds_follow_the_outline(scale: float, turn: float, x: float, mirror: bool) -> None:
    outline = Outline((circle(3, 4, 10), square(20, 0, 7)))
    moved = outline.transform(Similarity(cmath.rect(scale, turn), complex(x, -x), mirror))
    assert moved.bounds == pytest.approx(moved.region().bounds, abs=1e-9)


def test_only_polygons_are_kept_of_a_mixture() -> None:
    mixed = shapely.GeometryCollection(
        [box(0, 0, 1, 1), shapely.LineString([(0, 0), (5, 5)]), MultiPolygon([box(3, 3, 4, 4)]), Polygon()]
    )
    assert len(polygons_of(mixed)) == 2
    assert as_multi(mixed).area == 2
    assert as_multi(Point(0, 0)).is_empty
