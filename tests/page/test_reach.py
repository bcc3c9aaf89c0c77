"""Everyone can use it: an accessibility audit, keys alone, narrow windows and zoom, touch, shapes besides colour.

400 % zoom of a 1280 pixel window is a 320 pixel viewport (WCAG 2.2, success criterion 1.4.10 Reflow).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

SERIOUS = ("serious", "critical")


def put(page: Page, picture: Path) -> None:
    page.set_input_files("#picture-file", picture)
    expect(page.locator(".hold.figure")).to_have_count(1)


def open_everything(page: Page) -> None:
    page.locator("details").evaluate_all("(all) => all.forEach((one) => (one.open = true))")


def audit(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']} ({one['impact']}): {one['nodes'][0]['html'][:160]}"
        for one in found
        if one["impact"] in SERIOUS
    ]


@pytest.fixture
def visits(browser: Browser, served: Any, visit_of: Any) -> Iterator[Any]:
    """Makes visits with given browser options, and closes them."""
    made: list[Any] = []

    def make(**options: Any) -> Any:
        made.append(visit_of(browser, served, **options))
        return made[-1]

    yield make
    for one in made:
        one.close()


def test_audit_finds_nothing_serious_when_empty(page: Page) -> None:
    open_everything(page)
    assert audit(page) == []


def test_audit_finds_nothing_serious_with_a_job_under_way(page: Page, eye: Path) -> None:
    page.locator("#m-ease").uncheck()
    put(page, eye)
    expect(page.locator("#walk")).to_be_visible(timeout=60_000)
    open_everything(page)
    page.click("#walk-on")
    page.locator("#bridge-list .entry").first.click()
    page.fill("#p-thickness", "thick")
    page.press("#p-thickness", "Tab")
    expect(page.locator("#p-thickness-wrong")).to_be_visible()
    page.click("#compare")
    expect(page.locator("#sizes table")).to_be_visible()
    assert audit(page) == []


@pytest.mark.parametrize("width", [320, 390, 820, 1280])
def test_nothing_has_to_be_scrolled_sideways(visits: Any, eye: Path, width: int) -> None:
    page = visits(viewport={"width": width, "height": 700}).page
    page.locator("#m-ease").uncheck()
    put(page, eye)
    expect(page.locator("#bridge-list li").first).to_be_visible(timeout=60_000)
    open_everything(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    outside = page.evaluate(
        """(width) => [...document.querySelectorAll("button, input, select, a, h2, h3, p, label, summary")]
           .filter((e) => e.checkVisibility() && !e.closest(".quiet, .skip, .scroll"))
           .filter((e) => { const box = e.getBoundingClientRect(); return box.left < -1 || box.right > width + 1; })
           .map((e) => e.outerHTML.slice(0, 120))""",
        width,
    )
    assert outside == []


def test_targets_are_large_enough(page: Page, eye: Path) -> None:
    """At least 24 by 24 pixels (WCAG 2.2, success criterion 2.5.8)."""
    put(page, eye)
    open_everything(page)
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, summary, nav a, input[type=range], [data-path]")]
           .filter((e) => !["checkbox", "radio"].includes(e.type))
           .filter((e) => e.checkVisibility())
           .filter((e) => { const box = e.getBoundingClientRect(); return box.width < 24 || box.height < 24; })
           .map((e) => e.outerHTML.slice(0, 120))"""
    )
    assert small == []


def test_everything_is_reached_with_tab_and_seen_to_have_the_focus(page: Page, eye: Path) -> None:
    page.locator("#m-ease").uncheck()
    put(page, eye)
    expect(page.locator("#bridge-list li").first).to_be_visible(timeout=60_000)
    open_everything(page)
    page.locator(".skip").first.focus()
    page.keyboard.press("Tab")
    reached, unseen = set(), []
    for _ in range(250):
        about = page.evaluate(
            """() => { const e = document.activeElement; if (!e || e === document.body) return null;
               const style = getComputedStyle(e);
               const drawn = e.closest("svg") ? "svg" : style.outlineStyle;
               const name = e.id || e.dataset.key || e.dataset.hold || e.textContent.trim().slice(0, 30);
               return [name, drawn, style.outlineWidth]; }"""
        )
        if about is None:
            break
        name, style, width = about
        reached.add(name)
        if style != "svg" and (style == "none" or float(width.removesuffix("px")) < 2):
            unseen.append(name)
        page.keyboard.press("Tab")
    assert unseen == []
    wanted = {
        "undo", "new-job", "open-job", "closer", "whole", "board", "figure-0", "choose", "f-width", "f-size",
        "p-wood",
        "s-blade", "compare", "m-ease", "add-bridge", "add-hole", "t-paper", "template.pdf", "everything.zip",
    }  # fmt: skip
    assert wanted <= reached, wanted - reached


