"""What looks at neighbours looks at near ones only, and finds what looking at all would find."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest

from cutout.geom.curve import ComplexArray, to_complex
from cutout.measure import bends, follow
from cutout.measure.bends import _Candidate, _near, left_bends
from cutout.measure.widths import Neck, _apart
from tests.figures import corners, star


def wobbly(seed: int) -> ComplexArray:
    """An invented outline full of corners."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(8, 90))
    return rng.uniform(20, 60, n) * np.exp(1j * np.linspace(0, 2 * math.pi, n, endpoint=False))


def all_with_all(found: list[_Candidate], radius: float, around: float) -> list[list[int]]:
    return [list(range(len(found)))] * len(found)


@pytest.mark.parametrize(("seed", "radius"), list(product(range(25), [0.5, 5.0, 40.0])))
def test_bends_are_those_that_comparing_all_with_all_gives(
    seed: int, radius: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    ring = wobbly(seed)
    quick = left_bends(ring, radius, 0.3)
    monkeypatch.setattr(bends, "_near", all_with_all)
    assert [(b.at, b.turn, b.depth) for b in left_bends(ring, radius, 0.3)] == [
        (b.at, b.turn, b.depth) for b in quick
    ]


def test_comparisons_of_bends_grow_with_their_number_not_with_its_square(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Stars with points of the same size: each bend has as many neighbours within a radius."""
    compared: dict[int, int] = {}
    real = _near
    for points in (100, 800):

        def counted(
            found: list[_Candidate], radius: float, around: float, points: int = points
        ) -> list[list[int]]:
            near = real(found, radius, around)
            compared[points] = sum(map(len, near))
            return near

        monkeypatch.setattr(bends, "_near", counted)
        size = points / 100
        assert (
            len(left_bends(to_complex(corners(star(points, 100.0 * size, 90.0 * size))), 3.0, 0.3)) >= points
        )
    assert compared[100] >= 100
    assert compared[800] <= 10 * compared[100]


@pytest.mark.parametrize("seed", range(10))
def test_kinks_are_those_that_comparing_all_with_all_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    corners = np.repeat(wobbly(seed) / 20, 2)
    ring: ComplexArray = corners + rng.normal(0, 0.1, len(corners))
    left, right = left_bends(ring, 2.0, 0.3), left_bends(ring[::-1], 2.0, 0.3)
    assert follow._kinks(left, right) == [any(follow._kink(b, o) for o in right) for b in left]
    assert follow._kinks(left, []) == [False] * len(left)


@pytest.mark.parametrize("seed", range(10))
def test_necks_kept_are_those_that_comparing_one_by_one_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    necks = [
        Neck(complex(*rng.uniform(0, 30, 2)), float(w), 1 + 0j, float(rng.uniform(0, 9)), (0j, 1j), 5.0)
        for w in np.sort(rng.uniform(0, 4, 60))
    ]
    kept: list[Neck] = []
    for neck in necks:
        if all(abs(neck.at - o.at) > max(neck.width, o.width, o.length / 2) for o in kept):
            kept.append(neck)
    assert list(_apart(necks)) == kept
    assert 1 < len(kept) < len(necks)
