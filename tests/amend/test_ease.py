"""Easing clears what stops the work by a small shift, settles, and leaves the rest of the line alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon, affinity, box

from cutout import check
from cutout.amend import Mending, lie, mend
from cutout.amend.ease import ease
from cutout.amend.round import opened, tips
from cutout.amend.spine import followed, spine
from cutout.choices import Corners
from cutout.geom.curve import to_complex
from cutout.geom.outline import Outline, as_multi, from_region, polygons_of
from cutout.kit import blade
from cutout.measure.widths import Middle
from cutout.pattern import Keep, Panel, Pattern, cut_pattern
from cutout.saw import plan, prove
from tests.figures import stars
from tests.kits import KIT, kit_of
from tests.telling import remedy, text

PHASES = (Phase.explicit, Phase.reuse, Phase.generate)
"""No shrinking: every example checks a pattern several times over."""
HOLE = 5.0
"""Smallest drill of the set in which the blade turns: hypot(4.8, 1.28) = 4.97 mm."""


def pattern(figure: shapely.Geometry, keep: Keep = "panel", grain: float | None = math.pi / 2) -> Pattern:
    panel = Panel(300.0, 300.0, 18.0, grain)
    return cut_pattern(Outline(from_region(figure)), panel, keep, KIT.blade.kerf)


def stops(found: Pattern) -> list[str]:
    return [f.kind for f in check.run(found, KIT) if f.severity == "stop"]


@pytest.mark.parametrize("corners", ["cheapest", "sharp"])
def test_square_corners_stay_sharp_where_the_blade_would_only_blur_them(corners: Corners) -> None:
    """A jigsaw turns no corner in one sweep: sawn from both sides it stays crisp."""
    before = pattern(box(100, 100, 200, 200))
    assert ease(before, KIT, corners=corners).eased.max_shift == 0


def test_a_scroll_saw_takes_corners_in_one_sweep_where_that_is_cheapest() -> None:
    """Rounded to R + K/2 with the plan's margin, the outer side of the tightest kerf; the shift r (sqrt 2 - 1)."""
    kit = replace(KIT, blade=blade("scroll-medium"))
    radius = 1.02 * kit.blade.turning_radius + kit.blade.kerf / 2
    panel = Panel(300.0, 300.0, 18.0)
    square = cut_pattern(Outline(from_region(box(100, 100, 200, 200)), 1.0), panel, "panel", kit.blade.kerf)
    done = ease(square, kit)
    assert done.eased.max_shift == pytest.approx(radius * (math.sqrt(2) - 1), abs=0.02)
    assert len(plan(done.pattern, kit).legs) == 1
    assert len(plan(ease(square, kit, corners="sharp").pattern, kit).legs) >= 4


@pytest.mark.parametrize("corners", ["cheapest", "sharp"])
def test_a_corner_a_fine_blade_would_stop_at_is_swept_though_no_check_minds_it(corners: Corners) -> None:
    """96 degrees: 0.30 mm stay of a corner swept with R + K/2, more than the 0.15 mm that may stay for the file."""
    kit = replace(KIT, blade=blade("scroll-medium"))
    half = 60 * math.tan(math.radians(48))
    rhomb = Polygon([(150 - 60, 150), (150, 150 - half), (150 + 60, 150), (150, 150 + half)])
    panel = Panel(300.0, 300.0, 18.0)
    before = cut_pattern(Outline(from_region(rhomb)), panel, "panel", kit.blade.kerf)
    blunt = Point(90, 150)
    assert not any(blunt.distance(Point(f.at)) < 5 for f in check.run(before, kit))
    left = ease(before, kit, corners=corners).pattern.waste.distance(blunt)
    radius = 1.02 * kit.blade.turning_radius + kit.blade.kerf / 2
    swept = radius * (1 / math.sin(math.radians(48)) - 1)
    assert left == pytest.approx(swept if corners == "cheapest" else 0.0, abs=0.02)


