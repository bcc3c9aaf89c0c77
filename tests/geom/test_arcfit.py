"""Lines and arcs fitted to closed polylines."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, Polygon

from cutout.geom import curve
from cutout.geom.arcfit import areas, fit_rings, longest
from cutout.geom.curve import Arc, Line
from cutout.geom.outline import Ring
from cutout.route.offset import quad_segs
from tests.figures import corners, waves, wavy

TOL = 0.01


def fit_arcs(xy: np.ndarray, tol: float) -> Ring:
    """The ring of one polyline."""
    return fit_rings([xy], tol)[0]


def farthest(a: np.ndarray, b: np.ndarray, step: float = 0.05) -> float:
    """Greatest distance of the closed polyline a from the closed polyline b, looked at every `step` mm."""
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(LinearRing(a), step)))
    closed = np.vstack([b, b[:1]])
    edges = np.asarray(shapely.linestrings(np.stack([closed[:-1], closed[1:]], axis=1)))
    return float(
        shapely.STRtree(edges).query_nearest(points, return_distance=True, all_matches=False)[1].max()
    )


def hausdorff(ring: Ring, xy: np.ndarray) -> float:
    drawn = ring.points(1e-4)
    return max(farthest(drawn, xy), farthest(xy, drawn))


def thinned(xy: np.ndarray) -> int:
    """Vertices of a polyline simplified (Douglas-Peucker) to the same tolerance."""
    return len(shapely.get_coordinates(shapely.simplify(LinearRing(xy), TOL, preserve_topology=False))) - 1


@settings(max_examples=15, deadline=None)
@given(st.floats(5, 150), waves(0.06, 5))
def test_smooth_curves_stay_within_tolerance_both_ways_with_a_fifth_of_the_points(radius, swings):
    xy = corners(wavy(radius, swings, count=1500))
    ring = fit_arcs(xy, TOL)
    assert hausdorff(ring, xy) <= TOL
    assert ring.polygon(1e-3).is_valid
    assert ring.area * Polygon(xy).exterior.is_ccw > 0
    if radius > 40:
        assert len(ring.segments) <= thinned(xy) / 5


@settings(max_examples=25, deadline=None)
@given(st.integers(3, 40), st.integers(0, 10_000), st.floats(0.5, 100))
def test_jagged_rings_stay_within_tolerance_and_never_cross(count, seed, size):
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 2 * math.pi, count))
    r = size * rng.uniform(0.3, 1.0, count)
    xy = np.column_stack([r * np.cos(t), r * np.sin(t)])
    if not Polygon(xy).is_valid or len(np.unique(xy, axis=0)) < 3:
        return
    ring = fit_arcs(xy, TOL)
    assert hausdorff(ring, xy) <= TOL
    assert ring.polygon(1e-3).is_valid


@pytest.mark.parametrize("tol", [0.001, 0.01, 0.1])
def test_tolerance_is_kept_whatever_it_is(tol):
    xy = corners(wavy(60.0, [(2, 0.05, 1.0), (3, 0.033, 2.0)], count=4000))
    assert hausdorff(fit_arcs(xy, tol), xy) <= tol


def test_joined_segments_close():
    ring = fit_arcs(corners(wavy(30.0, [(2, 0.05, 0.3)])), TOL)
    for this, after in zip(ring.segments, (*ring.segments[1:], ring.segments[0]), strict=True):
        assert this.end == after.start


def test_straight_sides_become_lines_and_nothing_else():
    xy = shapely.get_coordinates(shapely.segmentize(Polygon([(0, 0), (40, 0), (40, 25), (0, 25)]), 0.5))[:-1]
    ring = fit_arcs(xy, TOL)
    assert len(ring.segments) == 4
    assert all(isinstance(s, Line) for s in ring.segments)


def test_a_circle_takes_three_arcs_of_its_radius():
    xy = shapely.get_coordinates(shapely.Point(7, 8).buffer(12, quad_segs=64))[:-1]
    ring = fit_arcs(xy, TOL)
    assert len(ring.segments) <= 4
    assert all(isinstance(s, Arc) and math.isclose(s.radius, 12, abs_tol=0.1) for s in ring.segments)


def test_a_rounded_rectangle_gets_its_lines_and_its_radius_back():
    """A rectangle with 3 mm rounds, from an offset: four lines and four quarter circles, joined where they meet."""
    xy = shapely.get_coordinates(shapely.box(0, 0, 60, 40).buffer(3, quad_segs=32))[:-1]
    ring = fit_arcs(xy, TOL)
    arcs = [s for s in ring.segments if isinstance(s, Arc)]
    assert len(arcs) == 4
    assert all(math.isclose(s.radius, 3, abs_tol=TOL) for s in arcs)
    assert all(math.isclose(abs(s.sweep), math.pi / 2, abs_tol=0.02) for s in arcs)


def directions(segment: Line | Arc) -> tuple[float, float]:
    """Direction (radians) at a run's start and end."""
    half = segment.sweep / 2 if isinstance(segment, Arc) else 0.0
    chord = cmath.phase(segment.end - segment.start)
    return chord - half, chord + half


