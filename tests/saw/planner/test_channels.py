"""A long narrow channel: a hole lies beside it where a lead from there joins the line."""

from __future__ import annotations

import math

import numpy as np
import shapely

from cutout.geom.curve import to_array
from cutout.geom.outline import Outline, from_region
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw import plan, prove
from tests.kits import kit_of

KIT = kit_of("jigsaw-narrow")


def channel(radius: float, windings: float, width: float, points: int = 120) -> Pattern:
    """One that winds inwards, 25 mm a turn; its ends are square."""
    t = np.linspace(0, 2 * math.pi * windings, points)
    middle = (radius - 25 * t / (2 * math.pi)) * np.exp(1j * t)
    aside = 0.5j * width * np.exp(1j * np.angle(np.gradient(middle)))
    side = radius + 20.0
    z = np.concatenate([middle + aside, (middle - aside)[::-1]]) + complex(side, side)
    outline = Outline(from_region(shapely.MultiPolygon([shapely.Polygon(to_array(z))])), 1.0)
    return cut_pattern(outline, Panel(2 * side, 2 * side, 18.0), "panel", KIT.blade.kerf)


def test_a_channel_of_two_windings_a_hair_wider_than_the_hole_is_sawn_out() -> None:
    pattern = channel(150.0, 2.0, 6.13)
    made = plan(pattern, KIT)
    assert not [f for f in made.findings if f.severity == "stop"]
    assert len(made.holes) == 1
    assert prove(pattern, KIT, made).ok
