"""The kit against published charts, handbook tables and worked examples. (m) = from memory, no page read."""

from __future__ import annotations

import math

import numpy as np
import pytest

from cutout.check.boards import board_count, movement
from cutout.kit import blade, blades, boards, hankinson, turning_radius, wood

IN = 25.4

CHART = {
    1 / 8: (1 / 8, 3 / 16),
    3 / 16: (5 / 16, 3 / 8),
    1 / 4: (5 / 8, 5 / 8),
    3 / 8: (1.25, 1.5),
    1 / 2: (2.5, 2.5),
    5 / 8: (3.75, 4.0),
    3 / 4: (5.5, 5.5),
}
"""Band-saw blade width -> least radius, inches, lowest and highest of the charts.

Source: doityourself.com band saw blade radius guide; published band-saw manuals (radius chart, Fig. 51 and
Fig. 29).
"""

CHART_CLEARANCE = 0.318
"""The one effective side clearance (mm) with which the formula fits the charts."""


@pytest.mark.parametrize("width", CHART)
def test_the_turning_radius_follows_the_band_saw_charts(width: float) -> None:
    """Within 13 % of the chart's range for 3/16 to 3/4 in, 25 % for 1/8 in."""
    low, high = CHART[width]
    radius = turning_radius(width * IN, CHART_CLEARANCE) / IN
    slack = 0.25 if width == 1 / 8 else 0.13
    assert low * (1 - slack) <= radius <= high * (1 + slack)


def test_radius_grows_with_the_width_squared_on_the_chart() -> None:
    """Slope of log radius over log width, 2 +- 0.1. Source: woodworkingnetwork.com, "Selecting bandsaw blades"."""
    widths = np.array(sorted(CHART))
    middle = np.array([sum(CHART[w]) / 2 for w in widths])
    chart = np.polyfit(np.log(widths), np.log(middle), 1)[0]
    formula = np.polyfit(np.log(widths), np.log([turning_radius(w, 0.1) for w in widths]), 1)[0]
    assert chart == pytest.approx(2, abs=0.1)
    assert formula == pytest.approx(chart, abs=0.1)


def test_a_wider_kerf_turns_tighter() -> None:
    """Source: woodworkingnetwork.com, "Selecting bandsaw blades": more set, smaller radius."""
    assert turning_radius(6, 0.4) < turning_radius(6, 0.3)


def test_a_narrow_jigsaw_blade_turns_a_three_quarter_inch_circle_and_hardly_less() -> None:
    """3/16 in scrolling blade: R 9.5 mm within 15 %. Source: Popular Woodworking 160 (Feb 2007) p. 9."""
    narrow = blade("jigsaw-narrow")
    assert narrow.width == pytest.approx(3 / 16 * IN, rel=0.02)
    assert narrow.turning_radius == pytest.approx(0.75 * IN / 2, rel=0.15)


def test_two_teeth_in_the_wood() -> None:
    """Thickness of at least two teeth. Source: ShopNotes 68 p. 10-11."""
    for b in blades().values():
        assert b.least_thickness == pytest.approx(2 * IN / b.tpi)
    assert blade("jigsaw").least_thickness == pytest.approx(5.08)


@pytest.mark.parametrize(
    ("name", "c_t"),
    [
        ("red-oak", 0.00369),
        ("white-oak", 0.00365),
        ("yellow-birch", 0.00338),
        ("walnut", 0.00274),
        ("white-pine", 0.00212),  # (m)
        ("yellow-poplar", 0.00289),  # (m)
    ],
)
def test_movement_coefficients(name: str, c_t: float) -> None:
    """C_T per 1 % of moisture. Source: Wood Handbook FPL-GTR-190 Table 13-5."""
    assert wood(name).tangential == c_t


def test_a_red_oak_panel_moves_as_the_handbook_says() -> None:
    """300 mm, 4 %: 4.43 mm within 3 %. Source: Wood Handbook FPL-GTR-190, chapter 13, width x C_T x change."""
    assert movement(300, wood("red-oak"), 4) == pytest.approx(4.43, rel=0.03)


def test_a_pine_panel_moves_as_woodworkers_reckon() -> None:
    """24 in eastern white pine, 6 %: about 5/16 in. Source: Guild of New Hampshire Woodworkers, frame and panel."""
    moved = movement(24 * IN, wood("white-pine"), 6)
    assert moved is not None
    assert moved / IN == pytest.approx(0.305, rel=0.03)
    assert moved / IN == pytest.approx(5 / 16, rel=0.05)


@pytest.mark.parametrize(
    ("name", "across", "bending"),
    [
        ("ponderosa-pine", 2.9, 65),
        ("white-pine", 2.1, 59),  # bending (m)
        ("yellow-poplar", 3.7, 70),
        ("red-oak", 5.5, 99),  # bending (m)
        ("white-oak", 5.5, 105),
        ("yellow-birch", 6.3, 114),  # bending (m)
    ],
)
def test_strength_along_and_across_the_grain(name: str, across: float, bending: float) -> None:
    """MPa. Source: Wood Handbook FPL-GTR-190 Table 5-3a."""
    assert wood(name).tension_across == across
    assert wood(name).bending == bending
    assert wood(name).across_ratio == pytest.approx(across / bending)


@pytest.mark.parametrize(
    ("angle", "left"),
    [
        (0.0, 1.0),
        (math.atan(1 / 10), 0.84),
        (math.atan(1 / 5), 0.58),
        (math.radians(30), 0.17),
        (math.pi / 2, 0.05),
    ],
)
def test_strength_at_an_angle_to_the_grain(angle: float, left: float) -> None:
    """Hankinson's formula (published), n = 2 and Q/P = 0.05 (m), within 5 %."""
    assert hankinson(angle) == pytest.approx(left, rel=0.05)


def test_actual_board_widths() -> None:
    """Actual inches by nominal name. Source: PS 20, American Softwood Lumber Standard."""
    actual = {"1x4": 3.5, "1x6": 5.5, "1x8": 7.25, "1x10": 9.25, "1x12": 11.25}
    assert {name: boards()[name].width / IN for name in actual} == pytest.approx(actual)


def test_boards_for_a_panel_of_300_mm() -> None:
    """4, 3, 2, 2 and 2 boards. Source: PS 20 widths and division."""
    counts = [board_count(300, boards()[name].width) for name in ("1x4", "1x6", "1x8", "1x10", "1x12")]
    assert counts == [4, 3, 2, 2, 2]