def test_square_corners_become_the_smallest_hole() -> None:
    """The corner's shift is r (sqrt 2 - 1) for a right angle: geometry."""
    before = pattern(box(100, 100, 200, 200))
    done = ease(before, KIT, corners="round")
    assert done.eased.max_shift == pytest.approx(HOLE / 2 * (math.sqrt(2) - 1), abs=0.02)
    assert done.eased.area_change == pytest.approx(4 * (HOLE / 2) ** 2 * (1 - math.pi / 4), rel=0.02)
    assert not [f for f in done.findings if f.kind == "tight corner"]
    drilled = Point(102.5, 102.5).buffer(2.5, quad_segs=64)
    assert (
        done.pattern.waste.intersection(box(100, 100, 102.5, 102.5))
        .symmetric_difference(drilled.intersection(box(100, 100, 102.5, 102.5)))
        .area
        < 0.05
    )


def test_away_from_corners_the_line_stays_where_it_was() -> None:
    before = pattern(box(100, 100, 200, 200))
    done = ease(before, KIT)
    away = box(0, 0, 300, 300).difference(
        shapely.buffer(shapely.MultiPoint([(100, 100), (100, 200), (200, 100), (200, 200)]), 3.6)
    )
    change = before.waste.symmetric_difference(done.pattern.waste)
    assert change.intersection(away).area < 1e-4


def test_a_needle_sharp_corner_keeps_its_point() -> None:
    """Rounding 20 degrees to 2.5 mm would cost 12 mm of it: saw into it from both sides instead."""
    spike = Polygon([(100, 100), (200, 100), (200, 200), (140, 104)])
    done = ease(pattern(spike), KIT)
    assert done.pattern.waste.distance(Point(100, 100)) < 1e-6


def test_a_web_that_would_break_becomes_just_thick_enough() -> None:
    """Along the grain the limit is the thickness, 18 mm; a web breaks below a quarter of it."""
    figure = MultiPolygon([box(80, 100, 148, 200), box(150, 100, 220, 200)])
    before = pattern(figure)
    assert stops(before) == ["thin web"]
    done = ease(before, KIT)
    assert stops(done.pattern) == []
    assert 1.25 <= done.eased.max_shift < 2.5  # the web moves 1.25 mm a side, its rounded ends somewhat more
    kept = done.pattern.keep.intersection(box(140, 120, 160, 180))
    assert kept.area / 60 == pytest.approx(4.5, abs=0.2)


def test_an_opening_the_blade_does_not_get_into_is_opened_for_the_hole() -> None:
    before = pattern(box(100, 100, 103, 160))
    assert stops(before) == ["narrow opening"]
    done = ease(before, KIT)
    assert stops(done.pattern) == []
    circle = shapely.maximum_inscribed_circle(done.pattern.waste, tolerance=0.01)
    assert 2 * circle.length >= HOLE
    assert done.eased.max_shift < 1.5


def test_a_neck_narrower_than_the_saw_cut_is_opened_to_it() -> None:
    figure = shapely.union_all([box(80, 100, 130, 200), box(129, 149.6, 171, 150.4), box(170, 100, 220, 200)])
    before = pattern(figure)
    assert "narrow opening" in stops(before)
    done = ease(before, KIT)
    assert "narrow opening" not in stops(done.pattern)
    assert len(polygons_of(done.pattern.waste.buffer(-KIT.blade.kerf / 2 + 0.01))) == 1


