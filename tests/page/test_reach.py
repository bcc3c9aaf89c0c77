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

from tests.page.handle import (
    AT,
    BRIDGE,
    EASE,
    THICKNESS,
    field,
    fill,
    look_as,
    middle,
    planned,
    put,
    settle,
    show,
    switch,
)

SERIOUS = ("serious", "critical")


DRAWERS = ("picture", "panel", "saw", "findings", "plan", "print")


def open_folds(page: Page) -> None:
    page.locator("#dock details").evaluate_all("(all) => all.forEach((one) => (one.open = true))")


def open_drawer(page: Page, name: str) -> None:
    front = page.locator(f"#{name} > h2 > .front")
    if not page.locator(f"#{name}-in").is_visible():
        front.click()
    expect(page.locator(f"#{name}-in")).to_be_visible()
    open_folds(page)


def audit(page: Page) -> list[str]:
    """What axe finds serious, once every change of colour under way has ended: halfway it has neither contrast."""
    changing = "document.getAnimations().filter((one) => one instanceof CSSTransition)"
    ended = f"Promise.allSettled({changing}.map((one) => one.finished))"
    # What is hidden halfway through never ends.
    page.evaluate(f"Promise.race([{ended}, new Promise((go) => setTimeout(go, 1000))])")
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
    expect(page.locator("#examples strong").last).not_to_have_text("…")
    for name in DRAWERS:
        open_drawer(page, name)
        assert audit(page) == [], name
    page.click("#job-menu > summary")
    page.click("#help-open")
    assert audit(page) == []


def test_audit_finds_nothing_serious_with_a_job_under_way(visits: Any, eye: Path) -> None:
    """In light and in dark, drawer by drawer, and at the saw."""
    visit = visits(viewport={"width": 1280, "height": 800})
    page, visit.expected = visit.page, ["422"]
    switch(page, EASE, False)
    put(page, eye)
    planned(page)
    show(page, "#bridge-list .entry").first.click()
    fill(page, THICKNESS, "thick")
    expect(page.locator("#s-panel-thickness-wrong")).to_be_visible()
    show(page, "#compare").click()
    expect(page.locator("#sizes table")).to_be_visible()
    for name in DRAWERS:
        open_drawer(page, name)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert audit(page) == [], (name, scheme)
    page.click("#to-saw")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert audit(page) == [], scheme


def test_audit_finds_nothing_serious_in_a_framed_job(page: Page) -> None:
    page.click("[data-example=screen-leaf]")
    expect(page.locator(".frame path:not(.grain)")).to_have_count(2)
    for name in DRAWERS:
        open_drawer(page, name)
        assert audit(page) == [], name
    look_as(page, "finished")
    assert audit(page) == []


