from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.geom.curve import Arc, ComplexArray, FloatArray, Line, to_complex
from cutout.geom.outline import Ring, polygons_of
from cutout.measure.bends import INTO_KEEP, LEFT_STANDING, Bend, left_bends

RADIUS = 10.4
SHARPEST = 0.6


def wedge(angle: float, flank: float = 90.0) -> ComplexArray:
    """A triangle with its apex at the origin, inside to the left."""
    tips = flank * np.exp(np.array([-0.5j, 0.5j]) * angle)
    return np.array([0, *tips])


def rounded_square(side: float, r: float) -> Ring:
    """A counter-clockwise square with its corners rounded."""
    quarter = math.tan(math.pi / 8)
    segments: list[Line | Arc] = []
    for k in range(4):
        turn = 1j**k
        corner = turn * complex(side / 2, side / 2)
        start, end = corner - 1j * turn * r, corner - turn * r
        before = turn * complex(side / 2, -side / 2) + 1j * turn * r
        segments += [Line(before, start), Arc(start, end, quarter)]
    return Ring(tuple(segments))


def missed(radius: float, r: float, turn: float) -> float:
    """What a circle of `radius` that may overlap by INTO_KEEP leaves of a bend of radius r: plain geometry."""
    return (radius - INTO_KEEP - r) / math.cos(turn / 2) + r - radius


def at_apex(bends: list[Bend]) -> list[Bend]:
    return [b for b in bends if abs(b.at) < 1]


@pytest.mark.parametrize("degrees", [30, 62, 90, 120, 140, 149])
def test_a_sharp_corner_is_measured_exactly(degrees: float) -> None:
    angle = math.radians(degrees)
    (bend,) = at_apex(left_bends(wedge(angle, 400.0), RADIUS, SHARPEST))
    assert bend.sharp
    assert bend.radius == 0
    assert bend.turn == pytest.approx(math.pi - angle)
    assert bend.inward == pytest.approx(1 + 0j, abs=1e-9)
    expected = (RADIUS - INTO_KEEP) / math.sin(angle / 2) - RADIUS
    assert bend.depth == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("degrees", [156, 165, 179])
def test_a_corner_that_leaves_only_sandpaper_s_work_is_none(degrees: float) -> None:
    assert at_apex(left_bends(wedge(math.radians(degrees)), RADIUS, SHARPEST)) == []


@given(st.floats(1.0, 9.0))
@settings(max_examples=25, deadline=None)
def test_the_depth_left_by_a_rounded_corner(r: float) -> None:
    found = left_bends(rounded_square(80, r).complex_points(), RADIUS, SHARPEST)
    assert len(found) == 4
    for bend in found:
        assert not bend.sharp
        assert bend.radius == pytest.approx(r, rel=0.02)
        assert bend.depth == pytest.approx(missed(RADIUS, r, math.pi / 2), abs=0.03)


@pytest.mark.parametrize(("r", "count"), [(9.3, 4), (9.9, 0), (10.4, 0), (30.0, 0)])
def test_a_corner_rounded_enough_is_none(r: float, count: int) -> None:
    assert missed(RADIUS, 9.3, math.pi / 2) > LEFT_STANDING > missed(RADIUS, 9.9, math.pi / 2)
    assert len(left_bends(rounded_square(80, r).complex_points(), RADIUS, SHARPEST)) == count


@pytest.mark.parametrize(("r", "count"), [(2.0, 1), (10.2, 1), (10.35, 0), (10.5, 0), (40.0, 0)])
def test_a_whole_circle_fits_or_it_does_not(r: float, count: int) -> None:
    circle = r * np.exp(2j * np.pi * np.arange(240) / 240)
    found = left_bends(circle, RADIUS, SHARPEST)
    assert len(found) == count
    assert all(b.depth == math.inf and b.radius == pytest.approx(r, rel=1e-3) for b in found)


def test_bends_to_the_right_are_found_on_the_way_back() -> None:
    (notched,) = polygons_of(shapely.difference(shapely.box(0, 0, 100, 100), shapely.box(40, 80, 60, 100)))
    z = to_complex(shapely.get_coordinates(notched.exterior)[:-1])
    z = z if notched.exterior.is_ccw else z[::-1]
    left = {(round(b.at.real), round(b.at.imag)) for b in left_bends(z, RADIUS, SHARPEST)}
    right = {(round(b.at.real), round(b.at.imag)) for b in left_bends(z[::-1], RADIUS, SHARPEST)}
    assert left == {(0, 0), (100, 0), (100, 100), (0, 100), (60, 100), (40, 100)}
    assert right == {(40, 80), (60, 80)}


def test_two_corners_near_each_other_stay_two() -> None:
    slot = to_complex(np.array([[0, 0], [60, 0], [60, 4], [0, 4]], dtype=float))
    found = left_bends(slot, RADIUS, SHARPEST)
    assert len(found) == 4
    assert all(b.sharp and b.turn == pytest.approx(math.pi / 2) for b in found)


def test_the_far_side_of_a_narrow_straight_passage_is_no_bend() -> None:
    bar = Ring.of_points(np.array([[-100, -2], [100, -2], [100, 2], [-100, 2]], dtype=float))
    assert all(abs(b.at.real) > 99 for b in left_bends(bar.complex_points(), RADIUS, SHARPEST))


def test_a_radius_too_small_to_matter_finds_nothing() -> None:
    assert left_bends(wedge(0.5), 0.1, 0.3) == []
    assert left_bends(np.array([0, 1 + 0j]), RADIUS, 0.3) == []


SHAPES = {
    "star": [
        (50 + (50, 22)[i % 2] * math.cos(i * math.pi / 5), 50 + (50, 22)[i % 2] * math.sin(i * math.pi / 5))
        for i in range(10)
    ],
    "flower": [
        ((40 + 8 * math.cos(6 * t)) * math.cos(t), (40 + 8 * math.cos(6 * t)) * math.sin(t))
        for t in np.linspace(0, 2 * math.pi, 720, endpoint=False).tolist()
    ],
    "keyhole": shapely.get_coordinates(
        polygons_of(shapely.union(shapely.Point(0, 0).buffer(15, 64), shapely.box(-3, -50, 3, 0)))[0].exterior
    )[:-1],
    "rounded": rounded_square(80, 3).points(),
}


def _resampled(xy: FloatArray, step: float, start: float) -> FloatArray:
    ring = shapely.LinearRing(xy)
    n = int(ring.length / step)
    stations = (np.arange(n) + start) * ring.length / n
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(ring, stations)))


@given(
    st.sampled_from(sorted(SHAPES)),
    st.floats(
        0.1, 0.3
    ),  # closer points turn by more than their noise allows: one star in thousands gains a bend
    st.floats(0, 1),
    st.integers(0, 10**6),
    st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_sampling_and_noise_change_neither_number_nor_sort(
    name: str, step: float, start: float, seed: int, noisy: bool
) -> None:
    xy = np.asarray(SHAPES[name], dtype=float)
    xy = xy if shapely.LinearRing(xy).is_ccw else xy[::-1]
    other = _resampled(xy, step, start)
    if noisy:
        other = other + np.random.default_rng(seed).uniform(-0.02, 0.02, other.shape)
    for radius, back in ((10.43, False), (9.15, True), (23.6, False), (4.4, False)):
        plain, changed = (to_complex(z[::-1] if back else z) for z in (xy, other))
        sorts = [
            sorted((b.sharp, round(b.turn, 0)) for b in left_bends(z, radius, SHARPEST))
            for z in (plain, changed)
        ]
        assert [s for s, _ in sorts[0]] == [s for s, _ in sorts[1]]
