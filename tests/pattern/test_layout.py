from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from cutout.errors import LayoutError
from cutout.geom.outline import Outline, Ring, as_multi, from_region
from cutout.pattern import (
    Keep,
    Panel,
    Pattern,
    Placement,
    combine,
    cut_pattern,
    place,
    with_figure,
    with_waste,
)
from tests.figures import circle

PANEL = Panel(400, 300, 18)
KERF = 1.5


def ell(scale: float | None = None) -> Outline:
    """An L, 4 wide and 6 high, in units of its own."""
    return Outline(from_region(box(0, 0, 4, 6).difference(box(1, 1, 4, 6))), scale)


def pattern(keep: Keep = "panel") -> Pattern:
    """Two discs and a ring with a hole in it, on the panel."""
    rings = (circle(80, 200, 30), circle(200, 150, 60), circle(200, 150, 20, ccw=False), circle(320, 60, 25))
    return cut_pattern(Outline(rings, 1.0), PANEL, keep, KERF)


@given(st.floats(10, 150), st.floats(-4, 4), st.booleans(), st.floats(150, 250), st.floats(150, 160))
@settings(max_examples=50, deadline=None)
def test_width_is_of_the_silhouette_as_it_lies_on_the_panel(
    width: float, turn: float, mirror: bool, x: float, y: float
) -> None:
    try:
        placed = place(ell(), PANEL, Placement(width=width, turn=turn, mirror=mirror, at=(x, y)))
    except LayoutError as error:
        assert "the panel is only" in str(error)
        return
    x0, y0, x1, y1 = placed.bounds
    assert x1 - x0 == pytest.approx(width)
    assert ((x0 + x1) / 2, (y0 + y1) / 2) == pytest.approx((x, y))
    assert placed.scale == 1.0


def test_a_mirrored_figure_still_stands_on_its_foot() -> None:
    """An L has its foot at the right; mirrored it has it at the left, and at the bottom all the same."""
    plain = place(ell(), PANEL, Placement(height=60)).region()
    mirrored = place(ell(), PANEL, Placement(height=60, mirror=True)).region()
    seen = shapely.affinity.scale(plain, -1, 1, origin=(PANEL.width / 2, PANEL.height / 2))
    assert shapely.symmetric_difference(mirrored, seen).area < 1e-6
    assert shapely.symmetric_difference(mirrored, plain).area > 100


def test_height_centres_on_the_panel() -> None:
    x0, y0, x1, y1 = place(ell(), PANEL, Placement(height=120)).bounds
    assert (x0, y0, x1, y1) == pytest.approx((160, 90, 240, 210))


def test_the_source_s_own_scale_counts_when_no_size_is_given() -> None:
    x0, _, x1, _ = place(ell(25.4), PANEL, Placement()).bounds
    assert x1 - x0 == pytest.approx(101.6)


@pytest.mark.parametrize(
    ("outline", "placement", "words"),
    [
        (ell(), Placement(), "does not say its true size"),
        (ell(), Placement(width=10, height=10), "not both"),
        (ell(), Placement(width=500), "the panel is only"),
        (ell(), Placement(height=301), "the panel is only"),
    ],
)
def test_sizes_that_can_t_be(outline: Outline, placement: Placement, words: str) -> None:
    with pytest.raises(LayoutError, match=words):
        place(outline, PANEL, placement)


@pytest.mark.parametrize("size", [0.0, -5.0, math.inf, math.nan])
def test_no_such_panel(size: float) -> None:
    with pytest.raises(LayoutError, match="more than zero"):
        Panel(400, size, 18)
    with pytest.raises(LayoutError, match="board"):
        Panel(400, 300, 18, board=size)


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_waste_and_keep_share_out_the_panel(keep: Keep) -> None:
    made = pattern(keep)
    assert made.waste.area + made.keep.area == pytest.approx(PANEL.polygon.area)
    assert made.waste.intersection(made.keep).area == pytest.approx(0, abs=1e-6)
    assert sum(o.region.area for o in made.openings) == pytest.approx(made.waste.area)
    assert [o.id for o in made.openings] == list(range(1, len(made.openings) + 1))


