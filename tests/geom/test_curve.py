from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.geom import curve
from cutout.geom.curve import Arc, Cubic, Line, Segment, Similarity

points = st.builds(complex, st.floats(-200, 200), st.floats(-200, 200))
bulges = st.floats(0.01, 8).flatmap(lambda b: st.sampled_from([b, -b]))
apart = st.tuples(points, points).filter(lambda ab: abs(ab[0] - ab[1]) > 0.1)
lines = apart.map(lambda ab: Line(*ab))
arcs = st.builds(lambda ab, b: Arc(ab[0], ab[1], b), apart, bulges)
cubics = st.builds(lambda ab, c1, c2: Cubic(ab[0], c1, c2, ab[1]), apart, points, points)
segments = st.one_of(lines, arcs, cubics)
similarities = st.builds(
    lambda r, t, b, m: Similarity(cmath.rect(r, t), b, m),
    st.floats(0.1, 10),
    st.floats(-4, 4),
    points,
    st.booleans(),
)


def bezier(c: Cubic, t: np.ndarray) -> np.ndarray:
    """De Casteljau, written apart from the code under test."""
    a, b, d = c.start + t * (c.c1 - c.start), c.c1 + t * (c.c2 - c.c1), c.c2 + t * (c.end - c.c2)
    e, f = a + t * (b - a), b + t * (d - b)
    return e + t * (f - e)


def to_polyline(z: np.ndarray, run: np.ndarray) -> np.ndarray:
    """Distance of each z from the polyline `run`."""
    a, d = run[:-1], np.diff(run)
    part = np.clip(((z[:, None] - a) * d.conj()).real / np.maximum(np.abs(d) ** 2, 1e-30), 0, 1)
    return np.abs(z[:, None] - a - part * d).min(axis=1)


def test_a_quarter_circle() -> None:
    arc = Arc(10 + 0j, 10j, math.tan(math.pi / 8))
    assert arc.centre == pytest.approx(0j, abs=1e-12)
    assert arc.radius == pytest.approx(10)
    assert arc.sweep == pytest.approx(math.pi / 2)
    assert curve.length(arc) == pytest.approx(5 * math.pi)
    assert curve.tangent(arc) == pytest.approx(1j)
    assert curve.tangent(arc, at_end=True) == pytest.approx(-1 + 0j)


@given(arcs, st.floats(0.001, 0.5))
@settings(max_examples=100, deadline=None)
def test_points_of_an_arc_lie_on_it_and_chords_stay_within_the_tolerance(arc: Arc, tol: float) -> None:
    run = curve.points(arc, tol)
    assert run[0] == arc.start
    assert run[-1] == arc.end
    size = 1e-9 * (1 + arc.radius)
    assert np.abs(np.abs(run - arc.centre) - arc.radius).max() <= size * 1e3
    middles = (run[1:] + run[:-1]) / 2
    assert (arc.radius - np.abs(middles - arc.centre)).max() <= tol + size * 1e3


@given(cubics, st.floats(0.001, 0.5))
@settings(max_examples=100, deadline=None)
def test_chords_of_a_cubic_stay_within_the_tolerance(cubic: Cubic, tol: float) -> None:
    run = curve.points(cubic, tol)
    true = bezier(cubic, np.linspace(0, 1, 400))
    assert to_polyline(true, run).max() <= tol * 1.0001 + 1e-9


@given(segments)
@settings(max_examples=100, deadline=None)
def test_reversing_twice_changes_nothing_and_once_swaps_the_ends(segment: Segment) -> None:
    back = curve.reverse(segment)
    assert (back.start, back.end) == (segment.end, segment.start)
    assert curve.reverse(back) == segment
    assert curve.length(back) == pytest.approx(curve.length(segment), rel=1e-6)
    assert curve.tangent(back) == pytest.approx(-curve.tangent(segment, at_end=True), abs=1e-9)


@given(segments, similarities)
@settings(max_examples=100, deadline=None)
def test_moving_a_segment_moves_its_points_and_scales_its_length(segment: Segment, by: Similarity) -> None:
    moved = curve.transform(segment, by)
    scale = abs(by.a)
    expected = np.array([by(z) for z in curve.points(segment, 0.05).tolist()])
    run = curve.points(moved, 0.01)
    assert to_polyline(expected, run).max() <= 0.011 + 1e-9 * (1 + np.abs(expected).max() * scale) * 1e3
    assert curve.length(moved) == pytest.approx(scale * curve.length(segment), rel=1e-3)


@given(similarities, similarities, points)
@settings(max_examples=100, deadline=None)
def test_one_similarity_after_another(first: Similarity, second: Similarity, z: complex) -> None:
    assert first.then(second)(z) == pytest.approx(second(first(z)), rel=1e-9, abs=1e-6)


@given(lines)
@settings(max_examples=30, deadline=None)
def test_a_line_is_its_ends(line: Line) -> None:
    assert curve.points(line).tolist() == [line.start, line.end]
    assert curve.length(line) == abs(line.end - line.start)


def test_a_cubic_whose_handles_lie_on_its_ends_still_has_directions() -> None:
    cubic = Cubic(0j, 0j, 10 + 0j, 10 + 0j)
    assert curve.tangent(cubic) == 1
    assert curve.tangent(cubic, at_end=True) == 1
    assert curve.tangent(Line(1 + 1j, 1 + 1j)) == 0


def test_arrays_there_and_back() -> None:
    z = np.array([1 + 2j, 3 - 4j])
    assert curve.to_complex(curve.to_array(z)).tolist() == z.tolist()


@given(segments)
@settings(max_examples=100, deadline=None)
def test_swept_area_is_that_of_the_fan_of_its_points(segment: Segment) -> None:
    z = curve.points(segment, 1e-4)
    fan = float(((z[:-1].conj() * z[1:]).imag).sum() / 2)
    assert curve.swept_area(segment) == pytest.approx(fan, rel=1e-4, abs=1e-3 * (1 + curve.length(segment)))


@settings(max_examples=20, deadline=None)
@given(many=st.lists(segments, min_size=1, max_size=6))
def test_points_of_many_are_those_of_each(many: list[Segment]) -> None:
    z, counts = curve.points_of_all(many, 0.05)
    each = [curve.points(segment, 0.05)[:-1] for segment in many]
    assert counts.tolist() == [len(run) for run in each]
    assert np.abs(z - np.concatenate(each)).max() < 1e-9
