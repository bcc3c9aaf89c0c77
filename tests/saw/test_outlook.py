"""Another blade is named where it needs far fewer cuts in about the time, and only there."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from cutout.errors import LayoutError
from cutout.geom.outline import Outline, from_region
from cutout.kit import Blade, Kit
from cutout.pattern import Opening, Panel, Pattern, cut_pattern
from cutout.saw import outlook as counted
from cutout.saw import plan
from cutout.saw.model import Plan
from cutout.saw.outlook import MANY, MOST_CUTS, _at_least, advice, outlook, refuse_endless
from cutout.saw.planner.area import fewest_stretches, stretches_of
from cutout.saw.planner.hand import Prices
from cutout.saw.planner.line import Stretch
from tests.figures import star, wavy
from tests.kits import kit_of


def wheel(teeth: int, kit: Kit) -> Pattern:
    """An opening with so many rounded teeth: a scroll blade goes round them, a jigsaw does not."""
    figure = wavy(80.0, [(teeth, 0.1, 0.0)], 130 + 130j)
    return cut_pattern(Outline(from_region(figure), 1.0), Panel(260.0, 260.0, 18.0), "panel", kit.blade.kerf)


@pytest.mark.parametrize("name", ["jigsaw-narrow", "scroll-medium"])
def test_the_outlook_counts_what_the_plan_then_takes(name: str) -> None:
    kit = kit_of(name)
    pattern = wheel(9, kit)
    seen, made = outlook(pattern, kit), plan(pattern, kit)
    assert 0.4 < seen.cuts / len(made.legs) < 2.5
    assert 0.4 < seen.minutes / made.minutes < 2.5


def many(pattern: Pattern, minutes: float) -> Plan:
    leg = plan(pattern, kit_of("scroll-medium")).legs[0]
    return Plan((), (leg,) * MANY, (), (), 0.0, 1, minutes)


def test_a_blade_with_far_fewer_cuts_is_named_unless_it_is_much_slower() -> None:
    kit, other = kit_of("jigsaw-narrow"), kit_of("scroll-medium")
    pattern = wheel(16, kit)
    text = advice(pattern, kit, [other], many(pattern, 60.0))
    assert text is not None
    assert other.blade.title in text
    assert advice(pattern, kit, [other], many(pattern, 1.0)) is None


def test_a_blade_that_takes_too_long_is_known_before_all_openings_were_fitted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kit, other = kit_of("jigsaw-narrow"), kit_of("scroll-medium")
    wheels = [wavy(30.0, [(16, 0.1, 0.0)], 40 + 40j + 80 * n) for n in range(6)]
    outline = Outline(from_region(shapely.union_all(wheels)), 1.0)
    pattern = cut_pattern(outline, Panel(480.0, 80.0, 18.0), "panel", kit.blade.kerf)
    planned = many(wheel(3, kit), 10.0 * len(wheels))
    fitted: list[Blade] = []

    def counting(opening: Opening, panel: Panel, blade: Blade, allow: float) -> list[Stretch]:
        fitted.append(blade)
        return stretches_of(opening, panel, blade, allow)

    whole = outlook(pattern, other)
    monkeypatch.setattr(counted, "stretches_of", counting)
    assert advice(pattern, kit, [other], replace(planned, minutes=whole.minutes)) is not None
    assert fitted.count(other.blade) == len(wheels)
    fitted.clear()
    assert advice(pattern, kit, [other], replace(planned, minutes=0.75 * whole.minutes)) is None
    assert 0 < fitted.count(other.blade) < len(wheels)


def test_nothing_is_said_of_a_short_plan() -> None:
    kit, other = kit_of("jigsaw-narrow"), kit_of("scroll-medium")
    pattern = wheel(3, kit)
    assert advice(pattern, kit, [other], plan(pattern, other)) is None


def starry(tips: int, kit: Kit) -> Pattern:
    figure = star(tips, 110.0, 70.0, 130 + 130j)
    return cut_pattern(Outline(from_region(figure), 1.0), Panel(260.0, 260.0, 18.0), "panel", kit.blade.kerf)


def test_more_cuts_than_can_be_planned_are_refused_before_any_is_looked_for() -> None:
    kit = kit_of("jigsaw-narrow")
    much = starry(MOST_CUTS[0] // 2 + 1, kit)
    refuse_endless(starry(MOST_CUTS[0] // 2, kit), kit, mended=False)
    with pytest.raises(
        LayoutError, match=r"would take 252 cuts or more in one opening, at most 250 are taken"
    ):
        refuse_endless(much, kit, mended=False)
    refuse_endless(much, kit, mended=True)


def test_where_bridges_will_part_openings_more_cuts_are_taken_before_they_do() -> None:
    kit = kit_of("jigsaw-narrow")
    much = starry(MOST_CUTS[0] // 2 + 1, kit)
    ring = much.figure.difference(shapely.Point(130, 130).buffer(20))
    pattern = cut_pattern(Outline(from_region(ring), 1.0), much.panel, "panel", kit.blade.kerf)
    refuse_endless(pattern, kit, mended=False)


@pytest.mark.parametrize("name", ["jigsaw", "jigsaw-narrow", "scroll-medium"])
def test_what_is_told_without_fitting_is_no_more_than_what_is_found(name: str) -> None:
    kit = kit_of(name)
    for pattern in (wheel(5, kit), wheel(11, kit), starry(7, kit)):
        (opening,) = pattern.openings
        fitted = stretches_of(opening, pattern.panel, kit.blade, kit.allow)
        assert fewest_stretches(opening, pattern.panel, kit.blade, kit.allow) <= len(fitted)


@pytest.mark.parametrize(("wider", "refused"), [(0.5, True), (0.0, False)])
def test_openings_that_are_all_different_are_refused_where_equal_ones_are_taken(
    wider: float, refused: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit = kit_of("jigsaw-narrow")
    boxes = [shapely.box(20 + 60 * k, 20, 50 + (60 + wider) * k, 50) for k in range(5)]
    outline = Outline(from_region(shapely.MultiPolygon(boxes)), 1.0)
    pattern = cut_pattern(outline, Panel(320.0, 80.0, 18.0), "panel", kit.blade.kerf)
    monkeypatch.setattr(counted, "MOST_DIFFERENT", 12)
    if refused:
        with pytest.raises(LayoutError, match=r"different openings alone would take [0-9]+ cuts"):
            refuse_endless(pattern, kit, mended=False)
    else:
        refuse_endless(pattern, kit, mended=False)


@pytest.mark.parametrize("name", ["jigsaw-narrow", "scroll-medium"])
@pytest.mark.parametrize("teeth", [3, 11])
def test_no_outlook_is_quicker_than_what_leaves_a_blade_out(name: str, teeth: int) -> None:
    """The bound goes by cuts no blade can spare; a blade that it leaves out would not have been named."""
    kit = kit_of(name)
    prices = Prices.of(kit.moves, kit.feed(18.0))
    for pattern in (wheel(teeth, kit), starry(teeth, kit)):
        seen = outlook(pattern, kit)
        least = [_at_least(opening, pattern.panel, kit, prices) for opening in pattern.openings]
        assert sum(cuts for cuts, _ in least) <= seen.cuts
        assert 0 < math.fsum(seconds for _, seconds in least) / 60 <= seen.minutes