@pytest.mark.parametrize("bump", [0.3, 0.7, 0.9])
@pytest.mark.parametrize("length", [1.0, 4.0])
def test_a_slit_with_a_bump_on_one_wall_is_opened_so_that_the_blade_goes_by(
    bump: float, length: float
) -> None:
    """However little the bump leaves: it is seen, and the way round it begins and ends along the slit."""
    cut = KIT.blade.kerf
    low, high = 150 - 0.51 * cut, 150 + 0.51 * cut
    x = [100.0, 140.0, 140.3, 140.3 + length, 140.6 + length, 200.0]
    above = [(at, high - (bump * cut if n in (2, 3) else 0.0)) for n, at in enumerate(x)]
    shape = Polygon([(60, 130), (100, 130), (100, low), (200, low), *reversed(above), (100, 170), (60, 170)])
    before = pattern(shape)
    assert stops(before) == ["narrow opening"]
    done = ease(before, KIT)
    assert stops(done.pattern) == []
    assert done.eased.max_shift < cut
    made = plan(done.pattern, KIT)
    assert prove(done.pattern, KIT, made).ok
    assert max(leg.path[:, 0].max() for leg in made.legs) > 199


JOGS = np.array([[128, 150], [140, 150], [141.2, 151.2], [150, 151.2], [151, 150], [172, 150]], dtype=float)
"""A narrow way (mm) with two jogs no jigsaw follows."""


def test_a_narrow_way_with_jogs_is_opened_along_a_line_the_blade_can_follow() -> None:
    """With a kerf along the jogs themselves, room to turn had to be made at each: the outline moved 2.9 mm."""
    way = shapely.buffer(shapely.LineString(JOGS), 0.4)
    before = pattern(shapely.union_all([box(80, 100, 130, 200), way, box(170, 100, 220, 200)]))
    assert stops(before) == ["narrow opening"]
    done = ease(before, KIT)
    assert stops(done.pattern) == []
    assert done.eased.max_shift < 0.8


@given(radius=st.floats(2.0, 12.0), jog=st.floats(0.2, 1.2))
def test_a_followed_line_turns_no_tighter_than_the_blade(radius: float, jog: float) -> None:
    line = JOGS * [1.0, 0.0] + [0.0, 150.0] + np.outer([0, 0, 1, 1, 0, 0], [0.0, jog])
    (followed_line,) = followed(shapely.MultiLineString([line]), radius, 1.3).geoms
    z = to_complex(shapely.get_coordinates(followed_line))
    ahead = np.diff(z)
    turn = np.abs(np.angle(ahead[1:] / ahead[:-1]))
    assert np.all(turn <= 1.001 * np.minimum(np.abs(ahead[1:]), np.abs(ahead[:-1])) / radius)
    assert shapely.hausdorff_distance(followed_line, shapely.LineString(line)) <= jog
    assert abs(z[[0, -1]] - to_complex(line[[0, -1]])).max() < 1e-6


def test_a_line_the_blade_can_follow_stays_as_it_is() -> None:
    turns = np.linspace(0, 2, 200)
    lines = shapely.MultiLineString([12 * np.column_stack([np.cos(turns), np.sin(turns)])])
    assert followed(lines, 9.8, 1.3) == lines


def test_a_speck_is_left_out_and_said_so() -> None:
    figure = MultiPolygon([box(80, 100, 150, 200), box(200, 150, 201, 151)])
    done = mend(pattern(figure), KIT, Mending())
    assert len(done.pattern.openings) == 1
    told = [f for f in done.findings if f.cleared and f.at[0] > 190]
    assert told and all("left out" in remedy(f) for f in told)


def test_switched_off_nothing_is_eased() -> None:
    before = pattern(box(100, 100, 200, 200))
    done = mend(before, KIT, Mending(ease=False))
    assert done.eased is None
    assert done.pattern is before


def test_with_both_kept_blunt_corners_are_rounded_to_the_turning_radius() -> None:
    """A corner of 150 degrees moves R (1 / cos 15 - 1) = 0.35 mm, less than half the saw cut."""
    figure = Polygon([(100, 100), (200, 100), (200, 200), (150, 213.4), (100, 200)])
    done = ease(pattern(figure, "both"), KIT)
    radius = KIT.blade.turning_radius
    moved = radius * (1 / math.cos(math.radians(15)) - 1)
    assert done.pattern.figure.distance(Point(150, 213.4)) == pytest.approx(moved, abs=0.03)


