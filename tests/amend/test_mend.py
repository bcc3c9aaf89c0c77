"""Mending tells what it did: what is cleared is marked, what is left is listed, nothing is lost."""

from __future__ import annotations

import math

import pytest
import shapely
from shapely import MultiPolygon, Point, box

from cutout import check
from cutout.amend import HandBridge, Mending, mend
from cutout.amend.mend import MostLost
from cutout.errors import LayoutError
from cutout.geom.curve import Arc, Line
from cutout.geom.outline import Outline, Ring, from_region
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.say import said
from tests.amend.test_equivariance import drawn
from tests.kits import KIT

PANEL = Panel(400.0, 400.0, 18.0, math.pi / 2)
FRAME = box(100, 100, 300, 300).difference(box(150, 150, 250, 250))


def pattern(figure: shapely.Geometry) -> Pattern:
    return cut_pattern(Outline(from_region(figure)), PANEL, "panel", KIT.blade.kerf)


def test_a_cleared_finding_is_marked_and_none_is_lost() -> None:
    before = pattern(FRAME)
    found = check.run(before, KIT)
    done = mend(before, KIT, Mending())
    assert [f.kind for f in found if f.severity == "stop"] == ["loose piece"]
    assert [f.kind for f in done.findings if f.cleared and f.severity == "stop"] == ["loose piece"]
    left = [f for f in done.findings if not f.cleared]
    assert tuple(left) == tuple(f for f in check.run(done.pattern, KIT))
    assert done.eased is not None


def test_what_may_not_be_bridged_still_stops() -> None:
    done = mend(pattern(FRAME), KIT, Mending(bridge=False))
    assert [f.kind for f in done.findings if f.severity == "stop" and not f.cleared] == ["loose piece"]


def test_a_bridge_by_hand_counts_although_none_are_looked_for() -> None:
    hand = HandBridge((200.0, 275.0), math.pi / 2, 20.0)
    done = mend(pattern(FRAME), KIT, Mending(bridge=False, by_hand=(hand,)))
    assert [b.by_hand for b in done.bridges] == [True]
    assert not [f for f in done.findings if f.severity == "stop" and not f.cleared]


def test_a_sound_pattern_with_nothing_to_mend_is_given_back() -> None:
    z = [
        complex(200 + 60 * math.cos(a), 200 + 60 * math.sin(a))
        for a in (0, math.pi / 2, math.pi, 3 * math.pi / 2)
    ]
    quarter = math.tan(math.pi / 8)
    circle = Ring(tuple(Arc(a, b, quarter) for a, b in zip(z, [*z[1:], z[0]], strict=True)))
    before = cut_pattern(Outline((circle,)), PANEL, "panel", KIT.blade.kerf)
    done = mend(before, KIT, Mending())
    assert done.pattern.outline.rings == before.outline.rings
    assert done.bridges == ()
    assert done.eased is not None and done.eased.max_shift == 0.0


def test_mending_is_the_same_every_time() -> None:
    figure = FRAME.union(box(320, 100, 322, 180))
    first, second = (mend(pattern(figure), KIT, Mending()) for _ in range(2))
    assert first.pattern.waste.wkb == second.pattern.waste.wkb
    assert first.findings == second.findings
    assert first.bridges == second.bridges


def test_curves_of_untouched_rings_survive() -> None:
    arcs = Ring((Arc(330 + 60j, 370 + 60j, 1.0), Arc(370 + 60j, 330 + 60j, 1.0)))
    rings = (*from_region(FRAME), arcs)
    before = cut_pattern(Outline(rings), PANEL, "panel", KIT.blade.kerf)
    done = mend(before, KIT, Mending(ease=False))
    kept = [r for r in done.pattern.outline.rings if any(isinstance(s, Arc) for s in r.segments)]
    assert len(kept) == 1
    assert all(
        isinstance(s, Line) for r in done.pattern.outline.rings if r is not kept[0] for s in r.segments
    )


