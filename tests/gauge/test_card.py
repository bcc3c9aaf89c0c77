"""The card's drawing: marks that can't be taken for one another, room round every line, arcs true."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely

from cutout.errors import KitError
from cutout.gauge.card import (
    CLEAR,
    DOT,
    HEIGHT,
    LADDERS,
    WIDTH,
    arc_spans,
    card_for,
    card_numbered,
    cells,
    cuts,
    dots,
    mark_boxes,
    mark_words,
)
from cutout.kit import blades, paper


def test_any_two_marks_however_turned_differ_in_four_cells() -> None:
    turned = [(word, k, np.rot90(cells(word), k)) for word in mark_words() for k in range(4)]
    assert len(turned) == 48 * 4
    for (a, i, one), (b, j, two) in itertools.combinations(turned, 2):
        assert (one != two).sum() >= 4, (a, i, b, j)


@pytest.mark.parametrize("ladder", range(4))
def test_every_line_has_its_room(ladder: int) -> None:
    lines = [shapely.MultiLineString([t.points() for t in c.trails]) for c in cuts(ladder)]
    for one, two in itertools.combinations(lines, 2):
        assert shapely.distance(one, two) >= CLEAR
    everything = shapely.union_all(lines)
    assert shapely.distance(shapely.points(dots(ladder)), everything).min() >= CLEAR + DOT / 2
    for box in mark_boxes():
        assert shapely.distance(shapely.box(*box), everything) >= CLEAR
    assert len(dots(ladder)) > 100


@pytest.mark.parametrize("ladder", range(4))
def test_arcs_turn_by_their_radius_and_end_as_they_began(ladder: int) -> None:
    """Three points on a half of each arc lie on a circle of its radius: the circumscribed circle's formula."""
    arcs = [c for c in cuts(ladder) if c.kind == "arc"]
    assert [c.radius for c in arcs] == list(LADDERS[ladder])
    for cut in arcs:
        trail = cut.trails[0]
        for low, high in arc_spans(cut.radius):
            a, b, c = trail.at(np.array([low, (low + high) / 2, high - 1e-6]))[0]
            area = abs(((b - a).conjugate() * (c - a)).imag) / 2
            assert abs(a - b) * abs(b - c) * abs(c - a) / (4 * area) == pytest.approx(cut.radius, rel=1e-5)
        way = trail.at(np.array([0.0, trail.length]))[1]
        assert abs(way[0] - way[1]) < 1e-9


def test_the_card_fits_both_papers_inside_the_printers_margin() -> None:
    for name in ("a4", "letter"):
        sheet = paper(name)
        assert (sheet.width - WIDTH) / 2 > 6.7
        assert ((sheet.height or 0) - HEIGHT) / 2 > 6.7


@pytest.mark.parametrize("name", sorted(blades()))
def test_a_blade_gets_a_ladder_that_reaches_past_it_on_both_sides(name: str) -> None:
    radius = blades()[name].turning_radius
    card = card_for(radius, paper("a4"))
    assert card.radii[0] > 1.25 * radius
    assert card.radii[-1] < max(radius, 0.7)
    assert card_numbered(card.number) == card


def test_small_paper_is_refused() -> None:
    with pytest.raises(KitError, match="A4 or Letter"):
        card_for(9.0, paper("200x200mm"))
