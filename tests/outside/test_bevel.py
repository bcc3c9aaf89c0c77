"""Bevel inlay against published angles and against a section drawn to scale."""

from __future__ import annotations

import math

import pytest
from shapely import affinity
from shapely.geometry import Polygon

from cutout.errors import KitError
from cutout.kit.bevel import bevel, fit

INCH = 25.4


@pytest.mark.parametrize("share", [1.0, 1.1, 1.2])
def test_the_angle_a_marquetry_maker_publishes(share: float) -> None:
    """3/32 in veneer and a 2/0 blade 0.010 in thick: "7 degrees works well" (djmarks.com, double bevel).

    The kerf is 1.0 to 1.2 times the blade's thickness: taken from practice, no source.
    """
    assert math.degrees(bevel(0.010 * INCH * share, 3 / 32 * INCH)) == pytest.approx(7.0, abs=1.0)


@pytest.mark.parametrize(
    ("thickness", "kerf", "degrees"),
    [(1 / 16, 0.010, 9.21), (1 / 8, 0.0114, 5.23), (1 / 4, 0.018, 4.13), (1 / 28, 0.0087, 14.10)],
)
def test_angles_worked_out_by_hand(thickness: float, kerf: float, degrees: float) -> None:
    """sin a = K / t, worked out apart from the code."""
    assert math.degrees(bevel(kerf * INCH, thickness * INCH)) == pytest.approx(degrees, abs=0.01)


def test_too_steep_stops_short_and_too_flat_drops_through() -> None:
    """A box inlay published with its trials: 2.75 degrees stops a third in, 2 is flush (shirewriting.blogspot.com,
    24 February 2015; thickness and blade are not given there, so only the sign is tested)."""
    kerf, thickness = 0.35, 10.0
    right = bevel(kerf, thickness)
    assert math.degrees(right) == pytest.approx(2.0, abs=0.1)
    assert fit(math.radians(2.75), kerf, thickness) < 0 < fit(math.radians(1.2), kerf, thickness)
    assert fit(right, kerf, thickness) == pytest.approx(0.0, abs=1e-12)


def test_a_section_drawn_to_scale_closes() -> None:
    """The slot as a slanting strip through both layers: the plug moved by one thickness just meets the other side."""
    kerf, thickness = 0.4, 6.0
    a = bevel(kerf, thickness)
    wide = kerf / math.cos(a)

    def side(x: float, y: float) -> float:
        return x - y * math.tan(a)

    lower = Polygon([(side(-20, -6), -6), (side(0, -6), -6), (side(0, 0), 0), (side(-20, 0), 0)])
    upper = Polygon([(side(wide, 0), 0), (side(20, 0), 0), (side(20, 6), 6), (side(wide, 6), 6)])
    plug = affinity.translate(lower, 0, thickness)
    assert plug.distance(upper) == pytest.approx(0.0, abs=1e-9)
    assert plug.intersection(upper).area == pytest.approx(0.0, abs=1e-9)


def test_a_blade_too_wide_for_the_wood_is_refused() -> None:
    with pytest.raises(KitError, match="finer blade"):
        bevel(1.5, 2.0)
    with pytest.raises(KitError, match="more than zero"):
        bevel(0.0, 2.0)
