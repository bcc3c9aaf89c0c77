"""Pieces on boards: nothing overlaps, gaps and margins are kept, the same every time, less wood than shelves."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box

from cutout.errors import LayoutError
from cutout.geom.outline import polygons_of
from cutout.nest import Board, Layout, Piece, nest, shelf_length
from tests.figures import star


def sound(layout: Layout) -> None:
    """Every piece once, on its board, apart from the others by the gap."""
    board = layout.board
    assert [s.piece for s in layout.spots] == list(range(len(layout.pieces)))
    inside = box(board.margin, board.margin, board.length - board.margin, board.width - board.margin)
    for number in range(layout.boards):
        shapes = [layout.shape(s) for s in layout.spots if s.board == number]
        assert shapes
        for n, a in enumerate(shapes):
            assert inside.buffer(1e-6).covers(a)
            assert all(a.distance(b) >= board.gap - 1e-6 for b in shapes[:n])


pieces = st.lists(
    st.one_of(
        st.tuples(st.floats(10, 90), st.floats(10, 90)).map(lambda s: box(0, 0, *s)),
        st.floats(5, 40).map(lambda r: Point(3, 4).buffer(r, quad_segs=6)),
        st.tuples(st.integers(3, 7), st.floats(15, 45)).map(lambda s: star(s[0], s[1], 0.4 * s[1])),
    ),
    min_size=1,
    max_size=7,
)


@settings(deadline=None, max_examples=15)
@given(pieces, st.floats(0, 12), st.sampled_from([(0,), (0, 180), (0, 90, 180, 270)]))
def test_any_layout_is_sound(shapes: list[Polygon], gap: float, turns: tuple[int, ...]) -> None:
    board = Board(length=260, width=130, gap=gap, margin=4, turns=turns)
    sound(nest([Piece(str(n), s) for n, s in enumerate(shapes)], board, tries=2))


def test_squares_that_just_fit_fill_the_board() -> None:
    """Four squares of 48 mm with gaps of 4 in 100 mm: two by two; the fifth takes a second board."""
    squares = [Piece(f"square {n}", box(0, 0, 48, 48)) for n in range(5)]
    layout = nest(squares, Board(length=100, width=100, gap=4, margin=0), tries=0)
    sound(layout)
    assert layout.boards == 2
    assert layout.used == pytest.approx(148)


def test_small_pieces_lie_in_holes_of_large_ones_only_where_that_is_wanted() -> None:
    (band,) = polygons_of(Point(0, 0).buffer(60).difference(Point(0, 0).buffer(45)))
    ring = Piece("ring", band)
    disc = Piece("disc", Point(0, 0).buffer(30))
    within, beside = (
        nest([ring, disc], Board(length=500, width=140, holes=h), tries=0) for h in (True, False)
    )
    for layout in (within, beside):
        sound(layout)
    assert within.used < beside.used
    assert Polygon(within.shape(within.spots[0]).exterior).covers(within.shape(within.spots[1]))


def test_the_same_every_time_and_no_worse_with_more_tries() -> None:
    some = [Piece(str(n), star(3 + n % 4, 20 + 7 * n, 8 + 2 * n)) for n in range(7)]
    board = Board(length=2000, width=160, gap=5)
    first = nest(some, board, tries=6)
    assert first == nest(some, board, tries=6)
    assert first.used <= nest(some, board, tries=0).used
    assert first.used < shelf_length(some, board)


def test_the_grain_is_kept_where_only_half_turns_are_allowed() -> None:
    two = [Piece(n, box(0, 0, 80, 20)) for n in "ab"]
    layout = nest(two, Board(length=300, width=60), tries=3)
    for spot in layout.spots:
        x0, y0, x1, y1 = layout.shape(spot).bounds
        assert (x1 - x0, y1 - y0) == pytest.approx((80, 20))


def test_shelves_by_hand() -> None:
    """Boxes 60 x 40, 50 x 40 and 30 x 40 on a 100 mm board, gap 10: two in the first shelf, one in the second."""
    some = [Piece(str(w), box(0, 0, w, 40)) for w in (50, 60, 30)]
    assert shelf_length(some, Board(length=1000, width=100, gap=10, margin=5)) == pytest.approx(
        5 + 60 + 10 + 30 + 5
    )


def test_what_can_not_be_laid_out_is_said() -> None:
    with pytest.raises(LayoutError, match='"long" is 300 x 10 mm, too large'):
        nest([Piece("long", box(0, 0, 300, 10))], Board(length=200, width=100))
    with pytest.raises(LayoutError, match="no sound shape"):
        Piece("bow-tie", Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]))
    with pytest.raises(LayoutError, match="margins"):
        Board(length=8, width=100)
