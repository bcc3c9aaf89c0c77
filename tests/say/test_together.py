"""Findings of one sort in one sentence."""

from __future__ import annotations

from cutout.check.web import NarrowWeb
from cutout.finding import Finding
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


def test_a_place_in_the_reader_s_units() -> None:
    assert Words("mm").place(177.4, 265.0) == "177, 265 mm"
    assert Words("in").place(177.8, 254.0) == "7.0, 10.0 in"
