from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, affinity, box

from cutout import check
from cutout.check import hint
from cutout.finding import Finding
from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit, Limits, wood
from cutout.measure.webs import BREAKS_SHARE, angle_to_grain, web_limit, webs
from cutout.pattern import Keep, Panel, Pattern, cut_pattern
from tests.kits import KIT
from tests.telling import remedy, text

T = 18.0
PLY = replace(KIT, wood=wood("plywood"))


def pattern(figure: shapely.Geometry, grain: float | None = math.pi / 2, keep: Keep = "panel") -> Pattern:
    return cut_pattern(Outline(from_region(figure), 1.0), Panel(400, 400, T, grain), keep, KIT.blade.kerf)


def windows(gap: float, length: float = 100.0, *, turn: float = 0.0) -> shapely.Geometry:
    """Two openings with an upright wall `gap` mm wide between them, then turned about the panel's middle."""
    pair = shapely.union_all(
        [
            box(200 - gap / 2 - 60, 200 - length / 2, 200 - gap / 2, 200 + length / 2),
            box(200 + gap / 2, 200 - length / 2, 260 + gap / 2, 200 + length / 2),
        ]
    )
    return affinity.rotate(pair, turn, (200, 200), True)


def found(made: Pattern, kit: Kit = KIT) -> list[tuple[str, str]]:
    return [(f.kind, f.severity) for f in check.run(made, kit) if f.kind in ("thin web", "short grain")]


@pytest.mark.parametrize("turn", [0.0, 0.3, math.pi / 4, 1.2, math.pi / 2])
def test_limits_lie_between_along_and_across_the_grain(turn: float) -> None:
    limit = web_limit(T, KIT, turn)
    assert T <= limit <= 2 * T
    assert web_limit(T, KIT, 0.0) == pytest.approx(T)
    assert web_limit(T, KIT, math.pi / 2) == pytest.approx(2 * T)
    assert web_limit(T, KIT, turn + 0.01) > limit or turn == math.pi / 2


def test_sheet_goods_need_half_the_thickness_whichever_way() -> None:
    assert web_limit(T, PLY, None) == T / 2
    assert web_limit(T, PLY, 1.0) == T / 2
    assert found(pattern(windows(8.9), None), PLY) == [("thin web", "care")]
    assert found(pattern(windows(9.1), None), PLY) == []


def test_limits_are_the_user_s_to_set() -> None:
    kit = replace(KIT, limits=Limits(web_along=0.5, web_across=0.7))
    assert web_limit(T, kit, 0.0) == pytest.approx(9)
    assert web_limit(T, kit, math.pi / 2) == pytest.approx(12.6)


@given(st.floats(0, math.pi), st.floats(-4, 4))
@settings(max_examples=50, deadline=None)
def test_the_angle_to_the_grain_has_no_sense_and_turns_along(direction: float, turn: float) -> None:
    def along(a: float) -> complex:
        return complex(math.cos(a), math.sin(a))

    angle = angle_to_grain(along(direction), 0.4)
    assert angle is not None
    assert 0 <= angle <= math.pi / 2
    assert angle_to_grain(along(direction + math.pi), 0.4) == pytest.approx(angle, abs=1e-6)
    assert angle_to_grain(along(direction + turn), 0.4 + turn) == pytest.approx(angle, abs=1e-6)
    assert angle_to_grain(along(direction), None) is None


@pytest.mark.parametrize(
    ("gap", "grain", "expected"),
    [
        (18.5, math.pi / 2, []),
        (17.5, math.pi / 2, [("thin web", "care")]),
        (4.6, math.pi / 2, [("thin web", "care")]),
        (4.4, math.pi / 2, [("thin web", "stop")]),
        (35.0, 0.0, [("short grain", "care")]),
        (37.0, 0.0, []),
        (8.9, 0.0, [("short grain", "stop")]),
    ],
)
def test_a_wall_between_two_windows(gap: float, grain: float, expected: list[tuple[str, str]]) -> None:
    assert found(pattern(windows(gap), grain)) == expected


def test_a_stubby_web_across_the_grain_is_thin_but_no_short_grain() -> None:
    lens = windows(12, length=6.0)
    assert [kind for kind, _ in found(pattern(lens, 0.0))] == ["thin web"]


@given(st.floats(1, 16), st.floats(0, math.pi))
@settings(max_examples=6, deadline=None)
def test_turning_pattern_and_grain_together_changes_nothing(gap: float, turn: float) -> None:
    first = webs(pattern(windows(gap)), KIT)
    second = webs(pattern(windows(gap, turn=turn), math.pi / 2 + turn), KIT)
    assert len(first) == len(second) == 1
    assert first[0].width == pytest.approx(second[0].width, abs=1e-6)
    assert first[0].limit == pytest.approx(second[0].limit, abs=1e-3)
    assert first[0].across == second[0].across
    assert first[0].breaks == second[0].breaks


