"""What is done faster than answers come: nothing is lost, nothing is done twice, and nothing is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Page, Route, expect

from tests.page.handle import THICKNESS, field, fill, put, settle, show, switch, until

MAT = (field("template.mat", 0), field("template.mat", 1))


def test_half_a_pair_waits_for_its_other_half(page: Page, client: httpx.Client) -> None:
    switch(page, field("template.film"), True)
    until(page, client, lambda job: job["template"]["film"])
    fill(page, MAT[0], "300mm")
    expect(page.locator("#status")).to_contain_text("fill in high too")
    fill(page, THICKNESS, "20")
    until(page, client, lambda job: job["panel"]["thickness"] == 20)
    show(page, MAT[0])
    expect(page.locator(MAT[0])).to_have_value("300mm")  # not written over by the answer to something else
    fill(page, MAT[1], "600mm")
    until(page, client, lambda job: job["template"]["mat"] == [300, 600])
    expect(page.locator(MAT[0])).to_have_value("300 mm")


def held(page: Page, address: str) -> list[Route]:
    """Requests to an address, each waiting until the test lets it go on."""
    waiting: list[Route] = []
    page.route(address, lambda route: waiting.append(route))
    return waiting


def let_go(page: Page, address: str, waiting: list[Route]) -> None:
    for route in waiting:
        route.continue_()
    page.unroute(address)


def test_taken_away_twice_is_taken_away_once(
    page: Page, pebble: Path, eye: Path, client: httpx.Client
) -> None:
    put(page, pebble)
    with page.expect_file_chooser() as chooser:
        show(page, "#add-figure").click()
    chooser.value.set_files(eye)
    expect(page.locator(".hold.figure")).to_have_count(2)
    address = "**/api/jobs/*/change"
    waiting = held(page, address)
    page.get_by_role("button", name="Take away pebble.png").dblclick()
    expect(page.locator("body.sending")).to_have_count(1)
    let_go(page, address, waiting)
    now = until(page, client, lambda job: len(job["figures"]) < 2)
    assert len(now["figures"]) == 1


def test_what_was_being_moved_is_let_go_when_it_is_taken_away(
    page: Page, pebble: Path, client: httpx.Client
) -> None:
    put(page, pebble)
    address = "**/api/jobs/*/change"
    waiting = held(page, address)
    page.locator(".hold.figure").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator(".hold.moving")).to_have_count(1)
    page.keyboard.press("Delete")
    expect(page.locator(".hold.moving")).to_have_count(0)
    page.get_by_label("As drawn", exact=True).check()  # drawn anew meanwhile
    page.locator(".hold.figure").focus()
    page.keyboard.press("ArrowRight")  # too late for that
    expect(page.locator(".hold.moving")).to_have_count(0)
    let_go(page, address, waiting)
    until(page, client, lambda job: job["figures"] == [])
    assert page.evaluate("document.activeElement !== document.body")  # keys still go somewhere


def test_what_was_wrong_with_a_file_is_not_said_of_the_next(
    page: Page, pebble: Path, visit: Any, tmp_path: Path
) -> None:
    visit.expected.append("422")
    broken = tmp_path / "broken.png"
    broken.write_bytes(b"nothing of a picture")
    page.set_input_files("#picture-file", broken)
    expect(page.get_by_role("alert").first).to_contain_text("broken.png")
    address = "**/api/jobs/*/picture"
    waiting = held(page, address)
    page.set_input_files("#picture-file", pebble)
    expect(page.locator("#status")).to_contain_text("Reading pebble.png")
    expect(page.locator("#problem")).to_be_hidden()
    let_go(page, address, waiting)
    expect(page.locator(".hold.figure")).to_have_count(1)


def test_a_photo_asked_for_before_it_has_come_is_drawn_on_when_it_has(page: Page, eye: Path) -> None:
    put(page, eye)
    address = "**/api/jobs/*/sources/*"
    waiting = held(page, address)
    show(page, "#touch-open").click()
    expect(page.locator("#touch")).to_be_hidden()
    let_go(page, address, waiting)
    expect(page.locator("#touch")).to_be_visible()
    expect(page.locator("#status")).not_to_contain_text("no photo")


def test_the_bar_moves_within_a_stage(page: Page, pebble: Path) -> None:
    """Plans wait in tests until one is asked for: so does the stage, and what it tells is told here."""
    told = {"planned": {"stage": "proving the plan", "share": 0.5}}
    page.route("**/progress", lambda route: route.fulfill(json=told))
    put(page, pebble)
    settle(page)
    expect(page.locator("#doing")).to_contain_text("Working out the plan: proving the plan")
    expect(page.locator("#bar")).to_have_js_property("value", 2.5)


def test_what_can_not_be_worked_out_is_an_answer_in_words(page: Page, pebble: Path, visit: Any) -> None:
    problem = {"problem": "nothing is left to cut.", "revision": 2}

    def answer(route: Route) -> None:
        revision = route.fetch().json()["revision"]
        route.fulfill(json={**problem, "revision": revision})

    page.route("**/work/mended", answer)
    put(page, pebble)
    expect(page.get_by_role("alert").first).to_contain_text("nothing is left to cut")
    expect(page.locator("#bar")).to_be_hidden()
    assert visit.errors == []
