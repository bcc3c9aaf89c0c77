"""Ramps, turns and tabs of one pass."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.geom.curve import Arc, Line, length
from cutout.geom.outline import Ring
from cutout.kit import bit
from cutout.route.model import Pass, Settings, Tab
from cutout.route.track import Track, from_middle_of_longest, part
from cutout.route.walk import walk

CAPSULE = Ring((Line(0j, 40 + 0j), Arc(40 + 0j, 40 + 20j, 1.0), Line(40 + 20j, 20j), Arc(20j, 0j, 1.0)))
RAMP = math.radians(4)
UPRIGHT, SLOPED = Settings(ramp=RAMP), Settings(ramp=RAMP, tab_ends="sloped")


def a_pass(ring=CAPSULE, depths=(-2.5, -5.0, -7.5), tabs=(), top=-4.0):
    return Pass(1, 1, "outside", ring, bit("6mm"), depths, tuple(tabs), top)


def test_steps_join_in_all_three_axes():
    steps = walk(a_pass(tabs=[Tab(10, 22, (16, 0)), Tab(120, 135, (0, 0))]), UPRIGHT)
    assert steps[0].z0 == 0
    for this, after in itertools.pairwise(steps):
        assert abs(this.run.end - after.run.start) < 1e-6
        assert this.z1 == pytest.approx(after.z0, abs=1e-6)


def test_never_steeper_than_the_ramp_outside_tabs():
    for step in walk(a_pass(), UPRIGHT):
        assert not step.upright
        assert (step.z0 - step.z1) / length(step.run) <= math.tan(RAMP) + 1e-6


def test_every_depth_gets_one_whole_turn():
    steps = walk(a_pass(), UPRIGHT)
    for depth in (-2.5, -5.0, -7.5):
        level = math.fsum(length(s.run) for s in steps if s.z0 == pytest.approx(depth) == s.z1)
        assert level == pytest.approx(CAPSULE.length, abs=1e-4)


def test_a_short_run_becomes_a_helix():
    dot = Ring((Arc(1 + 0j, -1 + 0j, 1.0), Arc(-1 + 0j, 1 + 0j, 1.0)))
    steps = walk(a_pass(dot, (-3.0,)), UPRIGHT)
    falling = math.fsum(length(s.run) for s in steps if s.z1 < s.z0)
    assert falling == pytest.approx(3 / math.tan(RAMP), rel=1e-6)
    assert falling > 5 * dot.length


def test_a_dot_of_a_run_goes_straight_down():
    dot = Ring((Arc(0.01 + 0j, -0.01 + 0j, 1.0), Arc(-0.01 + 0j, 0.01 + 0j, 1.0)))
    steps = walk(a_pass(dot, (-3.0,)), UPRIGHT)
    assert steps[0].upright
    assert steps[0].z1 == -3.0


@settings(max_examples=15, deadline=None)
@given(st.floats(-20, 140), st.floats(5, 30))
def test_over_a_tab_the_bit_stays_on_its_top(start, size):
    tab = Tab(start, start + size, (0, 0))
    track = Track(CAPSULE)
    for step in walk(a_pass(tabs=[tab]), UPRIGHT):
        if step.upright:
            continue
        middle = part(step.run, 0.0, 0.5).end
        along = nearest(track, middle)
        over = (along - start) % track.length < size
        if over and 0.1 < (along - start) % track.length < size - 0.1:
            assert min(step.z0, step.z1) >= -4.0 - 1e-9


def nearest(track: Track, z: complex) -> float:
    at = np.linspace(0, track.length, 4001)
    points, _ = track.samples(at)
    return float(at[int(np.argmin(np.abs(points - z)))])


@settings(max_examples=30, deadline=None)
@given(st.floats(-20, 140), st.floats(5, 30), st.sampled_from([UPRIGHT, SLOPED]))
def test_no_way_down_is_straight_and_none_is_steeper_than_its_slope(start, size, asked):
    """With tabs of either kind; only a rise may be upright."""
    steepest = math.tan(asked.ramp if asked is UPRIGHT else asked.tab_slope)
    for step in walk(a_pass(tabs=[Tab(start, start + size, (0, 0))]), asked):
        drop = step.z0 - step.z1
        if drop > 1e-9:
            assert not step.upright
            assert drop <= steepest * length(step.run) * (1 + 1e-6)


@settings(max_examples=20, deadline=None)
@given(st.floats(-20, 140), st.floats(5, 30))
def test_behind_an_upright_tab_all_is_cut_to_depth(start, size):
    """The ramp to and fro leaves nothing: at full depth the bit goes over the whole ring but the tab."""
    tab = Tab(start, start + size, (0, 0))
    steps = walk(a_pass(tabs=[tab]), UPRIGHT)
    level = math.fsum(length(s.run) for s in steps if s.z0 == pytest.approx(-7.5) == s.z1)
    assert level == pytest.approx(CAPSULE.length - size, abs=1e-3)
    spots = np.linspace(start + size, start + CAPSULE.length, 60)
    track = Track(CAPSULE)
    deep = [s for s in steps if s.z0 == pytest.approx(-7.5) == s.z1]
    ends = np.array([z for s in deep for z in np.linspace(0, 1, 40) for z in [part(s.run, 0.0, z).end]])
    assert max(float(np.abs(ends - track.place(a)).min()) for a in spots) < 1.0


def test_a_sloped_tab_leaves_its_slopes_and_no_more():
    """7.5 mm deep, top at 4 mm, slope 20 degrees: each end reaches 3.5 / tan 20 = 9.6 mm further."""
    steps = walk(a_pass(tabs=[Tab(60, 75, (0, 0))]), SLOPED)
    level = math.fsum(length(s.run) for s in steps if s.z0 == pytest.approx(-7.5) == s.z1)
    assert level == pytest.approx(CAPSULE.length - 15 - 2 * 3.5 / math.tan(math.radians(20)), abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(st.floats(-300, 300), st.floats(0.01, 400))
def test_a_stretch_is_as_long_as_asked_for_and_unbroken(start, size):
    track = Track(CAPSULE)
    pieces = [run for run, _, _ in track.stretch(start, start + size)]
    assert math.fsum(map(length, pieces)) == pytest.approx(size, abs=1e-5)
    assert abs(pieces[0].start - track.place(start)) < 1e-6
    assert abs(pieces[-1].end - track.place(start + size)) < 1e-6
    assert all(abs(a.end - b.start) < 1e-6 for a, b in itertools.pairwise(pieces))


def test_samples_lie_where_place_says_and_look_ahead():
    track = Track(CAPSULE)
    at = np.linspace(0, track.length, 97, endpoint=False)
    points, ahead = track.samples(at)
    assert np.allclose(points, [track.place(a) for a in at])
    assert np.allclose(points + 1e-4 * ahead, [track.place(a + 1e-4) for a in at], atol=1e-7)


def test_a_ring_starts_in_the_middle_of_its_longest_piece():
    turned = from_middle_of_longest([CAPSULE])[0]
    assert turned.segments[0].start == 20 + 0j
    assert turned.length == pytest.approx(CAPSULE.length)
    assert turned.area == pytest.approx(CAPSULE.area)
