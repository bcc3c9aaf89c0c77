"""How many touches a job takes, counted by the page itself: every press of pointer or finger. Keys are not touches,
nor is scrolling; the file taken in the system's own dialog is one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from tests.page.handle import SLOW, field, planned

ROOT = Path(__file__).parents[2]
TOLD = (ROOT / "docs" / "how-to" / "page.md").read_text("utf-8")
DIALOG = 1
"""The file itself, taken in the dialog of the system."""


@pytest.fixture
def touches(page: Page) -> Callable[[], int]:
    """Presses so far. Files come at once: what is in them is other tests' matter."""
    page.evaluate("window.presses = 0; addEventListener('pointerdown', () => window.presses++, true)")
    page.route("**/files/*", lambda route: _paper(route))
    return lambda: int(page.evaluate("window.presses"))


def _paper(route: Route) -> None:
    route.fulfill(body=b"%PDF-1.4", content_type="application/pdf")


def choose(page: Page, button: str, picture: Path) -> None:
    with page.expect_file_chooser() as chooser:
        page.click(button)
    chooser.value.set_files(picture)


def print_template(page: Page) -> None:
    page.click("#print > h2 > .front")
    with page.expect_download(timeout=SLOW):
        page.click("#file-list [data-key='template.pdf']")


def said(count: int, start: str) -> None:
    """The table of the guide says the same."""
    rows = [line.split("|")[1:3] for line in TOLD.splitlines() if line.startswith("| ")]
    assert [int(number) for number, what in rows if start in what] == [count], start


def test_from_an_example_to_its_template(page: Page, touches: Callable[[], int]) -> None:
    page.click("[data-example=key-rack]")
    print_template(page)
    said(touches(), " an example")


def test_from_a_picture_to_its_template(page: Page, touches: Callable[[], int], pebble: Path) -> None:
    choose(page, "#begin-choose", pebble)
    expect(page.locator(".hold.figure")).to_have_count(1)
    print_template(page)
    said(touches() + DIALOG, " a picture of your own")


def test_from_a_picture_to_a_framed_job_with_two_faces(
    page: Page, touches: Callable[[], int], pebble: Path, eye: Path
) -> None:
    """A frame with its opening, a picture painted on the back, the panel turned round to look at it, the template."""
    choose(page, "#begin-choose", pebble)
    expect(page.locator(".hold.figure")).to_have_count(1)
    page.click("#panel > h2 > .front")
    page.click("#s-panel-frame")
    for part, text in enumerate(("420", "520")):
        opening = page.locator(field("panel.frame.opening", part))
        opening.click()
        opening.fill(text)  # typed
        opening.press("Enter")
        expect(page.locator("body:not(.sending)")).to_have_count(1)
    page.click("#s-faces-back")
    choose(page, "[data-add='faces.back.figures']", eye)
    expect(page.locator(".painted path")).not_to_have_count(0)
    page.click("#turn-round")
    expect(page.locator("#board")).to_have_attribute("aria-label", "Panel seen from the back")
    print_template(page)
    said(touches() + 2 * DIALOG, " two pictures of your own")


def test_through_the_whole_walk(page: Page, touches: Callable[[], int], pebble: Path) -> None:
    """One touch a step and one to begin: twelve steps of the heron and its example make fourteen."""
    page.set_input_files("#picture-file", pebble)
    planned(page)
    page.click("#to-saw")
    steps = page.locator("#walk-steps button").count()
    for _ in range(steps):
        page.click("#walk-on")
    expect(page.locator("#walk")).to_be_hidden()
    assert touches() == 1 + steps
    said(2 + 12, " the heron's example")