def test_a_finding_says_what_was_measured_and_what_to_do() -> None:
    (finding,) = [f for f in check.run(pattern(windows(10.0)), KIT) if f.kind == "thin web"]
    assert finding.size == pytest.approx(10)
    assert finding.limit == pytest.approx(18)
    assert finding.at == pytest.approx((200, 200), abs=12)
    assert text(finding).startswith("A web 10 mm wide and ")
    assert "18 mm would be sound" in text(finding)
    assert remedy(finding).startswith("Widen it to 18 mm")
    (half,) = [f for f in check.run(pattern(windows(12.7)), KIT) if f.kind == "thin web"]
    assert text(half, "in").startswith("A web 1/2 in wide")


BODY = box(100, 100, 200, 300)


def on_body(*parts: shapely.Geometry) -> shapely.Geometry:
    return shapely.union_all([BODY, *parts])


def arms(shape: shapely.Geometry, grain: float | None = math.pi / 2, kit: Kit = KIT) -> list[Finding]:
    """Findings on arms of a figure that survives."""
    return [f for f in check.run(pattern(shape, grain, "figure"), kit) if text(f).startswith("An arm")]


def test_a_thorn_is_no_web_but_a_slender_arm_is_one() -> None:
    thorn = Polygon([(199, 185), (240, 200), (199, 215)])
    assert found(pattern(on_body(thorn), keep="figure")) == []
    (finding,) = arms(on_body(box(199, 194, 300, 206)))
    assert finding.kind == "short grain"
    assert finding.severity == "care"
    assert finding.size == pytest.approx(12, abs=0.1)


@pytest.mark.parametrize(
    ("width", "grain", "kit", "severities"),
    [
        (8.5, math.pi / 2, KIT, ["stop"]),
        (9.5, math.pi / 2, KIT, ["care"]),
        (8.5, 0.0, KIT, ["care"]),
        (3.0, 0.0, KIT, ["care"]),
        (1.4, 0.0, KIT, ["stop"]),
        (8.5, None, PLY, ["care"]),
        (1.4, None, PLY, ["stop"]),
        (9.5, None, PLY, []),
    ],
)
def test_an_arm_far_under_its_limit_across_the_grain_is_a_stop(
    width: float, grain: float | None, kit: Kit, severities: list[str]
) -> None:
    """Across: under a quarter of 2 x 18 mm. Along the grain and in sheet goods: under 1.5 mm."""
    arm = box(199, 200 - width / 2, 280, 200 + width / 2)
    assert [f.severity for f in arms(on_body(arm), grain, kit)] == severities


def test_a_tongue_of_the_panel_with_a_small_head_is_one_stop_measured_whole() -> None:
    """A tongue across the grain, 9.5 mm at its root, 3.5 mm near its head, the head too small to count."""
    tongue = Polygon([(195, 100), (198.2, 222), (197, 227), (203, 227), (201.8, 222), (205, 100)])
    made = pattern(box(100, 100, 300, 300).difference(tongue), 0.0)
    (finding,) = [f for f in check.run(made, KIT) if f.kind in ("thin web", "short grain")]
    assert (finding.kind, finding.severity) == ("short grain", "stop")
    assert finding.size == pytest.approx(3.7, abs=0.25)
    assert finding.at == pytest.approx((200, 220), abs=4)
    length = float(text(finding).split()[2])
    assert length == pytest.approx(127, abs=8)


def test_a_taper_is_weakest_where_something_still_hangs_on_it() -> None:
    """A long thorn across the grain: two tufts from its tip it is as wide as its slope says."""
    (finding,) = arms(on_body(Polygon([(199, 192), (300, 200), (199, 208)])))
    assert finding.severity == "stop"
    tuft = 201 / 60
    assert finding.size == pytest.approx(2 * tuft * 16 / 101, abs=0.3)


def test_an_arm_is_as_weak_as_the_narrowest_neck_in_it() -> None:
    """A leg along the grain with a waist, and a foot across it: one finding, at the waist."""
    leg = shapely.union_all([box(140, 20, 150, 101), box(140, 20, 180, 26)])
    waisted = leg.difference(
        shapely.union(shapely.Point(138, 60).buffer(6), shapely.Point(152, 60).buffer(6))
    )
    (finding,) = arms(on_body(waisted))
    assert finding.severity == "stop"
    assert finding.at == pytest.approx((145, 60), abs=1)
    assert finding.size == pytest.approx(2, abs=0.05)