def test_what_survives_in_each_mode() -> None:
    ring = math.pi * (60**2 - 20**2) + math.pi * (30**2 + 25**2)
    assert pattern("panel").waste.area == pytest.approx(ring, rel=1e-3)
    assert pattern("figure").keep.area == pytest.approx(ring, rel=1e-3)
    length = 2 * math.pi * (60 + 20 + 30 + 25)
    assert pattern("both").waste.area == pytest.approx(length * KERF, rel=1e-3)
    assert len(pattern("both").openings) == 4


@given(st.floats(-0.9, 0.9), st.floats(-0.9, 0.9))
def test_openings_of_one_row_keep_their_numbers_when_mending_moves_their_tops(
    one: float, other: float
) -> None:
    """A pair of slots and one below: by eye 1 is at the left, 2 at the right, 3 below, whichever is a hair higher."""
    slots = [box(300, 100, 340, 200 + one), box(50, 100, 90, 200 + other), box(150, 20, 190, 80)]
    made = cut_pattern(Outline(from_region(shapely.union_all(slots)), 1.0), PANEL, "panel", KERF)
    assert [round(o.region.bounds[0]) for o in made.openings] == [50, 300, 150]


def test_openings_are_numbered_from_the_top_left_and_know_the_edge() -> None:
    tops = [o.region.bounds[3] for o in pattern().openings]
    assert tops == sorted(tops, reverse=True)
    assert not any(o.at_edge for o in pattern().openings)
    assert [o.at_edge for o in pattern("figure").openings] == [True, False]


def test_what_sticks_out_is_cut_off_at_the_edge() -> None:
    made = cut_pattern(Outline((circle(0, 150, 50),), 1.0), PANEL, "panel", KERF)
    assert made.waste.area == pytest.approx(math.pi * 50**2 / 2, rel=1e-3)
    assert made.openings[0].at_edge


@pytest.mark.parametrize("ring", [circle(200, 150, 0.3), circle(-500, 150, 50)])
def test_nothing_to_cut_is_an_error(ring: Ring) -> None:
    with pytest.raises(LayoutError, match="nothing to cut"):
        cut_pattern(Outline((ring,), 1.0), PANEL, "panel", KERF)


def test_a_changed_figure_keeps_the_curves_it_did_not_touch() -> None:
    before = pattern()
    after = with_figure(before, as_multi(before.figure.union(box(70, 190, 120, 210))))
    kept = [r for r in after.outline.rings if r in before.outline.rings]
    assert len(kept) == 3
    assert after.waste.area > before.waste.area
    assert after.keep_mode == "panel"


@pytest.mark.parametrize("keep", ["panel", "figure"])
def test_replacing_the_waste_replaces_the_waste(keep: Keep) -> None:
    before = pattern(keep)
    waste = as_multi(before.waste.difference(Point(200, 210).buffer(5)))
    assert shapely.symmetric_difference(with_waste(before, waste).waste, waste).area < 1e-6


def test_with_both_the_waste_follows_from_the_figure() -> None:
    with pytest.raises(ValueError, match="slot"):
        with_waste(pattern("both"), MultiPolygon([box(0, 0, 10, 10)]))


def test_figures_combine_into_one_outline() -> None:
    both = combine([Outline((circle(50, 50, 10),), 1.0), Outline((circle(90, 50, 10),), 1.0)])
    assert len(both.rings) == 2
    assert both.region().area == pytest.approx(200 * math.pi, rel=1e-2)


@given(st.floats(-20, 20), st.floats(-20, 20))
@settings(max_examples=20, deadline=None)
def test_moving_the_outline_moves_the_pattern(dx: float, dy: float) -> None:
    first = cut_pattern(place(ell(), PANEL, Placement(width=80, at=(200, 150))), PANEL, "figure", KERF)
    second = cut_pattern(
        place(ell(), PANEL, Placement(width=80, at=(200 + dx, 150 + dy))), PANEL, "figure", KERF
    )
    moved = shapely.transform(first.keep, lambda xy: xy + np.array([dx, dy]))
    assert shapely.symmetric_difference(moved, second.keep).area < 1e-6
