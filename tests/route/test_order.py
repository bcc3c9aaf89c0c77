"""In which order the runs are cut."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.route.order import order
from tests.figures import square


def test_inner_before_outer_even_when_it_is_farther():
    done, _ = order([square(0, 0, 300), square(200, 200, 50), square(210, 210, 20)], [0, 0, 0])
    assert done == [2, 1, 0]
    done, _ = order([square(0, 0, 300), square(90, 90, 200)], [0, 0])
    assert done == [1, 0]


def test_small_before_large():
    done, _ = order([square(0, 0, 100), square(500, 500, 10)], [0, 0])
    assert done == [1, 0]


def test_one_stage_after_the_other():
    done, _ = order([square(0, 0, 10), square(20, 0, 10), square(5, 20, 10)], [1, 0, 1])
    assert done[0] == 1


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 7), st.integers(0, 1000))
def test_travel_between_equals_is_close_to_the_shortest_there_is(count, seed):
    """Compared with every order there is; nearest first and 2-opt may miss the best by a quarter."""
    xy = np.random.default_rng(seed).uniform(0, 400, (count, 2))
    rings = [square(x, y, 1e-3) for x, y in xy]
    done, travel = order(rings, [0] * count)
    starts = np.array([r.segments[0].start for r in rings])

    def tour(turn):
        return float(np.abs(np.diff(np.concatenate([[0j], starts[list(turn)]]))).sum())

    assert sorted(done) == list(range(count))
    assert travel <= 1.25 * min(tour(t) for t in itertools.permutations(range(count))) + 1e-9
    assert abs(travel - tour(done)) < 1e-6


def test_a_thousand_equal_openings_are_toured_without_crossing_the_panel_each_time():
    rings = [square(x * 20.0, y * 20.0, 5) for x in range(32) for y in range(32)]
    done, travel = order(rings, [0] * len(rings))
    assert sorted(done) == list(range(1024))
    assert travel < 1.3 * 1024 * 20


def test_nothing_to_order():
    assert order([], []) == ([], 0.0)
