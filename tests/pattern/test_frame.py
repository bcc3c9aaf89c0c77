from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cutout.errors import LayoutError
from cutout.pattern import Panel
from cutout.pattern.frame import Frame, clear_area, rectangle_zone, round_zone

LENGTHS = st.floats(1.0, 50.0)


def test_an_inset_panel_is_smaller_by_the_reveal_on_each_side() -> None:
    """Reveal 1/8 in (3 mm) round an inset panel: common practice."""
    frame = Frame((500.0, 700.0), reveal=3.0)
    assert frame.size == (494.0, 694.0)
    assert frame.zones() == ()
    assert frame.visible.bounds == (0.0, 0.0, 494.0, 694.0)


def test_a_panel_behind_a_lip_hides_a_strip_on_each_side() -> None:
    frame = Frame((400.0, 600.0), reach=(10.0, 10.0, 12.0, 8.0), reveal=2.0)
    assert frame.size == (416.0, 616.0)
    assert frame.visible.bounds == (8.0, 6.0, 408.0, 606.0)
    (lip,) = frame.zones()
    assert lip.area.area == pytest.approx(416 * 616 - 400 * 600)


@given(LENGTHS, LENGTHS, LENGTHS, LENGTHS, st.floats(0.0, 1.0))
def test_what_is_seen_is_the_opening_when_the_panel_reaches_behind_it(
    a: float, b: float, c: float, d: float, reveal: float
) -> None:
    frame = Frame((300.0, 400.0), (a, b, c, d), reveal)
    x0, y0, x1, y1 = frame.visible.bounds
    assert x1 - x0 == pytest.approx(300.0)
    assert y1 - y0 == pytest.approx(400.0)


def test_the_clear_area_leaves_out_strips_but_not_a_screw_in_the_middle() -> None:
    frame = Frame((400.0, 600.0), reach=(10.0, 10.0, 12.0, 8.0), reveal=2.0)
    zones = (
        *frame.zones(),
        round_zone("screw", (200.0, 300.0), 8.0),
        rectangle_zone("hinge", (0.0, 100.0), (30, 60)),
    )
    panel = Panel(*frame.size, 18.0, zones=zones)
    assert clear_area(panel).bounds == pytest.approx(frame.visible.bounds)


def test_a_strip_right_across_counts() -> None:
    panel = Panel(400.0, 600.0, 18.0, zones=(rectangle_zone("ledge", (0.0, 0.0), (400.0, 40.0)),))
    assert clear_area(panel).bounds == (0.0, 40.0, 400.0, 600.0)


@pytest.mark.parametrize(
    ("opening", "reach", "reveal"),
    [((0.0, 5.0), (0,) * 4, 1.0), ((100.0, 100.0), (-1, 0, 0, 0), 1.0), ((5.0, 100.0), (0,) * 4, 3.0)],
)
def test_impossible_frames_are_refused(opening: tuple, reach: tuple, reveal: float) -> None:
    with pytest.raises(LayoutError):
        Frame(opening, reach, reveal)
