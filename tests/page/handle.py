"""What tests do on the page again and again, as a user does it."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

import httpx
from playwright.sync_api import BrowserContext, Error, Locator, Page, Route, expect

SLOW = 180_000


def field(path: str, part: int | None = None) -> str:
    """The field of a setting; `$` in the path stands for the figure that is chosen."""
    return f"[data-path='{path}']" + ("" if part is None else f"[data-part='{part}']")


WIDTH, TURN = field("figures.$.width"), field("figures.$.turn")
AT = (field("figures.$.at", 0), field("figures.$.at", 1))
EASE, BRIDGE = field("mend.ease"), field("mend.bridge")
PANEL_WIDTH, PANEL_HEIGHT, THICKNESS = (field(f"panel.{name}") for name in ("width", "height", "thickness"))


def show(page: Page, field: str | Locator) -> Locator:
    """What stands in a drawer, with that drawer and every fold around it opened as a user opens them."""
    found = page.locator(field) if isinstance(field, str) else field
    found.first.wait_for(state="attached")
    # Looked for from it in one step: lists are drawn anew, and what stood in one then hangs in no drawer.
    front = found.first.locator(
        "xpath=ancestor::section[ancestor::*[@id='dock']]/h2/*[contains(@class, 'front')]"
    )
    if front.count() and front.get_attribute("aria-expanded") == "false":
        front.click()
    folds = found.first.locator("xpath=ancestor::details[not(@open)]")
    while folds.count():
        folds.first.locator("> summary").click()
    return found


def put(page: Page, picture: Path) -> None:
    """Choose a picture and wait until it is seen on the panel."""
    page.set_input_files("#picture-file", picture)
    expect(page.locator(".hold.figure")).to_have_count(1)


def settle(page: Page) -> None:
    """Wait until what was changed has been taken, and mending has shown what it did."""
    expect(page.locator("body:not(.sending)")).to_have_count(1)
    expect(page.locator("#findings-sum")).not_to_have_text(
        re.compile("Checking|Before mending"), timeout=SLOW
    )


_held: WeakKeyDictionary[BrowserContext, list[Route]] = WeakKeyDictionary()
"""Requests for a plan that wait, by the tabs they come from."""

_PLAN = "**/api/jobs/*/work/planned"


def hold_plans(context: BrowserContext) -> None:
    """Let no plan be worked out until a test asks for one: most look at the page before, and a plan takes seconds."""
    waiting: list[Route] = []
    _held[context] = waiting
    context.route(_PLAN, lambda route: waiting.append(route))


def let_plans(page: Page) -> None:
    """Let plans be worked out from now on."""
    for route in _held.pop(page.context, []):
        with suppress(Error):  # nobody waits for it any more: the job has changed since
            route.continue_()
    page.context.unroute(_PLAN)


def planned(page: Page) -> None:
    """Wait until the plan is there."""
    let_plans(page)
    expect(page.locator("body:not(.sending)")).to_have_count(1)
    expect(page.locator("#to-saw")).to_have_attribute("aria-disabled", "false", timeout=SLOW)


def job_id(page: Page) -> str:
    return str(page.evaluate("new URLSearchParams(location.hash.slice(1)).get('job')"))


def job(page: Page, client: httpx.Client) -> dict[str, Any]:
    return dict(client.get(f"/api/jobs/{job_id(page)}").json()["state"]["job"])


def until(page: Page, client: httpx.Client, holds: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """The job once it is as wanted."""
    # What the page has to send has been answered: the first look at the job mostly is the last.
    expect(page.locator("body:not(.sending)")).to_have_count(1)
    deadline = time.monotonic() + 20
    while True:
        now = job(page, client)
        if holds(now):
            return now
        assert time.monotonic() < deadline, f"the job never became as wanted: {now}"
        page.wait_for_timeout(100)


def fill(page: Page, target: str, text: str) -> None:
    show(page, target).fill(text)
    page.press(target, "Tab")


def switch(page: Page, target: str, on: bool) -> None:
    show(page, target).set_checked(on)


def look_as(page: Page, how: str) -> None:
    """As drawn, as cut, both or finished."""
    page.locator(f"#shows label:has([value={how}])").click()


def middle(target: Locator) -> tuple[float, float]:
    box = None
    for _ in range(40):  # a new drawing may just be taking its place
        expect(target).to_be_visible()
        if box := target.bounding_box():
            break
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def drag(page: Page, start: tuple[float, float], end: tuple[float, float], let_go: bool = True) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, steps=4)
    page.mouse.move(*end, steps=4)
    if let_go:
        page.mouse.up()


def pixel(page: Page) -> float:
    """mm of the panel for one pixel of the screen."""
    across = page.evaluate("document.querySelector('svg.board').viewBox.baseVal.width")
    return float(across / page.locator("#board").evaluate("(board) => board.clientWidth"))
