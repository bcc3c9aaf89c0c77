from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiLineString, Point
from shapely.geometry.base import BaseGeometry

from cutout.errors import WriteError
from cutout.kit import Paper, paper
from cutout.write.template import sliding
from cutout.write.template.register import register_marks
from cutout.write.template.template import _few
from cutout.write.template.tiling import Tiling, column_letters, fewest_slid, sheets_needed, tile

SMALL = Paper("custom", "120 x 160 mm", 120.0, 160.0, "invented")


def windows(tiling: Tiling) -> BaseGeometry:
    return shapely.union_all(shapely.box(*np.array([s.window for s in tiling.sheets]).T))


@st.composite
def drawings(draw: st.DrawFn) -> BaseGeometry:
    n = draw(st.integers(1, 4))
    spots = [(draw(st.floats(5, 895)), draw(st.floats(5, 695)), draw(st.floats(2, 120))) for _ in range(n)]
    return shapely.union_all([Point(x, y).buffer(r).exterior for x, y, r in spots])


@settings(deadline=None, max_examples=50)
@given(lines=drawings())
def test_every_line_lies_on_a_printed_sheet(lines: BaseGeometry) -> None:
    tiling = tile(lines, lines.bounds, (-8, -8, 908, 708), SMALL)
    assert windows(tiling).buffer(1e-6).covers(lines)


@settings(deadline=None, max_examples=50)
@given(lines=drawings())
def test_printed_sheets_hang_together(lines: BaseGeometry) -> None:
    tiling = tile(lines, lines.bounds, (-8, -8, 908, 708), SMALL)
    reached = {tiling.sheets[0].name}
    for _ in tiling.sheets:
        for a, b in tiling.joins:
            if {a.name, b.name} & reached:
                reached |= {a.name, b.name}
    assert reached == {s.name for s in tiling.sheets}


@settings(deadline=None, max_examples=30)
@given(lines=drawings())
def test_marks_lie_on_both_sheets(lines: BaseGeometry) -> None:
    tiling = tile(lines, lines.bounds, (-8, -8, 908, 708), SMALL)
    named = {s.name: shapely.box(*s.window) for s in tiling.sheets}
    marks = register_marks(tiling, lines)
    assert len(marks) == 2 * len(tiling.joins)
    assert len({m.name for m in marks}) == len(marks)
    for mark in marks:
        for sheet in mark.sheets:
            assert named[sheet].contains(Point(mark.at).buffer(3.0))


@settings(deadline=None, max_examples=50)
@given(lines=drawings())
def test_never_more_sheets_than_the_grid(lines: BaseGeometry) -> None:
    tiling = tile(lines, lines.bounds, (-8, -8, 908, 708), SMALL)
    assert len(tiling.sheets) <= tiling.full
    width, height = lines.bounds[2] - lines.bounds[0], lines.bounds[3] - lines.bounds[1]
    grids = [
        sheets_needed(width, w - 14, 10) * sheets_needed(height, h - 26, 10)
        for w, h in ((120, 160), (160, 120))
    ]
    assert tiling.full == min(grids)


def test_rows_slide_where_that_saves_sheets() -> None:
    """Three lines 180 mm long, one a row, each 60 mm further right: windows of 106 x 134 mm take two a row,
    a grid three or more."""
    steps = MultiLineString([[(60 * k, 120 * k), (60 * k + 180, 120 * k)] for k in range(3)])
    tiling = tile(steps, steps.bounds, steps.bounds, SMALL)
    assert len(tiling.sheets) <= 6 < tiling.full
    assert windows(tiling).buffer(1e-6).covers(steps)


def test_a_sheet_with_nothing_on_it_is_left_out_and_named() -> None:
    ring = LineString([(0, 0), (400, 0), (400, 400), (0, 400), (0, 0)])
    tiling = tile(ring, ring.bounds, ring.bounds, SMALL)
    assert len(tiling.sheets) + len(tiling.blank) == tiling.columns * tiling.rows
    assert tiling.blank
    assert not {s.name for s in tiling.blank} & {s.name for s in tiling.sheets}
    for sheet in tiling.blank:
        assert not shapely.box(*sheet.window).intersects(ring)


