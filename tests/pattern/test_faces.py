from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import MultiPolygon, box

from cutout.check.drawn_line import drawn_line
from cutout.errors import LayoutError
from cutout.pattern import Panel, cut_pattern
from cutout.pattern.faces import drawn_frame, seen_from_back
from tests.figures import outline_of, square
from tests.kits import KIT

PANEL = Panel(400.0, 600.0, 18.0)


def test_a_drawn_frame_has_stiles_rails_and_a_reveal_line() -> None:
    frame, gap = drawn_frame(PANEL, 60.0, 70.0, 3.0)
    assert frame.area.area == pytest.approx(400 * 600 - 280 * 460)
    assert gap.area.area == pytest.approx(280 * 460 - 274 * 454)
    with pytest.raises(LayoutError):
        drawn_frame(PANEL, 210.0, 70.0, 3.0)


def test_an_opening_across_a_drawn_stile_is_reported_with_its_size() -> None:
    panel = replace(PANEL, drawn=drawn_frame(PANEL, 60.0, 70.0, 3.0))
    found = list(drawn_line(cut_pattern(outline_of(square(40.0, 200.0, 100.0)), panel, "panel", 1.28), KIT))
    assert [f.severity for f in found] == ["care", "care"]
    assert found[0].size == pytest.approx((20 * 100) ** 0.5)
    assert not list(
        drawn_line(cut_pattern(outline_of(square(150.0, 200.0, 100.0)), panel, "panel", 1.28), KIT)
    )


def test_seen_from_the_back_left_and_right_change_places_twice_is_nothing() -> None:
    region = MultiPolygon([box(10.0, 20.0, 40.0, 70.0)])
    back = seen_from_back(region, PANEL)
    assert back.bounds == (360.0, 20.0, 390.0, 70.0)
    assert seen_from_back(back, PANEL).equals(region)
