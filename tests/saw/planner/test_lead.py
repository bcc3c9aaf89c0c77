"""Leads against what any shortest path of bounded curvature must satisfy."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cutout.geom.outline import polygons_of
from cutout.saw.planner.band import HARD, INTO_KEEP
from cutout.saw.planner.lead import Leads, from_places, from_poses
from cutout.saw.planner.line import stretches

number = st.floats(-60, 60).filter(lambda x: abs(x) > 1e-3)
angle = st.floats(-3.1, 3.1)


def check(leads: Leads, q: complex, p: complex, t: complex, radius: float) -> None:
    for line, length in zip(leads.lines(), leads.length, strict=True):
        z = shapely.get_coordinates(line) @ np.array([1, 1j])
        step = np.diff(z)
        assert abs(z[0] - q) < 1e-6
        assert abs(z[-1] - p) < 1e-6
        assert np.abs(step).sum() == pytest.approx(length, rel=2e-3, abs=1e-3)
        far = step[np.abs(step) > 1e-6]
        turn = np.abs(np.angle(far[1:] / far[:-1]))
        size = (np.abs(far[1:]) + np.abs(far[:-1])) / 2
        assert (turn <= size / radius * 1.02 + 1e-6).all() or len(far) < 3
        assert abs(np.angle(far[-1] / t)) < 0.3


@settings(max_examples=60, deadline=None)
@given(x=number, y=number, a=angle, radius=st.floats(0.5, 25))
def test_from_a_hole(x: float, y: float, a: float, radius: float) -> None:
    t = cmath.exp(1j * a)
    leads = from_places(np.array([complex(x, y)]), np.array([0j]), np.array([t]), radius)
    check(leads, complex(x, y), 0j, t, radius)


@settings(max_examples=60, deadline=None)
@given(x=number, y=number, a=angle, b=angle, radius=st.floats(0.5, 25))
def test_from_a_kerf(x: float, y: float, a: float, b: float, radius: float) -> None:
    u, t = cmath.exp(1j * a), cmath.exp(1j * b)
    leads = from_poses(np.array([complex(x, y)]), np.array([u]), np.array([0j]), np.array([t]), radius)
    check(leads, complex(x, y), 0j, t, radius)
    for line in leads.lines():
        z = shapely.get_coordinates(line) @ np.array([1, 1j])
        step = np.diff(z)
        far = step[np.abs(step) > 1e-6]
        assert abs(np.angle(far[0] / u)) < 0.3


@pytest.mark.parametrize("radius", [2.0, 9.0, 11.0])
def test_a_rounded_square_is_one_run_only_if_the_blade_can_turn_its_corners(radius: float) -> None:
    ring = shapely.box(0, 0, 80, 80).buffer(10, quad_segs=64)
    found = stretches(ring, radius, 30.0, 1.0, 0.05)
    assert (len(found) == 1 and found[0].closed) == (radius < 10)


@settings(max_examples=25, deadline=None)
@given(radius=st.floats(1, 20), more=st.floats(1.05, 2))
def test_a_wider_turn_never_needs_fewer_stops(radius: float, more: float) -> None:
    disc, arm = shapely.Point(0, 0).buffer(25, quad_segs=48), shapely.box(0, -12, 60, 12)
    (ring,) = polygons_of(shapely.union_all([disc, arm]))
    # Where the arm meets the disc a blade between these two gets by only by what its arcs bulge between stations.
    sec = 1 / math.cos((math.pi / 2 - math.asin(12 / 25)) / 2)
    by_band, at_all = (share * (0.3 + INTO_KEEP * sec) / (sec - 1) - 0.5 for share in (1.0, HARD))
    assume(not any(by_band < r < at_all for r in (radius, radius * more)))
    wide, narrow = (len(stretches(ring, r, 30.0, 1.0, 0.3)) for r in (radius * more, radius))
    assert wide >= narrow
