"""A plan does not care which way up the figure lies, where on the panel, or in what unit it is told."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, affinity

from cutout.geom.curve import to_complex
from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit, bit
from cutout.pattern import Opening, Panel, Pattern, cut_pattern
from cutout.pattern.placing import placed
from cutout.saw import plan, prove
from cutout.saw.model import Plan
from cutout.saw.planner import plan as planner
from tests.amend.test_equivariance import MOVES, SIDE, Moved
from tests.figures import wavy
from tests.kits import kit_of

DROP = shapely.union(
    wavy(25.0, ((2, 0.2, 0.3),), 150 + 150j, 60), Polygon([(132, 150), (215, 150), (140, 175)])
)
"""Invented: a bent drop with a point, none of whose turns and mirror images is like another."""
KITE = Polygon([(60, 40), (110, 55), (72, 105)])


def laid(move: Moved, kit: Kit, *shapes: shapely.Geometry) -> Pattern:
    """The shapes as openings of a panel, turned or mirrored with it, or shifted on a larger one."""
    panel = Panel(SIDE + 2 * move.shift[0], SIDE + 2 * move.shift[1], 18.0)
    figure = move.figure(MultiPolygon([*shapes]))
    return cut_pattern(Outline(from_region(figure)), panel, "panel", kit.blade.kerf)


def told(made: Plan) -> list[object]:
    """What must be the same of any two plans."""
    return [
        [(leg.starts, leg.ends, leg.start_by) for leg in made.legs],
        [(hole.diameter, hole.roles) for hole in made.holes],
        [(step.letter, step.legs, step.holes) for step in made.steps],
    ]


def sizes(made: Plan) -> list[float]:
    """Its lengths, areas and minutes, mm."""
    legs = [(leg.length, leg.drops.area) for leg in made.legs]
    return [made.minutes, *np.ravel(legs).tolist(), *(spot.area for spot in made.left_over)]


@pytest.mark.parametrize("name", ["jigsaw-narrow", "scroll-medium"])
@pytest.mark.parametrize("move", MOVES)
def test_turned_mirrored_or_moved_it_is_planned_alike(move: str, name: str) -> None:
    kit = kit_of(name)
    first, other = (plan(laid(m, kit, DROP, KITE), kit) for m in (Moved(), MOVES[move]))
    assert len(first.legs) > 5
    assert told(other) == told(first)
    assert sizes(other) == pytest.approx(sizes(first), rel=1e-4, abs=1e-2)


def test_what_was_mirrored_and_turned_is_proved_where_it_lies() -> None:
    kit = kit_of("scroll-medium")
    pattern = laid(MOVES["mirrored and turned"], kit, DROP)
    made = plan(pattern, kit)
    assert any(leg.start_by == "spin" and leg.turned for leg in made.legs), "a turn in the kerf has a side"
    assert prove(pattern, kit, made).ok


def test_only_what_changed_is_planned_anew() -> None:
    kit = kit_of()
    planner._remembered.cache_clear()
    before = plan(laid(Moved(), kit, DROP, KITE), kit)
    moved = plan(laid(Moved(shift=(12.5, 3.25)), kit, DROP, KITE), kit)
    known = planner._remembered.cache_info()
    assert (known.misses, known.hits) == (2, 2)
    for a, b in zip(before.legs, moved.legs, strict=True):
        assert np.abs(b.path - a.path - (12.5, 3.25)).max() <= 2e-5
    longer = affinity.scale(KITE, 1.0, 1.1)
    plan(laid(Moved(), kit, DROP, longer), kit)
    assert planner._remembered.cache_info().misses > known.misses


def test_equal_openings_are_planned_once_and_numbered_one_after_the_other() -> None:
    kit = kit_of()
    kites = [affinity.translate(KITE, 0.0, 0.0), affinity.translate(KITE, 90.0, 40.0)]
    pattern = laid(Moved(), kit, *kites)
    planner._remembered.cache_clear()
    made = plan(pattern, kit)
    assert planner._remembered.cache_info().misses == 1
    half = len(made.legs) // 2
    assert [leg.order for leg in made.legs] == list(range(1, 2 * half + 1))
    assert [leg.opening for leg in made.legs] == [1] * half + [2] * half
    assert [hole.id for hole in made.holes] == list(range(1, len(made.holes) + 1))
    first, second = made.legs[:half], made.legs[half:]
    assert [leg.start_by for leg in first] == [leg.start_by for leg in second]
    shift = np.abs(first[0].path[0] - second[0].path[0])
    assert shift == pytest.approx([90.0, 40.0], abs=1e-4)
    assert prove(pattern, kit, made).ok


def test_what_is_remembered_is_what_planning_anew_gives() -> None:
    kit = kit_of()
    pattern = laid(Moved(shift=(7.0, 1.0)), kit, KITE)
    known = plan(pattern, kit)
    planner._remembered.cache_clear()
    anew = plan(pattern, kit)
    assert [leg.path.tolist() for leg in known.legs] == [leg.path.tolist() for leg in anew.legs]
    assert known.minutes == anew.minutes


def test_the_unit_it_is_told_in_changes_nothing() -> None:
    kit = kit_of()
    pattern = laid(Moved(), kit, KITE)
    planner._remembered.cache_clear()
    inches = plan(pattern, replace(kit, units="in", bit=bit("3mm")))
    assert planner._remembered.cache_info().misses == 1
    assert [leg.path.tolist() for leg in inches.legs] == [
        leg.path.tolist() for leg in plan(pattern, kit).legs
    ]
    assert planner._remembered.cache_info().misses == 1, "nor is it planned anew"


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 400), st.integers(0, 400)), min_size=3, max_size=8, unique=True),
    st.sampled_from(list(MOVES.values())),
)
def test_placing_is_undone_and_the_same_for_all_eight(points: list[tuple[int, int]], move: Moved) -> None:
    shape = shapely.convex_hull(shapely.multipoints([(x / 4 + 0.125, y / 4) for x, y in points]))
    if not isinstance(shape, Polygon):
        return
    figure = MultiPolygon([shape])
    here, there = (Opening(1, region.geoms[0], False) for region in (figure, move.figure(figure)))
    panel = Panel(SIDE, SIDE, 18.0)
    planned, _, placing = placed(there, panel)
    assert placed(here, panel)[0].region.equals_exact(planned.region, 2e-6)
    z = to_complex(shapely.get_coordinates(planned.region))
    back = Polygon(np.column_stack([(w := placing.back(z)).real, w.imag]))
    assert back.symmetric_difference(there.region).area < 1e-3
    assert math.isclose(back.area, shape.area, rel_tol=1e-6)


def test_openings_of_one_shape_are_planned_once_and_numbered_apart() -> None:
    kit = kit_of("scroll-medium")
    planner._remembered.cache_clear()
    pattern = laid(Moved(), kit, KITE, affinity.translate(KITE, 100.0, 40.0))
    made = plan(pattern, kit)
    assert planner._remembered.cache_info().misses == 1
    assert [leg.order for leg in made.legs] == list(range(1, len(made.legs) + 1))
    assert [hole.id for hole in made.holes] == [1, 2]
    assert [leg.starts.number for leg in made.legs if leg.starts.kind == "hole"] == [1, 2]
    assert {leg.opening for leg in made.legs} == {1, 2}
    assert prove(pattern, kit, made).ok
