"""What looks at neighbours looks at near ones only, and finds what looking at all would find."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from shapely import Point, Polygon

from cutout.geom.curve import ComplexArray, FloatArray, to_complex
from cutout.geom.outline import Outline, as_multi, from_region
from cutout.measure import bends, follow, room, walls
from cutout.measure.bends import _Candidate, _near, left_bends
from cutout.measure.follow import tight_places
from cutout.measure.webs import _asked_of_arm, angle_to_grain, least_width, web_limit
from cutout.measure.widths import Middle, Neck, _apart
from cutout.pattern import Panel, cut_pattern
from tests.figures import corners, star
from tests.kits import KIT, kit_of


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


def comb(teeth: int) -> Polygon:
    """A bar with that many needles 30 mm long, 4 mm apart."""
    x = 2.0 * np.arange(2 * teeth + 1)
    tips = np.column_stack([x, np.where(np.arange(2 * teeth + 1) % 2, 50.0, 20.0)])
    return Polygon([*tips.tolist(), (x[-1], 0.0), (0.0, 0.0)])


def test_points_joggled_give_the_same_middle_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def told(middle: Middle) -> tuple[float, float, list[float], list[float]]:
        long = float(np.abs(np.diff(middle.nodes[middle.edges], axis=1)).sum())
        necks = [n.width for n in middle.necks(6.0)]
        return long, float(middle.widths.max()), necks, sorted(a.length for a in middle.arms(3.0, 3.0))

    shape = as_multi(comb(6).difference(Polygon([(3, 3), (9, 3), (9, 6), (3, 6)])))
    joggled = told(Middle(shape))
    moved = walls._joggled(Middle(shape).walls)
    assert 0 < np.abs(moved[:, 0] + 1j * moved[:, 1] - Middle(shape).walls.z).max() <= walls._JOGGLE

    def plain(along: walls.Walls) -> FloatArray:
        return np.column_stack([along.z.real, along.z.imag])

    monkeypatch.setattr(walls, "_joggled", plain)
    exact = told(Middle(shape))
    assert joggled[:2] == pytest.approx(exact[:2], abs=0.01)
    assert joggled[2] == pytest.approx(exact[2], abs=1e-6)
    assert len(exact[2]) > 0
    assert joggled[3] == pytest.approx(exact[3], abs=0.01)
    assert len(exact[3]) == 6


def test_points_of_a_middle_line_grow_with_the_needles() -> None:
    points = {teeth: len(Middle(as_multi(comb(teeth))).walls.z) for teeth in (5, 20)}
    assert points[5] > 500
    assert points[20] <= 4.5 * points[5]


@pytest.mark.parametrize(("wood", "grain"), list(product(("white-pine", "plywood"), (0.0, 1.0, None))))
def test_an_arm_is_asked_what_each_of_its_places_would_be(wood: str, grain: float | None) -> None:
    kit = kit_of(wood_name=wood)
    along = np.exp(1j * np.random.default_rng(1).uniform(-math.pi, math.pi, 50))
    limit, least = _asked_of_arm(along, 18.0, kit, grain if kit.wood.has_grain else None)
    for z, most, few in zip(along.tolist(), limit.tolist(), least.tolist(), strict=True):
        angle = angle_to_grain(z, grain if kit.wood.has_grain else None)
        assert most == pytest.approx(web_limit(18.0, kit, angle))
        assert few == pytest.approx(least_width(web_limit(18.0, kit, angle), angle, held=False))


@pytest.mark.parametrize("full", [False, True])
def test_loops_not_drawn_because_wood_is_in_them_would_not_fit(
    full: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In an open star, and in one that a round piece leaves little of."""
    points = 7
    shape = star(points, 150.0, 60.0, 200 + 200j)
    figure = as_multi(shape.difference(Point(200, 200).buffer(50.0)) if full else shape)
    pattern = cut_pattern(
        Outline(from_region(figure)), Panel(400.0, 400.0, 18.0, 0.0), "panel", KIT.blade.kerf
    )
    places = [p for p in tight_places(pattern, KIT.blade) if not p.inside and p.bend.sharp]
    assert len(places) == points
    quick = room.loops_fit(pattern, places, KIT)
    monkeypatch.setattr(room, "_WITHIN", -1.0)
    assert (room.loops_fit(pattern, places, KIT) == quick).all()
    assert quick.any() != full