def test_every_prong_of_a_fork_is_one_arm() -> None:
    prongs = [box(240, 200 + y, 290, 204 + y) for y in (-30, 0, 30)]
    stem = shapely.union(box(199, 195, 241, 209), box(235, 170, 241, 234))
    assert len([f for f in arms(on_body(stem, *prongs)) if f.severity == "stop"]) == 3


def test_only_a_tuft_at_stake_is_never_a_stop() -> None:
    small = on_body(box(199, 199, 203, 201), shapely.Point(204, 200).buffer(1.5))
    large = on_body(box(199, 199, 210, 201), shapely.Point(222, 200).buffer(12.4))
    assert {s for _, s in found(pattern(small, keep="figure"))} <= {"care"}
    assert "stop" in {s for _, s in found(pattern(large, keep="figure"))}


def test_stops_say_what_to_change_and_never_to_saw_it_all_the_same() -> None:
    stops = [f for gap in (2.0, 4.4) for f in check.run(pattern(windows(gap)), KIT) if f.severity == "stop"]
    stops += arms(on_body(box(199, 196, 300, 204)))
    assert len(stops) == 3
    for f in stops:
        assert f.severity == "stop"
        assert "gently" not in remedy(f)
        assert remedy(f).startswith("Widen it to ")
        assert ". " not in remedy(f)
    assert "make the silhouette 3 % larger" in remedy(stops[1])
    assert "take sheet goods: it holds there" in remedy(stops[1])


def test_a_stop_tells_that_the_grain_the_other_way_saves_it_only_where_it_does() -> None:
    shape = on_body(box(199, 196, 300, 204))
    (across,) = arms(shape)
    assert "lay the boards with the grain the other way: it can be sawn then" in remedy(across)
    assert [f.severity for f in arms(shape, 0.0)] == ["care"]
    (wide,) = [f for f in check.run(pattern(windows(8.9), 0.0), KIT) if f.severity == "stop"]
    assert "grain the other way" in remedy(wide)
    cross = on_body(box(199, 196, 300, 204), box(146, 299, 154, 390))
    assert all("grain the other way" not in remedy(f) for f in arms(cross) if f.severity == "stop")


def test_a_small_figure_does_not_look_better_because_its_details_are_small() -> None:
    """The same figure with an arm, a neck with a head and a tongue, from 300 mm down to 60."""
    shape = on_body(
        box(199, 196, 290, 204),
        box(199, 240, 210, 242),
        shapely.Point(222, 241).buffer(12.4),
        box(140, 299, 143, 320),
        shapely.Point(141.5, 322).buffer(3.2),
    )
    stops = []
    for width in (600, 300, 200, 150, 100, 60):
        by = width / 190
        small = affinity.scale(shape, by, by, origin=(100, 100))
        panel = Panel(900, 900, T, math.pi / 2)
        made = cut_pattern(Outline(from_region(small), 1.0), panel, "figure", KIT.blade.kerf)
        stops.append(sum(w.breaks for w in webs(made, KIT)))
    assert stops[0] > 0
    assert stops == sorted(stops)


def test_a_near_miss_of_the_panel_s_edge_is_not_told_twice() -> None:
    near = pattern(shapely.Point(200, 393 - 40).buffer(40))
    kinds = [f.kind for f in check.run(near, KIT)]
    assert kinds == ["too near the edge"]


def test_a_long_rail_along_the_edge_is_a_web() -> None:
    rail = pattern(box(50, 200, 350, 385))
    assert found(rail) == [("short grain", "care")]


def test_the_hint_turns_the_grain_along_the_weakest_web() -> None:
    across = pattern(windows(20), 0.0)
    sentence = hint(across, KIT)
    assert sentence is not None
    assert "Lay the boards the other way" in sentence or "90 degrees" in sentence
    assert hint(pattern(windows(10), math.pi / 2), KIT) is None
    assert hint(pattern(windows(5), None), PLY) is None
    assert hint(pattern(windows(100)), KIT) is None


@given(st.floats(2, 17), st.floats(0.3, 1.3))
@settings(max_examples=6, deadline=None)
def test_following_a_hint_to_turn_the_pattern_gains_what_it_says(gap: float, turn: float) -> None:
    made = pattern(windows(gap, turn=-turn))
    sentence = hint(made, KIT)
    if sentence is None or not sentence.startswith("Turn"):
        return
    degrees, side = int(sentence.split()[3]), sentence.split()[7].rstrip(":")
    back = math.radians(degrees if side == "left" else -degrees)
    turned = pattern(windows(gap, turn=back - turn))
    before, after = (min((w.width / w.limit for w in webs(p, KIT)), default=1.0) for p in (made, turned))
    assert after >= 1.05 * before


def test_the_rule_for_breaking_is_stated_and_used() -> None:
    (web,) = webs(pattern(windows(4.4)), KIT)
    assert web.width < BREAKS_SHARE * web.limit
    assert web.breaks
