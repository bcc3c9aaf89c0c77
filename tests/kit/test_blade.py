from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.errors import KitError
from cutout.kit import Blade, Kit, bit, blade, blades, drills, moves_of, turning_radius, wood

widths, gaps = st.floats(0.3, 25), st.floats(0.02, 1.5)


@given(widths, gaps, st.floats(1.05, 3))
@settings(max_examples=50, deadline=None)
def test_a_wider_kerf_turns_tighter_and_a_wider_blade_less(width: float, gap: float, more: float) -> None:
    assert turning_radius(width, gap * more) < turning_radius(width, gap)
    assert turning_radius(width * more, gap) == pytest.approx(turning_radius(width, gap) * more**2)


@given(widths, gaps, st.floats(0.2, 2))
@settings(max_examples=50, deadline=None)
def test_the_longest_chord_in_the_slot_is_the_blade(width: float, gap: float, body: float) -> None:
    """The body, seen as a rectangle width x body, lies in the curved slot and touches both its walls.

    From the exact chord: (R + body/2 + gap/2 ...) differs from the published form by second order only, so
    the check is that the sagitta of a chord of the blade's width on the inner wall takes up the clearance.
    """
    radius = turning_radius(width, gap, body)
    inner = radius + body / 2
    if radius == 0 or width / 2 >= inner:
        return
    sagitta = inner - math.sqrt(inner**2 - (width / 2) ** 2)
    assert sagitta == pytest.approx(gap, rel=(width / inner) ** 2 / 4 + 1e-6)


def test_where_a_radius_came_from_is_kept() -> None:
    narrow = blade("jigsaw-narrow")
    assert narrow.radius_from == "formula"
    measured = narrow.measured(12.5)
    assert (measured.turning_radius, measured.radius_from) == (12.5, "measured")


@pytest.mark.parametrize(
    "change", [{"width": 0}, {"kerf": 0.9}, {"tpi": -3}, {"body": math.nan}, {"radius": -1.0}]
)
def test_no_such_blade(change: dict[str, float]) -> None:
    sizes = {"width": 5.0, "body": 1.0, "kerf": 1.4, "tpi": 10.0, "feed": 300.0}
    with pytest.raises(KitError, match="blade own"):
        Blade(name="own", title="", saw="", source="", **{**sizes, **change})  # type: ignore[arg-type]


def test_a_blade_without_play_never_turns() -> None:
    with pytest.raises(KitError, match="wider than its body"):
        turning_radius(5, 0)


def test_every_blade_has_a_source_and_sensible_sizes() -> None:
    for b in blades().values():
        assert b.source
        assert b.body < b.kerf < b.body * 2
        assert 0 < b.turning_radius < 40
        assert b.width < b.hole_to_turn < 2 * b.width


def test_an_unknown_blade_is_answered_with_what_there_is() -> None:
    with pytest.raises(KitError, match="jigsaw-narrow"):
        blade("chainsaw")
    assert blade(" Jigsaw Narrow ").name == "jigsaw-narrow"


def test_every_saw_has_times_for_its_moves_and_a_slower_feed_in_thicker_and_harder_wood() -> None:
    """In words only (Creative Woodworks & Crafts, winter 1998, p. 22): denser and thicker wood is cut more slowly."""
    for each in blades().values():
        own = moves_of(each.saw)
        assert own.source
        assert own.turn <= own.drop_in <= own.lift <= own.thread
        soft, hard = (Kit(each, drills("metric"), bit("6mm"), wood(w)) for w in ("white-pine", "red-oak"))
        assert soft.feed(12.0) > soft.feed(18.0) > soft.feed(36.0)
        assert hard.feed(18.0) < soft.feed(18.0)
        assert soft.allow == own.allowance
        assert replace(soft, allowance=0.0).allow == 0.0
