from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from shapely import box

from cutout.amend.model import Bridge, Eased
from cutout.geom.outline import Outline, Ring
from cutout.pattern import Panel
from cutout.write.changed import eased_places
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.picture import preview_png
from cutout.write.work import Work

PANEL = Panel(240.0, 180.0, 18.0, None)


def rectangle(*cut: tuple[float, float]) -> Outline:
    """40..200 x 40..140, with points put in place of its upper right corner."""
    corner = cut or ((200.0, 140.0),)
    return Outline((Ring.of_points(np.array([(40, 40), (200, 40), *corner, (40, 140)], dtype=float)),), 1.0)


@pytest.fixture
def changed(make_work: Callable[..., Work]) -> Callable[..., Work]:
    """A rectangle before, and one with its corner cut `size` mm off after."""

    def build(size: float, **more: object) -> Work:
        before = make_work(outline=rectangle(), panel=PANEL)
        after = make_work(outline=rectangle((200, 140 - size), (200 - size, 140)), panel=PANEL)
        eased = Eased(size / 2**0.5, size**2 / 2)
        return replace(after, before=before.pattern, eased=eased, **more)  # type: ignore[arg-type]

    return build


def test_a_corner_cut_off_is_one_place_at_the_corner(changed: Callable[..., Work]) -> None:
    ((x, y),) = eased_places(changed(6.0))
    assert np.hypot(x - 200, y - 140) < 6.0
    html = cut_sheet(changed(6.0)).decode()
    assert html.count('class="eased"') == 1
    assert "the outline was eased here (1 place)" in html
    assert "moved in 1 place, each marked with a diamond" in html


def test_what_is_too_thin_to_see_is_not_marked(changed: Callable[..., Work]) -> None:
    assert eased_places(changed(0.3)) == ()
    html = cut_sheet(changed(0.3)).decode()
    assert 'class="eased"' not in html
    assert "Nowhere far enough to be marked" in html


def test_nothing_changed_nothing_marked(make_work: Callable[..., Work]) -> None:
    assert eased_places(make_work()) == ()


def test_a_bridge_is_no_eased_place(changed: Callable[..., Work]) -> None:
    bridge = Bridge(1, (195.0, 140.0), (200.0, 135.0), 6.0, box(193, 133, 201, 141))
    assert eased_places(changed(6.0, bridges=(bridge,))) == ()


def test_the_preview_shows_it(changed: Callable[..., Work]) -> None:
    work = changed(6.0)
    assert preview_png(work) != preview_png(replace(work, before=work.pattern))
