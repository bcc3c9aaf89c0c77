"""The picture of the routed panel, and the depths it is painted from."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
from PIL import Image

from cutout.kit import bit
from cutout.route import tool_path
from cutout.write.gcode import router_programs
from cutout.write.routed import depths, routed_png


@pytest.fixture(scope="module")
def routed(make_work):
    work = make_work()
    kit = replace(work.kit, small_bit=bit("3mm"))
    return replace(work, kit=kit, router=tool_path(work.pattern, kit))


def test_what_is_cut_through_is_what_the_bits_sweep_less_the_tabs(routed):
    """The share of white against the passes' own rings, drawn out by GEOS: 2 % for pixels at the edges."""
    scale = 8.0
    found = depths(routed, router_programs(routed), scale)
    through = float((found >= routed.pattern.panel.thickness).sum()) / scale**2
    swept = shapely.union_all(
        [shapely.buffer(shapely.LinearRing(p.ring.points()), p.bit.radius) for p in routed.router.passes]
    )
    # Between a tab's ends the bit leaves its width by the wood wanted: 6 mm, and nothing of the bit's own round.
    tabs = [(p, t) for p in routed.router.passes for t in p.tabs]
    held = sum(2 * p.bit.radius * (t.end - t.start) - np.pi * p.bit.radius**2 for p, t in tabs)
    assert len(tabs) >= 3
    assert through == pytest.approx(swept.area - held, rel=0.02)


def test_nothing_of_what_stays_is_darkened_and_tabs_have_their_height(routed):
    scale, panel = 4.0, routed.pattern.panel
    found = depths(routed, router_programs(routed), scale)
    row, column = np.nonzero(found > 0)
    x, y = (column + 0.5) / scale, panel.height - (row + 0.5) / scale
    inside = shapely.buffer(routed.pattern.keep, -0.5)
    assert not shapely.contains_xy(inside, x, y).any()
    for cut in routed.router.passes:
        for tab in cut.tabs:
            at = found[round((panel.height - tab.at[1]) * scale), round(tab.at[0] * scale)]
            assert at == pytest.approx(-cut.tab_top, abs=1e-6)


def test_the_picture_is_the_same_each_time_and_shows_holes_as_white(routed):
    programs = router_programs(routed)
    data = routed_png(routed, programs)
    assert data == routed_png(routed, programs)
    picture = np.asarray(Image.open(io.BytesIO(data)))
    assert (picture == (250, 250, 248)).all(axis=2).sum() > 5000


def test_programs_without_moves_leave_the_board_whole(routed):
    bare = replace(routed, router=replace(routed.router, passes=()))
    assert not depths(bare, router_programs(bare), 2.0).any()