def test_the_page_itself_never_scrolls(page: Page, eye: Path) -> None:
    """On a desk, a tablet and a phone the board and the drawer fill the screen; only a drawer scrolls."""
    switch(page, EASE, False)
    put(page, eye)
    settle(page)
    for width, height in ((1400, 900), (820, 1180), (390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        for name in DRAWERS:
            open_drawer(page, name)
            sizes = page.evaluate(
                "[document.documentElement.scrollHeight, document.documentElement.scrollWidth]"
            )
            assert sizes == [height, width], name
            # WCAG 2.2, 2.4.11: what is chosen is not covered; the board keeps a good part of the screen.
            board = page.locator("#board").bounding_box()
            assert board is not None
            assert board["height"] > height * 0.3


OUTSIDE = """(width) => [...document.querySelectorAll("button, input, select, a, h2, h3, p, label, summary")]
  .filter((e) => e.checkVisibility() && !e.closest(".quiet, .skip, .scroll, dialog"))
  .filter((e) => { const box = e.getBoundingClientRect(); return box.left < -1 || box.right > width + 1; })
  .map((e) => e.outerHTML.slice(0, 120))"""


def test_nothing_has_to_be_scrolled_sideways(page: Page, eye: Path) -> None:
    switch(page, EASE, False)
    put(page, eye)
    planned(page)
    for width in (320, 390, 820, 1280):
        page.set_viewport_size({"width": width, "height": 700})
        for name in DRAWERS:
            open_drawer(page, name)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (width, name)
            assert page.evaluate(OUTSIDE, width) == [], (width, name)


def test_targets_are_large_enough(page: Page, eye: Path) -> None:
    """At least 24 by 24 pixels (WCAG 2.2, success criterion 2.5.8)."""
    put(page, eye)
    settle(page)
    small = []
    for name in DRAWERS:
        open_drawer(page, name)
        small += page.evaluate(SMALL)
    planned(page)
    page.click("#to-saw")
    assert small + page.evaluate(SMALL) == []


SMALL = """() => [...document.querySelectorAll("button, select, summary, input, ul[data-path] button")]
           .filter((e) => !["checkbox", "radio"].includes(e.type))
           .filter((e) => e.checkVisibility())
           .filter((e) => { const box = e.getBoundingClientRect(); return box.width < 24 || box.height < 24; })
           .map((e) => e.outerHTML.slice(0, 120))"""


def walk_with_tab(page: Page, most: int) -> tuple[set[str], list[str]]:
    """What Tab reaches from the skip links on, and what of it is not seen to have the focus."""
    page.locator(".skip").first.focus()
    reached, unseen = set(), []
    for _ in range(most):
        page.keyboard.press("Tab")
        about = page.evaluate(
            """() => { const e = document.activeElement; if (!e || e === document.body) return null;
               const style = getComputedStyle(e);
               const shown = e.closest(".segments") ? getComputedStyle(e.nextElementSibling) : style;
               const drawn = e.closest("svg") ? "svg" : shown.outlineStyle;
               const name = e.id || e.dataset.key || e.dataset.hold || e.textContent.trim().slice(0, 30);
               return [name, drawn, shown.outlineWidth]; }"""
        )
        if about is None:
            break
        name, style, width = about
        reached.add(name)
        if style != "svg" and (style == "none" or float(width.removesuffix("px")) < 2):
            unseen.append(name)
    return reached, unseen


WANTED = {
    "picture": """undo to-saw closer whole add-bridge add-hole board figure-0 choose s-figures-now-width
        s-figures-now-at-1 f-size s-keep s-figures-now-threshold""",
    "panel": "s-panel-width s-panel-wood s-panel-frame s-faces-back s-backing",
    "saw": "s-saw-blade compare s-router-gcode",
    "findings": "s-mend-ease s-limits-edge",
    "plan": "walk-start step-0",
    "print": "template.pdf everything s-template-paper s-template-print_scale-0",
}


def test_everything_is_reached_with_tab_and_seen_to_have_the_focus(page: Page, eye: Path) -> None:
    switch(page, EASE, False)
    put(page, eye)
    planned(page)
    for name, names in WANTED.items():
        wanted = set(names.split())
        open_drawer(page, name)
        reached, unseen = walk_with_tab(page, 130)
        assert unseen == [], name
        assert wanted <= reached, (name, wanted - reached)


def test_skip_links_and_fronts_move_the_focus_and_keep_the_key(page: Page) -> None:
    address = page.url
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#board")).to_be_focused()
    page.locator(".skip").last.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#dock")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.locator("#panel-in")).to_be_visible()
    expect(page.locator("#picture-in")).to_be_hidden()
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
    page.mouse.move(*middle(page.locator("#board")))
    page.mouse.wheel(0, -200)  # the wheel alone comes closer
    expect(picture).not_to_have_attribute("viewBox", str(views[0]))


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
    expect(page.locator(AT[0])).not_to_have_value("250 mm")
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
    switch(page, BRIDGE, False)
    switch(page, EASE, False)
    show(page, field("saw.blade")).select_option("jigsaw")
    put(page, eye)
    expect(page.locator("#finding-list")).to_contain_text("Loose piece")
    stop = page.locator(".marks .stop path").first.get_attribute("d")
    legend = page.locator("#legend .mark path").evaluate_all(
        "(all) => all.map((one) => one.getAttribute('d'))"
    )
    # The same as on paper: an octagon (eight corners) can't be cut, a triangle (three) needs care.
    assert stop == legend[0]
    assert [len(set(re.findall(r"[ML]([^MLZ]+)", shape))) for shape in legend[:2]] == [8, 3]
    assert len(set(legend)) == len(legend)
    show(page, "#finding-list .finding").first.click()
    expect(page.locator(".marks .chosen .flag text")).to_have_text(re.compile(r"^\d+$"))
    expect(page.locator("#finding-list .finding").first).to_contain_text(
        re.compile(r"can't be cut like this")
    )


def test_what_happens_is_announced_and_chatter_is_not(page: Page, eye: Path) -> None:
    status = page.get_by_role("status")
    page.evaluate(
        """() => { window.heard = [];
           const status = document.getElementById("status");
           new MutationObserver(() => window.heard.push(status.textContent))
             .observe(status, { childList: true, characterData: true, subtree: true }); }"""
    )
    switch(page, EASE, False)
    put(page, eye)
    planned(page)
    heard = page.evaluate("window.heard")
    assert heard[0] == "Reading eye.png…"
    assert not any("Working out" in text or "Checking" in text for text in heard)
    expect(page.locator("#doing")).to_contain_text("Plan worked out")
    page.evaluate("window.heard.length = 0")
    page.locator(".hold.figure").focus()
    page.keyboard.press("ArrowRight")
    expect(status).to_contain_text("Moved to 251 mm")
    planned(page)
    assert page.evaluate("window.heard.length") == 1  # one key, one sentence, and it stands
    page.click("#undo-here")
    expect(status).to_have_text("Undone.")
