"""The size table: smaller blades manage smaller silhouettes, and the sizes named are where stops end."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
import shapely
from shapely import box

from cutout.amend.size import RESOLUTION, scaled, sizes, webs_hold_from, with_own
from cutout.geom.outline import Letter, Outline, capital_of, from_region
from cutout.kit import blade, blades
from cutout.pattern import Panel
from cutout.say.sizes import size_lines
from cutout.units import parse_length
from tests.kits import KIT

PANEL = Panel(300.0, 300.0, 18.0, math.pi / 2)
SLOT = Outline(from_region(box(100, 100, 200, 104)))
"""100 mm wide and 4 mm high: the hole that lets a blade in decides, 4 mm at a width of 100 mm."""


def test_the_smallest_width_is_where_the_starter_hole_just_fits() -> None:
    """A slot 0.04 of its width high takes a 5 mm hole from 125 mm on (0.1 mm of the hole may show)."""
    found = sizes(scaled(SLOT, PANEL, "panel"), 100.0, KIT, [KIT.blade])
    (row,) = found.rows
    assert row.smallest == pytest.approx((5.0 - 0.1) / 0.04, rel=2 * RESOLUTION)
    assert not row.manages
    assert found.largest is None


def test_a_finer_blade_manages_a_smaller_one() -> None:
    found = sizes(
        scaled(SLOT, PANEL, "panel"), 100.0, KIT, [blade(n) for n in ("jigsaw", "jigsaw-narrow", "fret")]
    )
    least = [row.smallest for row in found.rows if row.smallest is not None]
    assert len(least) == len(found.rows)
    assert least == sorted(least, reverse=True)
    assert found.largest == blade("fret")
    assert [row.manages for row in found.rows] == [False, False, True]


def test_the_search_ends_where_nothing_is_left_to_cut() -> None:
    """A disc of 12 mm for the finest blade: six steps down it would cover less than a square millimetre."""
    disc = Outline(from_region(shapely.Point(150, 150).buffer(6.0)))
    (row,) = sizes(scaled(disc, PANEL, "panel"), 12.0, KIT, [blade("scroll-fine")]).rows
    assert row.manages
    assert row.smallest is not None
    assert row.smallest < 12.0
    assert math.pi * (row.smallest / 2) ** 2 > 0.9  # about a square millimetre, the least that is laid out


def test_webs_hold_from_one_size_on_whatever_the_blade() -> None:
    """A web of 2 mm at 140 mm wide breaks below a quarter of 18 mm: from 315 mm on it holds."""
    figure = shapely.union_all([box(80, 100, 149, 200), box(151, 100, 220, 200)])
    build = scaled(Outline(from_region(figure)), PANEL, "panel")
    assert webs_hold_from(build, 140.0, KIT) == pytest.approx(315.0, rel=2 * RESOLUTION)
    assert sizes(build, 140.0, KIT, [KIT.blade]).rows[0].manages


def test_the_table_names_every_blade_and_the_users_own_measure() -> None:
    own = replace(KIT, blade=KIT.blade.measured(5.0))
    build = scaled(SLOT, PANEL, "panel")
    wide = SLOT.bounds[2] - SLOT.bounds[0]
    words = replace(SLOT, letters=(Letter("H", 0j, complex(wide), 12.7j),))
    found = sizes(build, 100.0, own, with_own(own.blade))
    share = (capital_of(words) or 0.0) / wide
    text = size_lines(found, webs_hold_from(build, 100.0, own), "in", share)
    # One letter as wide as the slot and half an inch high: its capitals grow and shrink with it.
    (row,) = (line for line in text.splitlines() if KIT.blade.title in line and "capitals" in line)
    width, capital = (parse_length(w, None) for w in re.findall(r"([\d/ -]+ in)", row)[-2:])
    assert capital / width == pytest.approx(12.7 / wide, rel=0.06)
    assert all(b.title in text for b in blades().values())
    assert "Largest blade for 3-15/16 in: " in text
    assert " in" in text and " mm or less" not in text
