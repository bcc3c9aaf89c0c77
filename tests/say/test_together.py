"""Findings of one sort in one sentence."""

from __future__ import annotations

from cutout.check.tight import ByHole, NotFollowed, PastIt, Way
from cutout.check.web import NarrowWeb
from cutout.finding import Finding, Kind
from cutout.say import Words, said, together


def web(x: float, size: float, held: bool = True) -> Finding:
    facts = NarrowWeb(50.0, 0.3, False, held, "furniture", None)
    return Finding(kind="thin web", severity="care", at=(x, 5.0), size=size, limit=20.0, facts=facts)


def test_webs_are_told_by_the_weakest_and_arms_apart() -> None:
    webs = [web(1, 9.0), web(2, 6.0), web(3, 8.0), web(4, 3.0, held=False)]
    held, arm = together((f, said(f, "mm")) for f in webs)
    assert (held.count, held.worst.at[0], held.by_measure) == (3, 2, True)
    assert held.words == said(webs[1], "mm")
    assert (arm.count, arm.worst.at[0]) == (1, 4)


def bend(kind: Kind, size: float | None, way: Way) -> Finding:
    angle = None if size else 1.0
    facts = NotFollowed(inside=True, turns=9.8, angle=angle, way=way)
    return Finding(kind=kind, severity="care", at=(0.0, 0.0), size=size, limit=10.4, facts=facts)


def test_corners_and_curves_with_one_way_out_are_told_by_the_tightest_curve() -> None:
    bends = [
        bend("tight corner", None, ByHole(5.0, files=True)),
        bend("tight curve", 4.0, ByHole(9.0, files=False)),
        bend("tight curve", 2.0, ByHole(5.0, files=True)),
        bend("tight curve", 1.0, PastIt()),
    ]
    holes, past = together((f, said(f, "mm")) for f in bends)
    assert (holes.count, holes.worst, holes.kinds) == (3, bends[2], ("tight corner", "tight curve"))
    assert (past.count, past.kinds) == (1, ("tight curve",))


def test_a_place_in_the_reader_s_units() -> None:
    assert Words("mm").place(177.4, 265.0) == "177, 265 mm"
    assert Words("in").place(177.8, 254.0) == "7.0, 10.0 in"