def test_two_openings_and_the_wood_between_them_stay_apart() -> None:
    done = mend(pattern(MultiPolygon([box(60, 100, 198, 300), box(200, 100, 340, 300)])), KIT, Mending())
    assert len(done.pattern.openings) == 2
    assert len(done.pattern.keep.geoms) == 1


def test_curves_beside_a_bridge_survive_and_the_outline_is_the_region() -> None:
    """A ring of two half circles, bridged: what the bridges do not touch of the arcs' rings stays as it was."""

    def circle(radius: float, pieces: int) -> Ring:
        turn = 2 * math.pi / pieces
        z = [200 + 200j + radius * complex(math.cos(k * turn), math.sin(k * turn)) for k in range(pieces)]
        return Ring(tuple(Arc(a, b, math.tan(turn / 4)) for a, b in zip(z, [*z[1:], z[0]], strict=True)))

    before = cut_pattern(
        Outline((circle(120, 24), circle(80, 24).reversed())), PANEL, "panel", KIT.blade.kerf
    )
    done = mend(before, KIT, Mending(ease=False))
    segments = [s for ring in done.pattern.outline.rings for s in ring.segments]
    assert len(done.bridges) == 2
    assert 34 <= sum(isinstance(s, Arc) for s in segments) < 48
    assert done.pattern.outline.region().symmetric_difference(done.pattern.figure).area < 1e-6


def test_what_sticks_out_over_the_panel_is_not_cleared_by_rounding_a_corner() -> None:
    done = mend(pattern(box(-10, 100, 150, 200)), KIT, Mending())
    left = [f.kind for f in done.findings if f.severity == "stop" and not f.cleared]
    assert set(left) == {"off the panel", "too near the edge"}


def told_while_mending(pattern: Pattern) -> list[tuple[str, int, float]]:
    said: list[tuple[str, int, float]] = []
    mend(pattern, KIT, Mending(), lambda trying, tries, share: said.append((trying, tries, share)))
    return said


def test_mending_says_how_many_patterns_it_tried() -> None:
    rough = drawn()["rough"]
    said = told_while_mending(
        cut_pattern(Outline(from_region(rough)), Panel(300.0, 300.0, 18.0), "panel", KIT.blade.kerf)
    )
    _, tries, shares = zip(*said, strict=True)
    assert tries == tuple(range(1, len(said) + 1))
    assert len(said) > 1
    assert list(shares) == sorted(shares)
    assert 0 < shares[0] <= shares[-1] <= 1


def test_it_says_of_every_loose_piece_that_it_is_looked_at_before_it_eases() -> None:
    middles = [Point(60 + 90 * n, 200) for n in range(3)]
    rings = [middle.buffer(35).difference(middle.buffer(20)) for middle in middles]
    said = told_while_mending(pattern(shapely.union_all(rings)))
    tried = [what for what, _, _ in said]
    assert tried == sorted(tried)
    assert tried.count("bridges") >= 2 * len(rings)
    shares = [share for _, _, share in said]
    assert shares == sorted(shares)
    assert 0 < shares[0] < 0.25
    assert shares[tried.count("bridges") - 1] == 0.5


def test_a_figure_finer_than_the_saw_cut_is_refused_when_none_of_it_is_left() -> None:
    with pytest.raises(LayoutError, match="nothing of the figure is left"):
        mend(pattern(box(150, 100, 150.4, 300)), KIT, Mending())


def test_it_is_a_stop_when_mending_leaves_less_than_half() -> None:
    hairs = [box(60 + 30 * n, 100, 60.4 + 30 * n, 300) for n in range(8)]
    done = mend(pattern(shapely.union_all([*hairs, box(320, 150, 340, 170)])), KIT, Mending())
    (lost,) = (f for f in done.findings if isinstance(f.facts, MostLost))
    assert lost.severity == "stop"
    assert "of the figure" in said(lost, "mm").text
