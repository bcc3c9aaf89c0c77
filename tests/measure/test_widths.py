from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon, affinity, box

from cutout.geom.outline import as_multi, polygons_of
from cutout.measure.widths import Middle, Neck


def necks(region: shapely.Geometry, below: float) -> tuple[Neck, ...]:
    return Middle(as_multi(region)).necks(below)


def dumbbell(width: float, length: float = 40.0) -> Polygon:
    """Two blocks 40 mm square joined by a bar, the middle of the bar at the origin."""
    half = length / 2
    (whole,) = polygons_of(
        shapely.union_all(
            [
                box(-half - 40, -20, -half, 20),
                box(-half - 1, -width / 2, half + 1, width / 2),
                box(half, -20, half + 40, 20),
            ]
        )
    )
    return whole


@given(st.floats(0.3, 18), st.floats(10, 60), st.floats(0, math.pi), st.floats(-50, 50))
@settings(max_examples=40, deadline=None)
def test_a_bar_between_blocks(width: float, length: float, turn: float, shift: float) -> None:
    shape = affinity.translate(affinity.rotate(dumbbell(width, length), turn, (0, 0), True), shift, -shift)
    (neck,) = necks(shape, 20)
    assert neck.width == pytest.approx(width, abs=1e-6)
    assert abs((neck.along * np.exp(-1j * turn)).imag) < 1e-6
    middle = complex(shift, -shift)
    assert abs(((neck.at - middle) * np.exp(-1j * turn)).imag) < 1e-6
    assert abs(neck.at - middle) < 0.2 * length + 1
    assert length - 0.1 <= neck.length <= length + 2 * width + 1


@given(st.floats(2, 30), st.floats(0.2, 8), st.floats(0, math.pi))
@settings(max_examples=15, deadline=None)
def test_an_hourglass_is_as_wide_as_its_waist(r: float, waist: float, turn: float) -> None:
    """Two discs bitten out of a block from both sides leave a waist whose width is known."""
    bites = [Point(0, s * (r + waist / 2)).buffer(r, 256) for s in (1, -1)]
    shape = box(-3 * r - 20, -r - 5, 3 * r + 20, r + 5).difference(shapely.union_all(bites))
    found = necks(affinity.rotate(shape, turn, (0, 0), True), waist + 1)
    (neck,) = [n for n in found if abs(n.at) < 1]
    assert neck.width == pytest.approx(waist, abs=0.01)
    assert abs((neck.along * np.exp(-1j * turn)).imag) < 0.05


def test_a_taper_has_no_neck() -> None:
    """A wedge narrows to nothing but joins nothing: a thorn tip is not a web."""
    assert necks(Polygon([(0, -10), (80, 0), (0, 10)]), 50) == ()
    block_with_thorn = shapely.union(box(-40, -20, 0, 20), Polygon([(-1, -8), (60, 0), (-1, 8)]))
    assert necks(block_with_thorn, 30) == ()


@given(st.floats(0.3, 12), st.floats(20, 200))
@settings(max_examples=10, deadline=None)
def test_the_wall_between_two_openings(gap: float, length: float) -> None:
    panel = box(0, 0, 400, 300)
    holes = [box(100, 50, 150, 50 + length), box(150 + gap, 50, 200, 50 + length)]
    found = necks(panel.difference(shapely.union_all(holes)), 20)
    assert len(found) == 1
    assert found[0].width == pytest.approx(gap, abs=1e-6)
    assert found[0].part == math.inf
    assert found[0].length == pytest.approx(length, rel=0.1, abs=2 * gap)
    assert found[0].at.imag == pytest.approx(50 + length / 2, abs=0.1 * length + 2)


def test_a_ring_is_a_web_wherever_its_hole_comes_nearest() -> None:
    off_centre = Point(0, 0).buffer(20, 128).difference(Point(1, 0).buffer(15, 128))
    (neck,) = necks(off_centre, 10)
    assert neck.width == pytest.approx(4, abs=0.01)
    assert neck.at.real == pytest.approx(18, abs=0.1)


def test_every_web_of_a_lattice() -> None:
    """Three by three windows: each bar between two neighbours is one web."""
    windows = [box(20 + 34 * i, 20 + 34 * j, 50 + 34 * i, 50 + 34 * j) for i in range(3) for j in range(3)]
    found = necks(box(0, 0, 138, 138).difference(shapely.union_all(windows)), 10)
    assert len(found) == 12
    assert all(n.width == pytest.approx(4) for n in found)
    along_x = [n for n in found if abs(n.along.real) > 0.99]
    assert len(along_x) == 6


def test_roughness_of_the_walls_makes_no_necks() -> None:
    rng = np.random.default_rng(3)
    ring = shapely.LinearRing(dumbbell(8).exterior.coords).segmentize(0.5)
    xy = shapely.get_coordinates(ring)[:-1] + rng.uniform(-0.05, 0.05, (len(ring.coords) - 1, 2))
    found = necks(Polygon(xy), 20)
    assert len(found) == 1
    assert found[0].width == pytest.approx(8, abs=0.2)


def test_widths_along_the_middle_line_are_those_of_the_shape() -> None:
    middle = Middle(as_multi(Polygon([(0, -10), (100, 0), (0, 10)])))
    slope = math.sin(math.atan2(10, 100))
    inner = (middle.nodes.real > 20) & (abs(middle.nodes.imag) < 1e-3)
    expected = 2 * (100 - middle.nodes.real[inner]) * slope
    assert inner.sum() > 10
    assert np.abs(middle.widths[inner] - expected).max() < 0.05


@given(st.floats(1.0, 4.0), st.floats(30, 80), st.floats(0, math.pi))
@settings(max_examples=20, deadline=None)
def test_an_arm_is_as_long_and_wide_as_drawn(width: float, length: float, turn: float) -> None:
    shape = shapely.union(box(-40, -20, 0, 20), box(-1, -width / 2, length, width / 2))
    shape = affinity.rotate(shape, turn, (0, 0), True)
    (arm,) = Middle(as_multi(shape)).arms(2 * width, 5 * width)
    assert arm.width == pytest.approx(width, abs=0.02)
    assert arm.length == pytest.approx(length, abs=2 * width)
    assert (arm.along * np.exp(-1j * turn)).real == pytest.approx(1, abs=0.01)


def test_a_short_stub_and_a_bar_between_blocks_are_no_arms() -> None:
    stub = shapely.union(box(-40, -20, 0, 20), box(-1, -2, 6, 2))
    assert Middle(as_multi(stub)).arms(8, 20) == ()
    assert Middle(as_multi(dumbbell(4))).arms(8, 20) == ()


def test_separate_parts_do_not_disturb_each_other() -> None:
    both = MultiPolygon([dumbbell(5), affinity.translate(dumbbell(3), 0, 100)])
    assert sorted(n.width for n in necks(both, 20)) == pytest.approx([3, 5])
