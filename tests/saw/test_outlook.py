"""Another blade is named where it needs far fewer cuts in about the time, and only there."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from cutout.errors import LayoutError
from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit, bit, blade, drills, wood
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw import plan
from cutout.saw.model import Plan
from cutout.saw.outlook import MANY, MOST_CUTS, advice, outlook, refuse_endless
from cutout.saw.planner.area import fewest_stretches, stretches_of


def kit_with(name: str) -> Kit:
    return Kit(blade(name), drills("metric"), bit("6mm"), wood("white-pine"))


def wheel(teeth: int, kit: Kit) -> Pattern:
    """An opening with so many rounded teeth: a scroll blade goes round them, a jigsaw does not."""
    a = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    r = 80 + 8 * np.cos(teeth * a)
    polygon = shapely.Polygon(np.column_stack([130 + r * np.cos(a), 130 + r * np.sin(a)]))
    return cut_pattern(Outline(from_region(polygon), 1.0), Panel(260.0, 260.0, 18.0), "panel", kit.blade.kerf)


@pytest.mark.parametrize("name", ["jigsaw-narrow", "scroll-medium"])
def test_the_outlook_counts_what_the_plan_then_takes(name: str) -> None:
    kit = kit_with(name)
    pattern = wheel(9, kit)
    seen, made = outlook(pattern, kit), plan(pattern, kit)
    assert 0.4 < seen.cuts / len(made.legs) < 2.5
    assert 0.4 < seen.minutes / made.minutes < 2.5


def many(pattern: Pattern, minutes: float) -> Plan:
    leg = plan(pattern, kit_with("scroll-medium")).legs[0]
    return Plan((), (leg,) * MANY, (), (), 0.0, 1, minutes)


def test_a_blade_with_far_fewer_cuts_is_named_unless_it_is_much_slower() -> None:
    kit, other = kit_with("jigsaw-narrow"), kit_with("scroll-medium")
    pattern = wheel(16, kit)
    text = advice(pattern, kit, [other], many(pattern, 60.0))
    assert text is not None
    assert other.blade.title in text
    assert advice(pattern, kit, [other], many(pattern, 1.0)) is None


def test_nothing_is_said_of_a_short_plan() -> None:
    kit, other = kit_with("jigsaw-narrow"), kit_with("scroll-medium")
    pattern = wheel(3, kit)
    assert advice(pattern, kit, [other], plan(pattern, other)) is None


def star(tips: int, kit: Kit) -> Pattern:
    a = np.arange(2 * tips) * np.pi / tips
    r = np.where(np.arange(2 * tips) % 2, 70, 110)
    polygon = shapely.Polygon(np.column_stack([130 + r * np.cos(a), 130 + r * np.sin(a)]))
    return cut_pattern(Outline(from_region(polygon), 1.0), Panel(260.0, 260.0, 18.0), "panel", kit.blade.kerf)


def test_more_cuts_than_can_be_planned_are_refused_before_any_is_looked_for() -> None:
    kit = kit_with("jigsaw-narrow")
    refuse_endless(star(MOST_CUTS[0] // 2, kit), kit)
    with pytest.raises(
        LayoutError, match=r"would take 302 cuts or more in one opening, at most 300 are taken"
    ):
        refuse_endless(star(MOST_CUTS[0] // 2 + 1, kit), kit)
    refuse_endless(star(MOST_CUTS[0] // 2 + 1, kit), kit, times=2)


@pytest.mark.parametrize("name", ["jigsaw", "jigsaw-narrow", "scroll-medium"])
def test_what_is_told_without_fitting_is_no_more_than_what_is_found(name: str) -> None:
    kit = kit_with(name)
    for pattern in (wheel(5, kit), wheel(11, kit), star(7, kit)):
        (opening,) = pattern.openings
        fitted = stretches_of(opening, pattern.panel, kit.blade, kit.allow)
        assert fewest_stretches(opening, pattern.panel, kit.blade, kit.allow) <= len(fitted)
