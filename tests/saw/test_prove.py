"""The proof passes a plan made by hand and catches every way in which it can be broken."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from cutout.geom.outline import Outline, Ring, as_multi
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw.model import CORNER, Hole, LeftOver, Leg, Place, Plan
from cutout.saw.prove import prove
from tests.kits import KIT
from tests.telling import text

K = KIT.blade.kerf
PANEL = Panel(200.0, 200.0, 18.0)


def circle(radius: float, n: int = 720, at: complex = 100 + 100j) -> np.ndarray:
    z = at + radius * np.exp(2j * math.pi * np.arange(n + 1) / n)
    return np.column_stack([z.real, z.imag])


def round_opening(radius: float = 40.0) -> Pattern:
    return cut_pattern(Outline((Ring.of_points(circle(radius)),), 1.0), PANEL, "panel", K)


def round_plan(radius: float = 40.0, hole_at: float = 0.0) -> Plan:
    """A hole touching the line from inside; from its centre round the circle, starting along the line."""
    run = radius - K / 2
    hole = Hole(1, (100 + radius - 2.5 + hole_at, 100.0), 5.0, ("starter",), 1)
    straight_in = np.array([[100 + radius - 2.5, 100.0]])
    angle = np.linspace(0, 2 * math.pi, 1500)
    # a lead-in of radius 12 from the hole's centre to the line, then once round and a little further
    lead = lead_in(100 + radius - 2.5 + 0j + 100j, 100 + 100j, run)
    start = math.atan2(lead[-1][1] - 100, lead[-1][0] - 100)
    ring = 100 + 100j + run * np.exp(1j * (start + angle * (1 + 0.2 / 2 / math.pi)))
    path = np.vstack([straight_in, lead[1:], np.column_stack([ring.real, ring.imag])[1:]])
    disc = shapely.Point(100, 100).buffer(radius - K, quad_segs=64)
    drops = as_multi(disc.difference(shapely.LineString(path).buffer(K / 2)))
    return Plan((hole,), (Leg(1, 1, path, Place("hole", 1), Place("leg", 1), drops),), (), (), 250.0, 1, 3.0)


def lead_in(start: complex, centre: complex, run: float, bend: float = 12.0) -> np.ndarray:
    """Arc of radius `bend` from `start` that joins the circle of radius `run` along its tangent."""
    # inner tangent circle: its centre lies run - bend from `centre`, and bend from `start`
    d = abs(start - centre)
    a = ((run - bend) ** 2 - bend**2 + d**2) / (2 * d)
    h = math.sqrt((run - bend) ** 2 - a**2)
    u = (start - centre) / d
    c = centre + u * (a + 1j * h)
    touch = centre + (c - centre) / abs(c - centre) * run
    a0, a1 = np.angle(start - c), np.angle(touch - c)
    sweep = (a1 - a0) % (2 * math.pi)
    z = c + bend * np.exp(1j * (a0 + np.linspace(0, sweep, 200)))
    return np.column_stack([z.real, z.imag])


def test_a_careful_plan_of_a_round_opening_is_proved() -> None:
    proof = prove(round_opening(), KIT, round_plan())
    assert proof.findings == ()
    assert proof.ok
    assert proof.gouge < 0.02
    assert proof.left_over == ()
    assert proof.steps > 2 * math.pi * 39 / 0.2


def test_a_hole_moved_one_millimetre_into_keep_is_caught() -> None:
    plan = round_plan()
    moved = replace(plan.holes[0], at=(plan.holes[0].at[0] + 1.0, plan.holes[0].at[1]))
    proof = prove(round_opening(), KIT, replace(plan, holes=(moved,)))
    assert any(
        "Hole 1 would take" in text(f) and f.size == pytest.approx(1.0, abs=0.02) for f in proof.findings
    )


def test_a_piece_that_falls_unannounced_is_caught() -> None:
    plan = round_plan()
    silent = replace(plan.legs[0], drops=shapely.MultiPolygon())
    found = prove(round_opening(), KIT, replace(plan, legs=(silent,))).findings
    assert any("nobody is told to hold it" in text(f) for f in found)


def test_a_piece_that_is_announced_but_held_is_caught() -> None:
    plan = round_plan()
    short = replace(plan.legs[0], path=plan.legs[0].path[:-200])
    found = prove(round_opening(), KIT, replace(plan, legs=(short,))).findings
    assert any("wood still holds it" in text(f) for f in found)


@pytest.mark.parametrize(
    ("start_by", "words"),
    [("back", "go that has not begun"), ("turn", "go that has not begun"), ("drop in", None), ("lift", None)],
)
def test_the_move_before_a_leg_must_be_possible(start_by: str, words: str | None) -> None:
    plan = round_plan()
    leg = replace(plan.legs[0], start_by=start_by)  # type: ignore[arg-type]
    found = prove(round_opening(), KIT, replace(plan, legs=(leg,))).findings
    assert [words in text(f) for f in found if words] == ([True] if words else [])
    assert bool(found) == bool(words)


def test_a_scroll_saw_is_not_lifted_out_of_a_kerf() -> None:
    kit = replace(KIT, blade=replace(KIT.blade, saw="scroll saw"))
    leg = replace(round_plan().legs[0], start_by="lift")
    found = prove(round_opening(), kit, replace(round_plan(), legs=(leg,))).findings
    assert any("can't do that inside a panel" in text(f) for f in found)


def test_a_missing_leg_leaves_the_piece_standing() -> None:
    proof = prove(round_opening(), KIT, replace(round_plan(), legs=()))
    assert any("no cut frees it" in text(f) for f in proof.findings)


def test_a_cut_that_stops_short_of_closing_frees_nothing() -> None:
    plan = round_plan()
    leg = replace(plan.legs[0], path=plan.legs[0].path[:-200])
    assert not prove(round_opening(), KIT, replace(plan, legs=(leg,))).ok


def test_a_curve_too_tight_for_the_blade_is_caught() -> None:
    small = round_opening(8.0)
    run = 8.0 - K / 2
    hole = Hole(1, (100.0 + 8.0 - 2.6, 100.0), 5.0, ("starter",), 1)
    ring = circle(run, 400)
    quarter = len(ring) // 4
    path = np.vstack([[[105.4, 96.0]], ring, ring[1:quarter]])
    proof = prove(
        small, KIT, Plan((hole,), (Leg(1, 1, path, Place("hole", 1), Place("leg", 1)),), (), (), 50.0, 1, 1.0)
    )
    assert not proof.ok


def test_a_tight_curve_inside_a_long_leg_binds() -> None:
    pattern, plan = round_opening(), round_plan()
    z = plan.legs[0].path[:, 0] + 1j * plan.legs[0].path[:, 1]
    kink = len(z) // 2
    ahead = z[kink] - z[kink - 1]
    inward = 1j * ahead / abs(ahead)
    turn = 5.0 * (1 - np.exp(-1j * np.linspace(0, 1.4, 60)))
    path = np.concatenate([z[:kink], z[kink] + inward * turn * 1j / 1j])
    leg = replace(plan.legs[0], path=np.column_stack([path.real, path.imag]))
    found = prove(pattern, KIT, replace(plan, legs=(leg,))).findings
    assert any("bind" in text(f) or "bends to a radius" in text(f) for f in found)


def test_a_leg_beside_its_line_gouges() -> None:
    plan = round_plan()
    path = plan.legs[0].path.copy()
    path[300:] = (path[300:] - 100) * (40.0 / (40.0 - K / 2)) + 100
    found = prove(round_opening(), KIT, replace(plan, legs=(replace(plan.legs[0], path=path),))).findings
    gouges = [f for f in found if "into wood that must stay" in text(f)]
    assert gouges and gouges[0].size == pytest.approx(K / 2, abs=0.03)


@pytest.mark.parametrize("source", [Place("hole", 7), Place("leg", 1), Place("leg", 2), CORNER])
def test_a_leg_must_start_from_something_that_exists(source: Place) -> None:
    plan = round_plan()
    found = prove(round_opening(), KIT, replace(plan, legs=(replace(plan.legs[0], starts=source),))).findings
    assert any("not there yet" in text(f) for f in found)


def test_a_blade_cannot_start_in_solid_wood() -> None:
    plan = round_plan()
    hole = replace(plan.holes[0], at=(70.0, 100.0))
    found = prove(round_opening(), KIT, replace(plan, holes=(hole,))).findings
    assert any("does not start in hole" in text(f) for f in found)
    assert any("no room" in text(f) for f in found)


def test_a_hole_too_small_for_the_blade_is_no_start() -> None:
    plan = round_plan()
    found = prove(round_opening(), KIT, replace(plan, holes=(replace(plan.holes[0], diameter=3.0),))).findings
    assert any("no room" in text(f) for f in found)


def test_moving_everything_moves_nothing_in_the_verdict() -> None:
    pattern, plan = round_opening(), round_plan()
    shift = (12.5, -7.25)
    ring = Ring.of_points(circle(40.0, at=112.5 + 92.75j))
    moved = cut_pattern(Outline((ring,), 1.0), PANEL, "panel", K)
    hole = replace(plan.holes[0], at=(plan.holes[0].at[0] + shift[0], plan.holes[0].at[1] + shift[1]))
    drops = translate(plan.legs[0].drops, *shift)
    leg = replace(plan.legs[0], path=plan.legs[0].path + np.array(shift), drops=drops)
    first, second = prove(pattern, KIT, plan), prove(moved, KIT, replace(plan, holes=(hole,), legs=(leg,)))
    assert (first.ok, first.steps) == (second.ok, second.steps)
    assert translate(pattern.waste, *shift).symmetric_difference(moved.waste).area < 1e-6


def half_sawn() -> tuple[Pattern, Plan]:
    """A square opening sawn along three sides only; the fourth still holds the whole piece."""
    corners = np.array([[60.0, 60.0], [140.0, 60.0], [140.0, 140.0], [60.0, 140.0]])
    pattern = cut_pattern(Outline((Ring.of_points(corners),), 1.0), PANEL, "panel", K)
    k = K / 2
    holes = tuple(Hole(n + 1, at, 5.0, ("starter",), 1) for n, at in enumerate([(62.5, 62.5), (137.5, 62.5)]))
    low = np.array([[62.5, 60 + k + 0.01], [137.5, 60 + k + 0.01]])
    left = np.array([[60 + k + 0.01, 62.5], [60 + k + 0.01, 140.0]])
    right = np.array([[140 - k - 0.01, 62.5], [140 - k - 0.01, 140.0]])
    legs = (
        Leg(1, 1, low, Place("hole", 1), Place("hole", 2)),
        Leg(2, 1, left, Place("hole", 1), CORNER),
        Leg(3, 1, right, Place("hole", 2), CORNER),
    )
    corners_left = tuple(LeftOver((float(x), float(y)), 1.04, 1.4) for x, y in corners)
    return pattern, Plan(holes, legs, corners_left, (), 230.0, 3, 4.0)


def test_a_large_piece_held_along_one_straight_side_is_not_a_sliver() -> None:
    """All its corners lie at a kerf; it is what lies between them that counts."""
    pattern, plan = half_sawn()
    found = [f for f in prove(pattern, KIT, plan).findings if "no cut frees it" in text(f)]
    assert len(found) == 1
    assert found[0].size == pytest.approx(40.0, abs=3.0)


def test_stating_a_large_piece_as_left_over_does_not_help() -> None:
    pattern, plan = half_sawn()
    stated = replace(plan, left_over=(*plan.left_over, LeftOver((100.0, 140.0), 40.0, 6000.0)))
    assert any("no cut frees it" in text(f) for f in prove(pattern, KIT, stated).findings)


@pytest.mark.parametrize(("nib", "free"), [(0.3, True), (3.0, False)])
def test_a_piece_on_a_nib_breaks_off_and_on_a_strip_it_does_not(nib: float, free: bool) -> None:
    pattern, plan = half_sawn()
    last = Hole(3, (62.5, 137.5), 5.0, ("starter",), 1)
    top = np.array([[62.5, 140 - K / 2 - 0.01], [140.0 - K - nib + 0.1, 140 - K / 2 - 0.01]])
    right = plan.legs[2].path.copy()
    legs = (*plan.legs[:2], replace(plan.legs[2], path=right), Leg(4, 1, top, Place("hole", 3), CORNER))
    proof = prove(pattern, KIT, replace(plan, holes=(*plan.holes, last), legs=legs))
    assert (not any("no cut frees it" in text(f) for f in proof.findings)) == free
