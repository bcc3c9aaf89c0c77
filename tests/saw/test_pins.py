"""Pins of a stack: in the waste, clear of blade and drill, far from one another."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations
from typing import Any, cast

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point

from cutout.geom.outline import Outline, Ring
from cutout.job.schema import Job
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw.model import EDGE, Hole, Leg, Place, Plan
from cutout.saw.pins import APART, CLEAR, MOST, pins
from tests.kits import kit_of
from tests.telling import text

KERF = 1.0


def disc_on(panel: Panel, keep: str, radius: float = 60.0) -> Pattern:
    ring = np.array(
        [
            [150 + radius * math.cos(a), 100 + radius * math.sin(a)]
            for a in np.linspace(0, 2 * math.pi, 73)[:-1].tolist()
        ]
    )
    return cut_pattern(Outline((Ring.of_points(ring),), 1.0), panel, cast(Any, keep), KERF)


def plan_of(*holes: tuple[float, float], path: list[list[float]]) -> Plan:
    drilled = tuple(Hole(n, at, 6.0, ("starter",), 1) for n, at in enumerate(holes, 1))
    leg = Leg(1, 1, np.array(path), Place("hole", 1), EDGE, MultiPolygon())
    return Plan(drilled, (leg,), (), (), 0.0, 0, 0.0)


@pytest.mark.parametrize("keep", ["panel", "figure"])
def test_pins_lie_in_the_waste_clear_of_everything(keep: str) -> None:
    pattern = disc_on(Panel(300.0, 200.0, 6.0, None, layers=3), keep)
    plan = plan_of((150.0, 100.0), path=[[150.0, 100.0], [150.0, 158.0], [10.0, 190.0]])
    found = pins(pattern, plan, KERF)
    assert 2 <= len(found) <= MOST
    for at in found:
        pin = Point(at)
        assert pattern.waste.contains(pin)
        assert shapely.boundary(pattern.waste).distance(pin) > CLEAR - 0.1
        assert math.dist(at, (150.0, 100.0)) > 3.0 + CLEAR - 0.1
        assert shapely.LineString(plan.legs[0].path).distance(pin) > KERF / 2 + CLEAR - 0.1
    assert all(math.dist(a, b) > APART - 0.2 for a, b in combinations(found, 2))


def test_one_layer_and_waste_without_room_take_no_pin() -> None:
    plan = plan_of(path=[[150.0, 100.0], [150.0, 102.0]])
    assert pins(disc_on(Panel(300.0, 200.0, 6.0, None), "panel"), plan, KERF) == ()
    assert pins(disc_on(Panel(300.0, 200.0, 6.0, None, layers=2), "panel", 4.0), plan, KERF) == ()


def test_a_stack_is_as_thick_as_its_layers_for_the_blade() -> None:
    """The saw goes slower through it, two teeth are in it where one layer has not two, four layers are usual."""
    from cutout.check.kit import kit as check

    kit = kit_of("scroll-coarse", "plywood")
    thin = kit.blade.least_thickness / 1.5
    one = Panel(300.0, 200.0, thin, None)
    assert one.sawn == thin and replace(one, layers=3).sawn == 3 * thin
    assert [f.size for f in check(disc_on(one, "panel"), kit)] == [thin]
    assert list(check(disc_on(replace(one, layers=3), "panel"), kit)) == []
    assert "A stack of 5 layers" in text(next(iter(check(disc_on(replace(one, layers=5), "panel"), kit))))


@pytest.mark.parametrize("asked", [{"router": {"gcode": True}}, {"inlay": {}, "keep": "both"}])
def test_what_is_made_one_by_one_is_refused_in_a_stack(asked: dict[str, Any]) -> None:
    from pathlib import Path

    from cutout.errors import LayoutError
    from cutout.job.set_up import set_up

    job = Job.model_validate(
        {"panel": {"width": 300, "height": 200, "layers": 2}, "saw": {"blade": "scroll-fine"}, **asked}
    )
    with pytest.raises(LayoutError, match="layers"):
        set_up(job, Path())
