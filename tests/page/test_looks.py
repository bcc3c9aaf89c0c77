"""The page draws lines and signs as paper does: what is declared for paper is what its style sheet and signs hold."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace

import pytest
import shapely
from playwright.sync_api import Browser, expect
from svgpathtools import parse_path

from cutout.draw import looks
from cutout.draw.svg import number
from cutout.page.looks import PX, signs, stylesheet
from tests.page.conftest import Served, Visit
from tests.page.test_static import STATIC

STYLES = "".join((STATIC / name).read_text("utf-8") for name in ("page.css", "board.css"))
CODE = "".join(path.read_text("utf-8") for path in STATIC.glob("*.js"))


def declared(text: str) -> dict[str, str]:
    return dict(re.findall(r"(--[\w-]+): ?([^;}]+)", text))


def test_every_property_that_the_page_asks_for_is_declared() -> None:
    made = declared(stylesheet().decode())
    asked = set(re.findall(r"var\((--[\w-]+)\)", STYLES))
    assert len(asked & set(made)) > 20, "the looks are used"
    set_by_scripts = set(re.findall(r'setProperty\("(--[\w-]+)"', CODE))
    assert asked - set(made) - set(declared(STYLES)) - set_by_scripts == set()
    assert set(made) & set(declared(STYLES)) == set(), "nothing is declared a second time"


def test_no_colour_of_a_look_stands_in_the_page_a_second_time() -> None:
    """But for black, white and greys, which mean nothing by themselves."""
    inks = {
        ink for look in vars(looks).values() if isinstance(look, looks.Look) for ink in (look.ink, look.fill)
    }
    coloured = {ink for ink in inks if isinstance(ink, str) and len(set(looks.rgb(ink))) > 1}
    assert len(coloured) > 5
    assert [ink for ink in coloured if ink in STYLES + CODE] == []


def test_signs_have_the_shapes_of_paper() -> None:
    made = signs()
    eight, three = (
        shapely.Polygon([(z.real, z.imag) for z in corners(made[name])]) for name in ("stop", "care")
    )
    assert shapely.get_num_coordinates(eight) == 9 and shapely.get_num_coordinates(three) == 4
    assert eight.bounds == pytest.approx((-7, -7, 7, 7))
    assert three.contains(shapely.Point(0, 0)) and eight.contains(shapely.Point(0, 0))


def corners(data: str) -> list[complex]:
    return [part.start for part in parse_path(data)]


def test_another_look_is_another_line_on_the_page(
    browser: Browser,
    run_server: Callable[[], AbstractContextManager[Served]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(looks, "ZONE", replace(looks.ZONE, width=2.0, dash=(3.0, 1.0), round_ends=False))
    monkeypatch.setattr(looks, "CARE", replace(looks.CARE, fill="#0c6ba0"))
    with run_server() as served:
        visit = Visit(browser, served)
        visit.page.locator("#help-open").click()
        zone, mark = (visit.page.locator(f"#legend {name}") for name in (".zone-sample", ".mark.care path"))
        expect(zone).to_have_css("stroke-width", f"{number(2.0 * PX)}px")
        expect(zone).to_have_css("stroke-dasharray", f"{number(3.0 * PX)}px, {number(PX)}px")
        expect(zone).to_have_css("stroke-linecap", "butt")
        expect(mark).to_have_css("fill", "rgb(12, 107, 160)")
        expect(mark).to_have_attribute("d", signs()["care"])
        visit.close()