def test_islands_are_joined_by_blank_sheets() -> None:
    far_apart = MultiLineString([[(0, 0), (10, 10)], [(800, 600), (810, 610)]])
    tiling = tile(far_apart, far_apart.bounds, far_apart.bounds, SMALL)
    assert len(tiling.joins) >= len(tiling.sheets) - 1


def test_the_panels_edges_are_shown_where_it_costs_no_sheet() -> None:
    """150 mm of pattern in a 230 mm panel, on sheets that reach 366 mm: both edges appear."""
    line = LineString([(40, 40), (190, 190)])
    tiling = tile(line, line.bounds, (-8, -8, 238, 238), Paper("custom", "", 392.0, 392.0, ""))
    assert windows(tiling).covers(shapely.box(0, 0, 230, 230))


def test_names() -> None:
    assert [column_letters(n) for n in (0, 1, 25, 26, 27, 701, 702)] == [
        "A",
        "B",
        "Z",
        "AA",
        "AB",
        "ZZ",
        "AAA",
    ]


def test_paper_too_small_is_refused_in_a_sentence() -> None:
    with pytest.raises(WriteError, match="larger"):
        tile(LineString([(0, 0), (9, 9)]), (0, 0, 9, 9), (0, 0, 9, 9), Paper("x", "", 30.0, 30.0, ""))


def test_the_smallest_paper_the_kit_takes_still_works() -> None:
    line = LineString([(0, 0), (90, 90)])
    assert tile(line, line.bounds, line.bounds, paper("60x60mm")).sheets


@settings(deadline=None, max_examples=60)
@given(seed=st.integers(0, 10_000), n=st.integers(1, 200), size=st.floats(5, 1500), sheet=st.floats(60, 300))
def test_sheets_are_counted_as_they_are_laid(seed: int, n: int, size: float, sheet: float) -> None:
    """In strips tried one by one, each from its first line on; sheets in step are never fewer."""
    points = np.random.default_rng(seed).uniform(0, size, (n, 2))
    lattice = sliding.Lattice(sheet, 190.0, 10.0)
    low, high = points[:, 1].min() - sliding.PAD, points[:, 1].max() + sliding.PAD
    strips = sheets_needed(high - low, 190.0, 10.0)
    counts = []
    for share in np.linspace(0, 1, sliding._COUNTED):
        begin = low - share * (strips * 180.0 + 10.0 - (high - low))
        lane = np.clip(np.floor((points[:, 1] - begin - 5.0) / 180.0), 0, strips - 1)
        parts = [np.sort(points[lane == k, 0]) for k in np.unique(lane)]
        counts.append(sum(len(sliding._starts(p, lattice)) for p in parts))
        assert counts[-1] <= sum(sliding._slid(p, 0.0, lattice).used.sum() for p in parts)
    assert sliding.fewest(points, lattice) == min(counts)


def test_the_places_that_tell_which_sheets_are_used_are_on_the_same_sheets_as_all():
    draw = np.random.default_rng(4)
    for pitch in (90.0, 180.0):
        along = np.sort(np.concatenate([draw.uniform(0, 400, 300), draw.uniform(900, 1400, 40)]))
        few = sliding._telling(along, pitch)
        assert len(few) < len(along) / 4
        for begin in draw.uniform(-200, 0, 40):
            used = [set(sliding._cells(places, begin, pitch, 10.0, 30).tolist()) for places in (along, few)]
            assert used[0] == used[1]


@settings(deadline=None, max_examples=30)
@given(lines=drawings())
def test_some_of_the_points_take_no_more_sheets_than_all(lines: BaseGeometry) -> None:
    points = sliding.thinned(sliding.points_on(lines))
    some = _few(points)
    assert np.isin(some.round(6), points.round(6)).all()
    assert fewest_slid(some, SMALL) <= fewest_slid(points, SMALL)
