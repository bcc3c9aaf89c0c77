"""The fewest runs inside a band: never tighter than the blade turns, never out of the band, all of the line."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.saw.planner.band import BULGE, INTO_KEEP, Run, runs
from tests.figures import Wave, waves, wavy

KERF = 1.28


def ring_of(waste: shapely.Polygon) -> shapely.LinearRing:
    inner = shapely.orient_polygons(waste.buffer(-KERF / 2, join_style="mitre"))
    return max(shapely.get_parts(inner), key=lambda p: p.area).exterior


def least_radius(run: Run) -> float:
    """By circles through points about a third of the radius apart: chords of single arcs are too short to tell."""
    line = shapely.LineString(np.column_stack([run.z.real, run.z.imag]))
    s = np.arange(0.0, line.length, 0.5)
    p = shapely.get_coordinates(shapely.line_interpolate_point(line, s))
    z = p[:, 0] + 1j * p[:, 1]
    gap = 6
    a, b, c = z[: -2 * gap], z[gap:-gap], z[2 * gap :]
    if len(a) == 0:
        return math.inf
    area = np.abs(((b - a) * np.conj(c - a)).imag) / 2
    radius = np.abs(b - a) * np.abs(c - b) * np.abs(c - a) / np.maximum(4 * area, 1e-9)
    return float(radius.min())


@settings(max_examples=15, deadline=None)
@given(
    waves(0.12, 4),
    st.sampled_from([3.0, 8.0, 15.0]),
    st.sampled_from([0.05, 0.15, 0.3]),
)
def test_a_run_is_never_too_tight_and_never_leaves_the_band(
    swings: list[Wave], radius: float, allow: float
) -> None:
    ring = ring_of(wavy(60.0, swings))
    inside = shapely.Polygon(ring)
    for run in runs(ring, radius, KERF, allow):
        assert least_radius(run) > 0.97 * radius
        points = shapely.points(run.z.real, run.z.imag)
        away = np.asarray(shapely.distance(points, ring))
        within = shapely.contains(inside, points)
        # An arc between stations may bulge a little beyond what holds at them.
        assert away[within].max(initial=0.0) <= allow + 2 * BULGE
        assert away[~within].max(initial=0.0) <= INTO_KEEP + 2 * BULGE


@settings(max_examples=15, deadline=None)
@given(waves(0.1, 3), st.sampled_from([3.0, 12.0]))
def test_together_the_runs_pass_the_whole_line(swings: list[Wave], radius: float) -> None:
    ring = ring_of(wavy(60.0, swings))
    lines = [shapely.LineString(np.column_stack([r.z.real, r.z.imag])) for r in runs(ring, radius, KERF, 0.3)]
    missed = ring.difference(shapely.union_all(lines).buffer(0.5))
    assert missed.length < 0.01 * ring.length + 2 * len(lines)


@settings(max_examples=12, deadline=None)
@given(waves(0.12, 4))
def test_a_wider_band_never_takes_many_more_runs(swings: list[Wave]) -> None:
    """The covering is the least on an open chain; a ring's first break may cost one more."""
    ring = ring_of(wavy(60.0, swings))
    narrow, wide = (len(runs(ring, 9.0, KERF, allow)) for allow in (0.1, 0.4))
    assert wide <= narrow + 1


def test_a_circle_is_one_closed_run_just_down_to_the_turning_radius() -> None:
    ring = ring_of(shapely.Point(0, 0).buffer(20, quad_segs=90))
    (run,) = runs(ring, 15.0, KERF, 0.3)
    assert run.closed
    assert run.z[0] == run.z[-1]
    assert len(runs(ring, 30.0, KERF, 0.05)) > 4


@pytest.mark.parametrize("sides", [3, 4, 6])
def test_a_sharp_polygon_breaks_at_its_inside_corners_only(sides: int) -> None:
    a = 2 * math.pi * np.arange(sides) / sides
    polygon = shapely.Polygon(np.column_stack([50 * np.cos(a), 50 * np.sin(a)]))
    found = runs(ring_of(polygon), 9.8, KERF, 0.3)
    assert len(found) == sides
    assert all(run.inside == (True, True) for run in found)
    outward = runs(shapely.LinearRing(ring_of(polygon).coords[::-1]), 9.8, KERF, 0.3)
    assert all(run.inside == (False, False) for run in outward)


def test_ripples_inside_the_band_cost_nothing() -> None:
    """A long edge with ripples of 0.2 mm, much tighter than the blade turns: one run with 0.3 mm, many with 0.02."""
    x = np.linspace(0, 200, 801)
    top = np.column_stack([x[::-1], 40 + 0.1 * np.sin(x[::-1] * 2.1)])
    ring = ring_of(shapely.Polygon(np.vstack([[[0, 0], [200, 0]], top])))
    assert len(runs(ring, 9.8, KERF, 0.3)) == 4
    assert len(runs(ring, 9.8, KERF, 0.02)) > 8