def turns(ring: Ring) -> np.ndarray:
    """Angle (degrees) between each run and the one before it, at the run's start."""
    ways = np.array([directions(s) for s in ring.segments if isinstance(s, Line | Arc)])
    return np.degrees(np.abs(np.angle(np.exp(1j * (ways[:, 0] - np.roll(ways[:, 1], 1))))))


@pytest.mark.parametrize("radius", [0.5, 1.5, 3.0])
@pytest.mark.parametrize("bow", [0.06, 0.15, 0.4])
def test_the_bit_hardly_turns_where_runs_meet(radius, bow):
    """Leaves, their points rounded by an offset: the outline is smooth, and so is the path."""
    t = np.linspace(0, 1, 80)
    side = np.column_stack([40 * t, 40 * bow * np.sin(math.pi * t) * (1 + 0.4 * t)])
    leaf = Polygon(np.vstack([side, (side * [1, -0.7])[-2:0:-1]]))
    xy = shapely.get_coordinates(leaf.buffer(radius, quad_segs=quad_segs(radius)))[:-1]
    ring = fit_arcs(xy, TOL)
    assert hausdorff(ring, xy) <= TOL
    assert turns(ring).max() < 3


def test_moving_the_ring_moves_the_fit():
    xy = corners(wavy(50.0, [(2, 0.05, 1.0), (3, 0.017, 0.5)]))
    here, there = fit_arcs(xy, TOL), fit_arcs(xy + np.array([1000.0, -500.0]), TOL)
    assert len(here.segments) == len(there.segments)
    moved = np.array([s.start for s in here.segments]) + (1000 - 500j)
    assert np.allclose(moved, [s.start for s in there.segments], atol=1e-6)


@pytest.mark.parametrize("xy", [np.zeros((1, 2)), np.zeros((4, 2)), np.array([[0.0, 0.0], [1.0, 0.0]])])
def test_no_ring_no_fit(xy):
    with pytest.raises(ValueError, match="three vertices"):
        fit_arcs(xy, TOL)


def test_no_tolerance_no_fit():
    with pytest.raises(ValueError, match="tolerance"):
        fit_arcs(corners(wavy(10.0, [(2, 0.05, 0.0)])), 0.0)


def test_all_at_once_areas_and_longest_runs_are_those_of_each_ring():
    round_ = [shapely.get_coordinates(wavy(r, ((3, 0.2, 0.1),), 40 + 9j, 90))[:-1] for r in (3.0, 20.0)]
    square = np.array([[0, 0], [4, 0], [4, 9], [0, 9.0]])
    rings = fit_rings([*round_, square], TOL)
    assert areas(rings) == pytest.approx([ring.area for ring in rings], rel=1e-12)
    for ring, i in zip(rings, longest(rings), strict=True):
        lengths = [round(curve.length(s), 6) for s in ring.segments]
        assert i == lengths.index(max(lengths))
    assert len(areas([])) == 0
    assert longest([]) == []
