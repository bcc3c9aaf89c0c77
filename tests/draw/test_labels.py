from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, box

from cutout.draw import labels
from cutout.draw.ink import Ink
from cutout.draw.labels import GAP, Label, Room
from cutout.write.drawing import Drawing, segments
from cutout.write.template.annotate import annotate, named
from cutout.write.template.template import tiling_of
from cutout.write.template.tiling import Sheet, Tiling
from cutout.write.work import Work
from tests.asking import asking

PLACE = st.tuples(st.floats(0, 100), st.floats(0, 100))


@settings(deadline=None, max_examples=40)
@given(
    anchors=st.lists(PLACE, min_size=1, max_size=25),
    lines=st.lists(st.tuples(PLACE, PLACE), max_size=12),
    width=st.floats(3, 20),
)
def test_labels_cover_no_line_and_no_label(anchors: list, lines: list, width: float) -> None:
    drawn = [LineString(pair) for pair in lines if pair[0] != pair[1]]
    room = Room(segments(drawn) if drawn else np.empty(0, dtype=object), (-20, -20, 120, 120))
    wanted = [Label(str(n), "plain", (width, 3.0), (at,)) for n, at in enumerate(anchors)]
    placed, left = room.place(wanted)
    boxes = [box(*p.box) for p in placed]
    assert len(placed) + len(left) == len(wanted)
    for n, one in enumerate(boxes):
        assert not any(one.intersects(line) for line in drawn)
        assert not any(one.intersects(other) for other in boxes[n + 1 :])
    for p in placed:
        leader = LineString(p.leader) if p.leader else None
        assert leader is None or not any(leader.crosses(b) for b in boxes)


def test_a_label_without_room_is_named_not_dropped() -> None:
    wall = segments([LineString([(x, -50), (x, 150)]) for x in range(-50, 150, 2)])
    placed, left = Room(wall, (-20, -20, 120, 120)).place([Label("7", "plain", (6.0, 3.0), ((50, 50),))])
    assert not placed
    assert [label.text for label in left] == ["7"]


@settings(deadline=None, max_examples=25)
@given(
    lines=st.lists(st.tuples(PLACE, PLACE), min_size=1, max_size=8),
    discs=st.lists(st.tuples(PLACE, st.floats(0.3, 9.0)), max_size=4),
    seed=st.integers(0, 9),
)
def test_a_grid_of_the_lines_tells_nothing_else_than_they_do(lines: list, discs: list, seed: int) -> None:
    drawn = [LineString(pair) for pair in lines if pair[0] != pair[1]]
    drawn = [*(drawn or [LineString([(0, 0), (9, 9)])]), *(shapely.Point(at).buffer(r) for at, r in discs)]
    corners = np.random.default_rng(seed).uniform(-25, 125, (300, 2))
    sides = np.random.default_rng(seed + 1).uniform(0.0, 12.0, (300, 2))
    boxes = np.hstack([corners, corners + sides])
    touched, free = Ink(np.array(drawn, dtype=object), (-20, -20, 120, 120)).told(boxes)
    exact = shapely.intersects(shapely.box(*boxes.T), shapely.union_all(drawn))
    assert not (touched & ~exact).any()
    assert not (free & exact).any()
    assert (touched | free).mean() > 0.5


def test_labels_lie_where_they_would_without_the_grid(monkeypatch: pytest.MonkeyPatch) -> None:
    wall = segments([LineString([(x, 0), (x + 20, 100)]) for x in range(0, 90, 9)])
    wanted = [Label(str(n), "plain", (6.0, 3.0), ((5.0 * n, 47.0),)) for n in range(12)]
    plain = Room(wall, (-20, -20, 120, 120)).place(wanted)
    monkeypatch.setattr(labels, "_WORTH_A_GRID", -1)
    assert Room(wall, (-20, -20, 120, 120)).place(wanted) == plain


def test_where_much_was_looked_for_only_what_is_near_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    wall = segments([LineString([(x, -200), (x, 200)]) for x in range(-30, 132, 2)])
    wanted = [Label("7", "plain", (6.0, 3.0), ((50, 0),)), Label("8", "plain", (6.0, 3.0), ((-60, 0),))]
    assert len(Room(wall, (-150, -150, 250, 150)).place(wanted)[0]) == 2
    monkeypatch.setattr(labels, "EFFORT", 100)
    placed, left = Room(wall, (-150, -150, 250, 150)).place(wanted)
    assert [p.label.text for p in placed] == ["8"]
    assert [label.text for label in left] == ["7"]


def test_near_spots_win() -> None:
    placed, _ = Room(np.empty(0, dtype=object), (0, 0, 100, 100)).place(
        [Label("1", "plain", (5.0, 2.0), ((50, 50),), reach=4.0)]
    )
    assert shapely.distance(box(*placed[0].box), shapely.Point(50, 50)) < 6
    assert placed[0].leader is None