def test_skip_links_and_steps_move_the_focus_and_keep_the_key(page: Page) -> None:
    address = page.url
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#board")).to_be_focused()
    page.get_by_role("navigation").get_by_role("link", name=re.compile("Saw")).press("Enter")
    expect(page.locator("#saw")).to_be_focused()
    assert page.url == address


def test_the_view_moves_with_keys(page: Page, eye: Path) -> None:
    put(page, eye)
    picture = page.locator("svg.board")
    views = [picture.get_attribute("viewBox")]
    page.locator("#board").focus()
    for key in ("PageUp", "ArrowRight", "ArrowDown", "PageDown"):
        page.keyboard.press(key)
        views.append(picture.get_attribute("viewBox"))
    assert len(set(views)) == len(views)
    page.keyboard.press("0")
    assert picture.get_attribute("viewBox") == views[0]


def test_fingers_drag_a_figure_and_spread_the_view(visits: Any, eye: Path) -> None:
    visit = visits(viewport={"width": 820, "height": 1180}, has_touch=True)
    page = visit.page
    put(page, eye)
    devtools = visit.context.new_cdp_session(page)
    box = page.locator("#board").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def touch(kind: str, *points: tuple[float, float]) -> None:
        marks = [{"x": px, "y": py, "id": n} for n, (px, py) in enumerate(points)]
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": marks})

    ring = (x + box["height"] * 0.17, y)
    touch("touchStart", ring)
    for step in range(1, 6):
        touch("touchMove", (ring[0] + 6 * step, ring[1]))
    touch("touchEnd")
    expect(page.locator("#f-x")).not_to_have_value("250 mm")
    view = page.locator("svg.board").get_attribute("viewBox")
    touch("touchStart", (x - 60, y), (x + 60, y))
    for step in range(1, 5):
        touch("touchMove", (x - 60 - 15 * step, y), (x + 60 + 15 * step, y))
    touch("touchEnd")
    expect(page.locator("svg.board")).not_to_have_attribute("viewBox", view)


def test_still_for_those_who_want_no_motion(visits: Any) -> None:
    page = visits(viewport={"width": 1280, "height": 800}, reduced_motion="reduce").page
    moving = page.evaluate(
        """() => [document.documentElement, ...document.querySelectorAll("*")].filter((e) => {
           const style = getComputedStyle(e);
           return style.scrollBehavior === "smooth" || parseFloat(style.transitionDuration) > 0
             || style.animationName !== "none"; }).length"""
    )
    assert moving == 0


def test_marks_differ_in_shape_and_carry_a_number_and_words(page: Page, eye: Path) -> None:
    page.locator("#m-bridge").uncheck()
    page.locator("#m-ease").uncheck()
    page.select_option("#s-blade", "jigsaw")
    put(page, eye)
    expect(page.locator("#finding-list")).to_contain_text("Loose piece")
    stop = page.locator(".marks .stop path").first.get_attribute("d")
    legend = page.locator("#legend .mark path").evaluate_all(
        "(all) => all.map((one) => one.getAttribute('d'))"
    )
    assert stop == legend[0]
    assert len(set(legend)) == len(legend)
    expect(page.locator(".marks .stop text").first).to_have_text(re.compile(r"^\d+$"))
    expect(page.locator("#finding-list .finding").first).to_contain_text(
        re.compile(r"can't be cut like this")
    )


def test_what_happens_is_announced(page: Page, eye: Path) -> None:
    status = page.get_by_role("status")
    page.evaluate(
        """() => { window.heard = [];
           const status = document.getElementById("status");
           new MutationObserver(() => window.heard.push(status.textContent))
             .observe(status, { childList: true, characterData: true, subtree: true }); }"""
    )
    page.locator("#m-ease").uncheck()
    put(page, eye)
    expect(page.locator("#walk")).to_be_visible(timeout=60_000)
    heard = " | ".join(page.evaluate("window.heard"))
    assert "Reading eye.png" in heard
    assert "500 x 700 mm" in heard
    assert "Working out the plan" in heard
    assert "of sawing" in heard
    page.click("#undo")
    expect(status).to_contain_text(re.compile("Undone|Choose|500 x 700"))
