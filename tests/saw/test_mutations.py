"""A plan broken on purpose is caught by the proof, each time: holes, legs, their order, bends, what falls."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw import plan, prove
from cutout.saw.model import CORNER, Leg, Place, Plan
from tests.figures import wavy
from tests.kits import kit_of
from tests.telling import text

PANEL = Panel(260.0, 260.0, 18.0)


def leaf() -> BaseGeometry:
    """An invented leaf with a notch and a stalk: sharp inside corners, a point of wood, curves."""
    body = wavy(80.0, [(2, 0.25, 0.0), (5, 0.1, 0.0)], 130 + 130j, 240)
    return body.difference(shapely.Polygon([(125, 240), (135, 240), (130, 120)]))


@lru_cache(maxsize=4)
def planned(name: str) -> tuple[Pattern, Kit, Plan]:
    kit = kit_of(name)
    pattern = cut_pattern(Outline(from_region(leaf()), 1.0), PANEL, "panel", kit.blade.kerf)
    return pattern, kit, plan(pattern, kit)


def caught(name: str, changed: Plan) -> bool:
    pattern, kit, _ = planned(name)
    return not prove(pattern, kit, changed).ok


def with_leg(made: Plan, n: int, leg: Leg) -> Plan:
    return replace(made, legs=(*made.legs[:n], leg, *made.legs[n + 1 :]))


NAMES = ["jigsaw-narrow", "scroll-medium"]


@pytest.mark.parametrize("name", NAMES)
def test_the_plan_itself_is_proved(name: str) -> None:
    pattern, kit, made = planned(name)
    proof = prove(pattern, kit, made)
    assert [text(f) for f in proof.findings] == []
    assert len(made.legs) > 1


@pytest.mark.parametrize("name", NAMES)
def test_a_hole_less_is_caught(name: str) -> None:
    made = planned(name)[2]
    used = {leg.starts for leg in made.legs}
    for hole in made.holes:
        if Place("hole", hole.id) in used:
            assert caught(name, replace(made, holes=tuple(h for h in made.holes if h != hole)))


@pytest.mark.parametrize("name", NAMES)
def test_a_leg_less_is_caught(name: str) -> None:
    made = planned(name)[2]
    for n in range(len(made.legs)):
        assert caught(name, replace(made, legs=(*made.legs[:n], *made.legs[n + 1 :]))), n


@pytest.mark.parametrize("name", NAMES)
def test_a_drop_left_out_is_caught(name: str) -> None:
    made = planned(name)[2]
    falling = [n for n, leg in enumerate(made.legs) if leg.drops.area > 4.0]
    assert falling
    for n in falling:
        assert caught(name, with_leg(made, n, replace(made.legs[n], drops=shapely.MultiPolygon()))), n


@pytest.mark.parametrize("name", NAMES)
def test_a_leg_shifted_into_the_wood_is_caught(name: str) -> None:
    """Every leg that runs along the line, 0.3 mm beside where it should be, towards what must stay."""
    pattern, kit, made = planned(name)
    for n, leg in enumerate(made.legs):
        path = np.asarray(leg.path)
        middle = len(path) // 2
        spot = shapely.Point(path[middle])
        to = shapely.get_coordinates(shapely.shortest_line(spot, pattern.keep))
        way = to[1] - to[0]
        if np.hypot(*way) > kit.blade.kerf / 2 + 0.1:
            continue
        shifted = path + 0.3 * way / np.hypot(*way)
        assert caught(name, with_leg(made, n, replace(leg, path=shifted))), n


@pytest.mark.parametrize("name", NAMES)
def test_two_legs_swapped_are_caught_where_their_order_matters(name: str) -> None:
    """A leg that starts from the one before it can't be sawn first."""
    made = planned(name)[2]
    for n in range(len(made.legs) - 1):
        first, second = made.legs[n], made.legs[n + 1]
        if second.starts != Place("leg", first.order):
            continue
        earlier, later = replace(second, order=first.order), replace(first, order=second.order)
        swapped = (*made.legs[:n], earlier, later, *made.legs[n + 2 :])
        assert caught(name, replace(made, legs=swapped)), n


def test_a_loop_tighter_than_the_blade_turns_is_caught() -> None:
    """A whole circle in open wood, a twentieth too tight; the same at the radius itself is let pass by (a)."""
    kit = kit_of("jigsaw-narrow")
    radius = kit.blade.turning_radius
    pattern, _, made = planned("jigsaw-narrow")
    found = []
    for share in (1.02, 0.95):
        a = np.linspace(0, 1.9 * math.pi, 400)
        z = complex(130, 150) + radius * share * (np.exp(1j * (a - math.pi / 2)) + 1j)
        start = np.array([130.0 - 12, 150.0])
        path = np.vstack([start, np.column_stack([z.real, z.imag])])
        hole = replace(made.holes[0], id=99, at=(118.0, 150.0), diameter=6.5)
        leg = Leg(1, 1, path, Place("hole", 99), CORNER)
        texts = [text(f) for f in prove(pattern, kit, replace(made, holes=(hole,), legs=(leg,))).findings]
        found.append(any("bind" in t or "bends to a radius" in t for t in texts))
    assert found == [False, True]