def test_a_drawing_s_labels_keep_clear(make_work: Callable[..., Work]) -> None:
    work = asking(make_work(), paper="120x130mm")
    drawing = Drawing.of(work)
    tiling = tiling_of(drawing)
    notes = annotate(drawing, tiling)
    assert not notes.left_out
    boxes = shapely.box(*np.array([p.box for p in notes.placed]).T)
    assert not shapely.intersects(boxes, drawing.cuts).any()
    tree = shapely.STRtree(boxes)
    first, second = tree.query(boxes, predicate="intersects")
    assert (first == second).all()
    texts = {p.label.text for p in notes.placed}
    assert {"1", "B", "B2", "a"} <= texts


def test_labels_move_with_the_mirror(make_work: Callable[..., Work]) -> None:
    """For the back the places change, the words don't."""
    work = make_work()
    front, back = (annotate(d, tiling_of(d)) for d in (Drawing.of(work), Drawing.of(asking(work, back=True))))
    assert {p.label.text for p in front.placed} == {p.label.text for p in back.placed}


@pytest.mark.parametrize("low", np.arange(-1.4, 1.5, 0.2).tolist())
def test_a_name_finds_a_strip_just_wide_enough(low: float) -> None:
    """A letter 1.2 x 3.5 mm beside a cross, between two lines 5.5 mm apart, wherever they lie above the middle."""
    walls = np.array([LineString([(-40, y), (40, y)]) for y in (low - 2.3, low + 3.2)])
    room = Room(walls, (-40.0, -40.0, 40.0, 40.0))
    room.occupy((-3.0, -3.0, 3.0, 3.0))
    strip = (-40.0, low - 2.3, 40.0, low + 3.2)
    letter = Label("d", "words", (1.2, 3.5), ((0.0, 0.0),), reach=3.2, within=strip, farthest=8.0)
    placed, left = room.place([letter])
    assert not left
    assert low - 2.3 + GAP <= placed[0].box[1] and placed[0].box[3] <= low + 3.2 - GAP


def test_rather_across_a_leader_than_without_a_name() -> None:
    """The first may stand above its spot only, the second right of its own: their leaders cross."""
    room = Room(np.array([box(-40, -40, -30, -30)]), (-50.0, -50.0, 50.0, 50.0))
    first = Label("1", "plain", (4.0, 4.0), ((0.0, 0.0),), within=(-5.0, 22.0, 5.0, 32.0))
    second = Label("2", "plain", (4.0, 4.0), ((-14.0, 14.0),), within=(18.0, 8.0, 30.0, 20.0))
    placed, left = room.place([first, second])
    assert not left
    one, two = (LineString(p.leader) for p in placed)
    assert one.crosses(two) and not two.intersects(box(*placed[0].box))


def test_a_name_that_can_stand_in_one_place_only_gets_it() -> None:
    sheet = Sheet(0, 0, (0.0, 0.0, 40.0, 40.0))
    tiling = Tiling((54.0, 66.0), 1, 1, 10.0, (sheet,), (), 1)
    # A wall leaves a strip 6 mm high, in which one number has room.
    wall = LineString([(0, 6), (40, 6)]).buffer(0.1)
    post = LineString([(12, 0), (12, 6)]).buffer(0.1)
    room = Room(np.array([wall, post, box(13, 0, 40, 6)], dtype=object), sheet.window)
    wanted = [
        Label("anywhere", "plain", (8.0, 3.5), ((6.0, 3.0), (30.0, 20.0)), centred=True),
        Label("here", "plain", (8.0, 3.5), ((6.0, 3.0),), centred=True, farthest=2.0),
    ]
    assert [label.text for label in room.copy().place(wanted)[1]] == ["here"]
    after, placed, missing = named(room, wanted, tiling)
    assert not missing and {p.label.text for p in placed} == {"anywhere", "here"}
    assert not shapely.intersects(box(*placed[0].box), box(*placed[1].box))
    assert after is not room and len(room.place(wanted)[0]) == 1, "the room it began with is as it was"


def test_where_no_straight_leader_finds_a_way_out_one_with_a_bend_does() -> None:
    room = Room(np.empty(0, dtype=object), (-60.0, -60.0, 60.0, 60.0))
    # A lane between two long names, each end of it looking at a third and fourth.
    long = [Label("long", "plain", (40.0, 4.0), ((0.0, y),), centred=True) for y in (3.8, -3.8)]
    high = [Label("high", "plain", (4.0, 80.0), ((x, 0.0),), centred=True) for x in (26.0, -26.0)]
    walls, _ = room.place([*long, *high])
    assert [p.leader for p in walls] == [None] * 4
    (inside,), left = room.place([Label("inside", "plain", (10.0, 3.0), ((0.0, 0.0),), reach=0.5)])
    assert not left and inside.leader is not None and len(inside.leader) == 3
    way = LineString(inside.leader)
    assert not any(way.intersects(box(*p.box)) or box(*inside.box).intersects(box(*p.box)) for p in walls)
    assert way.distance(box(*inside.box)) < 1e-6 and way.distance(shapely.Point(0, 0)) == pytest.approx(0.5)