def test_a_figure_is_eased_as_well() -> None:
    figure = MultiPolygon([box(60, 60, 240, 148), box(60, 152, 240, 240), box(149, 140, 151, 160)])
    before = pattern(as_multi(shapely.union_all(figure)), "figure")
    assert stops(before)
    assert len(stops(ease(before, KIT).pattern)) < len(stops(before))


@settings(max_examples=4, deadline=None, phases=PHASES)
@given(star=stars(at=150 + 150j))
def test_easing_again_changes_nothing(star: Polygon) -> None:
    once = ease(pattern(star), KIT)
    twice = ease(once.pattern, KIT)
    assert once.pattern.waste.symmetric_difference(twice.pattern.waste).area < 1e-3


@settings(max_examples=4, deadline=None, phases=PHASES)
@given(star=stars(at=150 + 150j), hole=st.floats(2, 12))
def test_easing_never_finds_more(star: Polygon, hole: float) -> None:
    """No more stops; and unless a stop was cleared, no more findings of any kind."""
    before = pattern(as_multi(star.union(box(215, 215, 215 + hole, 280))))
    done = ease(before, KIT)
    found = [
        (sum(f.severity == "stop" for f in fs), len(fs)) for fs in (check.run(before, KIT), done.findings)
    ]
    assert found[1] <= found[0]


@settings(max_examples=4, deadline=None, phases=PHASES)
@given(star=stars(at=150 + 150j), shift=st.tuples(st.integers(-60, 60), st.integers(-60, 60)))
def test_easing_goes_along_when_the_pattern_moves(star: Polygon, shift: tuple[int, int]) -> None:
    here = ease(pattern(star), KIT).pattern.waste
    there = ease(pattern(affinity.translate(star, *shift)), KIT).pattern.waste
    assert affinity.translate(here, *shift).symmetric_difference(there).area < 1e-3


def test_tips_are_corners_and_not_necks() -> None:
    dumbbell = as_multi(shapely.union_all([box(0, 0, 40, 40), box(39, 18, 61, 22), box(60, 0, 100, 40)]))
    found = tips(dumbbell, 5.0, 5.0)
    assert len(found) == 8
    assert all(depth == pytest.approx(5 * (math.sqrt(2) - 1), abs=0.01) for _, depth in found)


def test_opening_a_disc_gives_the_disc() -> None:
    disc = Point(0, 0).buffer(10, quad_segs=64)
    assert disc.symmetric_difference(opened(disc, 4)).area < 0.5


def test_the_spine_of_a_bar_is_its_middle_line() -> None:
    bar = MultiPolygon([box(0, 0, 60, 4)])
    line = spine(Middle(bar), box(10, -1, 50, 5), 4.5)
    y = shapely.get_coordinates(line)[:, 1]
    assert np.abs(y - 2).max() < 0.1
    assert line.length == pytest.approx(40, abs=4)


def test_a_drawing_full_of_detail_ends_early_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no effort allowed nothing is mended; the stops stay, and a word is added."""
    kit = kit_of()
    slit = shapely.union(shapely.box(60, 60, 140, 140), shapely.box(140, 99.6, 200, 100.4))
    outline = Outline(from_region(as_multi(shapely.union(slit, shapely.box(200, 70, 240, 130)))), 1.0)
    pattern = cut_pattern(outline, Panel(300.0, 200.0, 18.0), "panel", kit.blade.kerf)
    plain = mend(pattern, kit, Mending())
    assert not [f for f in plain.findings if f.severity == "stop" and not f.cleared]
    monkeypatch.setattr("cutout.amend.ease.EFFORT", -1)
    lie.forget()
    short = mend(pattern, kit, Mending())
    left = [f for f in short.findings if not f.cleared]
    assert [f.kind for f in left if f.severity == "stop"] == ["narrow opening"]
    assert "mending was ended" in text(next(f for f in left if f.kind == "source"))
