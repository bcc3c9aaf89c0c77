"""The fewest holes, against counting every subset."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.saw.planner import holes
from cutout.saw.planner.holes import _told_apart, fewest
from tests.figures import SEEDS


def by_counting(matrix: np.ndarray) -> int:
    wanted = np.asarray(matrix.any(axis=0))
    for size in range(len(matrix) + 1):
        if any(
            np.asarray(matrix[list(rows)].any(axis=0))[wanted].all()
            for rows in combinations(range(len(matrix)), size)
        ):
            return size
    raise AssertionError("all rows together cover what any row covers")


@settings(max_examples=40, deadline=None)
@given(rows=st.integers(1, 7), columns=st.integers(1, 9), seed=SEEDS)
def test_as_few_as_counting_every_subset_finds(rows: int, columns: int, seed: int) -> None:
    matrix = np.random.default_rng(seed).random((rows, columns)) < 0.35
    chosen, gap = fewest(matrix, np.zeros(rows))
    assert gap == 0
    assert len(chosen) == by_counting(matrix)
    assert (matrix[chosen].any(axis=0) == matrix.any(axis=0)).all()


def test_price_breaks_ties() -> None:
    matrix = np.array([[True, True], [True, True], [True, False]])
    assert fewest(matrix, np.array([0.5, 0.1, 0.0]))[0] == [1]


def test_large_ones_are_covered_greedily_with_an_honest_gap() -> None:
    rng = np.random.default_rng(1)
    matrix = rng.random((holes.SMALL + 50, 60)) < 0.08
    chosen, gap = fewest(matrix, np.zeros(len(matrix)))
    assert (matrix[chosen].any(axis=0) == matrix.any(axis=0)).all()
    assert 0 <= gap < len(chosen)


def test_nothing_to_cover_needs_no_hole() -> None:
    assert fewest(np.zeros((3, 4), dtype=bool), np.zeros(3)) == ([], 0)


@settings(max_examples=20, deadline=None)
@given(rows=st.integers(2, 7), columns=st.integers(1, 9), seed=st.integers(0, 10_000))
def test_where_one_hole_does_it_the_cheapest_such_is_taken(rows: int, columns: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    matrix, price = rng.random((rows, columns)) < 0.6, rng.random(rows) / 10
    matrix[rng.integers(rows)] = True
    alone = np.flatnonzero(matrix.all(axis=1))
    assert fewest(matrix, price) == ([int(alone[np.argmin(price[alone])])], 0)


@settings(max_examples=30, deadline=None)
@given(rows=st.integers(1, 20), columns=st.integers(1, 60), seed=SEEDS)
def test_columns_are_told_apart_in_the_order_of_their_values(rows: int, columns: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    matrix = np.repeat(rng.random((rows, columns)) < 0.5, 3, axis=1)
    assert np.array_equal(_told_apart(matrix), np.unique(matrix, axis=1))
