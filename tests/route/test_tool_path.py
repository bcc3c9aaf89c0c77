"""The whole path: sides, depths, feeds, what is left, and the proof that it cuts what it says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, affinity, box

from cutout.geom.curve import Arc, Line
from cutout.geom.outline import Outline, Ring, from_region
from cutout.kit import bit, machine
from cutout.pattern import Panel, cut_pattern
from cutout.route import Settings, tool_path
from cutout.route.passes import depths
from cutout.route.prove import prove
from tests.figures import SEEDS, blob
from tests.kits import KIT
from tests.telling import remedy, text

FINE = replace(KIT, small_bit=bit("3mm"))
RING = Polygon(box(100, 100, 300, 300).exterior, [box(160, 160, 240, 240).exterior.coords])


def pattern(region, keep="panel"):
    return cut_pattern(Outline(from_region(region), 1.0), Panel(500.0, 400.0, 18.0), keep, 1.28)


@settings(max_examples=8, deadline=None)
@given(SEEDS, st.sampled_from(["panel", "figure", "both"]), st.sampled_from([KIT, FINE]))
def test_every_path_passes_its_proof(seed, keep, kit):
    path = tool_path(pattern(blob(seed, 160.0, 250 + 200j), keep), kit)
    assert path.passes
    assert path.gouge <= 0.02
    assert not [f for f in path.findings if f.severity == "stop"]
    assert all(isinstance(s, Line | Arc) for p in path.passes for s in p.ring.segments)


@settings(max_examples=5, deadline=None)
@given(st.floats(-60, 60), st.floats(-40, 40))
def test_moving_the_figure_moves_the_path(dx, dy):
    here = tool_path(pattern(affinity.scale(RING, 0.6, 0.6)), KIT)
    there = tool_path(pattern(affinity.translate(affinity.scale(RING, 0.6, 0.6), dx, dy)), KIT)
    for a, b in zip(here.passes, there.passes, strict=True):
        assert b.ring.area == pytest.approx(a.ring.area, abs=0.5)
        assert (
            b.ring.polygon().centroid.distance(affinity.translate(a.ring.polygon().centroid, dx, dy)) < 0.05
        )


def test_the_same_pattern_gives_the_same_path():
    assert tool_path(pattern(RING), FINE) == tool_path(pattern(RING), FINE)


def test_direction_keeps_the_wood_that_stays_on_the_left():
    for keep in ("panel", "figure", "both"):
        for p in tool_path(pattern(RING, keep), FINE).passes:
            assert (p.ring.area > 0) == (p.side == "outside")


def test_inner_runs_come_before_outer_ones():
    passes = tool_path(pattern(RING, "figure"), KIT).passes
    assert [p.side for p in passes if p.purpose == "outline"] == ["inside", "outside"]


@pytest.mark.parametrize(("thickness", "turns"), [(18.0, 7), (2.0, 1), (2.6, 1), (2.7, 2), (40.0, 14)])
def test_turns_go_through_in_equal_steps_the_bit_can_take(thickness, turns):
    found = depths(thickness, bit("6mm"), Settings(breakthrough=0.4))
    assert len(found) == turns
    assert found[-1] == pytest.approx(-thickness - 0.4)
    steps = -np.diff([0.0, *found])
    assert steps.max() <= 3.0 + 1e-9
    assert np.ptp(steps) < 1e-9


def test_a_square_opening_reports_four_corners_with_the_radius_they_get():
    path = tool_path(pattern(box(100, 100, 300, 300)), KIT)
    (found,) = path.findings
    assert (found.kind, found.severity, found.opening) == ("router", "care", 1)
    assert "4 inside corners" in text(found)
    assert "radius of 3 mm" in text(found)
    assert found.size == pytest.approx(3 * (math.sqrt(2) - 1), abs=0.02)
    assert min(math.dist(found.at, c) for c in [(100, 100), (300, 100), (300, 300), (100, 300)]) < 0.1


def test_a_smaller_bit_halves_what_stays_in_the_corners():
    rough, fine = (
        tool_path(pattern(box(100, 100, 300, 300)), KIT),
        tool_path(pattern(box(100, 100, 300, 300)), FINE),
    )
    assert fine.unreached.area == pytest.approx(rough.unreached.area / 4, rel=0.05)
    assert any("radius of 1.5 mm" in text(f) for f in fine.findings)
    assert [p.bit.name for p in fine.passes] == ["6mm"] + 4 * ["3mm"]


def test_a_slot_the_bit_cannot_enter_is_a_finding_with_its_area():
    slot = shapely.union(box(100, 100, 200, 200), box(200, 148, 260, 152))
    path = tool_path(pattern(slot), KIT)
    (found,) = [f for f in path.findings if "too wide" in text(f)]
    assert found.opening == 1
    assert found.limit == 6.0
    assert found.at[0] == pytest.approx(260, abs=1)
    assert "2.4 square cm" in text(found)


def test_a_smaller_bit_goes_where_the_larger_one_could_not():
    slot = shapely.union(box(100, 100, 200, 200), box(200, 148, 260, 152))
    path = tool_path(pattern(slot), FINE)
    assert not [f for f in path.findings if "too wide" in text(f)]
    swept = shapely.union_all(
        [shapely.LinearRing(p.ring.points()).buffer(p.bit.radius) for p in path.passes if p.bit.name == "3mm"]
    )
    assert box(202, 149, 258, 151).difference(swept).area < 0.01


@pytest.mark.parametrize("size", [6.0, 6.05])
def test_a_hole_the_size_of_the_bit_is_drilled(size):
    path = tool_path(pattern(Point(200, 200).buffer(size / 2, quad_segs=64)), KIT)
    (only,) = path.passes
    assert only.drilled
    assert not [f for f in path.findings if f.severity == "stop"]
    assert path.gouge <= 0.02
    start = only.ring.segments[0].start
    assert abs(start - (200 + 200j)) < 0.05


def test_an_opening_no_bit_fits_into_gets_no_run_and_a_finding():
    path = tool_path(pattern(box(100, 100, 105, 300)), KIT)
    assert not path.passes
    (found,) = path.findings
    assert "too wide" in text(found)
    assert path.unreached.area == pytest.approx(1000, rel=1e-3)


def test_a_place_no_bit_enters_names_the_smaller_one():
    slot = shapely.union(box(100, 100, 200, 200), box(200, 149, 260, 151))
    (found,) = [f for f in tool_path(pattern(slot), FINE).findings if "too wide" in text(f)]
    assert text(found).startswith("A 3 mm bit is too wide")
    assert found.limit == 3.0


def test_two_openings_joined_by_a_neck_report_the_neck_not_a_corner():
    bells = shapely.union_all([box(100, 100, 160, 160), box(160, 128, 170, 132), box(170, 100, 230, 160)])
    texts = [text(f) for f in tool_path(pattern(bells), KIT).findings]
    assert sum("too wide" in t for t in texts) == 1
    assert sum("8 inside corners" in t for t in texts) == 1


def test_a_small_bit_that_is_not_smaller_is_said():
    path = tool_path(pattern(RING), replace(KIT, small_bit=bit("8mm")))
    assert any("no smaller" in text(f) for f in path.findings)
    assert {p.bit.name for p in path.passes} == {"6mm"}


def test_keep_both_says_what_a_router_makes_of_it():
    path = tool_path(pattern(RING, "both"), KIT)
    assert any("6 mm larger" in text(f) for f in path.findings)


@pytest.mark.parametrize("keep", ["panel", "figure"])
def test_a_figure_as_large_as_the_panel_gives_no_run(keep):
    assert not tool_path(pattern(box(0, 0, 500, 400), keep), KIT).passes


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_a_figure_that_sticks_out_over_the_edge_is_cut_up_to_it(keep):
    path = tool_path(pattern(box(-50, 100, 200, 300), keep), KIT)
    assert [p.purpose for p in path.passes] == ["outline"]
    assert not [f for f in path.findings if f.severity == "stop"]
    edge = path.passes[0].ring.points()[:, 0].min()
    assert edge <= -3.0 + 1e-2


def test_a_figure_with_no_wood_left_round_it_is_said_to_come_loose():
    path = tool_path(pattern(box(1, 1, 499, 399), "figure"), KIT)
    assert any("no straight, firm stretch" in text(f) for f in path.findings)


def test_inches_are_spoken_to_who_reads_them():
    path = tool_path(pattern(box(100, 100, 300, 300)), replace(KIT, bit=bit("1/4in")))
    assert "1/8 in" in text(path.findings[0], "in")


def test_feed_is_held_to_what_the_user_says_and_the_spindle_slowed_with_it():
    free = replace(KIT, machine=replace(machine("plain"), feed=20_000.0))
    (full,) = tool_path(pattern(RING), free).feeds[:1]
    (held,) = tool_path(pattern(RING), free, Settings(feed_limit=2000)).feeds[:1]
    assert not full.held
    assert held.held
    assert held.feed == 2000
    assert held.speed < full.speed


def test_climbing_turns_every_run_round_and_says_so():
    there, back = (tool_path(pattern(RING), KIT, Settings(direction=d)) for d in ("conventional", "climb"))
    assert not [f for f in back.findings if f.severity == "stop"]
    assert any("climbs" in text(f) for f in back.findings)
    assert not any("climbs" in text(f) for f in there.findings)
    for a, b in zip(there.passes, back.passes, strict=True):
        assert b.ring.area == pytest.approx(-a.ring.area, rel=1e-4)


@pytest.mark.parametrize("keep", ["panel", "figure"])
def test_a_finishing_turn_takes_what_the_roughing_left(keep):
    path = tool_path(pattern(RING, keep), KIT, Settings(finish=0.4))
    rough = [p for p in path.passes if p.purpose == "roughing"]
    last = [p for p in path.passes if p.purpose == "finish"]
    assert not [f for f in path.findings if f.severity == "stop"]
    assert len(rough) == len(last) > 0
    assert max(p.order for p in rough) < min(p.order for p in last)
    for p in last:
        assert len(p.depths) == 1
        line = shapely.LinearRing(p.ring.points(1e-3))
        near = min(line.hausdorff_distance(shapely.LinearRing(r.ring.points(1e-3))) for r in rough)
        assert 0.38 < near < 0.4 * math.sqrt(2) + 0.02
    assert [len(p.tabs) for p in rough] == [len(p.tabs) for p in last]


def test_where_the_bit_just_fits_there_is_no_finishing_turn_and_that_is_said():
    path = tool_path(pattern(box(100, 100, 106.4, 300)), KIT, Settings(finish=0.5))
    assert {p.purpose for p in path.passes} == {"outline"}
    assert any("No room to leave 0.5 mm" in text(f) for f in path.findings)
    assert not [f for f in path.findings if f.severity == "stop"]


def test_a_panel_larger_than_the_bed_stops():
    small = replace(KIT, machine=machine("bench"))
    (found,) = [f for f in tool_path(pattern(RING), small).findings if "machine travels" in text(f)]
    assert found.severity == "stop"
    assert found.size == pytest.approx(400 - 180)
    fits = replace(KIT, machine=machine("hobby"))
    assert not [f for f in tool_path(pattern(RING), fits).findings if "machine travels" in text(f)]


def test_a_panel_that_fits_the_bed_the_other_way_round_is_told_so():
    upright = replace(KIT, machine=replace(machine("plain"), bed=(420.0, 510.0)))
    (found,) = [f for f in tool_path(pattern(RING), upright).findings if "machine travels" in text(f)]
    assert "90 degrees" in remedy(found)


def test_short_flutes_stop_and_unknown_ones_on_a_slender_bit_are_asked_about():
    short = replace(KIT, bit=replace(bit("6mm"), flute_length=15.0))
    (found,) = [f for f in tool_path(pattern(RING), short).findings if "deep at most" in text(f)]
    assert (found.severity, found.size, found.limit) == ("stop", 15.0, 18.4)
    long = replace(KIT, bit=replace(bit("6mm"), flute_length=22.0))
    assert not [f for f in tool_path(pattern(RING), long).findings if "deep" in text(f)]
    slender = replace(KIT, bit=bit("3mm"))
    assert any("6.1 times its width" in text(f) for f in tool_path(pattern(RING), slender).findings)


def test_a_machine_too_slow_for_a_wide_bit_is_said_to_burn():
    slow = replace(KIT, bit=bit("12mm"), machine=replace(machine("plain"), feed=800.0))
    assert any("rub and burn" in text(f) for f in tool_path(pattern(RING), slow).findings)


def moved(path, by: complex):
    shifted = [
        replace(p, ring=Ring(tuple(replace(s, start=s.start + by, end=s.end + by) for s in p.ring.segments)))
        for p in path.passes
    ]
    return replace(path, passes=tuple(shifted))


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_the_proof_sees_a_path_that_is_off(keep):
    pat = pattern(RING, keep)
    path = tool_path(pat, KIT)
    assert not prove(pat, path).findings
    off = prove(pat, moved(path, 0.2 + 0j))
    assert off.gouge == pytest.approx(0.2, abs=0.02)
    assert any("wood that stays" in text(f) for f in off.findings)
    assert any("uncut" in text(f) for f in off.findings)


def test_the_proof_sees_a_missing_run():
    pat = pattern(RING)
    path = tool_path(pat, KIT)
    assert any("uncut" in text(f) for f in prove(pat, replace(path, passes=path.passes[:1])).findings)


def test_the_proof_sees_depths_that_are_wrong():
    pat = pattern(RING)
    path = tool_path(pat, KIT)
    shallow = tuple(replace(p, depths=p.depths[:-1]) for p in path.passes)
    greedy = tuple(replace(p, depths=p.depths[-1:]) for p in path.passes)
    assert any("through" in text(f) for f in prove(pat, replace(path, passes=shallow)).findings)
    assert any("too deep" in text(f) for f in prove(pat, replace(path, passes=greedy)).findings)


def test_the_proof_sees_a_run_the_wrong_way_round():
    pat = pattern(RING)
    path = tool_path(pat, KIT)
    turned = tuple(replace(p, ring=p.ring.reversed()) for p in path.passes)
    assert any("wrong way" in text(f) for f in prove(pat, replace(path, passes=turned)).findings)


def test_the_proof_sees_a_bit_run_through_the_middle_of_the_wood():
    pat = pattern(RING)
    path = tool_path(pat, KIT)
    astray = moved(replace(path, passes=path.passes[-1:]), 250 + 0j)
    assert prove(pat, astray).gouge > 3
